"""The circuit as rows of characters with inks, kept up to date frame by frame.

Only what has changed is drawn again: every line and every box has a key of rounded values, and its
cells are touched when that key changes.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from typing import Literal, NamedTuple

from pneumo.circuit.circuit import PortRef
from pneumo.circuit.graph import highest_pressures
from pneumo.live.frame import Frame
from pneumo.live.plant import Plant
from pneumo.schematic.arrange import Cell
from pneumo.schematic.sheet import Box, Sheet, Side
from tui import text
from tui.drawing.glyphs import FLOW, Weight, glyph, weight
from tui.drawing.layout import FAULT, Band, lay_out
from tui.drawing.symbols import Facts, Ink, Look, Symbols, width_of

Direction = Literal["left", "right", "up", "down"]

NUMBER = 5
"""Cells of a pressure: a mark for trapped pressure and "5.48"."""

CLEAR = 6
"""Cells kept free left of a number below its line."""

LEAST_MODE = 5
"""Letters of how a component fails that are worth writing."""
LONGEST = 60
"""Cells of a name with its faults."""


class _Arrow(NamedTuple):
    """A cell beside a box that can carry an arrowhead."""

    cell: Cell
    into: str
    """The arrowhead when air goes into the box."""
    out: str
    read: Callable[[Frame], float | None]


class Picture:
    """Sheets of a plant, drawn in a width of so many cells as far as they can be cut to it."""

    def __init__(
        self,
        plant: Plant,
        symbols: Symbols,
        rest: Frame,
        drawn: Sequence[Sheet],
        width: int,
    ) -> None:
        self.plant = plant
        self.symbols = symbols
        facts = symbols.facts(rest)

        def width_of_box(box: Box) -> int:
            look = symbols.drawer(box)(facts)
            return width_of(look) + _port_width(box.low) + _port_width(box.high)

        self.layout = lay_out(drawn, width_of_box, width - 1)
        self.boxes = self.layout.boxes
        self._drawers = [symbols.drawer(box) for box in self.boxes]
        self.box_of = {name: i for i, box in enumerate(self.boxes) for name in box.represents}
        highest = highest_pressures(plant.circuit).values()
        self.highest = max(highest, default=0.0) - plant.circuit.ambient.pressure
        self.width, self.height = self.layout.width + 1, self.layout.height
        self.letters: list[list[str]] = [[" "] * self.width for _ in range(self.height)]
        self.inks: list[list[Ink]] = [[""] * self.width for _ in range(self.height)]
        self._nets = [plant.net_of[track.line.port] for track in self.layout.tracks]
        self._arrows = [self._arrows_of(number) for number in range(len(self._nets))]
        self._draw_still()
        self.number_at = self._number_places()
        self._occupied = self._taken() | {
            (x + i, y) for x, y, room in self.number_at.values() for i in range(room)
        }
        self._room = [self._name_room(i) for i in range(len(self.boxes))]
        self._line_keys: list[object] = [None] * len(self._nets)
        self._looks: list[tuple[Look, str] | None] = [None] * len(self.boxes)
        self._numbers: dict[int, object] = {}
        self._headings: dict[Band, tuple[str, str]] = {}
        zones = {name: i for i, name in enumerate(plant.zones)}
        self._zone_of = [(b, zones.get(b.name)) for b in self.layout.bands if b.name]
        self._last: int | None = None

    # drawing

    def update(self, frame: Frame) -> set[int]:
        """Draws a frame; returns the rows that have changed."""
        if frame.number == self._last:
            return set()
        self._last = frame.number
        changed: set[int] = set()
        trapped = frozenset(frame.trapped)
        for number, net in enumerate(self._nets):
            drawn = weight(frame.pressures[net], self.highest)
            arrows = tuple(_arrowhead(arrow, frame) for arrow in self._arrows[number])
            key = (drawn, net in trapped, arrows)
            if key != self._line_keys[number]:
                self._line_keys[number] = key
                self._draw_line(number, drawn, net in trapped, arrows, changed)
        for net, (x, y, room) in self.number_at.items():
            pressure = frame.pressures[net]
            written = "" if pressure is None else text.pressure(pressure, unit=False)
            if net in trapped:
                written = "~" + written
            if self._numbers.get(net) != written:
                self._numbers[net] = written
                ink = "trapped" if net in trapped else "number"
                shown = written if len(written) <= room else written.removeprefix("~")
                self._write(x, y, f"{shown:>{room}}"[:room], ink)
                changed.add(y)
        for band, words in self._heading_words(frame):
            if self._headings.get(band) != words:
                self._headings[band] = words
                self._draw_heading(band, *words)
                changed.add(band.y)
        facts = self.symbols.facts(frame)
        for i, draw in enumerate(self._drawers):
            look = draw(facts), self._faults(i, facts)
            if look != self._looks[i]:
                self._looks[i] = look
                self._draw_box(i, *look, changed)
        return changed

    def _heading_words(self, frame: Frame) -> list[tuple[Band, tuple[str, str]]]:
        """Per sheet the state its logic believes it is in, and why it is faulted; both "" if it
        is not a zone."""
        return [
            (band, ("", "") if i is None else (frame.zones[i].state, frame.zones[i].first_out))
            for band, i in self._zone_of
        ]

    def heading_at(self, row: int) -> Band | None:
        """The sheet whose heading is in a row."""
        return next((band for band, _ in self._zone_of if band.y == row), None)

    def _draw_heading(self, band: Band, state: str, first_out: str) -> None:
        self._write(0, band.y, " " * band.width, "heading")
        words = f"{band.name}  {state}" if state else band.name
        self._write(0, band.y, text.short(words, band.width), "heading")
        room = band.width - len(words) - 2
        if first_out and room > 0:
            self._write(len(words) + 1, band.y, text.short(f"x {first_out}", room), "fault")

    def _faults(self, box: int, facts: Facts) -> str:
        if not facts.faults:
            return ""
        if self.boxes[box].marker:
            return ""
        modes = [facts.faults[m] for m in self.boxes[box].members if m in facts.faults]
        return ", ".join(modes)

    def _draw_line(
        self, number: int, drawn: Weight, trapped: bool, arrows: Sequence[str], changed: set[int]
    ) -> None:
        ink = "trapped" if trapped else drawn
        for (x, y), mask in self.layout.tracks[number].cells.items():
            self.letters[y][x] = glyph(mask, drawn)
            self.inks[y][x] = ink
            changed.add(y)
        for arrow, head in zip(self._arrows[number], arrows, strict=True):
            x, y = arrow.cell
            if head:
                self.letters[y][x], self.inks[y][x] = head, "flow"
            elif trapped:
                self.letters[y][x] = "~"

    def _draw_box(self, i: int, look: Look, faults: str, changed: set[int]) -> None:
        place, box = self.layout.places[i], self.boxes[i]
        room = self._room[i]
        label = f"x {box.label}" if faults else box.label
        if faults and room > len(label) + LEAST_MODE:
            label += f" {faults}"
        self._write(place.x, place.y, f"{text.short(label, room):<{room}}",
                    "fault" if faults else "name")  # fmt: skip
        x = place.x
        (first, ink), *rest = look
        pieces = [(first[0], ink), (_port(box.low, 1, "low"), "port"), (first[1:], ink), *rest]
        last, ink = pieces.pop()
        pieces += [(last[:-1], ink), (_port(box.high, 1, "high"), "port"), (last[-1], ink)]
        for piece, ink in pieces:
            self._write(x, place.y + 1, piece, ink)
            x += len(piece)
        changed.update((place.y, place.y + 1))

    def _draw_still(self) -> None:
        """What never changes: the lower rows of boxes with several ports."""
        for box, place in zip(self.boxes, self.layout.places, strict=True):
            for row in range(2, place.height):
                left, right = _port(box.low, row, "low"), _port(box.high, row, "high")
                self._write(place.x, place.y + row, "[" + " " * (place.width - 2) + "]", "symbol")
                self._write(place.x + 1, place.y + row, left, "port")
                end = place.x + place.width - 1
                self._write(end - len(right), place.y + row, right, "port")

    def _write(self, x: int, y: int, words: str, ink: Ink) -> None:
        letters, inks = self.letters[y], self.inks[y]
        for i, letter in enumerate(words, x):
            if i >= self.width:
                break
            letters[i], inks[i] = letter, ink

    # places

    def _arrows_of(self, number: int) -> list[_Arrow]:
        found = []
        for terminal in self.layout.tracks[number].terminals:
            box = self.boxes[terminal.box]
            if not terminal.port:
                continue
            read = self.symbols.flow(PortRef(box.members[0], terminal.port))
            into, out = ("▸", "◂") if terminal.side == "low" else ("◂", "▸")
            found.append(_Arrow(terminal.cell, into, out, read))
        return found

    def _taken(self) -> set[Cell]:
        cells = {cell for track in self.layout.tracks for cell in track.cells}
        for box, place in zip(self.boxes, self.layout.places, strict=True):
            cells |= {(place.x + i, place.y) for i in range(-1, len(box.label) + FAULT)}
            cells |= {
                (place.x + i, place.y + row)
                for i in range(place.width)
                for row in range(1, place.height)
            }
        for band in self.layout.bands:
            if band.name:
                cells |= {(x, band.y) for x in range(band.width)}
        return cells

    def _number_places(self) -> dict[int, tuple[int, int, int]]:
        """Where the pressure of a net without a vessel is written, beside a level stretch: x, y and
        cells."""
        shown = {
            self.plant.net_of[PortRef(box.members[0], p.name)]
            for box in self.boxes
            if box.vessel
            for p in self.plant.circuit.components[box.members[0]].ports()[:1]
        }
        taken = self._taken()
        found: dict[int, tuple[int, int, int]] = {}
        for net, track in zip(self._nets, self.layout.tracks, strict=True):
            if net in shown or net in found or self.plant.nets[net].outside:
                continue
            beside = {end.cell for end in track.terminals}

            def order(stretch: tuple[int, int, int], beside: set[Cell] = beside) -> tuple[int, ...]:
                """At a box first, where one sees whose pressure it is; then the longest."""
                y, start, end = stretch
                return not {(start, y), (end, y)} & beside, start - end, *stretch

            for y, start, end in sorted(track.level, key=order):
                at = _free_run(taken, y, start, end, self.width, self.height)
                if at is not None:
                    found[net] = at
                    taken |= {(at[0] + i, at[1]) for i in range(at[2])}
                    break
        return found

    def _name_room(self, i: int) -> int:
        """Cells that the name and what is wrong with it may take."""
        place, box = self.layout.places[i], self.boxes[i]
        room = len(box.label) + FAULT
        while room < LONGEST and not any(
            (place.x + at, place.y) in self._occupied for at in (room, room + 1)
        ):
            room += 1
        return room

    # finding

    def box_at(self, x: int, y: int) -> int | None:
        """The box at a cell."""
        for i, place in enumerate(self.layout.places):
            if place.x <= x < place.x + place.width and place.y <= y < place.y + place.height:
                return i
        return None

    def nearest(self, box: int, direction: Direction) -> int:
        """The nearest box in a direction, markers left out; the same one if there is none."""
        x, y = self._middle(box)
        best, found = float("inf"), box
        for i, other in enumerate(self.boxes):
            if other.marker:
                continue
            dx, dy = self._middle(i)[0] - x, self._middle(i)[1] - y
            along, aside = {
                "left": (-dx, dy * 4), "right": (dx, dy * 4),
                "up": (-dy * 2, dx), "down": (dy * 2, dx),
            }[direction]  # fmt: skip
            if along <= 0:
                continue
            cost = along + 2.0 * abs(aside)
            if cost < best:
                best, found = cost, i
        return found

    def _middle(self, box: int) -> tuple[float, float]:
        place = self.layout.places[box]
        return place.x + place.width / 2, place.y + 1


def _arrowhead(arrow: _Arrow, frame: Frame) -> str:
    flow = arrow.read(frame)
    if flow is None or abs(flow) <= FLOW:
        return ""
    return arrow.into if flow > 0.0 else arrow.out


def _port(ports: Sequence[str], row: int, side: Side) -> str:
    """The name of a port beside its line; only where a side has several."""
    if len(ports) < 2:
        return ""
    name = ports[row - 1] if row <= len(ports) else ""
    width = _port_width(ports)
    if not name:
        return " " * width
    return f"{name + ':':<{width}}" if side == "low" else f"{':' + name:>{width}}"


def _port_width(ports: Sequence[str]) -> int:
    return max(map(len, ports)) + 1 if len(ports) > 1 else 0


def _free_run(
    taken: Collection[Cell], y: int, start: int, end: int, width: int, height: int
) -> tuple[int, int, int] | None:
    """Room for a number above a level stretch, without the mark if need be, or below it where
    nothing is near to which it would seem to belong: x, y, cells."""
    for row, room, clear in ((y - 1, NUMBER, 0), (y - 1, NUMBER - 1, 0), (y + 1, NUMBER, CLEAR)):
        if not 0 <= row < height:
            continue
        for x in range(max(start - 1, 0), min(end + 1, width) - room + 1):
            if all((x + i, row) not in taken for i in range(-clear, room)):
                return x, row, room
    return None
