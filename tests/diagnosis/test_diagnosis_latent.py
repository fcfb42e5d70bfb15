"""Nothing on the panel is odd, and something is wrong: a test is advised that finds it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from diagnosis_rides import DAY, Bench

from pneumo.diagnosis.latent import Latent, standing
from pneumo.diagnosis.questions import OnPanel
from pneumo.diagnosis.recommendation import SOUND, Recommendation
from pneumo.diagnosis.record import stretches
from pneumo.diagnosis.telling import outcome_told
from pneumo.live.known import named

TWO = "08_pilot_supply"

PAIR = "03_redundant_series_valves"


def hidden_before(bench: Bench) -> set[tuple[str, str]]:
    """Component and mode of what may be hidden that struck before anything was done."""
    record = bench.known.record(bench.practice.entries)
    cut = stretches(record)
    zones = dict.fromkeys(bench.session.circuit.components, "block")
    at = standing(bench.session.circuit, zones, record, cut, len(cut) - 1)
    assert at is not None
    rows = Latent(bench.who.library, bench.who.panel, zones).rows(
        at._replace(onsets=at.onsets[:1])
    )  # fmt: skip
    found = (bench.who.library.candidates[number] for number in rows.candidate.tolist())
    return {(each.component, each.mode) for each in found}


@pytest.mark.parametrize(
    ("fault", "hides"),
    [("hose_1 leak 0.3 mm", True), ("hose_1 burst", False), ("closed_1 stuck-off", False)],
)
def test_what_is_taken_to_be_hidden_shows_nothing_on_its_own_ride(fault: str, hides: bool) -> None:
    with_it, without = Bench("hose_1", "closed_1"), Bench("hose_1", "closed_1")
    with_it.operate(DAY, fault, 0.5)
    without.operate(DAY)
    component, mode = fault.split()[:2]
    assert (not with_it.think().answers) is hides
    assert ((component, mode) in hidden_before(without)) is hides


def test_a_leak_that_is_only_heard_is_found_by_what_is_advised() -> None:
    bench = Bench("hose_1", "hose_2", "closed_1", "main", "valve")
    bench.operate(DAY, "hose_1 leak 0.3 mm", 0.5)
    assert not bench.think().answers
    opinion = bench.solve(20)
    assert opinion.answers[0].spot.component == "hose_1", opinion.answers[:3]


def test_the_second_of_two_valves_that_no_longer_switches_is_found_by_what_is_advised() -> None:
    bench = Bench("valve_a", "valve_b", ride=PAIR)
    bench.operate(DAY, "valve_b stuck-actuated", 20.0)
    assert not bench.think().answers
    opinion = bench.solve()
    assert opinion.answers[0].spot.component == "valve_b", opinion.answers[:3]
    assert any(made.test == "cycle" for made in bench.record.made)


def test_a_ride_without_a_fault_is_tested_until_no_test_tells_more() -> None:
    bench = Bench("valve_a", "valve_b", ride=PAIR)
    bench.operate(DAY)
    bench.practice.do("begin")
    asked = []
    for _ in range(30):
        opinion = bench.think()
        advice = bench.who.advise(bench.record, opinion)
        if advice.question is None:
            break
        assert advice.question.lines not in asked
        asked.append(advice.question.lines)
        for line in advice.question.lines:
            bench.practice.do(line)
    assert asked and advice.question is None and advice.leader == SOUND
    assert not opinion.answers and opinion.sound == 1.0


def outcomes_told(advice: Recommendation) -> list[str]:
    """Those of a command, what nobody foresees left out."""
    question = advice.question
    assert question is not None and question.lines[-1].split()[0] in ("open", "close")
    assert all(isinstance(each, OnPanel) for each in question.answers)
    return [outcome_told(each) for each in advice.outcomes if each.answer is not None]


def test_what_may_come_of_a_command_is_told_by_what_the_panel_shows() -> None:
    bench = Bench("hose_1", "closed_1", "main", "valve")
    bench.operate(DAY[:1])
    opinion = bench.think()
    told = outcomes_told(bench.who.advise(bench.record, opinion))
    assert len(told) > 1 and len(set(told)) == len(told)
    assert any(each.startswith("All as on a ride without a fault") for each in told)


@pytest.mark.parametrize("complained", ["block", "holding"])
def test_what_the_complaint_names_is_looked_at_first(complained: str) -> None:
    """The same ride, on which nothing is odd: what is advised is of the zone that is named."""
    bench = Bench("block_manifold", "holding_manifold", "main", ride=TWO)
    bench.operate(("open all", "close all"))
    opinion = bench.think()
    record = replace(bench.record, named=(complained,))
    question = bench.who.advise(record, opinion).question
    assert question is not None
    assert question.lines[-1].split()[1].startswith(complained)


def test_what_a_complaint_names_is_found_in_its_words() -> None:
    circuit = Bench("main", ride=TWO).session.circuit
    for words, zones in (
        ("Block works, but it hisses.", ("block",)),
        ("The blocks of the store", ()),
        ("HOLDING and block alarm", ("block", "holding")),
        ("", ()),
    ):
        assert named(circuit, words) == zones
