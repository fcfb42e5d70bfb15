"""Hose."""

from __future__ import annotations

from typing import ClassVar, Literal

from pneumo.components.fields import Roughness
from pneumo.components.iso13849_2 import B8_BLOCKED, B8_BREAKS
from pneumo.components.line import Line
from pneumo.components.symbol import Symbol


class Hose(Line):
    """Flexible line of reinforced rubber or plastic with fittings (ISO 5598 hose assembly).

    Ports 1 and 2. See `Line` for the model and labels. Its walls do not give: the volume is
    constant.
    """

    title: ClassVar[str] = "hose"
    symbol: ClassVar[Symbol] = Symbol("hose", values=("bore", "length"))
    leak_row: ClassVar[str] = B8_BREAKS
    burst_row: ClassVar[str] = B8_BREAKS
    blocked_row: ClassVar[str] = B8_BLOCKED
    kinks: ClassVar[bool] = True
    kind: Literal["hose"] = "hose"
    roughness: Roughness = 2e-6
    """Smooth lining; from memory."""
