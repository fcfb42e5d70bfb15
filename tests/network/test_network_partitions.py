"""Where a network is cut into partitions, and that the arrays agree on which partition everything
is in."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import networkx as nx
import numpy as np
import pytest

from pneumo.circuit.validate import load, load_text
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.network.network import (
    BORDERS,
    LAGS,
    MOVERS,
    NODES,
    PATHS,
    SOURCES,
    SPOOLS,
    STEMS,
    WATCHES,
    Network,
)
from pneumo.network.partitions import BUFFER_VOLUME

CIRCUITS = Path(__file__).parents[2] / "circuits"
DOCUMENTS = sorted(path.name for path in CIRCUITS.glob("*.yaml"))
RIDE = "sand_martin.yaml"

ZONE = """
ride: {name: ring}
components:
  supply: {kind: ideal_supply, pressure: 6 bar}
  feed: {kind: electrical_feed}
  vessel: {kind: receiver, volume: 20 L, ports: 3}
  cock_{1..2}: {kind: shut_off, C: 10 L/(s·bar), b: 0.3}
  valve_{1..2}: {kind: valve_3_2, C: 10 L/(s·bar), b: 0.3, feed: feed}
  manifold_{1..2}: {kind: manifold, ports: 3, volume: 0.2 L}
  brake_{1..2}: {kind: bladder_brake, spring: close, area: 300 cm2, spring_force: 8 kN,
                 spring_rate: 120 N/mm}
  LINK
connections:
  - supply.2 -> vessel.1
  - vessel.{2..3} -> cock_{1..2}.1
  - cock_{1..2}.2 -> valve_{1..2}.1
  - valve_{1..2}.2 -> manifold_{1..2}.1
  - manifold_{1..2}.2 -> brake_{1..2}.1
  ENDS
ZONES
"""
"""Two brakes, each behind a valve and a manifold of its own."""
ONE_ZONE = """
zones:
  block:
    brakes: ["brake_{1..2}"]
    outputs: {valve_1.14: charge, valve_2.14: charge}
    safe_state: closed
    requirement: {within: 2 s, clamping_force: 5 kN}
"""
TWO_ZONES = "\nzones:" + "".join(
    f"""
  zone_{i}:
    brakes: [brake_{i}]
    outputs: {{valve_{i}.14: charge}}
    safe_state: closed
    requirement: {{within: 2 s, clamping_force: 5 kN}}
"""
    for i in (1, 2)
)
PLUGS = "- manifold_{1..2}.3 -> plug"
PIPE = "link: {kind: pipe, length: 3 m, bore: 10 mm}"
JOINED = "- manifold_1.3 -> link.1\n  - link.2 -> manifold_2.3"


def ring(zones: str, link: str = "", ends: str = PLUGS) -> str:
    return ZONE.replace("LINK", link).replace("ENDS", ends).replace("ZONES", zones)


def plan(zones: str, link: str = "", ends: str = PLUGS) -> Compiled:
    return compile_circuit(load_text(ring(zones, link, ends), "ring"))


@cache
def compiled(document: str, represented: bool, local: bool = True) -> Compiled:
    return compile_circuit(load(CIRCUITS / document), () if represented else None, local=local)


def npartition(network: Network) -> int:
    return len(network.state) - 1


def of(network: Network, kind: int, c: int) -> list[int]:
    """Numbers of what belongs to a partition."""
    first, end = network.members[kind, c : c + 2]
    return [int(number) for number in network.member[first:end]]


def everywhere(network: Network, kind: int) -> list[int]:
    return sorted(number for c in range(npartition(network)) for number in of(network, kind, c))


def partition_of(plan: Compiled, component: str) -> set[int]:
    """Partitions of a component's ports and inner nodes, the surroundings left out."""
    parts = plan.parts[component]
    nodes = {*parts.ports.values(), *parts.nodes.values()}
    return {int(plan.network.node_partition[n]) for n in nodes} - {-1}


# where it is cut


@pytest.mark.parametrize("represented", [True, False])
def test_every_zone_of_the_ride_has_a_partition_and_the_shared_one_is_last(
    represented: bool,
) -> None:
    plan = compiled(RIDE, represented)
    circuit = plan.circuit
    groups = {name: zone.brakes for name, zone in circuit.zones.items()}
    groups |= {name: gates.cylinders for name, gates in circuit.gates.items()}
    shared = npartition(plan.network) - 1
    assert shared == len(groups) == 7
    partitions = []
    for parts in groups.values():
        (partition,) = set().union(*(partition_of(plan, name) for name in parts))
        partitions.append(partition)
    assert sorted(partitions) == list(range(shared))
    for name in ("receiver", "header", "compressor_1", "compressor_2", "main_shut_off"):
        assert partition_of(plan, name) == {shared}
    for zone in circuit.zones:
        (own,) = partition_of(plan, f"{zone}_brake_1")
        assert (
            partition_of(plan, f"{zone}_valve_a") == partition_of(plan, f"{zone}_manifold") == {own}
        )
        # it is cut at its shut-off valve
        assert partition_of(plan, f"{zone}_shut_off") == {own, shared}


