"""The alarms of a ride as an operator answers them: since when, and which are shelved (ISA-18.2).

Shelving is the operator's: it silences an alarm in the list for a limited time and changes nothing
in the logic. The time is simulated time.
"""

from __future__ import annotations

from pneumo.errors import InputError
from pneumo.live.frame import AlarmFrame
from pneumo.scenario.event import alarms_raised
from pneumo.scenario.play import Play
from pneumo.zone.alarm import AlarmGroup, AlarmState

LONGEST = 8 * 3600.0
"""An alarm may be shelved for so long [s]."""


class AlarmList:
    """Remembers what the logic does not: when an alarm came, and until when it is shelved."""

    def __init__(self) -> None:
        self._since: dict[tuple[str, str], float] = {}
        self._shelved: dict[tuple[str, str], tuple[float, float]] = {}
        """From when until when [s]."""

    def forget(self, time: float) -> None:
        """Gone back to a time [s]: alarms that came later are unknown again."""
        self._since = {key: since for key, since in self._since.items() if since <= time}

    def branch(self, time: float) -> None:
        """What came after a time [s] is dropped, what was shelved then, too."""
        self.forget(time)
        self._shelved = {key: span for key, span in self._shelved.items() if span[0] <= time}

    def shelve(self, play: Play, zone: str, alarm: str, seconds: float | None) -> None:
        """Shelves an alarm for a time [s], or takes it off the shelf (None).

        Raises
        ------
        InputError
            When there is no such alarm or the time is out of range.
        """
        key = (zone, alarm)
        if seconds is None:
            if self._shelved.pop(key, None) is None:
                raise InputError(f"{_named(key)} is not shelved.")
            return
        if key not in {(z, name) for z, group in _groups(play) for name in group.names}:
            raise InputError(f"There is no alarm {_named(key)}.")
        if not 0.0 < seconds <= LONGEST:
            raise InputError(f"An alarm can be shelved for up to {LONGEST / 3600:g} h.")
        self._shelved[key] = play.now, play.now + seconds

    def frames(self, play: Play) -> tuple[AlarmFrame, ...]:
        """The alarms that are not normal, and those that are shelved."""
        now = play.now
        shelved = {key: end for key, (at, end) in self._shelved.items() if at <= now < end}
        found: list[AlarmFrame] = []
        for zone, group in _groups(play):
            for name in group.names:
                key, state = (zone, name), group[name]
                if state is AlarmState.NORMAL:
                    self._since.pop(key, None)
                    if key not in shelved:
                        continue
                # the events are searched once for an alarm, not for every frame
                if key not in self._since:
                    self._since[key] = _raised(play, zone, name)
                first = group.first_out == name
                found.append(
                    AlarmFrame(
                        zone, str(name), str(state), first, self._since[key], shelved.get(key)
                    )
                )
        return tuple(found)


def _groups(play: Play) -> list[tuple[str, AlarmGroup]]:
    logic = play.actors.controller.logic
    return [("", logic.alarms), *((name, zone.alarms) for name, zone in logic.zones.items())]


def _raised(play: Play, zone: str, name: str) -> float:
    """When an alarm was last raised [s]."""
    found = alarms_raised(reversed(play.plant.log.events))
    return next((time for time, *alarm in found if alarm == [zone, name]), play.now)


def _named(key: tuple[str, str]) -> str:
    zone, alarm = key
    return f"{alarm!r} of {zone or 'the ride'}"
