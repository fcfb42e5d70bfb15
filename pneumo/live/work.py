"""What a screen knows of a drill that is worked on, and what a seat may ask meanwhile: no run is
needed for it."""

from __future__ import annotations

from typing import NamedTuple

from pneumo.drill.arc import OVER, State
from pneumo.drill.brief import Brief
from pneumo.drill.entry import Entry
from pneumo.drill.outcome import Debrief
from pneumo.drill.review import Review
from pneumo.live.request import (
    Check,
    Do,
    GoTo,
    Hand,
    Line,
    Newest,
    NextEvent,
    OpenCase,
    Pause,
    Redo,
    Request,
    Run,
    Scan,
    Seat,
    Speed,
    Undo,
)


class Note(NamedTuple):
    """What the trainer has sent to the trainee."""

    time: float
    """[s of the ride]"""
    text: str


class Work(NamedTuple):
    """What a screen knows of a drill besides the frame."""

    title: str
    brief: Brief
    """Without what has to be asked for: answers, log book, hints."""
    hints: int
    """How many are left of those that were written."""
    state: State
    began: float
    """Where the drill begins [s of the ride]."""
    doing: str
    """The line under way; "" = none."""
    until: float
    """When it is done [s], as far as is known; 0 = nothing is under way."""
    waiting: int
    """Lines that wait."""
    locked: tuple[str, ...]
    proved: tuple[str, ...]
    live: bool
    """There is a permit for tests on live wires."""
    entries: tuple[Entry, ...]
    notes: tuple[Note, ...]
    debrief: Debrief | None
    """None: it is not over."""
    review: Review | None = None
    """What a diagnostician makes of it; None: nobody has worked that out."""
    no_review: str = ""
    """Why there is none when it is over, as a sentence; "" = there is one, or nobody knows."""

    @property
    def has_hint(self) -> bool:
        """Whether a hint can be asked for."""
        return self.hints > 0 or self.brief.test_hints


def line_of(request: Request) -> str | None:
    """What a trainee says by a request, as a line of the drill; None: it is no act at the ride."""
    match request:
        case Line(text):
            return text
        case Do(sentence):
            return sentence
        case Hand(test, target):
            return f"{test} {target}"
    return None


def refusal(state: State, seat: Seat, request: Request) -> str:
    """Why a request cannot be had while a drill is worked on; "" = it can."""
    if state in OVER:
        return "The drill is over." if isinstance(request, Line) else ""
    if isinstance(request, GoTo | Newest | Undo | Redo | OpenCase):
        return "A drill does not go back."
    if isinstance(request, Check) and seat == "trainer":
        return "A check would be shown to the trainee, too: wait until the drill is over."
    if isinstance(request, Run | Scan | NextEvent) and state == "briefing":
        return "The clock starts when the trainee begins."
    if seat == "trainee" and isinstance(request, Pause | Scan | NextEvent):
        return "The clock of a drill runs on; only a trainer can stop it."
    if seat == "trainee" and isinstance(request, Speed) and request.factor < 1.0:
        return "The clock of a drill runs no slower than real time."
    if seat == "trainer" and isinstance(request, Line) and request.text != "hint":
        return "Only the trainee works on the drill; a hint or a note can be sent."
    return ""
