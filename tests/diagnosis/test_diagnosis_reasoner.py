"""A diagnostician at a whole ride: what is hidden is found from what the seat knows alone."""

from __future__ import annotations

from dataclasses import replace

import pytest
from diagnosis_rides import DAY, Bench


def test_of_a_ride_that_nothing_is_wrong_with_nothing_is_thought() -> None:
    bench = Bench()
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
    bench = Bench()
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


def test_a_contact_that_fails_right_before_a_command_is_found() -> None:
    """The zone has no time to trip before it moves, as it has in a rehearsal, so that the first
    look takes the fault for one from before the movement."""
    bench = Bench()
    bench.operate(DAY[:4], "open_1 stuck-on", 9.84, pause=4.0)
    opinion = bench.think()
    assert opinion.none_of_these < 0.05
    assert opinion.leader is not None
    assert opinion.leader.where == ("open_1", "")


def test_a_record_holds_nothing_that_is_hidden() -> None:
    bench = Bench()
    bench.operate(DAY, "hose_1 burst", 21.5)
    record = bench.known.record(bench.practice.entries)
    assert not any("burst" in repr(each) for each in (*record.done, *record.events))
    assert {event.kind for event in record.events} <= {
        "command", "state", "alarm", "refused", "ride", "contact", "fin",
    }  # fmt: skip


def test_what_nobody_has_seen_changes_nothing() -> None:
    """Two rides that differ in what no seat sees alone give the same thoughts."""
    first, second = Bench(), Bench()
    for bench in (first, second):
        bench.operate(DAY, "hose_1 burst", 21.5)
    record = second.known.record()
    assert second.who.consider(replace(record, now=record.now)) == first.think()


@pytest.mark.parametrize(
    ("fault", "at"),
    [
        ("closed_1 stuck-off every 30 s for 9 s", 13.0),
        ("open_1 stuck-off every 40 s for 12 s", 15.0),
    ],
)
def test_of_a_fault_that_comes_and_goes_nothing_is_thought_that_is_sure_and_wrong(
    fault: str, at: float
) -> None:
    bench = Bench("closed_1", "open_1", "hose_1", "valve", "brake_1")
    bench.operate(DAY, fault, at)
    bench.practice.do("begin")
    for _ in range(6):
        opinion = bench.think()
        leader = opinion.leader
        if leader is not None and leader.share >= 0.95:
            assert leader.where == (fault.split()[0], ""), leader
        for answer in opinion.answers:
            assert len({each.spot.component for each in answer.parts}) == len(answer.parts)
        advice = bench.who.advise(bench.record, opinion)
        if advice.question is None:
            break
        for line in advice.question.lines:
            bench.practice.do(line)
    assert opinion.answers
