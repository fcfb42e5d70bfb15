"""Every run ends: nothing repeats without time going by, and what cannot go on says so."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from play_toys import BENCH, CIRCUITS, at, bench, circuit, compiled, start

from pneumo.circuit.sentence import SentenceError
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.scenario import situation
from pneumo.scenario.log import MOST_LISTED
from pneumo.scenario.plant import SimulationError, StalledError
from pneumo.scenario.play import Play
from pneumo.scenario.supplies import COMPRESSOR_TIME
from pneumo.scenario.telling import told
from pneumo.verification.plan import Trial, trials

ALWAYS = 1e-6
"""A moment that comes in any run [s]."""


@cache
def settled(document: str, apart: frozenset[str]) -> Play:
    return Play(compile_circuit(circuit(document), apart))


def faults(document: str) -> list[Trial]:
    """Every fault of a document, one for all that are alike."""
    return [trial for trial in trials(circuit(document)) if trial.injection.kind == "fault"]


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
    heard = [e for e in play.plant.log.events if e.time >= time and e.subject == "storage"]
    assert heard
    assert time <= heard[0].time <= time + play.actors.controller.period + 1e-9


def test_an_input_within_the_rounding_of_a_tick_is_read_at_it() -> None:
    """Later by less than the tick is rounded, and by more than the last digit of the time."""
    play = Play(bench())
    play.advance(0.99)
    watch = play.compiled.contacts[play.compiled.parts["made"].contact].watch
    controller = play.actors.controller
    controller.contacts._pending.append((1.0 + 8e-12, 1.0 - 0.005, watch, True))
    controller._scan_at = 1.0
    play.advance(1.0 + ALWAYS)
    assert controller.contacts.says(play.plant, watch)
    assert not controller.contacts._pending


def test_a_limit_within_the_rounding_of_a_tick_ends_at_the_next_one() -> None:
    """The scan comes just too early for it; asking for the same tick again would never end."""
    text = BENCH.replace("{name: bench}", "{name: bench, scan: 1 s}").replace(
        "    safe_state: closed",
        "    limits: {open: 4.0000000015 s, discrepancy: 3 s}\n    safe_state: closed",
    )
    play = start(bench(text), *at(bench(text), 0.0, "fault valve stuck-rest", "open block"))
    play.advance(9.0)
    assert [e.time for e in play.plant.log.events if "open time exceeded" in told(e.what)][:1] == [
        5.0
    ]


# what cannot go on says so


def test_a_run_that_no_longer_comes_on_stops_by_itself() -> None:
    play = Play(bench())
    play.advance(0.5)
    controller = play.actors.controller
    controller._plan_scan = lambda now: setattr(controller, "_scan_at", now)  # type: ignore[method-assign]
    play.schedule(at(play.compiled, 1.0, "open block"))
    with pytest.raises(StalledError, match=r"stopped at 1\.000000 s: .* Last: block"):
        play.advance(2.0)


def test_steps_without_end_stop_a_run_and_name_the_place() -> None:
    plan = bench()
    play = start(plan, *at(plan, 1.0, "open block"))
    play.plant.most_steps = 4
    with pytest.raises(StalledError, match=r"4 steps together covered less") as error:
        play.advance(2.0)
    assert any(f"{name} (bench:" in str(error.value) for name in plan.circuit.components)
    patient = start(plan, *at(plan, 1.0, "open block"))
    patient.advance(2.0)


def test_an_impossible_state_is_named_with_its_line() -> None:
    play = Play(bench())
    node = play.plant.network.node[play.compiled.parts["manifold"].ports["1"]]
    play.plant.position.y[node["mass"]] = -1e-6
    play.plant.restart(range(len(play.plant.position.partition)))
    with pytest.raises(SimulationError, match=r"near .*manifold \(bench:7\).*no step is short"):
        play.advance(1.0)


def test_more_switching_points_than_there_is_room_for_are_handed_over_in_between() -> None:
    """Nobody acts on what is only observed: a long run may gather any number of them."""

    def run(room: int) -> Play:
        play = Play(plan)
        play.plant.position = play.plant.position._replace(found=np.zeros((room, 3)))
        play.plant.room = room
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
    assert small.plant.log.crossings == wide.plant.log.crossings
    assert small.plant.log.events == wide.plant.log.events
    assert len(wide.plant.log.crossings) > 100


# storms of events

HUNTING = """
ride: {name: hunting}
components:
  left: {kind: compressor, free_air_delivery: 600 L/min, load_at: 7 bar, unload_at: 7.01 bar}
  right: {kind: compressor, free_air_delivery: 600 L/min, load_at: 7.005 bar, unload_at: 7.012 bar}
  left_check: {kind: check_valve, C: 20 L/(s·bar), b: 0.4}
  right_check: {kind: check_valve, C: 20 L/(s·bar), b: 0.4}
  tank: {kind: receiver, volume: 100 L, ports: 3}
  valve: {kind: valve_3_2, C: 5 L/(s·bar), b: 0.3}
  brake: {kind: bladder_brake, spring: close, area: 300 cm2, spring_force: 8 kN,
          spring_rate: 120 N/mm}
