"""Pipe."""

from __future__ import annotations

from typing import ClassVar, Literal

from pneumo.components.base import Trait
from pneumo.components.fields import Roughness
from pneumo.components.iso13849_2 import B7_BLOCKED, B7_JOINT, B7_LEAKS
from pneumo.components.line import Line
from pneumo.components.symbol import Symbol


class Pipe(Line):
    """Rigid line of metal (ISO 5598 pipe). Ports 1 and 2. See `Line` for the model and labels.

    Not to be confused with the hose (flexible, with fittings) or the tube (thin, semi-rigid).
    """

    title: ClassVar[str] = "pipe"
    symbol: ClassVar[Symbol] = Symbol("pipe", values=("bore", "length"))
    traits: ClassVar[frozenset[Trait]] = Line.traits | {"crossing"}
    leak_row: ClassVar[str] = B7_LEAKS
    burst_row: ClassVar[str] = B7_JOINT
    blocked_row: ClassVar[str] = B7_BLOCKED
    kind: Literal["pipe"] = "pipe"
    roughness: Roughness = 4.5e-5
    """Commercial steel; from memory."""
