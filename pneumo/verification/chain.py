"""Where the chain from a command to the brakes first breaks: supply, air, spool, jaws, instrument.

Air is followed from the supply to a zone that is to be charged, and from a zone that is to be
vented to the atmosphere, over the paths of the network as it stands at one instant: every part
joins places whose pressures are known, whichever way round it was connected.
"""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np

from pneumo.circuit.circuit import Circuit
from pneumo.network.watches import BrakeWatch
from pneumo.scenario.play import Play
from pneumo.simulation.look import look
from pneumo.verification.verdict import Cause

LOST = 0.25
"""A part across which this share of the missing pressure is lost breaks the chain [-]."""

NOTICED = 0.2e5
"""Pressure differences below this break nothing [Pa]."""

ESCAPING = 1e-3
"""Flow of supply air into the atmosphere that no sound circuit has at rest [kg/s]: about 50 L/min
of free air."""

CLEAR = 1e-4
"""A lining this far from the fin is clear of it where no clearance is required [m]."""

Side = Literal["open", "closed"]

_AGAINST = 20.0
"""What a way costs more when it leads through a part as air is not meant to go, in parts."""

_CLOSED = 1000.0
"""What a way costs more where it is closed, in parts: the way with the fewest such places."""


@dataclass(frozen=True)
class _Path:
    """A way through a part from one place to another."""

    component: str
    label: str
    a: int
    b: int
    flow: float
    """From a to b [kg/s]."""
    open: bool


class _Step(NamedTuple):
    """A part on the way, with the places where the way enters and leaves it."""

    component: str
    enters: int
    leaves: int
    open: bool


def commanded(circuit: Circuit, zone: str, charge: bool) -> Side:
    """What a zone is to be when it is charged or vented."""
    return "closed" if (circuit.zone_spring(zone) == "open") == charge else "open"


def jaws_there(play: Play, zone: str, brake: BrakeWatch, side: Side) -> bool:
    """Whether the jaws of a brake are open or closed: a lining touches the fin, or is clear of it
    by what is required."""
    travel = _travel(play, brake)
    if side == "closed":
        return travel > 0.0
    clearance = play.compiled.circuit.zones[zone].requirement.clearance
    return -travel >= (CLEAR if clearance is None else clearance - 1e-6)


def _travel(play: Play, brake: BrakeWatch) -> float:
    """How far a lining is beyond the fin [m], negative while it is clear of it; to 1 µm, so that
    brakes which move alike are not told apart."""
    row = play.plant.network.mover[brake.mover]
    return round(float(play.plant.state()[row["x"]] - row["high"]), 6)


def _reads(play: Play, name: str) -> bool:
    """What the controller reads at an input."""
    return play.actors.controller.reads(play.plant, name)


def other_readings(play: Play, zone: str, charge: bool, jaws: bool = True) -> list[str]:
    """Instruments of a zone that tell something else than it is commanded to be, jaw switches
    first; without `jaws` only those of the pressure."""
    circuit = play.compiled.circuit
    entry = circuit.zones[zone]
    side = commanded(circuit, zone, charge)
    wrong: list[str] = []
    for name in circuit.zone_jaw_switches(zone) if jaws else ():
        reads = str(getattr(circuit.components[name], "reads", ""))
        if _reads(play, name) != (reads == side):
            wrong.append(name)
    wrong += [name for name in entry.pressure_switches if _reads(play, name) != charge]
    if entry.low_pressure is not None:
        name = entry.low_pressure.transmitter
        if _reads(play, name) == charge:
            wrong.append(name)
    return wrong


