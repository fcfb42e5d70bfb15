"""A whole circuit as one self-contained SVG.

Air rises through the picture: compressors at the bottom, the main as a row above them, a frame per
zone above the main, the brakes at the top (ISO 1219-2 puts energy below and actuators above too).
Branches that are alike are drawn once, with their number.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from html import escape
from itertools import pairwise

import networkx as nx

from pneumo.circuit.circuit import Circuit, Connection, PortRef
from pneumo.circuit.graph import is_pilot, role
from pneumo.components.base import kind_of
from pneumo.report import label, svg
from pneumo.report.grouping import Grouping, group
from pneumo.report.layout import Box, Route, Wire, arrange
from pneumo.report.symbols import GRID, SPREAD_KINDS, Anchor, Side, Symbol, spread, symbol

FRAME = 14.0
"""From a zone's contents to its frame."""
HEADING = 30.0
MARGIN = 16.0
TURNABLE = frozenset(
    {
        "pipe",
        "hose",
        "tube",
        "filter",
        "check_valve",
        "flow_control",
        "silencer",
        "manifold",
    }
)
"""Kinds whose symbol may be drawn upside down."""
_LABEL_ABOVE = frozenset({"pressure_switch", "transmitter", "gauge", "jaw_switch"})
_LABEL_BELOW = frozenset({"silencer"})
_SIDE = frozenset(
    {
        "pressure_switch",
        "transmitter",
        "gauge",
        "silencer",
        "relief_valve",
    }
)


@dataclass(frozen=True)
class _Piece:
    """A drawn part of the circuit, from its own upper left corner."""

    width: float
    height: float
    body: str
    exits: dict[str, Anchor] = field(default_factory=dict)
    """Where lines leave it, by the name of the connection."""


@dataclass(frozen=True)
class _Figure:
    """A symbol with its label in one box."""

    drawn: Symbol
    width: float
    height: float
    x: float
    y: float
    """Of the symbol in the box."""
    label_x: float
    label_y: float
    """Middle of the label's first line."""
    align: str


def draw(circuit: Circuit) -> str:
    """The circuit as an SVG document, the same text for the same circuit.

    Every component that is drawn is a group with `data-component`; `data-stands-for` lists all
    components a drawn one stands for, itself included.
    """
    return _Drawing(circuit).whole()


def draw_zones(circuit: Circuit) -> dict[str, str]:
    """Every zone and group of gates as an SVG document of its own, in document order."""
    drawing = _Drawing(circuit)
    return {zone: drawing.zone(zone) for zone in drawing.groups.zones}


