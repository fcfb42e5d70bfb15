"""Pressure transmitter."""

from __future__ import annotations

from typing import Any, ClassVar, Literal

from pydantic import ValidationInfo, field_validator

from pneumo.components.base import (
    Component,
    FaultMode,
    FaultTarget,
    Lowering,
    Port,
    Quantity,
    Severity,
    Trait,
)
from pneumo.components.common_faults import burst, hole_conductance, leak
from pneumo.components.fields import TravelTime, refused
from pneumo.components.fitting import INSTRUMENT_BORE, add_port_volumes
from pneumo.components.iso13849_2 import (
    B10_BREAKS,
    B10_LEAKS,
    B15_SHIFTED,
    B15_WRONG,
)
from pneumo.components.symbol import Symbol
from pneumo.units import Pressure, written_default

DRIFT = Severity(unit="bar", low=-1e6, high=1e6, default=1e5, campaign=(-1e5, 1e5))
"""Shift of the reading [Pa]; above 0: it reads too high."""

GAIN = Severity(unit="%", low=-1.0, high=1.0, default=0.1, campaign=(-0.1, 0.1))
"""Relative error of the reading's span [-]."""


class Transmitter(Component):
    """Pressure transmitter (ISO 5598 pressure transducer): a reading for the controller. Port 1.

    The reading follows the pressure with a first-order lag and ends at `low` and `high`. Not to
    be confused with the pressure switch, which gives one bit.

    Labels: reading "reading".
    """

    title: ClassVar[str] = "pressure transmitter"
    symbol: ClassVar[Symbol] = Symbol("transmitter", name="above")
    traits: ClassVar[frozenset[Trait]] = frozenset({"reading"})
    quantities: ClassVar[tuple[Quantity, ...]] = ("reading",)
    kind: Literal["transmitter"] = "transmitter"
    low: Pressure = written_default("0 bar")
    high: Pressure = written_default("10 bar")
    lag: TravelTime = 0.05

    @field_validator("high")
    @classmethod
    def _has_span(cls, value: float, info: ValidationInfo) -> float:
        bottom = info.data.get("low")
        if bottom is not None and value <= bottom:
            raise refused("Its range is empty.", "Give high a higher pressure than low.")
        return value

    def ports(self) -> tuple[Port, ...]:
        return (Port("1"),)

    def lower(self, low: Lowering) -> None:
        add_port_volumes(self, low)
        low.transmitter("reading", low.node("1"), lag=self.lag, low=self.low, high=self.high)

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            leak("1", B10_LEAKS),
            burst("1", hole_conductance(INSTRUMENT_BORE), B10_BREAKS),
            FaultMode(
                "drift",
                "Zero error: it reads too high or too low.",
                _drift,
                DRIFT,
                B15_SHIFTED,
                ended_by=("adjust", "replace"),
            ),
            FaultMode(
                "gain",
                "Span error: it reads too much or too little of the pressure.",
                _gain,
                GAIN,
                B15_SHIFTED,
                ended_by=("adjust", "replace"),
            ),
            FaultMode(
                "frozen",
                "Frozen: it keeps its last reading.",
                _freeze,
                standard=B15_WRONG,
                ended_by=("replace",),
            ),
            FaultMode(
                "signal-lost",
                "Wire off: no signal.",
                _lose,
                standard=B15_WRONG,
                ended_by=("reconnect",),
            ),
        )


def _drift(component: Any, target: FaultTarget, difference: float) -> None:
    target.shift_reading(difference)


def _gain(component: Any, target: FaultTarget, error: float) -> None:
    target.scale_reading(1.0 + error)


def _freeze(component: Any, target: FaultTarget, severity: float) -> None:
    target.freeze_reading()


def _lose(component: Any, target: FaultTarget, severity: float) -> None:
    target.lose_reading()
