"""Two faults at once: where one alone does not explain what was seen, two are found."""

from __future__ import annotations

from functools import lru_cache

from diagnosis_rides import Bench

from pneumo.diagnosis.opinion import Both, Opinion
from pneumo.diagnosis.reasons import Reasons
from pneumo.diagnosis.recommendation import Recommendation
from pneumo.diagnosis.record import stretches
from pneumo.diagnosis.telling import hint_lines, opinion_lines, recommendation_lines, short_told

TWO_ZONES = "08_pilot_supply"

PARTS = (
    "block_closed", "holding_closed", "holding_open", "block_valve", "holding_valve",
    "block_charged", "holding_charged", "pilot_bleed",
)  # fmt: skip

DAY = ("open block", "open holding", "close block", "close holding", "open block", "open holding")


def ride(*faults: str, parts: tuple[str, ...] = PARTS) -> Bench:
    """The ride with two zones; faults hidden one after the other from 13 s on."""
    bench = Bench(*parts, ride=TWO_ZONES)
    hidden = {13.0 + number: fault for number, fault in enumerate(faults)}
    for number, sentence in enumerate(DAY):
        time = 2.0 + 8.0 * number
        for at in [at for at in hidden if at < time]:
            bench.session.advance(at)
            bench.session.do("trainer", f"fault {hidden.pop(at)}", hidden=True)
        bench.session.advance(time)
        bench.session.do("trainee", sentence)
    bench.session.advance(bench.session.now + 8.0)
    return bench


@lru_cache
def solved() -> tuple[Bench, Opinion, Recommendation]:
    """A ride with a defective switch in each zone, and what is thought of it in the end."""
    bench = ride("block_closed stuck-off", "holding_charged stuck-on")
    opinion = bench.solve()
    return bench, opinion, bench.who.advise(bench.record, opinion)


def test_two_faults_in_two_zones_are_found_together() -> None:
    _, opinion, _ = solved()
    leader = opinion.answers[0]
    assert {each.spot.component for each in leader.parts} == {"block_closed", "holding_charged"}
    assert isinstance(leader.where, Both)
    modes = {(m.candidate.component, m.candidate.mode) for a in leader.parts for m in a.modes}
    assert ("block_closed", "stuck-off") in modes and ("holding_charged", "stuck-on") in modes


def test_two_at_once_are_never_quite_sure_and_all_shares_are_one() -> None:
    _, opinion, _ = solved()
    assert 0.5 < sum(each.share for each in opinion.answers if each.beside) <= 0.9 + 1e-9
    whole = sum(each.share for each in opinion.answers) + opinion.sound + opinion.none_of_these
    assert abs(whole - 1.0) < 1e-9
    assert opinion.none_of_these > 0.05


def test_two_at_once_are_told_with_both_repairs_and_the_hint_tells_neither() -> None:
    bench, opinion, advice = solved()
    assert bench.who.compared is not None
    cases = Reasons(
        bench.who.compared, bench.who.library.candidates, bench.who.panel, bench.record,
        stretches(bench.record),
    ).cases(opinion)  # fmt: skip
    lines = list(opinion_lines(opinion, cases))
    assert "holding_charged and block_closed together" in lines[0]
    assert "holding_charged: stuck-on" in lines[0] and "block_closed: stuck-off" in lines[0]
    assert any(line.startswith("  For it: ") for line in lines)
    assert "together" in short_told(opinion, advice)
    told = " ".join(recommendation_lines(advice, opinion))
    assert "holding_charged: " in told and "block_closed: " in told
    assert not any("together" in line for line in hint_lines(opinion, advice, (), 0.0))


def test_where_one_explains_all_no_pair_is_thought_of() -> None:
    bench = ride("block_closed stuck-off")
    opinion = bench.think()
    assert opinion.answers[0].spot.component == "block_closed" and opinion.answers[0].share > 0.9
    assert sum(each.share for each in opinion.answers if each.beside) < 0.01


def test_the_same_record_gives_the_same_pairs() -> None:
    one, other = (ride("block_closed stuck-off", "holding_charged stuck-on") for _ in range(2))
    assert one.think() == other.think()
    assert one.think() == other.think()


def test_what_nothing_on_the_list_explains_is_told_plainly_or_tested_further() -> None:
    bench = ride("block_closed stuck-off", parts=("pilot_bleed", "holding_closed"))
    opinion = bench.solve(20)
    assert opinion.leader is None and opinion.none_of_these > 0.5
    advice = bench.who.advise(bench.record, opinion)
    (line,) = recommendation_lines(advice, opinion)
    assert line.startswith("Nothing on the list, nor two of it at once")
