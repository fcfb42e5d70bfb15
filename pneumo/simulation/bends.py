"""Bends: a regulator's stem begins to move when its pressure has left the dead band, at once.

The law is C1, but the error estimate of a step that goes across such a point may be small by
chance; a stem that is wrong by a little while it is hardly open makes the small volume behind it
wrong by much. So a step of a zone ends there, as seen from its start.
"""

from __future__ import annotations

from math import inf

from pneumo.network.network import STEMS, Network
from pneumo.simulation.jit import inlined
from pneumo.simulation.laws import DEAD_BAND_CORNER, stem_target
from pneumo.simulation.solver import Scratch

BEYOND = 1e-2
"""A step ends this much of it beyond a bend, so that the next one begins on the other side."""

LEAST = 2e-3
"""A bend closer than this share of the step counts as passed."""


@inlined
def pressure_rate(network: Network, s: Scratch, n: int) -> float:
    """dp/dt of a node at the start of a step of its partition [Pa/s]."""
    node, gas = network.node[n], s.start
    rate = s.start_rate[node.energy] / s.base[node.energy]
    if node.mover >= 0:
        rate -= gas.area[n] / gas.vol[n] * s.start_rate[network.mover[node.mover].x]
    return gas.p[n] * rate


@inlined
def first_bend(network: Network, s: Scratch, c: int, h: float) -> float:
    """Length of a step of a partition that ends at the first bend, h when none is within it.

    Expects what `linearise` has found.
    """
    first = inf
    for m in range(network.members[STEMS, c], network.members[STEMS, c + 1]):
        stem = network.stem[network.member[m]]
        if stem.node >= network.dynamic or stem.dead_band <= 0.0:
            continue
        target = stem_target(stem, s.start.p[stem.node])
        target_rate = -pressure_rate(network, s, stem.node) / stem.band
        goal = min(max(target, stem.low), stem.high)
        error = goal - s.base[stem.z]
        rate = -s.start_rate[stem.z] + (target_rate if goal == target else 0.0)
        for k in range(4):
            bend = stem.dead_band * (1.0 if k < 2 else 1.0 + DEAD_BAND_CORNER)
            after = ((bend if k % 2 == 0 else -bend) - error) / rate
            if LEAST * h < after < first:  # not so when the rate is zero
                first = after
    return min(h, first * (1.0 + BEYOND))
