"""Different ways to the same result give the same result."""

from __future__ import annotations

import hashlib
import os
import random
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from play_toys import CIRCUITS, at, bench, compiled, pressures, same, start, trace

from pneumo.circuit.validate import load_text
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.scenario.inject import Overrides
from pneumo.scenario.play import Play
from pneumo.scenario.telling import told
from pneumo.simulation.position import END

RIDE = "sand_martin.yaml"
CYCLES = "every zone cycles"
LEAK = "fault final_1_hose_3 leak 3 mm over 2 s"
APART = ("final_1_hose_3",)


def ride(*sentences: tuple[float, str], plan: Compiled | None = None, rtol: float = 1e-5) -> Play:
    """The ride cycling, with further events, at time zero."""
    plan = compiled(RIDE, APART) if plan is None else plan
    events = [event for time, text in sentences for event in at(plan, time, text)]
    play = start(plan, *events, scenario=CYCLES, rtol=rtol)
    play.plant.record(0.1, 20.0)
    return play


# a run in pieces


@pytest.mark.parametrize("seed", range(4))
def test_a_run_in_pieces_is_the_whole_run(seed: int) -> None:
    """Bit for bit, wherever it is cut."""
    sentences = ((1.5, LEAK), (4.0, "switch off feed_b"), (4.5, "fault compressor_1 weak 0.5"))
    whole, pieces = ride(*sentences), ride(*sentences)
    whole.advance(6.0)
    rng = random.Random(seed)
    cuts = sorted(rng.uniform(0.0, 6.0) for _ in range(40))
    for cut in (*cuts[:20], 1.5, 1.5, *cuts[20:]):
        pieces.advance(cut)
    pieces.advance(6.0)
    assert same(whole, pieces)


def test_two_runs_are_the_same_also_in_another_process() -> None:
    """Bit for bit: nothing depends on the clock, on addresses or on the order of a set."""
    here = digest()
    assert digest() == here
    code = (
        f"import sys; sys.path[:0] = {[str(folder) for folder in Path(__file__).parents[:2]]!r}; "
        "from test_scenario_routes import digest; print(digest())"
    )
    for seed in ("1", "2"):
        there = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True,
            env={"PYTHONHASHSEED": seed, **environment()},
        )  # fmt: skip
        assert there.stdout.split()[-1] == here


def environment() -> dict[str, str]:
    return {key: value for key, value in os.environ.items() if key != "PYTHONHASHSEED"}


def digest() -> str:
    """Fingerprint of a run of the ride with a fault."""
    text = (CIRCUITS / RIDE).read_text(encoding="utf-8")
    play = ride((1.5, LEAK), plan=compile_circuit(load_text(text, RIDE), APART))
    play.advance(3.0)
    parts = [array.tobytes() for array in (*play.plant.position[:-1], play.plant.samples.rows)]
    return hashlib.sha256(b"".join(parts) + repr(trace(play)).encode()).hexdigest()


def test_a_copy_goes_on_exactly_and_independently() -> None:
    """A snapshot and its original go the same way; what is done to one does not reach the other."""
    plain, original = ride((1.5, LEAK)), ride((1.5, LEAK))
    plain.advance(6.0)
    original.advance(2.52)  # valves of the station have their current and do not move yet
    copied = original.snapshot()
    disturbed = original.snapshot()
    for text in (
        "switch off feed_a", "fault block_valve_b stuck-actuated", "fin trim absent",
        "fault trim_charged stuck-on", "isolate station_shut_off", "clear final_1_hose_3 leak",
        "close station_gates", "ride stop",
    ):  # fmt: skip
        disturbed.act(at(disturbed.compiled, 2.52, text)[0].action)
    disturbed.advance(6.0)
    copied.advance(6.0)
    original.advance(6.0)
    assert same(original, plain)
    assert same(copied, plain)
    assert not same(disturbed, plain)


# acting now or planning it


@pytest.mark.parametrize("moment", [1.013, 2.717, 5.3331])
def test_acting_at_an_instant_is_scheduling_it(moment: float) -> None:
    """Bit for bit, although partitions have been computed beyond the instant in either case."""
    sentences = ("fault station_regulator stuck-open 0.5", "ride stop")
    plan = compiled(RIDE, APART)
    planned = ride(*((moment, text) for text in sentences))
    planned.advance(8.0)
    acted = ride()
    acted.advance(moment)
    assert acted.now == moment < acted.plant.position.partition[:, END].max()
    for event in at(plan, moment, *sentences):
        acted.act(event.action)
    acted.advance(8.0)
    assert same(acted, planned)


PLANT_ROOM = """
ride: {name: plant room}
components:
  compressor: {kind: compressor, free_air_delivery: 300 L/min, load_at: 6 bar, unload_at: 7 bar}
  receiver: {kind: receiver, volume: 10 L}
  blow_off: {kind: silencer, C: 0.3 L/(s·bar), b: 0.4}
connections:
  - compressor.2 -> receiver.1
  - receiver.2 -> blow_off.1
"""


