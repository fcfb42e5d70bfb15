"""The states of a zone and the ways between them, drawn in characters.

The ways and their words come from the zone table; only their places on the sheet are kept here.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

from pneumo.zone import guard
from pneumo.zone.machine import ZONE_MACHINE, Row, State
from pneumo.zone.sensed import Side, Spring
from tui.widgets.canvas import Canvas

LOOKS = ("text", "muted", "current", "bad", "waits", "last", "title", "button", "chosen")
TEXT, MUTED, CURRENT, BAD, WAITS, LAST, TITLE, BUTTON, CHOSEN = range(9)
"""Places in LOOKS."""

WIDTH, HEIGHT = 72, 14
"""Cells of a drawing."""

BOX = 12
"""Width of a state's box; it is 3 high."""

Point = tuple[int, int]


class Edge(NamedTuple):
    """A way from one state to another."""

    source: State
    destination: State
    words: str
    """The command, or the guard, that takes it."""


class Route(NamedTuple):
    """Where a way is drawn."""

    points: tuple[Point, ...]
    """Its corners; the arrow is at the last."""
    label: Point
    """First cell of its words."""
    room: int
    """Cells for its words; longer ones are broken between words."""


PLACES: Mapping[Spring, Mapping[State, Point]] = {
    "open": {
        "open": (0, 0), "closing": (26, 0), "closed": (52, 0),
        "venting": (26, 7), "faulted": (26, 11),
    },
    "close": {
        "open": (0, 0), "venting": (26, 0), "closing": (52, 0),
        "opening": (26, 7), "closed": (52, 7), "faulted": (26, 11),
    },
}  # fmt: skip
"""Left upper corner of each box."""

_FIRST = Route(((13, 1), (24, 1)), (13, 0), 12)
_SECOND = Route(((39, 1), (50, 1)), (38, 0), 13)
_DOWN = Route(((34, 3), (34, 6)), (36, 4), 7)
_UP = Route(((29, 6), (29, 3)), (22, 4), 6)
_BACK = Route(((24, 8), (6, 8), (6, 3)), (8, 7), 16)

ROUTES: Mapping[Spring, Mapping[tuple[State, State], Route]] = {
    "open": {
        ("open", "closing"): _FIRST,
        ("closing", "closed"): _SECOND,
        ("closing", "venting"): _DOWN,
        ("venting", "closing"): _UP,
        ("closed", "venting"): Route(((58, 3), (58, 8), (39, 8)), (46, 7), 11),
        ("venting", "open"): _BACK,
    },
    "close": {
        ("open", "venting"): _FIRST,
        ("venting", "closing"): _SECOND,
        ("venting", "opening"): Route(((32, 3), (32, 6)), (34, 3), 5),
        ("opening", "venting"): _UP,
        ("closing", "opening"): Route(((54, 3), (54, 5), (36, 5), (36, 6)), (45, 4), 8),
        ("closing", "closed"): Route(((60, 3), (60, 6)), (62, 4), 10),
        ("closed", "opening"): Route(((50, 8), (39, 8)), (43, 7), 7),
        ("opening", "open"): _BACK,
    },
}

_LIGHT = {"h": "─", "v": "│", "corners": "┌┐└┘"}
_HEAVY = {"h": "━", "v": "┃", "corners": "┏┓┗┛"}
_DASHED = {"h": "╌", "v": "╎", "corners": "┌┐└┘"}


def words_of(row: Row) -> str:
    """What takes a row: its command, or its guard in words."""
    if row.trigger in ("arrive", "fault"):
        return row.guard.__name__.replace("_", " ")
    return row.trigger


def edges(spring: Spring) -> tuple[Edge, ...]:
    """Every way of one sort of zone between its working states, in the order of the table."""
    found: dict[tuple[State, State], list[str]] = {}
    for row in ZONE_MACHINE.table:
        if row.spring in (spring, "any") and row.trigger not in ("fault", "reset"):
            for source in row.sources:
                if source in PLACES[spring]:
                    found.setdefault((source, row.destination), []).append(words_of(row))
    return tuple(Edge(a, b, ", ".join(words)) for (a, b), words in found.items())


