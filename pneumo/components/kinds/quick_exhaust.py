"""Quick-exhaust valve."""

from __future__ import annotations

from typing import ClassVar, Literal

from pneumo.components.base import Component, FaultMode, Lowering, Port, PressureOpening, Trait
from pneumo.components.common_faults import OFF_SEAT, blocked, burst, held_open, leak, throttled
from pneumo.components.fields import Offset, ValveConductance
from pneumo.components.fitting import add_port_volumes
from pneumo.components.iso13849_2 import B4_BREAKS, B4_LEAKS, B4_STUCK
from pneumo.components.symbol import Symbol
from pneumo.units import CriticalRatio

INLET_BAND = 5e3
"""Pressure over which the lip at the inlet opens fully [Pa]; estimated."""

EXHAUST_BAND = 1e4
"""Pressure over which the seat at the exhaust opens fully [Pa]; estimated."""


class QuickExhaust(Component):
    """Quick-exhaust valve (ISO 5598): feeds 1 to 2, and vents 2 to 3 as soon as 1 is vented.

    Ports 1 inlet, 2 outlet, 3 exhaust (may stay open). Modelled as two ISO 6358 paths: 1-2 opens
    when p1 exceeds p2; 2-3 opens when p2 exceeds p1 by `opens_at`. Nothing flows back from 2 to
    1, so the outlet keeps up to `opens_at` more than the inlet. Not to be confused with the
    shuttle valve, which has two inlets.

    Labels: paths "1-2", "2-3".
    """

    title: ClassVar[str] = "quick-exhaust valve"
    symbol: ClassVar[Symbol] = Symbol("quick_exhaust")
    traits: ClassVar[frozenset[Trait]] = frozenset({"repeatable", "self-venting"})
    kind: Literal["quick_exhaust"] = "quick_exhaust"
    C: ValveConductance
    b: CriticalRatio
    exhaust_C: ValveConductance
    opens_at: Offset = 1e4

    def ports(self) -> tuple[Port, ...]:
        return (Port("1", "supply"), Port("2", "outlet"), Port("3", "exhaust"))

    def passages(self) -> tuple[tuple[str, str], ...]:
        return (("1", "2"), ("2", "3"))

    def lower(self, low: Lowering) -> None:
        add_port_volumes(self, low)
        inlet, outlet = low.node("1"), low.node("2")
        fed = PressureOpening(hi=inlet, lo=outlet, threshold=0.0, band=INLET_BAND)
        vented = PressureOpening(hi=outlet, lo=inlet, threshold=self.opens_at, band=EXHAUST_BAND)
        low.restriction("1-2", inlet, outlet, self.C, self.b, pressure=fed)
        low.restriction("2-3", outlet, low.node("3"), self.exhaust_C, self.b, pressure=vented)

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            leak("2", B4_LEAKS),
            burst("2", 2.0 * self.C, B4_BREAKS),
            blocked(("1-2", "2-3")),
            throttled("stuck-closed", "Inlet does not open, or not fully.", ("1-2",), B4_STUCK),
            held_open(
                "stuck-open",
                "Inlet does not close: the outlet also vents back through port 1.",
                ("1-2",),
                B4_STUCK,
                OFF_SEAT,
            ),
            throttled(
                "exhaust-stuck-closed",
                "Exhaust does not open, or not fully: pressure stays trapped at the outlet.",
                ("2-3",),
                B4_STUCK,
            ),
            held_open(
                "exhaust-stuck-open",
                "Exhaust does not close: air is lost through port 3 while charging.",
                ("2-3",),
                B4_STUCK,
                OFF_SEAT,
            ),
        )