@pytest.mark.parametrize("represented", [True, False])
@pytest.mark.parametrize("document", DOCUMENTS)
def test_a_border_is_one_path_between_a_zone_and_what_is_shared(
    document: str, represented: bool
) -> None:
    """Paths to other partitions all lead from a zone's partition to the last, between the same two
    nodes; what lies beyond belongs to one zone or group of gates, and to it alone."""
    plan = compiled(document, represented)
    network = plan.network
    shared = npartition(network) - 1
    rows, of_node = network.restriction, network.node_partition
    meeting: dict[int, set[tuple[int, int]]] = {}
    for row in rows:
        a, b = sorted((int(row["a"]), int(row["b"])), key=lambda n: of_node[n])
        if of_node[a] >= 0 and of_node[a] != of_node[b]:
            assert of_node[b] == shared
            meeting.setdefault(int(of_node[a]), set()).add((a, b))
    assert sorted(meeting) == list(range(shared))
    assert all(len(ends) == 1 for ends in meeting.values())
    circuit = plan.circuit
    groups = [zone.brakes for zone in circuit.zones.values()]
    groups += [gates.cylinders for gates in circuit.gates.values()]
    at = [set().union(*(partition_of(plan, name) for name in names)) for names in groups]
    alone = [
        next(iter(partitions))
        for partitions in at
        if len(partitions) == 1 and partitions != {shared}
    ]
    assert sorted(alone) == list(range(shared))
    # partitions hang together
    inner = [(int(r["a"]), int(r["b"])) for r in rows if max(r["a"], r["b"]) < network.dynamic]
    graph = nx.Graph(inner)
    for c in range(shared):
        assert nx.is_connected(graph.subgraph(of(network, NODES, c)))


def test_two_supplies_of_one_zone_are_not_two_zones() -> None:
    """The zone has two ways to air; it is cut in one of its two lines, not across both. (The lines
    are made wider, so that they hold enough air to be cut.)"""
    text = (CIRCUITS / "09_two_supplies_shuttle.yaml").read_text(encoding="utf-8")
    plan = compile_circuit(load_text(text.replace("bore: 15 mm", "bore: 25 mm"), "wide"))
    (own,) = set().union(*(partition_of(plan, f"brake_{i}") for i in (1, 2)))
    assert npartition(plan.network) == 2
    assert partition_of(plan, "shuttle") == partition_of(plan, "valve") == {own}
    assert sum(own != c for i in (1, 2) for c in partition_of(plan, f"line_{i}")) == 1
    assert len(of(plan.network, BORDERS, own)) == 1


def test_a_zone_on_two_ways_stays_with_the_rest() -> None:
    """One zone behind two valves of its own: no single path leads to all of it but the supply's."""
    for one in (plan(ONE_ZONE), plan(ONE_ZONE, PIPE, JOINED)):
        for name in ("brake_1", "brake_2", "cock_1", "cock_2", "vessel"):
            assert partition_of(one, name) == {npartition(one.network) - 1}


def test_zones_that_share_a_way_are_not_cut_apart() -> None:
    """Two zones with a valve each get two partitions; with a pipe across, neither can be cut before
    its brake's own port, where nothing is left to cut off."""
    apart = plan(TWO_ZONES)
    assert npartition(apart.network) == 3
    for i in (1, 2):
        assert partition_of(apart, f"brake_{i}") == partition_of(apart, f"valve_{i}") == {i - 1}
        assert partition_of(apart, f"cock_{i}") == {i - 1, 2}
    assert partition_of(apart, "vessel") == {2}
    assert npartition(plan(TWO_ZONES, PIPE, JOINED).network) == 1


def test_it_is_cut_only_where_the_rest_holds_air() -> None:
    """However short of cuts it is: the rest must bear what a zone takes while the rest is ahead."""
    for litres, partitions in ((1.9, 1), (2.1, 3)):
        one = compile_circuit(
            load_text(ring(TWO_ZONES).replace("volume: 20 L", f"volume: {litres} L"), f"{litres} L")
        )
        assert npartition(one.network) == partitions
    for document in DOCUMENTS:
        network = compiled(document, False).network
        shared = npartition(network) - 1
        for r in everywhere(network, BORDERS):
            row = network.restriction[r]
            n = row["a"] if network.node_partition[row["a"]] == shared else row["b"]
            assert network.node[n]["volume"] >= BUFFER_VOLUME


@pytest.mark.parametrize("document", DOCUMENTS)
def test_one_step_for_all_is_one_partition(document: str) -> None:
    """The same plant, not divided: as many states, paths and watches, and no borders."""
    one, many = compiled(document, True, False).network, compiled(document, True).network
    assert npartition(one) == 1
    assert one.main == many.main
    assert of(one, BORDERS, 0) == []
    assert set(one.node_partition.tolist()) == {0, -1}
    for name in ("node", "restriction", "mover", "stem", "lag", "source", "spool", "watch"):
        assert len(getattr(one, name)) == len(getattr(many, name))


