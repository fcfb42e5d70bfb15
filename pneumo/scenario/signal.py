"""Named signals of a recorded run, in SI: what a plot, a table or a file shows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pneumo.circuit.sentence import kind_of
from pneumo.network.network import Array
from pneumo.scenario.play import Play
from pneumo.scenario.pressure import node_pressure
from pneumo.simulation.jaw import BLEND

PRESSURE_OF = ("accumulator", "gauge", "manifold", "receiver")
"""Kinds whose pressure is a signal of its own."""


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
    compiled, states = play.compiled, play.plant.samples[: play.plant.recorded]
    ambient = compiled.circuit.ambient.pressure
    found: list[Signal] = []
    for name, component in compiled.circuit.components.items():
        kind = kind_of(component)
        parts = compiled.parts[name]
        if kind in PRESSURE_OF:
            node = next(iter(parts.ports.values()))
            found.append(Signal(f"{name} pressure", "Pa", pressure(play, node) - ambient))
        elif kind == "transmitter":
            lag = play.network.lag[parts.lag]
            shown = lag["gain"] * states[:, lag["r"]] + lag["offset"]
            found.append(Signal(f"{name} reading", "Pa", shown - ambient))
        elif kind == "bladder_brake":
            node = next(iter(parts.ports.values()))
            found.append(Signal(f"{name} pressure", "Pa", pressure(play, node) - ambient))
            found.append(Signal(f"{name} gap", "m", gap(play, parts.mover)))
            found.append(Signal(f"{name} force", "N", force(play, parts.mover)))
        elif kind == "cylinder":
            travel = states[:, play.network.mover[parts.mover]["x"]]
            found.append(Signal(f"{name} travel", "m", travel))
    return tuple(found)


def pressure(play: Play, node: int) -> Array:
    """Pressure of a node at every recorded time [Pa absolute]: p = (k - 1) U / V."""
    states = play.plant.samples[: play.plant.recorded]
    return node_pressure(play.network, states, node)


def gap(play: Play, mover: int) -> Array:
    """Distance of a lining from the fin at every recorded time [m], 0 in contact."""
    row = play.network.mover[mover]
    distance: Array = np.maximum(
        row["high"] - play.plant.samples[: play.plant.recorded, row["x"]], 0.0
    )
    return distance


def force(play: Play, mover: int) -> Array:
    """Clamping force of a ski at every recorded time [N]: the elastic force of the contact."""
    row = play.network.mover[mover]
    return clamping_force(
        play.plant.samples[: play.plant.recorded, row["x"]] - row["high"],
        float(row["high_stiffness"]),
    )


def clamping_force(depth: Array, stiffness: float | Array) -> Array:
    """`simulation.jaw.contact` for many depths [m], with one stiffness or many [N/m]: [N]."""
    blend: Array = np.clip(depth + BLEND, 0.0, 2.0 * BLEND) ** 2 * stiffness / (4.0 * BLEND)
    return np.where(depth > BLEND, stiffness * depth, blend)
