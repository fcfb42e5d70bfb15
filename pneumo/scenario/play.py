"""The co-simulation of plant and logic: `Play` advances both, event by event.

The plant is integrated between events only; an event is a command, a timer's end, a spool that
starts or stops moving, a contact that the controller reads at its next scan, a pilot or a
compressor's pressure crossing its threshold, a fault that strikes, changes or is put right. The
controller scans periodically, but a scan can change something only when an input changed, a
command waits or a timer ended: only those scans are carried out.
"""

from __future__ import annotations

import copy
from bisect import insort
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import islice
from math import ceil, inf, sqrt
from typing import Any

import numpy as np

from pneumo.circuit.action import (
    Acknowledge,
    Action,
    Clear,
    Command,
    Drain,
    FaultSpec,
    Fin,
    ForceInput,
    ForceOutput,
    HandOverride,
    Power,
    Reset,
    RideStop,
    Strike,
    Switch,
    Turn,
    Unforce,
)
from pneumo.circuit.circuit import Event as TimedAction
from pneumo.circuit.sentence import ALL
from pneumo.components.base import FaultMode
from pneumo.errors import InputError
from pneumo.network.compile import Compiled
from pneumo.network.network import ACTING, SENSED, Array
from pneumo.scenario.controller import Controller
from pneumo.scenario.event import (
    Commanded,
    ContactRead,
    EventKind,
    FaultCleared,
    FaultInjected,
    FaultPaused,
    Happening,
    RunEvent,
    SpoolArrived,
    SupplyChanged,
    Unlisted,
)
from pneumo.scenario.inject import Overrides, Standing, is_none, mode_of
from pneumo.scenario.plant import RTOL, Plant, StalledError
from pneumo.scenario.situation import HEALTHY, Situation, Situations
from pneumo.scenario.telling import told
from pneumo.simulation.advance import STRETCH
from pneumo.zone.ride import RideCommand

SETTLE = 60.0
"""Time the plant is given to come to rest before time zero, the zones held where they start [s]."""

SETTLE_SHARE = 0.1
"""Tolerance of a step while the plant settles, as a share of the one afterwards [-]: what a run
begins with should not be the largest error in it."""

RAMP_STEPS = 20
"""A fault that grows does so in this many equal steps."""

MOST_TURNS = 10_000
"""Times that something acts within `STRETCH` before a run counts as stalled."""

MOST_TOLD = 100
"""Events of one kind about one part within 1 s that are told one by one."""

MOST_SLOWED = 10.0
"""A spool whose pilot has next to nothing above its minimum takes so many times as long [-];
estimated."""

COMPRESSOR_TIME = 0.1
"""Time between two switchings of a compressor by the pressure at its outlet [s], as its pilot valve
and unloader take it; estimated."""


@dataclass
class _Spool:
    """Where a spool is going: `target` once `start_at` has come."""

    target: float
    start_at: float = inf
    """When it starts towards the target [s]."""
    goal: float = 0.0
    """Where the movement under way ends."""
    delay: float = 0.0
    """From being sent to `start_at`, until it is known by how much its pilot lengthens it [s]."""


@dataclass(order=True)
class _Due:
    """An entry of the agenda."""

    time: float
    number: int
    what: Any = field(compare=False)


@dataclass(frozen=True)
class _Grow:
    """Agenda entry: a standing fault takes another severity, or (None) goes for a while."""

    key: tuple[str, str]
    severity: float | None


@dataclass(frozen=True)
class _Look:
    """Agenda entry: a compressor that has just switched looks at its pressure again."""


@dataclass
class _Told:
    """Events of one kind about one part: how many since when, and whether they are too many."""

    since: float
    count: int = 0
    too_many: bool = False


@dataclass
class _Fault:
    fault: FaultSpec
    mode: FaultMode
    full: float
    severity: float | None
    """None: gone for the moment (an intermittent fault)."""


