"""Crossover of directional valves: what is open while the spool passes from place to place."""

from __future__ import annotations

import pytest
from component_toys import lowered, make

from pneumo.circuit.action import Inject
from pneumo.circuit.circuit import Event
from pneumo.circuit.sentence import parse_fault
from pneumo.circuit.validate import load_text
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play
from pneumo.scenario.signal import signals
from pneumo.simulation.flow import clip

VALVES = [
    ("valve_3_2", {"rest": "closed"}),
    ("valve_3_2", {"rest": "open"}),
    ("valve_5_2", {}),
    ("valve_5_3", {"centre": "closed"}),
    ("valve_5_3", {"centre": "exhausted"}),
    ("valve_5_3", {"centre": "pressurised"}),
]


def open_ways(kind: str, given: dict[str, str], position: float) -> dict[str, float]:
    """Opening of every path of a valve with its spool at a position."""
    paths = lowered(make(kind, C="5 L/(s·bar)", b="0.3", **given)).paths
    found = {}
    for label, path in paths.items():
        spool = path["spool"]
        found[label] = clip((position - spool.closed) / (spool.open - spool.closed))[0]
    return found


@pytest.mark.parametrize(("kind", "given"), VALVES)
def test_crossover_changes_nothing_where_the_spool_rests(kind: str, given: dict[str, str]) -> None:
    places = (-1.0, 0.0, 1.0) if kind == "valve_5_3" else (0.0, 1.0)
    for place in places:
        closed = open_ways(kind, {**given, "crossover": "closed"}, place)
        assert set(closed.values()) <= {0.0, 1.0}
        assert open_ways(kind, {**given, "crossover": "open"}, place) == closed


@pytest.mark.parametrize(("kind", "given"), [v for v in VALVES if v[1].get("centre") != "closed"])
def test_midway_the_ways_that_change_are_shut_or_half_open(
    kind: str, given: dict[str, str]
) -> None:
    ends = open_ways(kind, given, 0.0), open_ways(kind, given, 1.0)
    changing = {label for label in ends[0] if ends[0][label] != ends[1][label]}
    assert changing
    for crossover, opening in (("closed", 0.0), ("open", 0.5)):
        found = open_ways(kind, {**given, "crossover": crossover}, 0.5)
        for label in changing:
            assert found[label] == pytest.approx(opening)


@pytest.mark.parametrize(("crossover", "low", "high"), [("closed", 4.999, 5.001), ("open", 1, 4)])
def test_a_valve_stuck_midway_keeps_its_air_or_blows_it_off(
    crossover: str, low: float, high: float
) -> None:
    """Charged and then stuck half-way: with an open crossover supply and exhaust share the outlet,
    which stands between them."""
    circuit = load_text(
        f"""
ride: {{name: crossover}}
components:
  supply: {{kind: ideal_supply, pressure: 5 bar}}
  valve: {{kind: valve_3_2, C: 5 L/(s·bar), b: 0.3, rest: open, crossover: {crossover}}}
  tank: {{kind: receiver, volume: 1 L, ports: 1}}
connections: [supply.2 -> valve.1, valve.2 -> tank.1]
""",
        "crossover",
    )
    play = Play(compile_circuit(circuit))
    fault = parse_fault("valve stuck-midway at 1 s", circuit.components)
    play.schedule([Event(fault.at, Inject(fault))])
    play.plant.record(1.0, 6.0)
    play.advance(6.0)
    (tank,) = [one for one in signals(play) if one.name == "tank pressure"]
    assert low < tank.values[-1] / 1e5 < high
