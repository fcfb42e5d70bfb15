"""What is drawn of a circuit: boxes in columns and the lines that join them.

Air enters a box on its left and leaves it on its right. A column lies between two channels: channel
c is left of column c. Lines run in the channels. A vessel (receiver, accumulator, manifold) is one
volume, so all that feeds it is one line on its left and all that it feeds one line on its right.

Where a loop would lead air back to the left, the box in it that takes air back is turned round.
A main that feeds several zones is drawn upright, its tees under each other, and the zones stand to
the right of it; the plant that feeds the main stands above them all.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple

import networkx as nx

from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.circuit.graph import air_graph, distances, supply_ports
from pneumo.circuit.symmetry import Branch, alike
from pneumo.components.base import kind_of
from pneumo.report.grouping import group
from pneumo.report.label import span

Side = Literal["left", "right"]

FAR = 1_000_000
"""Distance of a port that no supply reaches."""

PLANT, MAIN, ZONES = 0, 1, 2
"""Groups: what feeds the zones; the upright main, if there is one; the first zone."""

LOOSE = ("jaw_switch",)
"""Kinds that are shown in the box of what they watch."""


@dataclass(frozen=True)
class End:
    """Where a line meets a box."""

    box: int
    port: str
    side: Side


@dataclass
class Line:
    """Ports joined by pipework, outside of vessels."""

    net: int
    """Number in the plant."""
    ends: list[End]


@dataclass
class Box:
    """One component, or several that are alike and drawn as one."""

    name: str
    members: tuple[str, ...]
    """The components it stands for, the one that is drawn first."""
    label: str
    """Short name within its group."""
    group: int
    """`PLANT`, `MAIN`, or from `ZONES` on the place of its zone."""
    vessel: bool
    along: int | None = None
    """Place along the upright main."""
    column: int = 0
    left: list[str] = field(default_factory=list)
    """Ports on the left that a line leads to, from above."""
    right: list[str] = field(default_factory=list)


@dataclass
class Diagram:
    """Boxes, lines and the groups they stand in."""

    boxes: list[Box]
    lines: list[Line]
    groups: tuple[str, ...]
    """Their names; "" for plant and main."""


@dataclass(frozen=True)
class Fold:
    """Branches that can be drawn as one."""

    branches: tuple[Branch, ...]

    def twins(self) -> tuple[tuple[str, ...], ...]:
        """Components in the same place of each branch."""
        return tuple(zip(*(branch.components for branch in self.branches), strict=True))


def folds(circuit: Circuit) -> tuple[Fold, ...]:
    """Every group of branches that are alike."""
    return tuple(Fold(branches) for branches in alike(circuit))


def diagram(
    circuit: Circuit, net_of: Mapping[PortRef, int], folded: Collection[Fold] = ()
) -> Diagram:
    """The boxes and lines of a circuit, with columns and sides but no places yet."""
    return _Maker(circuit, net_of, folded).make()


class _Joint(NamedTuple):
    """What connections meet in."""

    port: PortRef
    """For a vessel its first port."""
    side: Side | None
    """None: not a vessel."""


class _Maker:
    def __init__(
        self, circuit: Circuit, net_of: Mapping[PortRef, int], folded: Collection[Fold]
    ) -> None:
        self.circuit = circuit
        self.net_of = net_of
        self.twins = {row[0]: row for fold in folded for row in fold.twins()}
        self.hidden = {name for row in self.twins.values() for name in row[1:]}
        self.steps = distances(air_graph(circuit), supply_ports(circuit))
        self.vessels = {n for n, c in circuit.components.items() if c.merged_ports()}
        self.grouping = group(circuit)
        self.main = self._main()
        order = self._zones_along_main()
        self.groups = ("", "", *order)
        self.owner = {
            name: number
            for number, zone in enumerate(order, ZONES)
            for name in self.grouping.zones[zone]
        } | dict.fromkeys(self.main, MAIN)

    def make(self) -> Diagram:
        boxes = self._boxes()
        index = {box.name: i for i, box in enumerate(boxes)}
        lines = self._lines(index)
        self._columns(boxes, lines)
        for line in lines:
            for end in line.ends:
                ports = boxes[end.box].left if end.side == "left" else boxes[end.box].right
                if end.port not in ports:
                    ports.append(end.port)
        return Diagram(boxes, lines, self.groups)

    def _main(self) -> dict[str, int]:
        """The members of the main but its first vessel, with their places along it; none when it
        has too few tees to be worth it."""
        tees = [name for name in self.grouping.main if name in self.vessels]
        if len(tees) < 3:
            return {}
        first = min(tees, key=lambda name: (self._reached(name), tees.index(name)))
        return {name: i for i, name in enumerate(self.grouping.main) if name != first}

    def _zones_along_main(self) -> list[str]:
        """Zones in the order in which the main comes by them, else as in the document."""
        inside = {n: zone for zone, names in self.grouping.zones.items() for n in names}
        place: dict[str, int] = {}
        for link in self.circuit.connections:
            if link.b is not None:
                for a, b in ((link.a.component, link.b.component),
                             (link.b.component, link.a.component)):  # fmt: skip
                    if a in self.main and b in inside:
                        place.setdefault(inside[b], self.main[a])
        return sorted(self.grouping.zones, key=lambda zone: place.get(zone, -1))

    def _reached(self, name: str) -> int:
        """Steps of air from the nearest supply to a component."""
        ports = self.circuit.components[name].ports()
        return min((self.steps.get(PortRef(name, p.name), FAR) for p in ports), default=FAR)

    def _boxes(self) -> list[Box]:
        found = []
        for name, component in self.circuit.components.items():
            if name in self.hidden or kind_of(component) in LOOSE:
                continue
            members = self.twins.get(name, (name,))
            owner = self.owner.get(name, PLANT)
            label = span([_within(member, self.groups[owner]) for member in members])
            if len(members) > 1:
                label += f" ×{len(members)}"
            found.append(Box(name, members, label, owner, name in self.vessels,
                             self.main.get(name)))  # fmt: skip
        return found

    # lines: connections, joined where they meet in one side of a vessel

    def _lines(self, index: Mapping[str, int]) -> list[Line]:
        leader: dict[_Joint, _Joint] = {}

        def root(joint: _Joint) -> _Joint:
            while leader.setdefault(joint, joint) != joint:
                joint = leader[joint]
            return joint

        joints: dict[_Joint, None] = {}
        for link in self.circuit.connections:
            if link.b is None or link.a.component in self.hidden or link.b.component in self.hidden:
                continue
            a, b = self._joint(link.a, link.b), self._joint(link.b, link.a)
            joints.update({a: None, b: None})
            leader[root(b)] = root(a)
        lines: dict[_Joint, Line] = {}
        for joint in joints:
            line = lines.setdefault(root(joint), Line(self.net_of[joint.port], []))
            name, port = joint.port.component, "" if joint.side else joint.port.port
            line.ends.append(End(index[name], port, joint.side or "left"))
        return list(lines.values())

    def _joint(self, port: PortRef, other: PortRef) -> _Joint:
        """What a connection meets at a port: the port, or a side of the vessel it belongs to."""
        if port.component not in self.vessels:
            return _Joint(port, None)
        first = self.circuit.components[port.component].ports()[0].name
        side: Side = "left" if self._feeds(other.component, port.component) else "right"
        return _Joint(PortRef(port.component, first), side)

    def _feeds(self, other: str, vessel: str) -> bool:
        if vessel in self.main and other in self.grouping.main:
            return True
        here, there = self._reached(vessel), self._reached(other)
        if here != there:
            return there < here
        order = list(self.circuit.components)
        return order.index(other) < order.index(vessel)

    # columns

    def _columns(self, boxes: list[Box], lines: list[Line]) -> None:
        vessel_sides: dict[int, dict[Side, int]] = {}
        for number, line in enumerate(lines):
            for end in line.ends:
                if boxes[end.box].vessel:
                    vessel_sides.setdefault(end.box, {})[end.side] = number
        # the tees of the main stand in one column: the lines on their left share a level
        shared = {
            both["left"]
            for i, both in vessel_sides.items()
            if boxes[i].name in self.main and "left" in both
        }
        order = self._order(lines, vessel_sides, shared)
        if not nx.is_directed_acyclic_graph(order):
            shared = set()
            order = self._order(lines, vessel_sides, shared)
        level_of = _joined_levels(len(lines), shared)
        sides: dict[tuple[int, str], Side] = {}
        joined: dict[int, list[tuple[str, int]]] = {}
        for number, line in enumerate(lines):
            for end in line.ends:
                joined.setdefault(end.box, []).append((end.port, number))
        by_distance = sorted(joined, key=lambda i: (self._reached(boxes[i].name), i))
        # what leads air on comes first, so that what takes it back is what gets turned round
        piped = [i for i in by_distance if not boxes[i].vessel]
        for i in sorted(piped, key=lambda i: self._takes_back(boxes[i].name, joined[i])):
            ports = {port: level_of[number] for port, number in joined[i]}
            enter, leave = self._ways(boxes[i].name, ports)
            if shared and boxes[i].name in self.main:
                # its lines to the tees, which stand to the right; the others come from the plant
                sides.update({
                    (i, port): "right" if number in shared else "left" for port, number in joined[i]
                })  # fmt: skip
                continue
            if len(set(ports.values())) == 1 and len(ports) > 1:
                sides.update({(i, port): "left" for port in ports})
                continue
            enter, leave = self._without_loop(order, ports, enter, leave)
            self._add(order, [ports[p] for p in enter], [ports[p] for p in leave])
            sides.update({(i, port): "left" for port in enter})
            sides.update({(i, port): "right" for port in leave})
        for line in lines:
            line.ends = [
                end if boxes[end.box].vessel
                else End(end.box, end.port, sides[end.box, end.port])
                for end in line.ends
            ]  # fmt: skip
        level = self._levels(order, boxes, joined, sides, level_of)
        for i, box in enumerate(boxes):
            if box.vessel and i in vessel_sides:
                both = vessel_sides[i]
                box.column = (
                    level[level_of[both["left"]]]
                    if "left" in both
                    else level[level_of[both["right"]]] - 1
                )
            elif shared and box.name in self.main:
                box.column = 0
            elif i in joined:
                enters = [level[level_of[n]] for p, n in joined[i] if sides[i, p] == "left"]
                leaves = [level[level_of[n]] for p, n in joined[i] if sides[i, p] == "right"]
                box.column = max(enters) if enters else min(leaves) - 1

    @staticmethod
    def _order(
        lines: Sequence[Line], vessel_sides: Mapping[int, Mapping[Side, int]], shared: set[int]
    ) -> nx.DiGraph[Any]:
        """Levels, and which comes after which, as the vessels have it: they cannot be turned."""
        level_of = _joined_levels(len(lines), shared)
        order: nx.DiGraph[Any] = nx.DiGraph()
        order.add_nodes_from(level_of.values())
        for both in vessel_sides.values():
            if len(both) == 2:
                order.add_edge(level_of[both["left"]], level_of[both["right"]])
        return order

    def _takes_back(self, name: str, joined: Iterable[tuple[str, int]]) -> bool:
        """Whether a component leads air to where it comes by sooner on another way."""
        ports = dict(joined)
        enter, leave = self._ways(name, ports)
        steps = [[self.steps.get(PortRef(name, p), FAR) for p in way] for way in (enter, leave)]
        return bool(enter and leave) and min(steps[0]) > min(steps[1])

    def _ways(self, name: str, ports: Mapping[str, int]) -> tuple[list[str], list[str]]:
        """The joined ports of a component at which air enters, and at which it leaves."""
        component = self.circuit.components[name]
        roles = {port.name: port.role for port in component.ports()}
        if not component.passages():
            leave = [p for p in ports if roles[p] in ("outlet", "exhaust")]
        else:
            free = sorted(
                (p for p in ports if roles[p] == "both"),
                key=lambda p: self.steps.get(PortRef(name, p), FAR),
            )
            given = any(roles[p] == "supply" for p in ports)
            leave = [
                p for p in ports
                if roles[p] in ("outlet", "exhaust") or (p in free and (given or p != free[0]))
            ]  # fmt: skip
        return [p for p in ports if p not in leave], leave

    def _without_loop(
        self, order: nx.DiGraph[Any], ports: Mapping[str, int], enter: list[str], leave: list[str]
    ) -> tuple[list[str], list[str]]:
        """The same ways if they close no loop; else turned round, or as the order allows."""
        for a, b in ((enter, leave), (leave, enter)):
            if a and not _closes(order, [ports[p] for p in a], [ports[p] for p in b]):
                return a, b
            if not a and not enter:
                return a, b
        place = {n: i for i, n in enumerate(nx.lexicographical_topological_sort(order))}
        first = min(ports, key=lambda p: place[ports[p]])
        return [first], [p for p in ports if p != first]

    @staticmethod
    def _add(order: nx.DiGraph[Any], enter: Sequence[int], leave: Sequence[int]) -> None:
        order.add_edges_from((a, b) for a in enter for b in leave if a != b)

    def _levels(
        self,
        order: nx.DiGraph[Any],
        boxes: Sequence[Box],
        joined: Mapping[int, Iterable[tuple[str, int]]],
        sides: Mapping[tuple[int, str], Side],
        level_of: Mapping[int, int],
    ) -> dict[int, int]:
        """Channel of each line's consumers: one further than the furthest line that feeds it."""
        level: dict[int, int] = {}
        # a line needs a column on its left when a box leaves into it without being fed itself
        needs = {
            level_of[number]: 1
            for i, found in joined.items()
            for port, number in found
            if (boxes[i].vessel or sides[i, port] == "right")
        }
        for node in nx.lexicographical_topological_sort(order):
            before = [level[p] + 1 for p in order.predecessors(node)]
            level[node] = max([*before, needs.get(node, 0)])
        return level


def _joined_levels(lines: int, shared: set[int]) -> dict[int, int]:
    """Line -> the line whose level it has."""
    first = min(shared, default=0)
    return {number: first if number in shared else number for number in range(lines)}


def _closes(order: nx.DiGraph[Any], enter: Iterable[int], leave: Iterable[int]) -> bool:
    """Whether ways from `enter` to `leave` would close a loop."""
    goals = set(enter)
    return any(b in goals or not goals.isdisjoint(nx.descendants(order, b)) for b in leave)


def _within(name: str, group: str) -> str:
    """A name without the zone's name before it: "trim_valve_a" in trim is "valve_a"."""
    short = name.removeprefix(f"{group}_") if group else name
    return short if short and not short[0].isdigit() else name
