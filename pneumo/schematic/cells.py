"""The cells that lines take, and in which directions a line goes on from each."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from pneumo.schematic.arrange import Cell, Route

BEFORE, ON, AFTER, BACK = 1, 2, 4, 8
"""Bits of a mask: the line goes on to the cell before it across, the next along, the next across,
the one before it along."""

_WAYS = {(0, -1): BEFORE, (1, 0): ON, (0, 1): AFTER, (-1, 0): BACK}


def masks(route: Route) -> dict[Cell, int]:
    """Cell -> mask; a line goes on into the boxes it meets."""
    found: dict[Cell, int] = {}
    for (a, b), (c, d) in route.stretches:
        step = (c > a) - (c < a), (d > b) - (d < b)
        count = max(abs(c - a), abs(d - b))
        way = [(a + k * step[0], b + k * step[1]) for k in range(count + 1)]
        for cell in way:
            found.setdefault(cell, 0)
        for here, there in pairwise(way):
            found[here] |= _WAYS[step]
            found[there] |= _WAYS[-step[0], -step[1]]
    for terminal in route.terminals:
        found[terminal.cell] |= ON if terminal.side == "low" else BACK
    return found


def crossings(found: Sequence[dict[Cell, int]]) -> dict[Cell, tuple[int, int]]:
    """Cells that two lines share -> (line that runs across, line that runs along)."""
    owner: dict[Cell, int] = {}
    shared: dict[Cell, tuple[int, int]] = {}
    for number, cells in enumerate(found):
        for cell, mask in cells.items():
            other = owner.setdefault(cell, number)
            if other != number:
                across = mask & (BEFORE | AFTER)
                shared[cell] = (number, other) if across else (other, number)
    return shared
