"""A test gauge at a test point.

Test points are the ports that the document names as such, every port of a net that a gauge or a
transmitter is on (its fitting has a coupling), plugged ports, and where somebody has fitted a tee.

A gauge is idle where its zone is commanded to vent and nothing is left in it: it reads zero with
most faults and without.
"""

from __future__ import annotations

from collections.abc import Collection

from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.circuit.graph import air_graph
from pneumo.errors import InputError
from pneumo.inspection.evidence import Gauge
from pneumo.inspection.target import port_of
from pneumo.network.compile import Compiled
from pneumo.scenario.play import Play

GAUGE_STEP = 0.05e5
"""A hand-held test gauge is read to this [Pa]: common practice, no source."""

MOST_NAMED = 4
"""Test points that a refusal names."""


def read(play: Play, target: str, fitted: Collection[str] = ()) -> Gauge:
    """A test gauge at a port. Raises InputError where there is no test point."""
    compiled = play.compiled
    port = port_of(compiled, target)
    points = test_points(compiled.circuit, fitted)
    node = compiled.parts[port.component].ports[port.port]
    if node >= compiled.network.dynamic:
        return Gauge(str(port), 0.0, True, True)
    if port not in points:
        near = ", ".join(map(str, _nearest(compiled, port, points))) or "there is none"
        raise InputError(
            f"There is no test point at {port}. The nearest: {near}. Elsewhere a tee has to be "
            "fitted first."
        )
    shown = shown_at(play, node)
    return Gauge(str(port), shown, False, shown == 0.0 and _is_vented(play, port.component))


def shown_at(play: Play, node: int) -> float:
    """What a test gauge shows at a node now [Pa above the surroundings]."""
    pressure = play.plant.pressure(node) - play.compiled.circuit.ambient.pressure
    return round(max(pressure, 0.0) / GAUGE_STEP) * GAUGE_STEP


def test_points(circuit: Circuit, fitted: Collection[str] = ()) -> frozenset[PortRef]:
    """Ports at which a gauge can be fitted without opening anything."""
    named = {*circuit.ride.test_points, *fitted}
    gauges = {name for name, part in circuit.components.items() if "reading" in part.quantities}
    points: set[PortRef] = set()
    for net in _nets(circuit):
        if any(p.component in gauges or str(p) in named for p in net):
            points.update(net)
    points.update(link.a for link in circuit.connections if link.end == "plug")
    return frozenset(points)


def _nets(circuit: Circuit) -> list[list[PortRef]]:
    """Ports that are joined, also through a vessel or a manifold."""
    near: dict[PortRef, list[PortRef]] = {}
    groups: list[list[PortRef]] = [
        [PortRef(name, port) for port in group]
        for name, part in circuit.components.items()
        for group in (*part.merged_ports(), *((port.name,) for port in part.ports()))
    ]
    groups += [[link.a, link.b] for link in circuit.connections if link.b is not None]
    for group in groups:
        for port in group:
            near.setdefault(port, []).extend(group)
    nets: list[list[PortRef]] = []
    seen: set[PortRef] = set()
    for port in near:
        if port not in seen:
            net = [port]
            seen.add(port)
            for each in net:
                fresh = [other for other in dict.fromkeys(near[each]) if other not in seen]
                seen.update(fresh)
                net += fresh
            nets.append(net)
    return nets


def _nearest(compiled: Compiled, port: PortRef, points: Collection[PortRef]) -> list[PortRef]:
    """The nearest test points of parts around a port, each part once."""
    graph = air_graph(compiled.circuit)
    back: dict[PortRef, dict[PortRef, None]] = {each: {} for each in graph}
    for start, ends in graph.items():
        for end in ends:
            back[end][start] = None
    steps, queue = {port: 0}, [port]
    for each in queue:
        for other in (*graph[each], *back[each]):
            if other not in steps:
                steps[other] = steps[each] + 1
                queue.append(other)
    found: dict[str, PortRef] = {}
    for each in queue:
        if each in points:
            found.setdefault(each.component, each)
    return list(found.values())[:MOST_NAMED]


def _is_vented(play: Play, component: str) -> bool:
    """Whether the zone of a part is commanded to vent."""
    zone = play.compiled.circuit.zone_of(component) or _zone_behind(play, component)
    return zone is not None and not play.actors.controller.logic.zones[zone].charge


def _zone_behind(play: Play, component: str) -> str | None:
    from pneumo.circuit.zones import component_zones, zone_feeds

    circuit = play.compiled.circuit
    return component_zones(circuit, zone_feeds(circuit)).get(component)
