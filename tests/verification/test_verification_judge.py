"""Tests of pneumo/verification/judge.py."""

from __future__ import annotations

from dataclasses import replace
from math import inf, isclose, sqrt
from typing import Any

import pytest
from verification_bench import (
    CLAMPED,
    OPEN,
    STOPPED,
    THREE_BRAKES,
    block,
    both,
    changed,
    hand_made,
    shipped,
    three_brakes,
)

from pneumo.circuit.action import (
    Acknowledge,
    Action,
    Command,
    FaultSpec,
    ForceInput,
    Inject,
    Power,
    Reset,
    RideStop,
    Unforce,
)
from pneumo.circuit.circuit import Event, Zone
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.scenario.event import Commanded, RunEvent, alarms_raised
from pneumo.scenario.play import Play
from pneumo.verification.demand import Demand, Demands
from pneumo.verification.follow import Followed, follow
from pneumo.verification.follow import settled_after as settled_after_zones
from pneumo.verification.jaws import zone_now
from pneumo.verification.judge import judge as judge_followed
from pneumo.verification.spell import Spell, latest_end
from pneumo.verification.trace import zone_trace
from pneumo.verification.verdict import BOUNCE, DETECTED, GRACE, Outcome
from pneumo.verification.wording import outcome_words
from pneumo.zone.event import AlarmRaised, RideStopped, RideStopReset, StateEntered
from pneumo.zone.machine import State

ZONE = block(three_brakes())
WITHIN, HOLD = 1.5, 30.0
ASKED = 22.0
"""When the safe state is asked for in the hand-made runs [s]."""


def spells(play: Any, zone: Zone) -> tuple[Spell, ...]:
    """When a zone of a run was in its safe state."""
    return Followed(play, zone).spells.since(-inf)


def judge(play: Any, zone: Zone, *rest: Any) -> Outcome:
    """Judges a zone of a run, also with other requirements than those it ran with."""
    return judge_followed(play, Followed(play, zone), *rest)


def settled_after(play: Any, injected_at: float, demanded_latest: float = inf) -> float:
    return settled_after_zones(follow(play).values(), injected_at, demanded_latest)


def demands(events: list[RunEvent], zone: str = "block") -> Demands:
    found = Demands(zone)
    for event in events:
        found.follow(event)
    return found


def verdict(*crossings: tuple[float, int, bool], now: float = 1000.0) -> Outcome:
    """Judges hand-made crossings."""
    return judge(hand_made(crossings, now=now), ZONE, "open", 20.0, ASKED)


LINES = 1.0 / sqrt(1.4 * 287.05 * 293.15)
"""What news takes through the hose of 1 m to each brake, at the speed of sound [s]."""


# spells


def test_a_spell_lasts_while_enough_brakes_clamp() -> None:
    play = hand_made(
        [*OPEN, (1.0, 0, True), (2.0, 1, True), (3.0, 2, True), (4.0, 0, False), (5.0, 1, False)]
    )
    assert spells(play, ZONE) == (Spell(2.0, 5.0),)


def test_a_zone_that_starts_safe_is_safe_from_time_zero() -> None:
    assert spells(hand_made(CLAMPED), ZONE) == (Spell(0.0, inf),)


def test_a_zone_that_starts_open_needs_both_brakes() -> None:
    assert spells(hand_made([*OPEN, (1.0, 0, True)]), ZONE) == ()


def test_a_bounce_is_bridged_and_a_loss_is_not() -> None:
    bounce = hand_made([*CLAMPED, *both(3.0, False), *both(3.0 + 0.9 * BOUNCE, True)])
    assert spells(bounce, ZONE) == (Spell(0.0, inf),)
    loss = hand_made([*CLAMPED, *both(3.0, False), *both(3.0 + 1.1 * BOUNCE, True)])
    assert spells(loss, ZONE) == (Spell(0.0, 3.0), Spell(3.0 + 1.1 * BOUNCE, inf))


def test_a_brake_that_stands_for_its_twins_counts_as_often() -> None:
    compiled = compile_circuit(changed("02_spring_close_single", *THREE_BRAKES), frozenset())
    play = hand_made([(0.0, 0, False), (1.0, 0, True), (2.0, 0, False)], compiled=compiled)
    assert spells(play, ZONE) == (Spell(1.0, 2.0),)


# verdicts


def test_safe_in_time() -> None:
    outcome = verdict(*OPEN, *both(ASKED + 1.0, True))
    assert (outcome.verdict, outcome.held, outcome.lost_after) == ("safe", HOLD, None)
    assert outcome.reached_after == pytest.approx(1.0 + LINES)
    assert outcome.margin == pytest.approx(WITHIN - 1.0 - LINES)
    assert "2 of 3 brakes closed with 5.6 kN" in outcome_words(outcome)


