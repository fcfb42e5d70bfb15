"""Circuits made by hand, of components whose parameters are what a test sets, unchecked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from hypothesis import strategies as st

from pneumo.circuit.circuit import (
    Ambient,
    Circuit,
    Connection,
    PortRef,
    Requirement,
    Ride,
    VerificationSettings,
    Zone,
)
from pneumo.components import KINDS
from pneumo.components.base import Component

PORTS = {
    "ideal_supply": "2",
    "compressor": "2",
    "receiver": "1 2",
    "accumulator": "1",
    "manifold": "1 2 3",
    "pipe": "1 2",
    "hose": "1 2",
    "tube": "1 2",
    "filter": "1 2",
    "regulator": "1 2 3",
    "relief_valve": "1 3",
    "shut_off": "1 2 3",
    "soft_start": "1 2 3",
    "check_valve": "1 2",
    "valve_2_2": "1 2",
    "valve_3_2": "1 2 3",
    "valve_5_2": "1 2 4 3 5",
    "valve_5_3": "1 2 4 3 5",
    "quick_exhaust": "1 2 3",
    "shuttle": "1a 1b 2",
    "dual_pressure": "1a 1b 2",
    "flow_control": "1 2",
    "silencer": "1",
    "bladder_brake": "1",
    "cylinder": "cap rod",
    "pressure_switch": "1",
    "transmitter": "1",
    "gauge": "1",
    "jaw_switch": "",
    "electrical_feed": "",
}
"""Every kind with its ports."""


def piece(kind: str, ports: int = 0, **parameters: Any) -> Component:
    """A component of a kind with what a test sets of its parameters, unchecked, the rest left out;
    `ports` sets the number of a manifold's or receiver's ports."""
    some = {"port_count": ports or len(PORTS[kind].split()), "volume": 0.1, "relieving": True}
    return KINDS[kind].model_construct(**some | parameters)


def circuit(
    components: Mapping[str, Component],
    connections: str,
    *,
    zones: dict[str, tuple[str, ...]] | None = None,
    ride: str = "Test ride",
) -> Circuit:
    """A circuit from "a.1 -> b.2" sentences; every zone is a set of brakes with safe state open."""
    links = []
    for sentence in connections.split():
        left, right = (end.rpartition(".") for end in sentence.split("->"))
        end = right[2] if not right[0] else "port"
        a = PortRef(left[0], left[2])
        links.append(
            Connection(a, PortRef(right[0], right[2]))
            if end == "port"
            else Connection(a, None, end)  # type: ignore[arg-type]
        )
    made = {
        name: Zone(
            name=name,
            brakes=brakes,
            safe_state="open",
            starts="open",
            brakes_needed=len(brakes),
            requirement=Requirement(within=2.0),
        )
        for name, brakes in (zones or {}).items()
    }
    return Circuit(
        "test.yaml",
        Ride(name=ride),
        Ambient(),
        components,
        tuple(links),
        made,
        {},
        VerificationSettings(),
        {},
    )


def two_zones(order: int = 1) -> Circuit:
    """Two zones of three brakes on a ring of three tees; `order` -1 turns the document over."""
    parts: dict[str, Component] = {
        "supply": piece("ideal_supply"),
        "tee_0": piece("manifold", 3),
        "ring_1": piece("pipe"),
        "ring_2": piece("pipe"),
        "ring_3": piece("pipe"),
    }
    links = "supply.2->tee_0.1 tee_0.2->ring_1.1 ring_3.2->tee_0.3"
    zones: dict[str, tuple[str, ...]] = {}
    for k, zone in ((1, "low"), (2, "high")):
        parts |= {
            f"tee_{k}": piece("manifold", 3),
            f"{zone}_valve": piece("valve_3_2"),
            f"{zone}_manifold": piece("manifold", 5),
            f"{zone}_switch": piece("pressure_switch"),
        }
        links += (
            f" ring_{k}.2->tee_{k}.1 tee_{k}.2->ring_{k + 1}.1 tee_{k}.3->{zone}_valve.1"
            f" {zone}_valve.2->{zone}_manifold.1 {zone}_manifold.5->{zone}_switch.1"
        )
        for i in (1, 2, 3):
            parts[f"{zone}_hose_{i}"] = piece("hose", length=1.0)
            parts[f"{zone}_brake_{i}"] = piece("bladder_brake", spring="open")
            links += (
                f" {zone}_manifold.{i + 1}->{zone}_hose_{i}.1 {zone}_hose_{i}.2->{zone}_brake_{i}.1"
            )
        zones[zone] = tuple(f"{zone}_brake_{i}" for i in (1, 2, 3))
    parts = dict(list(parts.items())[::order])
    return circuit(parts, links, zones=zones)


@st.composite
def circuits(draw: st.DrawFn) -> Circuit:
    """Anything joined to anything: loops, rings, pieces without supply; brakes of two zones."""
    kinds = draw(st.lists(st.sampled_from(sorted(PORTS)), min_size=1, max_size=16))
    sizes = draw(st.lists(st.integers(1, 4), min_size=16, max_size=16))
    parts = {
        f"p{i}": piece(kind, size if kind in ("manifold", "receiver") else 0, of="p0", reads="open")
        for i, (kind, size) in enumerate(zip(kinds, sizes, strict=False))
    }
    ports = [PortRef(name, port.name) for name, part in parts.items() for port in part.ports()]
    order = draw(st.permutations(ports))
    joined = draw(st.integers(0, len(order) // 2))
    movers = [name for name, kind in zip(parts, kinds, strict=True) if kind == "bladder_brake"]
    zones = {"a": tuple(movers[::2]), "b": tuple(movers[1::2])}
    made = circuit(parts, "", zones={z: m for z, m in zones.items() if m})
    links = tuple(Connection(order[2 * i], order[2 * i + 1]) for i in range(joined))
    return replace(made, connections=links)
