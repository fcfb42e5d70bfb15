"""Every run ends: nothing repeats without time going by, and what cannot go on says so."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from play_toys import BENCH, CIRCUITS, at, bench, circuit, compiled, start

from pneumo.network.compile import Compiled, compile_circuit
from pneumo.scenario.play import Play, SimulationError, StalledError
from pneumo.verification.plan import Trial, trials

ALWAYS = 1e-6
"""A moment that comes in any run [s]."""


@cache
def settled(document: str, apart: frozenset[str]) -> Play:
    return Play(compile_circuit(circuit(document), apart))


def faults(document: str) -> list[Trial]:
    """Every fault of a document, one for all that are alike."""
    return [trial for trial in trials(circuit(document)) if trial.kind == "fault"]


@pytest.mark.parametrize("document", sorted(path.name for path in CIRCUITS.glob("*.yaml")))
def test_every_fault_can_be_injected_at_time_zero(document: str) -> None:
    """There the run begins on a tick of the controller, so that what a fault changes at once
    crosses within the rounding of a tick."""
    for trial in faults(document):
        play = settled(document, trial.apart).snapshot()
        for action in trial.actions:
            play.act(action)
        play.advance(0.05)
        assert play.now == 0.05


@pytest.mark.parametrize("time", [0.0, 1.0, 1.02, 2.0, 2.013])
def test_a_signal_lost_on_a_tick_is_read_at_the_next_scan(time: float) -> None:
    play = settled("sand_martin.yaml", frozenset()).snapshot()
    play.schedule(at(play.compiled, time, "fault storage_pressure signal-lost"))
    play.advance(time + 0.1)
    heard = [e for e in play.events if e.time >= time and e.subject == "storage"]
    assert heard
    assert time <= heard[0].time <= time + play.scan + 1e-9


def test_an_input_within_the_rounding_of_a_tick_is_read_at_it() -> None:
    """Later by less than the tick is rounded, and by more than the last digit of the time."""
    play = Play(bench())
    play.advance(0.99)
    watch = play.compiled.contacts[play.compiled.parts["made"].contact].watch
    play._pending.append((1.0 + 8e-12, 1.0 - 0.005, watch, True))
    play._scan_at = 1.0
    play.advance(1.0 + ALWAYS)
    assert play.said(watch)
    assert not play._pending


def test_a_limit_within_the_rounding_of_a_tick_ends_at_the_next_one() -> None:
    """The scan comes just too early for it; asking for the same tick again would never end."""
    text = BENCH.replace("{name: bench}", "{name: bench, scan: 1 s}").replace(
        "    safe_state: closed",
        "    limits: {open: 4.0000000015 s, disagree: 3 s}\n    safe_state: closed",
    )
    play = start(bench(text), *at(bench(text), 0.0, "fault valve stuck-rest", "open block"))
    play.advance(9.0)
    assert [e.time for e in play.events if "open time exceeded" in e.text][:1] == [5.0]


# what cannot go on says so


def test_a_run_that_no_longer_comes_on_stops_by_itself() -> None:
    play = Play(bench())
    play.advance(0.5)
    play._plan_scan = lambda: setattr(play, "_scan_at", play.now)  # type: ignore[method-assign]
    play.schedule(at(play.compiled, 1.0, "open block"))
    with pytest.raises(StalledError, match=r"stopped at 1\.000000 s: .* Last: block"):
        play.advance(2.0)


def test_steps_without_end_stop_a_run_and_name_the_place() -> None:
    plan = bench()
    play = start(plan, *at(plan, 1.0, "open block"))
    play.most_steps = 4
    with pytest.raises(StalledError, match=r"it no longer comes on, 4 steps") as error:
        play.advance(2.0)
    assert any(f"{name} (bench:" in str(error.value) for name in plan.circuit.components)
    patient = start(plan, *at(plan, 1.0, "open block"))
    patient.advance(2.0)


def test_an_impossible_state_is_named_with_its_line() -> None:
    play = Play(bench())
    node = play.network.node[play.compiled.parts["manifold"].ports["1"]]
    play.position.y[node["mass"]] = -1e-6
    play._touch(range(len(play.position.cell)))
    with pytest.raises(SimulationError, match=r"near .*manifold \(bench:7\).*no step is short"):
        play.advance(1.0)


def test_more_switching_points_than_there_is_room_for_are_handed_over_in_between() -> None:
    """Nobody acts on what is only observed: a long run may gather any number of them."""

    def run(room: int) -> Play:
        play = Play(plan)
        play.position = play.position._replace(found=np.zeros((room, 3)))
        play.schedule(events)
        play.advance(20.0)
        return play

    plan: Compiled = compiled("02_spring_close_single.yaml")
    events = [
        e
        for t in range(1, 20)
        for e in at(plan, float(t), "open block" if t % 2 else "close block")
    ]
    small, wide = run(8), run(4096)
    assert small.crossings == wide.crossings
    assert small.events == wide.events
    assert len(wide.crossings) > 100
