"""Small plants for tests of the solver, and single steps of it."""

from __future__ import annotations

import numpy as np

from pneumo.air import CV, GAS_CONSTANT
from pneumo.circuit.validate import load_text
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.network.network import Array, Network, copy_for_change
from pneumo.simulation.balance import gas_state, rates
from pneumo.simulation.grip import take_grips
from pneumo.simulation.part import Part, hold_all, make_part
from pneumo.simulation.position import END, NOW, STEP, Position, fill_partition, new_position
from pneumo.simulation.solver import (
    Scratch,
    attempt,
    close_ledgers,
    keep_step,
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

CURVE = {0.0: 262.0, 0.4: 259.0, 1.2: 255.0, 2.0: 252.0, 3.0: 243.0, 12.0: 231.0, 25.0: 200.0}
"""A bladder's stroke [mm] and its area [cm2]; most bends are passed on the way to the fin."""

TWO_CURVES = """
ride: {name: two curves}
components:
  supply: {kind: ideal_supply, pressure: 5 bar}
  valve: {kind: valve_3_2, C: 5 L/(s·bar), b: 0.3}
  manifold: {kind: manifold, ports: 3}
  hose_{1..2}: {kind: hose, bore: 9 mm, length: 1 m}
  brake_1: {kind: bladder_brake, spring: open, spring_force: 2 kN, spring_rate: 60 N/mm, AREA}
  brake_2: {kind: bladder_brake, spring: close, spring_force: 4 kN, spring_rate: 60 N/mm, AREA}
connections:
  - supply.2 -> valve.1
  - valve.2 -> manifold.1
  - manifold.{2..3} -> hose_{1..2}.1
  - hose_{1..2}.2 -> brake_{1..2}.1
zones:
  trim: {brakes: [brake_1], outputs: {valve.14: charge}, safe_state: open,
         requirement: {within: 2 s, clearance: 1 mm}}
scenarios:
  there and back:
    until: 3 s
    events: ["at 0.1 s: close trim", "at 1.5 s: open trim"]
"""
"""Two brakes, one opened by its springs and one closed, that air moves from end to end."""


def two_curves(curve: dict[float, float] | None = None) -> Compiled:
    """The plant `TWO_CURVES` with the area of a curve, `CURVE` unless given."""
    points = ", ".join(f"{mm} mm: {cm2} cm2" for mm, cm2 in (curve or CURVE).items())
    text = TWO_CURVES.replace("AREA", f"area_curve: {{{points}}}")
    return compile_circuit(load_text(text, "two curves"))


def two_vessels() -> tuple[Compiled, Network, Array]:
    """The plant `TWO_VESSELS` with its supply closed, from 6 and 2.5 bar: compiled, network, y."""
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


def position(network: Network, y: Array, step: float = 1e-4, time: float = 0.0) -> Position:
    """A position at a time from which every partition goes on with a step."""
    where = new_position(network, y, 1e-5, 16)
    where.run[NOW] = where.partition[:, END] = time
    where.partition[:, STEP] = step
    return where


def whole(network: Network, time: float) -> Part:
    """A part that holds every partition."""
    part = make_part(network)
    hold_all(network, time, part)
    return part


def rates_at(network: Network, y: Array, time: float, grip: Array | None = None) -> Array:
    """dy/dt of the whole network, its ledgers included; movers slide or are held as `grip` says,
    without it as they do in a step that begins there."""
    s, part, out = make_scratch(network), whole(network, time), np.zeros(len(y))
    assert gas_state(network, part, y, s.gas)
    if grip is None:
        take_grips(network, part, y, s.gas.p)
    else:
        part.grip[:] = grip
    assert rates(network, part, y, time, s.gas, s.flows, out)
    return out


def one_step(
    network: Network, where: Position, h: float, scratch: Scratch, rtol: float = 1e-5
) -> float:
    """Makes one step of all partitions together; its estimated error in multiples of the
    tolerance."""
    time = float(where.partition[0, END])
    assert (where.partition[:, END] == time).all()
    part = whole(network, time)
    assert linearise(network, part, where, time, scratch)
    assert attempt(network, part, where, time, h, rtol, scratch)
    close_ledgers(network, part, h, scratch)
    for c in range(len(where.partition)):
        keep_step(network, where, c, time, h, time + h, scratch)
    return float(scratch.error.max())


def fixed_steps(network: Network, y: Array, start: float, duration: float, count: int) -> Array:
    """State after `count` equal steps."""
    scratch = make_scratch(network)
    where = position(network, y, time=start)
    for _ in range(count):
        one_step(network, where, duration / count, scratch)
    return where.y


def inside(network: Network, where: Position, time: float) -> Array:
    """State at a time within the step just made."""
    out = np.empty_like(where.y)
    for c in range(len(where.partition)):
        fill_partition(network, where, c, time, out)
    return out


def jacobian(network: Network, scratch: Scratch) -> Array:
    """The Jacobian of the last `linearise`, as a square array."""
    full = np.zeros((network.main, network.main))
    for i in range(network.main):
        for e in range(network.row[i], network.row[i + 1]):
            full[i, network.column[e]] = scratch.jacobian[e]
    return full
