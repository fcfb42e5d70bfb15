"""Hand-made components, circuits and verification records for the tests of pneumo/report."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from pydantic import ConfigDict

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
from pneumo.components.base import Component, Port
from pneumo.verification.verdict import Case, Outcome, Trace, Verification, not_calculated


class Piece(Component):
    """A component of any kind: ports are given, other parameters are free."""

    model_config = ConfigDict(frozen=True, extra="allow")
    kind: str
    port_names: tuple[str, ...] = ()
    coil_names: tuple[str, ...] = ()

    def ports(self) -> tuple[Port, ...]:
        roles = {
            "1": "supply",
            "2": "outlet",
            "4": "outlet",
            "3": "exhaust",
            "5": "exhaust",
            "14": "pilot",
            "12": "pilot",
        }
        single = self.kind in {
            "manifold",
            "receiver",
            "accumulator",
            "silencer",
            "pressure_switch",
            "transmitter",
            "gauge",
            "bladder_brake",
            "pipe",
            "hose",
            "tube",
        }
        return tuple(
            Port(n, "both" if single else roles.get(n, "both"))  # type: ignore[arg-type]
            for n in self.port_names
        )

    def merged_ports(self) -> tuple[tuple[str, ...], ...]:
        if self.kind not in ("accumulator", "manifold", "receiver"):
            return ()
        return (tuple(port.name for port in self.ports()),)

    def coils(self) -> tuple[str, ...]:
        return self.coil_names

    def passages(self) -> tuple[tuple[str, str], ...]:
        return ()


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

COILS = {
    "soft_start": ("14",),
    "valve_2_2": ("14",),
    "valve_3_2": ("14",),
    "valve_5_2": ("14",),
    "valve_5_3": ("14", "12"),
}


def piece(kind: str, ports: int = 0, **parameters: Any) -> Piece:
    """A component of a kind; `ports` sets the number of a manifold's or receiver's ports."""
    names = tuple(str(i + 1) for i in range(ports)) if ports else tuple(PORTS[kind].split())
    if parameters.get("pilot_supply") == "external":
        names += ("14",)
    coils = ("14", "12") if parameters.get("memory") == "bistable" else COILS.get(kind, ())
    real = KINDS[kind]
    own = {"traits": real.traits, "ends": real.ends, "__module__": __name__}
    model = type(kind, (Piece,), own)
    made: Piece = model(kind=kind, port_names=names, coil_names=coils, **parameters)
    return made


# verification records


def outcome(zone: str = "trim", **changes: Any) -> Outcome:
    """A safe, revealed outcome, with changes."""
    values: dict[str, Any] = {
        "zone": zone,
        "struck_in": "",
        "safe_state": "closed",
        "asked_at": 6.0,
        "verdict": "safe",
        "decided": True,
        "revealed": True,
        "alarm": "low supply",
        "reached_after": 0.8,
        "limit": 1.5,
        "lost_after": None,
        "held": 60.0,
        "least_force": 6300.0,
        "believed": "closed",
        "false_belief": False,
        "why": "Closed with the force asked for.",
        "furthest": (f"{zone}_brake_2", f"{zone}_brake_3"),
        "clearance": 0.0,
        "force": 6300.0,
    }
    return Outcome(**(values | changes))


def case(
    component: str = "trim_valve_a",
    mode: str = "stuck-shifted",
    state: str = "closed",
    outcomes: tuple[Outcome, ...] = (),
    **changes: Any,
) -> Case:
    """A fault case, with changes; its outcomes take over its state unless they have their own."""
    severity = changes.get("severity", "")
    event = " ".join(part for part in (component, mode, severity) if part)
    values: dict[str, Any] = {
        "name": f"{event} / {state}",
        "event": event,
        "kind": "fault",
        "component": component,
        "mode": mode,
        "severity": severity,
        "effect": "The spool stays shifted.",
        "standard": "B.3-2 does not switch",
        "struck_in": state,
        "struck_at": 4.0,
        "clock_from": 6.0,
        "stands_for": (component,),
        "outcomes": tuple(
            o if o.struck_in else replace(o, struck_in=state) for o in outcomes or (outcome(),)
        ),
        "replay": f'pneumo run ride.yaml --scenario {state} --fault "{event} at 4 s"',
    }
    return Case(**(values | changes))


def missing(zones: tuple[str, ...] = ("trim", "block"), **changes: Any) -> Case:
    """A case that could not be calculated."""
    why = "The integration stopped at 4.1 s: no step is short enough."
    outcomes = tuple(not_calculated(zone, "closed", "closed", 6.0, 1.5, why) for zone in zones)
    return case("trim_hose_2", "burst", outcomes=outcomes, trouble=why, **changes)


def trace(name: str, zones: tuple[str, ...] = ("trim", "block"), count: int = 400) -> Trace:
    """Signals that fall and rise, all zones a little apart."""
    time = tuple(12.0 * i / (count - 1) for i in range(count))

    def falling(k: int, start: float, end: float) -> tuple[float, ...]:
        return tuple(
            start if t < 6 + k * 0.2 else end + (start - end) / (1 + (t - 6) ** 2) for t in time
        )

    return Trace(
        name,
        time,
        {z: f"{z}_brake_2" for z in zones},
        dict.fromkeys(zones, 6e3),
        {z: falling(k, 5.5e5, 0.2e5) for k, z in enumerate(zones)},
        {z: falling(k, 3.2e-3, 0.0) for k, z in enumerate(zones)},
        {z: falling(k, 0.0, 9e3) for k, z in enumerate(zones)},
    )


def verification(**changes: Any) -> Verification:
    """A small campaign on two zones with a late, an unsafe and an unrevealed case."""
    unsafe = outcome(
        verdict="unsafe",
        reached_after=None,
        held=0.0,
        revealed=False,
        alarm="",
        least_force=0.0,
        believed="closed",
        false_belief=True,
        why="Brake trim_brake_1 never touched the fin.",
    )
    late = outcome("block", verdict="late", reached_after=2.1, why="Closed 0.6 s after the limit.")
    cases = (
        case(
            "",
            "",
            "closed",
            (outcome(), outcome("block")),
            name="no fault / closed",
            event="no fault",
            kind="none",
            effect="",
        ),
        case(
            "",
            "",
            "closed",
            (outcome(), outcome("block")),
            name="loss of air: header vented / closed",
            event="loss of air: header vented",
            kind="loss",
            effect="",
        ),
        case(
            "",
            "",
            "open",
            (outcome(), late),
            name="loss of air: header vented / open",
            event="loss of air: header vented",
            kind="loss",
            effect="",
        ),
        case("trim_valve_a", "stuck-shifted", "closed", (unsafe, outcome("block", revealed=False))),
        case("trim_valve_a", "stuck-shifted", "open", (unsafe, outcome("block"))),
        case(
            "trim_hose_1",
            "leak",
            "closed",
            (outcome(revealed=False), outcome("block", revealed=False)),
            severity="2 mm",
            stands_for=tuple(f"trim_hose_{i}" for i in range(1, 5)),
        ),
        case("trim_valve_a", "slow", "venting", severity="3 x"),
    )
    values: dict[str, Any] = {
        "document": "ride.yaml",
        "ride": "Sand Martin",
        "site": "Millbeck Pier",
        "cases": cases,
        "traces": tuple(trace(c.name) for c in cases if c.worst != "safe"),
        "untested": (),
        "assumptions": ("The surroundings stayed at 20 C.",),
        "version": "0.1.0",
    }
    return Verification(**(values | changes))


# circuits


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
