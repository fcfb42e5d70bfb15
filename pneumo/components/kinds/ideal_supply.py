"""Ideal supply."""

from __future__ import annotations

from typing import Any, ClassVar, Literal

from pneumo.components.base import Component, FaultMode, FaultTarget, Lowering, Port, Trait
from pneumo.components.common_faults import burst, leak
from pneumo.components.fields import ValveConductance
from pneumo.components.fitting import add_port_volumes
from pneumo.components.iso13849_2 import B7_JOINT, B7_LEAKS
from pneumo.components.symbol import Symbol
from pneumo.units import STANDARD_AMBIENT_TEMPERATURE, CriticalRatio, Pressure, Temperature


class IdealSupply(Component):
    """A source of air that holds its pressure whatever is taken: a works network, or a bench.

    Port 2 outlet. Modelled as a reservoir at constant pressure and temperature behind one
    ISO 6358 restriction, which sets how fast it can deliver. It also takes air back. Not to be
    confused with the compressor, whose delivery is limited and which cycles.

    Labels: path "2".
    """

    title: ClassVar[str] = "ideal supply"
    symbol: ClassVar[Symbol] = Symbol("supply", values=("pressure",))
    traits: ClassVar[frozenset[Trait]] = frozenset({"supply", "shared", "switchable"})
    kind: Literal["ideal_supply"] = "ideal_supply"
    pressure: Pressure
    temperature: Temperature = STANDARD_AMBIENT_TEMPERATURE
    C: ValveConductance = 20e-8
    b: CriticalRatio = 0.5

    def ports(self) -> tuple[Port, ...]:
        return (Port("2", "outlet"),)

    def supplied(self) -> tuple[float, float]:
        return self.pressure, self.pressure

    def lower(self, low: Lowering) -> None:
        add_port_volumes(self, low)
        reservoir = low.boundary("reservoir", self.pressure, self.temperature)
        path = low.restriction("2", reservoir, low.node("2"), self.C, self.b)
        low.switchable_supply("supply", path)

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            leak("2", B7_LEAKS),
            burst("2", 2.0 * self.C, B7_JOINT),
            FaultMode("lost", "Lost: it delivers no air.", _lose, ended_by=("replace",)),
        )


def _lose(component: Any, target: FaultTarget, severity: float) -> None:
    target.switch_off()
