"""A diagnostician beside a ride, in a thread of its own: neither ride nor screen waits for it.

What it reasons from is made where the ride runs, by `known`: what the trainee's seat knows, and
nothing else. Every record is considered, in the order in which they came, so that what is thought
does not depend on how fast the machine is.
"""

from __future__ import annotations

import threading
from bisect import bisect_right
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import replace
from subprocess import Popen
from typing import Any, NamedTuple

from pneumo.circuit.circuit import Circuit
from pneumo.diagnosis.library import Library
from pneumo.diagnosis.opinion import Opinion
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.reasoner import Diagnostician
from pneumo.diagnosis.reasons import LEAST_SHARE, Case, Reasons, Sign
from pneumo.diagnosis.recommendation import Recommendation
from pneumo.diagnosis.record import Record, stretches, time_of
from pneumo.diagnosis.store import HelpedBy, LostError, Say, name_of
from pneumo.diagnosis.telling import (
    hint_lines,
    opinion_lines,
    recommendation_lines,
    short_told,
    spot_told,
)
from pneumo.drill.debrief import debrief
from pneumo.drill.practice import Practice
from pneumo.drill.review import NO_REVIEW, Review, Stage, Suspected, reviewed
from pneumo.errors import InputError, UnfinishedError
from pneumo.live.cautions import CAUTIONS, line_caution_keys
from pneumo.live.known import Known
from pneumo.live.own_way import Beginning, beginning, own_way
from pneumo.live.seat import TOLD_EVENTS
from pneumo.live.session import Session
from pneumo.network.compile import Compiled

AWAITED = (
    "A review by a diagnostician is being worked out; whoever leaves before it is shown has none."
)
"""In place of a review, until there is one."""

TRIES = 3
"""What faults would show is begun so often, while the process that calculates it is lost."""

MOMENT = 0.05
"""Whoever asks for an answer waits so long for it at a time [s of wall time]."""


Fetch = Callable[[Circuit, Say, HelpedBy, Compiled], Library]
"""Gets the library of a ride, from any thread, however long that takes: see `store.library_of`."""


class Thought(NamedTuple):
    """What is thought after a record."""

    number: int
    """Of the record, from 1."""
    record: Record
    opinion: Opinion
    advice: Recommendation
    cases: tuple[Case, ...]
    """Why, of the leading answers."""
    lines: tuple[str, ...]
    """All of it in words: in short, then line by line."""


