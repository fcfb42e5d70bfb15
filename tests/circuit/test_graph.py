"""Where air can go."""

from __future__ import annotations

from circuit_sample import SAMPLE, load_sample

from pneumo.circuit.circuit import PortRef
from pneumo.circuit.graph import (
    air_graph,
    highest_pressures,
    plain_loops,
    reached_ports,
    single_points,
    supply_ports,
)

TWO_FEEDS = SAMPLE.replace(
    "connections:\n",
    "  spare: {kind: ideal_supply, pressure: 12 bar}\n"
    "  spare_check: {kind: check_valve, C: 20 L/(s·bar), b: 0.4}\n"
    "connections:\n  - spare.2 -> spare_check.1\n  - spare_check.2 -> tee.5\n",
).replace("tee: {kind: manifold, ports: 4}", "tee: {kind: manifold, ports: 5}")


def test_the_graph_has_every_port_and_the_ways_of_air() -> None:
    circuit = load_sample()
    graph = air_graph(circuit)
    assert set(graph) == {
        PortRef(name, port.name)
        for name, component in circuit.components.items()
        for port in component.ports()
    }
    assert PortRef("check", "2") in graph[PortRef("check", "1")]
    assert PortRef("check", "1") not in graph[PortRef("check", "2")]
    assert PortRef("receiver", "1") in graph[PortRef("check", "2")]
    assert PortRef("check", "2") in graph[PortRef("receiver", "1")]


def test_air_starts_at_the_supplies_and_reaches_everything_here() -> None:
    circuit = load_sample()
    assert supply_ports(circuit) == (PortRef("compressor", "2"),)
    assert set(reached_ports(circuit)) == set(air_graph(circuit))


def test_single_points_are_those_in_series_with_all_brakes() -> None:
    assert single_points(load_sample(), "final") == (
        "compressor",
        "check",
        "receiver",
        "regulator",
        "valve",
        "tee",
    )


def test_a_second_feed_takes_away_single_points() -> None:
    assert single_points(load_sample(TWO_FEEDS), "final") == ("tee",)


def test_highest_pressures_respect_settings_and_directions() -> None:
    highest = highest_pressures(load_sample())
    assert highest[PortRef("regulator", "1")] == 901_300.0
    assert highest[PortRef("regulator", "2")] == 601_300.0
    assert highest[PortRef("brake_2", "1")] == 601_300.0


def test_the_higher_of_two_feeds_counts() -> None:
    highest = highest_pressures(load_sample(TWO_FEEDS))
    assert highest[PortRef("brake_2", "1")] == 1_301_300.0


def test_a_sound_circuit_has_no_plain_loops() -> None:
    assert plain_loops(load_sample()) == ()
