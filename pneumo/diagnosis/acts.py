"""What can be done to a ride to learn more than it shows from day to day.

One valve driven alone, against what the controller commands; its manual override held; a shut-off
valve closed, and watched; a zone drained at a test point once it is shut off; a supply or a feed
switched off; a vessel drained while one supply is on; somebody who listens while a zone moves.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pneumo.circuit.action import (
    Action,
    Command,
    Drain,
    ForceOutput,
    HandOverride,
    Switch,
    Turn,
)
from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.circuit.couplings import joined_ports, test_points
from pneumo.circuit.verbs import ALL, work_of
from pneumo.circuit.zones import component_zones, territories, zone_feeds
from pneumo.diagnosis.rehearsal import Struck
from pneumo.inspection.meter import is_commanded
from pneumo.scenario.play import Play

SWITCHED, WATCHED, DRAINED = 8.0, 120.0, 120.0
"""After a valve was switched; after something was closed or switched off; after a drain was opened,
a test is made so much later [s]; estimated."""

MIDST = 0.3
"""While a zone moves it is listened to, so long after the command [s]; estimated."""


@dataclass(frozen=True)
class Act:
    """Something that is done, and when it is looked at."""

    actions: tuple[Action, ...]
    after: float
    """A test is made so much later [s]."""
    moving: bool = False
    """Somebody stands there and listens meanwhile; all that can be told then is heard."""

    @property
    def lines(self) -> tuple[str, ...]:
        """As it is said in a drill."""
        return tuple(action.text for action in self.actions)

    def seconds(self, circuit: Circuit) -> float:
        """Downtime that it takes [s]."""
        work = (getattr(circuit.downtime, work_of(action)) for action in self.actions)
        return float(sum(work)) + self.after


def owners(circuit: Circuit) -> dict[str, str]:
    """Component -> its zone or group of gates; what is shared is left out."""
    gates = {
        name: group
        for group, members in territories(circuit).items()
        for name in members
        if group in circuit.gates
    }
    return gates | component_zones(circuit, zone_feeds(circuit))


def acts_at(play: Play, stands: Struck, of: Mapping[str, str], owner: str) -> Iterator[Act]:
    """What can be done at a zone or a group of gates, and at what it shares with others; "" = at
    what is shared alone.

    Parameters
    ----------
    play
        The ride without a fault, as it stands.
    of
        See `owners`.
    """
    circuit = play.compiled.circuit
    own = [name for name in circuit.components if of.get(name, "") == owner]
    shared = [name for name in circuit.components if name not in of]
    yield Act((Command(owner or ALL, "close" if stands == "open" else "open"),), MIDST, moving=True)
    yield from _driven(play, own)
    turnable = circuit.having("turnable")
    for name in dict.fromkeys((*own, *shared)):
        if name in turnable:
            yield Act((Turn(name, False),), WATCHED)
    if not owner:
        yield from _supplied(circuit, shared)
    elif cut := [Turn(name, False) for name in own if name in turnable]:
        for port in _points(circuit, own):
            yield Act((*cut, Drain(str(port), True)), DRAINED)


def _driven(play: Play, own: Sequence[str]) -> Iterator[Act]:
    """One valve of some components driven alone, by the controller or by its override."""
    circuit = play.compiled.circuit
    outputs = {coil for zone in circuit.zones.values() for coil in zone.outputs}
    outputs |= {coil for group in circuit.gates.values() for coil in group.outputs}
    for name in own:
        for side in circuit.components[name].coils():
            on = is_commanded(play, (name, side))
            if f"{name}.{side}" in outputs:
                yield Act((ForceOutput(name, side, not on),), SWITCHED)
            if not on:
                yield Act((HandOverride(name, side, True),), SWITCHED)


def _supplied(circuit: Circuit, shared: Sequence[str]) -> Iterator[Act]:
    """What is switched off, and a shared vessel drained while one supply is on."""
    switchable = circuit.having("switchable")
    for name in switchable:
        yield Act((Switch(name, False),), WATCHED)
    vessel = next((name for name in shared if "drainable" in circuit.components[name].traits), "")
    supplies = [name for name in circuit.having("supply") if name in switchable]
    for name in supplies if vessel else ():
        others = tuple(Switch(other, False) for other in supplies if other != name)
        yield Act((*others, Drain(vessel, True)), DRAINED)


def _points(circuit: Circuit, own: Sequence[str]) -> list[PortRef]:
    """Of each net of some components that has a test point, one."""
    points, members = test_points(circuit), {*own}
    nets = ([port for port in net if port.component in members] for net in joined_ports(circuit))
    return [net[0] for net in nets if net and net[0] in points]
