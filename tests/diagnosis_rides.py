"""A small ride with a hidden fault, and who reasons about it; a library is calculated once."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

from pneumo.circuit.shipped import find_document
from pneumo.circuit.validate import load_text
from pneumo.diagnosis.library import Library, Work
from pneumo.diagnosis.opinion import Opinion
from pneumo.diagnosis.reasoner import Diagnostician
from pneumo.drill.brief import UNTOLD
from pneumo.drill.practice import Practice
from pneumo.live.known import Known
from pneumo.live.session import Session

RIDE = "02_spring_close_single"

DAY = ("open block", "close block", "open block", "close block", "reset all", "open block")


@lru_cache(maxsize=2)
def work(ride: str = RIDE) -> tuple[str, Work]:
    """The document of a ride, and the calculation of its library."""
    text = find_document(ride).read_text(encoding="utf-8")
    return text, Work(load_text(text, ride))


@lru_cache
def library(*parts: str, ride: str = RIDE) -> Library:
    """The library of a ride; `parts`: nothing but these is examined, all if left out."""
    _, of = work(ride)
    jobs = [
        job for job in of.jobs() if not parts or of.candidates[job.candidate].component in parts
    ]
    return Library(of.circuit, [of.run(job) for job in jobs], of.sound)


class Bench:
    """A ride with a hidden fault, and who reasons about it."""

    def __init__(self, *parts: str, ride: str = RIDE) -> None:
        text, of = work(ride)
        self.session = Session(of.circuit, text)
        self.who = Diagnostician(of.circuit, library(*parts, ride=ride), self.session.compiled)
        self.known = Known(self.session, self.who.panel)
        self.practice = Practice(self.session, UNTOLD)

    def operate(
        self, sentences: Iterable[str], hidden: str = "", at: float = 0.0, pause: float = 8.0
    ) -> None:
        """Commands so far apart; a fault hidden at a time [s]."""
        time = 2.0
        for sentence in sentences:
            if hidden and self.session.now <= at < time:
                self.session.advance(at)
                self.session.do("trainer", f"fault {hidden}", hidden=True)
            self.session.advance(time)
            self.session.do("trainee", sentence)
            time += pause
        self.session.advance(time)

    def think(self) -> Opinion:
        """What is thought now."""
        self.record = self.known.record(self.practice.entries)
        return self.who.consider(self.record)

    def solve(self, most: int = 12) -> Opinion:
        """Asks what is recommended until nothing more is; so often at most."""
        self.practice.do("begin")
        for _ in range(most):
            opinion = self.think()
            advice = self.who.advise(self.record, opinion, self.practice.site.live)
            if advice.question is None:
                return opinion
            for line in advice.question.lines:
                self.practice.do(line)
        raise AssertionError("it never comes to an end")