def test_what_the_lines_add_may_make_a_zone_late() -> None:
    """1 ms within the limit by the model; the hose of 1 m adds 2.9 ms."""
    outcome = verdict(*OPEN, *both(ASKED + WITHIN - 1e-3, True))
    assert outcome.verdict == "late"
    assert outcome.line_delay == pytest.approx(LINES)
    assert verdict(*OPEN, *both(ASKED + WITHIN - 1.01 * LINES, True)).verdict == "safe"


def test_already_safe_when_asked() -> None:
    outcome = verdict(*CLAMPED)
    assert (outcome.verdict, outcome.reached_after, outcome.margin) == ("safe", 0.0, WITHIN)


def test_late() -> None:
    outcome = verdict(*OPEN, *both(ASKED + WITHIN + 2.0, True))
    assert outcome.verdict == "late"
    assert outcome.margin == pytest.approx(-2.0 - LINES)
    assert "only after 3.50 s" in outcome_words(outcome)


def test_beyond_the_grace_is_never() -> None:
    outcome = verdict(*OPEN, *both(ASKED + WITHIN + GRACE + 0.1, True))
    assert (outcome.verdict, outcome.reached_after, outcome.margin) == ("unsafe", None, None)
    assert "not reached (limit 1.5 s, watched for 11.5 s)" in outcome_words(outcome)


def test_one_brake_too_few_is_never() -> None:
    assert verdict(*OPEN, (ASKED + 0.5, 2, True)).verdict == "unsafe"


def test_one_brake_may_fail_when_two_of_three_are_needed() -> None:
    assert verdict(*CLAMPED, (ASKED - 1.0, 2, False)).verdict == "safe"


def test_lost_again_after_the_limit_is_unsafe_even_if_it_comes_back() -> None:
    outcome = verdict(*CLAMPED, *both(ASKED + 5.0, False), *both(ASKED + 6.0, True))
    assert (outcome.verdict, outcome.reached_after) == ("unsafe", 0.0)
    assert outcome.lost_after == pytest.approx(5.0)
    assert outcome.held == pytest.approx(5.0)
    assert "lost again after 5.00 s" in outcome_words(outcome)


def test_lost_after_the_hold_does_not_matter() -> None:
    outcome = verdict(*CLAMPED, *both(ASKED + HOLD + 0.5, False))
    assert (outcome.verdict, outcome.held, outcome.lost_after) == ("safe", HOLD, None)


def test_the_hold_counts_from_the_safe_state_not_from_the_demand() -> None:
    outcome = verdict(*OPEN, *both(ASKED + 1.0, True), *both(ASKED + HOLD + 0.5, False))
    assert outcome.verdict == "unsafe"
    assert outcome.held == pytest.approx(HOLD - 0.5)


@pytest.mark.parametrize(("again", "expected"), [(1.2, "safe"), (4.0, "late")])
def test_what_counts_is_the_spell_a_zone_ends_in(again: float, expected: str) -> None:
    # a zone on its way to the other state when it is asked: its jaws let go, then clamp
    outcome = verdict(*CLAMPED, *both(ASKED + 0.3, False), *both(ASKED + again, True))
    assert outcome.verdict == expected
    assert outcome.reached_after == pytest.approx(again + LINES)


def test_let_go_within_the_limit_and_never_clamped_again() -> None:
    outcome = verdict(*CLAMPED, *both(ASKED + 0.3, False))
    assert (outcome.verdict, outcome.reached_after) == ("unsafe", 0.0)
    assert outcome.lost_after == pytest.approx(0.3)


def test_a_run_that_ended_early_says_so() -> None:
    waiting = verdict(*OPEN, now=ASKED + 0.5)
    assert waiting.verdict == "unsafe"
    assert "not reached when the run ended after 0.50 s" in outcome_words(waiting)
    holding = verdict(*OPEN, *both(ASKED + 1.0, True), now=ASKED + 11.0)
    assert holding.held == pytest.approx(10.0)
    assert "held for 10.00 s when the run ended (required 30 s)" in outcome_words(holding)


def test_jaws_that_press_without_their_force_are_not_safe() -> None:
    play = hand_made([*OPEN, *both(ASKED + 0.5, True)], clamped=OPEN)
    assert judge(play, ZONE, "open", 20.0, ASKED).verdict == "unsafe"
    late = hand_made([*OPEN, *both(ASKED + 0.5, True)], clamped=[*OPEN, *both(ASKED + 4.0, True)])
    assert judge(late, ZONE, "open", 20.0, ASKED).verdict == "late"


