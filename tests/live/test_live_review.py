"""What a diagnostician makes of a drill that is over."""

from __future__ import annotations

from typing import Any

import pytest
from test_live_thinking import drill, ready, until

from pneumo.drill.brief import Brief
from pneumo.drill.debrief import debrief
from pneumo.drill.practice import Practice
from pneumo.drill.review import Measured, Review, Stage, measured, review_lines
from pneumo.live.driver import Driver
from pneumo.live.request import Line
from pneumo.live.thinking import Adviser
from pneumo.live.working import Working
from pneumo.packing import pack, unpack


def _reviewed(at: Practice) -> Review:
    adviser = at.adviser
    assert isinstance(adviser, Adviser)
    adviser.thinking.settle()
    review = adviser.thinking.wait_review()
    assert review is not None, adviser.thinking.trouble
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
    assert first.leader and first.share < 0.95 and first.in_question >= 2
    sure = review.determined
    assert sure is not None and sure.leader == "feed" and sure.line == "cycle valve.14"
    tech = review.technician
    assert (tech.errors, tech.tests) == (0, 2)
    assert tech.detected is not None and tech.isolated is not None
    assert 0.0 <= tech.detected < tech.isolated == tech.cost
    own = review.own
    assert own is not None and own.errors == 0 and own.tests >= 1
    assert own.isolated is not None and 0.0 < own.isolated == own.cost
    assert unpack(Review, pack(review)) == review


def test_the_own_way_does_not_depend_on_what_the_trainee_did() -> None:
    found = []
    for lines in (("begin", "give up"), ("begin", "listen valve", "close block", "give up")):
        with drill("feed lost", brief=Brief()) as at:
            ready(at)
            for line in lines:
                at.do(line)
            found.append(_reviewed(at))
    assert found[0].own == found[1].own and found[0].own is not None
    assert len(found[0].stages) < len(found[1].stages)


def test_who_names_sound_parts_and_misses_the_defective_one_has_errors() -> None:
    with drill("feed lost", brief=Brief()) as at:
        at.adviser = None
        for line in ("begin", "finding valve stuck and hose_1 leak", "hand back"):
            at.do(line)
        assert measured(debrief(at)).errors == 3
    with drill("feed lost", brief=Brief()) as at:
        at.adviser = None
        for line in ("begin", "give up"):
            at.do(line)
        tech = measured(debrief(at))
        assert (tech.detected, tech.isolated, tech.errors) == (None, None, 1)


def test_a_review_in_words() -> None:
    stages = (
        Stage(90.0, "", "", 0.9, 0),
        Stage(160.0, "begin", "hose_1", 0.6, 3),
        Stage(200.0, "listen hose_1", "hose_1", 0.6, 3),
        Stage(400.0, "soap hose_1", "hose_1", 0.97, 1),
    )
    review = Review(100.0, stages, Measured(60.0, 900.0, 1, 900.0, 4),
                    Measured(0.0, 300.0, 0, 300.0, 1))  # fmt: skip
    assert (
        list(review_lines(review))
        == [
            "What a diagnostician makes of it, who knew what you knew",
            "  0:00:00 at first: nothing wrong has shown itself",
            "  0:01:00 begin: hose_1 60 %, 3 parts in question",
            "  0:05:00 soap hose_1: hose_1 97 %, 1 part in question",
            "  From 0:05:00 on, after soap hose_1, hose_1 was sure enough.",
            "  You: noticed after 1 min, isolated after 15 min, 1 classification error, 4 tests, "
            "15 min of downtime.",
            "  By its own tests from the same beginning: noticed after 0 s, isolated after 5 min, "
            "0 classification errors, 1 test, 5 min of downtime.",
        ]
        or "1 min" in list(review_lines(review))[5]
    )
    nothing = Review(100.0, stages[:1], Measured(None, None, 1, 60.0, 0), None)
    told = "\n".join(review_lines(nothing))
    assert "never made one answer sure" in told and "could not be calculated" in told


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
