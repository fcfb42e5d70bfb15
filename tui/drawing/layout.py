"""The sheets of a schematic under each other in character cells: along is to the right, across
downwards, a zone's name above its drawing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from pneumo.schematic.arrange import Cell, Pitch, Shape, Terminal, arrange
from pneumo.schematic.cells import crossings, masks
from pneumo.schematic.sheet import Box, Line, Sheet

FAULT = 2
"""Cells kept free behind a name, for the mark of a fault before it."""
CHANNEL = 5
"""Least cells between two ranks: room for an arrowhead at each side, and for most numbers above."""
LEAST = 40
"""A screen narrower than this scrolls sideways."""


class Place(NamedTuple):
    """Where a box stands: its name's row is `y`, its ports' rows follow."""

    x: int
    y: int
    width: int
    height: int


class Track(NamedTuple):
    """The cells of one line."""

    line: Line
    cells: dict[Cell, int]
    """Cell -> mask."""
    terminals: tuple[Terminal, ...]
    level: tuple[tuple[int, int, int], ...]
    """Level stretches as (y, first x, last x)."""


class Band(NamedTuple):
    """The room of one sheet; its heading, if it has a name, is in the first row."""

    name: str
    y: int
    width: int
    height: int


class Layout(NamedTuple):
    """All sheets with places for everything. Boxes are numbered through, sheet by sheet."""

    width: int
    height: int
    boxes: tuple[Box, ...]
    places: tuple[Place, ...]
    """Per box."""
    tracks: tuple[Track, ...]
    bridges: dict[Cell, tuple[int, int]]
    """Crossing -> (track drawn upright, track that goes on behind it)."""
    bands: tuple[Band, ...]


def lay_out(sheets: Sequence[Sheet], width_of: Callable[[Box], int], width: int) -> Layout:
    """Every sheet, in a given width as far as it can be cut to it.

    width_of: cells of a box without its name. A name may be longer than its box is wide: it then
    stands above the line that leaves the box.
    """
    boxes: list[Box] = []
    places: list[Place] = []
    tracks: list[Track] = []
    bridges: dict[Cell, tuple[int, int]] = {}
    bands: list[Band] = []
    top = 0
    for sheet in sheets:
        down = top + bool(sheet.name)
        shapes = [_shape(box, width_of(box)) for box in sheet.boxes]
        found = arrange(sheet, shapes, Pitch(CHANNEL, max(width, LEAST)))
        cells = [masks(route) for route in found.routes]
        for (x, y), (upright, level) in crossings(cells).items():
            del cells[level][x, y]
            bridges[x, y + down] = len(tracks) + upright, len(tracks) + level
        for line, route, mine in zip(sheet.lines, found.routes, cells, strict=True):
            terminals = tuple(
                end._replace(box=len(boxes) + end.box, cell=(end.cell[0], end.cell[1] + down))
                for end in route.terminals
            )
            level_at = tuple(
                (y + down, min(x, end), max(x, end))
                for (x, y), (end, last) in route.stretches
                if y == last
            )
            moved = {(x, y + down): mask for (x, y), mask in mine.items()}
            tracks.append(Track(line, moved, terminals, level_at))
        places += [
            Place(p.along, p.across + down, shape.depth, p.size)
            for p, shape in zip(found.places, shapes, strict=True)
        ]
        boxes += sheet.boxes
        bands.append(Band(sheet.name, top, found.length, found.breadth + down - top))
        top = down + found.breadth + 1
    right = max((band.width for band in bands), default=0)
    return Layout(
        right, max(top - 1, 0), tuple(boxes), tuple(places), tuple(tracks), bridges, tuple(bands)
    )


def _shape(box: Box, width: int) -> Shape:
    """A name, below it the box with its ports in as many rows."""
    rows = max(1, len(box.low), len(box.high))
    low = {port: 1 + k for k, port in enumerate(box.low)}
    high = {port: 1 + k for k, port in enumerate(box.high)}
    return Shape(width, 1 + rows, low, high, len(box.label) + FAULT)
