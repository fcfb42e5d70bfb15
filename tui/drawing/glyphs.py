"""How a cell of a line looks: its mask and its weight become one character."""

from __future__ import annotations

from typing import Literal

from pneumo.schematic.cells import AFTER as S
from pneumo.schematic.cells import BACK as W
from pneumo.schematic.cells import BEFORE as N
from pneumo.schematic.cells import ON as E

Weight = Literal["vented", "low", "working", "unseen"]

VENTED = 0.05
"""Below this share of the highest supply pressure a line is drawn as vented."""
WORKING = 0.5
"""From this share on it is drawn as charged to work."""

FLOW = 1e-4
"""Smallest flow that gets an arrowhead [kg/s]: about 5 L/min of free air, more than air that only
cools down draws."""

_MASKS = (N | S, E | W, S | E, S | W, N | E, N | W, N | S | E, N | S | W, E | S | W, E | N | W,
          N | E | S | W, N, S, E, W)  # fmt: skip

_CHARACTERS: dict[Weight, str] = {
    "vented": "│─┌┐└┘├┤┬┴┼││──",
    "low": "┃━┏┓┗┛┣┫┳┻╋┃┃━━",
    "working": "║═╔╗╚╝╠╣╦╩╬║║══",
    "unseen": "┊┄┌┐└┘├┤┬┴┼┊┊┄┄",
}
"""In the order of the masks."""

_DRAWN = {
    weight: dict(zip(_MASKS, characters, strict=True)) for weight, characters in _CHARACTERS.items()
}


def weight(pressure: float | None, highest: float) -> Weight:
    """Weight of a line by its gauge pressure; `highest`: what the supplies can bring [Pa]."""
    if pressure is None:
        return "unseen"
    share = pressure / highest if highest > 0.0 else 0.0
    return "vented" if share < VENTED else "low" if share < WORKING else "working"


def glyph(mask: int, weight: Weight) -> str:
    """One character for a mask."""
    return _DRAWN[weight].get(mask, "·")