class Thinking:
    """A diagnostician at work.

    Parameters
    ----------
    session
        The ride; only what never changes of it is used.
    fetch
        Gets its library.
    began
        Where the clock begins that times are told by [s of the ride].
    """

    def __init__(self, session: Session, fetch: Fetch, began: float = 0.0) -> None:
        self._began = began
        self._circuit, self._compiled = session.circuit, session.compiled
        self._actors, self._fetch = session.actors, fetch
        self.thought: Thought | None = None
        """The latest; None: there is none yet."""
        self.progress = (0, 0)
        """Entries of the library that are done, and how many there are; (0, 0) = not known."""
        self.failure = ""
        """Why nothing can be thought here; "" = it can, or nobody knows yet."""
        self.lost = ""
        """Why the library was begun anew; "" = it was not."""
        self.stages: tuple[Stage, ...] = ()
        """What was thought after each record."""
        self.review: Review | None = None
        """Of the drill, when it is over; None: it is not worked out."""
        self._over: Beginning | None = None
        self._waiting: deque[tuple[int, Record, bool, str]] = deque()
        self._number = 0
        self._changed = threading.Condition()
        self._ending = False
        self._ready = False
        self._helper: Popen[Any] | None = None
        # a daemon: leaving need not wait for a thought
        self._thread = threading.Thread(target=self._run, name="diagnostician", daemon=True)

    def start(self) -> None:
        """Starts the thread."""
        self._thread.start()

    def close(self) -> None:
        """Nobody wants to know any more; from any thread."""
        with self._changed:
            self._ending = True
            self._changed.notify_all()
            if self._helper is not None:
                self._helper.kill()

    @property
    def ready(self) -> bool:
        """Whether its library is there, and nothing has failed."""
        return self._ready and not self.failure

    @property
    def trouble(self) -> str:
        """Why nothing can be thought here, as a sentence; "" = it can, or nobody knows yet."""
        return f"No test can be worked out for this ride: {self.failure}" if self.failure else ""

    @property
    def awaited(self) -> str:
        """What whoever waits is waiting for, as part of a sentence."""
        if not self._ready:
            return f"what each fault would show{self.far}"
        left = len(self._waiting)
        return f"what was to be thought ({left} left)" if left else "the diagnostician's own way"

    @property
    def far(self) -> str:
        """How far its library is, and why it was begun anew, in brackets; "" = nobody knows."""
        done, of = self.progress
        told = [f"{done} of {of}"] if of else []
        told += [f"begun anew: {self.lost}"] if self.lost else []
        return f" ({'; '.join(told)})" if told else ""

    def settle(self, seconds: float | None = None) -> bool:
        """Waits until its library is there, or cannot be had, so long at most [s; None: as long as
        it takes]; whether that is so."""
        with self._changed:
            return self._changed.wait_for(
                lambda: self._ready or bool(self.failure) or self._ending, seconds
            )

    def see(self, record: Record, live: bool, line: str = "") -> int:
        """Hands a record over, whether there is a permit for live tests, and what was done; its
        number."""
        kept = standing_still(record)
        with self._changed:
            self._number += 1
            self._waiting.append((self._number, kept, live, line))
            self._changed.notify_all()
        return self._number

    def conclude(self, of: Beginning) -> None:
        """The drill is over: it is reviewed when all records are considered."""
        with self._changed:
            self._over = of
            self._changed.notify_all()

    def settle_review(self, seconds: float | None = None) -> bool:
        """Waits until the review of a drill that is over is worked out, or cannot be, as `settle`
        does; whether that is so."""
        with self._changed:
            return self._changed.wait_for(
                lambda: self.review is not None or bool(self.failure) or self._ending, seconds
            )

    def wait(self, number: int, seconds: float) -> Thought | None:
        """What is thought after a record, or a later one; waits so long for it at most [s]. None:
        not yet, or never (`trouble`)."""
        with self._changed:
            self._changed.wait_for(lambda: self.failure or self._is_thought(number), seconds)
            return self.thought if self._is_thought(number) else None

    def _is_thought(self, number: int) -> bool:
        return self.thought is not None and self.thought.number >= number

    # the thread

    def _run(self) -> None:
        try:
            library = self._fetched()
            with self._changed:
                self._ready = True
                self._changed.notify_all()
            self._think(library)
            self._look_back(library)
        except Exception as error:
            said = str(error)
            if not isinstance(error, InputError):
                said = f"The program failed ({type(error).__name__}: {error})."
            with self._changed:
                self.failure = said
                self._changed.notify_all()

    def _fetched(self) -> Library:
        """Its library; what was done when the process that calculates it was lost is kept, and it
        goes on there."""
        for left in reversed(range(TRIES)):
            try:
                return self._fetch(self._circuit, self._say, self._helped_by, self._compiled)
            except LostError as error:
                if self._ending:
                    break
                if not left:
                    raise UnfinishedError(
                        f"{error} It was begun {TRIES} times. What was done is kept: whoever opens "
                        "the drill again goes on there."
                    ) from None
                with self._changed:
                    self.lost, self.progress = error.how, (0, 0)
        raise UnfinishedError("Nobody wants to know any more.")

    def _say(self, done: int, of: int) -> None:
        self.progress = (done, of)

    def _helped_by(self, process: Popen[Any] | None) -> None:
        with self._changed:
            self._helper = process
            if self._ending and process is not None:
                process.kill()

    def _think(self, library: Library) -> None:
        who: Diagnostician | None = None
        before: Record | None = None
        for number, record, live, line in self._records():
            if who is None or before is None or not goes_on(before, record):
                who = Diagnostician(self._circuit, library, self._compiled, self._actors)
            before = record
            opinion = who.consider(record)
            advice = who.advise(record, opinion, live)
            cases: tuple[Case, ...] = ()
            odd: tuple[Sign, ...] = ()
            compared = who.compared
            if compared is not None:
                cut = stretches(record)
                reasons = Reasons(compared, library.candidates, who.panel, record, cut)
                cases, odd = reasons.cases(opinion), reasons.odd()
            lines = (
                short_told(opinion, advice),
                *opinion_lines(opinion, cases, self._began, odd),
                *recommendation_lines(advice, opinion),
            )
            self.stages = (*self.stages, stage_of(record, opinion, line))
            with self._changed:
                self.thought = Thought(number, record, opinion, advice, cases, lines)
                self._changed.notify_all()

    def _look_back(self, library: Library) -> None:
        """The review, once all that was thought with its rides is given back."""
        if self._over is not None and not self._ending:
            of = self._over
            own = own_way(of, library, lambda: self._ending)
            review = reviewed(of.found, self.stages, own)
            with self._changed:
                self.review = review
                self._changed.notify_all()

    def _records(self) -> Iterator[tuple[int, Record, bool, str]]:
        """The records as they come, until the drill is over or left."""
        while True:
            with self._changed:
                self._changed.wait_for(
                    lambda: self._ending or self._waiting or self._over is not None
                )
                if self._ending or not self._waiting:
                    return
                found = self._waiting.popleft()
            yield found


def stage_of(record: Record, opinion: Opinion, line: str) -> Stage:
    """What is to be thought, in short."""
    suspects = tuple(
        Suspected(answer.spot.component, spot_told(answer.where), answer.share)
        for answer in opinion.answers
        if answer.share >= LEAST_SHARE
    )
    return Stage(record.now, line, suspects, opinion.sound, opinion.none_of_these)


