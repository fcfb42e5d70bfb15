"""Check valve."""

from __future__ import annotations

from typing import ClassVar, Literal

from pneumo.components.base import (
    Component,
    FaultMode,
    Lowering,
    Port,
    PressureOpening,
    Trait,
)
from pneumo.components.common_faults import OFF_SEAT, blocked, burst, held_open, leak, throttled
from pneumo.components.fields import Band, Offset, ValveConductance
from pneumo.components.fitting import add_port_volumes
from pneumo.components.iso13849_2 import B4_BREAKS, B4_LEAKS, B4_STUCK
from pneumo.components.symbol import Symbol
from pneumo.units import CriticalRatio


class CheckValve(Component):
    """Non-return valve with a spring (ISO 5598 check valve): passes 1 to 2 only.

    Ports 1 inlet, 2 outlet. Modelled as an ISO 6358 path that starts to open when p1 exceeds p2
    by `cracking` and is fully open `full_open_after` more. Not to be confused with the flow
    control with bypass, which passes both ways.

    Labels: path "1-2".
    """

    title: ClassVar[str] = "check valve"
    symbol: ClassVar[Symbol] = Symbol("check")
    traits: ClassVar[frozenset[Trait]] = frozenset({"repeatable", "non-return"})
    kind: Literal["check_valve"] = "check_valve"
    C: ValveConductance
    b: CriticalRatio
    cracking: Offset = 5e3
    full_open_after: Band = 1e4

    def ports(self) -> tuple[Port, ...]:
        return (Port("1", "supply"), Port("2", "outlet"))

    def passages(self) -> tuple[tuple[str, str], ...]:
        return (("1", "2"),)

    def lower(self, low: Lowering) -> None:
        add_port_volumes(self, low)
        inlet, outlet = low.node("1"), low.node("2")
        opening = PressureOpening(
            hi=inlet, lo=outlet, threshold=self.cracking, band=self.full_open_after
        )
        low.restriction("1-2", inlet, outlet, self.C, self.b, pressure=opening)

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            leak("2", B4_LEAKS),
            burst("2", 2.0 * self.C, B4_BREAKS),
            blocked(("1-2",)),
            held_open(
                "stuck-open",
                "Does not seat: air flows back.",
                ("1-2",),
                B4_STUCK,
                OFF_SEAT,
            ),
            throttled("stuck-closed", "Does not open, or not fully.", ("1-2",), B4_STUCK),
        )