def test_what_is_computed_ahead_has_not_happened() -> None:
    """Before a compressor loads or unloads nothing says it has, although the step that got there
    has passed that moment; and what stops it then is in time."""
    plan = bench(PLANT_ROOM)
    whole = start(plan)
    whole.advance(40.0)
    switched = [(moment, made) for moment, _, made in whole.plant.log.crossings if moment > 0.0]
    assert len(switched) > 4
    stop = at(plan, 0.0, "fault compressor stopped")[0].action
    ahead = 0
    for moment, made in switched:
        play = start(plan)
        play.advance(moment - 1e-4)
        ahead += bool(play.plant.position.partition[0, END] > moment)
        assert play.now == moment - 1e-4
        assert play.plant.log.events == [
            event for event in whole.plant.log.events if event.time < moment - 1e-4
        ]
        assert play.plant.log.crossings == [
            entry for entry in whole.plant.log.crossings if entry[0] < moment - 1e-4
        ]
        assert bool(play.plant.network.source[0]["on"]) is made
        stopped = play.snapshot()
        stopped.act(stop)
        for run in (play, stopped):
            run.advance(moment + 0.01)
        assert play.plant.log.crossings[-1][0] == moment
        assert bool(play.plant.network.source[0]["on"]) is not made
        # without it the pressure does not reach the upper limit; it was falling to the lower one
        assert (stopped.plant.log.crossings[-1][0] > moment - 1e-4) is not made
        assert not stopped.plant.network.source[0]["on"]
    assert ahead == len(switched)


def test_acting_takes_back_what_a_switch_was_about_to_say() -> None:
    """A jaw that would leave its switch beyond an instant, and is jammed there, never leaves it."""
    plan = bench()
    whole = start(plan, *at(plan, 0.5, "open block"))
    whole.advance(2.0)
    switches = [contact.watch for contact in plan.contacts]
    left = next(
        moment
        for moment, w, made in whole.plant.log.crossings
        if moment > 0.5 and w in switches and not made
    )
    play = start(plan, *at(plan, 0.5, "open block"))
    play.advance(left - 1e-4)
    assert play.plant.position.partition[:, END].max() > left
    for brake in ("brake_1", "brake_2"):
        play.act(at(plan, 0.0, f"fault {brake} jaw-seized")[0].action)
    play.advance(2.0)
    assert [event for event in whole.plant.log.events if told(event.what) == "OFF"]
    assert not [event for event in play.plant.log.events if told(event.what) == "OFF"]


# faults that are none


NOTHING = (
    "fault final_1_hose_3 leak 0 mm", "fault trim_valve_a slow 1 x",
    "fault block_check stuck-open 0", "fault compressor_1 weak 0",
    "fault header_pressure drift 0 bar", "fault final_1_hose_3 kinked 0 over 3 s",
)  # fmt: skip


def test_severity_zero_is_no_fault() -> None:
    """Exactly: it changes neither a bit nor a word, at the instant of another action or not."""
    plain = ride()
    plain.advance(4.0)
    nothing = ride(*((2.0, text) for text in NOTHING))
    nothing.advance(4.0)
    assert same(plain, nothing)
    elsewhere = ride(*((2.2222, text) for text in NOTHING))
    elsewhere.advance(4.0)
    assert same(plain, elsewhere)


EVERYWHERE = (
    "trim_hose_1 leak 2 mm", "trim_valve_a internal-leak 0.3", "trim_valve_b stuck-midway",
    "block_brake_1 spring-broken 0.5", "block_brake_2 jaw-seized", "block_brake_3 lining-worn 1 mm",
    "block_brake_4 jaw-dragging 400 N", "final_1_regulator drift-high 0.5 bar",
    "final_1_check stuck-open 0.5", "final_1_supply drift 0.5 bar", "storage_pressure drift 1 bar",
    "storage_pressure gain 10 %", "compressor_1 weak 0.5", "compressor_2 stopped",
    "station_quick exhaust-stuck-closed", "relief drift-low 1 bar", "gate_valve stuck-actuated",
    "storage_snubber setting-changed 0.5", "receiver leak 4 mm", "final_2_charged stuck-on",
    "header_pressure frozen", "main_shut_off stuck",
)  # fmt: skip