# the arrays


@pytest.mark.parametrize("represented", [True, False])
@pytest.mark.parametrize("document", DOCUMENTS)
def test_partitions_divide_what_there_is(document: str, represented: bool) -> None:
    network = compiled(document, represented).network
    for kind, table in (
        (NODES, network.node[: network.dynamic]), (MOVERS, network.mover), (STEMS, network.stem),
        (LAGS, network.lag), (SOURCES, network.source), (WATCHES, network.watch),
    ):  # fmt: skip
        assert everywhere(network, kind) == list(range(len(table)))
    inner, borders = everywhere(network, PATHS), everywhere(network, BORDERS)
    assert borders[::2] == borders[1::2]
    assert sorted([*inner, *borders[::2], *network.loose]) == list(range(len(network.restriction)))
    # the kinds follow one another without a gap
    assert network.members[0, 0] == 0
    assert network.members[-1, -1] == len(network.member)
    assert (network.members[:-1, -1] == network.members[1:, 0]).all()


@pytest.mark.parametrize("represented", [True, False])
@pytest.mark.parametrize("document", DOCUMENTS)
def test_everything_is_in_the_partition_of_its_states(document: str, represented: bool) -> None:
    """States and ledgers are contiguous; what belongs to a partition has its states there and
    depends on no other partition but through a border path."""
    network = compiled(document, represented).network
    node_partition, state_partition = network.node_partition, network.state_partition
    last = len(network.ledger) - 1
    assert (np.diff(network.state) > 0).all()
    assert (np.diff(state_partition) >= 0).all()
    assert network.state[0] == 0 and network.state[-1] == network.main == network.ledger[0]
    assert (np.diff(network.ledger) >= network.work + 1).all()
    for c in range(last):
        assert (state_partition[network.state[c] : network.state[c + 1]] == c).all()
        for n in of(network, NODES, c):
            row = network.node[n]
            assert (
                state_partition[row["mass"]]
                == state_partition[row["energy"]]
                == node_partition[n]
                == c
            )
            if row["mover"] >= 0:
                assert state_partition[network.mover[row["mover"]]["x"]] == c
        for j in of(network, MOVERS, c):
            row = network.mover[j]
            assert state_partition[row["x"]] == state_partition[row["v"]] == c
            for n in (row["node_0"], row["node_1"]):
                assert n < 0 or node_partition[n] in (c, -1)
        for k in of(network, STEMS, c):
            assert state_partition[network.stem[k]["z"]] == c
            assert node_partition[network.stem[k]["node"]] in (c, -1)
        for k in of(network, LAGS, c):
            assert state_partition[network.lag[k]["r"]] == c
            assert node_partition[network.lag[k]["node"]] in (c, -1)
        for k in of(network, SOURCES, c):
            assert node_partition[network.source[k]["node"]] == c
        opened = set()
        for r in of(network, PATHS, c):
            row = network.restriction[r]
            ends = [n for n in (row["a"], row["b"], row["hi"], row["lo"]) if n >= 0]
            assert {int(node_partition[n]) for n in ends} <= {c, -1}
            assert row["stem"] < 0 or state_partition[network.stem[row["stem"]]["z"]] == c
            assert network.border[r].tolist() == [-1, -1]
            opened.add(int(row["spool"]))
        for r in of(network, BORDERS, c):
            row = network.restriction[r]
            side = 0 if node_partition[row["a"]] == c else 1
            assert c in (node_partition[row["a"]], node_partition[row["b"]])
            place = network.border[r, side]
            assert network.ledger[c] + network.work < place < network.ledger[c + 1] - 1
            assert row["hi"] < 0 or {row["hi"], row["lo"]} <= {row["a"], row["b"]}
            opened.add(int(row["spool"]))
        assert set(of(network, SPOOLS, c)) == opened - {-1}


@pytest.mark.parametrize("document", DOCUMENTS)
def test_the_jacobian_couples_partitions_only_at_their_borders(document: str) -> None:
    """What is eliminated in a zone reaches no other, and in the rest the border's node only."""
    network = compiled(document, False).network
    shared = npartition(network) - 1
    ends = {
        int(q)
        for r in everywhere(network, BORDERS)
        for q in network.column_restriction[r]
        if q >= 0 and network.state_partition[q] == shared
    }
    rows = np.repeat(np.arange(network.main), np.diff(network.row))
    beyond = network.state_partition[network.column] > network.state_partition[rows]
    assert np.array_equal(np.arange(len(rows)) >= network.own[rows], beyond)
    across = 0
    for i, j in zip(rows.tolist(), network.column.tolist(), strict=True):
        if network.state_partition[i] != network.state_partition[j]:
            assert max(i, j) in ends
            across += 1
    assert (across > 0) == (shared > 0)
