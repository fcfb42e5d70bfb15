"""Locality: which cells are stepped together, and what cells with own clocks owe each other.

The last cell is the rest of the ride, which every zone's cell borders on. The cell that is furthest
behind is stepped next; when it is at the time of the rest of the ride and air passes between them,
all such cells and the rest are stepped together. If the rest came out accurate it is kept, and so
are the zones that did; the others are repeated with shorter steps, for which the rest, now ahead,
is known by interpolation. The rest is never repeated beside zones that are ahead of it: it holds
much air and a zone little, so that a zone follows its pressure well, but not the other way round. A
shut border path couples nothing: the cells on its two sides go their own ways until it opens.

Both sides of a border path keep a ledger of what has passed. The rest has seen the flow into a zone
that was then repeated less exactly than the zone itself: when both have reached the same time, its
balance is set right by the difference (`settle`), so that nothing is lost. How large the difference
was decides how far the rest may go ahead of that zone the next time (REACH).
"""

from __future__ import annotations

import numpy as np

from pneumo.air import CV
from pneumo.network.network import BORDERS, NODES, SPOOLS, Flags, Floats, Network, Row, Table
from pneumo.simulation.flow import CORNER
from pneumo.simulation.given import compute
from pneumo.simulation.jit import inlined, kernel
from pneumo.simulation.laws import node_state, opening
from pneumo.simulation.part import (
    APART,
    CELLS,
    LIVE,
    SHUT,
    VARYING,
    Part,
    list_paths,
    spool_position,
    standing_opening,
)
from pneumo.simulation.position import (
    ACT_REACH,
    ACTED,
    END,
    MOST_DRAWN,
    MOST_REACH,
    REACH,
    STEP,
    TOUCHES,
    Position,
    cut,
    known,
    theta_at,
)
from pneumo.simulation.solver import Scratch

LONGEST = 100.0
"""Longest step [s]."""

SHORTEST = 1e-7
"""A corner that is not further away than this has been reached [s]."""

SMALL_SHARE = 1e-3
"""What is settled goes into the node at the border path as long as it is less than this share of
the air there [-]."""

WORTH = 20.0
"""A step of a part longer than its slowest cell bears is tried when the short steps that the others
are spared, times their states, are worth so many repeated steps of that cell."""

FORESEEN = 32.0
"""The rest of the ride goes ahead of a zone by no more of that zone's own steps: how far it may go
was learned from what came before, and a zone that begins to move does not wait to be learned."""


@inlined
def furthest_behind(position: Position) -> int:
    """The cell with the earliest END; among several, one whose steps are given."""
    cell, given = position.cell, position.given
    first = 0
    for c in range(1, cell.shape[0]):
        if cell[c, END] < cell[first, END] or (
            cell[c, END] == cell[first, END] and given[c] >= 0 and given[first] < 0
        ):
            first = c
    return first


@inlined
def choose(network: Network, position: Position, first: int, part: Part, s: Scratch) -> None:
    """Fills a part with a cell, the cells at its time that air passes to, and theirs in turn."""
    cell = position.cell
    time = cell[first, END]
    cells, inside, joined = part.cells, part.inside, part.joined
    member, members, join = network.member, network.members, position.join
    restrictions, node_cell, spools = network.restriction, network.node_cell, network.spool
    for i in range(part.counts[CELLS]):
        inside[cells[i]] = False
    cells[0] = first
    inside[first] = True
    count = 1
    i = 0
    while i < count:
        c = cells[i]
        for m in range(members[BORDERS, c], members[BORDERS, c + 1]):
            r = member[m]
            side_a = node_cell[restrictions[r].a]
            other = node_cell[restrictions[r].b] if side_a == c else side_a
            if inside[other]:
                continue
            at = standing_opening(restrictions[r], spools, time)
            joined[r] = (
                at > 0.0
                or (join[r] == time and at != SHUT)
                or (at == VARYING and is_opened(network, position, r, time, s))
            )
            if joined[r] and cell[other, END] == time and position.given[other] < 0:
                inside[other] = True
                cells[count] = other
                count += 1
        i += 1
    part.counts[CELLS] = count
    for i in range(1, count):  # ascending
        c = cells[i]
        j = i
        while j > 0 and cells[j - 1] > c:
            cells[j] = cells[j - 1]
            j -= 1
        cells[j] = c
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
    cell, state, p = position.cell, s.state, s.gas.p
    for place in range(2):
        n = row.hi if place == 0 else row.lo
        if n >= 0 and n < network.dynamic:
            node = nodes[n]
            theta = theta_at(cell, network.node_cell[n], time)
            state[node.mass] = known(position, theta, node.mass)
            state[node.energy] = known(position, theta, node.energy)
            if node.mover >= 0:
                x = movers[node.mover].x
                state[x] = known(position, theta, x)
            p[n] = node_state(node, movers, state)[0]
    if row.stem >= 0:
        z = network.stem[row.stem].z
        theta = theta_at(cell, network.state_cell[z], time)
        state[z] = known(position, theta, z)
    o, _, _, _, by_time = opening(row, network.spool, network.stem, p, state, time)
    return o > 0.0 or by_time > 0.0


