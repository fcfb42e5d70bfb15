"""A run that takes the steps of another one for whatever its fault does not reach."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from play_toys import at, balances, bench, compiled, trace

from pneumo.network.network import Array
from pneumo.scenario import reference
from pneumo.scenario.play import Play
from pneumo.scenario.telling import told
from pneumo.simulation.position import Trajectory

STRUCK_AT, END_AT = 2.0, 8.0
TRIM, REST = 0, -1
"""Partitions of Sand Martin."""
APART = ("trim_brake_1", "trim_hose_1")


@cache
def nominal() -> tuple[Play, Play, Trajectory]:
    """Sand Martin, every zone moving: its state at the injection, at the end, its steps between."""
    play = Play(compiled("sand_martin.yaml", APART))
    play.schedule(play.compiled.circuit.scenarios["every zone cycles"].events)
    play.advance(STRUCK_AT)
    stored = play.snapshot()
    reference.record(play.plant)
    play.advance(END_AT)
    return stored, play, reference.recorded(play.plant)


def injected(*sentences: str, replayed: bool, until: float = END_AT) -> Play:
    """The same run with something else done at the injection."""
    stored, _, trajectory = nominal()
    play = stored.snapshot()
    if replayed:
        reference.replay(play.plant, trajectory)
    for event in at(play.compiled, STRUCK_AT, *sentences):
        play.act(event.action)
    play.advance(until)
    return play


def replayed(play: Play) -> list[int]:
    """Partitions whose steps are still taken from the other run."""
    found: list[int] = np.flatnonzero(play.plant.position.replayed >= 0).tolist()
    return found


def partition_states(play: Play, partition: int) -> Array:
    """Main states of a partition now."""
    first = play.plant.network.state
    partitions = range(len(first) - 1)
    return play.plant.state()[first[partitions[partition]] : first[partitions[partition] + 1]]


def test_without_a_difference_it_is_the_same_run_and_computes_nothing() -> None:
    before, exact, _ = nominal()
    play = injected(replayed=True, until=END_AT - 0.5)
    assert len(replayed(play)) == len(play.plant.position.partition)
    assert play.plant.steps == before.plant.steps
    play.advance(END_AT)
    assert np.array_equal(play.plant.state(), exact.plant.state())
    assert trace(play) == trace(exact)


def test_only_the_zone_with_the_fault_is_computed() -> None:
    """A seized jaw takes hardly less air: nobody else notices within what is allowed."""
    play = injected("fault trim_brake_1 jaw-seized", replayed=True, until=END_AT - 0.5)
    assert replayed(play) == list(range(1, len(play.plant.position.partition)))
    alone = injected("fault trim_brake_1 jaw-seized", replayed=False, until=END_AT - 0.5)
    stored = nominal()[0].plant.steps[0]
    assert play.plant.steps[0] - stored < 0.6 * (alone.plant.steps[0] - stored)
    assert [told(e.what) for e in play.plant.log.events] == [
        told(e.what) for e in alone.plant.log.events
    ]
    one, other = partition_states(play, TRIM), partition_states(alone, TRIM)
    size = alone.plant.network.scale[: len(other)] + np.abs(other)
    assert np.abs((one - other) / size).max() < 1e-3


@pytest.mark.parametrize("sentence", ["ride stop", "open trim", "close trim"])
def test_what_is_done_otherwise_is_computed_and_like_the_run_on_its_own(sentence: str) -> None:
    play, alone = injected(sentence, replayed=True), injected(sentence, replayed=False)
    # brakes alike reach a switch at one scan: which is told first is a matter of the last digit
    said, expected = (
        [
            (e.subject, told(e.what))
            for e in sorted(run.plant.log.events, key=lambda e: (e.time, e.subject))
        ]
        for run in (play, alone)
    )
    assert said == expected
    times = np.array([[e.time for e in run.plant.log.events] for run in (play, alone)])
    assert np.abs(times[0] - times[1]).max() < 0.02 + 1e-9, "a scan at most"


def test_a_zone_that_draws_too_much_air_ends_it() -> None:
    """A burst hose empties the ride: from then on everything is computed, and no air is lost."""
    play = injected("fault trim_hose_1 burst", replayed=True, until=END_AT - 0.5)
    assert replayed(play) == []
    alone = injected("fault trim_hose_1 burst", replayed=False, until=END_AT - 0.5)
    before, _, mass, _ = balances(nominal()[0])
    assert abs(balances(play)[0] - before) < 1e-12 * mass
    one, other = partition_states(play, REST), partition_states(alone, REST)
    size = alone.plant.network.scale[-len(other) :] + np.abs(other)
    assert np.abs((one - other) / size).max() < 5e-3


TANK = """
ride: {name: a tank ahead of a regulator}
components:
  feed: {kind: electrical_feed}
  supply: {kind: ideal_supply, pressure: 8 bar}
  check: {kind: check_valve, C: CHECK L/(s·bar), b: 0.3}
  tank: {kind: receiver, volume: VOLUME L}
  regulator: {kind: regulator, set_pressure: 5.5 bar, C: 8 L/(s·bar), b: 0.3}
  valve: {kind: valve_3_2, C: 10 L/(s·bar), b: 0.3, feed: feed}
  silencer: {kind: silencer, C: 10 L/(s·bar), b: 0.4}
  hose: {kind: hose, bore: 9 mm, length: 1 m}
  brake: {kind: bladder_brake, spring: close, area: 300 cm2, spring_force: 8 kN,
          spring_rate: 120 N/mm}
