"""What a technician finds at the machine: a test gauge, ears, eyes, a multimeter. And no more.

Every finding is made from what stands in the plant at the instant shown, in a mechanic's words. It
never names a fault: two plants that read, sound and look alike give the same findings.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from math import isfinite
from typing import Any, NamedTuple

import numpy as np

from pneumo.air import REFERENCE_DENSITY
from pneumo.circuit.circuit import PortRef
from pneumo.circuit.spelling import near
from pneumo.errors import InputError
from pneumo.harmless import quoted
from pneumo.live.cautions import act_cautions as act_cautions
from pneumo.live.cautions import hand_cautions
from pneumo.network.compile import Compiled
from pneumo.scenario.inject import mode_of
from pneumo.scenario.play import Play
from pneumo.scenario.pressure import node_pressure
from pneumo.simulation.look import look

GAUGE_STEP = 0.05e5
"""A hand-held test gauge is read to this [Pa]: common practice, no source."""

HISS = ((5.0, "loud"), (0.3, "clear"), (0.02, "faint"))
"""Free air from which on a hiss is called so [L/s ANR]; invented."""

CARRIES = 0.3
"""Free air from which on a hiss is heard at the part next to it as well [L/s ANR]; invented."""

NOMINAL_VOLTAGE = 24.0
"""Of a coil whose feed the document does not name [V]; an assumption."""

COIL_POWER = 5.0
"""Of a coil of sound winding [W]: order of magnitude of valve coils, from memory."""

TOUCHES = 0.2e-3
"""A gap that no eye sees [m]; invented."""

AT_END = 2e-3
"""A rod this near its end is taken to be there [m]; invented."""

RETRACTED = 0.5e-3
"""A ski this near its stop is taken to be there [m]; invented."""


class Finding(NamedTuple):
    """What a test gave."""

    text: str
    """One or a few sentences."""
    cautions: tuple[str, ...]
    """To be shown beside it."""


def examine(compiled: Compiled, play: Play, test: str, target: str) -> Finding:
    """Carries out a test of `live.request.Hand` on a run, which it does not change.

    Raises
    ------
    InputError
        When there is no such target, or nothing to be found there.
    """
    found = _TESTS[test](compiled, play, target.strip())
    return Finding(found, hand_cautions(test))


# a gauge


def read(compiled: Compiled, play: Play, target: str) -> str:
    """A test gauge at a port."""
    port = _port(compiled, target)
    node = compiled.parts[port.component].ports[port.port]
    if node >= compiled.network.dynamic:
        return f"{port} is open to the air: a gauge there reads 0.00 bar."
    pressure = float(node_pressure(play.plant.network, play.plant.state()[None, :], node)[0])
    shown = max(pressure - compiled.circuit.ambient.pressure, 0.0)
    shown = round(shown / GAUGE_STEP) * GAUGE_STEP
    return f"A test gauge at {port} reads {shown / 1e5:.2f} bar."


# ears


def listen(compiled: Compiled, play: Play, target: str) -> str:
    """A component, and what can be heard from beside it."""
    component = _component(compiled, target)
    if not compiled.parts[component].ports:
        raise InputError(
            f"{component} is {_kind(compiled, component)} and holds no air; listen at a part "
            "that does."
        )
    flows = _flows(play)
    sounds = [
        f"a {_loudness(flow)} hiss at {place}"
        for place, flow in _outflows(compiled, play, flows, component).items()
        if flow >= HISS[-1][0]
    ]
    for other in _neighbours(compiled, component):
        loudest = max(_outflows(compiled, play, flows, other).values(), default=0.0)
        if loudest >= CARRIES:
            sounds.append(f"air escaping at {other} next to it")
    heard = f"At {component}: {', '.join(sounds) or 'no sound'}."
    loud, pumps = compiled.circuit.having("pumping"), play.actors.supplies.delivers
    if component in loud:
        return f"{heard} It is {'pumping' if pumps(play.plant, component) else 'not pumping'}."
    pumping = [name for name in loud if pumps(play.plant, name)]
    if any(name in _nearby(compiled, component) for name in pumping):
        return f"{heard} A compressor is pumping nearby."
    return heard


def _flows(play: Play) -> Any:
    """(nrestriction,) air through every path now, from a to b [kg/s]."""
    network = play.plant.network
    nodes, paths = len(network.node), len(network.restriction)
    pressure, temperature = np.zeros(nodes), np.zeros(nodes)
    opened, flow = np.zeros(paths), np.zeros(paths)
    look(network, play.plant.state(), play.now, pressure, temperature, opened, flow)
    return flow


def _outflows(compiled: Compiled, play: Play, flows: Any, component: str) -> dict[str, float]:
    """Air that blows out at a component, by place [L/s of free air]."""
    table, outside = play.plant.network.restriction, play.plant.network.dynamic
    found: dict[str, float] = {}

    def add(place: str, r: int) -> None:
        ends = int(table[r]["a"]), int(table[r]["b"])
        if outside in ends:
            flow = float(flows[r]) * (1.0 if ends[1] == outside else -1.0)
            found[place] = found.get(place, 0.0) + flow / REFERENCE_DENSITY * 1e3

    for label, r in compiled.parts[component].restrictions.items():
        add(_mouth(compiled, component, label), r)
    for r, (owner, place) in _holes(compiled, play).items():
        if owner == component:
            add(place, r)
    return found


def _mouth(compiled: Compiled, component: str, label: str) -> str:
    """Where a path of a component ends in the open air."""
    ports, outside = compiled.parts[component].ports, compiled.network.dynamic
    roles = {port.name: port.role for port in compiled.circuit.components[component].ports()}
    open_ports = [port for port, node in ports.items() if node == outside]
    named = [port for port in open_ports if port in label.split("-")] or open_ports
    if not named:
        return "its outlet"
    kind = "exhaust" if roles[named[0]] == "exhaust" else "open"
    return f"its {kind} port {named[0]}"


def _holes(compiled: Compiled, play: Play) -> dict[int, tuple[str, str]]:
    """Path of every hole to the outside that stands now -> component and place, as
    `scenario.inject.struck` lays them out: faults from the front, drains from the back."""
    slots = deque(compiled.leak_slots)
    found: dict[int, tuple[str, str]] = {}
    for fault, severity in play.actors.faults.standing:
        if severity is None:
            continue
        component = compiled.circuit.components[fault.component]
        listener = _HoleListener()
        mode_of(compiled, fault).strike(component, listener, severity)
        for port in listener.ports:
            if compiled.parts[fault.component].ports[port] < compiled.network.dynamic:
                place = f"port {port}, where no air should escape"
                found[slots.popleft()] = (fault.component, place)
    for name in play.actors.faults.drained:
        port = compiled.circuit.components[name].ports()[0].name
        if compiled.parts[name].ports[port] < compiled.network.dynamic:
            found[slots.pop()] = (name, "its drain")
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


def _loudness(flow: float) -> str:
    return next(word for least, word in HISS if flow >= least)


def _neighbours(compiled: Compiled, component: str) -> tuple[str, ...]:
    """Components joined to one directly, in document order of the connections."""
    found: dict[str, None] = {}
    for link in compiled.circuit.connections:
        if link.b is not None and component in (link.a.component, link.b.component):
            found[link.a.component] = found[link.b.component] = None
    found.pop(component, None)
    return tuple(found)


def _nearby(compiled: Compiled, component: str) -> set[str]:
    """What is in hearing: everything joined without a pipe between. Pipes cross the ride, hoses
    and tubes do not; an assumption, since a circuit has no places."""
    pipes = compiled.circuit.having("crossing")
    seen, queue = {component}, deque([component])
    while queue:
        name = queue.popleft()
        if name in pipes and name != component:
            continue
        for other in _neighbours(compiled, name):
            if other not in seen:
                seen.add(other)
                queue.append(other)
    return seen


# eyes


def look_at(compiled: Compiled, play: Play, target: str) -> str:
    """What can be seen of a component from beside it."""
    component = _component(compiled, target)
    part = compiled.circuit.components[component]
    if "brake" in part.traits:
        return _jaws(compiled, play, component)
    if "gate" in part.traits:
        return _rod(compiled, play, component)
    if part.coils():
        return " ".join(_coil_plug(compiled, play, component, side) for side in part.coils())
    if "turnable" in part.traits:
        turned = component in play.actors.spools.isolated(play.plant)
        return f"The handle of {component} is {'out of' if turned else 'in'} service."
    if "drainable" in part.traits:
        state = "open" if component in play.actors.faults.drained else "closed"
        return f"The drain of {component} is {state}."
    raise InputError(
        f"{component} is {_kind(compiled, component)}: there is nothing to see on it. Look at a "
        "brake, a cylinder, a valve with a coil or a handle, or a vessel with a drain."
    )


def _jaws(compiled: Compiled, play: Play, component: str) -> str:
    travel, row = _mover(compiled, play, component)
    distance = float(row["high"]) - travel
    bladders = int(getattr(compiled.circuit.components[component], "bladders", 1))
    zone = compiled.circuit.zone_of(component)
    if zone in play.actors.faults.absent_fins:
        # nothing to measure to but the other lining
        apart = bladders * distance
        where = "The linings touch each other" if apart < TOUCHES else (
            f"The linings are {_by_eye(apart)} apart"
        )  # fmt: skip
        return f"There is no fin in the jaws of {component}. {where}."
    if distance < TOUCHES:
        return f"The jaws of {component} are closed: the linings touch the fin."
    state = "open" if travel <= RETRACTED else "neither open nor closed"
    lining = "each lining" if bladders > 1 else "the lining"
    return f"The jaws of {component} are {state}: {lining} is {_by_eye(distance)} off the fin."


def _rod(compiled: Compiled, play: Play, component: str) -> str:
    travel, row = _mover(compiled, play, component)
    if travel <= AT_END:
        return f"The rod of {component} is all the way in."
    if travel >= float(row["high"]) - AT_END:
        return f"The rod of {component} is all the way out."
    return f"The rod of {component} is {_by_eye(travel)} out, part of its way."


def _mover(compiled: Compiled, play: Play, component: str) -> tuple[float, Any]:
    row = play.plant.network.mover[compiled.parts[component].mover]
    return float(play.plant.state()[row["x"]]), row


def _by_eye(distance: float) -> str:
    """A distance [m] as an eye gives it."""
    whole = round(distance * 1e3)
    return f"about {whole} mm" if whole else "less than 1 mm"


def _coil_plug(compiled: Compiled, play: Play, component: str, side: str) -> str:
    coil = f"{component}.{side}"
    lamp = "lit" if _has_voltage(compiled, play, component, side) else "dark"
    held = "held down" if coil in play.plant.controls.overridden else "not held"
    return f"The lamp in the plug of {coil} is {lamp}; its manual override is {held}."


# a multimeter


def measure(compiled: Compiled, play: Play, target: str) -> str:
    """Voltage at a coil now, and, with no voltage there, what its winding measures."""
    component, side = _coil(compiled, target)
    coil = f"{component}.{side}"
    voltage = _feed_voltage(compiled, component)
    if _has_voltage(compiled, play, component, side):
        return (
            f"{voltage:g} V at the plug of {coil}. The winding can be measured only with the "
            "voltage off."
        )
    if any(name == _coil_mode(compiled, component, side, "coil", "open")
           for name in _standing(play, component)):  # fmt: skip
        winding = "open circuit"
    else:
        winding = f"about {voltage**2 / COIL_POWER:.3g} ohm, normal for such a coil"
    return f"0 V at the plug of {coil}. With the plug off, winding: {winding}."


def _has_voltage(compiled: Compiled, play: Play, component: str, side: str) -> bool:
    """Whether voltage arrives at a coil's plug: its output on, its feed live."""
    spec = compiled.spools[compiled.parts[component].spool]
    switched_on = spec.standing and side == "14" and component not in play.plant.controls.off
    on = switched_on or play.plant.controls.coils.get((component, side), False)
    for name in _standing(play, component):
        if name == _coil_mode(compiled, component, side, "output", "stuck-on"):
            on = True
        elif name == _coil_mode(compiled, component, side, "output", "stuck-off"):
            on = False
    return on and play.actors.spools.powered(play.plant, component)


