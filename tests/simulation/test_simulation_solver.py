"""The method keeps what it promises: order, continuous output, damping, tolerance, stops."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from ledger import ledger_total
from plant_toys import BAR, fill, fixed_steps, inside, one_step, position, two_vessels, whole

from pneumo.circuit.validate import load, load_text
from pneumo.network.compile import compile_circuit
from pneumo.network.network import Array, Network, copy_for_change
from pneumo.network.nodes import SMALLEST_VOLUME
from pneumo.simulation.advance import ENOUGH, FAILED, STOPPED, advance, read_state
from pneumo.simulation.bends import first_bend
from pneumo.simulation.locality import FORESEEN, step_length
from pneumo.simulation.part import make_part
from pneumo.simulation.position import (
    ACCEPTED,
    END,
    LENGTH,
    LOOK_AHEAD,
    NOW,
    START,
    STEP,
    Position,
    new_position,
)
from pneumo.simulation.solver import linearise, make_scratch

CIRCUITS = Path(__file__).parents[2] / "circuits"

DURATION = 1.6
"""Time in which the two vessels stay between choking and the laminar blend [s]."""


SMALL_VOLUME = """
ride: {name: small volume}
components:
  supply: {kind: ideal_supply, pressure: 8 bar abs}
  valve: {kind: shut_off, C: 1 L/(s·bar), b: 0.2}
  small: {kind: receiver, volume: 1 L}
  silencer: {kind: silencer, C: 1 L/(s·bar), b: 0.2}
connections:
  - supply.2 -> valve.1
  - valve.2 -> small.1
  - small.2 -> silencer.1
