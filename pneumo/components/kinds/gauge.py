"""Pressure gauge."""

from __future__ import annotations

from typing import ClassVar, Literal

from pneumo.components.base import Component, FaultMode, Lowering, Port, Quantity
from pneumo.components.common_faults import burst, hole_conductance, leak
from pneumo.components.fitting import INSTRUMENT_BORE, add_port_volumes
from pneumo.components.iso13849_2 import B9_LEAKS, B10_BREAKS
from pneumo.components.symbol import Symbol
from pneumo.units import Pressure, written_default


class Gauge(Component):
    """Pressure gauge, read by people only (ISO 5598 pressure gauge). Port 1.

    Modelled as the air in its fitting; it shows the pressure of its node. Not to be confused with
    the transmitter, which the controller reads. `high` is the end of its scale.

    Labels: none.
    """

    title: ClassVar[str] = "pressure gauge"
    symbol: ClassVar[Symbol] = Symbol("gauge", name="above")
    quantities: ClassVar[tuple[Quantity, ...]] = ("reading",)
    kind: Literal["gauge"] = "gauge"
    high: Pressure = written_default("10 bar")

    def ports(self) -> tuple[Port, ...]:
        return (Port("1"),)

    def lower(self, low: Lowering) -> None:
        add_port_volumes(self, low)

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            leak("1", B9_LEAKS),
            burst("1", hole_conductance(INSTRUMENT_BORE), B10_BREAKS),
        )