class Chain:
    """A plant at one instant, to be searched for the first part that does not do its share.

    `play`: a run at an instant before the logic acts on what it sees.
    """

    def __init__(self, play: Play) -> None:
        self.play = play
        self.circuit = play.compiled.circuit
        network = play.plant.network
        nodes, rows = len(network.node), len(network.restriction)
        pressure, opened, flow = np.zeros(nodes), np.zeros(rows), np.zeros(rows)
        look(network, play.plant.state(), play.now, pressure, np.zeros(nodes), opened, flow)
        self._air = int(network.dynamic)
        self._gauge: list[float] = (pressure - self.circuit.ambient.pressure).tolist()
        self._paths = tuple(
            _Path(
                name,
                label,
                int(network.restriction[r]["a"]),
                int(network.restriction[r]["b"]),
                float(flow[r]),
                bool(opened[r] > 0.0),
            )
            for name, parts in play.compiled.parts.items()
            for label, r in parts.restrictions.items()
        )
        self._at: dict[int, list[_Path]] = {}
        for path in self._paths:
            self._at.setdefault(path.a, []).append(path)
            self._at.setdefault(path.b, []).append(path)
        self._ports = {
            (name, node): port
            for name, parts in play.compiled.parts.items()
            for port, node in reversed(parts.ports.items())
        }
        self._sources = {
            play.compiled.parts[name].ports[port.name]: name
            for name, part in self.circuit.having("supply").items()
            for port in part.ports()
        }

    # what may be asked

    def zone(self, zone: str, charge: bool) -> Cause | None:
        """The first part that keeps a zone from doing what it is commanded to; None: none does."""
        brake = self._furthest(zone, charge)
        node = self._node(brake.component)
        found = self._charging(node, zone) if charge else self._venting(node, zone)
        if found is not None:
            return found
        if not jaws_there(self.play, zone, brake, self._side(zone, charge)):
            gauge = self._gauge[node]
            return self._cause(brake.component, "brake", node, node, gauge, gauge, zone)
        return self._instrument(zone, charge)

    def escape(self) -> Cause | None:
        """Where most air of a supply leaves for the atmosphere through a part it comes to the wrong
        way; None: nowhere. A bleed that is meant is none."""
        return self._escape((), "")

    def supply(self, switches: Collection[str]) -> Cause | None:
        """The first part that keeps the air from the switches that say the supply is low."""
        said = [name for name in switches if not _reads(self.play, name)] or list(switches)
        for name in said:
            node = self._node(name)
            on_at = float(getattr(self.circuit.components[name], "set"))  # noqa: B009
            found = self._charging(node, "", on_at - self.circuit.ambient.pressure)
            if found is not None:
                return found
        for name in said:
            node = self._node(name)
            return self._cause(
                name, "instrument", node, node, self._gauge[node], self._gauge[node], ""
            )
        return None

    # the air

    def _charging(self, goal: int, zone: str, enough: float | None = None) -> Cause | None:
        """`enough`: pressure that suffices [Pa gauge]; None: what the supply and the regulators on
        the way give, less what may be lost."""
        steps = self._way(self._sources, goal, True, zone)
        if steps is None:
            return None
        source = steps[0].enters if steps else goal
        nominal = self._nominal(self._sources[source])
        have, there = self._gauge[source], self._gauge[goal]
        needed = min((nominal, *self._settings(steps)))
        if enough is None:
            enough = needed - max(LOST * needed, NOTICED)
        if there >= enough:
            return None
        escape = self._escape({step.component for step in steps}, zone)
        if escape is not None:
            return escape
        lost = self._worst(steps, needed - there)
        if lost is not None and have > there + NOTICED:
            return self._lost_in(lost, "blocked", zone)
        name = self._sources[source]
        return self._cause(name, "source", source, source, nominal, have, zone)

    def _venting(self, start: int, zone: str) -> Cause | None:
        pressure = self._gauge[start]
        if pressure <= NOTICED:
            return None
        fed = self._way(self._sources, start, True, zone, only_open=True)
        if fed:
            own = self._valves(zone)
            driven = [s for s in fed if self.circuit.components[s.component].coils()]
            passing = [s for s in fed if not self._is_conduit(s.component)]
            step = next((s for s in fed if s.component in own), (driven or passing or fed)[-1])
            return self._lost_in(step, "fed", zone)
        steps = self._way({start: ""}, self._air, False, zone) or ()
        lost = next((step for step in steps if not step.open), None)
        if lost is None:
            lost = self._worst(steps, pressure)
        return None if lost is None else self._lost_in(lost, "trapped", zone)

    def _valves(self, zone: str) -> Collection[str]:
        """The valves that a zone's outputs move."""
        return {c.rpartition(".")[0] for c in self.circuit.zones[zone].outputs} if zone else ()

    def _settings(self, steps: tuple[_Step, ...]) -> Iterator[float]:
        """What the regulators on the way let through [Pa gauge]."""
        for step in steps:
            set_to = self.circuit.components[step.component].regulation()
            if set_to is not None:
                yield set_to.least - self.circuit.ambient.pressure

    def _worst(self, steps: tuple[_Step, ...], missing: float) -> _Step | None:
        """The first part that is closed and holds pressure back, or else the one across which most
        is lost; what a regulator is there to take does not count."""

        lost = self._held_back
        enough = max(LOST * missing, NOTICED)
        closed = next((step for step in steps if not step.open and lost(step) >= enough), None)
        if closed is not None:
            return closed
        worst = max(steps, key=lost, default=None)
        return None if worst is None or lost(worst) < enough else worst

    def _held_back(self, step: _Step) -> float:
        """Pressure lost across a part beyond what it is there to take [Pa]."""
        before, after = self._gauge[step.enters], self._gauge[step.leaves]
        set_to = self.circuit.components[step.component].regulation()
        if set_to is not None and self._ports[step.component, step.enters] == set_to.inlet:
            before = min(before, next(self._settings((step,))))
        return before - after

    def _waits(self, path: _Path, enters: int, leaves: int) -> bool:
        """Whether a part that pressure opens is closed because there is enough behind it."""
        part = self.circuit.components[path.component]
        if part.coils() or "turnable" in part.traits:
            return False
        meant = self._meant(path.component, enters, leaves)
        step = _Step(path.component, enters, leaves, False)
        return meant and self._held_back(step) <= NOTICED

    def _escape(self, way: Collection[str], zone: str) -> Cause | None:
        """Where air of a supply leaves for the atmosphere: through a part on the way to the zone,
        or one that it comes to the wrong way.

        A relief valve lets air go because there is too much of it, which is no cause of a lack.
        """
        found: list[tuple[bool, bool, float, Cause]] = []
        for path in self._paths:
            flow = path.flow if path.b == self._air else -path.flow
            if self._air not in (path.a, path.b) or flow < ESCAPING:
                continue
            trail = self._trail(path)
            for step in trail:
                if self._is_conduit(step.component) and step is not trail[-1]:
                    continue
                if "relieving" not in self.circuit.components[step.component].traits:
                    cause = self._lost_in(step, "escape", zone)
                    found.append((cause.backwards, step.component in way, flow, cause))
                break
        worst = max(found, key=lambda each: each[:3], default=None)
        return worst[-1] if worst is not None and (worst[0] or worst[1]) else None

    def _trail(self, last: _Path) -> tuple[_Step, ...]:
        """The parts that air leaving through a path comes through, the last of them first, back to
        a supply or a store; () when it comes from neither."""
        steps: list[_Step] = []
        node = self._air
        path: _Path | None = last
        seen: set[int] = set()
        while path is not None:
            before = path.a if path.b == node else path.b
            if steps and steps[-1].component == path.component:
                steps[-1] = steps[-1]._replace(enters=before)
            else:
                steps.append(_Step(path.component, before, node, True))
            node = before
            if node in self._sources or node > self._air or self._stored(node):
                return tuple(steps)
            seen.add(node)
            feeding = [
                (p.flow if p.b == node else -p.flow, i)
                for i, p in enumerate(self._at.get(node, ()))
                if (p.a if p.b == node else p.b) not in seen
            ]
            inflow, place = max(feeding, default=(0.0, -1))
            path = self._at[node][place] if inflow > 0.5 * ESCAPING else None
        return ()

    def _stored(self, node: int) -> bool:
        return any(
            node in self.play.compiled.parts[name].ports.values()
            for name in self.circuit.having("store")
        )

    def _way(
        self,
        starts: Mapping[int, str],
        goal: int,
        charge: bool,
        zone: str,
        *,
        only_open: bool = False,
    ) -> tuple[_Step, ...] | None:
        """The parts on the way of air, each once; None: there is no way.

        Of several ways the one that is closed in the fewest places, goes through the parts as air
        is meant to go, and where a zone is vented passes its own valves.
        """
        own = self._valves(zone)
        best: dict[int, float] = dict.fromkeys(starts, 0.0)
        came: dict[int, tuple[int, _Path]] = {}
        waiting: list[tuple[float, int]] = [(0.0, node) for node in starts]
        while waiting:
            cost, node = heapq.heappop(waiting)
            if cost > best[node]:
                continue
            if node == goal:
                return _steps(came, node)
            for path in self._at.get(node, ()):
                following = path.b if path.a == node else path.a
                if following >= self._air and following != goal:
                    continue
                if only_open and not path.open and not self._waits(path, node, following):
                    continue
                price = self._price(path, node, following)
                if not charge and path.component not in own:
                    traits = self.circuit.components[path.component].traits
                    price += _AGAINST * traits.isdisjoint(("conduit", "self-venting"))
                if cost + price < best.get(following, np.inf):
                    best[following] = cost + price
                    came[following] = node, path
                    heapq.heappush(waiting, (cost + price, following))
        return None

    def _price(self, path: _Path, node: int, following: int) -> float:
        """Of one step of a way: a closed path is dear, and so is one against its part's sense."""
        price = 1.0 if path.open else 1.0 + _CLOSED
        return price if self._meant(path.component, node, following) else price + _AGAINST

    def _meant(self, component: str, enters: int, leaves: int) -> bool:
        """Whether air is meant to go from one place to the other through a part."""
        a = self._ports.get((component, enters))
        b = self._ports.get((component, leaves))
        if a is None or b is None:
            return True  # within a part, or its end in the atmosphere
        return (a, b) in self.circuit.components[component].passages()

    # jaws and instruments

    def _side(self, zone: str, charge: bool) -> Side:
        return commanded(self.circuit, zone, charge)

    def _furthest(self, zone: str, charge: bool) -> BrakeWatch:
        """The brake furthest from what is commanded."""
        sign = 1.0 if self._side(zone, charge) == "closed" else -1.0
        brakes = self.play.compiled.brakes[zone]
        return min(brakes, key=lambda brake: sign * _travel(self.play, brake))

    def _instrument(self, zone: str, charge: bool) -> Cause | None:
        """The first instrument of a zone that tells something else than is so."""
        for name in other_readings(self.play, zone, charge):
            node = self._node(name)
            gauge = self._gauge[node] if node >= 0 else 0.0
            return self._cause(name, "instrument", node, node, gauge, gauge, zone)
        return None

    # the record

    def _is_conduit(self, component: str) -> bool:
        """Whether air goes through a part wherever it is let: what lets it go is named instead."""
        return "conduit" in self.circuit.components[component].traits

    def _node(self, component: str) -> int:
        return next(iter(self.play.compiled.parts[component].ports.values()), -1)

    def _nominal(self, source: str) -> float:
        """What a supply should give [Pa gauge]: a compressor loads at the latest there."""
        least, _ = self.circuit.components[source].supplied()
        return least - self.circuit.ambient.pressure

    def _lost_in(self, step: _Step, link: Any, zone: str) -> Cause:
        before, after = self._gauge[step.enters], self._gauge[step.leaves]
        return self._cause(step.component, link, step.enters, step.leaves, before, after, zone)

    def _cause(
        self,
        component: str,
        link: Any,
        enters: int,
        leaves: int,
        before: float,
        after: float,
        zone: str,
    ) -> Cause:
        part = self.circuit.components[component]
        a = self._ports.get((component, enters), "")
        b = self._ports.get((component, leaves), "")
        if leaves == self._air:  # several of its ports may end there
            ends = [
                path.label.rpartition("-")[2]
                for path in self._at[self._air]
                if path.component == component and a in path.label.split("-")
            ]
            b = next((p.name for p in part.ports() if p.name in ends and p.name != a), b)
        coils, plant, spools = part.coils(), self.play.plant, self.play.actors.spools
        owner = self.circuit.zone_of(component) or ""
        return Cause(
            component=component,
            line=(self.circuit.lines or {}).get(component, 0),
            link=link,
            enters=a,
            leaves=b,
            before=before,
            after=after,
            backwards=link in ("blocked", "escape", "fed", "trapped")
            and _backwards(part, a, b, link),
            position=spools.position(plant, component) if coils else None,
            energised=(
                any(spools.energised(plant, component, side) for side in coils) if coils else None
            ),
            commanded_by=owner if zone and owner != zone else "",
        )


def _steps(came: Mapping[int, tuple[int, _Path]], node: int) -> tuple[_Step, ...]:
    steps: list[_Step] = []
    while node in came:
        before, path = came[node]
        if steps and steps[-1].component == path.component:
            passes = steps[-1].open and path.open
            steps[-1] = steps[-1]._replace(enters=before, open=passes)
        else:
            steps.append(_Step(path.component, before, node, path.open))
        node = before
    return tuple(reversed(steps))


def _backwards(part: Any, a: str, b: str, link: str) -> bool:
    """Whether air comes to a part where it should leave it.

    Air of a zone that is vented goes back through valves that passed it on: there only a way
    that no such part has counts.
    """
    roles = {port.name: port.role for port in part.ports()}
    if a == b or a not in roles or b not in roles:
        return False
    if (a, b) not in part.passages():
        return True
    if link == "trapped":
        vents = "exhaust" in roles.values()
        return bool(vents and roles[a] == "supply" and roles[b] != "exhaust")
    return bool(roles[a] == "exhaust" or (roles[a] == "outlet" and roles[b] != "outlet"))
