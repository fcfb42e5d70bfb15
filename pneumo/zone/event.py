"""What the logic says of itself: a record for everything that happens in a scan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal, NamedTuple, get_args

from pneumo.zone.alarm import AlarmState
from pneumo.zone.evidence import Clue, Obstacle
from pneumo.zone.machine import State

Command = Literal["open", "close", "acknowledge", "reset", "ride stop"]
COMMANDS: tuple[str, ...] = get_args(Command)

Reason = Literal[
    "no alarm", "not faulted", "nothing to reset", "blocked", "zone faulted", "zones faulted",
    "ride stopped",
]  # fmt: skip
"""Why a command is not carried out."""


@dataclass(frozen=True, slots=True)
class StateEntered:
    """A zone went from one state to another."""

    kind: ClassVar[Literal["state"]] = "state"
    left: State
    entered: State


@dataclass(frozen=True, slots=True)
class AlarmRaised:
    """An alarm's condition came about."""

    kind: ClassVar[Literal["alarm"]] = "alarm"
    name: str
    first_out: bool
    """Every other alarm of the zone was normal."""
    sensed: tuple[Clue, ...]
    """Instruments that it was raised for."""


@dataclass(frozen=True, slots=True)
class AlarmChanged:
    """An alarm was acknowledged, returned to normal, or was reset."""

    kind: ClassVar[Literal["alarm"]] = "alarm"
    name: str
    state: AlarmState
    """The one it is in now."""


@dataclass(frozen=True, slots=True)
class Refused:
    """A command that the logic does not carry out."""

    kind: ClassVar[Literal["refused"]] = "refused"
    command: Command
    reason: Reason
    about: tuple[str, ...] = ()
    """First-out alarm of a faulted zone, the zones that are faulted, what stopped the ride."""
    blocked_by: tuple[Obstacle, ...] = ()
    """Of a reset: alarms to be acknowledged first, and those that are still active."""
    of_ride_stop: bool = False
    """It is the ride stop that is not reset."""


@dataclass(frozen=True, slots=True)
class RideStopped:
    """Every zone is sent to its safe state, and held there."""

    kind: ClassVar[Literal["ride"]] = "ride"
    cause: str
    """"command", or the alarm that led to it."""


@dataclass(frozen=True, slots=True)
class RideStopReset:
    """The ride stop is over; the zones obey commands again."""

    kind: ClassVar[Literal["ride"]] = "ride"


OfLogic = StateEntered | AlarmRaised | AlarmChanged | Refused | RideStopped | RideStopReset


class Event(NamedTuple):
    """One thing the logic has to say."""

    time: float
    """Scan at which it happened [s]."""
    zone: str
    """Zone name; "" = the ride."""
    what: OfLogic
