"""Named signals of a recorded run, in SI: what a plot, a table or a file shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, cast

import numpy as np

from pneumo.components.base import Quantity
from pneumo.network.network import Array, Network
from pneumo.scenario.play import Play
from pneumo.scenario.pressure import node_pressure
from pneumo.simulation.jaw import contact


@dataclass(frozen=True)
class Signal:
    """One quantity against time."""

    name: str
    """"COMPONENT QUANTITY", e.g. "trim_brake_1 force"."""
    unit: str
    """Pa (gauge), m, N."""
    values: Array
    """(nsamples,)"""


def signals(play: Play) -> tuple[Signal, ...]:
    """Every signal of the recorded part of a run, in document order.

    Vessels, manifolds and gauges: pressure. Transmitters: what they show. Brakes: pressure in the
    bladders, distance of a lining from the fin, clamping force of a ski. Cylinders: travel.
    """
    found: list[Signal] = []
    for name, component in play.compiled.circuit.components.items():
        for quantity in component.quantities:
            # of a part with two pressures neither is its own
            if quantity != "pressure" or component.is_one_place():
                found.append(_signal(play, name, quantity))
    return tuple(found)


def _signal(play: Play, name: str, quantity: Quantity) -> Signal:
    parts, ambient = play.compiled.parts[name], play.compiled.circuit.ambient.pressure
    states = _states(play)
    if quantity == "gap":
        return Signal(f"{name} gap", "m", gap(play, parts.mover))
    if quantity == "force":
        return Signal(f"{name} force", "N", force(play, parts.mover))
    if quantity == "travel":
        return Signal(f"{name} travel", "m", states[:, play.plant.network.mover[parts.mover]["x"]])
    if quantity == "reading" and parts.lag >= 0:
        shown = reading(play.plant.network, states, parts.lag)
        return Signal(f"{name} reading", "Pa", shown - ambient)
    node = next(iter(parts.ports.values()))
    return Signal(f"{name} pressure", "Pa", pressure(play, node) - ambient)


def pressure(play: Play, node: int) -> Array:
    """Pressure of a node at every recorded time [Pa absolute]: p = (k - 1) U / V."""
    return node_pressure(play.plant.network, _states(play), node)


def gap(play: Play, mover: int) -> Array:
    """Distance of a lining from the fin at every recorded time [m], 0 in contact."""
    return jaws(play.plant.network, _states(play), mover)[0]


def force(play: Play, mover: int) -> Array:
    """Clamping force of a ski at every recorded time [N]: the elastic force of the contact."""
    return jaws(play.plant.network, _states(play), mover)[1]


def _states(play: Play) -> Array:
    return play.plant.samples.filled(play.now)


def jaws(
    network: Network, states: Array, movers: Sequence[int] | Array | int
) -> tuple[Array, Array]:
    """Distance of a lining from the fin [m], 0 in contact, and clamping force of a ski [N].

    `states`: one, or a row for each; of one brake, or of several in one state.
    """
    rows = network.mover[movers]
    x, law = states[..., rows["x"]], cast(Any, contact.function)
    gaps: Array = np.maximum(rows["high"] - x, 0.0)
    forces: Array = law(x - rows["high"], rows["high_stiffness"])[0]
    return gaps, forces


def reading(network: Network, states: Array, lag: int | Array) -> Array:
    """What a transmitter shows in one state, or in a row for each [Pa absolute]; or what several
    transmitters show in one state."""
    row = network.lag[lag]
    shown: Array = row["gain"] * states[..., row["r"]] + row["offset"]
    return shown
