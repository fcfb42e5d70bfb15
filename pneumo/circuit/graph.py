"""Where air can go in a circuit: reachability, single points of loss, highest pressures.

The graph's nodes are ports. A connection joins two ports both ways; a passage of a component leads
from one of its ports to another in the direction air can take in some position. Valves count as
passable in every position they have: the question here is what the pipework allows at all.

The walks are a few lines each, on plain dicts: every command reads a document, and loading a graph
library would take longer than reading it.
"""

from __future__ import annotations

import heapq
from collections import deque
from collections.abc import Collection

from pneumo.circuit.circuit import Circuit, Connection, PortRef
from pneumo.components.base import Role

AirGraph = dict[PortRef, dict[PortRef, None]]
"""Port -> the ports air can flow to from it, without repeats and in document order."""


def air_graph(circuit: Circuit) -> AirGraph:
    """Every port, and where air can go from it."""
    graph: AirGraph = {}
    for name, component in circuit.components.items():
        for port in component.ports():
            graph.setdefault(PortRef(name, port.name), {})
        for start, end in component.passages():
            graph[PortRef(name, start)][PortRef(name, end)] = None
    for link in circuit.connections:
        if link.b is not None:
            graph[link.a][link.b] = None
            graph[link.b][link.a] = None
    return graph


def distances(graph: AirGraph, sources: Collection[PortRef]) -> dict[PortRef, int]:
    """Ports air reaches from the sources -> steps from the nearest of them, the nearest first."""
    found = dict.fromkeys(sources, 0)
    waiting = deque(found)
    while waiting:
        port = waiting.popleft()
        for following in graph[port]:
            if following not in found:
                found[following] = found[port] + 1
                waiting.append(following)
    return found


def role(circuit: Circuit, port: PortRef) -> Role:
    """Role of a port; "both" for one the component does not declare."""
    ports = circuit.components[port.component].ports()
    return next((own.role for own in ports if own.name == port.port), "both")


def is_pilot(circuit: Circuit, link: Connection) -> bool:
    """True for a line that only commands a valve."""
    return any(role(circuit, end) == "pilot" for end in (link.a, link.b) if end is not None)


def supply_ports(circuit: Circuit) -> tuple[PortRef, ...]:
    """Ports at which air enters the circuit."""
    return tuple(
        PortRef(name, port.name)
        for name, component in circuit.having("supply").items()
        for port in component.ports()
        if port.role != "exhaust"
    )


def reached_ports(circuit: Circuit) -> tuple[PortRef, ...]:
    """Ports that air from some supply can reach, in document order."""
    graph = air_graph(circuit)
    reached = distances(graph, supply_ports(circuit))
    return tuple(port for port in graph if port in reached)


def against_the_air(circuit: Circuit) -> dict[str, tuple[str, str, tuple[str, ...]]]:
    """Components at which air arrives from the wrong side: name -> the port it comes to, the port
    to which it cannot pass, and the components that it therefore does not reach."""
    graph = air_graph(circuit)
    reached = distances(graph, supply_ports(circuit))
    dry = {p.component for p in graph} - {p.component for p in reached}
    found: dict[str, tuple[str, str, tuple[str, ...]]] = {}
    for name, component in circuit.components.items():
        for start, end in component.passages():
            comes, cannot = PortRef(name, end), PortRef(name, start)
            if comes in reached and cannot not in reached and name not in found:
                behind = {p.component for p in distances(graph, [cannot])} & dry
                parts = tuple(part for part in circuit.components if part in behind)
                if parts:
                    found[name] = end, start, parts
    return found


def single_points(circuit: Circuit, zone: str) -> tuple[str, ...]:
    """Components through which all air to a zone must pass, supplies included.

    Taking any one of them away leaves every brake of the zone without air. Document order; empty
    when the zone gets no air at all.
    """
    graph = air_graph(circuit)
    sources = supply_ports(circuit)
    brakes = {
        PortRef(name, port.name)
        for name in circuit.zones[zone].brakes
        for port in circuit.components[name].ports()
    }
    way = _way(graph, sources, brakes)
    # whatever all air must pass lies on this way too, so only its components are tried
    candidates = {port.component for port in way} - set(circuit.zones[zone].brakes)
    return tuple(
        name
        for name in circuit.components
        if name in candidates and not _way(graph, sources, brakes, without=name)
    )


def _way(
    graph: AirGraph,
    sources: tuple[PortRef, ...],
    goals: Collection[PortRef],
    without: str = "",
) -> tuple[PortRef, ...]:
    """A shortest way of air from a source to a goal that avoids a component; () if none."""
    came_from: dict[PortRef, PortRef | None] = {
        port: None for port in sources if port.component != without
    }
    waiting = deque(came_from)
    while waiting:
        port = waiting.popleft()
        if port in goals:
            way = [port]
            while (before := came_from[way[-1]]) is not None:
                way.append(before)
            return tuple(reversed(way))
        for following in graph[port]:
            if following not in came_from and following.component != without:
                came_from[following] = port
                waiting.append(following)
    return ()


def highest_pressures(circuit: Circuit) -> dict[PortRef, float]:
    """The most the supplies can bring to each port they reach [Pa absolute].

    A regulator lets no more through than its setting; droop and losses are ignored.
    """
    graph = air_graph(circuit)
    highest: dict[PortRef, float] = {}
    waiting: list[tuple[float, PortRef]] = []
    for port in supply_ports(circuit):
        _, most = circuit.components[port.component].supplied()
        heapq.heappush(waiting, (-most, port))
    while waiting:
        negative, port = heapq.heappop(waiting)
        if port in highest:
            continue
        highest[port] = -negative
        for following in graph[port]:
            pressure = -negative
            set_to = circuit.components[port.component].regulation()
            if set_to is not None and (port.component, set_to.inlet, set_to.outlet) == (
                following.component, port.port, following.port
            ):  # fmt: skip
                pressure = min(pressure, set_to.setting)
            heapq.heappush(waiting, (-pressure, following))
    return highest


def plain_loops(circuit: Circuit) -> tuple[tuple[str, ...], ...]:
    """Closed loops made only of components with two ends, no vessel or manifold among them."""
    joints: dict[PortRef, PortRef] = {}
    for link in circuit.connections:
        if link.b is not None:
            joints[link.a] = link.b
            joints[link.b] = link.a
    ends = {
        name: ports
        for name, component in circuit.components.items()
        if not component.merged_ports()
        and len(ports := [p.name for p in component.ports() if p.role != "exhaust"]) == 2
    }
    loops: list[tuple[str, ...]] = []
    seen: dict[str, None] = {}
    for start in ends:
        if start in seen:
            continue
        chain = [start]
        port = PortRef(start, ends[start][1])
        while (partner := joints.get(port)) is not None and partner.component in ends:
            name = partner.component
            if name == start:
                loops.append(tuple(chain))
                break
            chain.append(name)
            first, second = ends[name]
            port = PortRef(name, second if partner.port == first else first)
        else:
            continue
        seen.update(dict.fromkeys(chain))
    return tuple(loops)
