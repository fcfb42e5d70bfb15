"""Lockable shut-off valve."""

from __future__ import annotations

from typing import Any, ClassVar, Literal

from pneumo.components.base import (
    Component,
    FaultMode,
    FaultTarget,
    Lowering,
    Port,
    SpoolOpening,
    Trait,
)
from pneumo.components.common_faults import blocked, burst, leak
from pneumo.components.fields import TravelTime, ValveConductance
from pneumo.components.fitting import add_port_volumes, both_ways
from pneumo.components.iso13849_2 import B4_BREAKS, B4_LEAKS, B4_STUCK, B4_UNTOLD
from pneumo.components.symbol import Symbol
from pneumo.units import CriticalRatio


class ShutOff(Component):
    """Hand-operated shut-off valve with a vent, lockable when closed (ISO 5598 shut-off valve).

    Ports 1 inlet, 2 outlet, 3 exhaust (may stay open). Open: 1 to 2. Closed: 2 vents to 3.
    Modelled as a spool turned by hand between 0 (closed) and 1 (open) in `turning_time`; the
    way through closes before the vent opens. Before anyone works behind it: lock it closed, see
    that the pressure is gone, and treat the trapped pressure of every accumulator apart.

    Labels: spool "handle"; paths "1-2", "2-3".
    """

    title: ClassVar[str] = "shut-off valve with vent"
    symbol: ClassVar[Symbol] = Symbol("hand_valve")
    traits: ClassVar[frozenset[Trait]] = frozenset({"turnable"})
    kind: Literal["shut_off"] = "shut_off"
    C: ValveConductance
    b: CriticalRatio
    vent_C: ValveConductance | None = None
    """Of the flow path to port 3. Left out: as large as C."""
    starts: Literal["open", "closed"] = "open"
    turning_time: TravelTime = 0.3

    def ports(self) -> tuple[Port, ...]:
        return (Port("1", "supply"), Port("2", "outlet"), Port("3", "exhaust"))

    def passages(self) -> tuple[tuple[str, str], ...]:
        return both_ways(("1", "2"), ("2", "3"))

    def lower(self, low: Lowering) -> None:
        add_port_volumes(self, low)
        start = 1.0 if self.starts == "open" else 0.0
        handle = low.hand_valve("handle", start=start, travel=self.turning_time)
        outlet = low.node("2")
        low.restriction(
            "1-2", low.node("1"), outlet, self.C, self.b, spool=SpoolOpening(handle, 0.5, 1.0)
        )
        low.restriction(
            "2-3",
            outlet,
            low.node("3"),
            self.C if self.vent_C is None else self.vent_C,
            self.b,
            spool=SpoolOpening(handle, 0.5, 0.0),
        )

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            leak("2", B4_LEAKS),
            burst("2", 2.0 * self.C, B4_BREAKS),
            blocked(("1-2", "2-3")),
            FaultMode(
                "stuck",
                "Handle seized: it cannot be turned.",
                _stick,
                standard=B4_STUCK,
                ended_by=("free", "replace"),
            ),
            FaultMode(
                "closed-by-mistake",
                "Handle turned by mistake: closed, and the outlet is vented.",
                _close,
                standard=B4_UNTOLD,
                ended_by=("restore",),
            ),
        )


def _stick(component: Any, target: FaultTarget, severity: float) -> None:
    target.hold_spool(None)


def _close(component: Any, target: FaultTarget, severity: float) -> None:
    target.force_spool(0.0)