connections:
  - supply.2 -> check.1
  - check.2 -> tank.1
  - tank.2 -> regulator.1
  - regulator.2 -> valve.1
  - valve.3 -> silencer.1
  - valve.2 -> hose.1
  - hose.2 -> brake.1
zones:
  block:
    brakes: [brake]
    outputs: {valve.14: charge}
    safe_state: closed
    requirement: {within: 1.5 s, clamping_force: 5 kN}
"""


@pytest.mark.parametrize("fault", ["regulator burst", "regulator leak 8 mm", "hose burst"])
@pytest.mark.parametrize(("volume", "check"), [("20", "10"), ("2.5", "0.5"), ("90", "40")])
def test_a_zone_never_draws_more_than_the_rest_of_the_ride_holds(
    fault: str, volume: str, check: str
) -> None:
    """Where nothing happens the rest of the ride is given steps of seconds. A zone that is torn
    open within one has its draught felt at once, not when that step is over: the tank would be
    told in one lump of more air than it had."""
    plan = bench(TANK.replace("VOLUME", volume).replace("CHECK", check))
    stored = Play(plan)
    stored.schedule(at(plan, 0.0, "open block") + at(plan, 20.0, "close block"))
    stored.advance(20.12)
    undisturbed = stored.snapshot()
    reference.record(undisturbed.plant)
    undisturbed.advance(40.0)
    ends = []
    for trajectory in (reference.recorded(undisturbed.plant), None):
        play = stored.snapshot()
        if trajectory is not None:
            reference.replay(play.plant, trajectory)
            assert replayed(play)
        play.act(at(plan, 20.12, f"fault {fault}")[0].action)
        for until in (20.5, 22.0, 30.0):
            play.advance(until)
            ends.append(partition_states(play, REST))
        assert balances(play)[0] == pytest.approx(balances(stored)[0], rel=1e-10)
    half = len(ends) // 2
    size = plan.network.scale[-len(ends[0]) :] + np.abs(ends[0])
    for one, other in zip(ends[:half], ends[half:], strict=True):
        assert np.abs((one - other) / size).max() < 5e-3


def test_an_act_on_the_rest_of_the_ride_ends_it() -> None:
    play = injected("isolate main_shut_off", replayed=True, until=STRUCK_AT + 0.5)
    alone = injected("isolate main_shut_off", replayed=False, until=STRUCK_AT + 0.5)
    assert replayed(play) == []
    assert np.array_equal(play.plant.state(), alone.plant.state())


def test_a_run_that_is_not_its_snapshot_follows_nothing() -> None:
    _, exact, trajectory = nominal()
    other = Play(exact.compiled)
    other.advance(STRUCK_AT)
    reference.replay(other.plant, trajectory)
    other.advance(STRUCK_AT + 1.0)
    plain = Play(exact.compiled)
    plain.advance(STRUCK_AT + 1.0)
    assert np.array_equal(other.plant.state(), plain.plant.state())
