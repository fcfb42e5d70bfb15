"""What is heard, and what soapy water shows, where air escapes.

Listening and soap are idle where there is no pressure to drive any air out. At a silencer one
listens to the part that it is screwed into.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from functools import lru_cache

from pneumo.errors import InputError
from pneumo.inspection.evidence import Bubbles, Heard, Leaking, Loudness, Outflow
from pneumo.inspection.moment import Moment
from pneumo.inspection.target import component_of, kind_told
from pneumo.network.compile import Compiled

HISS: tuple[tuple[float, Loudness], ...] = ((5.0, "loud"), (0.3, "clear"), (0.02, "faint"))
"""Free air from which on a hiss is called so [L/s ANR]; invented."""

CARRIES = 0.3
"""Free air from which on a hiss is heard at the part next to it as well [L/s ANR]; invented."""

BUBBLES = 1e-3
"""Free air from which on soapy water shows bubbles [L/s ANR]: a bubble of 1 cm3 each second;
common practice, no source."""


def listen(at: Moment, target: str) -> Heard:
    """Beside a part. Raises InputError for one that holds no air."""
    compiled, play = at.compiled, at.play
    component = _with_air(compiled, target)
    outflows = tuple(
        Outflow(where, port, _loudness(flow))
        for (where, port), flow in at.escaping.get(component, {}).items()
        if flow >= HISS[-1][0]
    )
    beside = tuple(other for other in joined(compiled)[component] if carries(at, other))
    loud, pumps = compiled.circuit.having("pumping"), play.actors.supplies.delivers
    pumping = pumps(play.plant, component) if component in loud else None
    pumping_nearby = pumping is None and any(
        component in near and pumps(play.plant, name) for name, near in hearing(compiled).items()
    )
    driven = any(at.is_driven(name) for name in heard_through(compiled, component))
    idle = not outflows and not beside and pumping is None and not driven
    return Heard(component, outflows, beside, pumping, pumping_nearby, idle)


def soap(at: Moment, target: str) -> Bubbles:
    """Soapy water at the joints of a part. Raises InputError for one that holds no air."""
    component = _with_air(at.compiled, target)
    flows = at.escaping.get(component, {})
    found = tuple(Leaking(*place) for place, flow in flows.items() if flow >= BUBBLES)
    return Bubbles(component, found, not found and not at.is_driven(component))


def carries(at: Moment, component: str) -> bool:
    """Whether air escapes at a part so that it is heard from a step away."""
    return any(flow >= CARRIES for flow in at.escaping.get(component, {}).values())


def blowing(at: Moment) -> tuple[str, ...]:
    """Parts at which air escapes so that it is heard from a step away, in document order."""
    parts = at.compiled.parts.items()
    return tuple(name for name, part in parts if part.ports and carries(at, name))


def _with_air(compiled: Compiled, target: str) -> str:
    component = component_of(compiled, target)
    if not compiled.parts[component].ports:
        raise InputError(
            f"{component} is {kind_told(compiled, component)} and holds no air; choose a part "
            "that does."
        )
    return component


def _loudness(flow: float) -> Loudness:
    return next(word for least, word in HISS if flow >= least)


def heard_through(compiled: Compiled, component: str) -> tuple[str, ...]:
    """Parts whose air one listens for at a part: its own, and at a silencer that of the part it is
    screwed into. One that is quiet says that the valve before it passes nothing."""
    outlet = "outside" in compiled.circuit.components[component].traits
    ends = outlet and len(compiled.parts[component].ports) == 1
    return (component, *joined(compiled)[component]) if ends else (component,)


@lru_cache(maxsize=2)
def joined(compiled: Compiled) -> Mapping[str, Mapping[str, None]]:
    """Component -> those joined to it directly, in document order of the connections."""
    found: dict[str, dict[str, None]] = {name: {} for name in compiled.parts}
    for link in compiled.circuit.connections:
        if link.b is not None and link.a.component != link.b.component:
            found[link.a.component][link.b.component] = None
            found[link.b.component][link.a.component] = None
    return found


@lru_cache(maxsize=2)
def hearing(compiled: Compiled) -> Mapping[str, frozenset[str]]:
    """Each part that is heard while it pumps -> those at which it is: everything joined without a
    pipe between. Pipes cross the ride, hoses and tubes do not; an assumption, since a circuit has
    no places."""
    return {name: _nearby(compiled, name) for name in compiled.circuit.having("pumping")}


def _nearby(compiled: Compiled, component: str) -> frozenset[str]:
    pipes, near = compiled.circuit.having("crossing"), joined(compiled)
    seen, queue = {component}, deque([component])
    while queue:
        name = queue.popleft()
        if name in pipes and name != component:
            continue
        for other in near[name]:
            if other not in seen:
                seen.add(other)
                queue.append(other)
    return frozenset(seen)
