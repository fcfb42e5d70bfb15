"""Actors in a campaign, and in what programs call: verdicts take in what they do."""

from __future__ import annotations

import pickle
from math import inf

import pytest
from actor_toys import Fitter, Mechanic, Train
from verification_bench import shipped

import pneumo
from pneumo.scenario.actor import Actor
from pneumo.scenario.event import Commanded
from pneumo.verification.campaign import Campaign, Result
from pneumo.verification.case import Injection
from pneumo.verification.plan import READY

ONE = "02_spring_close_single"

HOLDS = Mechanic("block", "valve", ("manifold", "1"), inf, READY + 0.1)
"""Keeps the valve of a zone that springs close actuated, from the event on."""


def no_fault(*actors: Actor) -> Result:
    """The ride stop of a zone that is open, nothing injected."""
    campaign = Campaign(shipped(ONE), actors=actors)
    job = next(job for job in campaign.jobs() if job.trial.injection == Injection())
    (result,), again = campaign.run(job), campaign.run(job)
    assert job.condition == "open" and not result.failure
    assert again == (result,), "every case has actors of its own"
    return result


def test_a_verdict_takes_in_what_they_do() -> None:
    assert no_fault().case.worst == "safe"
    case = no_fault(HOLDS).case
    assert case.worst == "unsafe"
    assert case.replay == "", "no command has him"


def test_whoever_treats_one_of_two_alike_otherwise_is_not_hidden_by_symmetry() -> None:
    narrow = Fitter("hose_2", "segment 1", 1e4, READY - 15.0)
    trials = Campaign(shipped(ONE), actors=[narrow]).trials
    burst = {fault.component for trial in trials for fault in trial.injection.faults
             if fault.mode == "burst"}  # fmt: skip
    assert {"hose_1", "hose_2"} <= burst
    assert all(len(trial.represents) <= 1 for trial in trials)
    # the brake behind the hose that was narrowed does not vent within its limit
    case = no_fault(narrow).case
    (outcome,) = case.outcomes
    assert case.worst != "safe" and outcome.furthest == ("brake_2",)


def test_a_campaign_that_is_sent_keeps_them() -> None:
    campaign = Campaign(shipped(ONE), actors=[HOLDS])
    campaign.select(faults=False)
    twin = pickle.loads(pickle.dumps(campaign))
    assert twin.actors == campaign.actors
    assert [job.trial.injection for job in twin.jobs()] == [
        job.trial.injection for job in campaign.jobs()
    ]
    assert not pickle.loads(pickle.dumps(Campaign(shipped(ONE), replayed=False)))._replayed


# what programs call


def test_a_run_has_them() -> None:
    circuit = pneumo.load(ONE)
    train = Train("block", 5.0, 1.25, 0.7)
    run = pneumo.run(circuit, until=3.0, actors=[train])
    acts = [event for event in run.events if isinstance(event.what, Commanded)]
    fins = [event.time for event in acts if event.kind == "fin"]
    assert fins == pytest.approx([0.7, 1.95])
    assert pneumo.run(circuit, until=3.0, actors=[train]).events == run.events
    assert len(pneumo.run(circuit, until=3.0).events) < len(run.events)


def test_what_they_disturb_is_not_laid_to_the_circuit() -> None:
    circuit = pneumo.load(ONE)
    holds = Mechanic("block", "valve", ("manifold", "1"), inf, 2.0)
    run = pneumo.run(circuit, until=8.0, actors=[holds])
    assert run.zones["block"].state == "faulted"
    assert run.unsound == ()


def test_what_is_wrong_before_they_act_is_found_with_its_cause() -> None:
    narrow = Fitter("hose_1", "segment 1", 1e4, 0.5)
    run = pneumo.run(pneumo.load(ONE), do=["at 1 s: open block"], until=8.0, actors=[narrow])
    (found,) = run.unsound
    assert (found.zone, found.what) == ("block", "alarm")


def test_a_verification_has_them_and_says_so() -> None:
    found = pneumo.verify(pneumo.load(ONE), faults=False, workers=0, actors=[HOLDS])
    assert found.finished
    assert any(case.worst == "unsafe" for case in found.cases if case.injection == Injection())
    assert "In every case these act besides: Mechanic." in found.assumptions
    alone = pneumo.verify(pneumo.load(ONE), faults=False, workers=0)
    assert not any("besides" in sentence for sentence in alone.assumptions)
    assert [case.injection for case in alone.cases] == [case.injection for case in found.cases]
