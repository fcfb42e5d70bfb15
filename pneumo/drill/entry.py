"""What has been done in a drill, and what came of it: the records that everything is made of.

The log of a drill is a tuple of entries. The trainer's seat shows them as they come, the record
keeps them, the debrief and a diagnostician read them. Sentences are made in `telling`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from pneumo.circuit.action import RepairKind
from pneumo.drill.arc import State
from pneumo.drill.danger import Danger
from pneumo.drill.job import Suspect
from pneumo.inspection.evidence import Evidence, Reading

Seat = Literal["trainer", "trainee"]


@dataclass(frozen=True, slots=True)
class Found:
    """A test was made."""

    evidence: Evidence


@dataclass(frozen=True, slots=True)
class Fell:
    """A gauge was watched for a while."""

    first: Reading
    last: Reading
    seconds: float


SAME_HINT = "Nothing was done since the last hint, so this is the same one; it costs nothing."
"""First line of a hint that repeats the one before it."""


@dataclass(frozen=True, slots=True)
class Answered:
    """The operator, the log book or a hint said something."""

    by: Literal["operator", "log book", "hint"]
    lines: tuple[str, ...]
    """() = there was nothing to say."""


@dataclass(frozen=True, slots=True)
class Done:
    """A sentence of the ride was carried out, or nothing but time went by."""


@dataclass(frozen=True, slots=True)
class Given:
    """A command was given at the desk; whether the controller obeys, its events tell."""


@dataclass(frozen=True, slots=True)
class Repaired:
    """A part was worked on. Whether that ended anything the entry does not tell."""

    how: RepairKind
    component: str
    side: str
    """Of the coil that was worked on; "" = the part itself."""


@dataclass(frozen=True, slots=True)
class Locked:
    """A lock and a tag were put on, or taken off."""

    component: str
    on: bool


@dataclass(frozen=True, slots=True)
class Permitted:
    """There is a permit for live tests now."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """There is a test point now."""

    component: str
    port: str


@dataclass(frozen=True, slots=True)
class Shown:
    """What a gauge shows at a test point."""

    port: str
    pressure: float
    """[Pa above the surroundings]"""


@dataclass(frozen=True, slots=True)
class Proved:
    """What showed that a part is without pressure, or is not."""

    component: str
    shown: tuple[Shown, ...]
    """() of a part that is open to the air: whether any comes out was listened for."""
    zero: bool


@dataclass(frozen=True, slots=True)
class Stated:
    """The finding."""

    faults: tuple[tuple[Suspect, ...], ...]


@dataclass(frozen=True, slots=True)
class Considered:
    """Something was noted as a suspect, or ruled out."""

    suspect: Suspect
    """Ruled out without a mode: whatever was suspected of the part."""
    on: bool


@dataclass(frozen=True, slots=True)
class Noted:
    """A note for oneself."""

    text: str


@dataclass(frozen=True, slots=True)
class Alarmed:
    """An alarm that was raised."""

    zone: str
    """ "" = the ride."""
    name: str


@dataclass(frozen=True, slots=True)
class Raised:
    """An alarm that was raised while something was under way."""

    time: float
    """[s of the ride]"""
    zone: str
    """ "" = the ride."""
    name: str


@dataclass(frozen=True, slots=True)
class Missed:
    """A zone, or a group of gates, that was not confirmed where it should be."""

    zone: str
    state: Literal["open", "closed"]


@dataclass(frozen=True, slots=True)
class FunctionTested:
    """Every zone and gate was once closed and once open, and the ride stopped once, as the seat
    sees it."""

    alarms: tuple[Alarmed, ...]
    """In the order in which they were raised."""
    missed: tuple[Missed, ...]
    void: bool = False
    """Somebody else acted on the ride meanwhile: it tells nothing of the repair."""

    @property
    def passed(self) -> bool:
        """Nothing alarmed, everything went where it should, and nobody interfered."""
        return not (self.alarms or self.missed or self.void)


@dataclass(frozen=True, slots=True)
class Left:
    """Something that was not put back."""

    how: Literal["locked", "off", "blocked", "drained", "overridden", "forced", "swapped"]
    name: str


@dataclass(frozen=True, slots=True)
class HandedBack:
    """The ride was handed back."""

    left: tuple[Left, ...]
    """What was forgotten there."""


@dataclass(frozen=True, slots=True)
class Stepped:
    """The drill has begun, or was given up."""

    off: tuple[str, ...] = ()
    """What was turned or switched off when it began."""


@dataclass(frozen=True, slots=True)
class SetBack:
    """The simulation stopped, and the ride was set back: what was done since does not count."""

    seconds: float
    """By how much [s]."""


Result = (
    Found | Fell | Answered | Done | Given | Repaired | Locked | Permitted | Fitted | Proved
    | Considered | Noted | Stated | FunctionTested | HandedBack | Stepped | SetBack
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that was done."""

    began: float
    """When it was begun [s of the ride]."""
    ended: float
    """When it was done [s]."""
    seat: Seat
    line: str
    """As it was said."""
    work: str
    """Field of `Downtime` that it costs; "" = none."""
    result: Result
    dangers: tuple[Danger, ...]
    state: State
    """Where the drill stands after it."""
    alarms: tuple[Raised, ...] = ()
    """In the order in which they were raised meanwhile."""

    @property
    def at(self) -> float:
        """When it had its effect [s]: a command when it was begun, for the rest of its time is
        spent watching; all else when it was done."""
        return self.began if isinstance(self.result, Given) else self.ended

    @property
    def unsafe(self) -> bool:
        """Whether something about it was unsafe."""
        return bool(self.dangers)


def undone(entries: Sequence[Entry]) -> frozenset[int]:
    """Places of the entries that do not count, since the ride was set back to before them."""
    return frozenset(
        earlier
        for place, entry in enumerate(entries)
        if isinstance(entry.result, SetBack)
        for earlier in range(place)
        if entries[earlier].ended > entry.ended
    )


def suspects(entries: Iterable[Entry]) -> tuple[Suspect, ...]:
    """What stands among the suspects after some entries, the latest last."""
    found: dict[Suspect, None] = {}
    for entry in entries:
        match entry.result:
            case Considered(suspect, True):
                found[suspect] = None
            case Considered(suspect, False):
                for out in matching(suspect, found):
                    del found[out]
    return tuple(found)


def matching(suspect: Suspect, among: Iterable[Suspect]) -> list[Suspect]:
    """Those that are meant; without a mode every one at that part."""
    return [
        each
        for each in among
        if each.component == suspect.component and suspect.mode in ("", each.mode)
    ]
