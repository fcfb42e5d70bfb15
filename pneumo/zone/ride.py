"""The logic of the whole ride: every zone in document order, and the permissive over them.

A ride stop sends every zone to its safe state and holds it there: a command away from it is
refused until the ride is reset. A supply switch of the ride that is OFF raises an alarm and stops
the ride. The zones are then moved and watched like on any other day, and not each put into a
fault of its own: one alarm for one cause.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from pneumo.zone.alarm import AlarmGroup, AlarmMemory
from pneumo.zone.event import (
    AlarmChanged,
    AlarmRaised,
    Command,
    Event,
    OfLogic,
    Reason,
    Refused,
    RideStopped,
    RideStopReset,
)
from pneumo.zone.evidence import Clue, Obstacle
from pneumo.zone.logic import ZoneLogic, ZoneMemory
from pneumo.zone.machine import ZONE_MACHINE, ZoneMachine
from pneumo.zone.sensed import Sensed, ZoneSettings

LOW_RIDE_SUPPLY = "low ride supply"


class RideCommand(NamedTuple):
    """One command to one zone or to all."""

    target: str
    """Zone name, or "all": every zone and the ride itself."""
    verb: Command
    """A "ride stop" is for "all" only."""


class RideInputs(NamedTuple):
    """What the controller reads at one scan."""

    zones: tuple[Sensed, ...]
    """Zones in document order."""
    supply_ok: tuple[bool, ...] = ()
    """The ride's supply switches; False = OFF, low supply."""
    commands: tuple[RideCommand, ...] = ()
    """In the order given; obeyed in that order."""


class RideMemory(NamedTuple):
    """All that a RideLogic remembers."""

    zones: tuple[ZoneMemory, ...]
    stopped_by: str
    alarms: AlarmMemory


