"""What a run says of itself: one record for everything that happened."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

EventKind = Literal[
    "command", "state", "alarm", "refused", "ride", "contact", "valve", "compressor", "pilot",
    "fault", "fin", "jaw",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class RaisedAlarm:
    """An alarm that the logic raised; what became of it afterwards is another thing."""

    time: float
    """[s]"""
    zone: str
    """"" for the ride."""
    name: str


@dataclass(frozen=True, slots=True)
class RunEvent:
    """Something that happened in a run."""

    time: float
    """[s]"""
    kind: EventKind
    subject: str
    """Zone or component; "" for the ride."""
    text: str
