"""A part: the cells that are stepped together, and the paths through which air may pass there."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from pneumo.network.network import BORDERS, PATHS, Network
from pneumo.simulation.flow import clip
from pneumo.simulation.jit import inlined, kernel

Array = Any

CELLS, LIVE, OUTER, FOREIGN, FOREIGN_NODES, APART = 0, 1, 2, 3, 4, 5
"""Places of `Part.count`."""

SHUT, VARYING = -2.0, -1.0
"""Openings of a path that passes no air until the next event; that a pressure or a moving spool
changes."""


class Part(NamedTuple):
    """Which cells are stepped together; lists of numbers, filled up to `count`."""

    cells: Array  # (ncell,) ascending
    inside: Array  # (ncell,) bool: which cells they are
    live: Array  # (nrestriction,) paths that may pass air in this step
    outer: Array  # (nrestriction,) those of them that lead to the boundary or another cell
    fixed: Array  # (nrestriction,) the opening of each; VARYING: it changes within the step
    joined: Array  # (nrestriction,) bool: border paths that pass air or are about to
    apart: Array  # (nrestriction,) border paths that are shut, to be looked at after the step
    foreign: Array  # (main,) states outside that the live paths depend on
    foreign_node: Array  # (nnode,) nodes outside at the live paths
    drift: Array  # (main,) rates of the foreign states
    grip: Array  # (nmover,) the way each mover slides in this step: 1, -1; 0: friction holds it
    count: Array  # (6,) how many of each, see CELLS and the like


def make_part(network: Network) -> Part:
    """Room for any part of a network; at first it holds every cell."""
    ncell, paths = len(network.state) - 1, len(network.restriction)
    part = Part(
        np.arange(ncell),
        np.ones(ncell, dtype=np.bool_),
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
    )
    part.count[CELLS] = ncell
    return part


@inlined
def spool_position(spool: Any, time: float) -> float:
    """Position of a spool at a time: it moves at a constant rate until its movement ends."""
    return spool.position + spool.rate * (min(time, spool.until) - spool.since)


@inlined
def standing_opening(row: Any, spools: Array, time: float) -> float:
    """Opening of a path from a time until the next event: a number, SHUT or VARYING.

    A path whose spool rests where it is shut passes nothing, whatever the pressures do.
    """
    if row.open_max == 0.0 and row.open_min == 0.0:
        return SHUT
    at, moving = 1.0, False
    if row.spool >= 0:
        spool = spools[row.spool]
        moving = spool.rate != 0.0 and time < spool.until
        at = (spool_position(spool, time) - row.spool_shut) / (row.spool_open - row.spool_shut)
        if at <= 0.0 and not moving and row.open_min == 0.0:
            return SHUT
    if row.hi >= 0 or row.stem >= 0 or moving:
        return VARYING
    return row.open_min + (row.open_max - row.open_min) * clip(at)[0]


@inlined
def list_paths(network: Network, time: float, part: Part) -> None:
    """Fills the lists of a part whose cells are chosen and whose border paths are known as joined
    or apart."""
    count = part.count
    count[LIVE] = count[OUTER] = count[FOREIGN] = count[FOREIGN_NODES] = count[APART] = 0
    member = network.member
    members = network.members
    restrictions = network.restriction
    spools = network.spool
    inside, cells, live, fixed = part.inside, part.cells, part.live, part.fixed
    joined, apart, outer = part.joined, part.apart, part.outer
    node_cell, loose, dynamic = network.node_cell, network.loose, network.dynamic
    for i in range(count[CELLS]):
        c = cells[i]
        for m in range(members[PATHS, c], members[PATHS, c + 1]):
            r = member[m]
            row = restrictions[r]
            at = standing_opening(row, spools, time)
            if at != SHUT:
                fixed[r] = at
                live[count[LIVE]] = r
                count[LIVE] += 1
                if row.a >= dynamic or row.b >= dynamic:
                    outer[count[OUTER]] = r
                    count[OUTER] += 1
        for m in range(members[BORDERS, c], members[BORDERS, c + 1]):
            r = member[m]
            row = restrictions[r]
            side_a = node_cell[row.a]
            other = node_cell[row.b] if side_a == c else side_a
            if inside[other] and other < c:
                continue  # the other one has listed it
            at = standing_opening(row, spools, time)
            if at == SHUT:
                continue
            if not inside[other] and not joined[r]:
                apart[count[APART]] = r
                count[APART] += 1
                continue
            fixed[r] = at
            live[count[LIVE]] = r
            count[LIVE] += 1
            outer[count[OUTER]] = r
            count[OUTER] += 1
            if not inside[other]:
                list_foreign(network, r, part)
    for i in range(loose.shape[0]):
        r = loose[i]
        row = restrictions[r]
        if row.open_max > 0.0 and inside[node_cell[row.a]]:
            fixed[r] = standing_opening(row, spools, time)
            live[count[LIVE]] = r
            count[LIVE] += 1
            outer[count[OUTER]] = r
            count[OUTER] += 1


@inlined
def list_foreign(network: Network, r: int, part: Part) -> None:
    """Adds the states and nodes outside that a border path depends on."""
    count = part.count
    row = network.restriction[r]
    z = network.column_restriction[r, 10]
    if z >= 0 and not part.inside[network.state_cell[z]]:
        part.foreign[count[FOREIGN]] = z
        count[FOREIGN] += 1
    for place in range(4):
        n = row.a if place == 0 else row.b if place == 1 else row.hi if place == 2 else row.lo
        if n < 0 or n >= network.dynamic or part.inside[network.node_cell[n]]:
            continue
        known = False
        for i in range(count[FOREIGN_NODES]):
            known = known or part.foreign_node[i] == n
        if not known:
            part.foreign_node[count[FOREIGN_NODES]] = n
            count[FOREIGN_NODES] += 1
            node = network.node[n]  # its volume follows its mover, which lies in the same cell
            for q in (node.mass, node.energy):
                part.foreign[count[FOREIGN]] = q
                count[FOREIGN] += 1
            if node.mover >= 0:
                part.foreign[count[FOREIGN]] = network.mover[node.mover].x
                count[FOREIGN] += 1


@kernel
def hold_all(network: Network, time: float, part: Part) -> None:
    """Makes a part hold the whole network."""
    ncell = network.state.shape[0] - 1
    part.count[CELLS] = ncell
    for c in range(ncell):
        part.cells[c] = c
        part.inside[c] = True
    list_paths(network, time, part)