class _Drawing:
    """Draws one circuit; holds what every part of the work looks up."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.groups: Grouping = group(circuit)
        hidden = self.groups.hidden()
        self.shown = [name for name in circuit.components if name not in hidden]
        self.links: list[tuple[str, Connection]] = [
            (f"link {i}", link)
            for i, link in enumerate(circuit.connections)
            if link.a.component not in hidden and (link.b is None or link.b.component not in hidden)
        ]
        self.pilots = frozenset(key for key, link in self.links if is_pilot(circuit, link))
        self.piped = frozenset(
            end.component for _, link in self.links for end in (link.a, link.b) if end is not None
        )
        self.placed = frozenset(self.groups.main).union(*self.groups.zones.values())
        """Components of zones and main."""
        self._figures: dict[str, _Figure] = {}
        self.ends = {link.a: link.end for _, link in self.links if link.b is None} | {
            port: "atmosphere" for port in circuit.open_ends() if port.component not in hidden
        }

    # whole pictures

    def whole(self) -> str:
        placed = self._pieces()
        heading = self.circuit.ride.name
        if self.circuit.ride.site:
            heading += f" · {self.circuit.ride.site}"
        legend = self._legend()
        strip = self._unpiped()
        width = max(placed.width, legend.width, strip.width, 14.0 * len(heading)) + 2 * MARGIN
        top = MARGIN + 26.0
        below = top + placed.height + 18.0
        body = svg.words(MARGIN, MARGIN + 14, heading, 17.0, bold=True)
        body += svg.moved(placed.body, MARGIN, top)
        body += svg.moved(strip.body, MARGIN, below)
        below += strip.height + (10.0 if strip.height else 0.0)
        body += svg.moved(legend.body, MARGIN, below)
        return svg.document(width, below + legend.height + MARGIN, body, f"Circuit of {heading}")

    def zone(self, name: str) -> str:
        piece = self._zone(name, self.groups.zones[name])
        # the way in is named where the line ends
        body = svg.moved(piece.body, MARGIN, MARGIN)
        for key, anchor in piece.exits.items():
            link = dict(self.links)[key]
            members = self.groups.zones[name]
            other = link.b if link.a.component in members else link.a
            assert other is not None
            x, y = anchor.x + MARGIN, MARGIN + piece.height
            body += svg.stroke([(x, y), (x, y + 12)], self._style(key))
            body += svg.words(x + 6, y + 14, f"from {other}", label.VALUE_SIZE)
        return svg.document(
            piece.width + 2 * MARGIN, piece.height + 2 * MARGIN + 16, body, f"Zone {name}"
        )

    def _pieces(self) -> _Piece:
        """Zones, main and the rest, joined."""
        zones = {zone: self._zone(zone, names) for zone, names in self.groups.zones.items()}
        return self._around_main(zones) if self.groups.main else self._stacked(zones)

    # layered pieces

    def _zone(self, zone: str, members: Sequence[str]) -> _Piece:
        inner = self._layered([name for name in members if name in self.shown], "bottom")
        caption = self._caption(zone)
        width = max(inner.width + 2 * FRAME, 6.6 * len(caption) + 2 * FRAME)
        height = inner.height + FRAME + HEADING
        left = round((width - inner.width) / 2)
        body = (
            f'<rect x="0" y="0" width="{width:.1f}" height="{height:.1f}" rx="6" fill="#fafbfc" '
            f'stroke="#8a929b" stroke-width="1" stroke-dasharray="9 4"/>'
        )
        body += svg.words(FRAME, 16, caption, 12.0, bold=True)
        body += svg.moved(inner.body, left, HEADING)
        exits = {key: Anchor(a.x + left, height, "bottom") for key, a in inner.exits.items()}
        for key, anchor in exits.items():
            body += svg.stroke([(anchor.x, height - FRAME), (anchor.x, height)], self._style(key))
        return _Piece(width, height, f'<g data-zone="{escape(zone)}">{body}</g>', exits)

    def _caption(self, zone: str) -> str:
        known = self.circuit.zones.get(zone)
        if known is None:
            return f"Gates {zone.removesuffix(' (gates)')}"
        spring = self.circuit.zone_spring(zone) if known.brakes else ""
        kind_of_zone = f" · spring-{spring}" if spring else ""
        return f"Zone {zone}{kind_of_zone} · safe state {known.safe_state}"

    def _layered(self, names: Sequence[str], towards: Side) -> _Piece:
        """Components in layers; lines to components elsewhere leave at the edge `towards`."""
        if not names:
            return _Piece(0.0, 0.0, "")
        inside = set(names)
        wires: list[Wire] = []
        exits: list[tuple[str, PortRef]] = []
        for key, link in self.links:
            if link.b is None:
                continue
            ends = [end for end in (link.a, link.b) if end.component in inside]
            if len(ends) == 2:
                wires.append(self._wire(link.a, link.b, key))
            elif ends:
                exits.append((key, ends[0]))
        for name in names:
            watched = getattr(self.circuit.components[name], "of", None)
            if watched in inside:
                wires.append(Wire((watched, "sense"), (name, "sense"), "link"))
        layers = self._layers(names, wires, [end.component for _, end in exits], towards)
        boxes = [self._box(name, layers, wires, exits, towards) for name in names]
        edge = min(layers.values()) - 1 if towards == "bottom" else max(layers.values()) + 1
        for key, end in exits:
            side: Side = "top" if towards == "bottom" else "bottom"
            boxes.append(Box(key, 0.0, 0.0, {"": Anchor(0.0, 0.0, side)}, edge))
            wires.append(Wire((key, ""), (end.component, end.port), self._style(key), pull=4.0))
        layout = arrange(boxes, wires)
        drawn = [self._component(box) for box in boxes if box.name in inside]
        body = "".join(_route(route) for route in layout.routes) + "".join(drawn)
        leaving = {
            box.name: Anchor(box.x, layout.height if towards == "bottom" else 0.0, towards)
            for box in boxes
            if box.name not in inside
        }
        return _Piece(layout.width, layout.height, body, leaving)

    def _wire(self, a: PortRef, b: PortRef, key: str) -> Wire:
        many = [
            str(len(self.groups.alike[end.component]))
            for end in (a, b)
            if end.component in self.groups.alike
        ]
        note = many[0] if len(many) == 1 else ""
        pull = 1.0 if self._is_side_branch(a, b) else 4.0
        return Wire((a.component, a.port), (b.component, b.port), self._style(key), note, pull)

    def _style(self, key: str) -> str:
        return "pilot" if key in self.pilots else "working"

    def _is_side_branch(self, a: PortRef, b: PortRef) -> bool:
        """A line to something that air does not pass, and that is not what all this is for."""
        return any(kind_of(self.circuit.components[end.component]) in _SIDE for end in (a, b))

    def _layers(
        self, names: Sequence[str], wires: Sequence[Wire], entries: Sequence[str], towards: Side
    ) -> dict[str, int]:
        """Layer of each component: air rises, exhausts hang below what they vent."""
        sources = [n for n in names if n in self.circuit.having("supply")]
        roots = sources or list(dict.fromkeys(entries)) or [names[0]]
        exhausting = {wire for wire in wires if self._vents(wire)}
        rising = [wire for wire in wires if wire not in exhausting and wire.style != "pilot"]
        order = _breadth_first(names, roots, rising)
        hanging = [name for name in names if name not in order]
        for name in _breadth_first(names, list(order), wires):
            order.setdefault(name, len(order))
        graph: nx.DiGraph[str] = nx.DiGraph()
        graph.add_nodes_from(names)
        certain = sorted(wires, key=lambda wire: self._heading(wire) is None)
        for wire in certain:
            low, high = self._heading(wire) or (wire.start[0], wire.end[0])
            if self._heading(wire) is None and order.get(low, 0) > order.get(high, 0):
                low, high = high, low
            if low in hanging or high in hanging:
                # what hangs on an exhaust lies below what it vents, link by link
                far, near = sorted((low, high), key=lambda n: -order.get(n, 0))
                low, high = (far, near) if wire.style != "link" else (near, far)
            if low != high and not nx.has_path(graph, high, low):
                graph.add_edge(low, high)
            elif low != high:
                graph.add_edge(high, low)
        layers: dict[str, int] = {}
        for name in nx.lexicographical_topological_sort(graph, key=list(names).index):
            layers[name] = max((layers[p] + 1 for p in graph.predecessors(name)), default=0)
        fixed = set(roots) if towards == "bottom" and not sources else set()
        for root in fixed:
            fixed = fixed | nx.descendants(graph, root)
        for name in reversed(list(nx.topological_sort(graph))):
            above = [layers[s] for s in graph.successors(name)]
            if above and name not in fixed:
                layers[name] = min(above) - 1
        return layers

    def _vents(self, wire: Wire) -> bool:
        return wire.style == "working" and any(
            role(self.circuit, PortRef(name, port)) == "exhaust"
            for name, port in (wire.start, wire.end)
        )

    def _heading(self, wire: Wire) -> tuple[str, str] | None:
        """(lower, upper) component where the ports leave no doubt."""
        if wire.style == "link":
            return wire.start[0], wire.end[0]
        start, end = (role(self.circuit, PortRef(*side)) for side in (wire.start, wire.end))
        if self._vents(wire):
            return (
                (wire.end[0], wire.start[0]) if start == "exhaust" else (wire.start[0], wire.end[0])
            )
        if "pilot" in (start, end):
            return (wire.start[0], wire.end[0]) if end == "pilot" else (wire.end[0], wire.start[0])
        return None

    # boxes: a symbol with its label

    def _box(
        self,
        name: str,
        layers: Mapping[str, int],
        wires: Sequence[Wire],
        exits: Sequence[tuple[str, PortRef]],
        towards: Side,
    ) -> Box:
        component = self.circuit.components[name]
        goes_up: dict[str, bool] = {}
        for wire in wires:
            for mine, other in ((wire.start, wire.end), (wire.end, wire.start)):
                if mine[0] == name:
                    goes_up[mine[1]] = layers[other[0]] > layers[name]
        for _, end in exits:
            if end.component == name:
                goes_up[end.port] = towards == "top"
        drawn = self._picture(name, goes_up)
        figure = _figure(drawn, kind_of(component), label.size(self._label(name)))
        self._figures[name] = figure
        anchors = {
            p: Anchor(a.x + figure.x, 0.0 if a.side == "top" else figure.height, a.side)
            for p, a in drawn.ports.items()
        }
        if drawn.sense:
            x, y = drawn.sense[0] + figure.x, drawn.sense[1]
            anchors["sense"] = (
                Anchor(x, 0.0, "top") if y == 0 else (Anchor(x, figure.height, "bottom"))
            )
        loose = kind_of(component) in SPREAD_KINDS
        return Box(name, figure.width, figure.height, anchors, layers[name], loose)

    def _picture(self, name: str, goes_up: Mapping[str, bool]) -> Symbol:
        component = self.circuit.components[name]
        if kind_of(component) in SPREAD_KINDS:
            plugged = [
                port.name
                for port in component.ports()
                if self.ends.get(PortRef(name, port.name)) and port.name not in goes_up
            ]
            top = [port for port, up in goes_up.items() if up] + plugged
            bottom = [port for port, up in goes_up.items() if not up]
            step = 2 * GRID
            start = step if kind_of(component) != "manifold" else GRID
            return spread(
                component,
                {p: start + i * step for i, p in enumerate(top)},
                {p: start + i * step for i, p in enumerate(bottom)},
            )
        drawn = symbol(component)
        wrong = sum(
            (anchor.side == "top") != goes_up[port]
            for port, anchor in drawn.ports.items()
            if port in goes_up
        )
        used = sum(port in goes_up for port in drawn.ports)
        if kind_of(component) in TURNABLE and wrong > used - wrong:
            return _upside_down(drawn)
        return drawn

    def _component(self, box: Box) -> str:
        figure = self._figures[box.name]
        body = svg.moved(figure.drawn.body, figure.x, figure.y)
        for port, anchor in box.anchors.items():
            edge = figure.y if anchor.side == "top" else figure.y + figure.drawn.height
            if abs(edge - anchor.y) > 0.1:
                style = "link" if port == "sense" else "pilot" if port in ("12", "14") else ""
                body += svg.stroke([(anchor.x, anchor.y), (anchor.x, edge)], style)
            body += self._end(PortRef(box.name, port), replace(anchor, y=edge))
        body += self._written(box.name, figure.label_x, figure.label_y, figure.align)
        return self._tagged(box.name, svg.moved(body, box.x, box.y))

    def _end(self, port: PortRef, anchor: Anchor) -> str:
        """The mark of a port that leads nowhere: a triangle into the open, a bar for a plug."""
        end = self.ends.get(port)
        x, y, out = anchor.x, anchor.y, -1 if anchor.side == "top" else 1
        if end == "atmosphere":
            return (
                f'<path d="M{x - 5:.1f} {y:.1f} L{x + 5:.1f} {y:.1f} L{x:.1f} {y + 8 * out:.1f} Z" '
                'fill="#fff"/>'
            )
        if end == "plug":
            return svg.stroke([(x, y), (x, y + 4 * out)]) + (
                svg.stroke([(x - 4, y + 4 * out), (x + 4, y + 4 * out)])
            )
        return ""

    def _label(self, name: str) -> list[tuple[str, str]]:
        """Lines of a label as (style, words): the name broken at underscores, then the values."""
        same = self.groups.alike.get(name, (name,))
        lines = [("name", part) for part in label.wrapped(label.span(same))]
        if len(same) > 1:
            lines.append(("count", f"× {len(same)}"))
        value = label.describe(self.circuit.components[name], self.circuit.ambient.pressure)
        if value:
            lines.append(("value", value))
        return lines

    def _written(self, name: str, x: float, y: float, align: str = "start") -> str:
        """A label whose first line has its middle at y."""
        body = ""
        for i, (style, words) in enumerate(self._label(name)):
            size = label.VALUE_SIZE if style == "value" else label.NAME_SIZE
            body += svg.words(
                x,
                y + 4 + i * label.LINE_STEP,
                words,
                size,
                bold=style == "count",
                soft=style == "value",
                anchor=align,
            )
        return body

    def _tagged(self, name: str, body: str) -> str:
        component = self.circuit.components[name]
        same = self.groups.alike.get(name, (name,))
        title = ", ".join(same) + f" ({component.title or kind_of(component)})"
        stands = f' data-stands-for="{escape(" ".join(same))}"' if len(same) > 1 else ""
        return (
            f'<g data-component="{escape(name)}"{stands}><title>{escape(title)}</title>{body}</g>'
        )

    # everything but the zones

    def _rest(self) -> list[str]:
        """Components outside zones and main that have a connection."""
        return [name for name in self.shown if name in self.piped and name not in self.placed]

    def _unpiped(self) -> _Piece:
        """Components without connections, in a row: electrical feeds, and what was forgotten."""
        x = height = 0.0
        body = ""
        for name in self.shown:
            if name in self.piped or name in self.placed:
                continue
            drawn = self._picture(name, {})
            wide, tall = label.size(self._label(name))
            middle = drawn.height / 2 - (tall - label.LINE_STEP) / 2
            picture = drawn.body + self._written(name, drawn.width + 5, middle)
            body += self._tagged(name, svg.moved(picture, x, 0.0))
            x += drawn.width + wide + 25
            height = max(height, drawn.height, tall)
        return _Piece(x, height, body)

    def _stacked(self, zones: Mapping[str, _Piece]) -> _Piece:
        """Without a simple main: everything else in layers, the zones above all of it."""
        rest = self._layered(self._rest(), "top")
        return self._joined(
            [(f"zone {zone}", piece, 1) for zone, piece in zones.items()]
            + ([("rest", rest, 0)] if rest.body else [])
        )

    def _around_main(self, zones: Mapping[str, _Piece]) -> _Piece:
        main = self.groups.main
        above: list[_Piece] = list(zones.values())
        below: list[_Piece] = []
        graph: nx.Graph[str] = nx.Graph()
        graph.add_nodes_from(self._rest())
        graph.add_edges_from(
            (link.a.component, link.b.component)
            for _, link in self.links
            if link.b is not None and link.a.component in graph and link.b.component in graph
        )
        for part in nx.connected_components(graph):
            names = [name for name in self.shown if name in part]
            feeds = any(name in self.circuit.having("supply") for name in names)
            piece = self._layered(names, "top" if feeds else "bottom")
            (below if feeds else above).append(piece)
        at = {
            key: main.index(end.component)
            for key, link in self.links
            for end in (link.a, link.b)
            if end is not None and end.component in main
        }

        def position(piece: _Piece) -> float:
            places = [at[key] for key in piece.exits if key in at]
            return sum(places) / len(places) if places else len(main)

        above.sort(key=position)
        below.sort(key=position)
        row = self._row(above, below)
        return self._joined(
            [(f"above {i}", piece, 2) for i, piece in enumerate(above)]
            + [("main", row, 1)]
            + [(f"below {i}", piece, 0) for i, piece in enumerate(below)]
        )

    def _joined(self, pieces: Sequence[tuple[str, _Piece, int]]) -> _Piece:
        """Pieces in layers with the lines between their exits."""
        boxes = [
            Box(name, piece.width, piece.height, dict(piece.exits), layer, low=layer > 0)
            for name, piece, layer in pieces
        ]
        ends: dict[str, list[str]] = {}
        for name, piece, _ in pieces:
            for key in piece.exits:
                ends.setdefault(key, []).append(name)
        wires = [
            Wire((names[0], key), (names[1], key), self._style(key))
            for key, names in ends.items()
            if len(names) == 2
        ]
        layout = arrange(boxes, wires)
        body = "".join(_route(route) for route in layout.routes)
        for box, (_, piece, _) in zip(boxes, pieces, strict=True):
            body += svg.moved(piece.body, box.x, box.y)
        return _Piece(layout.width, layout.height, body)

    # the main as a row

    def _row(self, above: Sequence[_Piece], below: Sequence[_Piece]) -> _Piece:
        """Manifolds and lines from left to right, each manifold under what it feeds."""
        main = self.groups.main
        links = dict(self.links)

        def foot(key: str) -> PortRef:
            link = links[key]
            return link.a if link.b is None or link.a.component in main else link.b

        ups: dict[str, dict[str, float]] = {name: {} for name in main}
        downs: dict[str, list[str]] = {name: [] for name in main}
        for piece in below:
            for key in piece.exits:
                if foot(key).component in downs:
                    downs[foot(key).component].append(key)
        # place the manifolds and what stands above them together, from left to right
        queue = list(above)
        cursor = free = 0.0
        spans: dict[str, tuple[float, float]] = {}
        waiting = 0.0
        for name in main:
            component = self.circuit.components[name]
            if kind_of(component) not in SPREAD_KINDS:
                wide = max(self._lying(name).width, label.size(self._label(name))[0])
                waiting += wide + 2 * GRID
                continue
            beside = 2 * GRID * len(downs[name])
            least = 2 * GRID + beside + 2 * GRID
            if queue and (cursor + waiting) > free:
                free = cursor + waiting
            xs: list[float] = []
            while queue and self._fed_by(queue[0], name, foot):
                piece = queue.pop(0)
                for key, anchor in piece.exits.items():
                    if key in links and foot(key).component == name:
                        ups[name][key] = free + anchor.x
                        xs.append(free + anchor.x)
                free += piece.width + 16.0
            left = min([*xs, cursor + waiting + GRID]) - GRID if not xs else min(xs) - GRID
            if left < cursor + waiting:
                shift = cursor + waiting - left
                ups[name] = {key: x + shift for key, x in ups[name].items()}
                xs = [x + shift for x in xs]
                free += shift
                left += shift
            right = max(left + least, max(xs, default=0.0) + GRID)
            spans[name] = (left, right)
            cursor = max(right, left + beside + 2 * GRID + label.size(self._label(name))[0])
            waiting = 0.0
        return self._row_picture(spans, ups, downs, cursor + waiting, foot)

    def _fed_by(self, piece: _Piece, name: str, foot: Callable[[str], PortRef]) -> bool:
        on_main = [foot(key).component for key in piece.exits]
        on_main = [component for component in on_main if component in self.groups.main]
        return not on_main or on_main[0] == name

    def _lying(self, name: str) -> Symbol:
        """A line drawn from left to right, its label below it."""
        drawn = symbol(self.circuit.components[name])
        return _on_its_side(drawn, turned=self._enters_at_2(name))

    def _enters_at_2(self, name: str) -> bool:
        main = self.groups.main
        before = main[main.index(name) - 1]
        return any(
            link.b is not None
            and {link.a, link.b} >= {PortRef(name, "2")}
            and before in (link.a.component, link.b.component)
            for _, link in self.links
        )

    def _row_picture(
        self,
        spans: Mapping[str, tuple[float, float]],
        ups: Mapping[str, Mapping[str, float]],
        downs: Mapping[str, Sequence[str]],
        end: float,
        foot: Callable[[str], PortRef],
    ) -> _Piece:
        main = self.groups.main
        level = 30.0
        height = 100.0 if self.groups.ring else 84.0
        body = ""
        exits: dict[str, Anchor] = {}
        ordered = list(main)
        edges: dict[str, tuple[float, float]] = dict(spans)
        i = 0
        while i < len(ordered):
            if ordered[i] in spans:
                i += 1
                continue
            run = i
            while run < len(ordered) and ordered[run] not in spans:
                run += 1
            begin = spans[ordered[i - 1]][1]
            stop = spans[ordered[run]][0] if run < len(ordered) else end
            step = (stop - begin) / (run - i)
            for k in range(i, run):
                wide = self._lying(ordered[k]).width
                middle = begin + step * (k - i + 0.5)
                edges[ordered[k]] = (middle - wide / 2, middle + wide / 2)
            i = run
        for before, after in pairwise(ordered):
            body += svg.stroke([(edges[before][1], level), (edges[after][0], level)])
        if self.groups.ring:
            first, last = edges[ordered[0]], edges[ordered[-1]]
            turn = first[1] - GRID
            low = height - 14
            last_x = last[1] + 8 if ordered[-1] not in spans else last[1] - GRID
            tail = (
                [(last[1], level), (last_x, level)]
                if ordered[-1] not in spans
                else [(last_x, level)]
            )
            body += svg.stroke([*tail, (last_x, low), (turn, low), (turn, level)])
        for name in ordered:
            left, right = edges[name]
            if name not in spans:
                drawn = self._lying(name)
                picture = svg.moved(drawn.body, left, level - drawn.height / 2)
                picture += self._written(
                    name, (left + right) / 2, level + drawn.height / 2 + 10, "middle"
                )
                body += self._tagged(name, picture)
                continue
            tops = {key: x - left for key, x in ups[name].items()}
            bottoms = {key: GRID + 2 * GRID * k for k, key in enumerate(downs[name])}
            drawn = spread(self.circuit.components[name], tops, bottoms, width=right - left)
            half = drawn.height / 2
            picture = svg.moved(drawn.body, left, level - half)
            for key, x in tops.items():
                exits[key] = Anchor(left + x, 0.0, "top")
                picture += svg.stroke([(left + x, 0.0), (left + x, level - half)], self._style(key))
            for key, x in bottoms.items():
                exits[key] = Anchor(left + x, height, "bottom")
                picture += svg.stroke([(left + x, level + half), (left + x, height)])
            picture += self._plugs(name, right, level)
            start = left + GRID + 2 * GRID * len(bottoms) - (0 if bottoms else 4)
            picture += self._written(name, start, level + half + 9)
            body += self._tagged(name, picture)
        return _Piece(end + 20.0, height, body, exits)

    def _plugs(self, name: str, right: float, level: float) -> str:
        """Plugged and open ports of a manifold of the main, at the end of its upper edge."""
        marks = ""
        loose_ends = [
            PortRef(name, port.name)
            for port in self.circuit.components[name].ports()
            if PortRef(name, port.name) in self.ends
        ]
        for k, port in enumerate(loose_ends):
            marks += self._end(port, Anchor(right - GRID * (k + 0.5), level - 3, "top"))
        return marks

    def _legend(self) -> _Piece:
        """What the lines and marks mean; only what occurs."""
        entries = [(svg.stroke([(0, 6), (34, 6)]), 34.0, "working line")]
        if self.pilots:
            entries.append((svg.stroke([(0, 6), (34, 6)], "pilot"), 34.0, "pilot line"))
        if any(getattr(c, "of", None) for c in self.circuit.components.values()):
            link = f'<path d="M0 6 L34 6" stroke-dasharray="{svg.DASHES["link"]}"/>'
            entries.append((link, 34.0, "switch sees"))
        if "atmosphere" in self.ends.values():
            entries.append(
                ('<path d="M5 2 L15 2 L10 10 Z" fill="#fff"/>', 20.0, "into the open air")
            )
        if self.groups.alike:
            entries.append(
                (
                    svg.words(0, 10, "× n", label.NAME_SIZE, bold=True),
                    26.0,
                    "n branches that are alike, drawn once",
                )
            )
        x, body = 0.0, ""
        for picture, wide, words in entries:
            body += svg.moved(picture, x, 0.0)
            body += svg.words(x + wide + 6, 10, words, label.VALUE_SIZE, soft=True)
            x += wide + 22 + 5.8 * len(words)
        return _Piece(x, 16.0, body)


# pieces of SVG


def _figure(drawn: Symbol, what: str, room: tuple[float, float]) -> _Figure:
    """Instruments carry their label above, silencers below, everything else at the right."""
    wide, tall = room
    first = label.LINE_STEP / 2
    if what in _LABEL_ABOVE or what in _LABEL_BELOW:
        width = max(drawn.width, wide)
        x = (width - drawn.width) / 2
        if what in _LABEL_ABOVE:
            return _Figure(
                drawn, width, drawn.height + tall, x, tall, width / 2, first - 2, "middle"
            )
        return _Figure(
            drawn,
            width,
            drawn.height + tall + 2,
            x,
            0.0,
            width / 2,
            drawn.height + 2 + first,
            "middle",
        )
    height = max(drawn.height, tall)
    return _Figure(
        drawn,
        drawn.width + 5 + wide,
        height,
        0.0,
        (height - drawn.height) / 2,
        drawn.width + 5,
        (height - tall) / 2 + first,
        "start",
    )


def _breadth_first(
    names: Iterable[str], roots: Sequence[str], wires: Sequence[Wire]
) -> dict[str, int]:
    """Component -> its place in the order in which air from the roots finds it."""
    near: dict[str, list[str]] = {name: [] for name in names}
    for wire in wires:
        near[wire.start[0]].append(wire.end[0])
        near[wire.end[0]].append(wire.start[0])
    order = {name: i for i, name in enumerate(roots)}
    todo = list(roots)
    for here in todo:
        for there in near[here]:
            if there not in order:
                order[there] = len(order)
                todo.append(there)
    return order


def _upside_down(drawn: Symbol) -> Symbol:
    w, h = drawn.width, drawn.height
    ports = {
        p: Anchor(w - a.x, h - a.y, "bottom" if a.side == "top" else "top")
        for p, a in drawn.ports.items()
    }
    return Symbol(w, h, ports, f'<g transform="rotate(180 {w / 2:g} {h / 2:g})">{drawn.body}</g>')


def _on_its_side(drawn: Symbol, turned: bool) -> Symbol:
    """A two-port symbol with its inlet at the left (turned: at the right); ports are left out."""
    w, h = drawn.width, drawn.height
    axis = drawn.ports["1"].x
    # the axis of the line becomes the middle of the height
    half = max(axis, w - axis)
    # rotate(90) sends (x, y) to (-y, x): the inlet, at the lower edge, comes to the left
    turn = (
        f"translate(0 {half + axis:g}) rotate(-90)"
        if turned
        else (f"translate({h:g} {half - axis:g}) rotate(90)")
    )
    return Symbol(h, 2 * half, {}, f'<g transform="{turn}">{drawn.body}</g>')


def _route(route: Route) -> str:
    d = "M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in route.points)
    dash = svg.DASHES[route.wire.style]
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    thin = ' stroke-width="0.9"' if route.wire.style == "link" else ""
    drawn = f'<path d="{d}"{dashed}{thin} data-line="{route.wire.style}"/>'
    if route.wire.note:
        # a slanted stroke with a number: so many lines, drawn as one
        (x1, y1), (x2, y2) = route.points[-2], route.points[-1]
        x, y = (x1 + x2) / 2, (y1 + y2) / 2
        drawn += svg.stroke([(x - 5, y + 4), (x + 5, y - 4)])
        drawn += svg.words(x + 7, y - 2, route.wire.note, 9.0, soft=True)
    return drawn
