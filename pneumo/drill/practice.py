"""A drill under way: every line that is said, what it costs, what came of it. No threads, no clock.

Time is the ride's own. Work takes its minutes, and the ride goes on meanwhile: a tank empties while
somebody fetches a ladder. Whoever carries a line out runs the ride to each instant that `begin`
yields; `do` does it at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import starmap
from math import inf
from typing import Any, Protocol

from pneumo.circuit.action import Action, Repair
from pneumo.circuit.circuit import Circuit
from pneumo.drill.arc import Arc, Step
from pneumo.drill.brief import Brief
from pneumo.drill.carry import carry_out, examined
from pneumo.drill.danger import Danger
from pneumo.drill.energy import closed_by_hand
from pneumo.drill.entry import (
    SAME_HINT,
    Answered,
    Considered,
    Done,
    Entry,
    Fitted,
    Locked,
    Noted,
    Permitted,
    Proved,
    Raised,
    Result,
    Seat,
    SetBack,
    Stepped,
    matching,
    suspects,
    undone,
)
from pneumo.drill.exposure import exposures
from pneumo.drill.job import (
    Begin,
    Consider,
    Decay,
    Do,
    Examine,
    Find,
    FunctionTest,
    GiveUp,
    HandBack,
    Hint,
    Job,
    Lock,
    Prove,
    Wait,
    read_job,
)
from pneumo.drill.permit import Site, dangers
from pneumo.drill.review import Review
from pneumo.drill.telling import suspect_told
from pneumo.errors import InputError
from pneumo.harmless import harmless
from pneumo.inspection.proof import proving_gauges
from pneumo.scenario.event import alarms_raised
from pneumo.scenario.play import Play

_STEPS: dict[type[Any], Step] = {
    Begin: "begin", Find: "finding", FunctionTest: "function test", HandBack: "hand back",
    GiveUp: "give up",
}  # fmt: skip


class Ride(Protocol):
    """The ride that is worked on."""

    @property
    def circuit(self) -> Circuit:
        """Its circuit."""

    @property
    def play(self) -> Play:
        """The run at its newest instant."""

    def do(self, seat: Seat, sentence: str) -> object:
        """Acts on it now. Raises InputError when that cannot be done."""

    def pass_time(self, until: float) -> None:
        """Runs on to a time [s] while somebody is at work."""

    def actions(self, until: float = inf) -> Iterable[Action]:
        """All that anybody has done to it up to a time [s], in order."""


class Adviser(Protocol):
    """Says which test is best next, from what the trainee's seat has seen; does so beside the
    ride. Called by whoever runs the ride."""

    @property
    def refusal(self) -> str:
        """Why it cannot be asked now; "" = it can."""

    def look(self) -> None:
        """Something was done: the ride stands where it has come to."""

    def ask(self) -> None:
        """Wants to know the next test, as the ride stands."""

    def answer(self) -> tuple[str, ...] | None:
        """What is best next, once it is worked out; waits for a moment. None: not yet."""

    def close(self) -> None:
        """The drill is left; nobody asks any more."""

    def is_quiet(self, since: float) -> bool:
        """Whether the panel has told nothing since an instant [s of the ride]: no alarm, no zone
        that went to another state."""

    @property
    def review(self) -> Review | None:
        """What it makes of the drill when it is over; None: that is not worked out yet, or cannot
        be. From any thread."""

    @property
    def no_review(self) -> str:
        """Why there is none, as a sentence; "" = there is one. From any thread."""

    @property
    def thought(self) -> tuple[str, ...]:
        """What it thinks now, for a trainer: in short, then line by line; () = nothing yet. From
        any thread."""


class Practice:
    """A drill that somebody works on.

    Parameters
    ----------
    ride
        Stands where the drill begins.
    brief
        What is told of it.
    """

    def __init__(self, ride: Ride, brief: Brief) -> None:
        self.ride = ride
        self.brief = brief
        self.arc = Arc()
        self.site = Site()
        self.entries: list[Entry] = []
        self.began = self.play.now
        """Where the drill begins [s of the ride]."""
        self.off: tuple[str, ...] = ()
        """What was turned or switched off when the drill began."""
        self.hints = 0
        """Hints that were given."""
        self.adviser: Adviser | None = None
        """Who gives hints that nobody has written; None: nobody does."""

    @property
    def play(self) -> Play:
        """The ride."""
        return self.ride.play

    @property
    def spent(self) -> float:
        """Downtime so far [s]."""
        return self.play.now - self.began

    def do(self, line: str, seat: Seat = "trainee") -> Entry:
        """Carries a line out, however long it takes.

        Raises
        ------
        InputError
            When it cannot be understood or done; nothing has changed then.
        """
        for until in self.begin(line, seat):
            self.ride.pass_time(until)
        return self.entries[-1]

    def begin(self, line: str, seat: Seat = "trainee") -> Iterator[float]:
        """Begins to carry a line out; the ride has to be run to each instant that comes [s].

        Raises
        ------
        InputError
            As `do`.
        """
        line = harmless(" ".join(line.split()))  # in the log it is one line, as it was said
        job = read_job(self.ride.circuit, line)
        step = self._step(job)
        self.arc.check(step)
        self._check(job)
        return self._work(job, step, line, seat)

    # what may be done

    def _step(self, job: Job) -> Step | None:
        if isinstance(job, Do) and isinstance(job.action, Repair):
            return "repair"
        return _STEPS.get(type(job))

    def _check(self, job: Job) -> None:
        """Refuses what cannot be done as the ride stands."""
        site, play = self.site, self.play
        if isinstance(job, Lock):
            if job.on and job.component in site.locked:
                raise InputError(f"{job.component} is locked already.")
            if job.on and job.component not in closed_by_hand(play):
                raise InputError(f"{job.component} is not turned off: a lock would hold nothing.")
            if not job.on and job.component not in site.locked:
                raise InputError(f"There is no lock on {job.component}.")
        elif isinstance(job, Do):
            named = getattr(job.action, "component", None)
            if named in site.locked and not isinstance(job.action, Repair):
                raise InputError(f"{named} is locked and tagged. Take the lock off first.")
        elif isinstance(job, Consider):
            self._check_suspect(job)
        elif isinstance(job, Hint):
            self._check_hint()
        elif isinstance(job, Examine):
            examined(self, job.test, job.target)  # a test that cannot be made costs nothing
        elif isinstance(job, Decay):
            examined(self, "read", job.port)
        elif isinstance(job, Prove):
            proving_gauges(play, job.component, site.fitted)

    @property
    def same_hint(self) -> tuple[str, ...]:
        """The hint that a further one would repeat, which costs nothing; () = it is another one."""
        if self.hints <= len(self.brief.hints) or self.adviser is None:
            return ()
        done = (e for e in reversed(self.entries) if not isinstance(e.result, Considered | Noted))
        last = next(done)
        match last.result:
            case Answered("hint", lines) if self.adviser.is_quiet(last.ended):
                return lines[1:] if lines[0] == SAME_HINT else lines
        return ()

    def _check_hint(self) -> None:
        if self.hints < len(self.brief.hints):
            return
        if not self.brief.test_hints or self.adviser is None:
            raise InputError("There is no further hint.")
        if why := self.adviser.refusal:
            raise InputError(why)

    def _check_suspect(self, job: Consider) -> None:
        among = suspects(self.entries)
        told = suspect_told(job.suspect)
        if job.on and job.suspect in among:
            raise InputError(f"{told} is among your suspects already.")
        if not job.on and not matching(job.suspect, among):
            raise InputError(f"{told} is not among your suspects.")

    # carrying it out

    def _work(self, job: Job, step: Step | None, line: str, seat: Seat) -> Iterator[float]:
        began, before = self.play.now, len(self.play.plant.log.events)
        found = self._dangers(job)
        result: Result = Done()
        if not _injure(found):
            if (seconds := self._seconds(job)) > 0.0:
                yield began + seconds
            # a pressure that falls meanwhile is no second danger
            told = {(danger.hazard, danger.names) for danger in found}
            found += tuple(d for d in self._dangers(job) if (d.hazard, d.names) not in told)
        if not _injure(found):
            result = yield from carry_out(job, self)
            if step is not None:
                self.arc.take(step)
        else:
            self.arc.take("accident")
        raised = starmap(Raised, alarms_raised(self.play.plant.log.events[before:]))
        self._remember(
            Entry(
                began, self.play.now, seat, line, job.work, result, found, self.arc.state,
                tuple(raised),
            )
        )  # fmt: skip
        if self.adviser is not None:
            self.adviser.look()

    def resume(self, entries: Iterable[Entry], began: float) -> None:
        """Goes on with a drill of which so much was done; `began`: where it begins [s]."""
        self.began = began
        for entry in entries:
            self._remember(entry)
            self.arc = Arc(entry.state)

    def set_back(self, seconds: float) -> Entry:
        """The simulation stopped, and the ride stands earlier by a time [s] than it did: what was
        done since then does not count. The entry that says so."""
        now = self.play.now
        counts = [e for e in self.entries if e.ended <= now]
        state = counts[-1].state if counts else self.arc.state
        entry = Entry(now, now, "trainee", "set back", "", SetBack(seconds), (), state)
        self._remember(entry)
        self.arc = Arc(state)
        return entry

    def _remember(self, entry: Entry) -> None:
        """What an entry says of the site holds from now on."""
        self.entries.append(entry)
        if isinstance(entry.result, SetBack):
            self.site = Site()
            void = undone(self.entries)
            for place, earlier in enumerate(self.entries):
                if place not in void and not isinstance(earlier.result, Answered):
                    self._believe(earlier)
        else:
            self._believe(entry)

    def _believe(self, entry: Entry) -> None:
        site = self.site
        match entry.result:
            case Locked(component, on):
                (site.lock if on else site.unlock)(component)
            case Proved(component, _, zero) if zero:
                site.proved[component] = None
            case Permitted():
                site.live = True
            case Fitted(component, port):
                site.fitted[f"{component}.{port}"] = None
            case Answered(by="hint"):
                self.hints += 1
            case Stepped(off) if entry.state == "at work":
                self.off = off

    def _seconds(self, job: Job) -> float:
        """Time before it has an effect [s]: the way there, and the work."""
        if isinstance(job, Wait):
            return job.seconds
        if isinstance(job, Hint) and self.same_hint:
            return 0.0
        if isinstance(job, Do) and job.at_desk:
            return 0.0
        seconds = self.cost(job.work) if job.work else 0.0
        if isinstance(job, Prove):
            gauges = len(proving_gauges(self.play, job.component, self.site.fitted))
            seconds += max(gauges - 1, 0) * self.cost("read")
        return seconds

    def cost(self, work: str) -> float:
        """Downtime of a kind of work on this ride [s]."""
        return float(getattr(self.ride.circuit.downtime, work))

    def _dangers(self, job: Job) -> tuple[Danger, ...]:
        found = [
            danger
            for where in exposures(self.ride.circuit, job, self.site.fitted)
            for danger in dangers(self.play, self.site, where.component, where.to)
        ]
        return tuple(sorted(dict.fromkeys(found), key=lambda danger: not danger.injures))


def _injure(found: tuple[Danger, ...]) -> bool:
    return any(danger.injures for danger in found)