@pytest.mark.parametrize(
    ("crossings", "now", "decided"),
    [
        (OPEN, ASKED + WITHIN + GRACE, True),
        (OPEN, ASKED + WITHIN + GRACE - 0.5 * BOUNCE, True),
        (OPEN, ASKED + WITHIN + GRACE - 2.0 * BOUNCE, False),
        ((*OPEN, *both(ASKED + 1.0, True)), ASKED + 1.0 + HOLD, True),
        ((*OPEN, *both(ASKED + 1.0, True)), ASKED + HOLD, False),
        ((*OPEN, *both(ASKED + WITHIN + 1.0, True)), ASKED + WITHIN + 2.0, True),
        ((*CLAMPED, *both(ASKED + 5.0, False)), ASKED + 7.0, True),
    ],
)
def test_when_a_verdict_is_certain(
    crossings: tuple[tuple[float, int, bool], ...], now: float, decided: bool
) -> None:
    assert verdict(*crossings, now=now).decided is decided


def test_a_demand_taken_back_before_a_late_zone_came_decides_nothing() -> None:
    play = hand_made(OPEN, now=ASKED + 100.0)
    assert not judge(play, ZONE, "", ASKED, ASKED, ASKED + 3.0).decided


def test_exactly_at_the_limit_is_in_time() -> None:
    lines = three_brakes().line_delay["block"]  # counts as taken, too
    assert verdict(*OPEN, *both(ASKED + WITHIN - lines - 1e-9, True)).verdict == "safe"
    assert verdict(*OPEN, *both(ASKED + WITHIN - lines + 1e-6, True)).verdict == "late"


def test_safe_before_the_demand_is_held_from_the_demand_on() -> None:
    # in its safe state for longer than the hold, but before it was asked: not yet held
    early = verdict(*CLAMPED, *both(ASKED + 1.0, False), *both(ASKED + 1.3, True))
    assert early.verdict == "safe" and early.reached_after == pytest.approx(1.3, abs=0.01)


def pressing(*depths: float) -> Any:
    """Brakes that clamp all the time, their linings pressed so deep at the end [m]."""
    play = hand_made(CLAMPED)
    y = play.plant.state().copy()
    for brake, depth in zip(play.compiled.brakes["block"], depths, strict=True):
        row = play.plant.network.mover[brake.mover]
        y[row["x"]] = row["high"] + depth
    play.plant.state = lambda: y
    return play


def strict(**required: object) -> Zone:
    """The zone with other requirements."""
    return ZONE.model_copy(update={"requirement": ZONE.requirement.model_copy(update=required)})


@pytest.mark.parametrize(
    ("needed", "depth"), [(1, 3e-3), (2, 2e-3), (3, 1e-3)], ids=["one", "two", "three"]
)
def test_the_force_that_counts_is_the_least_of_the_brakes_that_are_needed(
    needed: int, depth: float
) -> None:
    play = pressing(3e-3, 1e-3, 2e-3)
    stiffness = float(
        play.plant.network.mover[play.compiled.brakes["block"][0].mover]["high_stiffness"]
    )
    outcome = judge(play, ZONE.model_copy(update={"brakes_needed": needed}), "", 20.0, ASKED)
    assert outcome.least_force == pytest.approx(depth * stiffness, rel=1e-6)
    # none was ever out of its place: the one that presses least is the furthest from it
    assert outcome.furthest == ("brake_2",)
    assert outcome.force == pytest.approx(1e-3 * stiffness, rel=1e-6)


@pytest.mark.parametrize(
    ("until", "again", "expected", "reached"),
    [
        # held for as long as required, though it ends within the limit
        (0.9, None, "safe", 0.0),
        (0.9, 3.0, "safe", 0.0),
        # before the demand it does not count, however long it was
        (0.2, None, "unsafe", 0.0),
        (0.2, 1.0, "safe", 1.0 + LINES),
    ],
)
def test_a_hold_shorter_than_the_limit(
    until: float, again: float | None, expected: str, reached: float
) -> None:
    later = () if again is None else both(ASKED + again, True)
    play = hand_made([*CLAMPED, *both(ASKED + until, False), *later])
    outcome = judge(play, strict(hold=0.5), "", 20.0, ASKED)
    assert (outcome.verdict, outcome.reached_after) == (expected, pytest.approx(reached))


def lines_that_take(delay: float) -> Compiled:
    """The circuit with lines through which news takes so long [s]."""
    compiled = replace(three_brakes())
    vars(compiled)["line_delay"] = {"block": delay}  # found out once, when it is first asked for
    return compiled


@pytest.mark.parametrize(
    ("delay", "after", "said"),
    [
        (0.04, 1.0, "after 1.04 s (limit 1.5 s; includes 0.04 s of line delay)"),
        (0.004, 1.0, "after 1.00 s (limit 1.5 s)"),
        (0.04, -1.0, "after 0.00 s (limit 1.5 s)"),
    ],
    ids=["named", "too little to be named", "safe before it was asked"],
)
def test_what_its_lines_add_is_named(delay: float, after: float, said: str) -> None:
    crossings = [*OPEN, *both(ASKED + after, True)]
    play = hand_made(crossings, compiled=lines_that_take(delay))
    assert said in outcome_words(judge(play, ZONE, "open", 20.0, ASKED))


