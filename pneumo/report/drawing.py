"""A circuit as self-contained SVG drawings: each zone by itself, and the ride as an overview.

A pen for `pneumo.schematic`: along is upwards, across to the right, a cell is `GRID` wide. Air
rises through the picture (ISO 1219-2 puts energy below and actuators above too).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from math import ceil

from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.circuit.symmetry import span
from pneumo.components.base import kind_of
from pneumo.report import label, svg
from pneumo.report.palette import PAPER
from pneumo.report.picture import GRID, Picture
from pneumo.report.pictures import marker, picture
from pneumo.schematic.arrange import Arrangement, Pitch, Shape, arrange
from pneumo.schematic.cells import masks
from pneumo.schematic.sheet import Box, End, Sheet, sheets

MARGIN = 12.0
HEADING = 26.0
PAGE = 680.0, 940.0
"""Room for a drawing on an A4 page with its margins and heading, at natural size."""
MOST_PIECES = 4
LINK = 14.0
"""From a brake to the switches that see it."""
CHANNEL = 2
"""Least cells between two ranks."""


@dataclass(frozen=True)
class Drawing:
    """One drawing of a circuit."""

    title: str
    zone: str
    """"" for the overview."""
    svg: str
    """A whole document, no wider than an A4 page once it is scaled to it."""


def drawings(circuit: Circuit) -> tuple[Drawing, ...]:
    """Each zone and group of gates, then the plant that feeds them as an overview of the ride.

    The same circuit gives the same text. Every component that is drawn is a group with
    `data-component`; `data-stands-for` lists all components a drawn one stands for, itself
    included. A circuit with one zone is a single drawing.
    """
    found = sheets(circuit)
    ends = {link.a: link.end for link in circuit.connections if link.b is None}
    ends |= dict.fromkeys(circuit.open_ends(), "atmosphere")
    zones = [sheet for sheet in found if sheet.name]
    plant = [sheet for sheet in found if not sheet.name]
    return tuple(_Pen(circuit, sheet, ends).drawing() for sheet in (*zones, *plant))


def legend(circuit: Circuit) -> str:
    """What the lines and marks of the drawings mean, as a document; only what occurs."""
    found = sheets(circuit)
    boxes = [box for sheet in found for box in sheet.boxes]
    stroke = '<path d="M0 6 L34 6" stroke-dasharray="{}"/>'
    entries = [(stroke.format("none"), 34.0, "working line")]
    if any(line.pilot for sheet in found for line in sheet.lines):
        entries.append((stroke.format(svg.DASHES["pilot"]), 34.0, "pilot line"))
    if any(box.riders for box in boxes):
        entries.append((stroke.format(svg.DASHES["link"]), 34.0, "switch sees"))
    if circuit.open_ends() or any(link.end == "atmosphere" for link in circuit.connections):
        entries.append((_end_mark("atmosphere", 10, 2, 1), 20.0, "into the open air"))
    if any(box.marker for box in boxes):
        entries.append((svg.moved(marker().body, 0, -3), 20.0, "goes on in another drawing"))
    if any(len(box.members) > 1 for box in boxes):
        count = svg.words(0, 10, "× n", label.NAME_SIZE, bold=True)
        entries.append((count, 26.0, "n branches that are alike, drawn once"))
    x, body = MARGIN, ""
    for drawn, wide, words in entries:
        body += svg.moved(drawn, x, 5)
        body += svg.words(x + wide + 6, 15, words, label.VALUE_SIZE, soft=True)
        x += wide + 22 + 5.8 * len(words)
    return svg.document(x, 26, body, "Lines and marks of the drawings")


@dataclass(frozen=True)
class _Figure:
    """A picture with its label, from the upper left corner of its box."""

    drawn: Picture
    lines: tuple[tuple[str, str], ...]
    """Of the label, each (style, words)."""
    width: float
    height: float
    x: float
    y: float
    """Of the picture."""
    label_x: float
    label_y: float
    """Middle of the label's first line."""
    align: str


