"""A drill that is worked on beside a running ride: lines wait for each other, and the ride is run
on to where each of them ends. No threads and no clock here."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, NamedTuple

from pneumo.drill.arc import WORKING
from pneumo.drill.debrief import debrief
from pneumo.drill.entry import Entry
from pneumo.drill.outcome import Debrief
from pneumo.drill.practice import Practice
from pneumo.drill.review import Review
from pneumo.errors import InputError
from pneumo.live.request import (
    Seat,
)
from pneumo.live.session import Session
from pneumo.live.work import Note, Work
from pneumo.scenario.plant import SimulationError

MOST_WAITING = 200
"""Lines that may wait: more than anybody types while a part is replaced."""


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
    review
        What a diagnostician made of it, if it was over before.
    """

    def __init__(
        self, session: Session, practice: Practice, title: str, review: Review | None = None
    ) -> None:
        self.session = session
        self.practice = practice
        self.title = title
        self._known = review
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

    @property
    def review(self) -> Review | None:
        """What a diagnostician makes of the drill when it is over; None: that is not known, or not
        yet."""
        adviser = self.practice.adviser
        if adviser is None or not self.practice.arc.over:
            return self._known
        return adviser.review

    @property
    def no_review(self) -> str:
        """Why there is none when the drill is over; "" = there is one, or nobody knows."""
        adviser = self.practice.adviser
        over = self.practice.arc.over
        return adviser.no_review if adviser is not None and over and self.review is None else ""

    @property
    def is_news(self) -> bool:
        """Whether something has come about that was not shown yet, and that nobody asked for."""
        shown = self._shown
        return shown is not None and (
            shown.review is not self.review or shown.no_review != self.no_review
        )

    def close(self) -> None:
        """The drill is left."""
        if self.practice.adviser is not None:
            self.practice.adviser.close()

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

    def set_back(self, seconds: float) -> Entry | None:
        """The ride stands earlier by a time [s] than it did. The entry that says so; None: the
        drill is not under way."""
        practice = self.practice
        return practice.set_back(seconds) if practice.arc.state in WORKING else None

    def drop(self) -> list[Any]:
        """The ride could not go on: nothing is under way any more, nothing waits. Keys of whoever
        said what is dropped, in order."""
        dropped = [*([] if self._doing is None else [self._doing]), *self._waiting]
        self._doing = None
        self._waiting.clear()
        self._work = iter(())
        return [line.key for line in dropped]

    def shown(self) -> Work:
        """What a screen knows of it now; the same object while nothing has changed."""
        practice = self.practice
        if practice.arc.over and self._debrief is None:
            self._debrief = debrief(practice, self.title)
        found = Work(
            title=self.title,
            brief=self._told,
            hints=max(len(practice.brief.hints) - practice.hints, 0),
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
            review=self.review,
            no_review=self.no_review,
        )
        if self._shown is None or found != self._shown:
            self._shown = found
        return self._shown