class RideLogic:
    """All zones of a ride. Scanning again without a change changes nothing, as for a zone."""

    def __init__(
        self,
        zones: Sequence[ZoneSettings],
        supply_switches: Sequence[str] = (),
        machine: ZoneMachine = ZONE_MACHINE,
    ) -> None:
        self.zones = {settings.name: ZoneLogic(settings, machine) for settings in zones}
        """By name, in document order."""
        if len(self.zones) != len(zones) or "all" in self.zones:
            raise ValueError('zone names must differ from each other and from "all"')
        self.supply_switches = tuple(supply_switches)
        self.alarms = AlarmGroup((LOW_RIDE_SUPPLY,), latching=False)
        """Does not latch: the stop it leads to does."""
        self.stopped_by = ""
        """What first caused the ride stop that is held; "" = none is held."""

    @property
    def stopped(self) -> bool:
        """True while a ride stop is held."""
        return bool(self.stopped_by)

    def deadline(self) -> float | None:
        """Next simulated time [s] at which a timer could change something; None: never."""
        ends = (zone.deadline() for zone in self.zones.values())
        return min((end for end in ends if end is not None), default=None)

    def scan(self, time: float, inputs: RideInputs) -> tuple[Event, ...]:
        """The ride's supply first, then commands in their order, then every zone.

        Returns all events, the zones' too, in the order they came about. Raises ValueError for a
        command that is not one, an unknown zone, or readings that do not fit the ride.
        """
        self._check(inputs)
        scan = _Scan(time, dict(zip(self.zones, inputs.zones, strict=True)))
        self._watch_supply(scan, inputs.supply_ok)
        for command in inputs.commands:
            self._obey(scan, command)
        for name, zone in self.zones.items():
            if not zone.rests(time, scan.sensed[name]):
                self._scan_zone(scan, name, None)
        return tuple(scan.events)

    def snapshot(self) -> RideMemory:
        """What `restore` needs to go on from here exactly."""
        zones = tuple(zone.snapshot() for zone in self.zones.values())
        return RideMemory(zones, self.stopped_by, self.alarms.snapshot())

    def restore(self, memory: RideMemory) -> None:
        """Go back to a snapshot of a ride with the same zones."""
        for zone, remembered in zip(self.zones.values(), memory.zones, strict=True):
            zone.restore(remembered)
        self.stopped_by = memory.stopped_by
        self.alarms.restore(memory.alarms)

    # the stages of a scan

    def _check(self, inputs: RideInputs) -> None:
        if len(inputs.zones) != len(self.zones):
            raise ValueError(f"readings of {len(inputs.zones)} zones for {len(self.zones)} zones")
        if len(inputs.supply_ok) != len(self.supply_switches):
            raise ValueError(
                f"{len(inputs.supply_ok)} supply readings for the ride's "
                f"{len(self.supply_switches)} supply switches"
            )
        for target, verb in inputs.commands:
            if target != "all" and target not in self.zones:
                raise ValueError(f"{target!r} is not a zone; zones are {', '.join(self.zones)}")
            if verb == "ride stop" and target != "all":
                raise ValueError("a ride stop is for all zones, not for one")

    def _watch_supply(self, scan: _Scan, supply_ok: tuple[bool, ...]) -> None:
        low = [name for name, ok in zip(self.supply_switches, supply_ok, strict=True) if not ok]
        state = self.alarms.give(LOW_RIDE_SUPPLY, "abnormal" if low else "normal")
        if low and state is not None:
            seen = tuple(Clue("supply switch", name, False) for name in low)
            scan.say(AlarmRaised(LOW_RIDE_SUPPLY, False, seen))
            self._stop(scan, LOW_RIDE_SUPPLY)
        elif state is not None:
            scan.say(AlarmChanged(LOW_RIDE_SUPPLY, state))

    def _stop(self, scan: _Scan, cause: str) -> None:
        """Send every zone to its safe state and hold it there."""
        if not self.stopped:
            self.stopped_by = cause
            scan.say(RideStopped(cause))
        for name in self.zones:
            self._scan_zone(scan, name, "ride stop")

    def _obey(self, scan: _Scan, command: RideCommand) -> None:
        target, verb = command
        if verb == "ride stop":
            self._stop(scan, "command")
        elif target != "all":
            self._command_zone(scan, target, verb)
        elif verb == "acknowledge":
            self._acknowledge_all(scan)
        elif verb == "reset":
            self._reset_all(scan)
        else:
            for name in self.zones:
                self._command_zone(scan, name, verb)

    def _command_zone(self, scan: _Scan, name: str, verb: Command) -> None:
        safe = self.zones[name].settings.safe_state
        away: Command = "close" if safe == "open" else "open"
        if self.stopped and verb == away:
            scan.say(Refused(verb, "ride stopped", (self.stopped_by,)), name)
        else:
            self._scan_zone(scan, name, verb)

    def _acknowledge_all(self, scan: _Scan) -> None:
        """Acknowledge what waits for it, in the ride and in every zone."""
        waiting = [name for name, zone in self.zones.items() if zone.alarms.unacknowledged]
        changes = self.alarms.give_all("acknowledge")
        if not waiting and not changes:
            scan.say(Refused("acknowledge", "no alarm"))
        for alarm, state in changes:
            scan.say(AlarmChanged(alarm, state))
        for name in waiting:
            self._scan_zone(scan, name, "acknowledge")

    def _reset_all(self, scan: _Scan) -> None:
        """Reset the faulted zones, then the ride stop if nothing speaks against it any more."""
        faulted = [name for name, zone in self.zones.items() if zone.state == "faulted"]
        for name in faulted:
            self._scan_zone(scan, name, "reset")
        if not self.stopped:
            if not faulted:
                scan.say(Refused("reset", "nothing to reset"))
            return
        still = tuple(name for name in faulted if self.zones[name].state == "faulted")
        blocked_by = (
            *(Obstacle(name, False, ()) for name in self.alarms.unacknowledged),
            *(Obstacle(name, True, ()) for name in self.alarms.standing),
        )
        if blocked_by or still:
            reason: Reason = "blocked" if blocked_by else "zones faulted"
            scan.say(Refused("reset", reason, still, blocked_by, of_ride_stop=True))
            return
        self.stopped_by = ""
        scan.say(RideStopReset())

    def _scan_zone(self, scan: _Scan, name: str, command: Command | None) -> None:
        scan.events += self.zones[name].scan(scan.time, scan.sensed[name], command).events


class _Scan:
    """One scan under way: its inputs by zone name, and what it gathers."""

    def __init__(self, time: float, sensed: dict[str, Sensed]) -> None:
        self.time = time
        self.sensed = sensed
        self.events: list[Event] = []

    def say(self, what: OfLogic, zone: str = "") -> None:
        """Add an event of the ride, or one that the ride says about a zone."""
        self.events.append(Event(self.time, zone, what))