def _figure(drawn: Picture, lines: Sequence[tuple[str, str]], where: str) -> _Figure:
    """Picture and label beside, above or below each other; ports stay on the grid."""
    wide, tall = label.size(lines)
    first = label.LINE_STEP / 2
    port = next(iter((*drawn.low.values(), *drawn.high.values())), 0.0)
    if where == "beside":
        x = -port % GRID
        height = max(drawn.height, tall)
        y = (height - drawn.height) / 2
        right = x + drawn.width + 5
        return _Figure(drawn, tuple(lines), right + wide, height, x, y, right,
                       (height - tall) / 2 + first, "start")  # fmt: skip
    x = max(0.0, (wide - drawn.width) / 2)
    x += -(x + port) % GRID
    middle = x + drawn.width / 2
    width = max(x + drawn.width, middle + wide / 2)
    above = where == "above"
    return _Figure(
        drawn, tuple(lines), width, drawn.height + tall + 2, x, tall if above else 0.0, middle,
        first - 2 if above else drawn.height + 2 + first, "middle",
    )  # fmt: skip


class _Pen:
    """Draws one sheet."""

    def __init__(self, circuit: Circuit, sheet: Sheet, ends: Mapping[PortRef, str]) -> None:
        self.circuit = circuit
        self.sheet = sheet
        self.ends = ends
        self.figures = [self._of_box(box) for box in sheet.boxes]
        self.riders = [
            [_figure(picture(circuit.components[row[0]]), self._label(row), "above")
             for row in box.riders]
            for box in sheet.boxes
        ]  # fmt: skip
        self.found = _fitted(sheet, [self._shape(i) for i in range(len(sheet.boxes))])
        self.height = self.found.length * GRID

    def drawing(self) -> Drawing:
        """The sheet as a document."""
        title = self._title()
        body = "".join(self._line(i) for i in range(len(self.sheet.lines)))
        for i, place in enumerate(self.found.places):
            top = self.height - place.along * GRID - self._size(i)[1]
            body += svg.moved(self._box(i), place.across * GRID, top)
        width = max(self.found.breadth * GRID, 7.2 * len(title)) + 2 * MARGIN
        drawn = svg.words(MARGIN, MARGIN + 10, title, 12.0, bold=True)
        drawn += svg.moved(body, MARGIN, HEADING + MARGIN)
        height = HEADING + self.height + 2 * MARGIN
        return Drawing(title, self.sheet.name, svg.document(width, height, drawn, title))

    def _title(self) -> str:
        ride = self.circuit.ride
        if not self.sheet.name:
            return f"{ride.name} · {ride.site}" if ride.site else ride.name
        known = self.circuit.zones.get(self.sheet.name)
        if known is None:
            return f"Gates {self.sheet.name.removesuffix(' (gates)')}"
        spring = self.circuit.zone_spring(self.sheet.name) if known.brakes else ""
        sort = f" · spring-{spring}" if spring else ""
        return f"Zone {self.sheet.name}{sort} · safe state {known.safe_state}"

    # boxes

    def _of_box(self, box: Box) -> _Figure:
        if box.marker:
            return _figure(marker(), self._of_marker(box), "beside")
        component = self.circuit.components[box.name]
        drawn = picture(component)
        where: str = component.symbol.name
        if box.turned:
            drawn = drawn.upside_down()
            where = {"above": "below", "below": "above"}.get(where, where)
        return _figure(drawn, self._label(box.members), where)

    def _of_marker(self, box: Box) -> list[tuple[str, str]]:
        """What a marker leads to: a component, or from the plant a zone."""
        zone = self.circuit.zones.get(box.label) if not self.sheet.name else None
        if zone is None:
            return [("name", box.label)]
        count = len(zone.brakes)
        brakes = f"{count} brake{'s' if count != 1 else ''}, safe state {zone.safe_state}"
        return [("name", f"zone {box.label}"), ("value", brakes)]

    def _label(self, members: Sequence[str]) -> list[tuple[str, str]]:
        """Lines of a label as (style, words): the name broken at underscores, then the values."""
        lines = [("name", part) for part in label.wrapped(span(members))]
        if len(members) > 1:
            lines.append(("count", f"× {len(members)}"))
        component = self.circuit.components[members[0]]
        value = label.describe(component, self.circuit.ambient.pressure)
        return [*lines, ("value", value)] if value else lines

    def _size(self, i: int) -> tuple[float, float]:
        """Width and height of a box with its riders above it."""
        own, riders = self.figures[i], self.riders[i]
        if not riders:
            return own.width, own.height
        row = sum(rider.width + label.APART for rider in riders)
        return max(own.width, row), own.height + LINK + max(rider.height for rider in riders)

    def _shape(self, i: int) -> Shape:
        box, own = self.sheet.boxes[i], self.figures[i]
        width, height = self._size(i)
        low = {port: round((own.x + own.drawn.low[port]) / GRID) for port in box.low}
        high = {port: round((own.x + own.drawn.high[port]) / GRID) for port in box.high}
        return Shape(ceil(height / GRID), ceil((width + label.APART) / GRID), low, high)

    def _box(self, i: int) -> str:
        """A box from its upper left corner: picture, stubs, label, riders."""
        box, own = self.sheet.boxes[i], self.figures[i]
        top = self._size(i)[1] - own.height
        body = svg.moved(own.drawn.body, own.x, top + own.y)
        for ports, used, edge, end in (
            (own.drawn.high, box.high, top + own.y, top if not self.riders[i] else 0.0),
            (own.drawn.low, box.low, top + own.y + own.drawn.height, top + own.height),
        ):
            for port, x in ports.items():
                if port in used and abs(edge - end) > 0.1:
                    body += svg.line((own.x + x, edge), (own.x + x, end))
                elif port not in used and not box.marker:
                    out = -1 if ports is own.drawn.high else 1
                    kind = self.ends.get(PortRef(box.name, port), "")
                    body += _end_mark(kind, own.x + x, edge, out)
        if box.vessel:
            body += self._loose_ends(box, own, top)
        body += _written(own, own.label_x, top + own.label_y)
        x = 0.0
        for row, rider in zip(box.riders, self.riders[i], strict=True):
            low = max(r.height for r in self.riders[i])
            body += self._link(own, top, x + rider.x + rider.drawn.width / 2, low)
            inner = svg.moved(rider.drawn.body, rider.x, rider.y)
            inner += _written(rider, rider.label_x, rider.label_y)
            body += svg.moved(self._tagged(row, inner), x, low - rider.height)
            x += rider.width + label.APART
        return body if box.marker else self._tagged(box.members, body)

    def _link(self, own: _Figure, top: float, x: float, low: float) -> str:
        """What a switch sees: from the picture up to the switch."""
        sense = own.x + (own.drawn.sense if own.drawn.sense is not None else own.drawn.width / 2)
        level = low + LINK / 2
        points = [(x, low), (x, level), (sense, level), (sense, top + own.y)]
        d = "M" + " L".join(f"{svg.number(a)} {svg.number(b)}" for a, b in points)
        return f'<path d="{d}" stroke-dasharray="{svg.DASHES["link"]}" stroke-width="0.9"/>'

    def _loose_ends(self, box: Box, own: _Figure, top: float) -> str:
        """Plugged and open ports of a vessel, at the right end of its upper edge."""
        ports = [port.name for port in self.circuit.components[box.name].ports()]
        kinds = [
            self.ends[PortRef(box.name, p)] for p in ports if PortRef(box.name, p) in self.ends
        ]
        right = own.x + own.drawn.width - GRID
        return "".join(
            _end_mark(kind, right - GRID * k, top + own.y + 3, -1) for k, kind in enumerate(kinds)
        )

    def _tagged(self, members: Sequence[str], body: str) -> str:
        component = self.circuit.components[members[0]]
        title = ", ".join(members) + f" ({component.title or kind_of(component)})"
        stands = f' data-stands-for="{escape(" ".join(members))}"' if len(members) > 1 else ""
        return (
            f'<g data-component="{escape(members[0])}"{stands}>'
            f"<title>{escape(title)}</title>{body}</g>"
        )

    # lines

    def _at(self, along: float, across: float) -> tuple[float, float]:
        return across * GRID, self.height - (along + 0.5) * GRID

    def _line(self, number: int) -> str:
        line, route = self.sheet.lines[number], self.found.routes[number]
        d = ""
        for start, end in route.stretches:
            if start != end:
                (x1, y1), (x2, y2) = self._at(*start), self._at(*end)
                d += f"M{x1:g} {y1:g} L{x2:g} {y2:g} "
        notes = ""
        for terminal in route.terminals:
            place = self.found.places[terminal.box]
            x, y = self._at(*terminal.cell)
            edge = self.height - place.along * GRID
            if terminal.side == "high":
                edge -= self._size(terminal.box)[1]
            d += f"M{x:g} {y:g} L{x:g} {edge:g} "
            notes += self._count(line.ends, terminal.box, x, (y + edge) / 2)
        style = "pilot" if line.pilot else "working"
        dash = f' stroke-dasharray="{svg.DASHES[style]}"' if svg.DASHES[style] else ""
        dots = "".join(
            svg.dot(*self._at(*cell)) for cell, mask in masks(route).items() if mask.bit_count() > 2
        )
        return f'<path d="{d.strip()}"{dash} data-line="{style}"/>{dots}{notes}'

    def _count(self, ends: Sequence[End], box: int, x: float, y: float) -> str:
        """A slanted stroke with a number: so many lines, drawn as one."""
        many = len(self.sheet.boxes[box].members)
        if many == 1 or all(len(self.sheet.boxes[end.box].members) == many for end in ends):
            return ""
        return svg.line((x - 5, y + 4), (x + 5, y - 4)) + (
            svg.words(x + 7, y - 2, str(many), 9.0, soft=True)
        )


