"""When things happen: spools, scans, faults that grow or come and go, and long rests."""

from __future__ import annotations

import numpy as np
import pytest
from play_toys import BENCH, at, bench, compiled, pressures, start

from pneumo.network.compile import Compiled
from pneumo.scenario.faults import RAMP_STEPS
from pneumo.scenario.play import Play
from pneumo.scenario.telling import told

VALVES = """
ride: {name: valves}
components:
  supply: {kind: ideal_supply, pressure: 6 bar}
  feed: {kind: electrical_feed}
  header: {kind: manifold, ports: 5}
  plain: {kind: valve_3_2, C: 2 L/(s·bar), b: 0.3, feed: feed, switch_on: 30 ms,
          switch_off: 50 ms, travel: 40 ms}
  keeper: {kind: valve_3_2, C: 2 L/(s·bar), b: 0.3, feed: feed, memory: bistable,
           switch_on: 30 ms, switch_off: 50 ms, travel: 40 ms}
  piloted: {kind: valve_3_2, C: 2 L/(s·bar), b: 0.3, feed: feed, operation: pilot,
            minimum_pilot: 3 bar}
  pilot_cock: {kind: shut_off, C: 2 L/(s·bar), b: 0.3, turning_time: 100 ms}
  out_{1..3}: {kind: manifold, ports: 2, volume: 1 L}
  gate_{1..3}: {kind: cylinder, bore: 50 mm, rod_diameter: 20 mm, stroke: 100 mm, moving_mass: 5 kg}
connections:
  - supply.2 -> header.1
  - header.2 -> plain.1
  - header.3 -> keeper.1
  - header.4 -> pilot_cock.1
  - pilot_cock.2 -> piloted.1
  - header.5 -> plug
  - plain.2 -> out_1.1
  - keeper.2 -> out_2.1
  - piloted.2 -> out_3.1
  - out_{1..3}.2 -> gate_{1..3}.cap
  - gate_{1..3}.rod -> atmosphere
gates:
  plain_gate: {cylinders: [gate_1], outputs: {plain.14: open}}
  keeper_gate: {cylinders: [gate_2], outputs: {keeper.14: open, keeper.12: close}}
  piloted_gate: {cylinders: [gate_3], outputs: {piloted.14: open}}
"""


def valves() -> Compiled:
    return bench(VALVES)


def moves(play: Play, valve: str) -> list[tuple[float, str]]:
    """(time, position) of a valve's arrivals."""
    return [
        (event.time, f"{event.what.position:g}")
        for event in play.plant.log.events
        if event.kind == "valve" and event.subject == valve
    ]


def position(play: Play, valve: str) -> float:
    return play.actors.spools.position(play.plant, valve)


def run(plan: Compiled, until: float, *sentences: tuple[float, str]) -> Play:
    play = start(plan, *(event for time, text in sentences for event in at(plan, time, text)))
    play.advance(until)
    return play


# spools


def test_delay_and_travel() -> None:
    """30 ms to the first motion and 40 ms of travel; back after 50 ms and 40 ms."""
    play = run(valves(), 2.0, (0.5, "open plain_gate"), (1.0, "close plain_gate"))
    there, back = moves(play, "plain")
    assert there == (pytest.approx(0.57, abs=1e-9), "1")
    assert back == (pytest.approx(1.09, abs=1e-9), "0")


def test_the_spool_moves_evenly() -> None:
    play = start(valves(), *at(valves(), 0.5, "open plain_gate"))
    for time, expected in ((0.52, 0.0), (0.54, 0.25), (0.55, 0.5), (0.56, 0.75), (0.58, 1.0)):
        play.advance(time)
        assert position(play, "plain") == pytest.approx(expected, abs=1e-9)


def test_a_command_taken_back_before_the_spool_moved() -> None:
    """It never moves: what it wants again is where it is."""
    play = run(valves(), 1.0, (0.5, "open plain_gate"), (0.51, "close plain_gate"))
    assert position(play, "plain") == 0.0
    assert moves(play, "plain") == []


