"""Locality: which partitions are stepped together, and what partitions with steps of their own owe
each other.

The last partition is the shared partition, which every zone's partition borders on. The partition
that is furthest behind is stepped next; when it is at the time of the shared partition and air
passes between them, all such partitions and the shared partition are stepped together. If the
shared partition came out accurate it is kept, and so are the zones that did; the others are
repeated with shorter steps, for which the shared partition, now ahead, is known by interpolation.
The shared partition is never repeated beside zones that are ahead of it: it holds much air and a
zone little, so that a zone follows its pressure well, but not the other way round. A closed border
path couples nothing: the partitions on its two sides go their own ways until it opens.

Both sides of a border path keep a ledger of what has passed. The shared partition has seen the flow
into a zone that was then repeated less exactly than the zone itself: when both have reached the
same time, its balance is set right by the difference (`correct_flux`), so that nothing is lost. How
large the difference was decides how far the shared partition may go ahead of that zone the next
time (LOOK_AHEAD).
"""

from __future__ import annotations

import numpy as np

from pneumo.air import CV
from pneumo.network.network import BORDERS, NODES, SPOOLS, Flags, Floats, Network, Row, Table
from pneumo.simulation.flow import CORNER
from pneumo.simulation.jit import inlined, kernel
from pneumo.simulation.laws import node_state, opening
from pneumo.simulation.part import (
    APART,
    CLOSED,
    LIVE,
    PARTITIONS,
    VARYING,
    Part,
    list_paths,
    spool_position,
    standing_opening,
)
from pneumo.simulation.position import (
    ACTED,
    END,
    LOOK_AHEAD,
    LOOK_AHEAD_ACTED,
    LOOK_AHEAD_MOST,
    MOST_DRAWN,
    RESTARTS,
    STEP,
    Position,
    cut,
    known,
    theta_at,
)
from pneumo.simulation.replay import compute
from pneumo.simulation.solver import Scratch

LONGEST = 100.0
"""Longest step [s]."""

SHORTEST = 1e-7
"""A corner that is not further away than this has been reached [s]."""

SMALL_SHARE = 1e-3
"""A correction goes into the node at the border path as long as it is less than this share of
the air there [-]."""

WORTH = 20.0
"""A step of a part longer than its slowest partition bears is tried when the short steps that the
others are spared, times their states, are worth so many repeated steps of that partition."""

FORESEEN = 32.0
"""The shared partition goes ahead of a zone by no more of that zone's own steps: how far it may go
was learned from what came before, and a zone that begins to move does not wait to be learned."""


@inlined
def furthest_behind(position: Position) -> int:
    """The partition with the earliest END; among several, one whose steps are replayed."""
    partition, replayed = position.partition, position.replayed
    first = 0
    for c in range(1, partition.shape[0]):
        if partition[c, END] < partition[first, END] or (
            partition[c, END] == partition[first, END] and replayed[c] >= 0 and replayed[first] < 0
        ):
            first = c
    return first


@inlined
def choose(network: Network, position: Position, first: int, part: Part, s: Scratch) -> None:
    """Fills a part with a partition, the partitions at its time that air passes to, and theirs in
    turn."""
    partition = position.partition
    time = partition[first, END]
    partitions, inside, joined = part.partitions, part.inside, part.joined
    member, members, join = network.member, network.members, position.join
    restrictions, node_partition, spools = (
        network.restriction,
        network.node_partition,
        network.spool,
    )
    for i in range(part.counts[PARTITIONS]):
        inside[partitions[i]] = False
    partitions[0] = first
    inside[first] = True
    count = 1
    i = 0
    while i < count:
        c = partitions[i]
        for m in range(members[BORDERS, c], members[BORDERS, c + 1]):
            r = member[m]
            side_a = node_partition[restrictions[r].a]
            other = node_partition[restrictions[r].b] if side_a == c else side_a
            if inside[other]:
                continue
            at = standing_opening(restrictions[r], spools, time)
            joined[r] = (
                at > 0.0
                or (join[r] == time and at != CLOSED)
                or (at == VARYING and is_opened(network, position, r, time, s))
            )
            if joined[r] and partition[other, END] == time and position.replayed[other] < 0:
                inside[other] = True
                partitions[count] = other
                count += 1
        i += 1
    part.counts[PARTITIONS] = count
    for i in range(1, count):  # ascending
        c = partitions[i]
        j = i
        while j > 0 and partitions[j - 1] > c:
            partitions[j] = partitions[j - 1]
            j -= 1
        partitions[j] = c
    list_paths(network, time, part)