@pytest.mark.parametrize(
    ("zone", "said"),
    [
        (ZONE, "at least 2 of 3 brakes closed with 5.6 kN after"),
        (ZONE.model_copy(update={"brakes_needed": 3}), "all brakes closed with 5.6 kN after"),
        (strict(clamping_force=None), "at least 2 of 3 brakes closed after"),
        (ZONE.model_copy(update={"brakes": ("brake_1",)}), "the brake closed with 5.6 kN after"),
    ],
)
def test_the_sentence_says_how_many_brakes_and_with_what_force(zone: Zone, said: str) -> None:
    why = outcome_words(judge(hand_made(CLAMPED), zone, "", 20.0, ASKED))
    assert why.startswith(said) and why.endswith("(limit 1.5 s), held for the required 30 s")


def test_a_zone_that_must_open_is_asked_for_no_force() -> None:
    opens = ZONE.model_copy(update={"safe_state": "open"})
    said = outcome_words(judge(hand_made(CLAMPED), opens, "", 20.0, ASKED))
    assert "brakes open not reached" in said


def test_the_sentence_tells_a_wait_that_is_over_from_one_that_was_cut_short() -> None:
    over = verdict(*OPEN, now=ASKED + WITHIN + GRACE - 0.5 * BOUNCE)
    assert (
        over.decided
        and "not reached (limit 1.5 s, watched for 11.5 s)" in outcome_words(over)
        and over.held == 0.0
    )
    play = hand_made(OPEN, now=ASKED + 100.0)
    short = judge(play, ZONE, "", ASKED, ASKED, ASKED + 3.0)
    assert "not reached when the demand was withdrawn after 3.00 s" in outcome_words(short)


# when a case is decided


def test_a_case_is_settled_when_the_hold_is_over_and_not_before() -> None:
    crossings = [*OPEN, *both(ASKED + 1.0, True)]
    assert settled_after(hand_made(crossings), ASKED) == ASKED + 1.0 + HOLD


def test_a_case_is_settled_when_a_reached_state_is_lost_for_longer_than_a_bounce() -> None:
    crossings = [*CLAMPED, *both(ASKED + 5.0, False)]
    assert settled_after(hand_made(crossings), ASKED) == ASKED + 5.0 + BOUNCE


@pytest.mark.parametrize("before", [OPEN, (*CLAMPED, *both(ASKED + 0.3, False))])
def test_a_zone_that_is_not_safe_is_waited_for(before: tuple[tuple[float, int, bool], ...]) -> None:
    assert settled_after(hand_made(before), ASKED) == ASKED + WITHIN + GRACE


def test_nothing_is_settled_before_a_zone_is_asked() -> None:
    assert settled_after(hand_made(CLAMPED, events=()), ASKED) == inf


def test_a_zone_asked_before_the_inject_is_settled_from_then_on() -> None:
    crossings = [*OPEN, *both(ASKED + 1.0, True)]
    unasked = hand_made(crossings, events=())
    assert settled_after(unasked, ASKED, demanded_latest=ASKED) == ASKED + 1.0 + HOLD
    later = hand_made(crossings, events=[replace(STOPPED, time=ASKED + 50.0)])
    assert settled_after(later, ASKED, demanded_latest=ASKED) == ASKED + 1.0 + HOLD


def test_a_case_of_several_zones_is_settled_with_the_last_of_them() -> None:
    play = run("08_pilot_supply", (0.0, OPEN_ALL), (5.0, RideStop()), until=8.0)
    zones = play.compiled.circuit.zones
    assert len(zones) == 2
    ends = [zone.decided_at(5.0) for zone in follow(play).values()]
    assert settled_after(play, 5.0) == max(ends) > min(ends)


def test_the_latest_end_allows_for_limit_grace_and_hold() -> None:
    assert latest_end([ZONE], ASKED) == ASKED + WITHIN + GRACE + HOLD


def test_the_latest_end_is_that_of_the_zone_that_may_take_longest() -> None:
    slow, fast = strict(hold=90.0), strict(within=0.5)
    end = latest_end([fast, slow, ZONE], ASKED)
    assert end == ASKED + WITHIN + GRACE + 90.0


# alarms and beliefs


def alarm(time: float, zone: str = "block", name: str = "vent time exceeded") -> RunEvent:
    """An alarm that a run raised."""
    return RunEvent(time, zone, AlarmRaised(name, True, ()))


