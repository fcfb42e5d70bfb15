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
from tui import text
from tui.drawing.boxes import ZONES, Fold, Side, diagram
from tui.drawing.glyphs import FLOW, Weight, glyph, weight
from tui.drawing.layout import FAULT, Cell, arrange
from tui.drawing.symbols import Facts, Ink, Look, Symbols, width_of

Direction = Literal["left", "right", "up", "down"]

NUMBER = 5
"""Cells of a pressure: a mark for trapped air and "5.48"."""

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
    """A drawing of a plant with some branches folded."""

    def __init__(
        self, plant: Plant, symbols: Symbols, rest: Frame, folded: Collection[Fold] = ()
    ) -> None:
        self.plant = plant
        self.symbols = symbols
        self.diagram = diagram(plant.circuit, plant.net_of, folded)
        boxes = self.diagram.boxes
        facts = symbols.facts(rest)
        self._drawers = [symbols.drawer(box, "1" in box.right) for box in boxes]
        self._symbol_widths = [width_of(draw(facts)) for draw in self._drawers]
        self.layout = arrange(
            self.diagram,
            [
                symbol + _port_width(box.left) + _port_width(box.right)
                for box, symbol in zip(boxes, self._symbol_widths, strict=True)
            ],
        )
        self.box_of = {name: i for i, box in enumerate(boxes) for name in box.members}
        for name, switch in plant.circuit.of_kind("jaw_switch").items():
            of = str(getattr(switch, "of", ""))
            if of in self.box_of:
                self.box_of[name] = self.box_of[of]
        highest = highest_pressures(plant.circuit).values()
        self.highest = max(highest, default=0.0) - plant.circuit.ambient.pressure
        self.width, self.height = self.layout.width + 1, self.layout.height
        self.letters: list[list[str]] = [[" "] * self.width for _ in range(self.height)]
        self.inks: list[list[Ink]] = [[""] * self.width for _ in range(self.height)]
        self._arrows = [self._arrows_of(number) for number in range(len(self.diagram.lines))]
        self._draw_still()
        self.number_at = self._number_places()
        self._occupied = self._taken() | {
            (x + i, y) for x, y in self.number_at.values() for i in range(NUMBER)
        }
        self._room = [self._name_room(i) for i in range(len(boxes))]
        self._line_keys: list[object] = [None] * len(self.diagram.lines)
        self._looks: list[tuple[Look, str] | None] = [None] * len(boxes)
        self._numbers: dict[int, object] = {}
        self._headings: dict[int, tuple[str, str]] = {}
        self._zone_of = [
            (group, plant.zones.index(name) if name in plant.zones else None)
            for group, name in enumerate(self.diagram.groups)
            if group in self.layout.headings
        ]
        self._last: int | None = None

    # drawing

    def update(self, frame: Frame) -> set[int]:
        """Draws a frame; returns the rows that have changed."""
        if frame.number == self._last:
            return set()
        self._last = frame.number
        changed: set[int] = set()
        trapped = frozenset(frame.trapped)
        for number, line in enumerate(self.diagram.lines):
            pressure = frame.pressures[line.net]
            drawn = weight(pressure, self.highest)
            arrows = tuple(_arrowhead(arrow, frame) for arrow in self._arrows[number])
            key = (drawn, line.net in trapped, arrows)
            if key != self._line_keys[number]:
                self._line_keys[number] = key
                self._draw_line(number, drawn, line.net in trapped, arrows, changed)
        for net, (x, y) in self.number_at.items():
            pressure = frame.pressures[net]
            written = "" if pressure is None else text.pressure(pressure, unit=False)
            if net in trapped:
                written = "~" + written
            if self._numbers.get(net) != written:
                self._numbers[net] = written
                ink = "trapped" if net in trapped else "number"
                self._write(x, y, f"{written:>{NUMBER}}"[:NUMBER], ink)
                changed.add(y)
        for group, words in self._heading_words(frame):
            if self._headings.get(group) != words:
                self._headings[group] = words
                self._draw_heading(group, *words)
                changed.add(self.layout.headings[group][1])
        facts = self.symbols.facts(frame)
        for i, draw in enumerate(self._drawers):
            look = draw(facts), self._faults(i, facts)
            if look != self._looks[i]:
                self._looks[i] = look
                self._draw_box(i, *look, changed)
        return changed

    def _heading_words(self, frame: Frame) -> list[tuple[int, tuple[str, str]]]:
        """Per group the state its logic believes it is in, and why it is faulted; both "" if it
        is not a zone."""
        return [
            (group, ("", "") if i is None else (frame.zones[i].state, frame.zones[i].first_out))
            for group, i in self._zone_of
        ]

    def heading_at(self, row: int) -> tuple[int, int, int] | None:
        """Group, first cell and width of the heading in a row."""
        for group, (x, y) in self.layout.headings.items():
            if y == row:
                return group, x, self.layout.bands[group][2]
        return None

    def _draw_heading(self, group: int, state: str, first_out: str) -> None:
        x, y = self.layout.headings[group]
        width = self.layout.bands[group][2]
        name = self.diagram.groups[group]
        self._write(x, y, " " * width, "heading")
        words = f"{name}  {state}" if state else name
        self._write(x, y, text.short(words, width), "heading")
        room = width - len(words) - 2
        if first_out and room > 0:
            self._write(x + len(words) + 1, y, text.short(f"x {first_out}", room), "fault")

    def _faults(self, box: int, facts: Facts) -> str:
        if not facts.faults:
            return ""
        modes = [facts.faults[m] for m in self.diagram.boxes[box].members if m in facts.faults]
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
        place, box = self.layout.places[i], self.diagram.boxes[i]
        room = self._room[i]
        label = f"x {box.label}" if faults else box.label
        if faults and room > len(label) + LEAST_MODE:
            label += f" {faults}"
        self._write(place.x, place.y, f"{text.short(label, room):<{room}}",
                    "fault" if faults else "name")  # fmt: skip
        x = place.x
        (first, ink), *rest = look
        pieces = [(first[0], ink), (_port(box.left, 1, "left"), "port"), (first[1:], ink), *rest]
        last, ink = pieces.pop()
        pieces += [(last[:-1], ink), (_port(box.right, 1, "right"), "port"), (last[-1], ink)]
        for piece, ink in pieces:
            self._write(x, place.y + 1, piece, ink)
            x += len(piece)
        changed.update((place.y, place.y + 1))

    def _draw_still(self) -> None:
        """What never changes: the lower rows of boxes with several ports."""
        for box, place in zip(self.diagram.boxes, self.layout.places, strict=True):
            for row in range(2, place.height):
                left, right = _port(box.left, row, "left"), _port(box.right, row, "right")
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
            box = self.diagram.boxes[terminal.box]
            if not terminal.port:
                continue
            read = self.symbols.flow(PortRef(box.members[0], terminal.port))
            into, out = ("▸", "◂") if terminal.side == "left" else ("◂", "▸")
            found.append(_Arrow(terminal.cell, into, out, read))
        return found

    def _taken(self) -> set[Cell]:
        cells = {cell for track in self.layout.tracks for cell in track.cells}
        for box, place in zip(self.diagram.boxes, self.layout.places, strict=True):
            cells |= {(place.x + i, place.y) for i in range(-1, len(box.label) + FAULT)}
            cells |= {
                (place.x + i, place.y + row)
                for i in range(place.width)
                for row in range(1, place.height)
            }
        for group, (x, y) in self.layout.headings.items():
            cells |= {(x + i, y) for i in range(self.layout.bands[group][2])}
        return cells

    def _number_places(self) -> dict[int, Cell]:
        """Where the pressure of a net without a vessel is written: beside a level stretch."""
        shown = {
            self.plant.net_of[PortRef(box.members[0], p.name)]
            for box in self.diagram.boxes
            if box.vessel
            for p in self.plant.circuit.components[box.members[0]].ports()[:1]
        }
        taken = self._taken()
        found: dict[int, Cell] = {}
        for line, track in zip(self.diagram.lines, self.layout.tracks, strict=True):
            net = line.net
            if net in shown or net in found or self.plant.nets[net].outside:
                continue
            for y, start, end in sorted(track.level, key=lambda s: (s[1] - s[2], s)):
                at = _free_run(taken, y, start, end, self.width, self.height)
                if at is not None:
                    found[net] = at
                    taken |= {(at[0] + i, at[1]) for i in range(NUMBER)}
                    break
        return found

    def _name_room(self, i: int) -> int:
        """Cells that the name and what is wrong with it may take."""
        place, box = self.layout.places[i], self.diagram.boxes[i]
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
        """The nearest box in a direction; the same one if there is none."""
        x, y = self._middle(box)
        best, found = float("inf"), box
        for i in range(len(self.diagram.boxes)):
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

    def zone_groups(self) -> list[int]:
        """Groups of zones from top to bottom."""
        return sorted(g for g in self.layout.bands if g >= ZONES)


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
    return f"{name + ':':<{width}}" if side == "left" else f"{':' + name:>{width}}"


def _port_width(ports: Sequence[str]) -> int:
    return max(map(len, ports)) + 1 if len(ports) > 1 else 0


def _free_run(
    taken: Collection[Cell], y: int, start: int, end: int, width: int, height: int
) -> Cell | None:
    """Room for a number above or below a level stretch."""
    for row in (y - 1, y + 1):
        if not 0 <= row < height:
            continue
        for x in range(max(start - 1, 0), min(end + 1, width) - NUMBER + 1):
            if all((x + i, row) not in taken for i in range(NUMBER)):
                return x, row
    return None
