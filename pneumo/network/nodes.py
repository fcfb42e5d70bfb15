"""Nodes: connected ports share one; what is open to the air is the atmosphere."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from pneumo.circuit.circuit import Circuit, PortRef

SMALLEST_VOLUME = 0.1e-3
"""A net of ports holds at least this much air [m3]: 0.1 L. Smaller dead volumes would set the
step length and decide little. The inner volumes of a line are its own: there are as many as the
document wants, and raised each they would make another line of it."""

_OUTSIDE = PortRef("", "atmosphere")


@dataclass(frozen=True)
class Nets:
    """What the ports of the components that are integrated make when they are connected."""

    names: tuple[str, ...]
    """"component.port" of the first port of each net, in document order; the atmosphere apart."""
    of: dict[PortRef, int]
    """Port -> its net; -1: the atmosphere."""


def find_nets(circuit: Circuit, left_out: Collection[str]) -> Nets:
    """Nets of a circuit's ports, those of some components left out."""
    root = _joined(circuit)
    number = {root[_OUTSIDE]: -1}
    names: list[str] = []
    of: dict[PortRef, int] = {}
    for name, component in circuit.components.items():
        if name in left_out:
            continue
        for port in component.ports():
            ref = PortRef(name, port.name)
            if root[ref] not in number:
                number[root[ref]] = len(names)
                names.append(f"{name}.{port.name}")
            of[ref] = number[root[ref]]
    return Nets(tuple(names), of)


def _joined(circuit: Circuit) -> dict[PortRef, PortRef]:
    """Every port and the atmosphere -> one that stands for all it is connected with."""
    parent = {_OUTSIDE: _OUTSIDE}

    def root(port: PortRef) -> PortRef:
        while parent.setdefault(port, port) != port:
            port = parent[port]
        return port

    def join(a: PortRef, b: PortRef) -> None:
        ra, rb = root(a), root(b)
        if ra == _OUTSIDE:
            ra, rb = rb, ra
        parent[ra] = rb

    used: set[PortRef] = set()
    for connection in circuit.connections:
        used.add(connection.a)
        if connection.b is not None:
            used.add(connection.b)
            join(connection.a, connection.b)
        elif connection.end == "atmosphere":
            join(connection.a, _OUTSIDE)
    for name, component in circuit.components.items():
        for first, *others in component.merged_ports():
            for port in others:
                join(PortRef(name, first), PortRef(name, port))
        for port_def in component.ports():
            ref = PortRef(name, port_def.name)
            root(ref)
            if port_def.role == "exhaust" and ref not in used:
                join(ref, _OUTSIDE)
    return {port: root(port) for port in list(parent)}
