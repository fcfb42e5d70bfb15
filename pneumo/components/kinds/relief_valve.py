"""Relief valve."""

from __future__ import annotations

from typing import Any, ClassVar, Literal

from pneumo.components.base import (
    Component,
    FaultMode,
    FaultTarget,
    Lowering,
    Port,
    PressureOpening,
    Severity,
    Trait,
)
from pneumo.components.common_faults import OFF_SEAT, blocked, burst, held_open, leak, throttled
from pneumo.components.fields import Band, ValveConductance
from pneumo.components.fitting import add_port_volumes
from pneumo.components.iso13849_2 import (
    B6_BREAKS,
    B6_LEAKS,
    B6_SETTING,
    B6_SHIFTED,
    B6_TOO_OPEN,
    B6_TOO_SHUT,
)
from pneumo.components.symbol import Symbol
from pneumo.units import CriticalRatio, Pressure

DRIFT = Severity(unit="bar", low=0.0, high=1e6, default=1e5, campaign=(1e5,))


class ReliefValve(Component):
    """Relief valve (ISO 5598 pressure-relief valve): blows off its inlet above its setting.

    Ports 1 inlet, 3 exhaust (may stay open). Modelled as an ISO 6358 path that starts to open
    when the inlet exceeds the setting and is fully open `accumulation` above it. The setting is
    against the surroundings, whatever the back pressure at port 3. Not to be confused with the
    relieving regulator, which holds the pressure at its outlet.

    Labels: path "1-3".
    """

    title: ClassVar[str] = "relief valve"
    symbol: ClassVar[Symbol] = Symbol("relief", values=("set_pressure",))
    traits: ClassVar[frozenset[Trait]] = frozenset({"relieving"})
    kind: Literal["relief_valve"] = "relief_valve"
    set_pressure: Pressure
    C: ValveConductance
    b: CriticalRatio
    accumulation: Band = 3e4

    def ports(self) -> tuple[Port, ...]:
        return (Port("1", "supply"), Port("3", "exhaust"))

    def passages(self) -> tuple[tuple[str, str], ...]:
        return (("1", "3"),)

    def lower(self, low: Lowering) -> None:
        add_port_volumes(self, low)
        inlet = low.node("1")
        opening = PressureOpening(
            hi=inlet,
            lo=low.atmosphere,
            threshold=self.set_pressure - low.ambient_pressure,
            band=self.accumulation,
        )
        low.restriction("1-3", inlet, low.node("3"), self.C, self.b, pressure=opening)

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            leak("1", B6_LEAKS),
            burst("1", 2.0 * self.C, B6_BREAKS),
            blocked(("1-3",)),
            throttled(
                "stuck-closed",
                "Does not open, or not enough, when the pressure is too high.",
                ("1-3",),
                B6_TOO_SHUT,
            ),
            held_open(
                "stuck-open",
                "Does not close again: it keeps blowing off.",
                ("1-3",),
                B6_TOO_OPEN,
                OFF_SEAT,
            ),
            # its setting is sealed: nobody adjusts it on site; common practice, no source
            FaultMode(
                "drift-low",
                "Opens below its setting.",
                _drift_low,
                DRIFT,
                B6_SHIFTED,
                ended_by=("replace",),
            ),
            FaultMode(
                "drift-high",
                "Opens only above its setting.",
                _drift_high,
                DRIFT,
                B6_SETTING,
                ended_by=("replace",),
            ),
        )


def _drift_low(component: Any, target: FaultTarget, difference: float) -> None:
    target.shift_threshold("1-3", -difference)


def _drift_high(component: Any, target: FaultTarget, difference: float) -> None:
    target.shift_threshold("1-3", difference)
