"""Where a test gauge fits: the ports that the document names, every port of a net that a gauge or a
transmitter is on (its fitting has a coupling), plugged ports, and where somebody has fitted a tee.
"""

from __future__ import annotations

from collections.abc import Collection

from pneumo.circuit.circuit import Circuit, PortRef


def test_points(circuit: Circuit, fitted: Collection[str] = ()) -> frozenset[PortRef]:
    """Ports at which a gauge can be fitted without opening anything."""
    named = {*circuit.ride.test_points, *fitted}
    gauges = {name for name, part in circuit.components.items() if "reading" in part.quantities}
    points: set[PortRef] = set()
    for net in joined_ports(circuit):
        if any(p.component in gauges or str(p) in named for p in net):
            points.update(net)
    points.update(link.a for link in circuit.connections if link.end == "plug")
    return frozenset(points)


def joined_ports(circuit: Circuit) -> list[list[PortRef]]:
    """Ports that are joined, also through a vessel or a manifold."""
    near: dict[PortRef, list[PortRef]] = {}
    groups: list[list[PortRef]] = [
        [PortRef(name, port) for port in group]
        for name, part in circuit.components.items()
        for group in (*part.merged_ports(), *((port.name,) for port in part.ports()))
    ]
    groups += [[link.a, link.b] for link in circuit.connections if link.b is not None]
    for group in groups:
        for port in group:
            near.setdefault(port, []).extend(group)
    nets: list[list[PortRef]] = []
    seen: set[PortRef] = set()
    for port in near:
        if port not in seen:
            net = [port]
            seen.add(port)
            for each in net:
                fresh = [other for other in dict.fromkeys(near[each]) if other not in seen]
                seen.update(fresh)
                net += fresh
            nets.append(net)
    return nets
