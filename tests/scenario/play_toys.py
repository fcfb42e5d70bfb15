"""Runs of whole circuits, and what to compare of them."""

from __future__ import annotations

from collections.abc import Collection
from functools import cache
from pathlib import Path

import numpy as np
from ledger import ledger_total

from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.sentence import parse_action
from pneumo.circuit.validate import load, load_text
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.network.network import Array
from pneumo.scenario.play import Play
from pneumo.scenario.pressure import node_pressure
from pneumo.simulation.position import FOUND

CIRCUITS = Path(__file__).parents[2] / "circuits"

BENCH = """
ride: {name: bench}
components:
  supply: {kind: ideal_supply, pressure: 6 bar}
  feed: {kind: electrical_feed}
  valve: {kind: valve_3_2, C: 5 L/(s·bar), b: 0.3, feed: feed}
  manifold: {kind: manifold, ports: 4}
  made: {kind: pressure_switch, set: 4 bar, delay: 5 ms}
  hose_{1..2}: {kind: hose, bore: 9 mm, length: 1 m}
  brake_{1..2}: {kind: bladder_brake, spring: close, area: 300 cm2, spring_force: 8 kN,
                 spring_rate: 120 N/mm}
  closed_{1..2}: {kind: jaw_switch, of: "brake_{1..2}", reads: closed}
connections:
  - supply.2 -> valve.1
  - valve.2 -> manifold.1
  - manifold.2 -> made.1
  - manifold.{3..4} -> hose_{1..2}.1
  - hose_{1..2}.2 -> brake_{1..2}.1
zones:
  block:
    brakes: ["brake_{1..2}"]
    outputs: {valve.14: charge}
    pressure_switches: [made]
    safe_state: closed
    requirement: {within: 2 s, clamping_force: 5 kN}
"""
"""Two spring-close brakes on one valve."""


@cache
def circuit(document: str) -> Circuit:
    return load(CIRCUITS / document)


@cache
def compiled(document: str, apart: tuple[str, ...] | None = (), *, local: bool = True) -> Compiled:
    """A document compiled; `apart` and `local` as in `compile_circuit`."""
    return compile_circuit(circuit(document), apart, local=local)


def bench(text: str = BENCH, *, local: bool = True) -> Compiled:
    return compile_circuit(load_text(text, "bench"), local=local)


def at(plan: Compiled, time: float, *sentences: str) -> list[Event]:
    """Events of one instant."""
    c = plan.circuit
    return [
        Event(time, parse_action(text, c.components, c.zones, c.gates, time)) for text in sentences
    ]


def start(plan: Compiled, *events: Event, scenario: str = "", rtol: float = 1e-5) -> Play:
    """A run at time zero, with a scenario of the document and more events."""
    play = Play(plan, rtol=rtol)
    if scenario:
        play.schedule(plan.circuit.scenarios[scenario].events)
    play.schedule(events)
    return play


def trace(play: Play) -> tuple[object, ...]:
    """All that a run said so far."""
    return tuple(play.plant.log.events), tuple(play.plant.log.crossings)


def same(one: Play, other: Play) -> bool:
    """True when two runs stand in the same place bit for bit and have said the same."""
    arrays = all(np.array_equal(a, b) for a, b in zip(place(one), place(other), strict=True))
    samples = np.array_equal(
        one.plant.samples.filled(one.now), other.plant.samples.filled(other.now)
    )
    return arrays and samples and trace(one) == trace(other)


def place(play: Play) -> list[Array]:
    """Every number that a run goes on from."""
    waiting = play.plant.position.found[: int(play.plant.position.run[FOUND])]
    *numbers, _ = play.plant.position._replace(
        found=waiting
    )  # the trajectory is what another run left
    return [play.plant.state(), *numbers]


def pressures(play: Play, components: Collection[str]) -> Array:
    """Pressure at the first port of components now [Pa]."""
    y = play.plant.state()
    nodes = [next(iter(play.compiled.parts[name].ports.values())) for name in components]
    return np.array([node_pressure(play.plant.network, y[None, :], node)[0] for node in nodes])


def balances(play: Play) -> tuple[float, float, float, float]:
    """Air and energy of plant and surroundings together, and the amounts they are measured by."""
    network, y = play.plant.network, play.plant.state()
    node = network.node
    inside, outside = node[: network.dynamic], node[network.dynamic :]
    mass = float((inside["count"] * y[inside["mass"]]).sum())
    energy = float((inside["count"] * y[inside["energy"]]).sum())
    air = mass + sum(ledger_total(network, y, place) for place in outside["mass"])
    held = energy + sum(ledger_total(network, y, place) for place in outside["energy"])
    held += ledger_total(network, y, network.work) - ledger_total(network, y, network.heat)
    return air, held, mass, energy
