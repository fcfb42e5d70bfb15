"""The standing faults of a run, its open drains, its blocked jaws and its trains' fins."""

from __future__ import annotations

import copy
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from pneumo.circuit.action import Block, Drain, FaultSpec
from pneumo.circuit.targets import brakes
from pneumo.components.base import Ending, FaultMode
from pneumo.errors import InputError
from pneumo.network.compile import Compiled
from pneumo.scenario.agenda import Agenda
from pneumo.scenario.event import Commanded, FaultCleared, FaultInjected, FaultPaused
from pneumo.scenario.inject import Standing, is_none
from pneumo.scenario.plant import Plant
from pneumo.scenario.reference import replays
from pneumo.scenario.situation import HEALTHY, Situation, Situations

RAMP_STEPS = 20
"""A fault that grows does so in this many equal steps."""

Key = tuple[str, str]
"""Component and mode."""


@dataclass
class _Fault:
    fault: FaultSpec
    mode: FaultMode
    full: float
    severity: float | None
    """None: gone for the moment (an intermittent fault)."""


@dataclass(frozen=True)
class _Grow:
    """A standing fault takes another severity, or (None) goes for a while."""

    key: Key
    severity: float | None


@dataclass(frozen=True)
class _Again:
    """An intermittent fault comes again."""

    fault: FaultSpec

    @property
    def key(self) -> Key:
        return self.fault.component, self.fault.mode


