"""What a diagnostician makes of a drill that is over."""

from __future__ import annotations

from typing import Any

import pytest
from test_live_thinking import drill, ready, until

from pneumo.drill.brief import Brief
from pneumo.drill.debrief import debrief
from pneumo.drill.practice import Practice
from pneumo.drill.review import (
    TITLE,
    Measured,
    Review,
    Stage,
    Suspected,
    review_lines,
    reviewed,
    stage_told,
)
from pneumo.live.driver import Driver
from pneumo.live.request import Line
from pneumo.live.thinking import Adviser
from pneumo.live.working import Working
from pneumo.packing import pack, unpack


def _reviewed(at: Practice) -> Review:
    adviser = at.adviser
    assert isinstance(adviser, Adviser)
    assert adviser.thinking.settle_review(60.0)
    review = adviser.review
    assert review is not None, adviser.thinking.failure
    return review


def test_stages_say_when_the_answer_was_sure_and_the_own_way_how_long_it_takes() -> None:
    lines = ("begin", "suspect supply", "listen valve", "cycle valve.14", "finding feed lost",
             "hand back")  # fmt: skip
    with drill("feed lost", brief=Brief()) as at:
        ready(at)
        for line in lines:
            at.do(line)
        review = _reviewed(at)
    stages = {stage.line: stage for stage in review.stages}
    assert review.stages[0].line == ""
    assert {"listen valve", "cycle valve.14"} <= set(stages)
    first = review.stages[0]
    assert first.leader and first.leader.share < 0.95 and len(first.suspects) >= 2
    assert first.suspects[0] == first.leader
    ((stage, sure),) = review.determined
    assert (sure.name, stage.line) == ("feed", "cycle valve.14")
    assert review.defective == ("feed",)
    tech = review.technician
    assert (tech.hits, tech.errors, tech.accuracy, tech.tests) == (1, 0, 1.0, 2)
    assert tech.detected is not None and tech.isolated is not None
    assert 0.0 <= tech.detected < tech.isolated == tech.cost
    own = review.own
    assert own is not None and own.accuracy == 1.0 and own.tests >= 1
    assert own.isolated is not None and 0.0 < own.isolated == own.cost
    assert unpack(Review, pack(review)) == review


def test_the_own_way_does_not_depend_on_what_the_trainee_did() -> None:
    """Nor on a command in the very instant in which the drill begins."""
    found = []
    for lines in (
        ("begin", "give up"),
        ("begin", "listen valve", "close block", "give up"),
        ("begin", "close block", "give up"),
    ):
        with drill("feed lost", brief=Brief()) as at:
            ready(at)
            for line in lines:
                at.do(line)
            found.append(_reviewed(at))
    assert found[0].own == found[1].own == found[2].own and found[0].own is not None
    assert len(found[0].stages) < len(found[1].stages)


def test_who_names_sound_parts_and_misses_the_defective_one_has_errors() -> None:
    with drill("feed lost", brief=Brief()) as at:
        at.adviser = None
        for line in ("begin", "finding valve stuck and hose_1 leak", "hand back"):
            at.do(line)
        tech = reviewed(debrief(at), (), None).technician
        assert (tech.hits, tech.errors, tech.accuracy) == (0, 3, 0.0)
    with drill("feed lost", brief=Brief()) as at:
        at.adviser = None
        for line in ("begin", "give up"):
            at.do(line)
        tech = reviewed(debrief(at), (), None).technician
        assert (tech.detected, tech.isolated, tech.errors) == (None, None, 1)
    # nothing was wrong, and nothing is named
    with drill(brief=Brief()) as at:
        at.adviser = None
        for line in ("begin", "finding none", "hand back"):
            at.do(line)
        assert reviewed(debrief(at), (), None).technician.accuracy == 1.0


def stage(at: float, line: str, sound: float, *suspects: tuple[str, float]) -> Stage:
    """Coils are written as "valve.14"."""
    shares = tuple(Suspected(name.partition(".")[0], name, share) for name, share in suspects)
    return Stage(at, line, shares, sound, 0.0)