def _fitted(sheet: Sheet, shapes: Sequence[Shape]) -> Arrangement:
    """In as many pieces as bring it onto a page at the largest scale."""
    whole = arrange(sheet, shapes, Pitch(CHANNEL, 10**6))
    best = whole
    for pieces in range(2, MOST_PIECES + 1):
        if _scale(best) >= 1.0:
            break
        found = arrange(sheet, shapes, Pitch(CHANNEL, ceil(1.1 * whole.length / pieces), 2))
        if _scale(found) > _scale(best):
            best = found
    return best


def _scale(found: Arrangement) -> float:
    return min(1.0, PAGE[0] / (found.breadth * GRID + 1), PAGE[1] / (found.length * GRID + 1))


def _written(figure: _Figure, x: float, y: float) -> str:
    """A label whose first line has its middle at y."""
    return "".join(
        svg.words(
            x,
            y + 4 + i * label.LINE_STEP,
            words,
            label.VALUE_SIZE if style == "value" else label.NAME_SIZE,
            bold=style == "count",
            soft=style == "value",
            anchor=figure.align,
        )
        for i, (style, words) in enumerate(figure.lines)
    )


def _end_mark(kind: str, x: float, y: float, out: int) -> str:
    """The mark of a port that leads nowhere: a triangle into the open, a bar for a plug."""
    if kind == "atmosphere":
        number = svg.number
        return svg.path(
            f"M{number(x - 5)} {number(y)} L{number(x + 5)} {number(y)} "
            f"L{number(x)} {number(y + 8 * out)} Z",
            fill=PAPER,
        )
    if kind == "plug":
        end = y + 4 * out
        return svg.line((x, y), (x, end)) + svg.line((x - 4, end), (x + 4, end))
    return ""
