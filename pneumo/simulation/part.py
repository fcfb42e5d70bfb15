"""A part: the partitions that are stepped together, and the paths through which air may pass
there."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pneumo.network.network import BORDERS, PATHS, Flags, Floats, Ints, Network, Row, Table
from pneumo.simulation.flow import clip
from pneumo.simulation.jit import inlined, kernel

PARTITIONS, LIVE, OUTER, FOREIGN, FOREIGN_NODES, APART = 0, 1, 2, 3, 4, 5
"""Places of `Part.counts`."""

CLOSED, VARYING = -2.0, -1.0
"""Openings of a path that passes no air until the next event; that a pressure or a moving spool
changes."""


class Part(NamedTuple):
    """Which partitions are stepped together; lists of numbers, filled up to `counts`."""

    partitions: Ints  # (npartition,) ascending
    inside: Flags  # (npartition,) bool: which partitions they are
    live: Ints  # (nrestriction,) paths that may pass air in this step
    outer: Ints  # (nrestriction,) those of them that lead to the boundary or another partition
    fixed: Floats  # (nrestriction,) the opening of each; VARYING: it changes within the step
    joined: Flags  # (nrestriction,) bool: border paths that pass air or are about to
    apart: Ints  # (nrestriction,) border paths that are closed, to be looked at after the step
    foreign: Ints  # (main,) states outside that the live paths depend on
    foreign_node: Ints  # (nnode,) nodes outside at the live paths
    drift: Floats  # (main,) rates of the foreign states
    grip: Floats  # (nmover,) the way each mover slides in this step: 1, -1; 0: friction holds it
    counts: Ints  # (6,) how many of each, see PARTITIONS and the like
    first: Ints  # (npartition + 1,) `Network.state`
    ledger: Ints  # (npartition + 1,) `Network.ledger`


def make_part(network: Network) -> Part:
    """Room for any part of a network; at first it holds every partition."""
    npartition, paths = len(network.state) - 1, len(network.restriction)
    part = Part(
        np.arange(npartition),
        np.ones(npartition, dtype=np.bool_),
        np.zeros(paths, dtype=np.int64),
        np.zeros(paths, dtype=np.int64),
        np.zeros(paths),
        np.zeros(paths, dtype=np.bool_),
        np.zeros(paths, dtype=np.int64),
        np.zeros(network.main, dtype=np.int64),
        np.zeros(len(network.node), dtype=np.int64),
        np.zeros(network.main),
        np.zeros(len(network.mover)),
        np.zeros(6, dtype=np.int64),
        network.state,
        network.ledger,
    )
    part.counts[PARTITIONS] = npartition
    return part


@inlined
def spool_position(spool: Row, time: float) -> float:
    """Position of a spool at a time: it moves at a constant rate until its movement ends."""
    return spool.position + spool.rate * (min(time, spool.until) - spool.since)


@inlined
def standing_opening(row: Row, spools: Table, time: float) -> float:
    """Opening of a path from a time until the next event: a number, SHUT or VARYING.

    A path whose spool rests where it is closed passes nothing, whatever the pressures do.
    """
    if row.open_max == 0.0 and row.open_min == 0.0:
        return CLOSED
    at, moving = 1.0, False
    if row.spool >= 0:
        spool = spools[row.spool]
        moving = spool.rate != 0.0 and time < spool.until
        at = (spool_position(spool, time) - row.spool_closed) / (row.spool_open - row.spool_closed)
        if at <= 0.0 and not moving and row.open_min == 0.0:
            return CLOSED
    if row.hi >= 0 or row.stem >= 0 or moving:
        return VARYING
    return row.open_min + (row.open_max - row.open_min) * clip(at)[0]


@inlined
def list_paths(network: Network, time: float, part: Part) -> None:
    """Fills the lists of a part whose partitions are chosen and whose border paths are known as
    joined or apart."""
    counts = part.counts
    counts[LIVE] = counts[OUTER] = counts[FOREIGN] = counts[FOREIGN_NODES] = counts[APART] = 0
    for i in range(counts[PARTITIONS]):
        list_own(network, time, part, part.partitions[i])
        list_borders(network, time, part, part.partitions[i])
    list_leaks(network, time, part)


@inlined
def add_path(part: Part, r: int, opened: float, outer: bool) -> None:
    """Adds a path that may pass air; `outer`: it leads to the boundary or another partition."""
    counts = part.counts
    part.fixed[r] = opened
    part.live[counts[LIVE]] = r
    counts[LIVE] += 1
    if outer:
        part.outer[counts[OUTER]] = r
        counts[OUTER] += 1


@inlined
def list_own(network: Network, time: float, part: Part, c: int) -> None:
    """Adds the paths within a partition and from it to the boundary."""
    restrictions, spools, dynamic = network.restriction, network.spool, network.dynamic
    member, members = network.member, network.members
    for m in range(members[PATHS, c], members[PATHS, c + 1]):
        r = member[m]
        row = restrictions[r]
        at = standing_opening(row, spools, time)
        if at != CLOSED:
            add_path(part, r, at, row.a >= dynamic or row.b >= dynamic)


@inlined
def list_borders(network: Network, time: float, part: Part, c: int) -> None:
    """Adds the paths from a partition to others, with what they depend on there."""
    restrictions, spools, node_partition = (
        network.restriction,
        network.spool,
        network.node_partition,
    )
    member, members, inside, counts = network.member, network.members, part.inside, part.counts
    for m in range(members[BORDERS, c], members[BORDERS, c + 1]):
        r = member[m]
        row = restrictions[r]
        other = node_partition[row.a] + node_partition[row.b] - c
        if inside[other] and other < c:
            continue  # the other one has listed it
        at = standing_opening(row, spools, time)
        if at == CLOSED:
            continue
        if inside[other] or part.joined[r]:
            add_path(part, r, at, True)
            if not inside[other]:
                list_foreign(network, r, part)
        else:
            part.apart[counts[APART]] = r
            counts[APART] += 1


@inlined
def list_leaks(network: Network, time: float, part: Part) -> None:
    """Adds the leaks that are open and lead from one of a part's partitions to the atmosphere."""
    restrictions, loose = network.restriction, network.loose
    for i in range(loose.shape[0]):
        r = loose[i]
        row = restrictions[r]
        if row.open_max > 0.0 and part.inside[network.node_partition[row.a]]:
            add_path(part, r, standing_opening(row, network.spool, time), True)