def _standing(play: Play, component: str) -> list[str]:
    """Modes of the faults that are there now, in the order in which they were struck."""
    return [
        fault.mode
        for fault, severity in play.actors.faults.standing
        if fault.component == component and severity is not None
    ]


def _coil_mode(compiled: Compiled, component: str, side: str, part: str, word: str) -> str:
    """Name of a fault mode of `components.solenoid.coil_faults`."""
    several = len(compiled.circuit.components[component].coils()) > 1
    return f"{part}-{side}-{word}" if several else f"{part}-{word}"


def _feed_voltage(compiled: Compiled, component: str) -> float:
    feed = compiled.spools[compiled.parts[component].spool].feed
    voltage = NOMINAL_VOLTAGE
    if feed is not None:
        voltage = float(getattr(compiled.circuit.components[feed], "voltage", NOMINAL_VOLTAGE))
    return voltage if isfinite(voltage) else NOMINAL_VOLTAGE


_TESTS: dict[str, Callable[[Compiled, Play, str], str]] = {
    "read": read,
    "listen": listen,
    "look": look_at,
    "measure": measure,
}


# targets


def _component(compiled: Compiled, target: str) -> str:
    components = compiled.circuit.components
    name = target if target in components else target.rpartition(".")[0]
    if name in components:
        return name
    raise _unknown("component", target, components, "Name a component of the circuit.")