@pytest.mark.parametrize(
    ("found", "cause"),
    [
        ([alarm(21.0)], "vent time exceeded"),
        ([alarm(20.0, "", "low ride supply")], "low ride supply"),
        ([alarm(19.0), alarm(21.0, name="low supply"), alarm(21.5)], "low supply"),
        ([alarm(19.9)], ""),
        ([alarm(21.0, "trim")], ""),
        ([alarm(ASKED + WITHIN + GRACE)], "vent time exceeded"),
        ([alarm(ASKED + WITHIN + GRACE + 0.1)], ""),
        ([], ""),
    ],
)
def test_detected_by_an_alarm_of_the_zone_or_ride_that_is_raised_in_time(
    found: list[RunEvent], cause: str
) -> None:
    outcome = judge(hand_made(CLAMPED, raised=found), ZONE, "open", 20.0, ASKED)
    assert (outcome.detected, outcome.alarm) == (bool(cause), cause)


def test_the_definition_of_detected_names_the_time_the_judge_waits() -> None:
    assert f"no later than {GRACE:g} s after the time limit" in DETECTED


def test_an_alarm_that_is_answered_or_returns_to_normal_reveals_nothing() -> None:
    play = run(
        "02_spring_close_single",
        (1.0, ForceInput("open_1", True)),  # both switches of one brake are ON: an alarm
        (8.0, Unforce("open_1")),
        (9.0, Acknowledge("block")),
        (10.0, Reset("block")),
        (11.0, RideStop()),
        until=60.0,
    )
    zone = play.compiled.circuit.zones["block"]
    told = [event for event in play.plant.log.events if event.kind == "alarm" and event.time > 7.0]
    assert len(told) == 3, "returned to normal, acknowledged, reset"
    raised = [(zone, name) for _, zone, name in alarms_raised(play.plant.log.events)]
    assert raised == [("block", "switches disagree")]
    late = judge(play, zone, "faulted", 7.0, 11.0)
    assert (late.verdict, late.detected, late.alarm) == ("safe", False, "")
    whole = judge(play, zone, "closed", 0.5, 11.0)
    assert (whole.detected, whole.alarm) == (True, "switches disagree")


def believed(*changes: tuple[float, State]) -> list[RunEvent]:
    """State changes of the zone."""
    return [RunEvent(time, "block", StateEntered("closed", state)) for time, state in changes]


def test_believed_closed_while_the_jaws_let_go() -> None:
    let_go = [*CLAMPED, *both(25.0, False)]
    assert judge(hand_made(let_go), ZONE, "closed", 20.0, ASKED).false_indication


@pytest.mark.parametrize(
    ("clamped", "expected"),
    [
        # pressing all the time: only for how long the force is missing counts
        ((*CLAMPED, *both(25.0, False), *both(25.0 + WITHIN - 0.1, True)), False),
        ((*CLAMPED, *both(25.0, False), *both(25.0 + WITHIN + 0.1, True)), True),
    ],
)
def test_believed_closed_without_the_force_for_longer_than_the_limit(
    clamped: tuple[tuple[float, int, bool], ...], expected: bool
) -> None:
    play = hand_made(CLAMPED, clamped=clamped)
    assert judge(play, ZONE, "closed", 20.0, ASKED).false_indication is expected


@pytest.mark.parametrize(("away", "expected"), [(0.9 * BOUNCE, False), (3.0 * BOUNCE, True)])
def test_believed_closed_for_longer_than_a_bounce_of_the_jaws(away: float, expected: bool) -> None:
    play = hand_made([*CLAMPED, *both(25.0, False), *both(25.0 + away, True)])
    assert judge(play, ZONE, "closed", 20.0, ASKED).false_indication is expected


def test_what_another_zone_is_believed_to_be_is_no_belief_about_this_one() -> None:
    events = [
        *believed((21.0, "opening")),
        RunEvent(22.0, "trim", StateEntered("closing", "closed")),
    ]
    play = hand_made([*CLAMPED, *both(21.05, False)], events=events)
    assert not judge(play, ZONE, "closed", 20.0, ASKED).false_indication


def test_a_zone_that_starts_open_is_not_believed_closed_before_it_says_so() -> None:
    starts_open = ZONE.model_copy(update={"starts": "open"})
    assert not judge(hand_made(OPEN), starts_open, "open", 20.0, ASKED).false_indication


def test_no_false_belief_when_the_logic_sees_it_at_once() -> None:
    play = hand_made([*CLAMPED, *both(25.0, False)], events=believed((25.05, "faulted")))
    assert not judge(play, ZONE, "closed", 20.0, ASKED).false_indication


def test_twins_that_clamp_are_all_counted_before_the_logic_is_called_wrong() -> None:
    compiled = compile_circuit(changed("02_spring_close_single", *THREE_BRAKES), frozenset())
    assert len({brake.engaged for brake in compiled.brakes["block"]}) == 1, "one stands for three"
    sound = hand_made([(0.0, 0, True)], compiled=compiled)
    assert not judge(sound, ZONE, "closed", 20.0, ASKED).false_indication
    let_go = hand_made([(0.0, 0, True), (25.0, 0, False)], compiled=compiled)
    assert judge(let_go, ZONE, "closed", 20.0, ASKED).false_indication


