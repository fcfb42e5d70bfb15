"""What a seat may ask of the ride, and what it is told back. Plain frozen values."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from pneumo.inspection.tests import Word
from pneumo.verification.case import Loss

Seat = Literal["trainer", "trainee"]


SLOWEST, FASTEST = 0.1, 50.0
"""Speeds that may be asked for, times real time."""


@dataclass(frozen=True)
class Run:
    """Goes on from the instant that is shown. Gone back before: what came after is dropped."""


@dataclass(frozen=True)
class Pause:
    """Stands still."""


@dataclass(frozen=True)
class Speed:
    """Sets the speed, `SLOWEST` to `FASTEST` times real time."""

    factor: float


@dataclass(frozen=True)
class Scan:
    """Runs for one scan of the controller, then stands still."""


@dataclass(frozen=True)
class NextEvent:
    """Runs until something happens that this seat may see, or a minute is over; stands still."""


@dataclass(frozen=True)
class GoTo:
    """Shows an earlier instant and stands still; the future is kept until someone acts."""

    time: float


@dataclass(frozen=True)
class Newest:
    """Back to the newest instant; leaves a check."""


@dataclass(frozen=True)
class Do:
    """Acts on the ride, by a sentence of the document language: "close trim"."""

    sentence: str
    hidden: bool = False
    """A fault that the trainee is not told of."""


@dataclass(frozen=True)
class Undo:
    """Takes the trainer's last act back, as if it had never been done."""


@dataclass(frozen=True)
class Redo:
    """Does again what `Undo` took back last."""


@dataclass(frozen=True)
class Hide:
    """Hides a fault from the trainee's seat, or shows it."""

    component: str
    mode: str
    hidden: bool


@dataclass(frozen=True)
class Shelve:
    """Shelves an alarm for a time, or takes it off the shelf (None)."""

    zone: str
    alarm: str
    seconds: float | None


@dataclass(frozen=True)
class Hand:
    """A technician's test."""

    test: Word
    target: str
    """A port, a part, a coil, as the row of the test says."""


@dataclass(frozen=True)
class Line:
    """A line of a drill: a test, safe work, the finding, a repair, a sentence of the ride."""

    text: str


@dataclass(frozen=True)
class Tell:
    """A note from the trainer to the trainee of a drill."""

    text: str


@dataclass(frozen=True)
class Check:
    """Plays a loss on a copy of the ride, beside it, and judges one zone."""

    zone: str
    loss: Loss | None = None
    """None: the first that concerns the zone."""


@dataclass(frozen=True)
class OpenCase:
    """Starts the ride anew and runs it to the onset of a case, given by its events."""

    name: str
    events: tuple[tuple[float, str], ...]
    """(time [s], sentence)"""
    at: float
    """Onset [s]."""


@dataclass(frozen=True)
class Save:
    """Saves the running situation."""

    what: Literal["scenario", "drill"]
    path: str
    name: str
    passphrase: str = field(default="", repr=False)
    """A drill is sealed by it; "" = it is obscured, not encrypted."""


Request = (
    Run | Pause | Speed | Scan | NextEvent | GoTo | Newest | Do | Undo | Redo | Hide | Shelve
    | Hand | Line | Tell | Check | OpenCase | Save
)  # fmt: skip


@dataclass(frozen=True)
class Answer:
    """What came of a request."""

    to: int
    """Number that `Link.send` gave; 0: unasked."""
    done: bool
    text: str
    """A sentence for the person who asked; "" = nothing to say."""
    cautions: tuple[str, ...] = ()
    """To be shown beside a physical act."""
    data: Any = None
    """For a check: its outcomes; else None."""
    refused: str = ""
    """The command that the controller has refused at its scan; "" = this is not about one."""