@kernel
def passes(network: Network, position: Position, r: int, time: float, s: Scratch) -> bool:
    """Whether a border path is open at a time."""
    row = network.restriction[r]
    at = standing_opening(row, network.spool, time)
    return at > 0.0 or (at == VARYING and is_opened(network, position, r, time, s))


@inlined
def is_opened(network: Network, position: Position, r: int, time: float, s: Scratch) -> bool:
    """The same for a path that a pressure, a stem or a moving spool opens."""
    row, nodes, movers = network.restriction[r], network.node, network.mover
    partition, state, p = position.partition, s.state, s.gas.p
    for place in range(2):
        n = row.hi if place == 0 else row.lo
        if n >= 0 and n < network.dynamic:
            node = nodes[n]
            theta = theta_at(partition, network.node_partition[n], time)
            state[node.mass] = known(position, theta, node.mass)
            state[node.energy] = known(position, theta, node.energy)
            if node.mover >= 0:
                x = movers[node.mover].x
                state[x] = known(position, theta, x)
            p[n] = node_state(node, movers, state)[0]
    if row.stem >= 0:
        z = network.stem[row.stem].z
        theta = theta_at(partition, network.state_partition[z], time)
        state[z] = known(position, theta, z)
    o, _, _, _, by_time = opening(row, network.spool, network.stem, p, state, time)
    return o > 0.0 or by_time > 0.0


@inlined
def correct_fluxes(network: Network, position: Position, part: Part, rtol: float) -> None:
    """Settles the border paths of a part's partitions that are at the time of the shared
    partition."""
    partition = position.partition
    shared = partition.shape[0] - 1
    for i in range(part.counts[PARTITIONS]):
        c = part.partitions[i]
        if (
            c == shared
            or position.replayed[shared] >= 0
            or partition[c, END] != partition[shared, END]
        ):
            continue
        miss = 0.0
        for m in range(network.members[BORDERS, c], network.members[BORDERS, c + 1]):
            miss = max(miss, correct_flux(network, position.y, network.member[m]) / rtol)
        if miss > 0.0:
            # the difference grows about with the square of the time the shared partition was ahead
            factor = min(4.0, max(0.2, 0.5 / np.sqrt(miss)))
            most = partition[c, LOOK_AHEAD_MOST]
            partition[c, LOOK_AHEAD] = min(partition[c, LOOK_AHEAD] * factor, most)
            if partition[c, ACTED] > 0.0:
                # acts differ: one that let no air in says little about the next
                partition[c, LOOK_AHEAD_ACTED] = min(
                    partition[c, LOOK_AHEAD_ACTED] * min(factor, 1.1), most
                )
        partition[c, ACTED] = 0.0


@inlined
def drawn_otherwise(network: Network, position: Position, c: int) -> float:
    """Air that has passed to a zone otherwise than the shared partition was told [kg]."""
    mass = 0.0
    shared = position.partition.shape[0] - 1
    theta = theta_at(position.partition, shared, position.partition[c, END])
    for m in range(network.members[BORDERS, c], network.members[BORDERS, c + 1]):
        r = network.member[m]
        row = network.restriction[r]
        side = 0 if network.node_partition[row.a] == c else 1
        told = known(position, theta, network.border[r, 1 - side])
        weight = row.weight_b if side == 0 else row.weight_a
        mass += (1.0 - 2.0 * side) * weight * (position.y[network.border[r, side]] - told)
    return abs(mass)