def shared(fetch: Fetch) -> Fetch:
    """Gets a library once for all rides of one circuit, as in a class."""
    lock = threading.Lock()
    known: dict[str, Library] = {}
    waiting: dict[str, list[Say]] = {}

    def once(circuit: Circuit, say: Say, helped_by: HelpedBy, compiled: Compiled) -> Library:
        name = name_of(circuit)
        told = waiting.setdefault(name, [])
        told.append(say)

        def say_all(done: int, of: int) -> None:
            for each in told:
                each(done, of)

        with lock:
            if name not in known:
                known[name] = fetch(circuit, say_all, helped_by, compiled)
            return known[name]

    return once


def advise(session: Session, practice: Practice, fetch: Fetch, settle: Settle | None) -> None:
    """Lets somebody reason beside a drill: for hints that nobody has written, and for the trainer.
    `settle`: see `Adviser`."""
    if not practice.arc.over:
        thinking = Thinking(session, fetch, practice.began)
        practice.adviser = Adviser(session, practice, thinking, settle)
        thinking.start()


def standing_still(record: Record) -> Record:
    """A record that is not touched by what happens to the ride afterwards. Rows of what was shown
    are never written again once they have been handed out."""
    return replace(record, events=tuple(record.events))


def goes_on(before: Record, record: Record) -> bool:
    """Whether a record holds all that one before it held: the ride was not set back."""
    done, made = len(before.done), len(before.made)
    return (
        record.now >= before.now
        and tuple(record.done[:done]) == tuple(before.done)
        and tuple(record.made[:made]) == tuple(before.made)
        and tuple(record.events[: len(before.events)]) == tuple(before.events)
    )


Settle = Callable[[Thinking], None]
"""Waits until the library of who thinks is there, or cannot be had."""


class Adviser:
    """Gives hints that nobody has written: `drill.practice.Adviser`.

    Parameters
    ----------
    session, practice
        The ride and the drill at it.
    settle
        Waits for the library when somebody asks, for a script cannot ask again; None: who asks
        before it is there is told so.
    """

    def __init__(
        self, session: Session, practice: Practice, thinking: Thinking, settle: Settle | None = None
    ) -> None:
        self._practice, self.thinking, self._settle = practice, thinking, settle
        self._session = session
        self._known = Known(session, Panel(session.compiled), practice.brief.complaint)
        self._seen: tuple[object, ...] = ()
        """How much was known the last time."""
        self._asked = 0
        """Number of the record that was asked about."""
        self.look()

    @property
    def refusal(self) -> str:
        """Why it cannot be asked now; "" = it can."""
        thinking = self.thinking
        if self._settle is not None:
            self._settle(thinking)
        if thinking.trouble:
            return thinking.trouble
        if thinking.ready:
            return ""
        return (
            f"What each fault would show is still being calculated{thinking.far}. Ask again later; "
            "to ask costs nothing until then."
        )

    def look(self, line: str = "") -> None:
        """Hands over what is known, if there is anything new; `line`: what is under way."""
        practice = self._practice
        if self.thinking.failure:
            return
        record = self._known.record(practice.entries, tuple(practice.site.fitted))
        seen = (record.now, len(record.done), len(record.made), practice.site.live)
        if seen != self._seen:
            self._seen = seen
            if practice.entries:
                line = line or practice.entries[-1].line
            self._asked = self.thinking.see(record, practice.site.live, line)
        if practice.arc.over:
            found = debrief(practice)
            self.thinking.conclude(beginning(self._session, practice, found))

    def ask(self) -> None:
        """Wants to know the next test."""
        self.look("hint")

    def is_quiet(self, since: float) -> bool:
        """Whether the panel has told nothing since an instant [s of the ride]."""
        events = self._known.record(self._practice.entries).events
        first = bisect_right(events, since, key=time_of)
        return not any(event.kind in TOLD_EVENTS for event in events[first:])

    def answer(self) -> tuple[str, ...] | None:
        """The next test, and the cautions that go with it."""
        found = self.thinking.wait(self._asked, MOMENT)
        if found is None:
            return (self.thinking.trouble,) if self.thinking.trouble else None
        question = found.advice.question
        lines = () if question is None else question.lines
        cautions = dict.fromkeys(key for line in lines for key in line_caution_keys(line))
        return (
            *hint_lines(
                found.opinion, found.advice, found.cases, self._practice.began, found.record.named
            ),
            *(f"CAUTION: {CAUTIONS[key]}" for key in cautions),
        )

    @property
    def review(self) -> Review | None:
        """What is made of the drill when it is over; from any thread."""
        return self.thinking.review

    @property
    def no_review(self) -> str:
        """Why there is none; "" = there is one. From any thread."""
        thinking = self.thinking
        if thinking.review is not None:
            return ""
        return f"{NO_REVIEW} {thinking.failure}" if thinking.failure else AWAITED

    @property
    def thought(self) -> tuple[str, ...]:
        """What is thought now, or why nothing is, or not yet; from any thread."""
        thinking = self.thinking
        if thinking.failure:
            return (thinking.failure,)
        if thinking.thought is None:
            return (f"not yet: {thinking.awaited}",) if thinking.far else ()
        return thinking.thought.lines

    def close(self) -> None:
        """The drill is left."""
        self.thinking.close()
