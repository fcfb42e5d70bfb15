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

from pneumo.network.network import MOVERS, Floats, Network, Row, Table
from pneumo.simulation.jaw import load_of
from pneumo.simulation.jit import inlined, kernel
from pneumo.simulation.laws import node_state
from pneumo.simulation.part import PARTITIONS, Part
from pneumo.simulation.position import END, LENGTH, START, Position, dense

STILL = 1e-10
"""Speed below which a mover is at rest [m/s]: more than what is left of it at the moment at which
it was found to stop, and a tenth of a millimetre in ten days."""

BROKEN_AWAY = 10.0 * STILL
"""Speed at which a mover that breaks away begins [m/s]. At that moment the force is what friction
holds, to the last digit: only its speed can say that it slides."""

HALVINGS = 50
"""How often the step is halved to find a moment."""


@inlined
def take_grips(network: Network, part: Part, y: Floats, p: Floats) -> None:
    """Fills the grips of a part's movers at the start of a step; a mover at rest gets speed 0.

    Expects the pressures at the same y.
    """
    movers, member, members = network.mover, network.member, network.members
    grip, partitions = part.grip, part.partitions
    outside = network.node[network.dynamic].pressure
    for i in range(part.counts[PARTITIONS]):
        c = partitions[i]
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
            force = load_of(mover, y[mover.x], p, outside)
            grip[j] = 0.0
            if abs(force) > mover.static:
                grip[j] = 1.0 if force > 0.0 else -1.0


@inlined
def force_at(
    mover: Row, nodes: Table, movers: Table, dynamic: int, position: Position, theta: float,
    y: Floats, p: Floats,
) -> float:  # fmt: skip
    """Force that friction has to hold on a mover at a place of its partition's last step [N];
    leaves the mover's travel and its chambers' states in y, their pressures in p."""
    y[mover.x] = dense(position, theta, mover.x)
    for chamber in range(2):
        n = mover.node_0 if chamber == 0 else mover.node_1
        if n >= 0 and n < dynamic:
            node = nodes[n]
            y[node.mass] = dense(position, theta, node.mass)
            y[node.energy] = dense(position, theta, node.energy)
            p[n] = node_state(node, movers, y)[0]
    return load_of(mover, y[mover.x], p, nodes[dynamic].pressure)


@inlined
def changes(mover: Row, way: float, force: float, speed: float) -> bool:
    """Whether a mover no longer holds, or would go the other way."""
    return abs(force) > mover.static if way == 0.0 else way * speed < 0.0


@inlined
def first_change(
    network: Network, position: Position, part: Part, c: int, y: Floats, p: Floats
) -> tuple[float, int, float]:
    """When in the step just kept a mover of a partition first stops or breaks away, which mover
    that is, and its speed from then on; infinity: none does.

    A held mover breaks away when the force exceeds what friction holds; one that slides stops when
    it would go the other way. A speed the wrong way that no force explains becomes 0. y and p are
    scratch.
    """
    movers, nodes, dynamic = network.mover, network.node, network.dynamic
    member, members, grip = network.member, network.members, part.grip
    first, which, speed = 2.0, -1, 0.0
    for m in range(members[MOVERS, c], members[MOVERS, c + 1]):
        j = member[m]
        mover = movers[j]
        way = grip[j]
        if mover.static == 0.0 or mover.static == inf:
            continue
        for half in range(2):
            theta = 0.5 + 0.5 * half
            force = 0.0
            if way == 0.0:
                force = force_at(mover, nodes, movers, dynamic, position, theta, y, p)
            if changes(mover, way, force, dense(position, theta, mover.v)):
                theta, force = located(network, position, j, way, theta - 0.5, theta, y, p)
                if way * force > mover.friction:
                    # still driven that way: its speed is nothing but the step's error
                    if way * position.y_new[mover.v] < 0.0:
                        position.y[mover.v] = position.y_new[mover.v] = 0.0
                elif theta < first:
                    first, which, speed = theta, j, 0.0
                    if way == 0.0:
                        speed = BROKEN_AWAY if force > 0.0 else -BROKEN_AWAY
                break
    if which < 0:
        return inf, -1, 0.0
    moment = position.partition[c, START] + first * position.partition[c, LENGTH]
    return min(position.partition[c, END], moment), which, speed


@kernel
def located(
    network: Network, position: Position, j: int, way: float, low: float, high: float,
    y: Floats, p: Floats,
) -> tuple[float, float]:  # fmt: skip
    """Where between two places of the last step a mover's grip changes, just beyond it, and the
    force on the mover there [N]. Called seldom, so it may take the whole network."""
    mover, nodes, movers, dynamic = network.mover[j], network.node, network.mover, network.dynamic
    force = 0.0
    for halving in range(HALVINGS + 1):
        theta = 0.5 * (low + high) if halving < HALVINGS else high
        force = force_at(mover, nodes, movers, dynamic, position, theta, y, p)
        if changes(mover, way, force, dense(position, theta, mover.v)):
            high = theta
        else:
            low = theta
    return high, force
