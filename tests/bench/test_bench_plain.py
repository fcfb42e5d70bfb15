"""The plain plant is the kernels' within what it promises, and other numbers move it the way that
physics says."""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from math import inf
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from plain_equations import Equations
from plain_laws import Array
from plain_pattern import Pattern
from plain_plant import Deviations, PlainPlant, deviated, plain_play

from pneumo.circuit.action import Action, Clear, Command, FaultSpec, Inject
from pneumo.circuit.circuit import Event
from pneumo.circuit.validate import load
from pneumo.inspection.evidence import Pulled, Reading
from pneumo.inspection.examine import examine
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.network.network import SENSED, node_volume
from pneumo.scenario.play import Play

CIRCUITS = Path(__file__).parents[2] / "circuits"

THERE_AND_BACK = ((0.5, "open"), (2.5, "close"))

pytestmark = pytest.mark.usefixtures("compiled")


@cache
def compiled_of(name: str) -> Compiled:
    return compile_circuit(load(CIRCUITS / f"{name}.yaml"))


@cache
def at_rest(name: str) -> tuple[Play, Play]:
    """Both plants at time zero, to be copied."""
    return Play(compiled_of(name)), plain_play(compiled_of(name))


def events(compiled: Compiled, *also: tuple[float, Action]) -> list[Event]:
    zones = [
        Event(at, Command(zone, to)) for zone in compiled.circuit.zones for at, to in THERE_AND_BACK
    ]
    return [*zones, *(Event(at, action) for at, action in also)]


def edges(play: Play) -> dict[int, list[tuple[float, bool]]]:
    """What each contact of a controller did, after time zero."""
    found: dict[int, list[tuple[float, bool]]] = {}
    for time, watch, on in play.plant.log.crossings:
        if time > 0.0 and play.plant.network.watch[watch]["role"] == SENSED:
            found.setdefault(watch, []).append((time, on))
    return found


def node_pressures(play: Play) -> Array:
    return np.array([play.plant.pressure(n) for n in range(play.plant.network.dynamic)])


@pytest.mark.parametrize(
    ("name", "fault"),
    [
        ("02_spring_close_single", None),
        ("04_stored_air_behind_check", FaultSpec("manifold", "leak", 4e-3, "mm")),
        ("07_quick_exhaust", FaultSpec("quick_hose_2", "kinked", 0.9)),
    ],
)
def test_both_plants_switch_alike_and_come_to_the_same_pressures(
    name: str, fault: FaultSpec | None
) -> None:
    also = [] if fault is None else [(0.2, Inject(fault))]
    plays = [play.snapshot() for play in at_rest(name)]
    for play in plays:
        play.schedule(events(play.compiled, *also))
        play.advance(5.0)
    ours, plain = (edges(play) for play in plays)
    assert ours and ours.keys() == plain.keys()
    for watch, made in ours.items():
        assert [on for _, on in made] == [on for _, on in plain[watch]]
        times = np.array([(a, b) for (a, _), (b, _) in zip(made, plain[watch], strict=True)])
        assert np.abs(times[:, 0] - times[:, 1]).max() < 6e-3
    pressures = [node_pressures(play) for play in plays]
    assert np.abs(pressures[1] / pressures[0] - 1.0).max() < 0.01


@cache
def closed_and_clear(by: Deviations) -> tuple[float, float]:
    """When the first brake of the first circuit is clamped, and clear again, after the commands."""
    play = plain_play(deviated(compiled_of("01_spring_open_single"), by))
    zone = next(iter(play.compiled.circuit.zones))
    play.schedule([Event(0.5, Command(zone, "close")), Event(1.3, Command(zone, "open"))])
    play.advance(2.0)
    brake, made = play.compiled.brakes[zone][0], play.plant.log.crossings
    clamped = min(t for t, w, on in made if w == brake.clamped and on and t > 0.5)
    return clamped, min(t for t, w, on in made if w == brake.clear and on and t > 1.3)


def test_a_brake_that_air_closes_is_later_with_less_area_more_friction_and_a_narrower_way() -> None:
    clamped, clear = closed_and_clear(Deviations())
    assert closed_and_clear(Deviations(area=0.9))[0] > clamped + 1e-3
    assert closed_and_clear(Deviations(conductance=0.8))[0] > clamped + 1e-3
    assert closed_and_clear(Deviations(friction=8.0))[0] > clamped + 1e-3
    assert closed_and_clear(Deviations(friction=8.0))[1] > clear + 1e-3


