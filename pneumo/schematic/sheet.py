"""What is drawn of a circuit: sheets of boxes and the lines that join them.

A sheet for the plant, then one for each zone; a circuit with a single zone is one sheet. Each
component is in one box, each connection in one line. What is drawn once for several, or twice for
one, says so:

- branches that are alike are drawn once, each box with all the components it stands for;
- a switch is drawn in the box of what it watches;
- a vessel is one volume, so all that feeds it is one line on its low side and all that it feeds one
  line on its high side;
- a connection between two sheets is a line to a marker on each, which names the other end.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.circuit.symmetry import Branch, alike, span
from pneumo.circuit.zones import territories
from pneumo.components.base import Component
from pneumo.schematic.grid import Grid, Seat, grid, passing
from pneumo.schematic.order import ordered
from pneumo.schematic.ranks import Tie, ranks

Side = Literal["low", "high"]
"""Low: towards where air comes from. High: towards where it goes."""

Fold = tuple[Branch, ...]
"""Branches that are alike."""


class End(NamedTuple):
    """Where a line meets a box."""

    box: int
    port: str
    """"" for a vessel or a marker."""
    side: Side


@dataclass(frozen=True)
class Line:
    """Ports joined by pipework, outside of vessels."""

    ends: tuple[End, ...]
    port: PortRef
    """One of the ports it joins."""
    pilot: bool
    """It only commands."""


@dataclass(frozen=True)
class Box:
    """One component, several that are alike, or a marker of what is on another sheet."""

    name: str
    members: tuple[str, ...]
    """The components it stands for, the one that is drawn first; of a marker, where it leads."""
    label: str
    """Short name within its sheet."""
    riders: tuple[tuple[str, ...], ...] = ()
    """Switches that are drawn in it, each with those it stands for."""
    vessel: bool = False
    marker: bool = False
    turned: bool = False
    """It is drawn upside down: its inlets are on the high side."""
    rank: int = 0
    low: tuple[str, ...] = ()
    """Ports on its low side that a line leads to, in order across."""
    high: tuple[str, ...] = ()

    @property
    def represents(self) -> tuple[str, ...]:
        """All components that are drawn here."""
        return () if self.marker else (*self.members, *(n for row in self.riders for n in row))


@dataclass(frozen=True)
class Sheet:
    """Boxes with their ranks and order, and the lines between them."""

    name: str
    """Of its zone; "" for the plant."""
    boxes: tuple[Box, ...]
    lines: tuple[Line, ...]
    grid: Grid
    """Boxes, and rooms for lines that pass, in the order in which every pen draws them."""


def twins(fold: Fold) -> tuple[tuple[str, ...], ...]:
    """Components in the same place of each branch of a fold."""
    return tuple(zip(*(branch.components for branch in fold), strict=True))


def sheets(circuit: Circuit, folded: Collection[Fold] | None = None) -> tuple[Sheet, ...]:
    """The schematic of a circuit. folded: branches to draw as one; None: all that are alike."""
    drawn = _Drawn(circuit, alike(circuit) if folded is None else folded)
    zones = territories(circuit)
    home = {name: zone for zone, names in zones.items() for name in names}
    if len(zones) == 1:
        home = dict.fromkeys(circuit.components, next(iter(zones)))
    found = [_sheet(drawn, home, zone) for zone in ("", *zones)]
    return tuple(sheet for sheet in found if sheet.boxes)


def side_of(component: Component, port: str) -> Side:
    """The side of a port while the component is not turned round."""
    roles = {p.name: p.role for p in component.ports()}
    if port in component.symbol.high:
        return "high"
    match roles.get(port, "both"):
        case "outlet":
            return "high"
        case "exhaust":
            return "low" if "outlet" in roles.values() else "high"
        case "both":
            inline = len(roles) == 2 and bool(component.passages())
            return "high" if inline and port == next(reversed(roles)) else "low"
        case _:
            return "low"


def ports_in_order(component: Component) -> tuple[str, ...]:
    """Ports as they follow each other across while the component is not turned round."""
    names = [port.name for port in component.ports()]
    pilots = [port.name for port in component.ports() if port.role == "pilot"]
    order = component.symbol.order or names
    return (*pilots, *(name for name in order if name in names and name not in pilots))


def _role(circuit: Circuit, port: PortRef) -> str:
    """Role of a port; "both" for one the component does not declare."""
    ports = circuit.components[port.component].ports()
    return next((p.role for p in ports if p.name == port.port), "both")


class _Drawn:
    """Who is drawn, and for whom."""

    def __init__(self, circuit: Circuit, folded: Collection[Fold]) -> None:
        self.circuit = circuit
        self.rows = {row[0]: row for fold in folded for row in twins(fold)}
        self.hidden = {name for row in self.rows.values() for name in row[1:]}
        watched = [n for n, c in circuit.components.items() if "watcher" not in c.traits]
        self.riders = {
            n: [r for r in circuit.watching((n,)) if r not in self.hidden] for n in watched
        }
        """Component -> the switches that are drawn in it."""
        self.riding = {name for names in self.riders.values() for name in names}
        self.links = [
            (i, link.a, link.b)
            for i, link in enumerate(circuit.connections)
            if link.b is not None and not {link.a.component, link.b.component} & self.hidden
        ]

    def row(self, name: str) -> tuple[str, ...]:
        return self.rows.get(name, (name,))


def _sheet(drawn: _Drawn, home: Mapping[str, str], zone: str) -> Sheet:
    circuit = drawn.circuit
    boxes = [
        _box(drawn, name, zone)
        for name in circuit.components
        if home.get(name, "") == zone and name not in drawn.hidden and name not in drawn.riding
    ]
    index = {box.name: i for i, box in enumerate(boxes)}
    pipes: list[_Pipe] = []
    ties: list[Tie] = []
    entries: list[int] = []
    for number, a, b in drawn.links:
        here, there = (a, b) if a.component in index else (b, a)
        if here.component not in index:
            continue
        pilot = "pilot" in (_role(circuit, a), _role(circuit, b))
        if there.component in index:
            end = index[there.component], there.port
            ties.append(_tie(drawn, here, there, index[here.component], end[0]))
        else:
            end = len(boxes), ""
            other = home.get(there.component, "")
            label = other if other and not zone else there.component
            boxes.append(Box(f"link {number}", drawn.row(there.component), label, marker=True))
            rises = _role(circuit, there) == "pilot" if pilot else None
            ties.append(Tie(index[here.component], end[0], rises, pilot=pilot))
            if not pilot:
                entries.append(index[here.component] if not zone else end[0])
        pipes.append(_Pipe((index[here.component], here.port), end, here, pilot))
    sources = [index[name] for name in circuit.having("supply") if name in index]
    roots = [*sources, *(entries if zone else ())] or entries
    rank = ranks(len(boxes), ties, roots, anchored=not sources)
    boxes = [replace(box, rank=rank[i]) for i, box in enumerate(boxes)]
    return _finished(circuit, zone, boxes, pipes)


def _box(drawn: _Drawn, name: str, zone: str) -> Box:
    row = drawn.row(name)
    label = span([_within(member, zone) for member in row])
    if len(row) > 1:
        label += f" ×{len(row)}"
    riders = tuple(drawn.row(rider) for rider in drawn.riders.get(name, []))
    vessel = bool(drawn.circuit.components[name].merged_ports())
    return Box(name, row, label, riders, vessel)


def _within(name: str, zone: str) -> str:
    """A name without the zone's name before it: "trim_valve_a" in trim is "valve_a"."""
    short = name.removeprefix(f"{zone}_") if zone else name
    return short if short and not short[0].isdigit() else name


