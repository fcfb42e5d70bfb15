"""What is heard, and what soapy water shows, where air escapes.

Listening and soap are idle where there is no pressure to drive any air out. At a silencer one
listens to the part that it is screwed into.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np

from pneumo.air import REFERENCE_DENSITY
from pneumo.errors import InputError
from pneumo.inspection.evidence import Bubbles, Heard, Leaking, Loudness, Outflow, Where
from pneumo.inspection.target import component_of, kind_told
from pneumo.network.compile import Compiled
from pneumo.scenario.inject import drain_port, mode_of
from pneumo.scenario.play import Play
from pneumo.simulation.look import look

HISS: tuple[tuple[float, Loudness], ...] = ((5.0, "loud"), (0.3, "clear"), (0.02, "faint"))
"""Free air from which on a hiss is called so [L/s ANR]; invented."""

CARRIES = 0.3
"""Free air from which on a hiss is heard at the part next to it as well [L/s ANR]; invented."""

BUBBLES = 1e-3
"""Free air from which on soapy water shows bubbles [L/s ANR]: a bubble of 1 cm3 each second;
common practice, no source."""

DRIVES = 0.1e5
"""Pressure below which next to nothing comes out of a hole [Pa above the surroundings]."""

Place = tuple[Where, str]
"""Where air comes out, and the port."""


def listen(play: Play, target: str) -> Heard:
    """Beside a part. Raises InputError for one that holds no air."""
    compiled = play.compiled
    component = _with_air(compiled, target)
    flows = _flows(play)
    outflows = tuple(
        Outflow(where, port, _loudness(flow))
        for (where, port), flow in _outflows(play, flows, component).items()
        if flow >= HISS[-1][0]
    )
    joined = _joined(compiled)
    beside = tuple(
        other
        for other in joined[component]
        if max(_outflows(play, flows, other).values(), default=0.0) >= CARRIES
    )
    loud, pumps = compiled.circuit.having("pumping"), play.actors.supplies.delivers
    pumping = pumps(play.plant, component) if component in loud else None
    near = _nearby(compiled, joined, component)
    pumping_nearby = pumping is None and any(
        name in near for name in loud if pumps(play.plant, name)
    )
    # a silencer that is quiet says that the valve before it passes nothing
    outlet = "outside" in compiled.circuit.components[component].traits
    ends = outlet and len(compiled.parts[component].ports) == 1
    parts = (component, *joined[component]) if ends else (component,)
    driven = any(_is_driven(play, name) for name in parts)
    idle = not outflows and not beside and pumping is None and not driven
    return Heard(component, outflows, beside, pumping, pumping_nearby, idle)


def soap(play: Play, target: str) -> Bubbles:
    """Soapy water at the joints of a part. Raises InputError for one that holds no air."""
    component = _with_air(play.compiled, target)
    flows = _outflows(play, _flows(play), component)
    found = tuple(Leaking(*place) for place, flow in flows.items() if flow >= BUBBLES)
    return Bubbles(component, found, not found and not _is_driven(play, component))


def blowing(play: Play) -> tuple[str, ...]:
    """Parts at which air escapes so that it is heard from a step away, in document order."""
    flows = _flows(play)
    return tuple(
        name
        for name, parts in play.compiled.parts.items()
        if parts.ports and max(_outflows(play, flows, name).values(), default=0.0) >= CARRIES
    )


def _with_air(compiled: Compiled, target: str) -> str:
    component = component_of(compiled, target)
    if not compiled.parts[component].ports:
        raise InputError(
            f"{component} is {kind_told(compiled, component)} and holds no air; choose a part "
            "that does."
        )
    return component


def _is_driven(play: Play, component: str) -> bool:
    """Whether a part holds pressure that would drive air out of it."""
    outside, surroundings = play.compiled.network.dynamic, play.compiled.circuit.ambient.pressure
    nodes = play.compiled.parts[component].ports.values()
    return any(
        node < outside and play.plant.pressure(node) - surroundings > DRIVES for node in nodes
    )


def _flows(play: Play) -> Any:
    """(nrestriction,) air through every path now, from a to b [kg/s]."""
    network = play.plant.network
    nodes, paths = len(network.node), len(network.restriction)
    pressure, temperature = np.zeros(nodes), np.zeros(nodes)
    opened, flow = np.zeros(paths), np.zeros(paths)
    look(network, play.plant.state(), play.now, pressure, temperature, opened, flow)
    return flow


def _outflows(play: Play, flows: Any, component: str) -> dict[Place, float]:
    """Air that blows out at a component, by place [L/s of free air]."""
    compiled = play.compiled
    table, outside = play.plant.network.restriction, play.plant.network.dynamic
    found: dict[Place, float] = {}

    def add(place: Place, r: int) -> None:
        ends = int(table[r]["a"]), int(table[r]["b"])
        if outside in ends:
            flow = float(flows[r]) * (1.0 if ends[1] == outside else -1.0)
            found[place] = found.get(place, 0.0) + flow / REFERENCE_DENSITY * 1e3

    for label, r in compiled.parts[component].restrictions.items():
        add(_mouth(compiled, component, label), r)
    for r, (owner, place) in _holes(play).items():
        if owner == component:
            add(place, r)
    return found


def _mouth(compiled: Compiled, component: str, label: str) -> Place:
    """Where a path of a component ends in the open air."""
    ports, outside = compiled.parts[component].ports, compiled.network.dynamic
    roles = {port.name: port.role for port in compiled.circuit.components[component].ports()}
    open_ports = [port for port, node in ports.items() if node == outside]
    named = [port for port in open_ports if port in label.split("-")] or open_ports
    if not named:
        return "outlet", ""
    return "exhaust" if roles[named[0]] == "exhaust" else "open port", named[0]


def _holes(play: Play) -> dict[int, tuple[str, Place]]:
    """Path of every hole to the outside that stands now -> component and place, as
    `scenario.inject.injected` lays them out: faults from the front, drains from the back."""
    compiled = play.compiled
    slots = deque(compiled.leak_slots)
    found: dict[int, tuple[str, Place]] = {}
    for fault, severity in play.actors.faults.standing:
        if severity is None:
            continue
        component = compiled.circuit.components[fault.component]
        listener = _HoleListener()
        mode_of(compiled, fault).inject(component, listener, severity)
        for port in listener.ports:
            if compiled.parts[fault.component].ports[port] < compiled.network.dynamic:
                found[slots.popleft()] = (fault.component, ("hole", port))
    for name in play.actors.faults.drained:
        owner, port = drain_port(compiled, name)
        if compiled.parts[owner].ports[port] < compiled.network.dynamic:
            place: Place = ("drain", "" if owner == name else port)
            found[slots.pop()] = (owner, place)
    return found


class _HoleListener:
    """A `FaultTarget` that only notes at which ports holes are made."""

    def __init__(self) -> None:
        self.ports: list[str] = []

    def leak(self, port: str, conductance: float, critical: float) -> None:
        self.ports.append(port)

    def __getattr__(self, name: str) -> Callable[..., None]:
        return _nothing


def _nothing(*arguments: object) -> None:
    pass


def _loudness(flow: float) -> Loudness:
    return next(word for least, word in HISS if flow >= least)


def _joined(compiled: Compiled) -> dict[str, dict[str, None]]:
    """Component -> those joined to it directly, in document order of the connections."""
    found: dict[str, dict[str, None]] = {name: {} for name in compiled.parts}
    for link in compiled.circuit.connections:
        if link.b is not None and link.a.component != link.b.component:
            found[link.a.component][link.b.component] = None
            found[link.b.component][link.a.component] = None
    return found


def _nearby(compiled: Compiled, joined: Mapping[str, Iterable[str]], component: str) -> set[str]:
    """What is in hearing: everything joined without a pipe between. Pipes cross the ride, hoses
    and tubes do not; an assumption, since a circuit has no places."""
    pipes = compiled.circuit.having("crossing")
    seen, queue = {component}, deque([component])
    while queue:
        name = queue.popleft()
        if name in pipes and name != component:
            continue
        for other in joined[name]:
            if other not in seen:
                seen.add(other)
                queue.append(other)
    return seen