@inlined
def correct_flux(network: Network, y: Floats, r: int) -> float:
    """Sets the balances of the shared partition right by what a zone has seen pass.

    Returns the size of the correction relative to the scale of the states.
    """
    at_a, at_b = network.border[r, 0], network.border[r, 1]
    mass = y[at_a] - y[at_b]
    energy = y[at_a + 1] - y[at_b + 1]
    if mass == 0.0 and energy == 0.0:
        return 0.0
    row = network.restriction[r]
    shared = network.state.shape[0] - 2
    own, other, n, weight = at_a, at_b, row.a, row.weight_a
    if network.node_partition[row.a] != shared:
        own, other, n, weight = at_b, at_a, row.b, row.weight_b
    y[own], y[own + 1] = y[other], y[other + 1]
    node = network.node[n]
    mass *= weight
    energy *= weight
    if abs(mass) > SMALL_SHARE * y[node.mass]:
        spread(network, y, node.count * mass, node.count * energy)
        return abs(mass) / y[node.mass]
    if node.isothermal == 1:
        received = CV * node.wall * mass
        y[network.ledger[shared] + network.heat] += node.count * (received - energy)
        energy = received
    y[node.mass] += mass
    y[node.energy] += energy
    return max(
        abs(mass) / (network.scale[node.mass] + abs(y[node.mass])),
        abs(energy) / (network.scale[node.energy] + abs(y[node.energy])),
    )


@kernel
def spread(network: Network, y: Floats, mass: float, energy: float) -> None:
    """Shares an amount of air out over the shared partition: one that came together over so long a
    time that it is not to be found where it passed."""
    shared = network.state.shape[0] - 2
    air, heat = 0.0, 0.0
    for m in range(network.members[NODES, shared], network.members[NODES, shared + 1]):
        node = network.node[network.member[m]]
        air += node.count * y[node.mass]
        heat += node.count * y[node.energy]
    for m in range(network.members[NODES, shared], network.members[NODES, shared + 1]):
        node = network.node[network.member[m]]
        y[node.mass] += mass * y[node.mass] / air
        y[node.energy] += energy * y[node.energy] / heat


@inlined
def step_length(network: Network, position: Position, part: Part) -> float:
    """Length of the next step of a part: that of its slowest partition, within what the others
    bear."""
    longest, shortest = 0.0, LONGEST
    partitions, partition, first = part.partitions, position.partition, network.state
    least, all_states = 0, 0
    for i in range(part.counts[PARTITIONS]):
        c = partitions[i]
        step, states = min(partition[c, STEP], LONGEST), first[c + 1] - first[c]
        longest = max(longest, step)
        all_states += states
        if step < shortest:
            shortest, least = step, states
    h = longest
    shared = partition.shape[0] - 1
    for i in range(part.counts[PARTITIONS]):
        c = partitions[i]
        bearable = partition[c, STEP]
        if c != shared:
            bearable = max(bearable, min(partition[c, LOOK_AHEAD], FORESEEN * bearable))
        h = min(h, bearable)
    worth = (h - shortest) * (all_states - least) > WORTH * shortest * least
    return h if worth else shortest


@inlined
def latest_end(network: Network, position: Position, part: Part, time: float) -> float:
    """What a part must not step over [s]: a kink in a spool's movement, a corner of the opening it
    makes, a neighbour's END."""
    latest = time + LONGEST
    partitions, inside, joined, partition = (
        part.partitions,
        part.inside,
        part.joined,
        position.partition,
    )
    member, members, spools = network.member, network.members, network.spool
    restrictions, node_partition, replayed = (
        network.restriction,
        network.node_partition,
        position.replayed,
    )
    for i in range(part.counts[PARTITIONS]):
        c = partitions[i]
        for m in range(members[SPOOLS, c], members[SPOOLS, c + 1]):
            spool = spools[member[m]]
            if spool.next > time:
                latest = min(latest, spool.next)
            if spool.rate != 0.0 and spool.until > time:
                latest = min(latest, spool.until)
        for m in range(members[BORDERS, c], members[BORDERS, c + 1]):
            r = member[m]
            row = restrictions[r]
            other = node_partition[row.a] + node_partition[row.b] - c
            if (joined[r] or replayed[other] >= 0) and not inside[other]:
                latest = min(latest, partition[other, END])
    for i in range(part.counts[LIVE]):
        latest = min(latest, next_corner(restrictions[part.live[i]], spools, time))
    return latest