@inlined
def settle_part(network: Network, position: Position, part: Part, rtol: float) -> None:
    """Settles the border paths of a part's cells that are at the time of the rest."""
    cell = position.cell
    rest = cell.shape[0] - 1
    for i in range(part.counts[CELLS]):
        c = part.cells[i]
        if c == rest or position.given[rest] >= 0 or cell[c, END] != cell[rest, END]:
            continue
        miss = 0.0
        for m in range(network.members[BORDERS, c], network.members[BORDERS, c + 1]):
            miss = max(miss, settle(network, position.y, network.member[m]) / rtol)
        if miss > 0.0:
            # the difference grows about with the square of the time the rest was ahead
            factor = min(4.0, max(0.2, 0.5 / np.sqrt(miss)))
            most = cell[c, MOST_REACH]
            cell[c, REACH] = min(cell[c, REACH] * factor, most)
            if cell[c, ACTED] > 0.0:
                # acts differ: one that let no air in says little about the next
                cell[c, ACT_REACH] = min(cell[c, ACT_REACH] * min(factor, 1.1), most)
        cell[c, ACTED] = 0.0


@inlined
def drawn_otherwise(network: Network, position: Position, c: int) -> float:
    """Air that has passed to a zone otherwise than the rest of the ride was told [kg]."""
    mass = 0.0
    rest = position.cell.shape[0] - 1
    theta = theta_at(position.cell, rest, position.cell[c, END])
    for m in range(network.members[BORDERS, c], network.members[BORDERS, c + 1]):
        r = network.member[m]
        row = network.restriction[r]
        side = 0 if network.node_cell[row.a] == c else 1
        told = known(position, theta, network.border[r, 1 - side])
        weight = row.weight_b if side == 0 else row.weight_a
        mass += (1.0 - 2.0 * side) * weight * (position.y[network.border[r, side]] - told)
    return abs(mass)


@inlined
def settle(network: Network, y: Floats, r: int) -> float:
    """Sets the balances of the rest of the ride right by what a zone has seen pass.

    Returns the size of the correction relative to the scale of the states.
    """
    at_a, at_b = network.border[r, 0], network.border[r, 1]
    mass = y[at_a] - y[at_b]
    energy = y[at_a + 1] - y[at_b + 1]
    if mass == 0.0 and energy == 0.0:
        return 0.0
    row = network.restriction[r]
    rest = network.state.shape[0] - 2
    own, other, n, weight = at_a, at_b, row.a, row.weight_a
    if network.node_cell[row.a] != rest:
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
        y[network.ledger[rest] + network.heat] += node.count * (received - energy)
        energy = received
    y[node.mass] += mass
    y[node.energy] += energy
    return max(
        abs(mass) / (network.scale[node.mass] + abs(y[node.mass])),
        abs(energy) / (network.scale[node.energy] + abs(y[node.energy])),
    )


@kernel
def spread(network: Network, y: Floats, mass: float, energy: float) -> None:
    """Shares an amount of air out over the rest of the ride: one that came together over so long a
    time that it is not to be found where it passed."""
    rest = network.state.shape[0] - 2
    air, heat = 0.0, 0.0
    for m in range(network.members[NODES, rest], network.members[NODES, rest + 1]):
        node = network.node[network.member[m]]
        air += node.count * y[node.mass]
        heat += node.count * y[node.energy]
    for m in range(network.members[NODES, rest], network.members[NODES, rest + 1]):
        node = network.node[network.member[m]]
        y[node.mass] += mass * y[node.mass] / air
        y[node.energy] += energy * y[node.energy] / heat


@inlined
def step_length(network: Network, position: Position, part: Part) -> float:
    """Length of the next step of a part: that of its slowest cell, within what the others bear."""
    longest, shortest = 0.0, LONGEST
    cells, cell, first = part.cells, position.cell, network.state
    least, all_states = 0, 0
    for i in range(part.counts[CELLS]):
        c = cells[i]
        step, states = min(cell[c, STEP], LONGEST), first[c + 1] - first[c]
        longest = max(longest, step)
        all_states += states
        if step < shortest:
            shortest, least = step, states
    h = longest
    rest = cell.shape[0] - 1
    for i in range(part.counts[CELLS]):
        c = cells[i]
        bearable = cell[c, STEP]
        if c != rest:
            bearable = max(bearable, min(cell[c, REACH], FORESEEN * bearable))
        h = min(h, bearable)
    worth = (h - shortest) * (all_states - least) > WORTH * shortest * least
    return h if worth else shortest


