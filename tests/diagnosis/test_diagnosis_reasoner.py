"""A diagnostician at a whole ride: what is hidden is found from what the seat knows alone."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache

import pytest

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


@lru_cache(maxsize=1)
def _library() -> tuple[str, Work, Library]:
    text = find_document(RIDE).read_text(encoding="utf-8")
    work = Work(load_text(text, RIDE))
    library = Library(work.circuit, [work.run(job) for job in work.jobs()], work.sound)
    return text, work, library


class _Bench:
    """A ride with a hidden fault, and who reasons about it."""

    def __init__(self) -> None:
        text, work, library = _library()
        self.session = Session(work.circuit, text)
        self.who = Diagnostician(work.circuit, library, self.session.compiled)
        self.known = Known(self.session, self.who.panel)
        self.practice = Practice(self.session, UNTOLD)

    def operate(self, sentences: Iterable[str], hidden: str = "", at: float = 0.0) -> None:
        """Commands 8 s apart; a fault hidden at a time [s]."""
        time = 2.0
        for sentence in sentences:
            if hidden and self.session.now <= at < time:
                self.session.advance(at)
                self.session.do("trainer", f"fault {hidden}", hidden=True)
            self.session.advance(time)
            self.session.do("trainee", sentence)
            time += 8.0
        self.session.advance(time)

    def think(self) -> Opinion:
        """What is thought now."""
        self.record = self.known.record(self.practice.entries)
        return self.who.consider(self.record)

    def solve(self) -> Opinion:
        """Asks what is recommended until nothing more is."""
        self.practice.do("begin")
        for _ in range(12):
            opinion = self.think()
            advice = self.who.advise(self.record, opinion, self.practice.site.live)
            if advice.question is None:
                return opinion
            for line in advice.question.lines:
                self.practice.do(line)
        raise AssertionError("it never comes to an end")


DAY = ("open block", "close block", "open block", "close block", "reset all", "open block")


def test_of_a_ride_that_nothing_is_wrong_with_nothing_is_thought() -> None:
    bench = _Bench()
    bench.operate(DAY)
    opinion = bench.think()
    assert opinion.sound == 1.0 and not opinion.answers and opinion.leader is None


@pytest.mark.parametrize(
    ("fault", "at"),
    [
        ("valve stuck-rest", 13.0),
        ("hose_1 burst", 21.5),
        ("closed_1 stuck-off", 30.0),
        ("valve leak 11.3 mm", 19.7),
    ],
)
def test_a_fault_of_any_severity_struck_at_any_time_is_found(fault: str, at: float) -> None:
    bench = _Bench()
    components = bench.session.circuit.components
    component, mode = fault.split()[:2]
    assert component in components
    bench.operate(DAY, fault, at)
    opinion = bench.solve()
    leader = opinion.answers[0]
    assert leader.spot.component == component, [
        (each.spot, round(each.share, 3)) for each in opinion.answers[:4]
    ]
    if len(leader.modes) > 1 and leader.share > 0.9:
        assert mode in {each.candidate.mode for each in leader.modes if each.share > 0.01}


def test_a_record_holds_nothing_that_is_hidden() -> None:
    bench = _Bench()
    bench.operate(DAY, "hose_1 burst", 21.5)
    record = bench.known.record(bench.practice.entries)
    assert not any("burst" in repr(each) for each in (*record.done, *record.events))
    assert {event.kind for event in record.events} <= {
        "command", "state", "alarm", "refused", "ride", "contact", "fin",
    }  # fmt: skip


def test_what_nobody_has_seen_changes_nothing() -> None:
    """Two rides that differ in what no seat sees alone give the same thoughts."""
    first, second = _Bench(), _Bench()
    for bench in (first, second):
        bench.operate(DAY, "hose_1 burst", 21.5)
    record = second.known.record()
    assert second.who.consider(replace(record, now=record.now)) == first.think()
