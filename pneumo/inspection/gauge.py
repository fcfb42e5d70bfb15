"""A test gauge at a test point.

A gauge is idle where its zone is commanded to vent and nothing is left in it: it reads zero with
most faults and without.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import lru_cache

from pneumo.circuit.circuit import PortRef
from pneumo.circuit.couplings import test_points
from pneumo.circuit.graph import air_graph
from pneumo.circuit.zones import component_zones, zone_feeds
from pneumo.errors import InputError
from pneumo.inspection.evidence import Reading
from pneumo.inspection.moment import Moment
from pneumo.inspection.target import port_of
from pneumo.network.compile import Compiled

GAUGE_STEP = 0.05e5
"""A hand-held test gauge is read to this [Pa]: common practice, no source."""

MOST_NAMED = 4
"""Test points that a refusal names."""


def read(at: Moment, target: str, fitted: Collection[str] = ()) -> Reading:
    """A test gauge at a port. Raises InputError where there is no test point."""
    compiled = at.compiled
    port = port_of(compiled, target)
    points = points_of(compiled, frozenset(fitted))
    node = compiled.parts[port.component].ports[port.port]
    if node >= compiled.network.dynamic:
        return Reading(str(port), 0.0, True, True)
    if port not in points:
        near = ", ".join(map(str, nearest(compiled, port, points))) or "there is none"
        raise InputError(
            f"There is no test point at {port}. The nearest: {near}. Elsewhere a tee has to be "
            "fitted first."
        )
    shown = shown_at(at, node)
    return Reading(str(port), shown, False, shown == 0.0 and _is_vented(at, port.component))


def shown_at(at: Moment, node: int) -> float:
    """What a test gauge shows at a node now [Pa above the surroundings]."""
    return to_step(max(float(at.above[node]), 0.0))


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


def _is_vented(at: Moment, component: str) -> bool:
    """Whether the zone that a part belongs to is commanded to vent."""
    zone = zones_of(at.compiled).get(component)
    return zone is not None and not at.play.actors.controller.logic.zones[zone].charge


# kept, because finding them takes as long as all else of a hundred readings


@lru_cache(maxsize=2)
def zones_of(compiled: Compiled) -> Mapping[str, str]:
    """Component -> its zone."""
    circuit = compiled.circuit
    return component_zones(circuit, zone_feeds(circuit))


@lru_cache(maxsize=4)
def points_of(compiled: Compiled, fitted: frozenset[str]) -> frozenset[PortRef]:
    """Ports at which a gauge can be fitted without opening anything."""
    return test_points(compiled.circuit, fitted)
