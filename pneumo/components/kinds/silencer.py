"""Silencer."""

from __future__ import annotations

from typing import ClassVar, Literal

from pneumo.components.base import Component, FaultMode, Lowering, Port, Severity, Trait
from pneumo.components.common_faults import blocked, burst, leak
from pneumo.components.fields import ValveConductance
from pneumo.components.fitting import add_port_volumes
from pneumo.components.iso13849_2 import B9_BREAKS, B9_LEAKS, B13_BLOCKED
from pneumo.components.symbol import Symbol
from pneumo.units import CriticalRatio

CLOGGED = Severity(unit="", low=0.0, high=1.0, default=1.0, campaign=(0.5, 1.0))


class Silencer(Component):
    """Exhaust silencer (ISO 5598 silencer). Port 1; its other side is the open air.

    Modelled as one ISO 6358 restriction to the surroundings. An exhaust port without a silencer
    may stay unconnected instead.

    Labels: path "1".
    """

    title: ClassVar[str] = "silencer"
    symbol: ClassVar[Symbol] = Symbol("silencer", high=("1",), name="below")
    traits: ClassVar[frozenset[Trait]] = frozenset({"conduit", "repeatable", "outside"})
    kind: Literal["silencer"] = "silencer"
    C: ValveConductance
    b: CriticalRatio

    def ports(self) -> tuple[Port, ...]:
        return (Port("1"),)

    def lower(self, low: Lowering) -> None:
        add_port_volumes(self, low)
        low.restriction("1", low.node("1"), low.atmosphere, self.C, self.b)

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            leak("1", B9_LEAKS),
            burst("1", 2.0 * self.C, B9_BREAKS, effect="Blown off: the exhaust is open, and loud."),
            blocked(("1",), B13_BLOCKED, CLOGGED),
        )