def _port(compiled: Compiled, target: str) -> PortRef:
    components = compiled.circuit.components
    name, _, port = target.rpartition(".")
    if name in components:
        ports = [p.name for p in components[name].ports()]
        if port in ports:
            return PortRef(name, port)
    elif target in components:
        name, ports = target, [p.name for p in components[target].ports()]
        if len(ports) == 1:
            return PortRef(target, ports[0])
    else:
        known = [f"{n}.{p.name}" for n, part in components.items() for p in part.ports()]
        raise _unknown("port", target, known, "Give one, for example 'header.1'.")
    if not ports:
        raise InputError(f"{name} is {_kind(compiled, name)} and has no port for a gauge.")
    choice = ", ".join(f"{name}.{p}" for p in ports)
    raise InputError(f"There is no port {quoted(target)}. Its ports are {choice}.")


def _coil(compiled: Compiled, target: str) -> tuple[str, str]:
    components = compiled.circuit.components
    coils = {f"{n}.{side}": (n, side) for n, part in components.items() for side in part.coils()}
    own = [coil for coil in coils if coil.rpartition(".")[0] == target]
    if target in coils:
        return coils[target]
    if len(own) == 1:
        return coils[own[0]]
    if own:
        raise InputError(f"{target} has more than one coil. Choose one: {' or '.join(own)}.")
    name = target if target in components else target.rpartition(".")[0]
    if name in components:
        others = [coil for coil in coils if coil.rpartition(".")[0] == name]
        if others:
            raise InputError(f"There is no coil {quoted(target)}. Did you mean {others[0]}?")
        raise InputError(
            f"{name} is {_kind(compiled, name)} and has no coil; measure at a valve that has."
        )
    raise _unknown("coil", target, coils, "Give one, for example 'valve.14'.")


def _unknown(what: str, target: str, known: Iterable[str], otherwise: str) -> InputError:
    return InputError(f"There is no {what} {quoted(target)}. {near(target, known, otherwise)}")


def _kind(compiled: Compiled, component: str) -> str:
    """What a component is, with its article."""
    title = str(compiled.circuit.components[component].title)
    return f"an {title}" if title[:1] in "aeiou" else f"a {title}"