STARTS_OPEN = ZONE.model_copy(update={"starts": "open"})


@pytest.mark.parametrize(
    ("clamped", "expected"),
    [(both(25.9, True), False), (((25.9, 0, True),), True), ((), True)],
    ids=["as many as are needed", "one too few", "none"],
)
def test_a_zone_that_started_open_is_believed_closed_from_when_it_says_so(
    clamped: tuple[tuple[float, int, bool], ...], expected: bool
) -> None:
    play = hand_made([*OPEN, *clamped], events=believed((26.0, "closed")))
    assert judge(play, STARTS_OPEN, "open", 20.0, ASKED).false_indication is expected


def test_a_zone_that_opens_and_closes_again_is_believed_what_it_says_meanwhile() -> None:
    jaws = [*CLAMPED, *both(25.1, False), *both(26.9, True)]
    play = hand_made(jaws, events=believed((25.0, "opening"), (27.0, "closed")))
    assert not judge(play, ZONE, "closed", 20.0, ASKED).false_indication


def test_a_brake_that_flutters_does_not_make_a_false_belief_younger() -> None:
    two = ((0.0, 0, True), (0.0, 1, True), (0.0, 2, False))
    flutter = [(25.0 + i * 0.4 * BOUNCE, 2, i % 2 == 1) for i in range(1, 6)]
    play = hand_made([*two, *both(25.0, False), *flutter, *both(25.0 + 2.5 * BOUNCE, True)])
    assert judge(play, ZONE, "closed", 20.0, ASKED).false_indication


def test_of_what_a_zone_says_at_one_instant_the_last_counts() -> None:
    at_once = believed((25.0, "closed"), (25.0, "faulted"))
    play = hand_made(OPEN, events=at_once)
    assert not judge(play, STARTS_OPEN, "open", 20.0, ASKED).false_indication


def test_what_else_is_told_of_a_zone_does_not_change_what_it_is_believed_to_be() -> None:
    told = RunEvent(24.0, "block", AlarmRaised("vent time exceeded", True, ()))
    play = hand_made([*CLAMPED, *both(25.0, False)], events=[told])
    assert judge(play, ZONE, "closed", 20.0, ASKED).false_indication


def test_what_was_believed_before_the_inject_does_not_count() -> None:
    play = hand_made(
        [*CLAMPED, *both(5.0, False), *both(10.0, True)], events=believed((10.0, "closed"))
    )
    assert not judge(play, ZONE, "closed", 20.0, ASKED).false_indication


# real runs


def run(name: str, *events: tuple[float, object], until: float) -> Play:
    """A shipped circuit, run."""
    play = Play(compile_circuit(shipped(name)))
    play.schedule(Event(time, action) for time, action in events)  # type: ignore[arg-type]
    play.advance(until)
    return play


STUCK = Inject(FaultSpec("valve", "stuck-actuated"))
OPEN_ALL = Command("all", "open")


def test_a_sound_zone_is_safe_and_its_force_is_that_of_the_springs() -> None:
    play = run("02_spring_close_single", (0.0, OPEN_ALL), (5.0, RideStop()), until=40.0)
    zone = play.compiled.circuit.zones["block"]
    outcome = judge(play, zone, "open", 5.0, 5.0)
    assert outcome.verdict == "safe"
    assert outcome.reached_after is not None and 0.05 < outcome.reached_after < 1.0
    assert outcome.indicated == "closed" and not outcome.detected
    # springs of 8 kN on the fin, less what the contact gives way
    assert outcome.least_force == pytest.approx(8000.0, rel=0.05)
    now = zone_now(play, "block")
    assert now.gap == 0.0 and isclose(now.force, outcome.least_force or 0.0)


def test_a_stuck_valve_is_unsafe_and_detected() -> None:
    play = run(
        "02_spring_close_single", (0.0, OPEN_ALL), (4.0, STUCK), (5.0, RideStop()), until=20.0
    )
    outcome = judge(play, play.compiled.circuit.zones["block"], "open", 4.0, 5.0)
    assert (outcome.verdict, outcome.reached_after) == ("unsafe", None)
    assert outcome.detected and outcome.alarm
    assert outcome.least_force == 0.0
    assert zone_now(play, "block").gap > 0.002


def test_a_clogged_silencer_is_late() -> None:
    clogged = Inject(FaultSpec("silencer", "blocked", 0.95))
    play = run(
        "06_blocked_silencer", (0.0, OPEN_ALL), (4.0, clogged), (5.0, RideStop()), until=50.0
    )
    outcome = judge(play, play.compiled.circuit.zones["block"], "open", 4.0, 5.0)
    assert outcome.verdict == "late"
    assert outcome.margin is not None and outcome.margin < 0.0