@inlined
def next_corner(row: Row, spools: Table, time: float) -> float:
    """When the opening of a path whose spool is moving next bends, see `flow.clip` [s]."""
    if row.spool < 0:
        return np.inf
    spool = spools[row.spool]
    if spool.rate == 0.0 or time >= spool.until:
        return np.inf
    span = row.spool_open - row.spool_closed
    u = (spool_position(spool, time) - row.spool_closed) / span
    first = np.inf
    for bend in (0.0, CORNER, 1.0 - CORNER, 1.0):
        after = (bend - u) * span / spool.rate
        if after > SHORTEST:
            first = min(first, time + after)
    return first


@kernel
def undo_if_opened(
    network: Network, position: Position, part: Part, time: float, s: Scratch
) -> bool:
    """Takes back the step just kept if a border path that was closed has opened within it.

    The partitions on its other side are brought back to the same time, so that they are joined
    next.
    """
    opened = False
    shared = position.partition.shape[0] - 1
    for i in range(part.counts[APART]):
        r = part.apart[i]
        row = network.restriction[r]
        a, b = network.node_partition[row.a], network.node_partition[row.b]
        moment = min(position.partition[a, END], position.partition[b, END])
        if moment > time and passes(network, position, r, moment, s):
            opened = True
            position.join[r] = time
            cut(network, position, a + b - shared, time, 0.0)
    if opened:
        cut_shared(network, position, time, s)
        for i in range(part.counts[PARTITIONS]):
            cut(network, position, part.partitions[i], time, 0.0)
    return opened


@kernel
def undo_if_drawn(
    network: Network, position: Position, part: Part, time: float, s: Scratch
) -> bool:
    """Takes back the step just kept if in it a zone has drawn more or less air than the replayed
    shared    partition can be told of; from there on the shared partition is computed.

    The shared partition goes back to the same time: what was replayed further ahead knows nothing
    of that air.
    """
    shared = position.partition.shape[0] - 1
    if position.replayed[shared] < 0:
        return False
    for i in range(part.counts[PARTITIONS]):
        c = part.partitions[i]
        if (
            position.partition[c, END] > time
            and drawn_otherwise(network, position, c) > position.run[MOST_DRAWN]
        ):
            compute(position, shared)
            cut_shared(network, position, time, s)
            for j in range(part.counts[PARTITIONS]):
                cut(network, position, part.partitions[j], time, 0.0)
            return True
    return False


@kernel
def cut_shared(network: Network, position: Position, time: float, s: Scratch) -> None:
    """Brings the shared partition back to a time, and with it every partition that is joined to
    it."""
    shared = position.partition.shape[0] - 1
    if position.replayed[shared] >= 0:
        return
    cut(network, position, shared, time, 0.0)
    for m in range(network.members[BORDERS, shared], network.members[BORDERS, shared + 1]):
        r = network.member[m]
        row = network.restriction[r]
        c = network.node_partition[row.a] + network.node_partition[row.b] - shared
        if position.partition[c, END] > time and passes(network, position, r, time, s):
            cut(network, position, c, time, 0.0)


@kernel
def restart(
    network: Network,
    position: Position,
    s: Scratch,
    restarted: Flags,
    time: float,
    first_step: float,
) -> None:
    """Something outside has acted on some partitions: they go on from this time with a short step.

    The shared partition may stay ahead of a zone up to its look-ahead limit.
    """
    partition = position.partition
    shared = partition.shape[0] - 1
    for c in range(shared + 1):
        if restarted[c]:
            if position.replayed[c] >= 0 and partition[c, END] > time:
                compute(position, c)
            partition[c, RESTARTS] += 1.0
            cut(network, position, c, time, first_step)
            if c == shared or partition[shared, END] > time + partition[c, LOOK_AHEAD_ACTED]:
                cut_shared(network, position, time, s)
            partition[c, LOOK_AHEAD] = min(partition[c, LOOK_AHEAD], partition[c, LOOK_AHEAD_ACTED])
            partition[c, ACTED] = 1.0
