"""Manifold: where lines branch."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from pneumo.components.fields import SmallVolume
from pneumo.components.iso13849_2 import B9_BREAKS, B9_LEAKS
from pneumo.components.symbol import Symbol
from pneumo.components.vessel import Vessel
from pneumo.units import Count


class Manifold(Vessel):
    """A block, tee or header from which lines branch (ISO 5598 manifold).

    Ports "1" to "n", all the same volume; no pressure is lost between them. A tee in a line is
    a manifold with three ports and a small volume.

    Labels: none.
    """

    title: ClassVar[str] = "manifold"
    symbol: ClassVar[Symbol] = Symbol("manifold")
    leak_row: ClassVar[str] = B9_LEAKS
    burst_row: ClassVar[str] = B9_BREAKS
    kind: Literal["manifold"] = "manifold"
    port_count: Count = Field(alias="ports")
    volume: SmallVolume = 2e-4

    def size(self) -> tuple[float, float | None, int]:
        return self.volume, None, self.port_count