def test_a_zone_that_is_safe_when_open_is_judged_on_clearance() -> None:
    events = ((0.0, Command("all", "close")), (5.0, RideStop()))
    play = run("01_spring_open_single", *events, until=40.0)
    outcome = judge(play, play.compiled.circuit.zones["trim"], "closed", 5.0, 5.0)
    assert (outcome.verdict, outcome.safe_state, outcome.least_force) == ("safe", "open", None)
    seized = Inject(FaultSpec("brake_1", "jaw-seized"))
    play = run("01_spring_open_single", events[0], (4.0, seized), events[1], until=20.0)
    outcome = judge(play, play.compiled.circuit.zones["trim"], "closed", 4.0, 5.0)
    assert outcome.verdict == "unsafe"


@pytest.mark.parametrize("name", ["01_spring_open_single", "02_spring_close_single"])
def test_the_brake_that_failed_is_named_with_what_failed(name: str) -> None:
    seized = Inject(FaultSpec("brake_2", "jaw-seized"))
    away = Command("all", "close" if name.startswith("01") else "open")
    events = ((0.0, away), (4.0, seized), (5.0, RideStop()))
    play = Play(compile_circuit(shipped(name), frozenset({"brake_2"})))
    play.plant.record(0.05, 20.0)
    play.schedule(Event(time, action) for time, action in events)  # type: ignore[arg-type]
    play.advance(20.0)
    (zone,) = play.compiled.circuit.zones.values()
    outcome = judge(play, zone, "", 4.0, 5.0)
    assert (outcome.verdict, outcome.furthest) == ("unsafe", ("brake_2",))
    trace = zone_trace(play, "c", [outcome])
    need = zone.requirement
    assert trace.brake == {zone.name: "brake_2"}
    if zone.safe_state == "open":  # it still clamps
        assert outcome.clearance == 0.0 and (outcome.force or 0.0) > 1000.0
        assert trace.required == {zone.name: need.clearance}
    else:  # it never clamps
        assert (outcome.clearance or 0.0) > 1e-3 and outcome.force == 0.0
        assert trace.required == {zone.name: need.clamping_force}
    assert trace.position[zone.name][-1] == pytest.approx(outcome.clearance, abs=1e-6)
    assert trace.force[zone.name][-1] == pytest.approx(outcome.force, abs=1.0)
    now = zone_now(play, zone.name)
    assert now.brake == "brake_2"
    assert (now.gap, now.force) == (outcome.clearance, outcome.force)


def test_a_brake_that_let_go_for_a_while_is_further_from_safe_than_one_that_did_not() -> None:
    let_go = (ASKED + 3.0, 1, False), (ASKED + 9.0, 1, True)
    assert verdict(*CLAMPED, *let_go).furthest == ("brake_2",)
    # what it did before it was needed does not count, and the time it has been out does
    before = (ASKED - 9.0, 0, False), (ASKED - 1.0, 0, True)
    later = (ASKED + 20.0, 2, False)
    assert verdict(*CLAMPED, *before, *let_go, later, now=ASKED + 25.0).furthest == ("brake_2",)
    assert verdict(*CLAMPED, *before, *let_go, later, now=ASKED + 27.0).furthest == ("brake_3",)


@pytest.mark.parametrize(
    "crossings",
    [
        # 2 s and 2 s against 3 s: what counts is all of it
        [*CLAMPED,
         (ASKED + 1.0, 1, False), (ASKED + 3.0, 1, True),
         (ASKED + 1.0, 0, False), (ASKED + 4.0, 0, True),
         (ASKED + 5.0, 1, False), (ASKED + 7.0, 1, True)],
        # 3 s, and 2 s until the end, against 4 s
        [*CLAMPED,
         (ASKED + 1.0, 1, False), (ASKED + 4.0, 1, True),
         (ASKED + 1.0, 0, False), (ASKED + 5.0, 0, True),
         (ASKED + 8.0, 1, False)],
        # never clamped at all
        [(0.0, 0, False), (0.0, 1, False), (0.0, 2, False),
         (ASKED + 1.0, 0, True), (ASKED + 1.0, 2, True)],
    ],
)  # fmt: skip
def test_all_the_time_a_brake_was_out_of_its_place_counts(
    crossings: list[tuple[float, int, bool]],
) -> None:
    assert verdict(*crossings, now=ASKED + 10.0).furthest == ("brake_2",)


def test_of_brakes_that_are_open_the_one_with_the_least_clearance_is_the_furthest() -> None:
    compiled = compile_circuit(shipped("01_spring_open_single"), frozenset({"brake_1"}))
    play = Play(compiled)
    play.act(Inject(FaultSpec("brake_1", "lining-worn", 1e-3)))  # the other linings are nearer
    play.schedule([Event(0.0, RideStop())])
    play.advance(2.0)
    zone = play.compiled.circuit.zones["trim"]
    outcome = judge(play, zone, "", 0.0, 0.0)
    assert outcome.furthest == ("brake_2",) and zone_now(play, "trim").brake == "brake_2"


