"""The co-simulation of plant and logic: `Play` advances both, event by event.

The plant is integrated between events only; an event is a command, a timer's end, a spool that
starts or stops moving, a contact that the controller reads at its next scan, a pilot or a
compressor's pressure crossing its threshold, a fault that strikes, changes or is put right. The
controller scans periodically, but a scan can change something only when an input changed, a
command waits or a timer ended: only those scans are carried out.

Each of them is an actor with `copy()`, `next_time()` and `act(plant)`; only the loop here drives
them.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping
from math import inf
from typing import Any

from pneumo.circuit.action import Action, FaultSpec
from pneumo.circuit.circuit import Event as TimedAction
from pneumo.network.compile import Compiled
from pneumo.network.network import ACTING, SENSED, Array
from pneumo.scenario.agenda import Agenda
from pneumo.scenario.contacts import Contacts
from pneumo.scenario.controller import Controller
from pneumo.scenario.event import ContactRead, RunEvent
from pneumo.scenario.faults import Faults
from pneumo.scenario.perform import perform
from pneumo.scenario.plant import RTOL, Plant, StalledError
from pneumo.scenario.spools import Spools
from pneumo.scenario.supplies import Supplies
from pneumo.scenario.telling import told
from pneumo.simulation.advance import STRETCH
from pneumo.zone.ride import RideCommand

SETTLE = 60.0
"""Time the plant is given to come to rest before time zero, the zones held where they start [s]."""

SETTLE_SHARE = 0.1
"""Tolerance of a step while the plant settles, as a share of the one afterwards [-]: what a run
begins with should not be the largest error in it."""

MOST_TURNS = 10_000
"""Times that something acts within `STRETCH` before a run counts as stalled."""


class Play:
    """A circuit under way, from rest at time zero.

    Parameters
    ----------
    compiled
        The circuit.
    rtol
        Relative tolerance of a step.
    settle
        Time for the plant to come to rest before time zero [s].
    """

    def __init__(
        self,
        compiled: Compiled,
        *,
        rtol: float = RTOL,
        settle: float = SETTLE,
    ) -> None:
        self.compiled = compiled
        self.most_turns = MOST_TURNS
        self.scan = compiled.circuit.ride.scan
        self.plant = Plant(compiled, rtol)
        self.controller = Controller(compiled)
        self.plant.controls.coils = self.controller.coils
        self.contacts = Contacts(compiled)
        self.spools = Spools(compiled)
        self.supplies = Supplies(compiled)
        self.faults = Faults(compiled)
        self.agenda = Agenda()
        self._commands: list[RideCommand] = []
        self._scan_at = inf
        self._read_all = True
        self._devices_due = False
        self._mark, self._turns = -inf, 0
        self.see_faults()
        self._settle(settle)

    # what the outside may ask

    @property
    def now(self) -> float:
        """Time the run has come to [s]."""
        return self.plant.now

    @property
    def network(self) -> Any:
        """The network as it stands, faults struck."""
        return self.plant.network

    @property
    def events(self) -> list[RunEvent]:
        """What has happened, in order of time."""
        return self.plant.log.events

    @property
    def crossings(self) -> list[tuple[float, int, bool]]:
        """(time, watch, made) of every watch, in order of time."""
        return self.plant.log.crossings

    @property
    def power(self) -> bool:
        """All electrical power, to coils and feeds."""
        return self.plant.controls.power

    def state(self) -> Array:
        """States of the whole plant now [SI], see `Network` for the layout."""
        return self.plant.state()

    def said(self, watch: int) -> bool:
        """What a contact says to the controller now, forced or not."""
        return self.contacts.says(self.plant, watch)

    def reads(self, name: str) -> bool:
        """What the controller reads at an input now: ON; for a transmitter: low."""
        return self.controller.reads(name, self.said)

    @property
    def forced_inputs(self) -> Mapping[str, bool]:
        """Forced inputs -> read as ON."""
        return dict(self.controller.forced_inputs)

    @property
    def forced_outputs(self) -> Mapping[str, bool]:
        """Forced outputs "valve.14" -> commanded on."""
        return {f"{c}.{side}": on for (c, side), on in self.controller.forced_outputs.items()}

    @property
    def overridden(self) -> tuple[str, ...]:
        """Coils "valve.14" whose manual override is held."""
        return tuple(f"{component}.{side}" for component, side in self.plant.controls.held)

    @property
    def drained(self) -> tuple[str, ...]:
        """Vessels whose drain is open."""
        return self.faults.drained

    @property
    def isolated(self) -> tuple[str, ...]:
        """Shut-off valves whose handle stands out of service, whoever turned it."""
        return tuple(
            self.compiled.spools[k].component
            for k in self.plant.controls.handles
            if self.spools.handle(self.plant, k) < 0.5
        )

    @property
    def switched_off(self) -> tuple[str, ...]:
        """What is switched off by hand, in document order."""
        off = self.plant.controls.off
        return tuple(name for name in self.compiled.circuit.components if name in off)

    @property
    def absent_fins(self) -> tuple[str, ...]:
        """Zones without a fin in their jaws."""
        return tuple(
            zone
            for zone, brakes in self.compiled.brakes.items()
            if not any(self.faults.has_fin(brake.mover) for brake in brakes)
        )

    @property
    def standing_faults(self) -> tuple[tuple[FaultSpec, float | None], ...]:
        """Faults that were struck and not put right, each with its severity now [SI; 1 for a mode
        that has none]; None: not there for the moment."""
        return self.faults.standing

    def spool_position(self, component: str) -> float:
        """Where a valve's spool is now: 0 at rest or isolated, 1 where coil 14 puts it or in
        service, -1 at the other end."""
        return self.spools.position(self.plant, self.spools.number(component))

    def energised(self, component: str, side: str) -> bool:
        """Whether current flows in a coil now: commanded, fed, and the coil whole."""
        spec = self.compiled.spools[self.spools.number(component)]
        return self.plant.controls.energised(spec, side)

    def coil_voltage_present(self, component: str) -> bool:
        """Whether the feed of a valve's coils has voltage now."""
        spec = self.compiled.spools[self.spools.number(component)]
        return self.plant.controls.powered(spec.feed)

    def can_supply(self, component: str) -> bool:
        """Whether a compressor or supply runs and is powered, loaded or not."""
        return self.supplies.can_deliver(self.plant, component)

    def is_supplying(self, component: str) -> bool:
        """Whether a compressor or supply delivers now, or an electrical feed has voltage."""
        parts, controls = self.compiled.parts[component], self.plant.controls
        if parts.source >= 0:
            return bool(self.plant.network.source[parts.source]["on"] > 0.0)
        return controls.powered(component) if parts.feed else controls.runs(component)

    # what the outside may do

    def schedule(self, events: Iterable[TimedAction]) -> None:
        """Puts actions on the agenda; those of one instant keep their order."""
        for event in events:
            self.agenda.put(event.time, event.action)

    def act(self, action: Action) -> None:
        """Does something at once."""
        perform(action, self)

    def advance(self, until: float) -> None:
        """Runs to `until`. No step is cut short there, so that a run in pieces is the same as the
        whole run.

        Raises
        ------
        SimulationError
            When no step is short enough; a `StalledError` when the run comes no further.
        """
        while self.now < until:
            self._act()
            self._integrate(until)
            self._must_come_on()

    def snapshot(self) -> Play:
        """An independent copy that goes on from here exactly; shares what never changes."""
        twin = copy.copy(self)
        twin.controller = self.controller.copy()
        twin.plant = self.plant.snapshot(twin.controller.coils)
        twin.contacts, twin.spools = self.contacts.copy(), self.spools.copy()
        twin.supplies, twin.faults = self.supplies.copy(), self.faults.copy()
        twin.agenda, twin._commands = self.agenda.copy(), list(self._commands)
        return twin

    def kept(self, before: Play | None = None) -> Play:
        """A snapshot to be put away: it takes a tenth of the memory, and does nothing but give
        snapshots. `before`: one that was put away earlier; what is alike is shared with it."""
        twin = self.snapshot()
        twin.plant.put_away(self.plant, None if before is None else before.plant)
        return twin

    # the loop: act on what is due, then integrate to what comes next

    def _act(self) -> None:
        """Everything that is due now, the plant's own devices first, the controller last."""
        plant = self.plant
        if self._devices_due:
            self._devices_due = False
            self.drive_devices()
        while self.agenda.next_time() <= plant.now:
            perform(self.agenda.take(), self)
        while self.faults.act(plant):
            self.see_faults()
        self.supplies.act(plant)
        self.spools.act(plant)
        if self._scan_at <= plant.now:
            self._scan()

    def _integrate(self, until: float) -> None:
        actors = (self.agenda, self.faults, self.supplies, self.spools)
        stop = min(self._scan_at, *(actor.next_time() for actor in actors))
        for moment, watch, made in self.plant.integrate(stop, until, self.scan):
            self.crossings.append((moment, watch, made))
            role = self.plant.network.watch[watch]["role"]
            if role == SENSED:
                read_at = self.contacts.crossed(self.plant, moment, watch, made)
                self._scan_at = min(self._scan_at, read_at)
            elif role == ACTING:
                self._devices_due = True

    def _must_come_on(self) -> None:
        """Stops a run in which one thing sets off the next without time going by."""
        if self.now > self._mark + STRETCH:
            self._mark, self._turns = self.now, 0
        self._turns += 1
        if self._turns > self.most_turns:
            event = self.events[-1] if self.events else None
            last = "" if event is None else f" Last: {event.subject} {told(event.what)}."
            raise StalledError(
                f"The run stopped at {self.now:.6f} s: too much happens at one instant, "
                f"{self.most_turns} events within {STRETCH * 1e3:g} ms.{last}"
            )

    def _scan(self) -> None:
        """The controller reads, obeys and sets its coils."""
        now, held = self.now, self.plant.controls.overrides.contact_held
        changed: dict[int, None] = {}
        for watch, made in self.contacts.read(now):
            changed[watch] = None
            if watch not in held:
                for name in self.controller.contact_names.get(watch, ()):
                    if name not in self.controller.forced_inputs:
                        self.plant.say(name, ContactRead(made))
        commands, self._commands = tuple(self._commands), []
        reads = None if self._read_all else changed
        self._read_all = False
        for event in self.controller.scan(now, self.said, reads, commands):
            self.plant.say(event.zone, event.what)
        self.spools.drive(self.plant, self.controller.switched)
        self._plan_scan()

    def _plan_scan(self) -> None:
        """The next scan that can change anything."""
        self._scan_at = self.contacts.next_time()
        deadline = self.controller.deadline()
        if deadline is not None:
            tick = self.contacts.tick(deadline)
            # this scan was just too early for it, within the rounding of a tick
            self._scan_at = min(self._scan_at, tick if tick > self.now else tick + self.scan)

    # what an action makes the run do

    def command(self, command: RideCommand) -> None:
        """The controller is told at its next scan."""
        self._commands.append(command)
        self.scan_soon()

    def scan_soon(self, read_all: bool = False) -> None:
        """Something the controller reads has changed outside the plant."""
        self._read_all = self._read_all or read_all
        self._scan_at = min(self._scan_at, max(self.contacts.tick(self.now), self.now))

    def drive_devices(self) -> None:
        """Supplies and spools become what power, switches, coils and pressures make of them."""
        self.supplies.drive(self.plant)
        self.spools.drive(self.plant)

    def see_faults(self) -> None:
        """The plant becomes what faults, drains and fins make of it, and all devices see it."""
        held_otherwise = self.faults.apply(self.plant)
        self.spools.free(self.plant)
        self.drive_devices()
        if held_otherwise:
            self.scan_soon(read_all=True)

    # start

    def _settle(self, duration: float) -> None:
        """Lets the plant come to rest with the zones held where they start."""
        plant, rtol = self.plant, self.plant.rtol
        plant.begin_settling(duration, [spec.watch for spec in self.compiled.compressors])
        self.supplies.begin()
        self.supplies.drive(plant)
        for _ in range(2):  # once to send them, once more for those that wait for a pilot
            self.spools.drive(plant)
            self.spools.put(plant)
        self.controller.hold = True
        plant.rtol = SETTLE_SHARE * rtol
        self.advance(0.0)
        plant.rtol = rtol
        self.controller.hold = False
        plant.end_settling()
        plant.log.clear()
        self.contacts.begin(plant)
        self.crossings.extend((0.0, w, bool(made)) for w, made in enumerate(plant.made))
        self._devices_due = self._read_all = True
        self._scan_at = 0.0