def test_a_wall_that_conducts_more_gives_its_heat_back_sooner() -> None:
    """Air that has expanded is cold; what is left of it warms, and its pressure rises."""

    def temperature(heat: float) -> float:
        play = plain_play(deviated(compiled_of("02_spring_close_single"), Deviations(heat=heat)))
        zone = next(iter(play.compiled.circuit.zones))
        play.schedule([Event(0.5, Command(zone, "open"))])
        play.advance(0.75)
        y, node = play.plant.state(), play.plant.network.node
        return float(max(y[n["energy"]] / y[n["mass"]] for n in node[: play.plant.network.dynamic]))

    assert temperature(10.0) < temperature(0.1)


def test_factors_are_drawn_by_seed_within_their_spread() -> None:
    compiled = compiled_of("07_quick_exhaust")
    drawn, again = (Deviations.drawn(compiled, 3) for _ in range(2))
    for name in ("heat", "friction", "area", "conductance"):
        factors = getattr(drawn, name)
        assert (factors == getattr(again, name)).all()
        assert 0.9 <= factors.min() < 0.96 and 1.04 < factors.max() <= 1.1
    other = deviated(compiled, drawn).network
    assert (other.mover["friction"] == compiled.network.mover["friction"] * drawn.friction).all()
    assert (deviated(compiled, Deviations()).network.node == compiled.network.node).all()


def test_a_cylinder_of_another_area_is_as_empty_at_its_end() -> None:
    compiled = compiled_of("10_station_gates")
    ends = []
    for area in (0.9, 1.0, 1.1):
        network = deviated(compiled, Deviations(area=area)).network
        y = compiled.start.copy()
        found = []
        for x in (0.0, network.mover["high"]):
            y[network.mover["x"]] = x
            found.append([float(node_volume(network, y[None], n)[0]) for n in moved(compiled)])
        ends.append(np.array(found))
    for other in (ends[0], ends[2]):
        least = ends[1].argmin(axis=0)
        inside = np.arange(len(least))
        assert other[least, inside] == pytest.approx(ends[1][least, inside])
        assert np.abs(other[1 - least, inside] / ends[1][1 - least, inside] - 1.0).min() > 0.05


def moved(compiled: Compiled) -> list[int]:
    """Nodes that move with a cylinder."""
    node, dynamic = compiled.network.node, compiled.network.dynamic
    return np.flatnonzero(node["mover"][:dynamic] >= 0).tolist()


def test_a_fault_comes_on_top_of_other_numbers_and_leaves_them_behind() -> None:
    compiled = deviated(compiled_of("02_spring_close_single"), Deviations(friction=1.1))
    brake = next(name for name, part in compiled.parts.items() if part.mover >= 0)
    play = plain_play(compiled)
    friction = lambda: float(play.plant.network.mover[compiled.parts[brake].mover]["static"])  # noqa: E731
    before = friction()
    pulled = examine(play, "pull", brake)
    assert isinstance(pulled, Pulled) and pulled.moves is not None
    play.act(Inject(FaultSpec(brake, "jaw-seized")))
    assert friction() == inf
    assert examine(play, "pull", brake) == Pulled(brake, None, None, False)
    play.act(Clear(brake, "jaw-seized"))
    assert (
        friction()
        == before
        == 1.1
        * compiled_of("02_spring_close_single").network.mover[compiled.parts[brake].mover]["static"]
    )


@pytest.mark.parametrize("test", ["read", "listen", "pry", "look", "soap"])
def test_tests_by_hand_find_what_they_find_on_the_other_plant(test: str) -> None:
    target = {"read": "hose_1.2", "listen": "hose_1", "soap": "hose_1"}.get(test, "brake_1")
    found = []
    for play in at_rest("02_spring_close_single"):
        play = play.snapshot()
        play.act(Inject(FaultSpec("hose_1", "leak", 2e-3, "mm")))
        play.schedule(events(play.compiled))
        play.advance(2.0)
        found.append(examine(play, test, target, ["hose_1.2"]))
    assert found[0] == found[1]
    if isinstance(found[0], Reading):
        assert found[0].shown > 1e5


def test_pieces_are_the_whole_and_a_copy_goes_its_own_way() -> None:
    play = at_rest("02_spring_close_single")[1]
    whole, pieces = play.snapshot(), play.snapshot()
    for each in (whole, pieces):
        each.schedule(events(each.compiled))
    whole.advance(1.2)
    for until in np.arange(0.013, 1.2, 0.017).tolist():
        pieces.advance(until)
        if until > 0.6:
            pieces = pieces.kept().snapshot()
    pieces.advance(1.2)
    assert (whole.plant.state() == pieces.plant.state()).all()
    assert whole.plant.log.crossings == pieces.plant.log.crossings
    assert play.plant.now == 0.0 and not play.plant.log.events