@inlined
def list_foreign(network: Network, r: int, part: Part) -> None:
    """Adds the states and nodes outside that a border path depends on."""
    counts = part.counts
    row = network.restriction[r]
    z = network.column_restriction[r, 10]
    if z >= 0 and not part.inside[network.state_partition[z]]:
        part.foreign[counts[FOREIGN]] = z
        counts[FOREIGN] += 1
    for place in range(4):
        n = row.a if place == 0 else row.b if place == 1 else row.hi if place == 2 else row.lo
        if n < 0 or n >= network.dynamic or part.inside[network.node_partition[n]]:
            continue
        known = False
        for i in range(counts[FOREIGN_NODES]):
            known = known or part.foreign_node[i] == n
        if not known:
            part.foreign_node[counts[FOREIGN_NODES]] = n
            counts[FOREIGN_NODES] += 1
            node = network.node[n]  # its volume follows its mover, which lies in the same partition
            for q in (node.mass, node.energy):
                part.foreign[counts[FOREIGN]] = q
                counts[FOREIGN] += 1
            if node.mover >= 0:
                part.foreign[counts[FOREIGN]] = network.mover[node.mover].x
                counts[FOREIGN] += 1


@kernel
def hold_all(network: Network, time: float, part: Part) -> None:
    """Makes a part hold the whole network."""
    npartition = network.state.shape[0] - 1
    part.counts[PARTITIONS] = npartition
    for c in range(npartition):
        part.partitions[c] = c
        part.inside[c] = True
    list_paths(network, time, part)
