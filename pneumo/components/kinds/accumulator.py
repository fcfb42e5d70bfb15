"""Accumulator of a zone."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from pneumo.components.base import Trait
from pneumo.components.fields import VesselVolume, WallHeat
from pneumo.components.iso13849_2 import B7_LEAKS, B14_BREAKS
from pneumo.components.symbol import Symbol
from pneumo.components.vessel import Vessel
from pneumo.units import Count


class Accumulator(Vessel):
    """A zone's own store of air, to be put behind a check valve.

    Ports "1" to "n", all the same volume. Modelled as one node with heat to its wall. It is a
    plain air vessel: no bladder, no spring, no weight. The check valve is a component of its own.

    Labels: none.
    """

    title: ClassVar[str] = "accumulator"
    symbol: ClassVar[Symbol] = Symbol("accumulator", values=("volume",))
    traits: ClassVar[frozenset[Trait]] = frozenset({"store", "drainable"})
    leak_row: ClassVar[str] = B7_LEAKS
    burst_row: ClassVar[str] = B14_BREAKS
    kind: Literal["accumulator"] = "accumulator"
    volume: VesselVolume
    port_count: Count = Field(default=1, alias="ports")
    wall_heat: WallHeat | None = None
    """Heat between air and wall. Left out: 15 W/(m2 K) times the surface of a cube of that volume,
    19.4 W/K for 100 L."""

    def size(self) -> tuple[float, float | None, int]:
        return self.volume, self.wall_heat, self.port_count
