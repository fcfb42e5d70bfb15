"""The analytic Jacobian, the slope with time and the ledgers' rows, against differences of the
rates, on whole circuits at many moments of their runs."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from plant_toys import jacobian, position, rates_at, two_curves, whole

from pneumo.circuit.action import Inject
from pneumo.circuit.circuit import Event
from pneumo.circuit.sentence import parse_fault
from pneumo.circuit.validate import load
from pneumo.network.compile import compile_circuit
from pneumo.network.network import Array, Network
from pneumo.scenario.play import Play
from pneumo.simulation.jacobian import ledger_slope
from pneumo.simulation.solver import linearise, make_scratch

CIRCUITS = Path(__file__).parents[2] / "circuits"

STEPS = (1e-8, 1e-9)
"""Relative steps of the differences. A hose at rest is laminar below about 1 Pa only, a wide pipe
below far less: the longer step is the more exact one unless the law bends within it."""


def off_the_turn(network: Network, y: Array) -> Array:
    """A state hardly beside y in which no flow turns within a difference's step: where it does, its
    slopes are those of one side's temperature."""
    count = network.dynamic
    node, a, b = network.node, network.restriction["a"], network.restriction["b"]
    energy = node["energy"][:count]
    apart = a != b
    shifts = np.random.default_rng(1)
    while True:
        shifted = y.copy()
        shifted[energy] *= 1.0 + 1e-5 * shifts.random(count)
        scratch = make_scratch(network)
        assert linearise(network, whole(network, 0.0), position(network, shifted), 0.0, scratch)
        p = scratch.start.p
        if (np.abs(p[a] - p[b])[apart] > 1e-7 * (p[a] + p[b])[apart]).all():
            return shifted


def derivative(
    network: Network, y: Array, time: float, grip: Array, direction: Array, step: float
) -> Array:
    """Central difference of the rates along a direction of the states, grips as in the step."""
    rate = [rates_at(network, y + sign * step * direction, time, grip) for sign in (1.0, -1.0)]
    return (rate[0] - rate[1]) / (2.0 * step)


def assert_slopes(network: Network, y: Array, time: float) -> None:
    main = network.main
    scratch = make_scratch(network)
    part = whole(network, time)
    assert linearise(network, part, position(network, y, time=time), time, scratch)
    size = network.scale + np.abs(y[:main])
    found = jacobian(network, scratch) * size[None, :] / size[:, None]
    expected = np.zeros((len(STEPS), len(y), main))
    for k, step in enumerate(STEPS):
        for j in range(main):
            direction = np.zeros(len(y))
            direction[j] = size[j]
            expected[k, :, j] = derivative(network, y, time, part.grip, direction, step)
    scaled = expected[:, :main] / size[:, None]
    # beside its own size: the largest of its row, and changes slower than 100 s
    wide = np.abs(scaled[0]) + 1e-2 * np.abs(scaled[0]).max(axis=1)[:, None] + 1e-2
    assert (np.abs(found - scaled).min(axis=0) / (1e-5 * wide + 2e-5)).max() < 1.0
    # rows of the ledgers
    shift = np.zeros(len(y))
    shift[:main] = np.random.default_rng(0).normal(size=main) * size
    rows = np.zeros(len(y))
    ledger_slope(network, part, y, scratch.start, scratch.flows, shift, rows)
    ahead = expected[:, main:] @ (shift[:main] / size)
    wide = np.abs(ahead[0]) + 1e-2 * np.abs(ahead[0]).max()
    assert (np.abs(rows[main:] - ahead).min(axis=0) / wide).max() < 1e-4
    # slope with time, while a spool moves
    moving = network.spool[(network.spool["since"] < time) & (network.spool["until"] > time)]
    step_time = 1e-7
    if all(row["until"] - time > step_time < time - row["since"] for row in moving):
        before = rates_at(network, y, time - step_time, part.grip)
        after = rates_at(network, y, time + step_time, part.grip)
        slope = (after - before) / (2.0 * step_time)
        atol = 1e-5 * (1.0 + np.abs(slope).max())
        np.testing.assert_allclose(scratch.by_time, slope, rtol=1e-4, atol=atol)


@pytest.mark.parametrize(
    ("document", "moments", "faults"),
    [
        ("01_spring_open_single.yaml", 30, ()),
        ("07_quick_exhaust.yaml", 30, ()),
        ("08_pilot_supply.yaml", 15, ()),
        ("09_two_supplies_shuttle.yaml", 15, ()),
        ("10_station_gates.yaml", 30, ()),
        ("11_dual_pressure.yaml", 15, ()),
        (
            "sand_martin.yaml",
            10,
            (
                "trim_hose_2 leak 3 mm at 1 s",
                "block_brake_1 jaw-seized at 1.2 s",
                "final_1_regulator stuck-open 0.2 at 2 s",
                "final_2_valve_b internal-leak 0.1 at 2 s",
                "station_hose_1 kinked 0.9 at 1 s",
                "station_brake_2 bladder-pinhole 1 mm at 1 s",
                "compressor_1 weak 0.5 at 1 s",
            ),
        ),
    ],
)
def test_slopes_along_a_run(document: str, moments: int, faults: tuple[str, ...]) -> None:
    circuit = load(CIRCUITS / document)
    play = Play(compile_circuit(circuit))
    scenario = next(iter(circuit.scenarios.values()))
    play.schedule(scenario.events)
    for text in faults:
        fault = parse_fault(text, circuit.components)
        play.schedule([Event(fault.at, Inject(fault))])
    first = scenario.events[0].time
    for moment in first + np.geomspace(2e-3, min(scenario.until, 8.0) - first, moments):
        play.advance(float(moment))
        assert_slopes(
            play.plant.network, off_the_turn(play.plant.network, play.plant.state()), play.now
        )


def test_slopes_where_an_area_follows_a_curve() -> None:
    """Both brakes on their way over the bends of their curves, and at rest at its ends."""
    play = Play(two_curves())
    play.schedule(play.compiled.circuit.scenarios["there and back"].events)
    moving = 0
    for moment in (*np.linspace(0.12, 0.3, 9), 1.4, *np.linspace(1.52, 1.8, 9)):
        play.advance(float(moment))
        y = play.plant.state()
        assert_slopes(play.plant.network, off_the_turn(play.plant.network, y), play.now)
        moving += int((np.abs(y[play.plant.network.mover["v"]]) > 1e-3).sum())
    assert moving > 8
