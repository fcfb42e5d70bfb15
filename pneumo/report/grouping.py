"""What belongs together in a drawing: zones, the main that feeds them, branches that are alike.

Read off the circuit as an undirected graph of components; pilot lines do not count, they only
command.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import networkx as nx

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.graph import is_pilot
from pneumo.circuit.symmetry import equivalents
from pneumo.circuit.zones import territories
from pneumo.components.base import kind_of
from pneumo.report.symbols import SPREAD_KINDS

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
    zones = territories(circuit)
    main, ring = _main(circuit, graph, zones)
    alike = {names[0]: names for names in equivalents(circuit).values()}
    return Grouping(zones, main, ring, alike)


def _graph(circuit: Circuit) -> nx.Graph[str]:
    graph: nx.Graph[str] = nx.Graph()
    graph.add_nodes_from(circuit.components)
    graph.add_edges_from(
        (link.a.component, link.b.component)
        for link in circuit.connections
        if link.b is not None and not is_pilot(circuit, link)
    )
    return graph


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
    sources = circuit.having("supply")
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
