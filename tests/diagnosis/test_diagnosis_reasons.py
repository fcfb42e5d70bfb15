"""Why an answer is thought to be right: as data, and in sentences."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from math import inf

import numpy as np
import pytest
from diagnosis_rides import DAY, Bench

from pneumo.diagnosis.choice import Reason
from pneumo.diagnosis.likelihood import by_instrument, misfit
from pneumo.diagnosis.marks import NEVER, marks
from pneumo.diagnosis.opinion import Opinion
from pneumo.diagnosis.questions import USUAL, OnPanel, Question
from pneumo.diagnosis.reasons import SPEAKS, Case, Reasons
from pneumo.diagnosis.recommendation import SOUND, Outcome, Recommendation
from pneumo.diagnosis.record import stretches
from pneumo.diagnosis.suspects import Spot
from pneumo.diagnosis.telling import (
    mark_told,
    opinion_lines,
    outcome_told,
    recommendation_lines,
    severity_told,
    sign_told,
)
from pneumo.drill.telling import percent
from pneumo.inspection.evidence import Cycled, Heard, Outflow

PARTS = ("valve", "feed", "hose_1", "hose_2", "charged")


def _cases(bench: Bench, opinion: Opinion) -> tuple[Case, ...]:
    assert bench.who.compared is not None
    who = bench.who
    cut = stretches(bench.record)
    return Reasons(who.compared, who.library.candidates, who.panel, bench.record, cut).cases(
        opinion
    )  # type: ignore[arg-type]


@lru_cache
def _stuck() -> tuple[Bench, Opinion, tuple[Case, ...]]:
    """The valve does not charge any more; only what the panel shows is known."""
    bench = Bench(*PARTS)
    bench.operate(DAY, "valve stuck-rest", 13.0)
    opinion = bench.think()
    return bench, opinion, _cases(bench, opinion)


@lru_cache
def _cycled() -> tuple[Bench, Opinion, tuple[Case, ...]]:
    """The same, and the valve was switched alone."""
    bench = Bench(*PARTS)
    bench.operate(DAY, "valve stuck-rest", 13.0)
    bench.practice.do("begin")
    bench.practice.do("cycle valve.14")
    opinion = bench.think()
    return bench, opinion, _cases(bench, opinion)


def _of(cases: tuple[Case, ...], spot: Spot) -> Case:
    (found,) = (case for case in cases if case.answer.spot == spot)
    return found


VALVE, COIL, FEED = Spot("valve", ""), Spot("valve", "14"), Spot("feed", "")


def test_a_sign_says_what_was_seen_what_the_suspect_shows_and_what_a_sound_ride_shows() -> None:
    bench, _, cases = _stuck()
    case = _of(cases, VALVE)
    late = [sign for sign in case.shown if sign.aspect == "first ON"]
    sign = late[0]
    assert [action.text for action in sign.done] in (["close block"], ["open block"])
    assert sign.seen == sign.expected == NEVER and 0.0 < sign.other < 1.5
    assert sign.weight > SPEAKS and sign.test is None
    # what it says is what the record holds
    assert sign.instrument in bench.who.panel.contacts
    began = [e for e in bench.record.events if e.subject == sign.instrument
             and e.kind == "contact" and sign.began <= e.time < sign.began + 8.0 and e.what.on]  # type: ignore[union-attr]  # fmt: skip
    assert not began


def test_a_sign_weighs_what_the_likelihood_says() -> None:
    bench, _, cases = _cycled()
    compared, case = bench.who.compared, _of(cases, VALVE)
    assert compared is not None and case.shown
    number = bench.who.library.candidates.index(case.likely.candidate)
    weights = by_instrument(compared.seen, compared.off(number)) - by_instrument(
        compared.seen, misfit(compared.seen, compared.sound[None, :])
    )
    for sign in case.shown:
        assert np.isclose(weights, sign.weight).any()
    assert case.shown[0].weight == pytest.approx(float(weights.max()))


def test_what_nothing_tells_apart_is_named_until_a_test_has_told_it_apart() -> None:
    _, opinion, cases = _stuck()
    before = _of(cases, VALVE)
    assert {COIL, FEED} <= {answer.spot for answer in before.alike}
    _, opinion, after = _cycled()
    case = _of(after, VALVE)
    assert FEED not in {answer.spot for answer in case.alike}  # its lamp is dark without the feed
    # a coil that does not pull lights its lamp and clicks no more than a spool that is stuck
    assert COIL in {answer.spot for answer in case.alike}
    feeds = [answer for answer in opinion.answers if answer.spot == FEED]
    assert feeds and feeds[0].share < 0.05


def test_what_speaks_against_an_answer_is_the_test_that_its_rival_fits() -> None:
    bench, _, cases = _cycled()
    everything = replace(
        _cycled()[1], answers=tuple(replace(a, share=max(a.share, 0.011))
                                    for a in _cycled()[1].answers)
    )  # fmt: skip
    case = _of(_cases(bench, everything), FEED)
    (sign,) = (sign for sign in case.against if sign.test)
    assert sign.test == ("cycle", "valve.14") and sign.aspect == "lamp"
    assert (sign.seen, sign.expected, sign.other) == (1.0, 0.0, 1.0)
    assert case.rival is not None and case.rival.spot in (VALVE, COIL)
    assert isinstance(sign.found, Cycled) and sign.found.lamp
    assert not any(sign.test for sign in _of(cases, VALVE).against)


def test_the_sentences_of_a_case() -> None:
    bench, opinion, cases = _stuck()
    lines = list(opinion_lines(opinion, cases, bench.practice.began))
    assert lines[0].startswith("valve (") and lines[0].endswith("replace it.")
    assert any(
        line.startswith("  For it: close block at 0:00:26: closed_1 did not come ON (without a "
                        "fault: after 0.2")
        for line in lines
    ), lines  # fmt: skip
    assert any("Nothing so far tells it from valve.14 coil-open" in line for line in lines)
    assert lines[-1].startswith("Not examined, for it could not be calculated: ")
    assert not any("(100 %" in line or "inf" in line or "nan" in line for line in lines)


def test_a_later_answer_does_not_say_again_what_spoke_for_the_first() -> None:
    _, opinion, cases = _cycled()
    lines = list(opinion_lines(opinion, cases))
    told = [line for line in lines if line.startswith("  For it")]
    assert told and len(told) == len(set(told))


def test_what_came_before_the_drill_is_told_so() -> None:
    _, _, cases = _stuck()
    sign = cases[0].shown[0]
    assert f"{sign.began:.0f} s before the drill: " in sign_told(sign, "x", 2.0 * sign.began)
    assert " at 0:00:00: " in sign_told(sign, "x", sign.began)


def test_of_nothing_odd_nothing_is_told_but_to_operate_the_ride() -> None:
    nothing = Opinion((), 1.0, 0.0, ())
    assert list(opinion_lines(nothing, ())) == [
        "Nothing so far is other than on a ride without a fault."
    ]
    advice = Recommendation(Reason.NOTHING, None, (), SOUND, 1.0, 0.0)
    assert "operate the ride" in next(recommendation_lines(advice, nothing))


def test_none_of_these_and_nothing_wrong_are_told_when_they_matter() -> None:
    _, opinion, _ = _stuck()
    told = list(opinion_lines(replace(opinion, sound=0.2, none_of_these=0.1), ()))
    assert "Nothing wrong that has shown itself: 20 %." in told
    assert "None of these, something that is not on the list: 10 %." in told
    rest = list(opinion_lines(replace(opinion, sound=1e-4, none_of_these=1e-4), ()))
    assert not any("None of" in line or "Nothing wrong" in line for line in rest)


def test_a_recommendation_says_what_each_outcome_would_mean() -> None:
    heard = Heard("silencer", (Outflow("outlet", "", "loud"),), (), None, False, False)
    quiet = Heard("silencer", (), (), None, False, False)
    question = Question(("close block", "listen silencer"), 180.0, (0, 1), (heard, quiet))
    outcomes = (
        Outcome(heard, 0.6, ((VALVE, 0.999), (SOUND, 0.001))),
        Outcome(None, 0.392, ((SOUND, 0.7), (VALVE, 0.3))),
        Outcome(None, 0.008, ((VALVE, 1.0),)),
    )
    advice = Recommendation(Reason.ASK, question, outcomes, VALVE, 0.5, 600.0)
    assert list(recommendation_lines(advice, _stuck()[1])) == [
        "Next: close block, then listen silencer (3 min).",
        "  At silencer: a loud hiss at its outlet (60 %): then valve over 99 %.",
        "  Another outcome (39 %): then no fault 70 %, valve 30 %.",
    ]


@pytest.mark.parametrize(
    ("shown", "told"),
    [
        (USUAL, "All as on a ride without a fault"),
        (OnPanel("closed_1", "first ON", None), "closed_1 not as on a ride without a fault"),
        (OnPanel("closed_1", "first ON", 0.9), "closed_1 came ON after 0.90 s"),
        (OnPanel("closed_1", "first ON", NEVER), "closed_1 did not come ON"),
        (OnPanel("block", "first alarm", None), "block raised an alarm"),
        (OnPanel("block", "first alarm", 0.0), "block raised no alarm"),
    ],
)
def test_what_the_panel_shows_after_a_command_is_told_by_what_is_looked_at(
    shown: OnPanel, told: str
) -> None:
    assert (
        outcome_told(Outcome(shown, 0.5, ((VALVE, 1.0),)))
        == f"{told} (50 %): then valve over 99 %."
    )


def test_when_nothing_more_is_asked_the_repair_is_named() -> None:
    opinion = _stuck()[1]
    advice = Recommendation(Reason.SURE, None, (), VALVE, 0.97, 10.0)
    assert list(recommendation_lines(advice, opinion)) == [
        "That is sure enough. Next: valve (97 %): replace it, then test."
    ]


def test_percentages_are_sober() -> None:
    assert [percent(share) for share in (1.0, 0.9901, 0.99, 0.823, 0.01, 0.001, 0.0)] == [
        "over 99 %", "over 99 %", "99 %", "82 %", "1 %", "under 1 %", "under 1 %",
    ]  # fmt: skip


def test_severities_have_their_units() -> None:
    told = {
        (each.component, each.mode): severity_told(each, 0.5)
        for each in _stuck()[0].who.library.candidates
    }
    assert told["hose_1", "leak"].endswith(" mm") and told["charged", "drift"].endswith(" bar")
    assert told["valve", "stuck-rest"] == ""


def test_every_number_of_every_test_has_words() -> None:
    """Of all tests that can be made, each number that they give is told in words."""
    bench, _, _ = _cycled()
    told = set()
    for entries in bench.who.library.tables.values():
        for (_, (word, _)), rows in entries.tests.items():
            for _, found in rows:
                for mark in marks(found):
                    words = mark_told(word, mark.aspect, mark.value)
                    assert words and str(inf) not in words
                    told.add((word, mark.aspect.split()[0]))
    assert len(told) > 10
