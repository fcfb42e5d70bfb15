"""What belongs together in a drawing: zones, the main that feeds them, branches that are alike.

Read off the circuit as an undirected graph of components; pilot lines do not count, they only
command.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import networkx as nx

from pneumo.circuit.circuit import Circuit, Connection
from pneumo.circuit.sentence import kind_of
from pneumo.circuit.symmetry import equivalents
from pneumo.report.symbols import SPREAD_KINDS

SOURCES = frozenset({"compressor", "ideal_supply"})
_NOT_IN_A_ZONE = SOURCES | {"receiver"}
_ACTORS = frozenset({"bladder_brake", "cylinder"})
_ROOT = ""
"""Stands for the air itself, before every source; no component can have this name."""


@dataclass(frozen=True)
class Grouping:
    """How a circuit is to be drawn."""

    zones: dict[str, tuple[str, ...]]
    """Zone or group of gates -> its components, in document order."""
    main: tuple[str, ...]
    """The row of manifolds and lines that feeds the zones, in order along it; () if the circuit
    has no such simple row."""
    ring: bool
    """The main's last component is joined to its first."""
    alike: dict[str, tuple[str, ...]]
    """Drawn component -> all it stands for, itself first; only components with company."""

    def hidden(self) -> frozenset[str]:
        """Components that are not drawn because another stands for them."""
        return frozenset(name for names in self.alike.values() for name in names[1:])


def group(circuit: Circuit) -> Grouping:
    """Zones, main and branches that are alike."""
    graph = _graph(circuit)
    actors = _actors(circuit)
    zones = _zones(circuit, graph, actors)
    main, ring = _main(circuit, graph, zones)
    alike = {names[0]: names for names in equivalents(circuit).values()}
    return Grouping(zones, main, ring, alike)


def role(circuit: Circuit, component: str, port: str) -> str:
    """Role of a port; "both" for one the component does not declare."""
    for candidate in circuit.components[component].ports():
        if candidate.name == port:
            return candidate.role
    return "both"


def is_pilot(circuit: Circuit, link: Connection) -> bool:
    """True for a line that only commands a valve."""
    ends = [link.a] if link.b is None else [link.a, link.b]
    return any(role(circuit, end.component, end.port) == "pilot" for end in ends)


def _graph(circuit: Circuit) -> nx.Graph[str]:
    graph: nx.Graph[str] = nx.Graph()
    graph.add_nodes_from(circuit.components)
    graph.add_edges_from(
        (link.a.component, link.b.component)
        for link in circuit.connections
        if link.b is not None and not is_pilot(circuit, link)
    )
    return graph


def _actors(circuit: Circuit) -> dict[str, tuple[str, ...]]:
    """Zone or gates -> what moves; a name used by both a zone and gates is told apart."""
    known = circuit.components
    actors = {name: tuple(b for b in z.brakes if b in known) for name, z in circuit.zones.items()}
    for name, gates in circuit.gates.items():
        label = name if name not in actors else f"{name} (gates)"
        actors[label] = tuple(c for c in gates.cylinders if c in known)
    return actors


# zones


def _zones(
    circuit: Circuit, graph: nx.Graph[str], actors: Mapping[str, tuple[str, ...]]
) -> dict[str, tuple[str, ...]]:
    above = _dominators(circuit, graph)
    below: dict[str, list[str]] = {}
    for name, parent in above.items():
        below.setdefault(parent, []).append(name)
    owner = {actor: zone for zone, names in actors.items() for actor in names}
    taken: set[str] = set()
    zones: dict[str, tuple[str, ...]] = {}
    for zone, names in actors.items():
        members = _territory(circuit, graph, above, below, names, owner, zone) - taken
        members |= {
            name
            for name, component in circuit.components.items()
            if kind_of(component) == "jaw_switch" and getattr(component, "of", "") in members
        }
        taken |= members
        zones[zone] = tuple(name for name in circuit.components if name in members)
    return {zone: members for zone, members in zones.items() if members}


def _dominators(circuit: Circuit, graph: nx.Graph[str]) -> dict[str, str]:
    """Component -> the last component that all air to it must pass; "" for none."""
    directed: nx.DiGraph[str] = nx.DiGraph(graph.to_directed())
    directed.add_node(_ROOT)
    directed.add_edges_from(
        (_ROOT, name) for name, c in circuit.components.items() if kind_of(c) in SOURCES
    )
    found = nx.immediate_dominators(directed, _ROOT)
    return {name: str(found[name]) for name in circuit.components if found.get(name) is not None}


