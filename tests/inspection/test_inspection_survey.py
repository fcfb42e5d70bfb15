"""What differs between two runs at one instant is found without making every test on both."""

from __future__ import annotations

import random
from functools import cache
from itertools import combinations
from pathlib import Path

import pytest
from inspection_bench import BENCH, after, bench, charged, resting

from pneumo.circuit.action import FaultSpec, Inject
from pneumo.circuit.circuit import Circuit
from pneumo.circuit.couplings import test_points as points_of
from pneumo.circuit.validate import load, load_text
from pneumo.components.severity import graded
from pneumo.errors import InputError
from pneumo.inspection.ear import CARRIES
from pneumo.inspection.evidence import Heard, Reading
from pneumo.inspection.examine import examine
from pneumo.inspection.survey import LEVELS, Surveyor
from pneumo.inspection.tests import ROWS, targets
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play

CIRCUITS = Path(__file__).parents[2] / "circuits"

STATES = {"bench": 60, "04_stored_air_behind_check": 30, "10_station_gates": 30, "sand_martin": 24}
"""Circuit -> states it is examined in."""


def circuit_of(name: str) -> Circuit:
    return load_text(BENCH, "bench") if name == "bench" else load(CIRCUITS / f"{name}.yaml")


def acts(circuit: Circuit) -> list[str]:
    """What anybody can do to a ride, faults aside."""
    places, coils = [*circuit.zones, *circuit.gates], targets(circuit, "coil")
    held = [c for c in coils if "pumping" not in circuit.components[c.partition(".")[0]].traits]
    return [
        "power off",
        *(f"{verb} {place}" for verb in ("close", "open") for place in places * 3),
        *(f"fin {zone} absent" for zone in circuit.zones),
        *(f"block {brake}" for brake in targets(circuit, "brake")),
        *(f"isolate {name}" for name in circuit.having("turnable")),
        *(f"switch off {name}" for name in circuit.having("switchable")),
        *(f"drain {name} open" for name in circuit.having("drainable")),
        *(f"override {coil}" for coil in held),
        *(f"force {coil} {to}" for to in ("on", "off") for coil in coils),
        *(f"swap {one} {other}" for one, other in combinations(coils, 2)),
    ]


def faults(circuit: Circuit) -> list[FaultSpec]:
    return [
        FaultSpec(name, mode.name, severity)
        for name, part in circuit.components.items()
        for mode in part.fault_modes()
        for severity in (graded(mode.severity, 3) if mode.severity is not None else (None,))
    ]


@cache
def states(name: str) -> tuple[Play, ...]:
    """A ride in many states: open, closed, moving, tripped, vented, with faults and without."""
    draw = random.Random(name)
    circuit = circuit_of(name)
    base = Play(compile_circuit(circuit))
    known, modes = acts(circuit), faults(circuit)
    found = [base]
    while len(found) < STATES[name]:
        play = draw.choice(found[-4:]).snapshot() if draw.random() < 0.8 else base.snapshot()
        try:
            if draw.random() < 0.5:
                play.act(Inject(draw.choice(modes)))
            else:
                after(play, 0.0, draw.choice(known))
            play.advance(play.now + draw.choice((0.02, 0.3, 1.5)))
        except InputError:  # it is no plug of this voltage, there are too many holes
            continue
        found.append(play)
    return tuple(found)


@pytest.mark.parametrize("name", STATES)
def test_whatever_differs_is_found(name: str) -> None:
    runs = states(name)
    surveyor = Surveyor(runs[0].compiled)
    marks = [surveyor.marks(run) for run in runs]
    everything = [surveyor.evidence(run, surveyor.pairs) for run in runs]
    differences = named = 0
    for i, j in combinations(range(len(runs)), 2):
        differing = surveyor.differing(marks[i], marks[j])
        assert differing == surveyor.differing(marks[j], marks[i])
        truly = {p for p in surveyor.pairs if everything[i][p] != everything[j][p]}
        assert truly <= set(differing)
        differences += len(truly)
        named += len(differing)
    # what is named without need is little
    assert differences > 0
    assert named <= 1.25 * differences