"""


def slope_of(errors: list[float], finer: float = 2.0) -> float:
    """Smallest order seen between neighbours."""
    return min(float(np.log(a / b) / np.log(finer)) for a, b in pairwise(errors))


def turning(network: Network) -> None:
    """Turns the shut-off valve all the time, within the straight part of its opening."""
    row = network.spool[0]
    row["position"], row["rate"], row["since"], row["until"] = 0.9, -0.15, 0.0, 1e9


@pytest.mark.parametrize("moving", [False, True], ids=["still valve", "valve being turned"])
def test_order_of_convergence(moving: bool) -> None:
    """Order 4 on a smooth problem, with and without an explicit dependence on time, for the states
    and for the ledgers."""
    _, network, y = two_vessels()
    if moving:
        turning(network)
    exact = fixed_steps(network, y, 0.0, DURATION, 1024)
    errors = []
    heat = []
    for count in (8, 16, 32, 64):
        found = fixed_steps(network, y, 0.0, DURATION, count)
        errors.append(float(np.abs((found - exact)[: network.main] / network.scale).max()))
        heat.append(abs(ledger_total(network, found - exact, network.heat)))
    assert slope_of(errors) > 3.7
    assert slope_of(heat) > 3.7
    assert errors[-1] < 1e-8


def test_order_of_the_continuous_output_and_of_the_error_estimate() -> None:
    """Inside a step the output is of order 3, so its error falls with the fourth power of the
    step, and so does the error estimate."""
    _, network, y = two_vessels()
    scratch = make_scratch(network)
    errors: list[float] = []
    estimates = []
    for h in (0.04, 0.02, 0.01, 0.005):
        worst = 0.0
        where = position(network, y)
        estimates.append(one_step(network, where, h, scratch))
        for theta in (0.25, 0.5, 0.75):
            exact = fixed_steps(network, y, 0.0, theta * h, 64)
            found = inside(network, where, theta * h)
            worst = max(worst, float(np.abs((found - exact)[: network.main] / network.scale).max()))
        errors.append(worst)
        assert np.array_equal(inside(network, where, 0.0), y)
        assert np.array_equal(inside(network, where, h), where.y)
        assert inside(network, where, h * (1.0 - 1e-12)) == pytest.approx(where.y, rel=1e-11)
    assert slope_of(errors) > 3.7
    assert slope_of(estimates) > 3.7


def errors_behind_a_valve(volume: float) -> list[float]:
    """Relative errors of mass and energy in a volume [m3] between a valve being turned and an
    opening, in 1.6 s taken in 8, 16, 32 and 64 steps."""
    compiled = compile_circuit(load_text(SMALL_VOLUME, "small volume"))
    network = copy_for_change(compiled.network)
    turning(network)
    node = compiled.parts["small"].ports["1"]
    network.node["volume"][node] = volume
    y = compiled.start.copy()
    fill(compiled, network, y, "small", 4 * BAR, 293.0)
    start = fixed_steps(network, y, 0.0, 0.2, 400)  # until nothing but the valve changes it
    states = [int(network.node["mass"][node]), int(network.node["energy"][node])]
    exact, *found = (
        fixed_steps(network, start, 0.2, DURATION, count)[states] for count in (4096, 8, 16, 32, 64)
    )
    return [float(np.abs(each / exact - 1.0).max()) for each in found]


def test_the_smallest_volume_that_follows_a_valve_keeps_the_order() -> None:
    errors = errors_behind_a_valve(SMALLEST_VOLUME)
    assert slope_of(errors) > 3.6
    assert errors[-1] < 2e-9


def test_a_volume_that_follows_at_once_is_hardly_less_exact() -> None:
    """In 5 mL, filled in a fortieth of the longest step, any such method falls below its order;
    with the coefficients of the older RODAS the error is 1.8e-5 (measured here)."""
    errors = errors_behind_a_valve(5e-6)
    assert errors[0] < 3e-6
    assert all(b < a for a, b in pairwise(errors))


@pytest.mark.parametrize("lag", [1e-3, 1e-6, 1e-12])
def test_a_fast_state_is_damped_in_one_step(lag: float) -> None:
    """L-stability: however fast a transmitter, one long step brings it to what it reads."""
    _, network, y = two_vessels()
    network.restriction["open_max"] = 0.0  # nothing flows
    network.node["heat"] = 0.0
    network.lag["lag"] = lag
    where = position(network, y)
    one_step(network, where, 10.0, make_scratch(network))
    left = abs(where.y[network.lag[0]["r"]] - 2.5 * BAR) / (1.5 * BAR)
    assert left < 10.0 * lag / 10.0


# advance


def go(
    network: Network, where: Position, stop: float, enough: float = np.inf, rtol: float = 1e-5
) -> int:
    status, _ = advance(
        network, where, make_part(network), make_scratch(network), stop, enough, 0.02, rtol,
        1e6, np.zeros((16, 3)), 0.0, 0.0, np.zeros((0, len(where.y))),
    )  # fmt: skip
    return int(status)


def now(network: Network, where: Position) -> Array:
    """State at the time that `go` has come to."""
    out = np.empty_like(where.y)
    read_state(network, where, where.run[NOW], out)
    return out


def test_error_follows_the_tolerance() -> None:
    """A hundred times tighter: at least thirty times more accurate for about three times the
    steps, as long as all is smooth."""
    _, network, y = two_vessels()
    exact = position(network, y)
    go(network, exact, DURATION, rtol=1e-11)
    errors, steps = [], []
    for rtol in (1e-4, 1e-6, 1e-8):
        where = position(network, y)
        assert go(network, where, DURATION, rtol=rtol) == STOPPED
        error = (now(network, where) - now(network, exact))[: network.main] / network.scale
        errors.append(float(np.abs(error).max()))
        steps.append(where.run[ACCEPTED])
    assert errors[0] < 1e-3
    assert errors[1] < errors[0] / 30.0
    assert errors[2] < errors[1] / 30.0
    assert steps[2] < 14.0 * steps[0]


def test_a_first_step_far_too_long_is_cut_back() -> None:
    _, network, y = two_vessels()
    short, long = position(network, y, 1e-6), position(network, y, 50.0)
    for where in (short, long):
        assert go(network, where, 10.0, rtol=1e-8) == STOPPED
    assert now(network, long) == pytest.approx(now(network, short), rel=1e-6)


def test_a_stop_is_met_exactly_and_enough_is_not_cut() -> None:
    _, network, y = two_vessels()
    where = position(network, y)
    assert go(network, where, 1.0 / 3.0) == STOPPED
    assert where.run[NOW] == 1.0 / 3.0
    assert go(network, where, 10.0, enough=0.5) == ENOUGH
    assert where.run[NOW] == 0.5
    assert where.partition[0, START] < 0.5 < where.partition[0, END]
    assert where.partition[0, START] + where.partition[0, LENGTH] == where.partition[0, END]


def test_inside_the_last_step_the_state_is_interpolated() -> None:
    _, network, y = two_vessels()
    where = position(network, y)
    go(network, where, 10.0, enough=1.0, rtol=1e-7)
    out = np.empty_like(y)
    read_state(network, where, 1.0, out)
    exact = fixed_steps(network, y, 0.0, 1.0, 2048)
    main = network.main
    assert where.partition[0, END] > 1.0
    assert np.abs((out - exact)[:main] / network.scale).max() < 1e-5
    read_state(network, where, where.partition[0, END], out)
    assert np.array_equal(out, where.y)


def test_an_impossible_plant_is_reported() -> None:
    """No step is short enough for a state that is no number: the run ends and says so."""
    _, network, y = two_vessels()
    broken: Array = y.copy()
    broken[network.lag[0]["r"]] = np.nan
    assert go(network, position(network, broken), 1.0) == FAILED
    empty: Array = y.copy()
    empty[network.node[0]["mass"]] = -1.0
    assert go(network, position(network, empty), 1.0) == FAILED


@pytest.mark.parametrize(
    ("quick", "rest", "tried"),
    [
        (0.001, 0.003, 0.001),
        (0.001, 0.03, 0.03),
        (0.001, 0.2, 0.001 * FORESEEN),
        (0.05, 0.001, 0.001),
    ],
)
def test_a_step_too_long_for_one_cell_is_tried_when_it_saves_more(
    quick: float, rest: float, tried: float
) -> None:
    """A zone that would have to be repeated is borne by the rest of the ride when it is small
    beside what would else take many short steps, though not by more than can be foreseen of it; the
    rest itself is never tried with more."""
    plan = compile_circuit(load(CIRCUITS / "sand_martin.yaml"))
    network = plan.network
    where = new_position(network, plan.start, 1e-5, 4)
    where.partition[:, LOOK_AHEAD] = 1.0
    where.partition[:, STEP] = 1.0
    where.partition[0, STEP], where.partition[-1, STEP] = quick, rest
    assert step_length(network, where, whole(network, 0.0)) == tried


SLOWLY_VENTED = """
ride: {name: slowly vented}
components:
  supply: {kind: ideal_supply, pressure: 8 bar}
  regulator: {kind: regulator, set_pressure: 4 bar, C: 5 L/(s·bar), b: 0.3}
  vessel: {kind: receiver, volume: 5 L, ports: 2}
  cock: {kind: shut_off, C: 0.5 L/(s·bar), b: 0.3}
connections:
  - supply.2 -> regulator.1
  - regulator.2 -> vessel.1
  - vessel.2 -> cock.1
  - cock.2 -> atmosphere
"""


def test_a_step_ends_where_a_stem_leaves_its_play() -> None:
    """The stem stands still shortly before the bend that is foreseen and moves shortly after it;
    a step shorter than that is left as it is."""
    plan = compile_circuit(load_text(SLOWLY_VENTED, "slowly vented"), local=False)
    network = plan.network
    stem = network.stem[plan.parts["regulator"].stem]
    assert stem["dead_band"] > 0.0
    scratch, part = make_scratch(network), whole(network, 0.0)
    where = position(network, plan.start)
    assert linearise(network, part, where, 0.0, scratch)
    bend = first_bend(network, scratch, 0, 1.0)
    assert 0.0 < bend < 1.0
    assert first_bend(network, scratch, 0, 0.5 * bend) == 0.5 * bend

    def pace(time: float) -> float:
        where = position(network, fixed_steps(network, plan.start, 0.0, time, 40))
        assert linearise(network, whole(network, time), where, time, scratch)
        return abs(float(scratch.start_rate[stem["z"]]))

    assert pace(0.9 * bend) == 0.0
    assert pace(1.1 * bend) > 0.0
