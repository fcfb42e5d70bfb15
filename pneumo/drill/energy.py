"""What could hurt somebody who works on a part: read off the plant as it really stands.

Limits:

- 0.5 bar: the pressure from which on equipment counts as pressure equipment (Directive
  2014/68/EU, article 1; from memory).
- 140 N: quasi-static force on a hand or its fingers that ISO/TS 15066:2016, table A.2, takes as the
  limit of pain (from memory).
- 120 V DC: limit of extra-low voltage, IEC 60449 band I (from memory).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.circuit.graph import AirGraph, air_graph, distances, role, supply_ports
from pneumo.circuit.targets import coil_voltage
from pneumo.network.network import chamber
from pneumo.scenario.play import Play

UNDER_PRESSURE = 0.5e5
"""A part opened at more than this throws parts or a jet of air [Pa above the surroundings]."""

CRUSHES = 140.0
"""A force that may close the jaws on a hand [N]."""

SHOCKS = 120.0
"""A voltage that hurts [V]."""


@dataclass(frozen=True)
class WaysIn:
    """From where air could still come to a part, whatever the valves do that coils or air move."""

    supplies: tuple[str, ...]
    """Supplies that are on, with an open way."""
    stores: tuple[tuple[str, float], ...]
    """Vessels under pressure with an open way, and their pressure [Pa above the surroundings]."""

    @property
    def any(self) -> bool:
        """Whether it can come from anywhere."""
        return bool(self.supplies or self.stores)


def closed_by_hand(play: Play) -> tuple[str, ...]:
    """What somebody has turned or switched off and could lock, in document order."""
    off = {*play.actors.spools.isolated(play.plant), *play.plant.controls.off}
    return tuple(name for name in play.compiled.circuit.components if name in off)


def ways_in(play: Play, component: str, closed: Collection[str]) -> WaysIn:
    """From where air could come to a part while some valves and supplies are held closed."""
    circuit = play.compiled.circuit
    graph = _cut(circuit, closed)
    ports = _ports(circuit, component)
    supplies = [p for p in supply_ports(circuit) if p.component not in closed]
    stores: dict[str, float] = {}

    def reach(sources: list[PortRef]) -> bool:
        return not distances(graph, sources).keys().isdisjoint(ports)

    for name in circuit.having("store"):
        pressure = pressure_at(play, name)
        if name != component and pressure > UNDER_PRESSURE and reach(_ports(circuit, name)):
            stores[name] = pressure
    reaching = dict.fromkeys(port.component for port in supplies if reach([port]))
    return WaysIn(tuple(reaching), tuple(stores.items()))


def _cut(circuit: Circuit, closed: Collection[str]) -> AirGraph:
    """Where air can go while some parts let none through but to their exhaust."""
    graph = air_graph(circuit)
    for name in closed:
        for port in _ports(circuit, name):
            graph[port] = {
                other: None
                for other in graph[port]
                if other.component != name or role(circuit, other) == "exhaust"
            }
    return graph


def _ports(circuit: Circuit, component: str) -> list[PortRef]:
    return [PortRef(component, port.name) for port in circuit.components[component].ports()]


def pressure_at(play: Play, component: str) -> float:
    """The highest pressure at any port of a part [Pa above the surroundings]; 0 without air."""
    return max((p for _, p in port_pressures(play, component)), default=0.0)


def port_pressures(play: Play, component: str) -> Iterator[tuple[str, float]]:
    """Every port of a part with its pressure [Pa above the surroundings]; 0 at an open end."""
    surroundings = play.compiled.circuit.ambient.pressure
    for port, node in play.compiled.parts[component].ports.items():
        outside = node >= play.compiled.network.dynamic
        yield port, 0.0 if outside else max(play.plant.pressure(node) - surroundings, 0.0)


def moving_force(play: Play, component: str) -> float:
    """The force that could close the jaws of a brake from where they stand, its springs as they are
    and the air in its bladders; of a cylinder the one that could move it either way, should the air
    on one side be lost [N]. 0 for a part that moves nothing."""
    mover = play.compiled.parts[component].mover
    if mover < 0:
        return 0.0
    network = play.plant.network
    row = network.mover.view(np.recarray)[mover]
    travel = float(play.plant.state()[row.x])
    springs = float(row.spring_force - row.spring_rate * travel)
    surroundings = play.compiled.circuit.ambient.pressure
    closing = opening = 0.0
    for which, node in enumerate((int(row.node_0), int(row.node_1))):
        if node >= 0:
            over = max(play.plant.pressure(node) - surroundings, 0.0)
            force = over * float(chamber(row, which, travel)[1])
            closing, opening = closing + max(force, 0.0), opening + max(-force, 0.0)
    forces = [springs + closing]
    if "brake" not in play.compiled.circuit.components[component].traits:
        forces.append(opening - springs)
    return max(*forces, 0.0)


class Wiring(NamedTuple):
    """What stands at the wires of a part."""

    volts: float
    """Really there now [V]."""
    cut_by: tuple[str, ...]
    """What can be switched off, any of which makes them dead; () = nothing on the ride can."""


def is_wired(circuit: Circuit, component: str) -> bool:
    """Whether a part has wires: a coil, a contact, a transmitter, a feed, a compressor."""
    part = circuit.components[component]
    wired = part.traits & {"contact", "reading", "feed", "pumping"}
    return bool(wired or part.coils())


def wiring(play: Play, component: str) -> Wiring:
    """What stands at the wires of a part that has some. Contacts and transmitters hang on the
    controller's own voltage, which nothing at the ride switches off."""
    components, controls = play.compiled.circuit.components, play.plant.controls
    part = components[component]
    volts = coil_voltage(components, component)
    cut_by: tuple[str, ...] = ()
    if "feed" in part.traits:
        on = controls.power and component not in controls.off
        cut_by = (component,)
        volts = float(getattr(part, "voltage", volts))
    elif coils := part.coils():
        on = any(controls.has_voltage((component, side)) for side in coils)
        cut_by = _switches(components, component)
    elif "pumping" in part.traits:
        cut_by = _switches(components, component)
        on = controls.power and controls.off.isdisjoint(cut_by)
    else:
        on = controls.power
    return Wiring(volts if on else 0.0, cut_by)


def _switches(components: Mapping[str, Any], component: str) -> tuple[str, ...]:
    """The part itself where it has a switch of its own, and its feed."""
    part = components[component]
    own = (component,) if "switchable" in part.traits else ()
    feed = getattr(part, "feed", None)
    return (*own, str(feed)) if feed else own