def test_what_is_taken_back_and_stepped_again_comes_out_alike() -> None:
    """Whoever acts in the middle of a step restarts the plant there."""
    whole, restarted = (at_rest("02_spring_close_single")[1].snapshot() for _ in range(2))
    for play in (whole, restarted):
        play.schedule(events(play.compiled))
    whole.advance(1.3)
    for until in np.arange(0.5, 1.3, 0.0173).tolist():
        restarted.advance(until)
        restarted.plant.restart([0])
    restarted.advance(1.3)
    made, remade = edges(whole), edges(restarted)
    assert made.keys() == remade.keys()
    for watch, each in made.items():
        assert [on for _, on in each] == [on for _, on in remade[watch]]
        apart = [a - b for (a, _), (b, _) in zip(each, remade[watch], strict=True)]
        assert np.abs(apart).max() < 6e-3


def test_a_zone_that_is_held_for_a_minute_costs_next_to_nothing() -> None:
    """Skis rest on their contacts, the force on each as large as its friction, while the pressure
    still creeps."""
    play = at_rest("07_quick_exhaust")[1].snapshot()
    play.schedule([Event(0.5, Command(zone, "open")) for zone in play.compiled.circuit.zones])
    play.advance(3.0)
    before = sum(play.plant.steps)
    play.advance(63.0)
    assert sum(play.plant.steps) < before + 50


def test_states_are_recorded_on_a_grid() -> None:
    play = at_rest("02_spring_close_single")[1].snapshot()
    play.schedule(events(play.compiled))
    play.advance(0.4)
    play.plant.record(0.05, 1.0)
    play.advance(0.65)
    at = play.plant.samples.times(play.now).tolist()
    assert at == pytest.approx([0.4, 0.45, 0.5, 0.55, 0.6, 0.65])
    size = play.plant.network.main
    assert play.plant.samples.filled(play.now)[-1][:size] == pytest.approx(
        play.plant.state()[:size], rel=1e-3, abs=1e-6
    )


@pytest.mark.parametrize(
    "name", ["07_quick_exhaust", "10_station_gates", "09_two_supplies_shuttle", "sand_martin"]
)
def test_slopes_are_the_differences_of_the_rates(name: str) -> None:
    """At a state drawn around the one at rest, with every mover sliding."""
    network = compiled_of(name).network
    equations = Equations(network, 0.0)
    draw = np.random.default_rng(5)
    y = compiled_of(name).start[: equations.size] * draw.uniform(0.8, 1.2, equations.size)
    y[equations.x] += draw.uniform(-2e-3, 2e-3, len(equations.x))
    y[equations.v] = draw.uniform(-0.1, 0.1, len(equations.v))
    way = np.ones(len(equations.x))
    found = equations.linearised(0.0, y, way)
    assert found is not None and (found[0] == equations.rates(0.0, y, way)).all()
    slopes = -equations.pattern.shifted(found[1], 0.0).toarray()
    rows = np.abs(slopes) @ np.maximum(np.abs(y), 1e-3)
    for i in range(equations.size):
        nudge = 1e-7 * max(abs(y[i]), 1e-3)
        ends = [y.copy(), y.copy()]
        ends[0][i] -= nudge
        ends[1][i] += nudge
        low, high = (equations.rates(0.0, each, way) for each in ends)
        assert low is not None and high is not None
        difference = (high - low) / (2.0 * nudge)
        off = np.abs(difference - slopes[:, i]) * max(abs(y[i]), 1e-3)
        assert (off <= 1e-4 * rows + 1e-9).all(), (i, off.argmax())


def test_the_method_is_of_third_order_also_with_time() -> None:
    """y1' = -y1 y2 + sin t, y2' = y1 - y2: halved steps leave an eighth of the error."""
    row, col = np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1])

    def rates(time: float, y: Array, way: Array) -> Array:
        return np.array([-y[0] * y[1] + np.sin(time), y[0] - y[1]])

    pattern = Pattern(2, [row], [col])
    none = np.zeros(0, dtype=np.int64)
    toy: Any = SimpleNamespace(
        rates=rates, pattern=pattern, paths=SimpleNamespace(moving=True), x=none, v=none, z=none,
        gas=lambda y: None, possible=lambda y, gas: True,
        linearised=lambda time, y, way: (
            rates(time, y, way), pattern.gathered([np.array([-y[1], -y[0], 1.0, -1.0])])
        ),
    )  # fmt: skip
    ends = []
    for count in (20, 40, 80, 640):
        plant = PlainPlant(compiled_of("02_spring_close_single"))
        plant._equations = toy
        plant._y = np.array([1.0, 0.5])
        h = 2.0 / count
        for k in range(count):
            plant._start, plant._y_old, plant._jacobian = k * h, plant._y, None
            plant._y = plant._tried(h)[0]
        ends.append(plant._y)
    errors = [np.abs(end - ends[-1]).max() for end in ends[:-1]]
    for coarse, fine in pairwise(errors):
        assert 7.0 < coarse / fine < 9.5