def test_a_fault_put_right_leaves_no_trace_in_the_plant() -> None:
    """Every array of the network is what it was, and so are the controls."""
    plan = compiled(RIDE, None)
    play = start(plan)
    play.advance(1e-9)
    healthy = play.plant.network
    before = [np.array(field) for field in healthy]
    at_rest = healthy.spool["position"].copy()
    for event in at(plan, 0.0, *(f"fault {text}" for text in EVERYWHERE)):
        play.act(event.action)
    changed = [
        name
        for name, old, new in zip(healthy._fields, before, play.plant.network, strict=True)
        if not np.array_equal(old, new)
    ]
    assert {"restriction", "mover", "stem", "lag", "source", "spool", "watch"} <= set(changed)
    for text in EVERYWHERE:
        name, mode = text.split()[:2]
        play.act(at(plan, 0.0, f"clear {name} {mode}")[0].action)
    play.advance(1.0)  # valves that were held elsewhere go back
    for name, old, new in zip(healthy._fields, before, play.plant.network, strict=True):
        if name == "spool":
            assert np.array_equal(new["position"], at_rest)
            assert not new["rate"].any()
        else:
            assert np.array_equal(old, new), name
    assert play.plant.controls.overrides == Overrides()


# brakes alike


def said(play: Play) -> list[tuple[float, str, str]]:
    """What a run said, in an order that does not hang on the rounding of moments."""
    return sorted(
        (round(event.time, 4), event.subject, told(event.what)) for event in play.plant.log.events
    )


def brake_pressures(play: Play) -> np.ndarray:
    names = [name for zone in play.compiled.circuit.zones.values() for name in zone.brakes]
    return pressures(play, (*names, "receiver", "header"))


def test_brakes_alike_integrated_once_are_all_of_them() -> None:
    """Lumped, with one branch apart, and every brake on its own: the same run."""
    runs = []
    for apart in ((), APART, None):
        play = ride(plan=compiled(RIDE, apart), rtol=1e-8)
        play.advance(7.0)
        runs.append(play)
    represented, one_apart, every = runs
    assert represented.plant.network.main < 0.75 * every.plant.network.main
    for play in (represented, one_apart):
        assert said(play) == said(every)
        assert brake_pressures(play) == pytest.approx(brake_pressures(every), rel=1e-5)


def test_a_faulted_brake_apart_is_that_brake_among_all() -> None:
    """With a fault on it, beside those its branch represents and among brakes all on their own."""
    runs = []
    for apart in (APART, None):
        play = ride((1.0, LEAK), plan=compiled(RIDE, apart), rtol=1e-8)
        play.advance(4.0)
        runs.append(play)
    assert brake_pressures(runs[0]) == pytest.approx(brake_pressures(runs[1]), rel=1e-5)
    names = runs[0].compiled.circuit.zones["final_1"].brakes
    inside = pressures(runs[0], names)
    assert inside[2] < inside[0] - 100.0
    assert len(set(inside.tolist())) == 2


# the order of the document


def shuffled(text: str, seed: int) -> str:
    """The same document with its components and connections in another order."""
    rng = random.Random(seed)
    head, rest = text.split("\ncomponents:\n")
    components, rest = rest.split("\nconnections:\n")
    connections, rest = rest.split("\nzones:\n")
    entries = re.findall(r"^  [a-z_].*\n(?:^    .*\n)*", strip(components), re.MULTILINE)
    links = re.findall(r"^  - .*\n", strip(connections), re.MULTILINE)
    assert len(entries) > 10 < len(links)
    rng.shuffle(entries)
    rng.shuffle(links)
    return (
        f"{head}\ncomponents:\n{''.join(entries)}\nconnections:\n{''.join(links)}\nzones:\n{rest}"
    )


def strip(text: str) -> str:
    return re.sub(r"^\s*(#.*)?\n", "", text + "\n", flags=re.MULTILINE)


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("document", ["sand_martin.yaml", "07_quick_exhaust.yaml"])
def test_the_order_of_the_document_does_not_matter(document: str, seed: int) -> None:
    """States are eliminated in another order and sums are rounded differently, which the steps'
    length amplifies: the same within the tolerance, not bit for bit."""
    text = (CIRCUITS / document).read_text(encoding="utf-8")
    plain = compile_circuit(load_text(text, "plain"), ())
    other = compile_circuit(load_text(shuffled(text, seed), "shuffled"), ())
    assert list(plain.circuit.components) != list(other.circuit.components)
    scenario = next(iter(plain.circuit.scenarios))
    runs = [start(plan, scenario=scenario, rtol=1e-9) for plan in (plain, other)]
    vessels = [name for name, component in plain.circuit.components.items() if component.ports()]
    for time in (0.9, 1.3, 3.0):
        for play in runs:
            play.advance(time)
        one, two = (pressures(play, vessels) for play in runs)
        assert two == pytest.approx(one, rel=1e-6)
    assert said(runs[0]) == said(runs[1])


def test_events_of_one_instant_keep_their_order() -> None:
    plan = compiled(RIDE)
    play = start(plan, *at(plan, 1.0, "close trim", "open trim"), *at(plan, 1.0, "close trim"))
    play.advance(1.2)
    texts = [told(event.what) for event in play.plant.log.events if event.kind == "command"]
    assert texts == ["close trim", "open trim", "close trim"]
