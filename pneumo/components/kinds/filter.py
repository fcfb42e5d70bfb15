"""Filter."""

from __future__ import annotations

from typing import ClassVar, Literal

from pneumo.components.base import Component, FaultMode, Lowering, Port, Quantity, Severity, Trait
from pneumo.components.common_faults import blocked, burst, leak
from pneumo.components.fields import SmallVolume, ValveConductance
from pneumo.components.fitting import both_ways
from pneumo.components.iso13849_2 import B9_LEAKS, B11_BLOCKED, B11_BREAKS
from pneumo.components.symbol import Symbol
from pneumo.units import CriticalRatio

CLOGGED = Severity(unit="", low=0.0, high=1.0, default=1.0, campaign=(0.8, 1.0))


class Filter(Component):
    """Filter with its bowl (ISO 5598 filter). Ports 1 inlet, 2 outlet.

    Modelled as one ISO 6358 restriction with half of the bowl's air on either side. Water and
    dirt themselves are not modelled, only what they take from the flow.

    Labels: path "1-2".
    """

    title: ClassVar[str] = "filter"
    symbol: ClassVar[Symbol] = Symbol("filter")
    traits: ClassVar[frozenset[Trait]] = frozenset({"conduit", "repeatable", "drainable"})
    quantities: ClassVar[tuple[Quantity, ...]] = ("pressure",)
    kind: Literal["filter"] = "filter"
    C: ValveConductance
    b: CriticalRatio
    volume: SmallVolume = 2e-4

    def ports(self) -> tuple[Port, ...]:
        return (Port("1", "supply"), Port("2", "outlet"))

    def passages(self) -> tuple[tuple[str, str], ...]:
        return both_ways(("1", "2"))

    def lower(self, low: Lowering) -> None:
        inlet, outlet = low.node("1"), low.node("2")
        low.add_volume(inlet, self.volume / 2.0)
        low.add_volume(outlet, self.volume / 2.0)
        low.restriction("1-2", inlet, outlet, self.C, self.b)

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            leak("2", B9_LEAKS),
            burst("2", 2.0 * self.C, B11_BREAKS),
            blocked(("1-2",), B11_BLOCKED, CLOGGED),
        )