@inlined
def latest_end(network: Network, position: Position, part: Part, time: float) -> float:
    """What a part must not step over [s]: a kink in a spool's movement, a corner of the opening it
    makes, a neighbour's END."""
    latest = time + LONGEST
    cells, inside, joined, cell = part.cells, part.inside, part.joined, position.cell
    member, members, spools = network.member, network.members, network.spool
    restrictions, node_cell, given = network.restriction, network.node_cell, position.given
    for i in range(part.counts[CELLS]):
        c = cells[i]
        for m in range(members[SPOOLS, c], members[SPOOLS, c + 1]):
            spool = spools[member[m]]
            if spool.next > time:
                latest = min(latest, spool.next)
            if spool.rate != 0.0 and spool.until > time:
                latest = min(latest, spool.until)
        for m in range(members[BORDERS, c], members[BORDERS, c + 1]):
            r = member[m]
            row = restrictions[r]
            other = node_cell[row.a] + node_cell[row.b] - c
            if (joined[r] or given[other] >= 0) and not inside[other]:
                latest = min(latest, cell[other, END])
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
    reach = row.spool_open - row.spool_shut
    u = (spool_position(spool, time) - row.spool_shut) / reach
    first = np.inf
    for bend in (0.0, CORNER, 1.0 - CORNER, 1.0):
        after = (bend - u) * reach / spool.rate
        if after > SHORTEST:
            first = min(first, time + after)
    return first


@kernel
def undo_if_opened(
    network: Network, position: Position, part: Part, time: float, s: Scratch
) -> bool:
    """Takes back the step just kept if a border path that was shut has opened within it.

    The cells on its other side are brought back to the same time, so that they are joined next.
    """
    opened = False
    rest = position.cell.shape[0] - 1
    for i in range(part.counts[APART]):
        r = part.apart[i]
        row = network.restriction[r]
        a, b = network.node_cell[row.a], network.node_cell[row.b]
        moment = min(position.cell[a, END], position.cell[b, END])
        if moment > time and passes(network, position, r, moment, s):
            opened = True
            position.join[r] = time
            cut(network, position, a + b - rest, time, 0.0)
    if opened:
        cut_rest(network, position, time, s)
        for i in range(part.counts[CELLS]):
            cut(network, position, part.cells[i], time, 0.0)
    return opened


@kernel
def undo_if_drawn(
    network: Network, position: Position, part: Part, time: float, s: Scratch
) -> bool:
    """Takes back the step just kept if in it a zone has drawn more or less air than the given rest
    of the ride can be told of; from there on the rest is computed.

    The rest goes back to the same time: what it was given further ahead knows nothing of that air.
    """
    rest = position.cell.shape[0] - 1
    if position.given[rest] < 0:
        return False
    for i in range(part.counts[CELLS]):
        c = part.cells[i]
        if (
            position.cell[c, END] > time
            and drawn_otherwise(network, position, c) > position.clock[MOST_DRAWN]
        ):
            compute(position, rest)
            cut_rest(network, position, time, s)
            for j in range(part.counts[CELLS]):
                cut(network, position, part.cells[j], time, 0.0)
            return True
    return False


@kernel
def cut_rest(network: Network, position: Position, time: float, s: Scratch) -> None:
    """Brings the rest of the ride back to a time, and with it every cell that is joined to it."""
    rest = position.cell.shape[0] - 1
    if position.given[rest] >= 0:
        return
    cut(network, position, rest, time, 0.0)
    for m in range(network.members[BORDERS, rest], network.members[BORDERS, rest + 1]):
        r = network.member[m]
        row = network.restriction[r]
        c = network.node_cell[row.a] + network.node_cell[row.b] - rest
        if position.cell[c, END] > time and passes(network, position, r, time, s):
            cut(network, position, c, time, 0.0)


@kernel
def touch(
    network: Network, position: Position, s: Scratch, touched: Flags, time: float, restart: float
) -> None:
    """Something outside has acted on some cells: they go on from this time with a short step.

    The rest of the ride may stay ahead of a zone as far as its reach.
    """
    cell = position.cell
    rest = cell.shape[0] - 1
    for c in range(rest + 1):
        if touched[c]:
            if position.given[c] >= 0 and cell[c, END] > time:
                compute(position, c)
            cell[c, TOUCHES] += 1.0
            cut(network, position, c, time, restart)
            if c == rest or cell[rest, END] > time + cell[c, ACT_REACH]:
                cut_rest(network, position, time, s)
            cell[c, REACH] = min(cell[c, REACH], cell[c, ACT_REACH])
            cell[c, ACTED] = 1.0
