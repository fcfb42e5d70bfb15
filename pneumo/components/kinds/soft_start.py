"""Soft-start and dump valve."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import field_validator

from pneumo.components.base import (
    Component,
    FaultMode,
    Lowering,
    Port,
    PressureOpening,
    SpoolOpening,
    Trait,
)
from pneumo.components.common_faults import blocked, burst, held_open, leak
from pneumo.components.fields import Delay, TravelTime, ValveConductance, refused
from pneumo.components.fitting import add_port_volumes, both_ways
from pneumo.components.iso13849_2 import B3_BREAKS, B3_LEAKS
from pneumo.components.solenoid import WORN_SEALS, coil_faults, spool_faults
from pneumo.components.symbol import Symbol
from pneumo.units import CriticalRatio, Fraction

FULL_BAND = 2e4
"""Pressure over which the main flow path opens once the outlet has filled [Pa]; estimated."""


class SoftStart(Component):
    """Soft-start and dump valve at the head of the plant: fills slowly, empties quickly.

    Ports 1 inlet, 2 outlet, 3 exhaust (may stay open). Its coil 14 is energised as long as it is
    switched on. De-energised: 2 dumps to 3. Energised: 1 feeds 2 through `slow_C` until the
    outlet's gauge pressure has reached `full_at` of the inlet's, then through C as well. The main
    way follows the pressures: it closes again if the outlet is drawn down below that fraction.
    Closed centre. Not to be confused with the shut-off valve, which is turned and locked by hand.

    Labels: spool "spool"; paths "1-2 slow", "1-2 full", "2-3".
    """

    title: ClassVar[str] = "soft-start and dump valve"
    symbol: ClassVar[Symbol] = Symbol("soft_start", values=("feed",))
    traits: ClassVar[frozenset[Trait]] = frozenset({"switchable"})
    kind: Literal["soft_start"] = "soft_start"
    C: ValveConductance
    b: CriticalRatio
    slow_C: ValveConductance
    dump_C: ValveConductance
    full_at: Fraction = 0.5
    switch_on: Delay = 0.03
    switch_off: Delay = 0.05
    travel: TravelTime = 0.015
    feed: str | None = None

    @field_validator("full_at")
    @classmethod
    def _reachable(cls, value: float) -> float:
        if not 0.1 <= value <= 0.9:
            raise refused(
                "The valve would open fully at once, or never.",
                "Give a fraction of the inlet pressure from 10 % to 90 %.",
            )
        return value

    def ports(self) -> tuple[Port, ...]:
        return (Port("1", "supply"), Port("2", "outlet"), Port("3", "exhaust"))

    def coils(self) -> tuple[str, ...]:
        return ("14",)

    def passages(self) -> tuple[tuple[str, str], ...]:
        return both_ways(("1", "2"), ("2", "3"))

    def lower(self, low: Lowering) -> None:
        add_port_volumes(self, low)
        inlet, outlet = low.node("1"), low.node("2")
        spool = low.spool(
            "spool",
            rest=0.0,
            at_14=1.0,
            switch_on=self.switch_on,
            switch_off=self.switch_off,
            travel=self.travel,
            feed=self.feed,
            standing=True,
        )
        filling = SpoolOpening(spool, 0.5, 1.0)
        low.restriction("1-2 slow", inlet, outlet, self.slow_C, self.b, spool=filling)
        # gauge pressures: (p2 - pa) > full_at (p1 - pa)
        filled = PressureOpening(
            hi=outlet,
            lo=inlet,
            lo_gain=self.full_at,
            threshold=(1.0 - self.full_at) * low.ambient_pressure,
            band=FULL_BAND,
        )
        low.restriction("1-2 full", inlet, outlet, self.C, self.b, spool=filling, pressure=filled)
        low.restriction(
            "2-3", outlet, low.node("3"), self.dump_C, self.b, spool=SpoolOpening(spool, 0.5, 0.0)
        )

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            leak("2", B3_LEAKS),
            burst("2", 2.0 * self.C, B3_BREAKS),
            blocked(("1-2 slow", "1-2 full", "2-3")),
            *spool_faults(),
            held_open(
                "internal-leak",
                "Worn seals: closed flow paths leak.",
                ("1-2 slow", "2-3"),
                B3_LEAKS,
                WORN_SEALS,
            ),
            *coil_faults(self.coils()),
        )