def _tie(drawn: _Drawn, a: PortRef, b: PortRef, i: int, j: int) -> Tie:
    circuit = drawn.circuit
    roles = _role(circuit, a), _role(circuit, b)
    parts = [circuit.components[port.component] for port in (a, b)]
    if "pilot" in roles:
        return Tie(i, j, roles[1] == "pilot", pilot=True)
    for one, component in enumerate(parts):
        port = (a, b)[one].port
        if roles[one] == "exhaust" and side_of(component, port) == "low":
            return Tie(i, j, one == 1, vents=True)
    return Tie(i, j, None)


class _Pipe(NamedTuple):
    """A connection within a sheet: two boxes by number, each with its port."""

    a: tuple[int, str]
    b: tuple[int, str]
    port: PortRef
    pilot: bool


_Joint = tuple[int, str, Side]
"""What connections meet in: a port of a box, or one side of a vessel."""


def _turned(circuit: Circuit, boxes: Sequence[Box], pipes: Sequence[_Pipe]) -> list[Box]:
    """Boxes turned the way most of their lines lead."""
    wrong = [0] * len(boxes)
    total = [0] * len(boxes)
    for pipe in pipes:
        for (here, port), (there, _) in ((pipe.a, pipe.b), (pipe.b, pipe.a)):
            box = boxes[here]
            if not box.vessel and not box.marker:
                rises = boxes[there].rank > box.rank
                wrong[here] += (side_of(circuit.components[box.name], port) == "high") != rises
                total[here] += 1
    return [
        replace(box, turned=2 * bad > count)
        for box, bad, count in zip(boxes, wrong, total, strict=True)
    ]


