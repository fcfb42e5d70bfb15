"""Which component belongs to which zone or group of gates, and what is shared.

A zone has what hangs on it alone: everything behind its shut-off valve, or else behind the last
place where it hangs on the rest of the ride by one line. What serves several, and what belongs to
the ride as a whole (a supply, a receiver), is nobody's. Pilot lines do not count, they only
command.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.graph import air_graph, distances, is_pilot, single_points, supply_ports

_AIR = ""
"""Stands for the air itself, before every supply; no component can have this name."""

Neighbours = Mapping[str, Collection[str]]


def territories(circuit: Circuit) -> dict[str, tuple[str, ...]]:
    """Zone or group of gates -> its components, in document order; those without any are left
    out."""
    movers = {zone.name: zone.brakes for zone in circuit.zones.values()}
    movers |= {group.name: group.cylinders for group in circuit.gates.values()}
    owner = {mover: name for name, moved in movers.items() for mover in moved}
    near = _neighbours(circuit)
    above = _dominators(near)
    below: dict[str, list[str]] = {}
    for name, parent in above.items():
        below.setdefault(parent, []).append(name)
    free = dict.fromkeys(circuit.components)
    found: dict[str, tuple[str, ...]] = {}
    for name, moved in movers.items():
        members = _behind_the_entry(circuit, near, above, below, moved, owner, name)
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


def _neighbours(circuit: Circuit) -> dict[str, dict[str, None]]:
    """Component -> those that lines of air join to it; every supply is joined to the air."""
    joined = [(_AIR, name) for name in circuit.having("supply")] + [
        (link.a.component, link.b.component)
        for link in circuit.connections
        if link.b is not None and not is_pilot(circuit, link)
    ]
    near: dict[str, dict[str, None]] = {name: {} for name in (_AIR, *circuit.components)}
    for a, b in joined:
        near[a][b] = near[b][a] = None
    return near


def _dominators(near: Neighbours) -> dict[str, str]:
    """Component -> the last one that all air to it must pass, "" for none; what no air reaches is
    left out (the method of Cooper, Harvey and Kennedy)."""
    left = _as_left(near)
    number = {name: i for i, name in enumerate(left)}
    above = {_AIR: _AIR}
    changed = True
    while changed:
        changed = False
        for name in reversed(left[:-1]):
            last, *others = (other for other in near[name] if other in above)
            for other in others:
                while last != other:
                    while number[last] < number[other]:
                        last = above[last]
                    while number[other] < number[last]:
                        other = above[other]
            if above.get(name) != last:
                above[name], changed = last, True
    del above[_AIR]
    return above


def _as_left(near: Neighbours) -> list[str]:
    """What air reaches, in the order in which a search in depth leaves it; the air is the last."""
    left: list[str] = []
    seen, ways = {_AIR}, [(_AIR, iter(near[_AIR]))]
    while ways:
        name, onward = ways[-1]
        following = next((other for other in onward if other not in seen), None)
        if following is None:
            left.append(name)
            ways.pop()
        else:
            seen.add(following)
            ways.append((following, iter(near[following])))
    return left


def _behind_the_entry(
    circuit: Circuit,
    near: Neighbours,
    above: Mapping[str, str],
    below: Mapping[str, Sequence[str]],
    movers: Sequence[str],
    owner: Mapping[str, str],
    zone: str,
) -> set[str]:
    """The movers, and everything behind the place where their air enters the zone."""
    members = {name for name in movers if name in circuit.components}
    chains = [_chain(above, name) for name in movers if name in above]
    if not chains:
        return members
    turnable = circuit.having("turnable")
    entry, land = "", set(members)
    for name in chains[0]:
        if not all(name in other for other in chains):
            continue
        behind = _behind(below, name)
        if any(
            owner.get(part, zone) != zone or "shared" in circuit.components[part].traits
            for part in behind
        ):
            break
        lines = sum(other not in behind for part in behind for other in near[part])
        if not entry or (lines <= 1 and (name in turnable or entry not in turnable)):
            entry, land = name, behind
    return land | members


def _chain(above: Mapping[str, str], name: str) -> dict[str, None]:
    """A component and, one after another, those that all its air must pass."""
    links = {name: None}
    while (name := above.get(name, _AIR)) != _AIR:
        links[name] = None
    return links


def _behind(below: Mapping[str, Sequence[str]], name: str) -> set[str]:
    """A component and all whose air must pass it."""
    found = [name]
    for here in found:
        found += below.get(here, ())  # the loop goes on over what is added here
    return set(found)
