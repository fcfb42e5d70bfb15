"""What happens in a run: one record for everything. Its sentence is made in `telling`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, ClassVar, Literal, get_args

from pneumo.circuit.action import Action, FaultSpec, Fin
from pneumo.zone.event import (
    AlarmChanged,
    AlarmRaised,
    Refused,
    RideStopped,
    RideStopReset,
    StateEntered,
)

EventKind = Literal[
    "command", "state", "alarm", "refused", "ride", "contact", "valve", "compressor", "fault",
    "fin",
]  # fmt: skip
"""Families of events, as a list of them is sifted."""

EVENT_KINDS: tuple[EventKind, ...] = get_args(EventKind)


@dataclass(frozen=True, slots=True)
class Commanded:
    """Something was done to the ride: by an operator, a hand, or a scenario."""

    action: Action

    @property
    def kind(self) -> EventKind:
        """A train's fin is not a command."""
        return "fin" if isinstance(self.action, Fin) else "command"


@dataclass(frozen=True, slots=True)
class ContactRead:
    """The controller reads a contact other than before."""

    kind: ClassVar[EventKind] = "contact"
    on: bool


@dataclass(frozen=True, slots=True)
class SpoolArrived:
    """A valve's spool has come to the end of its movement."""

    kind: ClassVar[EventKind] = "valve"
    position: float
    """0 at rest, 1 where coil 14 puts it, -1 at the other end."""


@dataclass(frozen=True, slots=True)
class SupplyChanged:
    """A compressor begins to deliver, or stops."""

    kind: ClassVar[EventKind] = "compressor"
    delivers: bool


@dataclass(frozen=True, slots=True)
class FaultInjected:
    """A fault begins, or comes again."""

    kind: ClassVar[EventKind] = "fault"
    fault: FaultSpec


@dataclass(frozen=True, slots=True)
class FaultPaused:
    """An intermittent fault is gone for the moment."""

    kind: ClassVar[EventKind] = "fault"
    mode: str


@dataclass(frozen=True, slots=True)
class FaultCleared:
    """A fault was put right."""

    kind: ClassVar[EventKind] = "fault"
    mode: str


@dataclass(frozen=True, slots=True)
class Unlisted:
    """A part changes so often that its further changes are not listed one by one."""

    kind: EventKind
    most: int
    """Changes that were listed within 1 s."""


@dataclass(frozen=True, slots=True)
class Noted:
    """What an earlier version wrote into a record, as a sentence; nothing is read from it."""

    kind: EventKind
    words: str


Happening = (
    Commanded | StateEntered | AlarmRaised | AlarmChanged | Refused | RideStopped | RideStopReset
    | ContactRead | SpoolArrived | SupplyChanged | FaultInjected | FaultPaused | FaultCleared
    | Unlisted | Noted
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class RunEvent:
    """Something that happened in a run."""

    time: float
    """[s]"""
    subject: str
    """Zone or component; "" for the ride."""
    what: Happening

    @property
    def kind(self) -> EventKind:
        """Its family."""
        return self.what.kind


def alarms_raised(events: Iterable[RunEvent]) -> Iterator[tuple[float, str, str]]:
    """Time [s], zone ("" = the ride) and name of every alarm that was raised, in the order of
    the events; what became of it afterwards is another thing."""
    for event in events:
        if isinstance(event.what, AlarmRaised):
            yield event.time, event.subject, event.what.name


def as_data(what: Happening) -> dict[str, Any]:
    """What happened as plain data for other programs: "event" says what it is, the other fields
    are those of its record. A command's action has its name under "does"."""
    if isinstance(what, Commanded):
        return {"event": "commanded", "does": _name(what.action), **_plain(what.action)}
    return {"event": _name(what), **_plain(what)}


def _plain(value: Any) -> Any:
    """A record as the names and values of its fields, however deep."""
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple):
        names = getattr(value, "_fields", None)
        items = [_plain(item) for item in value]
        return items if names is None else dict(zip(names, items, strict=True))
    return value


def _name(record: object) -> str:
    """ "state entered" of a StateEntered."""
    return re.sub(r"(?<=[a-z])(?=[A-Z])", " ", type(record).__name__).lower()