def _joint(circuit: Circuit, boxes: Sequence[Box], end: tuple[int, str], other: int) -> _Joint:
    here, port = end
    box = boxes[here]
    if box.vessel or box.marker:
        return here, "", "high" if boxes[other].rank > box.rank else "low"
    high = (side_of(circuit.components[box.name], port) == "high") != box.turned
    return here, port, "high" if high else "low"


def _lines(circuit: Circuit, boxes: Sequence[Box], pipes: Sequence[_Pipe]) -> tuple[Line, ...]:
    """Connections, joined where they meet in a port or in one side of a vessel."""
    leader: dict[_Joint, _Joint] = {}

    def root(one: _Joint) -> _Joint:
        while leader.setdefault(one, one) != one:
            one = leader[one]
        return one

    met: dict[_Joint, _Pipe] = {}
    for pipe in pipes:
        a = _joint(circuit, boxes, pipe.a, pipe.b[0])
        b = _joint(circuit, boxes, pipe.b, pipe.a[0])
        if a != b:  # else two ports of one vessel: nothing to draw
            met.setdefault(a, pipe)
            met.setdefault(b, pipe)
            leader[root(b)] = root(a)
    groups: dict[_Joint, list[_Joint]] = {}
    for one in met:
        groups.setdefault(root(one), []).append(one)
    return tuple(
        Line(
            tuple(End(*one) for one in group),
            met[group[0]].port,
            all(met[one].pilot for one in group),
        )
        for group in groups.values()
    )


def _finished(circuit: Circuit, zone: str, boxes: list[Box], pipes: Sequence[_Pipe]) -> Sheet:
    """Boxes with the ports that lines lead to, and everything in order."""
    boxes = _turned(circuit, boxes, pipes)
    lines = _lines(circuit, boxes, pipes)
    met = {end for line in lines for end in line.ends}
    for i, box in enumerate(boxes):
        order: tuple[str, ...] = ("",)
        if not box.vessel and not box.marker:
            order = ports_in_order(circuit.components[box.name])[:: -1 if box.turned else 1]
        low = tuple(port for port in order if End(i, port, "low") in met)
        high = tuple(port for port in order if End(i, port, "high") in met)
        boxes[i] = replace(box, low=low, high=high)
    return Sheet(zone, tuple(boxes), lines, ordered(_seated(boxes, lines)))


def _seated(boxes: Sequence[Box], lines: Sequence[Line]) -> Grid:
    """Boxes of unit size in their ranks, and rooms for the lines that pass them."""
    meets: list[dict[tuple[Side, str], int]] = [{} for _ in boxes]
    for number, line in enumerate(lines):
        for end in line.ends:
            meets[end.box][end.side, end.port] = number
    seats: list[Seat] = []
    rows: list[list[int]] = [[] for _ in range(max((b.rank for b in boxes), default=-1) + 1)]
    for i, box in enumerate(boxes):
        low = tuple((meets[i]["low", port], k) for k, port in enumerate(box.low))
        high = tuple((meets[i]["high", port], k) for k, port in enumerate(box.high))
        rows[box.rank].append(len(seats))
        seats.append(Seat(i, -1, max(1, len(low), len(high)), low, high))
    for number, line in enumerate(lines):
        channels = [boxes[end.box].rank + (end.side == "high") for end in line.ends]
        for passed in range(min(channels), max(channels)):
            rows[passed].append(len(seats))
            seats.append(passing(number))
    return grid(seats, rows)