def test_a_spool_that_is_called_back_while_it_moves() -> None:
    """It goes on until the delay of the new command is over, here to the end, then comes back; a
    spool called back with no delay turns round half-way and needs half the travel."""
    play = run(valves(), 1.0, (0.5, "open plain_gate"), (0.55, "close plain_gate"))
    assert moves(play, "plain") == [
        (pytest.approx(0.57, abs=1e-9), "1"),
        (pytest.approx(0.64, abs=1e-9), "0"),
    ]
    prompt = bench(VALVES.replace("switch_off: 50 ms", "switch_off: 0 ms"))
    play = run(prompt, 1.0, (0.5, "open plain_gate"), (0.55, "close plain_gate"))
    assert moves(play, "plain") == [(pytest.approx(0.57, abs=1e-9), "0")]


def test_memory() -> None:
    """A bistable valve stays where it is without current, a monostable one goes to rest."""
    play = run(
        valves(), 2.0, (0.5, "open plain_gate"), (0.5, "open keeper_gate"), (1.0, "switch off feed")
    )
    assert position(play, "plain") == 0.0
    assert position(play, "keeper") == 1.0
    # the command to close reaches it only once there is current again
    play = run(
        valves(), 3.0, (0.5, "open keeper_gate"), (1.0, "switch off feed"),
        (1.5, "close keeper_gate"), (2.0, "switch on feed"),
    )  # fmt: skip
    assert [where for _, where in moves(play, "keeper")] == ["1", "0"]
    assert moves(play, "keeper")[1][0] > 2.0


def test_no_pilot_no_shift() -> None:
    """A pilot-operated valve does not shift without pilot air, shifts once it comes, and returns
    by its spring when it is lost."""
    play = run(valves(), 2.0, (0.2, "isolate pilot_cock"), (1.0, "open piloted_gate"))
    assert moves(play, "piloted") == []
    play = run(
        valves(), 6.0, (0.2, "isolate pilot_cock"), (1.0, "open piloted_gate"),
        (2.0, "restore pilot_cock"), (4.0, "isolate pilot_cock"),
    )  # fmt: skip
    (came, there), (went, back) = moves(play, "piloted")
    assert (there, back) == ("1", "0")
    assert 2.0 < came < 3.0
    assert 4.0 < went < 5.0
    node = play.compiled.parts["piloted"].ports["1"]
    watch = play.compiled.spools[play.compiled.parts["piloted"].spool].pilot_watch
    assert int(play.plant.network.watch[watch]["index"]) == node
    lost = [
        time for time, w, made in play.plant.log.crossings if w == watch and not made and time > 4.0
    ]
    assert went == pytest.approx(lost[0] + 0.04 + 0.01, abs=1e-9)


@pytest.mark.parametrize(
    ("mode", "expected"), [("stuck-rest", 0.0), ("stuck-midway", 0.5), ("stuck-actuated", 1.0)]
)
def test_stuck_spools_stay_until_put_right(mode: str, expected: float) -> None:
    plan = valves()
    play = run(plan, 1.0, (0.5, f"fault plain {mode}"), (0.7, "open plain_gate"))
    assert position(play, "plain") == expected
    play.act(at(plan, 1.0, f"clear plain {mode}")[0].action)
    play.advance(2.0)
    assert position(play, "plain") == 1.0


def test_slow_spools_take_a_multiple() -> None:
    play = run(valves(), 3.0, (0.2, "fault plain slow 3 x"), (0.5, "open plain_gate"))
    assert moves(play, "plain") == [(pytest.approx(0.5 + 3 * 0.07, abs=1e-9), "1")]


# scans


@pytest.mark.parametrize("scan", [5, 20, 50])
def test_a_contact_is_acted_on_at_the_first_scan_after_its_delay(scan: int) -> None:
    text = BENCH.replace("ride: {name: bench}", f"ride: {{name: bench, scan: {scan} ms}}")
    plan = bench(text)
    play = run(plan, 3.0, (0.5, "open block"), (1.8, "close block"))
    watch = {contact.component: contact.watch for contact in plan.contacts}
    delays = plan.network.watch["delay"]
    seen = 0
    for event in play.plant.log.events:
        if event.kind != "contact":
            continue
        w = watch[event.subject]
        made = told(event.what) == "ON"
        moment = max(
            t for t, c, m in play.plant.log.crossings if c == w and m == made and t <= event.time
        )
        ticks = event.time / (scan * 1e-3)
        assert ticks == pytest.approx(round(ticks), abs=1e-6)
        late = event.time - (moment + delays[w])
        assert -1e-9 <= late < scan * 1e-3
        seen += 1
    assert seen >= 6


