"""Electrical feed."""

from __future__ import annotations

from typing import Any, ClassVar, Literal

from pneumo.components.base import Component, FaultMode, FaultTarget, Lowering, Trait
from pneumo.components.symbol import Symbol
from pneumo.units import Voltage


class ElectricalFeed(Component):
    """A supply of control power that coils and compressors name in their `feed`. No air ports.

    It is on or off; its voltage is information only. Without it every coil on it is de-energised
    and every compressor on it stops.

    Labels: feed "feed".
    """

    title: ClassVar[str] = "electrical feed"
    symbol: ClassVar[Symbol] = Symbol("feed")
    traits: ClassVar[frozenset[Trait]] = frozenset({"feed", "switchable"})
    kind: Literal["electrical_feed"] = "electrical_feed"
    voltage: Voltage = 24.0

    def lower(self, low: Lowering) -> None:
        low.feed("feed")

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            FaultMode(
                "lost",
                "Power lost: no coil on this feed is energised.",
                _lose,
                ended_by=("replace", "reconnect"),
            ),
        )


def _lose(component: Any, target: FaultTarget, severity: float) -> None:
    target.switch_off()
