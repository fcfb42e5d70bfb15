"""Alarm states after ANSI/ISA-18.2 and IEC 62682, and first-out marking of a group of alarms.

An alarm is a condition that an operator must answer. One that latches stays until it is reset,
even after its condition has gone; one that does not goes by itself once acknowledged.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import Literal, NamedTuple

Input = Literal["abnormal", "normal", "acknowledge", "reset"]


class AlarmState(StrEnum):
    """States of one alarm."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned to normal, unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched, unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched, acknowledged"


_A = AlarmState

NEEDS_ACKNOWLEDGE = frozenset(
    {_A.UNACKNOWLEDGED, _A.RETURNED_UNACKNOWLEDGED, _A.LATCHED_UNACKNOWLEDGED}
)
STANDS = frozenset({_A.UNACKNOWLEDGED, _A.ACKNOWLEDGED})

# A pair that is missing changes nothing: a reset is deaf until acknowledged and back to normal.
_COMMON: dict[tuple[AlarmState, Input], AlarmState] = {
    (_A.NORMAL, "abnormal"): _A.UNACKNOWLEDGED,
    (_A.UNACKNOWLEDGED, "acknowledge"): _A.ACKNOWLEDGED,
}
_FLEETING = _COMMON | {
    (_A.UNACKNOWLEDGED, "normal"): _A.RETURNED_UNACKNOWLEDGED,
    (_A.ACKNOWLEDGED, "normal"): _A.NORMAL,
    (_A.RETURNED_UNACKNOWLEDGED, "abnormal"): _A.UNACKNOWLEDGED,
    (_A.RETURNED_UNACKNOWLEDGED, "acknowledge"): _A.NORMAL,
}
_LATCHING = _COMMON | {
    (_A.UNACKNOWLEDGED, "normal"): _A.LATCHED_UNACKNOWLEDGED,
    (_A.ACKNOWLEDGED, "normal"): _A.LATCHED_ACKNOWLEDGED,
    (_A.LATCHED_UNACKNOWLEDGED, "abnormal"): _A.UNACKNOWLEDGED,
    (_A.LATCHED_UNACKNOWLEDGED, "acknowledge"): _A.LATCHED_ACKNOWLEDGED,
    (_A.LATCHED_ACKNOWLEDGED, "abnormal"): _A.UNACKNOWLEDGED,
    (_A.LATCHED_ACKNOWLEDGED, "reset"): _A.NORMAL,
}


def next_state(state: AlarmState, given: Input, latching: bool) -> AlarmState:
    """The state of an alarm after an input; the same state when the input has no effect."""
    return (_LATCHING if latching else _FLEETING).get((state, given), state)


class AlarmMemory(NamedTuple):
    """All that an AlarmGroup remembers."""

    states: tuple[AlarmState, ...]
    first_out: str


class AlarmGroup:
    """The alarms of one zone, or of the ride, in a fixed order, with the first-out marked.

    The first-out is the alarm that came while all others were normal; it stays marked until
    every alarm of the group is normal again.
    """

    def __init__(self, names: Sequence[str], latching: bool) -> None:
        self.names = tuple(names)
        self.latching = latching
        self.first_out = ""
        """Name of the first alarm, "" while all are normal."""
        self._states = dict.fromkeys(self.names, AlarmState.NORMAL)

    def __getitem__(self, name: str) -> AlarmState:
        return self._states[name]

    def give(self, name: str, given: Input) -> AlarmState | None:
        """Give one alarm an input; its new state, or None when nothing changed."""
        old = self._states[name]
        new = next_state(old, given, self.latching)
        if new is old:
            return None
        self._states[name] = new
        if not self.first_out:
            self.first_out = str(name)
        elif new is AlarmState.NORMAL and not self.active:
            self.first_out = ""
        return new

    def give_all(self, given: Input) -> tuple[tuple[str, AlarmState], ...]:
        """Give every alarm an input; name and new state of those that changed."""
        changes = ((name, self.give(name, given)) for name in self.names)
        return tuple((name, state) for name, state in changes if state is not None)

    @property
    def active(self) -> tuple[str, ...]:
        """Names of the alarms that are not normal."""
        return tuple(n for n, state in self._states.items() if state is not AlarmState.NORMAL)

    @property
    def unacknowledged(self) -> tuple[str, ...]:
        """Names of the alarms that wait for an acknowledge."""
        return tuple(n for n, state in self._states.items() if state in NEEDS_ACKNOWLEDGE)

    @property
    def standing(self) -> tuple[str, ...]:
        """Names of the alarms whose condition is abnormal now."""
        return tuple(n for n, state in self._states.items() if state in STANDS)

    def snapshot(self) -> AlarmMemory:
        """What `restore` needs to go on from here exactly."""
        return AlarmMemory(tuple(self._states.values()), self.first_out)

    def restore(self, memory: AlarmMemory) -> None:
        """Go back to a snapshot of a group with the same names."""
        self._states = dict(zip(self.names, memory.states, strict=True))
        self.first_out = memory.first_out
