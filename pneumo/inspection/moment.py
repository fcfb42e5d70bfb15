"""A run at one instant, as whoever examines it finds it: what test after test asks is worked out
once for all of them."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping
from functools import cached_property, lru_cache
from typing import Any

import numpy as np

from pneumo.air import REFERENCE_DENSITY
from pneumo.inspection.evidence import Where
from pneumo.network.compile import Compiled
from pneumo.scenario.inject import drain_port, mode_of
from pneumo.scenario.play import Play
from pneumo.simulation.look import look

DRIVES = 0.1e5
"""Pressure below which next to nothing comes out of a hole [Pa above the surroundings]."""

Place = tuple[Where, str]
"""Where air comes out, and the port."""


class Moment:
    """A run as it stands. It neither goes on nor is acted on while this is in use."""

    def __init__(self, play: Play) -> None:
        self.play, self.compiled = play, play.compiled

    @cached_property
    def state(self) -> list[float]:
        """(nstate,) [SI], see `Network` for the layout."""
        return self.play.plant.state().tolist()  # type: ignore[no-any-return]

    @cached_property
    def above(self) -> Any:
        """(nnode,) pressure of every node [Pa above the surroundings]."""
        return self._looked[0] - self.compiled.circuit.ambient.pressure

    @cached_property
    def _looked(self) -> tuple[Any, Any]:
        """(nnode,) pressures [Pa absolute] and (nrestriction,) flows, from a to b [kg/s]."""
        network = self.play.plant.network
        nodes, paths = len(network.node), len(network.restriction)
        pressure, temperature = np.zeros(nodes), np.zeros(nodes)
        opened, flow = np.zeros(paths), np.zeros(paths)
        state = np.array(self.state)
        look(network, state, self.play.now, pressure, temperature, opened, flow)
        return pressure, flow

    @cached_property
    def driven(self) -> Any:
        """(nnode,) whether a node holds pressure that would drive air out of a hole."""
        driven = self.above > DRIVES
        driven[self.compiled.network.dynamic :] = False
        return driven

    def is_driven(self, component: str) -> bool:
        """The same of a part."""
        driven = self.driven
        return any(driven[node] for node in self.compiled.parts[component].ports.values())

    @cached_property
    def escaping(self) -> Mapping[str, Mapping[Place, float]]:
        """Air that blows out at each component where a way to the outside is, by place [L/s of free
        air]."""
        flows = self._looked[1].tolist()
        found: dict[str, dict[Place, float]] = {}

        def add(component: str, place: Place, r: int, sign: float) -> None:
            places = found.setdefault(component, {})
            places[place] = places.get(place, 0.0) + flows[r] * sign / REFERENCE_DENSITY * 1e3

        for mouth in _mouths(self.compiled):
            add(*mouth)
        for r, (component, place) in self._holes().items():
            add(component, place, r, 1.0)  # `inject` lays a hole from the inside to the outside
        return found

    def _holes(self) -> dict[int, tuple[str, Place]]:
        """Path of every hole to the outside that stands now -> component and place, as
        `scenario.inject.injected` lays them out: faults from the front, drains from the back."""
        compiled, faults = self.compiled, self.play.actors.faults
        slots = deque(compiled.leak_slots)
        found: dict[int, tuple[str, Place]] = {}
        for fault, severity in faults.standing:
            if severity is None:
                continue
            component = compiled.circuit.components[fault.component]
            listener = _HoleListener()
            mode_of(compiled, fault).inject(component, listener, severity)
            for port in listener.ports:
                if compiled.parts[fault.component].ports[port] < compiled.network.dynamic:
                    found[slots.popleft()] = (fault.component, ("hole", port))
        for name in faults.drained:
            owner, port = drain_port(compiled, name)
            if compiled.parts[owner].ports[port] < compiled.network.dynamic:
                place: Place = ("drain", "" if owner == name else port)
                found[slots.pop()] = (owner, place)
        return found

    # what moves

    @cached_property
    def fins_absent(self) -> frozenset[str]:
        """Zones without a fin in their jaws."""
        return frozenset(self.play.actors.faults.absent_fins)

    @cached_property
    def isolated(self) -> frozenset[str]:
        """Shut-off valves whose handle stands out of service."""
        return frozenset(self.play.actors.spools.isolated(self.play.plant))

    def moved(self, component: str) -> tuple[float, Any]:
        """Travel of a mover [m], and its row."""
        row = self.play.plant.network.mover[self.compiled.parts[component].mover]
        return self.state[row["x"]], row


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


@lru_cache(maxsize=2)
def _mouths(compiled: Compiled) -> tuple[tuple[str, Place, int, float], ...]:
    """Every path of a component that ends in the open air: component, place, path, and the sign of
    a flow outwards."""
    table, outside = compiled.network.restriction, compiled.network.dynamic
    found = []
    for component, part in compiled.parts.items():
        for label, r in part.restrictions.items():
            ends = int(table[r]["a"]), int(table[r]["b"])
            if outside in ends:
                sign = 1.0 if ends[1] == outside else -1.0
                found.append((component, _mouth(compiled, component, label), r, sign))
    return tuple(found)


def _mouth(compiled: Compiled, component: str, label: str) -> Place:
    """Where a path of a component ends in the open air."""
    ports, outside = compiled.parts[component].ports, compiled.network.dynamic
    roles = {port.name: port.role for port in compiled.circuit.components[component].ports()}
    open_ports = [port for port, node in ports.items() if node == outside]
    named = [port for port in open_ports if port in label.split("-")] or open_ports
    if not named:
        return "outlet", ""
    return "exhaust" if roles[named[0]] == "exhaust" else "open port", named[0]
