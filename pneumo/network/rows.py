"""Rows: every component lowered to primitives, which name nodes as the arrays number them.

The last pass that knows the circuit.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace

from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.network.branches import Branches
from pneumo.network.builder import Builder, ComponentLowering, Parts, Row
from pneumo.network.network import PRESSURE
from pneumo.network.nodes import SMALLEST_VOLUME, find_nets
from pneumo.network.watches import BrakeWatch, add_brake_watches, add_low_pressure

RAISED = 0.05
"""Share by which a net must have been raised to be worth a remark [-]."""

LEAK_SLOTS = 8
"""Leaks that may be open at one time, and one more for each zone: paths to the atmosphere kept
ready, closed until used."""


@dataclass(frozen=True)
class Rows:
    """Every primitive of a circuit, one row each; the fields are those of `network.Network`."""

    build: Builder
    """What else the components asked for, and the ambient air."""
    nodes: list[Row]
    """Dynamic nodes first, then boundary nodes, the first of which is the atmosphere."""
    dynamic: int
    """How many are dynamic."""
    restrictions: list[Row]
    movers: list[Row]
    stems: list[Row]
    lags: list[Row]
    sources: list[Row]
    watches: list[Row]
    parts: dict[str, Parts]
    """Component -> its primitives; one that another is integrated for has that one's."""
    owners: tuple[tuple[int, ...], ...]
    """Movers of each zone and of each group of gates."""
    low_pressure: dict[str, int]
    brakes: dict[str, tuple[BrakeWatch, ...]]
    leak_slots: tuple[int, ...]
    raised: tuple[tuple[str, float], ...]
    """See `compile.Compiled`."""


def lower(circuit: Circuit, branches: Branches, apart: Collection[str] | None) -> Rows:
    """Lowers the components of a circuit; `apart`: see `compile.compile_circuit`."""
    build = Builder(circuit.ambient.pressure, circuit.ambient.temperature)
    _lower_components(circuit, branches, build)
    for _, target, row in build.positions:
        row["index"] = build.parts[target].mover
    build.share_watches(apart)
    low_pressure = add_low_pressure(circuit.zones, build)
    brakes = add_brake_watches(circuit.zones, build)
    groups = (*(zone.brakes for zone in circuit.zones.values()),
              *(gates.cylinders for gates in circuit.gates.values()))  # fmt: skip
    slots = tuple(
        build.add_path(a=build.atmosphere, b=build.atmosphere, open_max=0.0)
        for _ in range(LEAK_SLOTS + len(circuit.zones))
    )
    order = sorted(range(len(build.nodes)), key=lambda n: build.nodes[n]["boundary"])
    number = {old: new for new, old in enumerate(order)} | {-1: -1}
    nodes, raised = _raised([build.nodes[n] for n in order])

    def numbered(rows: Iterable[Row], *keys: str) -> list[Row]:
        return [row | {key: number[row[key]] for key in keys} for row in rows]

    return Rows(
        build=build,
        nodes=nodes,
        dynamic=len(nodes) - sum(row["boundary"] for row in nodes),
        restrictions=numbered(build.restrictions, "a", "b", "hi", "lo"),
        movers=numbered(build.movers, "node_0", "node_1"),
        stems=numbered(build.stems, "node"),
        lags=numbered(build.lags, "node"),
        sources=numbered(build.sources, "node"),
        watches=[
            row | {"index": number[row["index"]]} if row["signal"] == PRESSURE else row
            for row in build.watches
        ],
        parts={name: _numbered(parts, number) for name, parts in build.parts.items()},
        owners=tuple(tuple(build.parts[name].mover for name in group) for group in groups),
        low_pressure=low_pressure,
        brakes=brakes,
        leak_slots=slots,
        raised=raised,
    )


def _numbered(parts: Parts, number: dict[int, int]) -> Parts:
    return replace(
        parts,
        ports={port: number[n] for port, n in parts.ports.items()},
        nodes={label: number[n] for label, n in parts.nodes.items()},
    )


def _lower_components(circuit: Circuit, branches: Branches, build: Builder) -> None:
    """Every component that is integrated, in document order; the others have the same parts."""
    nets = find_nets(circuit, branches.representative)
    nodes = [build.add_node(name) for name in nets.names] + [build.atmosphere]

    def node(component: str, port: str) -> int:
        return nodes[nets.of[PortRef(component, port)]]

    for name, component in circuit.components.items():
        if name in branches.representative:
            continue
        count = branches.count.get(name, 1.0)
        vessels = branches.vessels.get(name, ())
        hangs_on = [node(v, circuit.components[v].ports()[0].name) for v in vessels]
        shared = dict.fromkeys((build.atmosphere, *hangs_on), count)
        own = {port.name: node(name, port.name) for port in component.ports()}
        component.lower(ComponentLowering(build, name, own, shared, count))
    for name, other in branches.representative.items():
        build.parts[name] = build.parts[other]


def _raised(nodes: list[Row]) -> tuple[list[Row], tuple[tuple[str, float], ...]]:
    """Nodes none of which is smaller than it may be; those that were, and what they hold."""
    rows: list[Row] = []
    raised: list[tuple[str, float]] = []
    for row in nodes:
        held = row["volume"]
        if row["boundary"] or row["own"] or held >= SMALLEST_VOLUME:
            rows.append(row)
            continue
        rows.append(row | {"volume": SMALLEST_VOLUME})
        if held * (1.0 + RAISED) < SMALLEST_VOLUME:
            raised.append((row["name"], held))
    return rows, tuple(sorted(raised, key=lambda net: net[1]))
