"""Which component belongs to which zone or group of gates, and what is shared.

A zone has what hangs on it alone: everything behind its shut-off valve, or else behind the last
place where it hangs on the rest of the ride by one line. What serves several, and what belongs to
the ride as a whole (a supply, a receiver), is nobody's. Pilot lines do not count, they only
command.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import networkx as nx

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.graph import air_graph, distances, is_pilot, single_points, supply_ports

_AIR = ""
"""Stands for the air itself, before every supply; no component can have this name."""


def territories(circuit: Circuit) -> dict[str, tuple[str, ...]]:
    """Zone or group of gates -> its components, in document order; those without any are left
    out."""
    movers = {zone.name: zone.brakes for zone in circuit.zones.values()}
    movers |= {group.name: group.cylinders for group in circuit.gates.values()}
    owner = {mover: name for name, moved in movers.items() for mover in moved}
    near = _neighbours(circuit)
    passed = _must_pass(near)
    free = dict.fromkeys(circuit.components)
    found: dict[str, tuple[str, ...]] = {}
    for name, moved in movers.items():
        members = _behind_the_entry(circuit, near, passed, moved, owner, name)
        members |= {
            key
            for key, switch in circuit.having("watcher").items()
            if getattr(switch, "of", "") in members
        }
        if own := tuple(key for key in free if key in members):
            found[name] = own
        for key in members:
            free.pop(key, None)
    return found


def component_zones(circuit: Circuit, feeds: Mapping[str, str]) -> dict[str, str]:
    """Component -> the zone it belongs to; what is shared is left out.

    A zone's own are also the part that feeds it, to which several lines may lead, and what the
    document names as its own.
    """
    zones = {
        name: zone
        for zone, members in territories(circuit).items()
        for name in members
        if zone in circuit.zones
    }
    zones |= {feed: zone for zone, feed in feeds.items()}
    named = {name: circuit.zone_of(name) for name in circuit.components}
    return zones | {name: zone for name, zone in named.items() if zone is not None}


def zone_feeds(circuit: Circuit) -> dict[str, str]:
    """Zone -> the first component that all its air passes and that no other zone's air needs.

    Vessels and supplies do not count, since cutting them is not cutting a feed; a zone without
    such a component is left out.
    """
    points = {zone: single_points(circuit, zone) for zone in circuit.zones}
    graph = air_graph(circuit)
    order = distances(graph, supply_ports(circuit))
    near = dict.fromkeys(circuit.components, 1e9)
    for port in graph:
        near[port.component] = min(near[port.component], order.get(port, 1e9))
    feeds: dict[str, str] = {}
    for zone, own in points.items():
        shared = {name for other, names in points.items() if other != zone for name in names}
        candidates = [
            (near[name], name)
            for name in own
            if name not in shared
            and name not in circuit.having("supply")
            and not circuit.components[name].merged_ports()
        ]
        if candidates:
            feeds[zone] = min(candidates)[1]
    return feeds


def _neighbours(circuit: Circuit) -> nx.Graph[str]:
    """Components that lines of air join; every supply is joined to the air."""
    near: nx.Graph[str] = nx.Graph()
    near.add_nodes_from((_AIR, *circuit.components))
    near.add_edges_from((_AIR, name) for name in circuit.having("supply"))
    near.add_edges_from(
        (link.a.component, link.b.component)
        for link in circuit.connections
        if link.b is not None and not is_pilot(circuit, link)
    )
    return near


def _must_pass(near: nx.Graph[str]) -> nx.DiGraph[str]:
    """The tree, from the air on, in which all air to a component passes those above it (its
    dominators); what no air reaches is left out."""
    above = nx.immediate_dominators(near.to_directed(as_view=True), _AIR)
    tree: nx.DiGraph[str] = nx.DiGraph()
    tree.add_node(_AIR)
    tree.add_edges_from((parent, name) for name, parent in above.items() if name != _AIR)
    return tree


def _behind_the_entry(
    circuit: Circuit,
    near: nx.Graph[str],
    passed: nx.DiGraph[str],
    movers: Sequence[str],
    owner: Mapping[str, str],
    zone: str,
) -> set[str]:
    """The movers, and everything behind the place where their air enters the zone."""
    members = {name for name in movers if name in circuit.components}
    chains = [nx.shortest_path(passed, _AIR, name) for name in movers if name in passed]
    if not chains:
        return members
    turnable = circuit.having("turnable")
    entry, land = "", set(members)
    for name in chains[0][:0:-1]:  # from the mover on towards the air
        if not all(name in other for other in chains):
            continue
        behind = {name, *nx.descendants(passed, name)}
        if any(
            owner.get(part, zone) != zone or "shared" in circuit.components[part].traits
            for part in behind
        ):
            break
        lines = sum(other not in behind for part in behind for other in near[part])
        if not entry or (lines <= 1 and (name in turnable or entry not in turnable)):
            entry, land = name, behind
    return land | members
