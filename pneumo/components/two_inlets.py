"""What shuttle and dual-pressure valve share: one moving part between two inlets."""

from __future__ import annotations

from pneumo.components.base import Component, FaultMode, Lowering, Port, PressureOpening
from pneumo.components.common_faults import OFF_SEAT, blocked, burst, held_open, leak, throttled
from pneumo.components.fields import ValveConductance
from pneumo.components.fitting import add_port_volumes, both_ways
from pneumo.components.iso13849_2 import (
    B4_BOTH_SHUT,
    B4_BREAKS,
    B4_LEAKS,
    B4_STUCK,
    B4_UNTOLD,
)
from pneumo.units import CriticalRatio

CHANGE_BAND = 5e3
"""Difference of the inlets over which the moving part goes from one seat to the other [Pa]."""


class TwoInlets(Component):
    """Base of the valves with inlets 1a and 1b and outlet 2.

    The moving part has two seats, so that one inlet's opening is one minus the other's: together
    they always pass C, in both directions, and nothing is ever trapped between two closed seats.
    It goes to the other seat while the difference of the inlets passes from 0 to CHANGE_BAND.
    At equal pressures it stands open to 1a: a rule without memory has to favour one seat, else
    two vented inlets would leave it balanced on a knife edge.

    Labels: paths "1a-2", "1b-2".
    """

    C: ValveConductance
    b: CriticalRatio

    def passes_higher(self) -> bool:
        """True: the inlet with the higher pressure passes; False: the lower."""
        raise NotImplementedError

    def ports(self) -> tuple[Port, ...]:
        return (Port("1a", "supply"), Port("1b", "supply"), Port("2", "outlet"))

    def passages(self) -> tuple[tuple[str, str], ...]:
        return both_ways(("1a", "2"), ("1b", "2"))

    def lower(self, low: Lowering) -> None:
        add_port_volumes(self, low)
        a, b, outlet = low.node("1a"), low.node("1b"), low.node("2")
        opens_a, opens_b = (a, b) if self.passes_higher() else (b, a)
        to_a = PressureOpening(hi=opens_a, lo=opens_b, threshold=-CHANGE_BAND, band=CHANGE_BAND)
        to_b = PressureOpening(hi=opens_b, lo=opens_a, threshold=0.0, band=CHANGE_BAND)
        low.restriction("1a-2", a, outlet, self.C, self.b, pressure=to_a)
        low.restriction("1b-2", b, outlet, self.C, self.b, pressure=to_b)

    def fault_modes(self) -> tuple[FaultMode, ...]:
        both = ("1a-2", "1b-2")
        return (
            leak("2", B4_LEAKS),
            burst("2", 2.0 * self.C, B4_BREAKS),
            blocked(both),
            held_open(
                "stuck-open",
                "Does not seat: both inlets are open to the outlet and to each other.",
                both,
                B4_STUCK,
                OFF_SEAT,
            ),
            throttled("stuck-closed", "Both inlets closed, or nearly.", both, B4_BOTH_SHUT),
            throttled("inlet-1a-closed", "Inlet 1a stuck closed.", ("1a-2",), B4_UNTOLD),
            throttled("inlet-1b-closed", "Inlet 1b stuck closed.", ("1b-2",), B4_UNTOLD),
        )