def test_a_brake_that_was_out_before_it_was_asked_is_no_further_from_safe_than_others() -> None:
    before = (ASKED - 9.0, 1, False), (ASKED - 1.0, 1, True)
    assert verdict(*CLAMPED, *before).furthest == ("brake_1",)


def test_of_brakes_that_press_the_one_that_presses_least_is_the_furthest_from_safe() -> None:
    tired = Inject(FaultSpec("brake_2", "spring-weak", 0.2))
    compiled = compile_circuit(shipped("02_spring_close_single"), frozenset({"brake_2"}))
    play = Play(compiled)
    play.act(tired)
    play.schedule([Event(0.0, RideStop())])
    play.advance(2.0)
    now = zone_now(play, "block")
    assert (now.brake, now.gap) == ("brake_2", 0.0) and now.force < 0.9 * 8000.0


def test_brakes_that_move_alike_are_named_together() -> None:
    compiled = compile_circuit(changed("02_spring_close_single", *THREE_BRAKES), frozenset())
    outcome = judge(hand_made([(0.0, 0, True)], compiled=compiled), ZONE, "", 20.0, ASKED)
    assert outcome.furthest == ("brake_1", "brake_2", "brake_3")


# when a zone is asked


def did(time: float, action: Action) -> RunEvent:
    """Something done to the ride."""
    return RunEvent(time, "", Commanded(action))


STOP = RunEvent(1.0, "", RideStopped("command"))
RESET = RunEvent(4.0, "", RideStopReset())
OFF, ON = did(2.0, Power(False)), did(3.0, Power(True))
FAULTED = RunEvent(2.5, "block", StateEntered("closed", "faulted"))
CLEARED = RunEvent(5.0, "block", StateEntered("faulted", "venting"))


@pytest.mark.parametrize(
    ("events", "expected"),
    [
        ([], ()),
        ([did(1.0, OPEN_ALL)], ()),
        ([did(1.0, RideStop())], (Demand(1.0, inf),)),
        ([STOP], (Demand(1.0, inf),)),
        ([STOP, replace(STOP, time=4.0)], (Demand(1.0, inf),)),
        ([STOP, RESET], (Demand(1.0, 4.0),)),
        ([OFF], (Demand(2.0, inf),)),
        ([OFF, ON], (Demand(2.0, 3.0),)),
        ([STOP, OFF, ON], (Demand(1.0, inf),)),
        # what is said of something else takes nothing back
        ([STOP, RunEvent(2.0, "", AlarmRaised("low ride supply", False, ()))], (Demand(1.0, inf),)),
        ([OFF, did(2.5, OPEN_ALL)], (Demand(2.0, inf),)),
        ([STOP, OFF, RESET], (Demand(1.0, inf),)),
        ([FAULTED], (Demand(2.5, inf),)),
        ([FAULTED, CLEARED], (Demand(2.5, 5.0),)),
        ([STOP, RESET, replace(OFF, time=9.0)], (Demand(1.0, 4.0), Demand(9.0, inf))),
        ([replace(FAULTED, subject="trim")], ()),
    ],
)
def test_demands(events: list[RunEvent], expected: tuple[Demand, ...]) -> None:
    assert demands(events).every == expected


@pytest.mark.parametrize(("since", "expected"), [(0.0, 1.0), (1.0, 1.0), (1.1, 9.0), (9.1, None)])
def test_the_first_demand_is_the_first_from_a_time_on(since: float, expected: float | None) -> None:
    # what stands already when the injection comes is no answer to it
    assert demands([STOP, RESET, replace(OFF, time=9.0)]).first(since) == expected


def test_the_words_of_a_real_run_start_and_end_a_demand() -> None:
    play = run(
        "02_spring_close_single",
        *((1.0, OPEN_ALL), (5.0, RideStop()), (9.0, Reset("all")), (11.0, Power(False))),
        until=12.0,
    )
    found = demands(play.plant.log.events).every
    assert [(round(d.start, 2), round(d.end, 2)) for d in found] == [(5.0, 9.0), (11.0, inf)]


def test_a_demand_that_is_taken_back_is_judged_until_then() -> None:
    play = hand_made([*OPEN, *both(ASKED + 1.0, True)], now=ASKED + 100.0)
    outcome = judge(play, ZONE, "", ASKED, ASKED, ASKED + 3.0)
    assert (outcome.verdict, outcome.decided) == ("safe", True)
    assert outcome.held == pytest.approx(2.0)
    early = judge(play, ZONE, "", ASKED, ASKED, ASKED + 0.5)
    assert (early.verdict, early.decided, early.reached_after) == ("unsafe", False, None)
