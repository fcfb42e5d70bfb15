"""A test gauge at a test point.

A gauge is idle where its zone is commanded to vent and nothing is left in it: it reads zero with
most faults and without.
"""

from __future__ import annotations

from collections.abc import Collection
from functools import lru_cache

from pneumo.circuit.circuit import PortRef
from pneumo.circuit.couplings import test_points
from pneumo.circuit.graph import air_graph
from pneumo.circuit.zones import component_zones, zone_feeds
from pneumo.errors import InputError
from pneumo.inspection.evidence import Reading
from pneumo.inspection.target import port_of
from pneumo.network.compile import Compiled
from pneumo.scenario.play import Play

GAUGE_STEP = 0.05e5
"""A hand-held test gauge is read to this [Pa]: common practice, no source."""

MOST_NAMED = 4
"""Test points that a refusal names."""


def read(play: Play, target: str, fitted: Collection[str] = ()) -> Reading:
    """A test gauge at a port. Raises InputError where there is no test point."""
    compiled = play.compiled
    port = port_of(compiled, target)
    points = test_points(compiled.circuit, fitted)
    node = compiled.parts[port.component].ports[port.port]
    if node >= compiled.network.dynamic:
        return Reading(str(port), 0.0, True, True)
    if port not in points:
        near = ", ".join(map(str, nearest(compiled, port, points))) or "there is none"
        raise InputError(
            f"There is no test point at {port}. The nearest: {near}. Elsewhere a tee has to be "
            "fitted first."
        )
    shown = shown_at(play, node)
    return Reading(str(port), shown, False, shown == 0.0 and _is_vented(play, port.component))


def shown_at(play: Play, node: int) -> float:
    """What a test gauge shows at a node now [Pa above the surroundings]."""
    pressure = play.plant.pressure(node) - play.compiled.circuit.ambient.pressure
    return to_step(max(pressure, 0.0))


def to_step(pressure: float) -> float:
    """A pressure as a test gauge is read [Pa]."""
    return round(pressure / GAUGE_STEP) * GAUGE_STEP


def nearest(compiled: Compiled, port: PortRef, points: Collection[PortRef]) -> list[PortRef]:
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
    """Whether the zone that a part belongs to is commanded to vent."""
    zone = _zones(play.compiled).get(component)
    return zone is not None and not play.actors.controller.logic.zones[zone].charge


@lru_cache(maxsize=2)
def _zones(compiled: Compiled) -> dict[str, str]:
    """Component -> its zone: kept, because finding it takes as long as all else of a reading."""
    circuit = compiled.circuit
    return component_zones(circuit, zone_feeds(circuit))
