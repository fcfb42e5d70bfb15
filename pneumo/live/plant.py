"""What screens need to know of a circuit before anything runs: names, places, and their order.

Made from the circuit alone, so that a seat that joins from another terminal needs no simulator.
Every tuple here gives the order of a tuple in `Frame`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.components.base import Quantity
from pneumo.live.places import Places, places_of

_UNITS: dict[Quantity, Literal["Pa", "m", "N", ""]] = {
    "pressure": "Pa", "reading": "Pa", "gap": "m", "force": "N", "travel": "m"
}  # fmt: skip


@dataclass(frozen=True)
class Net:
    """Ports that are joined and share one pressure."""

    name: str
    """The vessel or gauge it belongs to, or its first port."""
    ports: tuple[PortRef, ...]
    outside: bool
    """True: the atmosphere."""


@dataclass(frozen=True)
class Input:
    """A contact that the controller reads."""

    name: str
    """Component: a pressure switch, a jaw switch, or a transmitter watched for low pressure."""
    kind: Literal["pressure switch", "jaw switch", "low pressure"]
    zone: str
    """"" = the ride, or a group of gates."""
    reads: str
    """What it tells when ON: "charged", "supply present", "closed", "open", "low"."""


@dataclass(frozen=True)
class Output:
    """A coil that the controller energises."""

    component: str
    side: str
    zone: str
    """Zone or group of gates."""
    when: str
    """What it does when energised: "charge", "vent", "open", "close"."""

    @property
    def name(self) -> str:
        """ "trim_valve_a.14"."""
        return f"{self.component}.{self.side}"


@dataclass(frozen=True)
class Channel:
    """One quantity that is recorded against time."""

    component: str
    """Component, or zone for its state."""
    quantity: Quantity | Literal["contact", "coil"]
    unit: Literal["Pa", "m", "N", ""]
    """Pa are gauge. "": 1 ON, 0 OFF."""
    instrument: bool
    """True: an instrument shows it, so a trainee may see it."""

    @property
    def name(self) -> str:
        """ "trim_accumulator pressure"."""
        return f"{self.component} {self.quantity}"


@dataclass(frozen=True)
class Plant:
    """The fixed side of a ride on screen."""

    circuit: Circuit
    nets: tuple[Net, ...]
    net_of: Mapping[PortRef, int]
    """Every port, also open ends: their net."""
    ports: tuple[PortRef, ...]
    """Every port of every component, in document order."""
    zones: tuple[str, ...]
    brakes: tuple[str, ...]
    """Zone by zone."""
    cylinders: tuple[str, ...]
    valves: tuple[str, ...]
    """Everything with a spool: directional valves, soft starts, shut-off valves."""
    meters: tuple[str, ...]
    """Gauges and transmitters."""
    supplies: tuple[str, ...]
    """Compressors and ideal supplies."""
    inputs: tuple[Input, ...]
    outputs: tuple[Output, ...]
    channels: tuple[Channel, ...]
    document: str = ""
    """Text of the document, for the trainer's seat; "" = not known here."""

    @cached_property
    def places(self) -> tuple[Places, ...]:
        """Where everything of each zone stands in a frame."""
        return places_of(self)


def plant_of(circuit: Circuit, document: str = "") -> Plant:
    """The fixed side of a circuit; `document`: the text it was read from."""
    ports = tuple(
        PortRef(name, port.name)
        for name, component in circuit.components.items()
        for port in component.ports()
    )
    nets, net_of = _nets(circuit, ports)
    inputs = _inputs(circuit)
    outputs = _outputs(circuit)
    parts = circuit.components.items()
    return Plant(
        circuit=circuit,
        nets=nets,
        net_of=net_of,
        ports=ports,
        zones=tuple(circuit.zones),
        brakes=tuple(b for zone in circuit.zones.values() for b in zone.brakes),
        cylinders=tuple(circuit.having("gate")),
        valves=tuple(name for name, part in parts if part.coils() or "turnable" in part.traits),
        meters=tuple(name for name, part in parts if "reading" in part.quantities),
        supplies=tuple(circuit.having("supply")),
        inputs=inputs,
        outputs=outputs,
        channels=_channels(circuit, inputs, outputs),
        document=document,
    )


def _nets(
    circuit: Circuit, ports: tuple[PortRef, ...]
) -> tuple[tuple[Net, ...], dict[PortRef, int]]:
    leader = {port: port for port in ports}

    def root(port: PortRef) -> PortRef:
        while leader[port] != port:
            port = leader[port]
        return port

    def join(a: PortRef, b: PortRef) -> None:
        leader[root(b)] = root(a)

    for name, component in circuit.components.items():
        for group in component.merged_ports():
            for other in group[1:]:
                join(PortRef(name, group[0]), PortRef(name, other))
    for link in circuit.connections:
        if link.b is not None:
            join(link.a, link.b)
    ends = circuit.open_ends()
    for end in ends[1:]:
        join(ends[0], end)
    members: dict[PortRef, list[PortRef]] = {}
    for port in ports:
        members.setdefault(root(port), []).append(port)
    outside = root(ends[0]) if ends else None
    nets: list[Net] = []
    net_of: dict[PortRef, int] = {}
    for key, joined in members.items():
        named = [
            p.component
            for p in joined
            if circuit.components[p.component].quantities == ("pressure",)
        ]
        name = "atmosphere" if key == outside else (named[0] if named else str(joined[0]))
        net_of.update(dict.fromkeys(joined, len(nets)))
        nets.append(Net(name, tuple(joined), key == outside))
    return tuple(nets), net_of


def _inputs(circuit: Circuit) -> tuple[Input, ...]:
    found: dict[str, Input] = {}
    for name in circuit.ride.supply_switches:
        found.setdefault(name, Input(name, "pressure switch", "", "supply present"))
    for zone in circuit.zones.values():
        for name in zone.pressure_switches:
            found.setdefault(name, Input(name, "pressure switch", zone.name, "charged"))
        for name in zone.supply_switches:
            found.setdefault(name, Input(name, "pressure switch", zone.name, "supply present"))
        if zone.low_pressure is not None:
            name = zone.low_pressure.transmitter
            found.setdefault(name, Input(name, "low pressure", zone.name, "low"))
        for name in circuit.zone_jaw_switches(zone.name):
            reads = str(getattr(circuit.components[name], "reads", ""))
            found.setdefault(name, Input(name, "jaw switch", zone.name, reads))
    for group in circuit.gates:
        for name in circuit.gate_switches(group):
            reads = str(getattr(circuit.components[name], "reads", ""))
            found.setdefault(name, Input(name, "jaw switch", group, reads))
    return tuple(found.values())


def _outputs(circuit: Circuit) -> tuple[Output, ...]:
    coils = [
        (text, zone.name, when)
        for zone in circuit.zones.values()
        for text, when in zone.outputs.items()
    ] + [
        (text, gate.name, when)
        for gate in circuit.gates.values()
        for text, when in gate.outputs.items()
    ]
    return tuple(
        Output(*text.rpartition(".")[::2], zone=owner, when=when) for text, owner, when in coils
    )


def _channels(
    circuit: Circuit, inputs: tuple[Input, ...], outputs: tuple[Output, ...]
) -> tuple[Channel, ...]:
    found: list[Channel] = []
    for name, component in circuit.components.items():
        for quantity in component.quantities:
            found.append(Channel(name, quantity, _UNITS[quantity], quantity == "reading"))
    found += [Channel(i.name, "contact", "", True) for i in inputs]
    found += [Channel(o.name, "coil", "", True) for o in outputs]
    return tuple(found)