def test_commands_wait_for_the_scan() -> None:
    """A zone is commanded by the controller, which reads the command at its next scan."""
    play = run(bench(), 1.0, (0.513, "open block"))
    states = [event.time for event in play.plant.log.events if event.kind == "state"]
    assert states[0] == pytest.approx(0.52, abs=1e-12)


# faults in time


def leak_openings(play: Play, times: list[float]) -> list[float]:
    """Conductance of whatever leaks at each time."""
    found = []
    slots = list(play.compiled.leak_slots)
    for time in times:
        play.advance(time)
        rows = play.plant.network.restriction[slots]
        found.append(float((rows["conductance"] * rows["open_max"]).sum()))
    return found


def test_a_fault_that_grows() -> None:
    """In RAMP_STEPS equal steps of its severity: a leak's area grows with its square."""
    plan = bench()
    play = start(plan, *at(plan, 1.0, "fault manifold leak 2 mm over 2 s"))
    step = 2.0 / RAMP_STEPS
    times = [0.9, *(1.0 + step * (i + 0.5) for i in range(RAMP_STEPS + 1))]
    openings = leak_openings(play, times)
    full = openings[-1]
    shares = [(i / RAMP_STEPS) ** 2 for i in range(RAMP_STEPS + 1)]
    assert openings[0] == 0.0
    assert np.array(openings[1:]) / full == pytest.approx(np.array(shares), abs=1e-12)
    assert full > 0.0


def test_a_fault_that_comes_and_goes() -> None:
    """Every 2 s for 0.5 s, until it is put right."""
    plan = bench()
    play = start(
        plan,
        *at(plan, 1.0, "fault manifold leak 2 mm every 2 s for 0.5 s"),
        *at(plan, 7.2, "clear manifold leak"),
    )
    times = [0.5, 1.2, 1.6, 2.9, 3.2, 3.6, 5.2, 5.6, 7.1, 7.3, 9.2, 11.2]
    leaking = [opening > 0.0 for opening in leak_openings(play, times)]
    assert leaking == [False, True, False, False, True, False, True, False, True, False, False,
                       False]  # fmt: skip


def test_two_faults_on_one_component_add_up() -> None:
    plan = bench()
    events = at(plan, 1.0, "fault manifold leak 2 mm", "fault manifold burst")
    both = leak_openings(start(plan, *events), [1.5])[0]
    alone = [leak_openings(start(plan, event), [1.5])[0] for event in events]
    assert both == pytest.approx(sum(alone), rel=1e-12)
    assert min(alone) > 0.0


# rest


@pytest.mark.parametrize(
    "document",
    ["01_spring_open_single.yaml", "02_spring_close_single.yaml", "10_station_gates.yaml",
     "sand_martin.yaml"],
)  # fmt: skip
def test_the_start_is_at_rest(document: str) -> None:
    """Left alone, nothing moves, nothing is said and no pressure drifts."""
    plan = compiled(document)
    play = start(plan)
    vessels = [name for name, c in plan.circuit.components.items() if c.ports()]
    before = pressures(play, vessels)
    speeds = play.plant.state()[play.plant.network.mover["v"]]
    assert np.abs(speeds).max() < 1e-6
    play.advance(30.0)
    assert pressures(play, vessels) == pytest.approx(before, rel=2e-4)
    assert play.plant.log.events == []
    assert all(moment == 0.0 for moment, *_ in play.plant.log.crossings)


@pytest.mark.parametrize(("hole", "cycles"), [("0.3 mm", 0), ("1 mm", 4)])
def test_an_hour_with_a_small_leak_takes_few_steps(hole: str, cycles: int) -> None:
    """A hold of an hour with a leak in a hose; counted in steps, not seconds, among them those in
    which a jaw stops or breaks away. The larger one makes a compressor come in every quarter of an
    hour."""
    plan = compiled("sand_martin.yaml", ("final_1_hose_3",))
    leak = at(plan, 5.0, f"fault final_1_hose_3 leak {hole}")
    play = start(plan, *at(plan, 1.0, "open all"), *leak)
    play.advance(10.0)
    settled = sum(play.plant.steps)
    play.advance(3600.0)
    assert sum(1 for time, *_ in play.plant.log.crossings if time > 10.0) == 2 * cycles
    assert sum(play.plant.steps) - settled < 250 + 250 * cycles
