"""Tests of pneumo/live/check.py: what a check of the running ride says and what it leaves alone."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.sentence import parse_action
from pneumo.circuit.validate import load
from pneumo.errors import InputError
from pneumo.live.check import (
    about,
    answer_data,
    begin,
    losses_for,
    outcome_data,
    quick,
    trial_of,
    verified,
)
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.scenario.play import Play
from pneumo.scenario.pressure import node_pressure
from pneumo.verification.campaign import Campaign
from pneumo.verification.case import Condition, Loss
from pneumo.verification.plan import READY, losses, preparation
from pneumo.verification.verdict import Case, Verification
from pneumo.verification.wording import outcome_words

CIRCUITS = Path(__file__).parents[2] / "circuits"

OPENING, CLOSING, RIDE = "01_spring_open_single", "02_spring_close_single", "sand_martin"
PILOT = "08_pilot_supply"


@cache
def circuit(name: str) -> Circuit:
    return load(CIRCUITS / f"{name}.yaml")


@cache
def compiled(name: str) -> Compiled:
    """As the dashboard compiles: every component on its own."""
    return compile_circuit(circuit(name), None)


@cache
def _at_rest(name: str, condition: Condition) -> Play:
    play = Play(compiled(name))
    play.schedule(Event(at, action) for at, action in preparation(condition))
    play.advance(READY)
    return play


def at_rest(name: str, condition: Condition) -> Play:
    """The ride, in a state in which a verification injects."""
    return _at_rest(name, condition).snapshot()


def do(play: Play, sentence: str) -> None:
    """An act on the ride."""
    own = play.compiled.circuit
    play.act(parse_action(sentence, own.components, own.zones, own.gates, play.now))


@cache
def cases(name: str) -> tuple[Case, ...]:
    """The losses of the verification of the healthy ride, at rest."""
    campaign = Campaign(circuit(name))
    campaign.select(faults=False)
    return tuple(
        result.case
        for job in campaign.jobs()
        if job.condition in ("open", "closed") and job.trial.injection.loss
        for result in campaign.run(job)
    )


def results(name: str) -> Verification:
    return Verification(name, name, "", cases(name), (), (), (), "0")


@pytest.mark.parametrize("condition", ["open", "closed"])
@pytest.mark.parametrize(
    ("name", "zone"),
    [
        (OPENING, "trim"), (CLOSING, "block"), (PILOT, "block"), (PILOT, "holding"),
        (RIDE, "trim"), (RIDE, "block"),
    ],
)  # fmt: skip
def test_a_healthy_ride_gives_what_the_verification_gives(
    name: str, zone: str, condition: Condition
) -> None:
    play = at_rest(name, condition)
    found = quick(play, zone)
    assert [loss for loss, _ in found] == [
        trial.injection.loss for trial in losses(circuit(name)) if trial.zone in (None, zone)
    ]
    for loss, outcome in found:
        expected = verified(results(name), zone, loss, outcome.injected_during)
        assert expected is not None, loss
        same = (
            "verdict",
            "decided",
            "detected",
            "alarm",
            "limit",
            "lost_after",
            "false_indication",
        )
        assert [getattr(outcome, n) for n in same] == [getattr(expected, n) for n in same], loss
        assert outcome.decided
        # twins are integrated one by one here and together there
        assert outcome.reached_after == pytest.approx(expected.reached_after, abs=1e-4), loss
        assert outcome.held == pytest.approx(expected.held, abs=1e-4)


def test_played_in_small_pieces_it_comes_to_the_same() -> None:
    play = at_rest(CLOSING, "open")
    for loss in [trial.injection.loss for trial in losses_for(circuit(CLOSING), "block")]:
        check = begin(play, "block", loss)
        seen = set()
        now = check.injected_at
        while not check.decided:
            assert check.outcome is None or not check.outcome.decided or check.demand > now
            now += 0.3
            check.advance(now)
            seen.add(check.frame.note.partition(", ")[2])
        last = check.outcome
        final = begin(play, "block", loss).finish()
        assert last is not None and (last.verdict, last.reached_after, last.lost_after) == (
            final.verdict, final.reached_after, final.lost_after
        )  # fmt: skip
        assert len(seen) > 3  # it tells how it goes on
        assert last.decided and check.frame.note.endswith(f"{last.verdict}: {outcome_words(last)}")


def test_a_zone_is_decided_while_others_are_not() -> None:
    play = at_rest(RIDE, "closed")
    for valve in ("a", "b"):
        do(play, f"fault trim_valve_{valve} stuck-actuated")
    check = begin(play, "trim", Loss("power"))
    zone = circuit(RIDE).zones["trim"]
    check.advance(check.injected_at + zone.requirement.within + 9.9)
    assert not check.decided and "not open yet" in check.frame.note
    check.advance(check.injected_at + zone.requirement.within + 10.1)
    assert check.decided and "unsafe: at least 3 of 4 brakes open not reached" in check.frame.note
    assert check.play.now < check.end - 40.0  # the others hold for a minute


def test_before_the_zone_is_asked_there_is_no_verdict() -> None:
    check = begin(at_rest(OPENING, "closed"), "trim", Loss("supply stopped"))
    check.advance(check.injected_at + 0.5)
    assert check.outcome is None and not check.decided
    assert check.frame.note == (
        "Check of trim, loss of air: supply stopped: ride stop in "
        f"{check.demand - check.play.now:.1f} s"
    )
    assert (
        check.clock
        == check.demand
        == check.injected_at + trial_of(circuit(OPENING), "trim", check.loss).demand_after
    )


def test_the_limit_runs_from_a_loss_of_power() -> None:
    check = begin(at_rest(OPENING, "closed"), "trim", Loss("power"))
    assert check.clock == check.injected_at < check.demand
    check.advance(check.injected_at + 0.05)
    assert check.outcome is not None and check.outcome.reached_after is None
    assert "not open yet" in check.frame.note


def test_the_ride_itself_is_not_touched() -> None:
    play = at_rest(RIDE, "closed")
    do(play, "fault receiver leak 3 mm over 5 s")
    play.advance(READY + 1.0)
    alone = play.snapshot()
    events, crossings = list(play.plant.log.events), list(play.plant.log.crossings)
    before = play.plant.state().tobytes()
    quick(play, "trim")
    running = begin(play, "block", Loss("header vented"))
    running.advance(READY + 2.0)
    assert play.now == READY + 1.0 and play.plant.state().tobytes() == before
    assert (play.plant.log.events, play.plant.log.crossings) == (events, crossings)
    for ride in (play, alone):
        ride.schedule([Event(READY + 2.0, parse_action("ride stop", {}, {}))])
        ride.advance(READY + 5.0)
    assert play.plant.state().tobytes() == alone.plant.state().tobytes()
    assert (
        play.plant.log.events == alone.plant.log.events
        and play.plant.log.crossings == alone.plant.log.crossings
    )


@pytest.mark.parametrize("loss", [None, Loss("power")])
def test_a_stuck_valve_makes_it_unsafe_and_says_why(loss: Loss | None) -> None:
    play = at_rest(OPENING, "closed")
    assert begin(play, "trim", loss).finish().verdict == "safe"
    do(play, "fault valve stuck-actuated")
    outcome = begin(play, "trim", loss).finish()
    assert (outcome.verdict, outcome.reached_after, outcome.margin) == ("unsafe", None, None)
    assert outcome_words(outcome) == "all brakes open not reached (limit 1.5 s, watched for 11.5 s)"
    assert outcome.detected and outcome.alarm
    healthy = verified(results(OPENING), "trim", Loss("power"), "closed")
    assert healthy is not None and healthy.verdict == "safe"


def test_a_zone_that_was_asked_before_is_judged_from_the_ride_stop_of_the_check() -> None:
    play = at_rest(CLOSING, "open")
    do(play, "ride stop")
    play.advance(READY + 5.0)
    for _, outcome in quick(play, "block"):
        assert (outcome.verdict, outcome.reached_after) == ("safe", 0.0)
        assert outcome.decided and outcome.injected_during == "closed"


def test_a_fault_of_the_ride_is_not_made_lighter_by_the_loss() -> None:
    def drained(*faults: str) -> float:
        play = at_rest(RIDE, "closed")
        for sentence in faults:
            do(play, sentence)
        check = begin(play, "trim", Loss("supply stopped"))
        check.advance(check.injected_at + 10.0)
        node = next(iter(check.play.compiled.parts["receiver"].ports.values()))
        return float(
            node_pressure(check.play.plant.network, check.play.plant.state()[None, :], node)[0]
        )

    # the loss leaves a hole of 8 mm in the receiver
    assert drained("fault receiver leak 8 mm") == pytest.approx(drained(), rel=1e-9)
    assert drained("fault receiver leak 12 mm") < 0.9 * drained()
    # one that grows or comes and goes does not close the hole again
    for shape in ("leak 1 mm over 5 s", "leak 1 mm every 4 s for 1 s"):
        assert drained(f"fault receiver {shape}") == pytest.approx(drained(), rel=1e-9)


def test_what_is_asked_for_must_exist() -> None:
    play = at_rest(OPENING, "open")
    with pytest.raises(InputError, match=r"There is no zone trin\. Did you mean 'trim'\?"):
        begin(play, "trin")
    with pytest.raises(InputError, match=r"no loss of air: storage feed cut for zone trim\."):
        begin(play, "trim", Loss("feed cut", "storage"))
    assert begin(play, "trim").loss == trial_of(circuit(OPENING), "trim").injection.loss


def test_every_zone_has_its_own_feed_among_its_losses() -> None:
    for zone in circuit(RIDE).zones:
        found = [trial.injection.loss for trial in losses_for(circuit(RIDE), zone)]
        assert [loss for loss in found if loss.what == "feed cut"] == [Loss("feed cut", zone)]
    first = about(losses_for(circuit(OPENING), "trim")[0])
    assert first.startswith("switch off supply")
    assert "ride stop 2 s later" in first


def test_the_answer_is_plain_data() -> None:
    play = at_rest(CLOSING, "open")
    found = quick(play, "block")
    data = answer_data("block", Loss("power"), found)
    assert (data["zone"], data["loss"], len(data["outcomes"])) == ("block", Loss("power"), 5)
    for entry, (loss, outcome) in zip(data["outcomes"], found, strict=True):
        assert entry == outcome_data(loss, outcome)
        assert entry["margin"] == outcome.limit - entry["reached_after"]
        assert all(isinstance(v, str | float | bool | Loss | None) for v in entry.values())


def test_verified_takes_the_worst_of_the_same_state_and_no_other_state() -> None:
    found = results(CLOSING)
    assert verified(found, "block", Loss("power"), "opening") is None
    assert verified(found, "block", Loss("feed cut", "none"), "open") is None
    assert verified(found, "trim", Loss("power"), "open") is None


def test_a_check_is_the_same_each_time() -> None:
    play = at_rest(RIDE, "open")
    first, second = (begin(play, "block", Loss("power")) for _ in range(2))
    first.finish(), second.finish()
    assert np.array_equal(first.play.plant.state(), second.play.plant.state())


def test_a_zone_that_is_in_its_safe_state_already_is_said_to_be() -> None:
    play = at_rest(CLOSING, "closed")
    check = begin(play, "block", Loss("power"))
    check.advance(check.injected_at + 1.0)
    assert "power: already closed, held 1 s so far (required " in check.frame.note
    moving = begin(at_rest(CLOSING, "open"), "block", Loss("power"))
    moving.advance(moving.injected_at + 8.0)
    assert "closed after " in moving.frame.note and "already" not in moving.frame.note