def _territory(
    circuit: Circuit,
    graph: nx.Graph[str],
    above: Mapping[str, str],
    below: Mapping[str, Sequence[str]],
    actors: Sequence[str],
    owner: Mapping[str, str],
    zone: str,
) -> set[str]:
    """Everything behind the zone's shut-off, or else behind the last place where the zone hangs
    on the rest by one line."""

    def behind(name: str) -> set[str]:
        found, todo = {name}, [name]
        while todo:
            here = todo.pop()
            found.update(below.get(here, ()))
            todo.extend(below.get(here, ()))
        return found

    def chain(name: str) -> list[str]:
        links = [name]
        while above.get(links[-1], _ROOT) != _ROOT:
            links.append(above[links[-1]])
        return links

    reached = [actor for actor in actors if actor in above]
    if not reached:
        return set(actors)
    chains = [chain(actor) for actor in reached]
    shared = [name for name in chains[0] if all(name in other for other in chains)]
    entry, land = "", set(actors)
    for name in shared:
        candidate = behind(name)
        foreign = any(
            owner.get(member, zone) != zone or kind_of(circuit.components[member]) in _NOT_IN_A_ZONE
            for member in candidate
        )
        if foreign:
            break
        lines = sum(1 for _ in nx.edge_boundary(graph, candidate))
        is_shut_off = kind_of(circuit.components[name]) == "shut_off"
        entry_is_shut_off = bool(entry) and kind_of(circuit.components[entry]) == "shut_off"
        if not entry or (lines <= 1 and (is_shut_off or not entry_is_shut_off)):
            entry, land = name, candidate
    return land | set(actors)


# the main


def _main(
    circuit: Circuit, graph: nx.Graph[str], zones: Mapping[str, Sequence[str]]
) -> tuple[tuple[str, ...], bool]:
    inside = {name for members in zones.values() for name in members}
    common: nx.Graph[str] = nx.Graph(graph.subgraph(circuit.components.keys() - inside))
    feeding = {other for name in inside for other in graph.neighbors(name) if other not in inside}
    if not feeding:
        return (), False
    row = common.subgraph(_between(common, feeding))
    if not nx.is_connected(row) or max(degree for _, degree in row.degree()) > 2:
        return (), False
    loose = {name for name in row if kind_of(circuit.components[name]) in SPREAD_KINDS}
    for name in row:
        ports = {port.name for port in circuit.components[name].ports()}
        inline = ports == {"1", "2"} and row.degree(name) == 2
        if name not in loose and not inline:
            return (), False
    distance = _from_sources(circuit, graph)
    order = [name for name in circuit.components if name in row]
    ends = [name for name in order if row.degree(name) < 2]
    ring = not ends
    start = min(ends or [name for name in order if name in loose], key=lambda n: distance.get(n, 0))
    rows = [_walk(row, start, follow) for follow in sorted(row.neighbors(start), key=order.index)]
    if not rows:
        return (start,), False
    wanted = _zone_order(graph, zones)
    return min(rows, key=lambda names: _inversions(names, wanted)), ring


def _between(common: nx.Graph[str], feeding: set[str]) -> set[str]:
    """Everything on a way from one feeding component to another."""
    if len(feeding) == 1:
        return set(feeding)
    closed: nx.Graph[str] = nx.Graph(common)
    closed.add_edges_from((_ROOT, name) for name in feeding)
    parts: list[set[str]] = list(nx.biconnected_components(closed))  # type: ignore[arg-type]
    return {name for part in parts if _ROOT in part for name in part} - {_ROOT}


def _from_sources(circuit: Circuit, graph: nx.Graph[str]) -> dict[str, int]:
    sources = [name for name, c in circuit.components.items() if kind_of(c) in SOURCES]
    if not sources:
        return {}
    found = nx.multi_source_dijkstra_path_length(graph, sources, weight=None)
    return {str(name): int(steps) for name, steps in found.items()}


def _walk(row: nx.Graph[str], start: str, follow: str) -> tuple[str, ...]:
    names = [start, follow]
    while True:
        onward = [n for n in row.neighbors(names[-1]) if n != names[-2] and n != start]
        if not onward:
            return tuple(names)
        names.append(onward[0])


def _zone_order(graph: nx.Graph[str], zones: Mapping[str, Sequence[str]]) -> dict[str, int]:
    """Component outside the zones -> number of the first zone it feeds."""
    wanted: dict[str, int] = {}
    for number, members in enumerate(zones.values()):
        for name in members:
            for other in graph.neighbors(name):
                if other not in members:
                    wanted.setdefault(other, number)
    return wanted


def _inversions(names: Iterable[str], wanted: Mapping[str, int]) -> int:
    numbers = [wanted[name] for name in names if name in wanted]
    return sum(a > b for i, a in enumerate(numbers) for b in numbers[i + 1 :])