def reset_to(spring: Spring, safe: Side) -> State:
    """Where a reset leads from the faulted state."""
    needed = guard.safe_is_closed if safe == "closed" else guard.safe_is_open
    (row,) = (r for r in ZONE_MACHINE.command_rows(spring)["reset", "faulted"] if r.guard is needed)
    return row.destination


def draw(
    canvas: Canvas,
    at: Point,
    spring: Spring,
    safe: Side,
    state: str,
    last: tuple[str, str] | None,
    waits: Collection[str],
) -> None:
    """Draws the states of a zone with the left upper corner `at`.

    `last` is the transition taken last, drawn heavy; `waits` are the states that the zone would
    go to by itself, the ways there are dashed. The present state has a heavy box and a dot.
    """
    pen = _Pen(canvas, at)
    for edge in edges(spring):
        route = ROUTES[spring][edge.source, edge.destination]
        if (edge.source, edge.destination) == last:
            pen.way(route, edge.words, _HEAVY, LAST)
        elif edge.source == state and edge.destination in waits:
            pen.way(route, edge.words, _DASHED, WAITS)
        else:
            pen.way(route, edge.words, _LIGHT, MUTED)
    faulting = last is not None and last[1] == "faulted"
    stroke = "━" if faulting else "─"
    look = LAST if faulting else MUTED
    pen.text(0, 12, f"any state {stroke * 2} a fault {stroke * 3}▶", look)
    pen.text(39, 12, f"── reset ──▶ {reset_to(spring, safe)}", MUTED)
    for name, place in PLACES[spring].items():
        pen.box(place, name, name == state)


class _Pen:
    """Strokes on a canvas, from an origin."""

    def __init__(self, canvas: Canvas, origin: Point) -> None:
        self.canvas = canvas
        self.x, self.y = origin

    def text(self, x: int, y: int, words: str, look: int) -> None:
        self.canvas.write(self.x + x, self.y + y, words, look)

    def box(self, place: Point, name: str, current: bool) -> None:
        x, y = place
        strokes = _HEAVY if current else _LIGHT
        a, b, c, d = list(strokes["corners"])
        h, v = strokes["h"], strokes["v"]
        look = TEXT
        if current:
            look = BAD if name == "faulted" else CURRENT
        inside = f"● {name}" if current else name
        self.text(x, y, a + h * (BOX - 2) + b, look)
        self.text(x, y + 1, v + inside.center(BOX - 2) + v, look)
        self.text(x, y + 2, c + h * (BOX - 2) + d, look)

    def way(self, route: Route, words: str, strokes: Mapping[str, str], look: int) -> None:
        for begin, end in pairwise(route.points):
            self._stroke(begin, end, strokes, look)
        for before, corner, after in zip(
            route.points, route.points[1:], route.points[2:], strict=False
        ):
            turn = _direction(before, corner) + _direction(corner, after)
            self.text(*corner, strokes["corners"][_CORNERS[turn]], look)
        head = "▶◀▲▼"["ewns".index(_direction(*route.points[-2:]))]
        self.text(*route.points[-1], head, look)
        x, y = route.label
        lines = _broken(words, route.room)
        if len(lines) == 1 and _direction(*route.points[-2:]) in "ew" and len(route.points) == 2:
            x += (route.room - len(words)) // 2
        for n, line in enumerate(lines):
            self.text(x, y + n, line, look)

    def _stroke(self, begin: Point, end: Point, strokes: Mapping[str, str], look: int) -> None:
        (x0, y0), (x1, y1) = begin, end
        if y0 == y1:
            self.text(min(x0, x1), y0, strokes["h"] * (abs(x1 - x0) + 1), look)
        for y in range(min(y0, y1), max(y0, y1) + 1):
            if x0 == x1:
                self.text(x0, y, strokes["v"], look)


_CORNERS = {"sw": 3, "wn": 2, "ws": 0, "es": 1, "en": 3, "nw": 1, "ne": 0, "se": 2}
"""Direction before and after a turn -> place in "┌┐└┘"."""


def _direction(begin: Point, end: Point) -> str:
    if begin[1] == end[1]:
        return "e" if end[0] > begin[0] else "w"
    return "s" if end[1] > begin[1] else "n"


def _broken(words: str, room: int) -> Sequence[str]:
    lines = [""]
    for word in words.split(" "):
        longer = f"{lines[-1]} {word}".strip()
        if len(longer) > room and lines[-1]:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines
