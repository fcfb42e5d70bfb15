"""The logic of one zone: at a scan, sensed inputs and a command in; coil demand and events out."""

from __future__ import annotations

from typing import NamedTuple

from pneumo.zone.alarm import AlarmGroup, AlarmMemory, AlarmState
from pneumo.zone.event import (
    COMMANDS,
    AlarmChanged,
    AlarmRaised,
    Command,
    Event,
    OfLogic,
    Reason,
    Refused,
    StateEntered,
)
from pneumo.zone.evidence import Obstacle, clues
from pneumo.zone.guard import both_on
from pneumo.zone.machine import (
    STANDING,
    STATES,
    ZONE_MACHINE,
    Cause,
    Row,
    State,
    Trigger,
    ZoneMachine,
    heads_for,
    is_charging,
    time_limits,
)
from pneumo.zone.sensed import Sensed, Side, Timers, ZoneSettings, due

_NEVER = float("inf")
_END: dict[str, Side] = {"open": "open", "close": "closed"}


class ZoneScan(NamedTuple):
    """What one scan of a zone gives."""

    state: State
    """What the zone believes, after the scan."""
    charge: bool
    """True: pressurise the zone; False: vent it."""
    first_out: str
    """First-out cause; "" unless faulted."""
    events: tuple[Event, ...]
    rows: tuple[Row, ...]
    """Rows of the table taken, in order."""


class ZoneMemory(NamedTuple):
    """All that a ZoneLogic remembers."""

    state: State
    entered: float
    both_since: tuple[float | None, ...]
    deadline: float | None
    alarms: AlarmMemory


class ZoneLogic:
    """One zone stepped by scans.

    After a scan the zone has settled: as long as nothing sensed changes, no command comes and
    `deadline()` has not passed, scanning again changes nothing. A caller may therefore scan only
    at the first tick after such a change.

    While faulted the zone is commanded to its safe state. It leaves by `acknowledge` and then
    `reset`, which is refused while a cause stands; then it moves on to its safe state, and is
    there in the same scan if that is what is sensed.
    """

    def __init__(self, settings: ZoneSettings, machine: ZoneMachine = ZONE_MACHINE) -> None:
        self.settings = settings
        self.state: State = settings.starts or settings.safe_state
        self.alarms = AlarmGroup(tuple(Cause), latching=True)
        self._machine = machine
        self._sensed_rows = machine.sensed_rows(settings.spring)
        self._command_rows = machine.command_rows(settings.spring)
        self._charge = {state: is_charging(state, settings) for state in STATES}
        self._limits = {state: time_limits(state, settings) for state in STATES}
        self._agreed: tuple[float | None, ...] = (None,) * len(settings.brakes)
        self._entered = 0.0
        self._both_since: tuple[float | None, ...] = self._agreed
        self._deadline: float | None = None
        self._settled_on: Sensed | None = None

    @property
    def charge(self) -> bool:
        """True: pressurise the zone; False: vent it."""
        return self._charge[self.state]

    @property
    def first_out(self) -> str:
        """First-out cause; "" unless faulted."""
        return self.alarms.first_out

    @property
    def since(self) -> float:
        """When the present state was entered [s]."""
        return self._entered

    @property
    def sensed_rows(self) -> tuple[Row, ...]:
        """Rows of the table that are tried at every scan in the present state, in that order."""
        return self._sensed_rows[self.state]

    def command_row(self, trigger: Trigger, time: float, sensed: Sensed) -> Row | None:
        """The row that a command would take from the present state; None: the table has none."""
        return self._choose(self._command_rows[trigger, self.state], time, sensed)

    def timers(self, time: float) -> Timers:
        """What the guards would be told about time at a scan."""
        standing = [since for since in self._both_since if since is not None]
        return Timers(time, self._entered, min(standing, default=_NEVER))

    def limits(self) -> tuple[float, ...]:
        """Instants [s], also past ones, from which a guard can hold by time alone; ascending."""
        ends = [self._entered + limit for limit in self._limits[self.state]]
        ends += [s + self.settings.discrepancy for s in self._both_since if s is not None]
        return tuple(sorted(ends))

    def deadline(self) -> float | None:
        """Next simulated time [s] at which a timer could change something; None: never."""
        return self._deadline

    def rests(self, time: float, sensed: Sensed) -> bool:
        """True when a scan without a command would change nothing."""
        return sensed == self._settled_on and not self._is_due(time)

    def scan(self, time: float, sensed: Sensed, command: Command | None = None) -> ZoneScan:
        """Sense, obey, settle. What is sensed counts before a command of the same scan.

        Raises ValueError for a command that is not one, or readings that do not fit the zone.
        """
        if command is None and self.rests(time, sensed):
            return ZoneScan(self.state, self.charge, self.first_out, (), ())
        self._check(sensed, command)
        events: list[Event] = []
        rows: list[Row] = []
        self._watch_switches(time, sensed)
        self._settle(time, sensed, events, rows)
        if command is not None:
            self._obey(time, sensed, command, events, rows)
            self._settle(time, sensed, events, rows)
        self._deadline = self._next_deadline(time)
        self._settled_on = sensed
        return ZoneScan(self.state, self.charge, self.first_out, tuple(events), tuple(rows))

    def snapshot(self) -> ZoneMemory:
        """What `restore` needs to go on from here exactly."""
        return ZoneMemory(
            self.state, self._entered, self._both_since, self._deadline, self.alarms.snapshot()
        )

    def restore(self, memory: ZoneMemory) -> None:
        """Go back to a snapshot of a zone with the same settings."""
        self.state, self._entered, self._both_since, self._deadline, alarms = memory
        self.alarms.restore(alarms)
        self._settled_on = None

    # the stages of a scan

    def _is_due(self, time: float) -> bool:
        return self._deadline is not None and time >= self._deadline

    def _check(self, sensed: Sensed, command: Command | None) -> None:
        zone = self.settings
        if (
            len(sensed.closed) != len(zone.brakes)
            or len(sensed.open) != len(zone.brakes)
            or len(sensed.pressure_on) != len(zone.pressure_switches)
            or len(sensed.supply_ok) != len(zone.supply_switches)
        ):
            raise ValueError(
                f"zone {zone.name} has {len(zone.brakes)} brakes, {len(zone.pressure_switches)} "
                f"pressure switches and {len(zone.supply_switches)} supply switches; "
                f"the readings {sensed} do not match"
            )
        if command is not None and command not in COMMANDS:
            raise ValueError(f"zone {zone.name}: {command!r} is not one of {', '.join(COMMANDS)}")

    def _watch_switches(self, time: float, sensed: Sensed) -> None:
        """Start and clear the disagreement timer of each brake."""
        if not both_on(sensed):
            self._both_since = self._agreed
            return
        self._both_since = tuple(
            (time if since is None else since) if closed and wide else None
            for since, closed, wide in zip(
                self._both_since, sensed.closed, sensed.open, strict=True
            )
        )

    def _settle(self, time: float, sensed: Sensed, events: list[Event], rows: list[Row]) -> None:
        """Take rows until no guard holds; they form no loop, so this ends."""
        while (row := self._choose(self._sensed_rows[self.state], time, sensed)) is not None:
            self._take(row, time, sensed, events, rows)
        if self.state == "faulted":
            self._watch_causes(time, sensed, events)

    def _choose(self, candidates: tuple[Row, ...], time: float, sensed: Sensed) -> Row | None:
        timers = self.timers(time)
        zone = self.settings
        for row in candidates:
            if row.guard(sensed, zone, timers):
                return row
        return None

    def _take(
        self, row: Row, time: float, sensed: Sensed, events: list[Event], rows: list[Row]
    ) -> None:
        left = self.state
        self._machine.take(row, self)
        self._entered = time
        rows.append(row)
        events.append(self._event(time, StateEntered(left, self.state)))
        if row.cause is not None:
            self._alarm(time, row.cause, heads_for(left, self.settings), sensed, events)

    def _watch_causes(self, time: float, sensed: Sensed, events: list[Event]) -> None:
        """Keep every alarm's condition up to date while faulted, and let later causes join."""
        zone, timers = self.settings, self.timers(time)
        for cause, stands, joins in STANDING:
            standing = stands(sensed, zone, timers)
            if self.alarms[cause] is AlarmState.NORMAL:
                if standing and joins(sensed, zone, timers):
                    self._alarm(time, cause, zone.safe_state, sensed, events)
            elif standing:
                if self.alarms[cause] in (
                    AlarmState.LATCHED_UNACKNOWLEDGED,
                    AlarmState.LATCHED_ACKNOWLEDGED,
                ):
                    self._alarm(time, cause, zone.safe_state, sensed, events)
            elif (state := self.alarms.give(cause, "normal")) is not None:
                events.append(self._event(time, AlarmChanged(str(cause), state)))

    def _alarm(
        self, time: float, cause: Cause, wanted: Side, sensed: Sensed, events: list[Event]
    ) -> None:
        first_out = not self.alarms.first_out
        self.alarms.give(cause, "abnormal")
        seen = clues(cause, wanted, sensed, self.settings)
        events.append(self._event(time, AlarmRaised(str(cause), first_out, seen)))

    def _obey(
        self, time: float, sensed: Sensed, command: Command, events: list[Event], rows: list[Row]
    ) -> None:
        if command == "acknowledge":
            changes = self.alarms.give_all("acknowledge")
            if not changes:
                events.append(self._event(time, Refused(command, "no alarm")))
            for name, state in changes:
                events.append(self._event(time, AlarmChanged(str(name), state)))
            return
        if command == "reset":
            blocked_by = self.reset_blocked_by(sensed)
            if blocked_by or self.state != "faulted":
                reason: Reason = "blocked" if self.state == "faulted" else "not faulted"
                events.append(self._event(time, Refused(command, reason, (), blocked_by)))
                return
            for name, state in self.alarms.give_all("reset"):
                events.append(self._event(time, AlarmChanged(str(name), state)))
            self._move("reset", time, sensed, events, rows)
            return
        if self.state == "faulted":
            if command != "ride stop":
                refused = Refused(command, "zone faulted", (self.first_out,))
                events.append(self._event(time, refused))
            return
        side = self.settings.safe_state if command == "ride stop" else _END[command]
        if heads_for(self.state, self.settings) != side:
            trigger: Trigger = "open" if side == "open" else "close"
            self._move(trigger, time, sensed, events, rows)

    def _move(
        self, trigger: Trigger, time: float, sensed: Sensed, events: list[Event], rows: list[Row]
    ) -> None:
        row = self._choose(self._command_rows[trigger, self.state], time, sensed)
        if row is None:
            raise LookupError(
                f"zone {self.settings.name}: the zone table has no row for {trigger} from "
                f"{self.state}"
            )
        self._take(row, time, sensed, events, rows)

    def reset_blocked_by(self, sensed: Sensed) -> tuple[Obstacle, ...]:
        """The alarms that keep a zone from its reset; first those to be acknowledged."""
        zone = self.settings
        return (
            *(Obstacle(name, False, ()) for name in self.alarms.unacknowledged),
            *(
                Obstacle(name, True, clues(Cause(name), zone.safe_state, sensed, zone))
                for name in self.alarms.standing
            ),
        )

    def _next_deadline(self, time: float) -> float | None:
        ends = (due(end, 0.0) for end in self.limits())
        return min((end for end in ends if end > time), default=None)

    def _event(self, time: float, what: OfLogic) -> Event:
        return Event(time, self.settings.name, what)