@pytest.mark.parametrize("name", STATES)
def test_what_is_found_is_what_a_test_gives_that_is_really_made(name: str) -> None:
    play = states(name)[-1]
    surveyor = Surveyor(play.compiled)
    found = surveyor.evidence(play, surveyor.pairs)
    for test, target in surveyor.pairs[:: 1 + len(surveyor.pairs) // 60]:
        assert found[test, target] == examine(play, test, target)


def test_every_cheap_test_is_surveyed() -> None:
    circuit = bench().circuit
    points = {str(port) for port in points_of(circuit)}
    assert list(Surveyor(bench()).pairs) == [
        (row.word, target)
        for row in ROWS
        if row.word != "pry"
        for target in targets(circuit, row.target)
        if row.word != "read" or target in points
    ]


def test_a_tee_that_was_fitted_is_a_test_point() -> None:
    fitted = Surveyor(bench(), ["hose_1.1", "run.2"])
    new = set(fitted.pairs) - set(Surveyor(bench()).pairs)
    assert ("read", "run.2") in new
    one, other = charged(), after(charged(), 2.0, "fault run blocked 100 %", "fault start leak")
    different = fitted.differing(fitted.marks(one), fitted.marks(other))
    assert ("read", "run.2") in different
    found = fitted.evidence(other, different)["read", "run.2"]
    assert isinstance(found, Reading)
    assert found == examine(other, "read", "run.2", ["run.2"])


def test_nothing_differs_between_runs_that_are_alike() -> None:
    surveyor = Surveyor(bench())
    play = charged()
    assert surveyor.differing(surveyor.marks(play), surveyor.marks(play.snapshot())) == ()


def test_one_fault_names_few_tests() -> None:
    surveyor = Surveyor(bench())
    reference = surveyor.marks(after(charged(), 0.1))
    worn = surveyor.marks(after(charged(), 0.1, "fault brake_1 spring-weak 30 %"))
    assert set(surveyor.differing(worn, reference)) <= {
        ("look", "brake_1"), ("callipers", "brake_1"), ("pull", "brake_1"),
    }  # fmt: skip
    open_coil = surveyor.marks(after(resting(), 0.1, "fault valve coil-open"))
    at_rest = surveyor.marks(after(resting(), 0.1))
    assert surveyor.differing(open_coil, at_rest) == (("resistance", "valve.14"),)


def test_a_gauge_at_zero_is_told_from_one_where_nothing_else_could_be() -> None:
    surveyor = Surveyor(bench())
    vented, dead = after(resting(), 0.1), after(resting(), 0.1, "force valve.14 off", "close trim")
    readings = [examine(play, "read", "brake_1.1") for play in (vented, dead)]
    assert readings == [Reading("brake_1.1", 0.0, False, idle) for idle in (True, False)]
    assert ("read", "brake_1.1") in surveyor.differing(surveyor.marks(dead), surveyor.marks(vented))


def test_a_compressor_that_pumps_is_listened_for_where_it_is_heard() -> None:
    surveyor = Surveyor(bench())
    play = after(charged(), 0.1)
    pumping = after(charged(), 0.1, "fault compressor never-unloads")
    assert pumping.actors.supplies.delivers(pumping.plant, "compressor")
    assert not play.actors.supplies.delivers(play.plant, "compressor")
    differing = surveyor.differing(surveyor.marks(pumping), surveyor.marks(play))
    heard = {target for test, target in differing if test == "listen"}
    assert {"compressor", "store", "run"} <= heard
    assert "brake_1" not in heard
    sound = surveyor.evidence(pumping, differing)["listen", "store"]
    assert isinstance(sound, Heard) and sound.pumping_nearby


def test_a_run_of_another_circuit_is_refused() -> None:
    other = Play(compile_circuit(circuit_of("10_station_gates")))
    with pytest.raises(ValueError, match="another compiled circuit"):
        Surveyor(bench()).marks(other)


def test_what_is_heard_from_a_step_away_is_one_of_the_levels() -> None:
    assert CARRIES in LEVELS