_REPEATED: frozenset[EventKind] = frozenset({"contact", "valve", "compressor", "fault"})
"""Kinds of events that a part brings about by itself, again and again."""


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
        self.plant = Plant(compiled, rtol)
        self.most_turns = MOST_TURNS
        self.scan = compiled.circuit.ride.scan
        self.controller = Controller(compiled)
        self.events: list[RunEvent] = []
        self.crossings: list[tuple[float, int, bool]] = []
        """(time, watch, made) of every watch, in order of time."""
        self.power = True
        self._situations = Situations(compiled)
        self._stands = HEALTHY
        self._overrides = Overrides()
        self._faults: dict[tuple[str, str], _Fault] = {}
        self._off: set[str] = set()
        self._held: dict[tuple[str, str], None] = {}
        self._drained: dict[str, None] = {}
        self._fins = [True] * len(compiled.fins)
        self._agenda: list[_Due] = []
        self._number = 0
        self._commands: list[RideCommand] = []
        self._scan_at = inf
        self._mark, self._turns = -inf, 0
        self._told: dict[tuple[EventKind, str], _Told] = {}
        self._loaded: dict[str, float] = {}
        self._looks: dict[str, float] = {}
        self._pending: list[tuple[float, float, int, bool]] = []
        self._moves: list[tuple[float, int]] = []
        self._devices_due = False
        self._read_all = True
        self._spools_of: dict[str, list[int]] = {}
        for k, spec in enumerate(compiled.spools):
            self._spools_of.setdefault(spec.component, []).append(k)
        self._spools = [_Spool(spec.start) for spec in compiled.spools]
        self._hands: dict[int, float] = {
            k: spec.start for k, spec in enumerate(compiled.spools) if spec.by_hand
        }
        self._said = np.zeros(len(compiled.network.watch), dtype=np.bool_)
        self._network_now()
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

    def said(self, watch: int) -> bool:
        """What a contact says to the controller now, forced or not."""
        return self._overrides.contact_held.get(watch, bool(self._said[watch]))

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
        return tuple(f"{component}.{side}" for component, side in self._held)

    @property
    def drained(self) -> tuple[str, ...]:
        """Vessels whose drain is open."""
        return tuple(self._drained)

    @property
    def isolated(self) -> tuple[str, ...]:
        """Shut-off valves whose handle stands out of service, whoever turned it."""
        specs = self.compiled.spools
        return tuple(specs[k].component for k in self._hands if self._handle(k) < 0.5)

    @property
    def switched_off(self) -> tuple[str, ...]:
        """What is switched off by hand, in document order."""
        return tuple(name for name in self.compiled.circuit.components if name in self._off)

    @property
    def absent_fins(self) -> tuple[str, ...]:
        """Zones without a fin in their jaws."""
        return tuple(
            zone
            for zone, brakes in self.compiled.brakes.items()
            if not any(self._fins[brake.mover] for brake in brakes)
        )

    @property
    def standing_faults(self) -> tuple[tuple[FaultSpec, float | None], ...]:
        """Faults that were struck and not put right, each with its severity now [SI; 1 for a mode
        that has none]; None: not there for the moment."""
        return tuple((f.fault, f.severity) for f in self._faults.values())

    def spool_position(self, component: str) -> float:
        """Where a valve's spool is now: 0 at rest or isolated, 1 where coil 14 puts it or in
        service, -1 at the other end."""
        return self._spool_position(self._spool_of(component))

    def energised(self, component: str, side: str) -> bool:
        """Whether current flows in a coil now: commanded, fed, and the coil whole."""
        return self._energised(self._spool_of(component), side)

    def coil_voltage_present(self, component: str) -> bool:
        """Whether the feed of a valve's coils has voltage now."""
        return self._powered(self.compiled.spools[self._spool_of(component)].feed)

    def can_supply(self, component: str) -> bool:
        """Whether a compressor or supply runs and is powered, loaded or not."""
        feed = next((s.feed for s in self.compiled.compressors if s.component == component), None)
        return self._runs(component) and (feed is None or self._powered(feed))

    def is_supplying(self, component: str) -> bool:
        """Whether a compressor or supply delivers now, or an electrical feed has voltage."""
        parts = self.compiled.parts[component]
        if parts.source >= 0:
            return bool(self.plant.network.source[parts.source]["on"] > 0.0)
        return self._powered(component) if parts.feed else self._runs(component)

    def state(self) -> Array:
        """States of the whole plant now [SI], see `Network` for the layout."""
        return self.plant.state()

    def schedule(self, events: Iterable[TimedAction]) -> None:
        """Puts actions on the agenda; those of one instant keep their order."""
        for event in events:
            self._put(event.time, event.action)

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

    def act(self, action: Action) -> None:
        """Does something at once."""
        self._perform(action)

    def snapshot(self) -> Play:
        """An independent copy that goes on from here exactly; shares what never changes."""
        twin = copy.copy(self)
        twin.plant = self.plant.snapshot()
        twin.events = list(self.events)
        twin.crossings = list(self.crossings)
        twin.controller = self.controller.copy()
        twin._faults = {key: copy.copy(fault) for key, fault in self._faults.items()}
        twin._off = set(self._off)
        twin._held = dict(self._held)
        twin._drained = dict(self._drained)
        twin._fins = list(self._fins)
        twin._agenda = list(self._agenda)
        twin._commands = list(self._commands)
        twin._pending = list(self._pending)
        twin._moves = list(self._moves)
        twin._said = self._said.copy()
        twin._spools = [copy.copy(spool) for spool in self._spools]
        twin._hands = dict(self._hands)
        twin._told = {key: copy.copy(told) for key, told in self._told.items()}
        twin._loaded, twin._looks = dict(self._loaded), dict(self._looks)
        return twin

    def kept(self, before: Play | None = None) -> Play:
        """A snapshot to be put away: it takes a tenth of the memory, and does nothing but give
        snapshots. `before`: one that was put away earlier; what is alike is shared with it."""
        twin = self.snapshot()
        twin.plant.put_away(None if before is None else before.plant)
        for name in ("events", "crossings"):
            setattr(twin, name, _Beginning(getattr(self, name)))
        return twin

    # the loop: act on what is due, then integrate to what comes next

    def _act(self) -> None:
        """Everything that is due now, the plant's own devices first, the controller last."""
        now = self.now
        if self._devices_due:
            self._devices_due = False
            self._drive_supplies()
            self._drive_spools()
        while self._agenda and self._agenda[0].time <= now:
            self._perform(self._agenda.pop(0).what)
        while self._moves and self._moves[0][0] <= now:
            k = self._moves.pop(0)[1]
            row = self.plant.network.spool[k]
            if row["rate"] != 0.0 and now >= row["until"]:
                self._stop_spool(k)
            if self._spools[k].start_at <= now:
                self._start_spool(k)
        if self._scan_at <= now:
            self._scan()

    def _integrate(self, until: float) -> None:
        stop = min(
            self._scan_at,
            self._agenda[0].time if self._agenda else inf,
            self._moves[0][0] if self._moves else inf,
        )
        for moment, watch, made in self.plant.integrate(stop, until, self.scan):
            self._take_crossing(moment, watch, made)

    def _must_come_on(self) -> None:
        """Stops a run in which one thing sets off the next without time going by."""
        if self.now > self._mark + STRETCH:
            self._mark, self._turns = self.now, 0
        self._turns += 1
        if self._turns > self.most_turns:
            event = self.events[-1] if self.events else None
            last = "" if event is None else f" Last: {event.subject} {told(event.what)}."
            raise StalledError(
                f"The run stopped at {self.now:.6f} s: it no longer comes on, something acted "
                f"{self.most_turns} times within {STRETCH * 1e3:g} ms.{last}"
            )

    def _take_crossing(self, moment: float, w: int, made: bool) -> None:
        self.crossings.append((moment, w, made))
        row = self.plant.network.watch[w]
        if row["role"] == SENSED:
            effective = moment + float(row["delay"])
            insort(self._pending, (effective, moment, w, made))
            self._scan_at = min(self._scan_at, max(self._tick(effective), moment))
        elif row["role"] == ACTING:
            self._devices_due = True

    def _tick(self, time: float) -> float:
        """First scan at or after a time (the same expression as in the kernel)."""
        return ceil(time / self.scan - 1e-9) * self.scan

    # the controller

    def _scan(self) -> None:
        now = self.now
        changed: dict[int, None] = {}
        while self._pending and self._tick(self._pending[0][0]) <= now:
            _, _, w, made = self._pending.pop(0)
            self._said[w] = made
            changed[w] = None
            if w not in self._overrides.contact_held:
                for name in self.controller.contact_names.get(w, ()):
                    if name not in self.controller.forced_inputs:
                        self._say(name, ContactRead(made))
        commands, self._commands = tuple(self._commands), []
        reads = None if self._read_all else changed
        self._read_all = False
        for event in self.controller.scan(now, self.said, reads, commands):
            self._say(event.zone, event.what)
        self._drive_spools(self.controller.switched)
        self._plan_scan()

    def _plan_scan(self) -> None:
        deadline = self.controller.deadline()
        waits = [self._tick(self._pending[0][0])] if self._pending else []
        if deadline is not None:
            tick = self._tick(deadline)
            # this scan was just too early for it, within the rounding of a tick
            waits.append(tick if tick > self.now else tick + self.scan)
        self._scan_at = min(waits, default=inf)

    def _scan_soon(self) -> None:
        """Something the controller reads has changed outside the plant."""
        self._scan_at = min(self._scan_at, max(self._tick(self.now), self.now))

    # spools, supplies and compressors

    def _spool_of(self, component: str) -> int:
        k = self.compiled.parts[component].spool
        if k < 0:
            raise ValueError(f"{component} has no spool")
        return k

    def _energised(self, k: int, side: str) -> bool:
        spec = self.compiled.spools[k]
        coil = (spec.component, side)
        wanted = spec.standing and side == "14" and spec.component not in self._off
        wanted = wanted or self.controller.coils.get(coil, False)
        return self._overrides.coil_forced.get(coil, wanted) and self._powered(spec.feed)

    def _drives(self, k: int, side: str) -> bool:
        """Whether a coil or its manual override asks the spool to that side."""
        return (self.compiled.spools[k].component, side) in self._held or self._energised(k, side)

    def _handle(self, k: int) -> float:
        """Where the handle of a spool turned by hand stands."""
        if k in self._overrides.spool_held:
            return self._spool_position(k)
        return self._overrides.spool_forced.get(k, self._hands[k])

    def _powered(self, feed: str | None) -> bool:
        if feed is None:
            return self.power
        return self.power and self._runs(feed)

    def _runs(self, component: str) -> bool:
        return component not in self._off and component not in self._overrides.off

    def _wanted_position(self, k: int) -> float | None:
        """Where a spool should go; None: it stays where it is."""
        spec = self.compiled.spools[k]
        if k in self._overrides.spool_forced:
            return self._overrides.spool_forced[k]
        if spec.by_hand:
            return self._hands[k]
        side = self._driven_by(k)
        if side == "14":
            return spec.at_14
        if side == "12":
            return spec.rest if spec.at_12 is None else spec.at_12
        return None if spec.memory else spec.rest

    def _driven_by(self, k: int) -> str | None:
        """The side that drives a spool: its coil or override alone asks, and the pilot suffices."""
        spec = self.compiled.spools[k]
        pilot = spec.pilot_watch < 0 or (
            bool(self.plant.made[spec.pilot_watch]) and k not in self._overrides.pilot_lost
        )
        at_14, at_12 = self._drives(k, "14"), self._drives(k, "12")
        if at_14 == at_12 or not pilot:
            return None
        return "14" if at_14 else "12"

    def _drive_spools(self, components: Iterable[str] | None = None) -> None:
        """Sends every spool, or those of some components, where its coils, pilot, hand or fault
        want it."""
        now = self.now
        if components is None:
            places: Iterable[int] = range(len(self._spools))
        else:
            places = [k for name in components for k in self._spools_of.get(name, ())]
        for k in places:
            spool = self._spools[k]
            if k in self._overrides.spool_held:
                self._hold_spool(k, self._overrides.spool_held[k])
                continue
            wanted = self._wanted_position(k)
            if wanted is None or wanted == spool.target:
                continue
            spec = self.compiled.spools[k]
            delay = spec.switch_off if wanted == spec.rest else spec.switch_on
            spool.target = wanted
            spool.delay = delay * self._overrides.spool_slow.get(k, 1.0)
            spool.start_at = now + spool.delay
            self.plant.network.spool[k]["next"] = spool.start_at
            insort(self._moves, (spool.start_at, k))

    def _slower(self, k: int) -> float:
        """By what factor a spool that its pilot drives is slower now than at the pressure at which
        its times hold; 1 at that pressure and above, or without a pilot.

        A constant force moves a mass over a distance in t = sqrt(2 m s / F) (mechanics), and the
        force is what the pilot has above its minimum. Asked for when the delay is over, and again
        when the movement begins.
        """
        spec = self.compiled.spools[k]
        pilot = spec.pilot
        if pilot is None or self._driven_by(k) is None:
            return 1.0
        node = int(self.plant.network.watch[spec.pilot_watch]["index"])
        outside = self.compiled.circuit.ambient.pressure
        left = self.plant.pressure(node) - outside - pilot.minimum
        full = pilot.timed_at - pilot.minimum
        if left <= full / MOST_SLOWED**2:
            return MOST_SLOWED
        return max(1.0, sqrt(full / left))

    def _hold_spool(self, k: int, position: float | None) -> None:
        row = self.plant.network.spool[k]
        at = self._spool_position(k) if position is None else position
        if row["rate"] != 0.0 or row["position"] != at:
            self.plant.touch(self.compiled.spool_cells[k])
            row["position"], row["rate"] = at, 0.0
            row["since"] = row["until"] = self.now
        row["next"] = inf
        self._spools[k] = _Spool(at)

    def _spool_position(self, k: int) -> float:
        row = self.plant.network.spool[k]
        moved = min(self.now, float(row["until"])) - float(row["since"])
        return float(row["position"] + row["rate"] * moved)

    def _start_spool(self, k: int) -> None:
        spool, row = self._spools[k], self.plant.network.spool[k]
        spec = self.compiled.spools[k]
        at = self._spool_position(k)
        slower = self._slower(k)
        further, spool.delay = spool.delay * (slower - 1.0), 0.0
        if further > 0.0:
            # only now is it known what the pilot has while it works: at first it may be rising
            spool.start_at = row["next"] = self.now + further
            insort(self._moves, (spool.start_at, k))
            return
        spool.start_at = row["next"] = inf
        spool.goal = spool.target
        distance = spool.target - at
        if distance == 0.0:
            row["position"], row["rate"] = at, 0.0
            return
        slow = slower * self._overrides.spool_slow.get(k, 1.0)
        travel = spec.travel * abs(distance) * slow
        self.plant.touch(self.compiled.spool_cells[k])
        row["position"], row["since"] = at, self.now
        row["until"] = self.now + travel
        row["rate"] = distance / travel
        insort(self._moves, (float(row["until"]), k))

    def _stop_spool(self, k: int) -> None:
        row = self.plant.network.spool[k]
        self.plant.touch(self.compiled.spool_cells[k])
        row["position"], row["rate"] = self._spools[k].goal, 0.0
        row["since"] = row["until"]
        self._say(self.compiled.spools[k].component, SpoolArrived(float(row["position"])))

    def _drive_supplies(self) -> None:
        """Compressors load and unload; switched-off supplies deliver nothing."""
        for spec in self.compiled.compressors:
            unloaded = bool(self.plant.made[spec.watch])
            if spec.component in self._overrides.never_unload:
                unloaded = False
            on = 1.0 if self.can_supply(spec.component) and not unloaded else 0.0
            row = self.plant.network.source[spec.source]
            if row["on"] != on and not self._waits(spec.component):
                self.plant.touch([self.plant.network.node_cell[row["node"]]])
                row["on"] = on
                self._loaded[spec.component] = self.now
                self._say(spec.component, SupplyChanged(bool(on)))
        for name, parts in self.compiled.parts.items():
            if parts.supply >= 0:
                row = self.plant.network.restriction[parts.supply]
                on = float(self.compiled.network.restriction[parts.supply]["open_max"])
                on = on if self._runs(name) else 0.0
                if row["open_max"] != on:
                    self.plant.touch(set(self.plant.network.node_cell[[row["a"], row["b"]]]) - {-1})
                    row["open_max"] = on
                    row["open_min"] = min(float(row["open_min"]), on)

    def _waits(self, compressor: str) -> bool:
        """Whether a compressor has switched just now: then it looks at its pressure again when it
        can. One that is stopped delivers nothing at once."""
        ready = self._loaded.get(compressor, -inf) + COMPRESSOR_TIME
        if self.now >= ready or not self.can_supply(compressor):
            return False
        if self._looks.get(compressor) != ready:
            self._looks[compressor] = ready
            self._put(ready, _Look())
        return True

    # actions

    def _put(self, time: float, what: Any) -> None:
        self._number += 1
        insort(self._agenda, _Due(time, self._number, what))

    def _perform(self, action: Any) -> None:
        match action:
            case Command(target, to):
                self._say(target, Commanded(action))
                if self.controller.command_gates(target, to):
                    self._drive_spools(self.controller.switched)
                if target == ALL or target in self.compiled.circuit.zones:
                    self._command(RideCommand(target, to))
            case RideStop():
                self._say("", Commanded(action))
                self._command(RideCommand(ALL, "ride stop"))
            case Acknowledge(target):
                self._say(target, Commanded(action))
                self._command(RideCommand(target, "acknowledge"))
            case Reset(target):
                self._say(target, Commanded(action))
                self._command(RideCommand(target, "reset"))
            case Switch(component, on):
                self._say(component, Commanded(action))
                (self._off.discard if on else self._off.add)(component)
                self._drive_supplies()
                self._drive_spools()
            case Power(on):
                self._say("", Commanded(action))
                self.power = on
                self._drive_supplies()
                self._drive_spools()
            case Turn(component, in_service):
                self._say(component, Commanded(action))
                self._hands[self.compiled.parts[component].spool] = 1.0 if in_service else 0.0
                self._drive_spools()
            case HandOverride(component, side, held):
                self._say(component, Commanded(action))
                if held:
                    self._held[component, side] = None
                else:
                    self._held.pop((component, side), None)
                self._drive_spools([component])
            case Drain(component, is_open):
                self._drain(component, is_open)
            case ForceInput(name, on):
                self._say(name, Commanded(action))
                self.controller.forced_inputs[name] = on
                self._forcing_changed()
            case ForceOutput(component, side, on):
                self._say(component, Commanded(action))
                self.controller.forced_outputs[component, side] = on
                self._forcing_changed()
            case Unforce(target):
                self._say("" if target == ALL else target, Commanded(action))
                self.controller.unforce(None if target == ALL else target)
                self._forcing_changed()
            case Fin(zone, present):
                self._say(zone, Commanded(action))
                for brake in self.compiled.brakes[zone]:
                    self._fins[brake.mover] = present
                self._network_now()
            case Strike(fault):
                self._strike(fault)
            case Clear(component, mode):
                self._clear((component, mode))
            case _Look():
                self._drive_supplies()
            case _Grow(key, severity):
                if key in self._faults:
                    self._faults[key].severity = severity
                    if severity is None:
                        self._say(key[0], FaultPaused(key[1]))
                    self._network_now()
            case _:
                raise TypeError(f"{action!r} is not an action")

    def _command(self, command: RideCommand) -> None:
        self._commands.append(command)
        self._scan_soon()

    def _forcing_changed(self) -> None:
        """What is forced is read and commanded at the next scan."""
        self._read_all = True
        self._scan_soon()

    def _drain(self, component: str, is_open: bool) -> None:
        drained = dict(self._drained)
        if is_open:
            self._must_be_apart(component)
            drained[component] = None
            self._must_have_room(self._faults, drained)
        else:
            drained.pop(component, None)
        self._say(component, Commanded(Drain(component, is_open)))
        if drained != self._drained:
            self._drained = drained
            self._network_now()

    # faults

    def _strike(self, fault: FaultSpec) -> None:
        mode = mode_of(self.compiled, fault)
        self._must_be_apart(fault.component)
        grade = mode.severity
        full = 1.0
        if grade is not None:
            full = grade.default if fault.severity is None else fault.severity
        if is_none(mode, full):
            return
        key = (fault.component, fault.mode)
        entry = _Fault(fault, mode, full, full)
        self._must_have_room({**self._faults, key: entry}, self._drained)
        self._faults[key] = entry
        now = self.now
        if fault.over is not None and grade is not None:
            for i in range(RAMP_STEPS + 1):
                severity = grade.none + (full - grade.none) * i / RAMP_STEPS
                if i == 0:
                    entry.severity = None
                else:
                    self._put(now + fault.over * i / RAMP_STEPS, _Grow(key, severity))
        elif fault.every is not None and fault.on_for is not None:
            self._put(now + fault.on_for, _Grow(key, None))
            self._put(now + fault.every, Strike(fault))
        self._say(fault.component, FaultInjected(fault))
        self._network_now()

    def _clear(self, key: tuple[str, str]) -> None:
        if key not in self._faults:
            raise InputError(f"{key[0]} has no fault {key[1]} to clear.")
        del self._faults[key]
        self._agenda = [due for due in self._agenda if not _concerns(due.what, key)]
        self._say(key[0], FaultCleared(key[1]))
        self._network_now()

    def _must_be_apart(self, component: str) -> None:
        if component in self.compiled.lumped:
            raise InputError(
                f"{component} is integrated together with its twins; compile the circuit "
                "with it apart before striking or draining it."
            )

    def _must_have_room(
        self, faults: Mapping[tuple[str, str], _Fault], drained: Iterable[str]
    ) -> None:
        """Refuses what the leak slots cannot hold before anything is changed. A fault that grows
        or comes and goes counts in full."""
        standing = [Standing(f.fault, f.mode, f.full) for f in faults.values()]
        self._situations.overrides(Situation.of(standing, drained, self._fins))

    def _network_now(self) -> None:
        """Changes the network to every standing fault, open drain and fin, and lets all devices
        see."""
        standing = [
            Standing(f.fault, f.mode, f.severity)
            for f in self._faults.values()
            if f.severity is not None
        ]
        held = self._overrides.contact_held
        before, self._stands = self._stands, Situation.of(standing, self._drained, self._fins)
        self._overrides = self._situations.overrides(self._stands)
        # where the rest follows another run, it is watched what passes at its borders
        change = self._situations.change(before, self._stands)
        self.plant.touch(change.cells_behind_borders if self.plant.follows else change.cells)
        change.apply(self.plant.network)
        for k in range(len(self._spools)):
            if k not in self._overrides.spool_held:
                self._free_spool(k)
        self._drive_supplies()
        self._drive_spools()
        if self._overrides.contact_held != held:
            self._read_all = True
            self._scan_soon()

    def _free_spool(self, k: int) -> None:
        """A spool that is no longer held goes where its coils want it."""
        row, spool = self.plant.network.spool[k], self._spools[k]
        if row["rate"] == 0.0 and spool.start_at == inf and row["position"] != spool.target:
            spool.target = float(row["position"])

    # start

    def _settle(self, duration: float) -> None:
        """Lets the plant come to rest with the zones held where they start."""
        plant, rtol = self.plant, self.plant.rtol
        plant.begin_settling(duration, [spec.watch for spec in self.compiled.compressors])
        self._loaded.clear()  # before now nothing has switched
        self._drive_supplies()
        for _ in range(2):  # once to send them, once more for those that wait for a pilot
            self._drive_spools()
            for k, spool in enumerate(self._spools):
                if spool.start_at < inf:
                    spool.start_at = inf
                    plant.network.spool[k]["position"] = spool.target
        plant.network.spool["next"] = inf
        self._moves = []
        self.controller.hold = True
        plant.rtol = SETTLE_SHARE * rtol
        self.advance(0.0)
        plant.rtol = rtol
        self.controller.hold = False
        plant.end_settling()
        self._devices_due = True
        self._said[:] = plant.made
        self._read_all = True
        self._pending = []
        self.events.clear()
        self._told.clear()
        self.crossings = [(0.0, w, bool(made)) for w, made in enumerate(plant.made)]
        self._scan_at = 0.0

    def _say(self, subject: str, what: Happening) -> None:
        if what.kind not in _REPEATED or self._is_told(what.kind, subject):
            self.events.append(RunEvent(self.now, subject, what))

    def _is_told(self, kind: EventKind, subject: str) -> bool:
        """Whether an event is told: what flickers is told a hundred times, then said to flicker,
        until a second has passed in which it did so less often."""
        told = self._told.setdefault((kind, subject), _Told(self.now))
        if self.now >= told.since + 1.0:
            told.too_many = told.count > MOST_TOLD and self.now < told.since + 2.0
            told.since, told.count = self.now, 0
        told.count += 1
        if told.count > MOST_TOLD and not told.too_many:
            told.too_many = True
            self.events.append(RunEvent(self.now, subject, Unlisted(kind, MOST_TOLD)))
        return not told.too_many


class _Beginning:
    """What a list that only grows holds so far. The list is shared, not copied: of a long run a
    hundred states are put away, and each would hold all that has happened."""

    def __init__(self, grows: list[Any]) -> None:
        self._grows, self._length = grows, len(grows)

    def __len__(self) -> int:
        return self._length

    def __iter__(self) -> Iterator[Any]:
        return islice(self._grows, self._length)


def _concerns(what: Any, key: tuple[str, str]) -> bool:
    """True for an agenda entry that belongs to a standing fault's shape."""
    if isinstance(what, _Grow):
        return what.key == key
    if isinstance(what, Strike):
        return (what.fault.component, what.fault.mode) == key and what.fault.every is not None
    return False
