"""How long news of a change in pressure travels through the lines of a zone.

Every volume of the model has one pressure, so a long line answers at once, a little; in a real one
nothing happens at the far end before a wave has come through: length over the speed of sound. The
model is early by up to that time, so the judge adds it to what a zone has taken.
"""

from __future__ import annotations

import heapq
from math import sqrt

from pneumo.air import GAS_CONSTANT, HEAT_RATIO
from pneumo.circuit.circuit import Circuit, PortRef, Zone
from pneumo.circuit.graph import supply_ports

Ways = dict[PortRef, dict[PortRef, float]]
"""Port -> the ports news reaches from it, and the length of line between them [m]."""


def speed_of_sound(temperature: float) -> float:
    """Of air as an ideal gas, sqrt(k R T) [m/s]; 343.2 m/s at 293.15 K."""
    return sqrt(HEAT_RATIO * GAS_CONSTANT * temperature)


def line_delays(circuit: Circuit) -> dict[str, float]:
    """Zone -> time in which news comes through its lines to its furthest brake [s].

    From where the air leaves when springs make the safe state, from where it comes when air does:
    the longest of the shortest ways, whichever of them a case uses, so that none is judged better
    than it is. A way leads through valves whatever their position, through check valves as they
    open, and through no vessel.
    """
    speed = speed_of_sound(circuit.ambient.temperature)
    delays = {}
    outward: Ways | None = None
    inward: Ways | None = None
    for name, zone in circuit.zones.items():
        if _springs_make_safe(circuit, zone):
            outward = outward or _ways(circuit, with_the_flow=True)
            ways, ends = outward, _openings(circuit)
        else:
            inward = inward or _ways(circuit, with_the_flow=False)
            ways, ends = inward, _sources(circuit)
        delays[name] = _longest(circuit, zone, ways, ends) / speed
    return delays


def _springs_make_safe(circuit: Circuit, zone: Zone) -> bool:
    wanted = "open" if zone.safe_state == "open" else "close"
    return all(getattr(circuit.components[name], "spring", "") == wanted for name in zone.brakes)


def _openings(circuit: Circuit) -> set[PortRef]:
    silenced = {
        PortRef(name, port.name)
        for name, component in circuit.having("outside").items()
        for port in component.ports()
    }
    return {*circuit.open_ends()} | silenced


def _sources(circuit: Circuit) -> set[PortRef]:
    stores = {
        PortRef(name, port.name)
        for name, component in circuit.having("store").items()
        for port in component.ports()
    }
    return {*supply_ports(circuit)} | stores


def _ways(circuit: Circuit, *, with_the_flow: bool) -> Ways:
    """Where news goes from each port, with check valves passed with the flow or against it."""
    ways: Ways = {}
    for name, component in circuit.components.items():
        for port in component.ports():
            ways.setdefault(PortRef(name, port.name), {})
        if "store" in component.traits:
            continue  # its pressure stands: a wave goes no further
        length = component.line_length()
        passes_one_way = "non-return" in component.traits
        for start, end in component.passages():
            both = ((start, end), (end, start))
            wanted = both if not passes_one_way else both[:1] if with_the_flow else both[1:]
            for a, b in wanted:
                ways[PortRef(name, a)][PortRef(name, b)] = length
    for link in circuit.connections:
        if link.b is not None:
            ways[link.a][link.b] = ways[link.b][link.a] = 0.0
    return ways


def _longest(circuit: Circuit, zone: Zone, ways: Ways, ends: set[PortRef]) -> float:
    """The longest of the shortest ways from a brake of the zone to an end it reaches [m]."""
    begins: dict[str, tuple[float, PortRef]] = {}
    for name in zone.brakes:
        for port in circuit.components[name].ports():
            length, joint = _stub(ways, PortRef(name, port.name))
            # brakes that hang on one manifold differ by their own hoses only
            begins[joint.component] = max(
                begins.get(joint.component, (-1.0, joint)), (length, joint)
            )
    return max((_furthest(ways, *begin, ends) for begin in begins.values()), default=0.0)


def _stub(ways: Ways, port: PortRef) -> tuple[float, PortRef]:
    """The way from a port as far as there is only one, and its length."""
    length = 0.0
    before: PortRef | None = None
    while True:
        onward = [way for way in ways[port].items() if way[0] != before]
        if len(onward) != 1:
            return length, port
        before, (port, further) = port, onward[0]
        length += further


def _furthest(ways: Ways, begun: float, start: PortRef, ends: set[PortRef]) -> float:
    """The shortest way to the furthest end that is reached, without one to the furthest port [m]
    (Dijkstra's method)."""
    found: dict[PortRef, float] = {}
    waiting = [(begun, start)]
    furthest: float | None = None
    while waiting:
        length, port = heapq.heappop(waiting)
        if port in found:
            continue
        found[port] = length
        if port in ends:
            furthest = length
        for following, further in ways[port].items():
            if following not in found:
                heapq.heappush(waiting, (length + further, following))
    return max(found.values()) if furthest is None else furthest