STAGES = (
    stage(90.0, "", 0.9),
    stage(160.0, "begin", 0.1, ("hose_1", 0.6), ("valve.14", 0.2), ("feed", 0.05), ("p", 0.04)),
    stage(200.0, "listen hose_1", 0.1, ("hose_1", 0.6), ("valve.14", 0.2), ("feed", 0.05),
          ("p", 0.04)),
    stage(300.0, "cycle valve.14", 0.0, ("valve.14", 0.96), ("hose_1", 0.04)),
    stage(350.0, "read p", 0.0, ("valve.14", 0.98), ("hose_1", 0.02)),
    stage(400.0, "soap hose_1", 0.0, ("hose_1", 0.97)),
)  # fmt: skip


def test_a_review_in_words() -> None:
    review = Review(100.0, ("hose_1",), STAGES, Measured(70.0, 900.0, 1, 1, 900.0, 4),
                    Measured(0.0, 300.0, 1, 0, 300.0, 1))  # fmt: skip
    assert list(review_lines(review)) == [
        TITLE,
        "  0:00:00 at first: nothing wrong has shown itself",
        "  0:01:00 begin: hose_1 60 %, valve.14 20 %, feed 5 %, 1 more part in question",
        "  0:03:20 cycle valve.14: valve.14 96 %, hose_1 4 %",
        "  0:04:10 read p: valve.14 98 %, hose_1 2 %",
        "  0:05:00 soap hose_1: hose_1 97 %",
        "  From 0:03:20 on, after cycle valve.14, valve.14 was sure enough (95 %). "
        "It had no fault.",
        "  From 0:05:00 on, after soap hose_1, hose_1 was sure enough (95 %). It was defective.",
        "  The last finding was stated 10 min later.",
        "  Technician: detection time 1 min, isolation time 15 min, isolation accuracy 50 % "
        "(1 classification error), tests 4, cost 15 min of downtime.",
        "  Diagnostician, by its own tests from the same beginning: detection time 0 s, isolation "
        "time 5 min, isolation accuracy 100 % (0 classification errors), tests 1, cost 5 min of "
        "downtime.",
    ]
    nothing = Review(100.0, ("p",), STAGES[:1], Measured(None, None, 0, 1, 60.0, 0), None)
    told = "\n".join(review_lines(nothing))
    assert "never made one answer sure" in told and "could not be calculated" in told
    assert "isolation time never" in told and "later" not in told


def test_what_no_known_fault_explains_is_told_as_that() -> None:
    strange = Stage(160.0, "read p", (Suspected("p", "p", 0.1),), 0.2, 0.7)
    assert strange.leader is None
    assert stage_told(strange) == "none of the known faults explains what was seen"


def test_a_screen_gets_the_review_when_it_is_worked_out_and_not_before_the_end() -> None:
    with drill("feed lost", brief=Brief()) as at:
        ready(at)
        driver = Driver(at.ride, working=Working(at.ride, at, "Late"))  # type: ignore[arg-type]
        seat = driver.seat("trainee", keeps_time=True)
        driver.start()

        def shown() -> Any:
            assert seat.work is not None and not driver.trouble
            return seat.work

        try:
            seat.send(Line("begin"))
            until(lambda: shown().state == "at work", "it does not begin")
            assert shown().review is None
            seat.send(Line("give up"))
            until(lambda: shown().debrief is not None, "it does not end")
            until(lambda: shown().review is not None, "no review comes")
            assert shown().review.own is not None
        finally:
            driver.stop()


def test_what_is_known_when_a_hint_is_asked_for_is_a_stage_of_that_hint() -> None:
    with drill("feed lost", brief=Brief(test_hints=True)) as at:
        ready(at)
        for line in ("begin", "hint", "give up"):
            at.do(line)
        lines = [stage.line for stage in _reviewed(at).stages]
    assert "hint" in lines and lines.count("begin") <= 1


@pytest.mark.parametrize("line", ["suspect valve", "write hello"])
def test_what_tells_nothing_new_is_no_stage(line: str) -> None:
    with drill("feed lost", brief=Brief()) as at:
        ready(at)
        at.do("begin")
        at.do(line)
        at.do("give up")
        assert line not in {stage.line for stage in _reviewed(at).stages}