connections:
  - left.2 -> left_check.1
  - right.2 -> right_check.1
  - left_check.2 -> tank.1
  - right_check.2 -> tank.2
  - tank.3 -> valve.1
  - valve.2 -> brake.1
zones:
  block:
    brakes: [brake]
    outputs: {valve.14: charge}
    safe_state: closed
    requirement: {within: 2 s, clamping_force: 5 kN}
"""


def test_compressors_switch_no_faster_than_their_valves_can() -> None:
    """Each pumps against its own check valve within a hundredth of a bar: a thousand times a second
    without the time that its valves take. Stopped, it delivers nothing at once."""
    plan = bench(HUNTING)
    play = start(plan, *at(plan, 0.5, "fault tank leak 3 mm"))
    play.advance(6.0)
    for name in ("left", "right"):
        times = [
            e.time for e in play.plant.log.events if (e.kind, e.subject) == ("compressor", name)
        ]
        assert len(times) > 5
        assert min(np.diff(times)) >= COMPRESSOR_TIME - 1e-9
    while not play.actors.supplies.delivers(play.plant, "left"):
        play.advance(play.now + 0.01)
    play.act(at(plan, play.now, "switch off left")[0].action)
    assert not play.actors.supplies.delivers(play.plant, "left")
    warned = {item.component for item in plan.circuit.warnings if item.field == "unload_at"}
    assert warned == {"left", "right"}


FLICKER = "fault hose_1 leak 2 mm every 2 ms for 1 ms"


def test_a_flicker_builds_its_networks_once_and_leaves_no_trace(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    built = []
    inject = situation.injected
    monkeypatch.setattr(situation, "injected", lambda *a: built.append(a) or inject(*a))
    plan = bench()
    play = start(plan, *at(plan, 0.5, FLICKER, "fault valve coil-open every 3 ms for 2 ms"))
    play.advance(1.5)
    assert len(built) <= 5, "healthy, each fault, both"
    play.act(at(plan, 1.5, "clear hose_1 leak")[0].action)
    play.act(at(plan, 1.5, "clear valve coil-open")[0].action)
    for table in ("node", "restriction", "mover", "stem", "lag", "watch", "slot_restriction"):
        assert np.array_equal(getattr(play.plant.network, table), getattr(plan.network, table)), (
            table
        )


def test_a_flicker_is_the_same_however_often_it_was_built(monkeypatch: pytest.MonkeyPatch) -> None:
    def run() -> Play:
        play = start(plan, *at(plan, 0.5, FLICKER, "open block", "drain tank open"))
        play.advance(1.0)
        return play

    plan = bench(BENCH_WITH_TANK)
    kept = run()
    monkeypatch.setattr(situation, "MOST_KEPT", 1)
    anew = run()
    assert np.array_equal(kept.plant.state(), anew.plant.state())
    assert kept.plant.log.events == anew.plant.log.events
    assert kept.plant.log.crossings == anew.plant.log.crossings


BENCH_WITH_TANK = BENCH.replace(
    "  feed: {kind", "  tank: {kind: receiver, volume: 20 L}\n  feed: {kind"
).replace("  - supply.2 -> valve.1", "  - supply.2 -> tank.1\n  - tank.2 -> valve.1")


def test_what_flickers_is_told_a_hundred_times_and_then_that_it_does() -> None:
    plan = bench()
    play = start(plan, *at(plan, 0.5, FLICKER))
    play.advance(1.4)
    play.act(at(plan, 1.4, "clear hose_1 leak")[0].action)
    said = [e for e in play.plant.log.events if (e.kind, e.subject) == ("fault", "hose_1")]
    assert len(said) == MOST_LISTED + 1
    assert told(said[-1].what) == "100 changes within 1 s; further changes are not listed"
    play.schedule(at(plan, 5.0, "fault hose_1 leak 2 mm"))
    play.advance(5.5)
    assert told(play.plant.log.events[-1].what) == "fault: leak 2 mm"


def test_a_fault_that_comes_faster_than_a_contact_chatters_is_refused() -> None:
    with pytest.raises(SentenceError, match=r"0\.001 s or more"):
        at(bench(), 0.0, "fault hose_1 leak 2 mm every 0.1 ms for 0.05 ms")
