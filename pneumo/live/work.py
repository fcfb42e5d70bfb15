"""A drill that is worked on beside a running ride: lines wait for each other, and the ride is run
on to where each of them ends. No threads and no clock here."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, NamedTuple

from pneumo.drill.arc import OVER, State
from pneumo.drill.brief import Brief
from pneumo.drill.debrief import Debrief, debrief
from pneumo.drill.entry import Entry
from pneumo.drill.practice import Practice
from pneumo.errors import InputError
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
from pneumo.live.session import Session
from pneumo.scenario.plant import SimulationError

MOST_WAITING = 200
"""Lines that may wait: more than anybody types while a part is replaced."""


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
    """How many are left."""
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


class _Line(NamedTuple):
    key: Any
    """Whoever said it."""
    text: str
    seat: Seat


class Working:
    """A drill under way at a ride that runs by itself.

    Parameters
    ----------
    session, practice
        The ride and the drill at it.
    title
        Of the drill.
    """

    def __init__(self, session: Session, practice: Practice, title: str) -> None:
        self.session = session
        self.practice = practice
        self.title = title
        self.notes: tuple[Note, ...] = ()
        self._waiting: deque[_Line] = deque()
        self._doing: _Line | None = None
        self._work: Iterator[float] = iter(())
        self._since = 0.0
        """When the ride was last acted on [s]."""
        self._until = 0.0
        self._told = replace(practice.brief, answers=(), log_book=(), hints=())
        self._debrief: Debrief | None = None
        self._shown: Work | None = None

    @property
    def busy(self) -> bool:
        """Whether a line is under way or waits."""
        return self._doing is not None or bool(self._waiting)

    def say(self, key: Any, line: str, seat: Seat) -> None:
        """Puts a line behind those that wait; `key` comes back with what comes of it.

        Raises
        ------
        InputError
            When too many wait already.
        """
        if len(self._waiting) >= MOST_WAITING:
            raise InputError("Too much waits to be done; wait until something is.")
        self._waiting.append(_Line(key, line, seat))

    def note(self, text: str) -> None:
        """The trainer sends a note."""
        self.notes = (*self.notes, Note(self.session.play.now, text))

    def turn(self, most: float) -> tuple[Any, Entry | InputError] | None:
        """Goes on with the line under way, or begins the next, for so much time of the ride at
        most [s]. Who said a line, and what came of it, once it is done; None: not yet.

        Raises
        ------
        SimulationError
            When the ride cannot go on; what is under way and waits is to be dropped then.
        """
        if self._doing is None:
            if not self._waiting:
                return None
            self._doing = line = self._waiting.popleft()
            try:
                self._work = self.practice.begin(line.text, line.seat)
            except SimulationError:
                raise
            except InputError as error:
                self._doing = None
                return line.key, error
            self._since = self._until = self.session.play.now
        now = self.session.play.now
        if now < self._until:
            self.session.pass_time(min(self._until, now + most), self._since)
        if self.session.play.now < self._until:
            return None
        return self._step()

    def _step(self) -> tuple[Any, Entry | InputError] | None:
        """The work has come to an instant that it waited for."""
        doing = self._doing
        assert doing is not None
        self._since = self.session.play.now
        try:
            self._until = next(self._work)
        except StopIteration:
            self._doing = None
            return doing.key, self.practice.entries[-1]
        except SimulationError:
            raise
        except InputError as error:
            # the ride did not take what the work needs
            self._doing = None
            return doing.key, error
        return None

    def drop(self) -> list[Any]:
        """The ride could not go on: nothing is under way any more, nothing waits. Keys of whoever
        said what is dropped, in order."""
        dropped = [*([] if self._doing is None else [self._doing]), *self._waiting]
        self._doing = None
        self._waiting.clear()
        return [line.key for line in dropped]

    def shown(self) -> Work:
        """What a screen knows of it now; the same object while nothing has changed."""
        practice = self.practice
        if practice.arc.over and self._debrief is None:
            self._debrief = debrief(practice, self.title)
        found = Work(
            title=self.title,
            brief=self._told,
            hints=len(practice.brief.hints) - practice.hints,
            state=practice.arc.state,
            began=practice.began,
            doing="" if self._doing is None else self._doing.text,
            until=0.0 if self._doing is None else self._until,
            waiting=len(self._waiting),
            locked=tuple(practice.site.locked),
            proved=tuple(practice.site.proved),
            live=practice.site.live,
            entries=tuple(practice.entries),
            notes=self.notes,
            debrief=self._debrief,
        )
        if self._shown is None or found != self._shown:
            self._shown = found
        return self._shown
