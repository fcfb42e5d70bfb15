"""Small plants for tests of the solver, and single steps of it."""

from __future__ import annotations

import numpy as np

from pneumo.air import CV, GAS_CONSTANT
from pneumo.circuit.validate import load_text
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.network.network import Array, Network, copy_for_change
from pneumo.simulation.advance import STEP, Position
from pneumo.simulation.solver import (
    Scratch,
    attempt,
    close_balances,
    dense,
    dense_coefficients,
    linearise,
    make_scratch,
)

BAR = 1e5

TWO_VESSELS = """
ride: {name: two vessels}
components:
  supply: {kind: ideal_supply, pressure: 8 bar abs}
  left: {kind: receiver, volume: 10 L}
  valve: {kind: shut_off, C: 1 L/(s·bar), b: 0.2}
  right: {kind: receiver, volume: 8 L}
  reading: {kind: transmitter, lag: 200 ms}
connections:
  - supply.2 -> left.1
  - left.2 -> valve.1
  - valve.2 -> right.1
  - right.2 -> reading.1
"""
"""One vessel empties into another, whose pressure is read."""


def two_vessels() -> tuple[Compiled, Network, Array]:
    """The plant `TWO_VESSELS` with its supply shut, from 6 and 2.5 bar: compiled, network, y."""
    compiled = compile_circuit(load_text(TWO_VESSELS, "two vessels"))
    network = copy_for_change(compiled.network)
    network.restriction[compiled.parts["supply"].restrictions["2"]]["open_max"] = 0.0
    y = compiled.start.copy()
    fill(compiled, network, y, "left", 6 * BAR, 310.0)
    fill(compiled, network, y, "right", 2.5 * BAR, 285.0)
    y[network.lag[0]["r"]] = 1 * BAR
    return compiled, network, y


def fill(
    compiled: Compiled, network: Network, y: Array, vessel: str, pressure: float, kelvin: float
) -> None:
    """Sets the gas in a vessel."""
    row = network.node[compiled.parts[vessel].ports["1"]]
    y[row["mass"]] = pressure * row["volume"] / (GAS_CONSTANT * kelvin)
    y[row["energy"]] = pressure * row["volume"] * CV / GAS_CONSTANT


def position(network: Network, y: Array, step: float = 1e-4) -> Position:
    """A position at time 0."""
    size = len(y)
    where = Position(
        y.copy(), y.copy(), y.copy(), np.zeros(size), np.zeros(size),
        np.zeros(len(network.watch), dtype=np.bool_), np.zeros(7),
    )  # fmt: skip
    where.clock[STEP] = step
    return where


def one_step(
    network: Network, y: Array, time: float, h: float, scratch: Scratch, rtol: float = 1e-5
) -> tuple[Array, float]:
    """State after one step and its estimated error in multiples of the tolerance."""
    after = np.empty_like(y)
    assert linearise(network, y, time, scratch)
    error = float(attempt(network, y, time, h, rtol, scratch, after))
    close_balances(network, y, h, scratch, after)
    return after, error


def fixed_steps(network: Network, y: Array, start: float, duration: float, count: int) -> Array:
    """State after `count` equal steps."""
    scratch = make_scratch(network, len(y))
    h = duration / count
    for i in range(count):
        y, _ = one_step(network, y, start + i * h, h, scratch)
    return y


def inside(y: Array, after: Array, scratch: Scratch, theta: float) -> Array:
    """State at a share of the step just made."""
    second, third = np.empty_like(y), np.empty_like(y)
    dense_coefficients(scratch, second, third)
    return np.array([dense(y, after, second, third, theta, q) for q in range(len(y))])


def jacobian(network: Network, scratch: Scratch) -> Array:
    """The Jacobian of the last `linearise`, as a square array."""
    full = np.zeros((network.main, network.main))
    for i in range(network.main):
        for e in range(network.row[i], network.row[i + 1]):
            full[i, network.column[e]] = scratch.jacobian[e]
    return full
