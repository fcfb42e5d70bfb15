"""Pressure regulator."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, ClassVar, Literal

from pneumo.components.base import (
    Component,
    FaultMode,
    FaultTarget,
    Lowering,
    Port,
    PressureOpening,
    Regulation,
    Remark,
    Severity,
    StemOpening,
)
from pneumo.components.common_faults import OFF_SEAT, blocked, burst, held_open, leak
from pneumo.components.fields import Band, Offset, TravelTime, ValveConductance
from pneumo.components.fitting import add_port_volumes, both_ways
from pneumo.components.iso13849_2 import (
    B6_BREAKS,
    B6_LEAKS,
    B6_SETTING,
    B6_SHIFTED,
    B6_TOO_OPEN,
    B6_TOO_SHUT,
)
from pneumo.components.symbol import Symbol
from pneumo.units import CriticalRatio, Pressure, YesNo, format_pressure

SEAT_LIFT = 2e4
"""Pressure above the inlet's at which the outlet lifts the seat, and to lift it fully [Pa]: from
memory of trade data, 0.1 to 0.5 bar."""

DRIFT = Severity(unit="bar", low=0.0, high=1e6, default=1e5, campaign=(1e5,))


class Regulator(Component):
    """Pressure-reducing valve (ISO 5598 pressure regulator), relieving unless told otherwise.

    Ports 1 inlet, 2 outlet, 3 exhaust of the relief (may stay open). Modelled as a stem that
    follows (set_pressure - p2) / droop with the dead band of its hysteresis and the lag `response`:
    at the setting it is closed, `droop` below the setting it is fully open with conductance C.
    Relieving: from relief_offset above the setting a path 2-3 opens, fully a further `droop`
    above. `set_pressure` is the outlet pressure at no flow. With the outlet below the setting air
    also passes back from 2 to 1; with `reverse_flow` it does so whenever the inlet is vented. Not
    to be confused with the relief valve, which guards its inlet.

    Labels: stem "stem"; paths "1-2", with reverse flow "2-1", and if relieving "2-3".
    """

    title: ClassVar[str] = "regulator"
    symbol: ClassVar[Symbol] = Symbol("regulator", values=("set_pressure",))
    kind: Literal["regulator"] = "regulator"
    set_pressure: Pressure
    C: ValveConductance
    b: CriticalRatio
    droop: Band = 3e4
    hysteresis: Offset = 5e3
    relieving: YesNo = True
    relief_C: ValveConductance = 0.3e-8
    relief_offset: Offset = 1e4
    response: TravelTime = 0.02
    reverse_flow: YesNo = True
    """Air passes back from 2 to 1 when the inlet is vented. Many regulators let it, few promise it;
    where safety rests on stored air, yes is the cautious answer."""

    def ports(self) -> tuple[Port, ...]:
        inlet_outlet = (Port("1", "supply"), Port("2", "outlet"))
        return (*inlet_outlet, Port("3", "exhaust")) if self.relieving else inlet_outlet

    def passages(self) -> tuple[tuple[str, str], ...]:
        return (*both_ways(("1", "2")), ("2", "3")) if self.relieving else both_ways(("1", "2"))

    def regulation(self) -> Regulation:
        return Regulation("1", "2", self.set_pressure, self.set_pressure - self.droop)

    def remarks_under(self, most: Mapping[str, float], ambient: float) -> Iterator[Remark]:
        if "1" in most and self.set_pressure > most["1"]:
            yield Remark(
                "set_pressure",
                f"It is set to {format_pressure(self.set_pressure, ambient)}, its supply gives at "
                f"most {format_pressure(most['1'], ambient)}.",
                "Set it below its supply.",
                is_error=True,
            )

    def lower(self, low: Lowering) -> None:
        add_port_volumes(self, low)
        inlet, outlet = low.node("1"), low.node("2")
        stem = low.stem(
            "stem",
            outlet,
            setting=self.set_pressure,
            band=self.droop,
            dead_band=self.hysteresis / (2.0 * self.droop),
            response=self.response,
        )
        low.restriction(
            "1-2", inlet, outlet, self.C, self.b, stem=StemOpening(stem, closed=0.0, open=1.0)
        )
        if self.reverse_flow:
            # the outlet pressure lifts the seat against its spring once the inlet is gone
            back = PressureOpening(outlet, inlet, threshold=SEAT_LIFT, band=SEAT_LIFT)
            low.restriction("2-1", outlet, inlet, self.C, self.b, pressure=back)
        if self.relieving:
            offset = self.relief_offset / self.droop
            opening = StemOpening(stem, closed=-offset, open=-offset - 1.0)
            low.restriction("2-3", outlet, low.node("3"), self.relief_C, self.b, stem=opening)

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            leak("2", B6_LEAKS),
            burst("2", 2.0 * self.C, B6_BREAKS),
            blocked(("1-2",)),
            held_open(
                "stuck-open",
                "Seat does not close: the outlet rises towards the inlet pressure.",
                ("1-2",),
                B6_TOO_OPEN,
                OFF_SEAT,
            ),
            FaultMode(
                "stuck-closed",
                "Does not open: no air passes to the outlet.",
                _stick_closed,
                standard=B6_TOO_SHUT,
                ended_by=("replace",),
            ),
            FaultMode(
                "drift-high",
                "Regulates above its setting.",
                _drift_high,
                DRIFT,
                B6_SETTING,
                ended_by=("adjust", "replace"),
            ),
            FaultMode(
                "drift-low",
                "Regulates below its setting.",
                _drift_low,
                DRIFT,
                B6_SHIFTED,
                ended_by=("adjust", "replace"),
            ),
        )


def _stick_closed(component: Any, target: FaultTarget, severity: float) -> None:
    target.throttle("1-2", 1.0)


def _drift_high(component: Any, target: FaultTarget, difference: float) -> None:
    target.shift_setting("stem", difference)


def _drift_low(component: Any, target: FaultTarget, difference: float) -> None:
    target.shift_setting("stem", -difference)
