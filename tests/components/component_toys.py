"""One example of every kind, and stand-ins that record what a component asks for."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from pneumo.components import KINDS
from pneumo.components.base import (
    Chamber,
    Component,
    PressureOpening,
    SpoolOpening,
    StemOpening,
)

AMBIENT = 101_300.0
ATMOSPHERE = 0
VALVE = {"C": "4.5 L/(s·bar)", "b": "0.3"}
LINE = {"length": "25 m", "bore": "9 mm"}
BRAKE = {"area": "300 cm2", "spring_force": "1.5 kN", "spring_rate": "20 N/mm"}

BRAKE_BY_CURVE: dict[str, Any] = {
    "area_curve": {"0 mm": "300 cm2", "2 mm": "296 cm2", "25 mm": "240 cm2"},
    "spring_force": "1.5 kN",
    "spring_rate": "20 N/mm",
}

EXAMPLES: dict[str, dict[str, str]] = {
    "accumulator": {"volume": "50 L"},
    "bladder_brake": {"spring": "open", **BRAKE},
    "check_valve": VALVE,
    "compressor": {"free_air_delivery": "1 m3/min", "load_at": "8 bar", "unload_at": "10 bar"},
    "cylinder": {
        "bore": "50 mm",
        "rod_diameter": "20 mm",
        "stroke": "400 mm",
        "moving_mass": "30 kg",
    },
    "dual_pressure": VALVE,
    "electrical_feed": {},
    "filter": VALVE,
    "flow_control": {**VALVE, "bypass_C": "5 L/(s·bar)"},
    "gauge": {},
    "hose": LINE,
    "ideal_supply": {"pressure": "7 bar"},
    "jaw_switch": {"of": "brake_1", "reads": "closed"},
    "manifold": {"ports": "4"},
    "pipe": LINE,
    "pressure_switch": {"set": "5 bar"},
    "quick_exhaust": {**VALVE, "exhaust_C": "9 L/(s·bar)"},
    "receiver": {"volume": "500 L", "ports": "3"},
    "regulator": {**VALVE, "set_pressure": "6 bar"},
    "relief_valve": {**VALVE, "set_pressure": "11 bar"},
    "shut_off": VALVE,
    "shuttle": VALVE,
    "silencer": VALVE,
    "soft_start": {**VALVE, "slow_C": "0.5 L/(s·bar)", "dump_C": "8 L/(s·bar)"},
    "transmitter": {},
    "tube": LINE,
    "valve_2_2": VALVE,
    "valve_3_2": VALVE,
    "valve_5_2": VALVE,
    "valve_5_3": VALVE,
}

VARIANTS: list[tuple[str, dict[str, Any]]] = [
    *EXAMPLES.items(),
    ("bladder_brake", {"spring": "close", "bladders": "1", **BRAKE}),
    ("bladder_brake", {"spring": "close", **BRAKE}),
    ("bladder_brake", {"spring": "close", **BRAKE_BY_CURVE}),
    ("bladder_brake", {"spring": "open", **BRAKE_BY_CURVE}),
    ("flow_control", VALVE),
    ("pipe", {**LINE, "segments": "1"}),
    ("regulator", {**VALVE, "set_pressure": "6 bar", "relieving": "no"}),
    ("valve_2_2", {**VALVE, "rest": "open", "memory": "bistable"}),
    ("valve_3_2", {**VALVE, "operation": "pilot", "pilot_supply": "external"}),
    ("valve_3_2", {**VALVE, "memory": "bistable", "rest": "open"}),
    ("valve_5_2", {**VALVE, "operation": "pilot"}),
    ("valve_5_3", {**VALVE, "centre": "exhausted"}),
    ("valve_5_3", {**VALVE, "centre": "pressurised", "operation": "pilot"}),
]


def make(kind: str, **parameters: str) -> Component:
    """A component of a kind from its example and some parameters of its own."""
    data = {"kind": kind, **EXAMPLES[kind], **parameters}
    return KINDS[kind].model_validate(data, context={"ambient_pressure": AMBIENT})


def variant(kind: str, parameters: Mapping[str, str]) -> Component:
    """A component from exactly these parameters."""
    data = {"kind": kind, **parameters}
    return KINDS[kind].model_validate(data, context={"ambient_pressure": AMBIENT})


class Ledger:
    """A `Lowering` that writes everything down; open exhausts stay unconnected."""

    def __init__(self, component: Component) -> None:
        self.ambient_pressure = AMBIENT
        self.ambient_temperature = 293.15
        self.atmosphere = ATMOSPHERE
        self.volumes: dict[int, float] = {ATMOSPHERE: 0.0}
        self.heats: dict[int, float | None] = {}
        self.ports: dict[str, int] = {}
        self.touched: set[int] = set()
        self.paths: dict[str, dict[str, Any]] = {}
        self.spools: list[dict[str, Any]] = []
        self.stems: list[dict[str, Any]] = []
        self.sources: list[dict[str, Any]] = []
        self.movers: list[dict[str, Any]] = []
        self.contacts: list[dict[str, Any]] = []
        self.readings: list[dict[str, Any]] = []
        self.feeds = 0
        self.supplies: list[int] = []
        self.labels: list[str] = []
        merged = {port: group[0] for group in component.merged_ports() for port in group}
        for port in component.ports():
            first = merged.get(port.name, port.name)
            if port.role == "exhaust":
                self.ports[port.name] = ATMOSPHERE
            elif first in self.ports:
                self.ports[port.name] = self.ports[first]
            else:
                self.ports[port.name] = self._new_node()

    def _new_node(self) -> int:
        node = len(self.volumes)
        self.volumes[node] = 0.0
        return node

    def _label(self, label: str) -> None:
        assert label not in self.labels, f"two parts are called {label}"
        self.labels.append(label)

    def node(self, port: str) -> int:
        self.touched.add(self.ports[port])
        return self.ports[port]

    def is_open_end(self, port: str) -> bool:
        return self.ports[port] == ATMOSPHERE

    def inner_node(self, label: str, volume: float, heat: float | None = None) -> int:
        self._label(label)
        node = self._new_node()
        self.add_volume(node, volume, heat)
        return node

    def add_volume(self, node: int, volume: float, heat: float | None = None) -> None:
        assert volume > 0.0
        if node != ATMOSPHERE:
            self.volumes[node] += volume
            self.heats[node] = heat

    def boundary(self, label: str, pressure: float, temperature: float) -> int:
        self._label(label)
        node = self._new_node()
        del self.volumes[node]
        self.volumes[-node] = 0.0
        return -node

    def restriction(
        self,
        label: str,
        a: int,
        b: int,
        conductance: float,
        critical: float,
        *,
        spool: SpoolOpening | None = None,
        pressure: PressureOpening | None = None,
        stem: StemOpening | None = None,
    ) -> int:
        self._label(label)
        assert a != b
        assert conductance > 0.0
        self.paths[label] = {
            "a": a, "b": b, "C": conductance, "spool": spool, "pressure": pressure, "stem": stem,
        }  # fmt: skip
        return len(self.paths) - 1

    def pipe(
        self,
        label: str,
        a: int,
        b: int,
        bore: float,
        length: float,
        roughness: float,
        segments: int = 1,
    ) -> int:
        self._label(label)
        self.paths[label] = {"a": a, "b": b, "bore": bore, "length": length}
        return len(self.paths) - 1

    def spool(self, label: str, **values: Any) -> int:
        self._label(label)
        self.spools.append(values)
        return 0

    def hand_valve(self, label: str, *, start: float, travel: float) -> int:
        self._label(label)
        self.spools.append({"start": start, "travel": travel})
        return 0

    def stem(self, label: str, node: int, **values: Any) -> int:
        self._label(label)
        self.stems.append({"node": node, **values})
        return 0

    def source(self, label: str, node: int, **values: Any) -> int:
        self._label(label)
        self.sources.append({"node": node, **values})
        return 0

    def mover(self, label: str, *, chambers: tuple[Chamber, ...], **values: Any) -> int:
        self._label(label)
        self.movers.append({"chambers": chambers, **values})
        return 0

    def switchable_supply(self, label: str, restriction: int) -> None:
        self.supplies.append(restriction)

    def feed(self, label: str) -> None:
        self.feeds += 1

    def pressure_contact(self, label: str, node: int, **values: Any) -> int:
        self._label(label)
        self.contacts.append({"node": node, **values})
        return 0

    def position_contact(
        self,
        label: str,
        component: str,
        *,
        end: Literal["low", "high"],
        within: float,
        delay: float,
    ) -> int:
        self._label(label)
        self.contacts.append({"of": component, "end": end, "within": within})
        return 0

    def transmitter(self, label: str, node: int, **values: Any) -> int:
        self._label(label)
        self.readings.append({"node": node, **values})
        return 0


def lowered(component: Component) -> Ledger:
    """What the component asks for."""
    ledger = Ledger(component)
    component.lower(ledger)
    return ledger


class Plant:
    """A `FaultTarget` over a ledger: refuses what the component does not have.

    `state` holds what faults changed, with the neutral value left out, so that an untouched plant
    has an empty state.
    """

    def __init__(self, component: Component) -> None:
        self.component = component
        self.ledger = lowered(component)
        self.state: dict[str, Any] = {}

    def _set(self, name: str, value: Any, neutral: Any) -> None:
        if value != neutral:
            self.state[name] = value

    def leak(self, port: str, conductance: float, critical: float) -> None:
        assert self.ledger.ports[port] != ATMOSPHERE
        self._set(f"leak {port}", conductance, 0.0)

    def throttle(self, label: str, fraction: float) -> None:
        assert label in self.ledger.paths
        self._set(f"opening {label}", 1.0 - fraction, 1.0)

    def hold_open(self, label: str, fraction: float) -> None:
        assert 0.0 <= fraction <= 1.0
        assert label in self.ledger.paths
        self._set(f"least opening {label}", fraction, 0.0)

    def shift_threshold(self, label: str, difference: float) -> None:
        assert self.ledger.paths[label]["pressure"] is not None
        self._set(f"threshold {label}", difference, 0.0)

    def shift_setting(self, label: str, difference: float) -> None:
        assert self.ledger.stems
        self._set("setting", difference, 0.0)

    def hold_spool(self, position: float | None) -> None:
        assert self.ledger.spools
        self.state["spool held"] = position

    def slow_spool(self, factor: float) -> None:
        assert self.ledger.spools
        self._set("spool slower", factor, 1.0)

    def force_spool(self, position: float) -> None:
        assert self.ledger.spools
        self.state["spool forced"] = position

    def open_coil(self, side: str) -> None:
        assert side in self.component.coils()
        self.state[f"coil {side}"] = "open"

    def force_output(self, side: str, on: bool) -> None:
        assert side in self.component.coils()
        self.state[f"output {side}"] = on

    def lose_pilot(self) -> None:
        assert self.ledger.spools[0]["pilot"] is not None
        self.state["pilot"] = "lost"

    def switch_off(self) -> None:
        assert self.ledger.sources or self.ledger.supplies or self.ledger.feeds
        self.state["switched"] = "off"

    def never_unload(self) -> None:
        assert self.ledger.sources
        self.state["unloads"] = False

    def scale_delivery(self, factor: float) -> None:
        assert self.ledger.sources
        self._set("delivery", factor, 1.0)

    def break_springs(self, fraction: float) -> None:
        self.scale_spring(1.0 - fraction)

    def scale_spring(self, factor: float) -> None:
        assert 0.0 <= factor <= 1.0
        assert self.ledger.movers
        self._set("spring", factor, 1.0)

    def seize(self) -> None:
        assert self.ledger.movers
        self.state["mover"] = "seized"

    def drag(self, force: float) -> None:
        assert self.ledger.movers
        self._set("drag", force, 0.0)

    def wear(self, distance: float) -> None:
        assert self.ledger.movers
        self._set("wear", distance, 0.0)

    def hold_contact(self, made: bool) -> None:
        assert self.ledger.contacts
        self.state["contact"] = made

    def shift_contact(self, difference: float) -> None:
        assert "on_at" in self.ledger.contacts[0]
        self._set("contact shift", difference, 0.0)

    def shift_reading(self, difference: float) -> None:
        assert self.ledger.readings
        self._set("reading shift", difference, 0.0)

    def scale_reading(self, factor: float) -> None:
        assert self.ledger.readings
        self._set("reading factor", factor, 1.0)

    def freeze_reading(self) -> None:
        assert self.ledger.readings
        self.state["reading"] = "frozen"

    def lose_reading(self) -> None:
        assert self.ledger.readings
        self.state["reading"] = "lost"


def injected(component: Component, name: str, severity: float | None = None) -> dict[str, Any]:
    """What a fault mode changes; its default severity unless one is given."""
    plant = Plant(component)
    mode = next(mode for mode in component.fault_modes() if mode.name == name)
    if severity is None:
        severity = mode.severity.default if mode.severity is not None else 0.0
    mode.inject(component, plant, severity)
    return plant.state


def spool_opening(path: dict[str, Any], position: float) -> float:
    """Opening of a path at a spool position, corners unrounded."""
    spool: SpoolOpening = path["spool"]
    return min(1.0, max(0.0, (position - spool.closed) / (spool.open - spool.closed)))


def pressure_opening(path: dict[str, Any], pressures: Mapping[int, float]) -> float:
    """Opening of a path at node pressures [Pa abs], corners unrounded."""
    law: PressureOpening = path["pressure"]
    drive = law.hi_gain * pressures[law.hi] - law.lo_gain * pressures[law.lo] - law.threshold
    return min(1.0, max(0.0, drive / law.band))
