"""Tube."""

from __future__ import annotations

from typing import ClassVar, Literal

from pneumo.components.fields import Roughness
from pneumo.components.iso13849_2 import B7_BLOCKED, B7_JOINT, B7_KINKED, B7_LEAKS
from pneumo.components.line import Line
from pneumo.components.symbol import Symbol


class Tube(Line):
    """Semi-rigid plastic or drawn metal line in push-in or ring fittings (ISO 5598 tube).

    Ports 1 and 2. See `Line` for the model and labels.
    """

    title: ClassVar[str] = "tube"
    symbol: ClassVar[Symbol] = Symbol("tube", values=("bore", "length"))
    leak_row: ClassVar[str] = B7_LEAKS
    burst_row: ClassVar[str] = B7_JOINT
    blocked_row: ClassVar[str] = B7_BLOCKED
    kinking_row: ClassVar[str] = B7_KINKED
    kinks: ClassVar[bool] = True
    kind: Literal["tube"] = "tube"
    roughness: Roughness = 2e-6
    """Drawn or extruded, smooth; from memory."""