class Faults:
    """What stands, and when it changes by itself."""

    def __init__(self, compiled: Compiled) -> None:
        self._compiled = compiled
        self._situations = Situations(compiled)
        self._stands = HEALTHY
        self._faults: dict[Key, _Fault] = {}
        self._drained: Mapping[str, None] = {}
        self._blocked: Mapping[str, None] = {}
        self._fins = [True] * len(compiled.fins)
        self._changes = Agenda()

    def copy(self) -> Faults:
        """An independent copy that goes on from here; what was built is shared."""
        new = copy.copy(self)
        new._faults = {key: copy.copy(fault) for key, fault in self._faults.items()}
        new._fins = list(self._fins)
        new._changes = self._changes.copy()
        return new

    def next_time(self) -> float:
        """When a fault next changes by itself [s]; infinity: none does."""
        return self._changes.next_time()

    def act(self, plant: Plant) -> tuple[()]:
        """One change that is due."""
        change: Any = self._changes.take()
        if isinstance(change, _Again):
            self.inject(plant, change.fault)
            return ()
        self._faults[change.key].severity = change.severity
        if change.severity is None:
            component, mode = change.key
            plant.say(component, FaultPaused(mode))
        self.apply(plant)
        return ()

    def exchanged(self, one: FaultSpec, other: FaultSpec) -> Faults:
        """A copy in which another constant fault stands that changes the same of the plant
        (`situation.fingerprint`). Raises InputError when there is none such."""
        whole = Standing.fully(self._compiled, other)
        mode, full = whole.mode, whole.severity
        key = (other.component, other.mode)
        entry = {} if is_none(mode, full) else {key: _Fault(other, mode, full, full)}
        new = self.copy()
        new._faults = {}
        for stood, fault in self._faults.items():
            taken = stood == (one.component, one.mode)
            new._faults |= entry if taken else {stood: copy.copy(fault)}
        new._faults |= entry
        before = self._stands
        new._stands = Situation(
            new._standing(), before.drained, before.blocked, before.absent_fins, before.altered
        )
        return new

    # what stands

    @property
    def standing(self) -> tuple[tuple[FaultSpec, float | None], ...]:
        """Each fault with its severity now [SI; 1 for a mode that has none]; None: not there for
        the moment."""
        return tuple((f.fault, f.severity) for f in self._faults.values())

    @property
    def drained(self) -> tuple[str, ...]:
        """Vessels whose drain is open."""
        return tuple(self._drained)

    @property
    def blocked(self) -> tuple[str, ...]:
        """Brakes with a block between their jaws, in document order."""
        return tuple(self._blocked)

    @property
    def absent_fins(self) -> tuple[str, ...]:
        """Zones without a fin in their jaws."""
        return tuple(
            zone
            for zone, brakes in self._compiled.brakes.items()
            if not any(self._fins[brake.mover] for brake in brakes)
        )

    # what changes it

    def inject(self, plant: Plant, fault: FaultSpec) -> None:
        """A fault begins, unless it is none at that severity. Raises InputError when it cannot."""
        whole = Standing.fully(self._compiled, fault)
        mode, full = whole.mode, whole.severity
        self._must_be_apart(fault.component)
        grade = mode.severity
        if is_none(mode, full):
            return
        key = (fault.component, fault.mode)
        entry = _Fault(fault, mode, full, full)
        self._must_have_room(plant, {**self._faults, key: entry}, self._drained)
        self._faults[key] = entry
        now = plant.now
        if fault.over is not None and grade is not None:
            entry.severity = None
            for i in range(1, RAMP_STEPS + 1):
                severity = grade.none + (full - grade.none) * i / RAMP_STEPS
                self._changes.put(now + fault.over * i / RAMP_STEPS, _Grow(key, severity))
        elif fault.every is not None and fault.on_for is not None:
            self._changes.put(now + fault.on_for, _Grow(key, None))
            self._changes.put(now + fault.every, _Again(fault))
        plant.say(fault.component, FaultInjected(fault))
        self.apply(plant)

    def clear(self, plant: Plant, component: str, mode: str) -> None:
        """A fault is put right. Raises InputError when it does not stand."""
        key = (component, mode)
        if key not in self._faults:
            raise InputError(f"{component} has no fault {mode} to clear.")
        self._end(plant, (key,))

    def repair(self, plant: Plant, component: str, by: Ending, side: str = "") -> None:
        """Ends every fault of a component that such an act ends, also one that is gone for the
        moment or still grows; without one nothing changes. `side`: done at that coil alone."""
        ended = [
            key
            for key, fault in self._faults.items()
            if key[0] == component and fault.mode.is_ended(by, side)
        ]
        if ended:
            self._end(plant, ended)

    def _end(self, plant: Plant, keys: Collection[Key]) -> None:
        for component, mode in keys:
            del self._faults[component, mode]
            plant.say(component, FaultCleared(mode))
        self._changes.drop(lambda change: change.key in keys)
        self.apply(plant)

    def drain(self, plant: Plant, action: Drain) -> None:
        """The drain of a vessel, or a port, is opened or closed. Raises InputError when it cannot
        be."""
        drained, component = dict(self._drained), action.component.partition(".")[0]
        if action.open:
            self._must_be_apart(component)
            drained[action.component] = None
            self._must_have_room(plant, self._faults, drained)
        else:
            drained.pop(action.component, None)
        plant.say(component, Commanded(action))
        if drained != self._drained:
            self._drained = drained
            self.apply(plant)

    def block(self, plant: Plant, action: Block) -> None:
        """The jaws of a brake, or of every brake of a zone, are blocked or let go. Raises
        InputError when they cannot be."""
        circuit, at = self._compiled.circuit, action.target
        # brakes that are calculated together stand for the whole zone, and for no single brake
        single = at in brakes(circuit.components)
        if single:
            self._must_be_apart(at)
        blocked = dict(self._blocked)
        for brake in (at,) if single else circuit.zones[at].brakes:
            if action.blocked:
                blocked[brake] = None
            else:
                blocked.pop(brake, None)
        plant.say(at, Commanded(action))
        if blocked.keys() != self._blocked.keys():
            self._blocked = {name: None for name in circuit.components if name in blocked}
            self.apply(plant)

    def set_fin(self, plant: Plant, zone: str, present: bool) -> None:
        """A train's fin comes between the jaws of a zone, or leaves them."""
        for brake in self._compiled.brakes[zone]:
            self._fins[brake.mover] = present
        self.apply(plant)

    def apply(self, plant: Plant) -> None:
        """Changes the plant to all that stands now; the devices obey next."""
        controls, before = plant.controls, self._stands
        self._stands = self._situation(plant, self._standing(), self._drained)
        controls.overrides = self._situations.overrides(self._stands)
        controls.changed, controls.reshaped = True, False
        # where the shared partition replays another run, it is watched what passes at its borders
        change = self._situations.change(before, self._stands)
        plant.restart(change.partitions_behind_borders if replays(plant) else change.partitions)
        change.apply(plant.network)

    def _standing(self) -> tuple[Standing, ...]:
        """What is there at the moment."""
        return tuple(
            Standing(f.fault, f.mode, f.severity)
            for f in self._faults.values()
            if f.severity is not None
        )

    def _must_be_apart(self, component: str) -> None:
        if component in self._compiled.represented:
            raise InputError(
                f"{component} is calculated together with others like it; compile the "
                "circuit with it apart before a fault, a drain or a block there."
            )

    def _must_have_room(
        self, plant: Plant, faults: Mapping[Key, _Fault], drained: Iterable[str]
    ) -> None:
        """Refuses what the leak slots cannot hold before anything is changed. A fault that grows
        or comes and goes counts in full."""
        standing = [Standing(f.fault, f.mode, f.full) for f in faults.values()]
        self._situations.overrides(self._situation(plant, standing, drained))

    def _situation(
        self, plant: Plant, standing: Iterable[Standing], drained: Iterable[str]
    ) -> Situation:
        altered = plant.controls.altered
        return Situation.of(standing, drained, self._blocked, self._fins, altered)
