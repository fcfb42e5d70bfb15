"""Dry friction: whether a mover is held or slides, and the moment at which that changes.

Coulomb's law with a breakaway force: at rest friction holds against any force up to `static`,
sliding it brakes with `friction`. The force has a jump at standstill, so it is not smoothed but
located, after Karnopp (1985), "Computer simulation of stick-slip friction in mechanical dynamic
systems" (from memory), with the band of speeds around zero that he calls rest shrunk to nothing:
each step knows at its start which way a mover slides, and it ends at the moment at which the mover
comes to rest or breaks away. A held mover's travel and speed do not change at all, so nothing
creeps, however often the pressure swings below the limit.

What a step needs follows from its first state alone: the sign of the speed, at rest the force. So
nothing about friction is kept between steps.
"""

from __future__ import annotations

from math import inf
from typing import Any

from pneumo.network.network import MOVERS, Network
from pneumo.simulation.balance import node_state, pull_of
from pneumo.simulation.jit import inlined, kernel
from pneumo.simulation.part import CELLS, Part
from pneumo.simulation.position import END, LENGTH, START, Position, dense

Array = Any

STILL = 1e-10
"""Speed below which a mover is at rest [m/s]: more than what is left of it at the moment at which
it was found to stop, and a tenth of a millimetre in ten days."""

BROKEN_AWAY = 10.0 * STILL
"""Speed at which a mover that breaks away begins [m/s]. At that moment the force is what friction
holds, to the last digit: only its speed can say that it slides."""

HALVINGS = 50
"""How often the step is halved to find a moment."""


@inlined
def take_grips(network: Network, part: Part, y: Array, p: Array) -> None:
    """Fills the grips of a part's movers at the start of a step; a mover at rest gets speed 0.

    Expects the pressures at the same y.
    """
    movers, member, members = network.mover, network.member, network.members
    grip, cells = part.grip, part.cells
    outside = network.node[network.dynamic].pressure
    for i in range(part.count[CELLS]):
        c = cells[i]
        for m in range(members[MOVERS, c], members[MOVERS, c + 1]):
            j = member[m]
            mover = movers[j]
            if mover.static == 0.0:
                grip[j] = 1.0  # without friction nothing holds it and the way does not matter
                continue
            v = y[mover.v]
            if abs(v) > STILL and mover.static < inf:
                grip[j] = 1.0 if v > 0.0 else -1.0
                continue
            y[mover.v] = 0.0
            force = pull_of(mover, y[mover.x], p, outside)
            grip[j] = 0.0
            if abs(force) > mover.static:
                grip[j] = 1.0 if force > 0.0 else -1.0


@kernel
def force_at(
    network: Network, position: Position, j: int, theta: float, y: Array, p: Array
) -> float:
    """Force that friction has to hold on a mover at a place of its cell's last step; leaves the
    mover's states and its chambers' in y, their pressures in p."""
    mover = network.mover[j]
    nodes, movers = network.node, network.mover
    y_old, y_new = position.y_old, position.y_new
    dense_2, dense_3 = position.dense_2, position.dense_3
    y[mover.x] = dense(y_old, y_new, dense_2, dense_3, theta, mover.x)
    for chamber in range(2):
        n = mover.node_0 if chamber == 0 else mover.node_1
        if n >= 0 and n < network.dynamic:
            node = nodes[n]
            y[node.mass] = dense(y_old, y_new, dense_2, dense_3, theta, node.mass)
            y[node.energy] = dense(y_old, y_new, dense_2, dense_3, theta, node.energy)
            p[n] = node_state(node, movers, y)[0]
    return pull_of(mover, y[mover.x], p, nodes[network.dynamic].pressure)


@kernel
def beyond(
    network: Network, position: Position, j: int, way: float, theta: float, y: Array, p: Array
) -> float:
    """Positive where a mover no longer does what its grip said: held, the force exceeds what
    friction holds; sliding, it goes the other way."""
    if way == 0.0:
        return abs(force_at(network, position, j, theta, y, p)) - network.mover[j].static
    q = network.mover[j].v
    speed = dense(position.y_old, position.y_new, position.dense_2, position.dense_3, theta, q)
    return -way * speed


@kernel
def first_change(
    network: Network, position: Position, part: Part, c: int, y: Array, p: Array
) -> tuple[float, int, float]:
    """When in the step just kept a mover of a cell first stops or breaks away, which mover that is,
    and its speed from then on; infinity: none does.

    A speed the wrong way that no force explains becomes 0. y and p are scratch.
    """
    first, which, speed = 2.0, -1, 0.0
    for m in range(network.members[MOVERS, c], network.members[MOVERS, c + 1]):
        j = network.member[m]
        mover = network.mover[j]
        way = part.grip[j]
        if mover.static == 0.0 or mover.static == inf:
            continue
        low, high = 0.0, 0.0
        if beyond(network, position, j, way, 0.5, y, p) > 0.0:
            high = 0.5
        elif beyond(network, position, j, way, 1.0, y, p) > 0.0:
            low, high = 0.5, 1.0
        else:
            continue
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            if beyond(network, position, j, way, middle, y, p) > 0.0:
                high = middle
            else:
                low = middle
        force = force_at(network, position, j, high, y, p)
        if way * force > mover.friction:
            # still driven that way: its speed is nothing but the step's error
            if way * position.y_new[mover.v] < 0.0:
                position.y[mover.v] = position.y_new[mover.v] = 0.0
            continue
        if high < first:
            first, which, speed = high, j, 0.0
            if way == 0.0:
                speed = BROKEN_AWAY if force > 0.0 else -BROKEN_AWAY
    if which < 0:
        return inf, -1, 0.0
    moment = position.cell[c, START] + first * position.cell[c, LENGTH]
    return min(position.cell[c, END], moment), which, speed
