"""Right-hand side: every primitive adds its share to the balances it touches.

Conservation is by construction: each flow is taken from one balance and given to another, the
surroundings included: they are balances in the ledger of each partition.

Everything here is done for one part of the network (see `Part`). States outside the part that its
paths depend on are expected in y; pressures and temperatures of boundary nodes in the gas.
"""

from __future__ import annotations

from pneumo.air import CP, CV
from pneumo.network.network import LAGS, MOVERS, NODES, SOURCES, STEMS, Floats, Network
from pneumo.simulation.jaw import motion, push_of
from pneumo.simulation.jit import inlined
from pneumo.simulation.laws import (
    Flows,
    Gas,
    full_flow,
    lag_rate,
    node_state,
    opened,
    source_flow,
    source_heat,
    stem_rate,
    wall_heat,
    work_done,
)
from pneumo.simulation.part import FOREIGN_NODES, LIVE, PARTITIONS, Part


@inlined
def gas_state(network: Network, part: Part, y: Floats, gas: Gas) -> bool:
    """Fills the gas of the part's nodes and of those outside at its paths; False if it is
    impossible."""
    nodes, movers = network.node, network.mover
    member, members = network.member, network.members
    partitions, outside = part.partitions, part.foreign_node
    p, t, vol, area, bend = gas.p, gas.t, gas.vol, gas.area, gas.bend
    for i in range(part.counts[PARTITIONS]):
        c = partitions[i]
        for m in range(members[NODES, c], members[NODES, c + 1]):
            n = member[m]
            node = nodes[n]
            if y[node.mass] <= 0.0 or y[node.energy] <= 0.0:
                return False
            p[n], t[n], vol[n], area[n], bend[n] = node_state(node, movers, y)
            if vol[n] <= 0.0:
                return False
    for i in range(part.counts[FOREIGN_NODES]):
        n = outside[i]
        p[n], t[n], vol[n], area[n], bend[n] = node_state(nodes[n], movers, y)
    return True


@inlined
def rates(
    network: Network, part: Part, y: Floats, time: float, gas: Gas, flows: Flows, out: Floats
) -> bool:
    """dy/dt of the part's states, its ledgers included. False: the state is impossible.

    `flows.near` is what `slopes` has found of each path's friction nearby, zero where nothing is
    known.
    """
    if not gas_state(network, part, y, gas):
        return False
    find_flows(network, part, y, time, gas, flows)
    balances(network, part, y, gas, flows, out)
    return True


@inlined
def find_flows(
    network: Network, part: Part, y: Floats, time: float, gas: Gas, flows: Flows
) -> None:
    """Fills flow and carried temperature of the part's live paths at a gas state."""
    restrictions, spools, stems = network.restriction, network.spool, network.stem
    live, fixed, p, t = part.live, part.fixed, gas.p, gas.t
    flow, carry, near = flows.flow, flows.carry, flows.near
    for i in range(part.counts[LIVE]):
        r = live[i]
        row = restrictions[r]
        o = opened(row, fixed[r], spools, stems, p, y, time)[0]
        flow[r] = 0.0
        if o != 0.0:
            full, _, _, carry[r], _, _ = full_flow(row, p, t, near[r])
            flow[r] = o * full


@inlined
def balances(network: Network, part: Part, y: Floats, gas: Gas, flows: Flows, out: Floats) -> None:
    """dy/dt of the part's states, its ledgers included, at a gas state with known flows."""
    clear(part, out)
    add_flows(network, part, flows, out)
    add_sources(network, part, gas, out)
    add_motion(network, part, y, gas, out)
    add_nodes(network, part, y, gas, out)
    add_followers(network, part, y, gas, out)


@inlined
def clear(part: Part, out: Floats) -> None:
    """Sets the part's entries of an array like the state to zero."""
    first, ledger = part.first, part.ledger
    for i in range(part.counts[PARTITIONS]):
        c = part.partitions[i]
        for q in range(first[c], first[c + 1]):
            out[q] = 0.0
        for q in range(ledger[c], ledger[c + 1]):
            out[q] = 0.0


@inlined
def add_flows(network: Network, part: Part, flows: Flows, out: Floats) -> None:
    """Takes each flow from one node and gives it to the other."""
    live, flow_of, carry = part.live, flows.flow, flows.carry
    for i in range(part.counts[LIVE]):
        r = live[i]
        flow = flow_of[r]
        if flow != 0.0:
            pass_on(network, part, r, flow, CP * carry[r] * flow, out)


@inlined
def pass_on(network: Network, part: Part, r: int, flow: float, energy: float, out: Floats) -> None:
    """Books what passes through a path at both its ends: a node of the part, a boundary node in
    the ledger of the other end's partition, and each side's ledger of a border path."""
    row, dynamic = network.restriction[r], network.dynamic
    for side in range(2):
        n, other = (row.a, row.b) if side == 0 else (row.b, row.a)
        weight = -row.weight_a if side == 0 else row.weight_b
        node = network.node[n]
        if n >= dynamic:
            at = network.ledger[network.node_partition[other]]
            out[at + node.mass] += weight * flow
            out[at + node.energy] += weight * energy
        elif part.inside[network.node_partition[n]]:
            out[node.mass] += weight * flow
            out[node.energy] += weight * energy
            at = network.border[r, side]
            if at >= 0:
                out[at] = flow
                out[at + 1] = energy


@inlined
def add_sources(network: Network, part: Part, gas: Gas, out: Floats) -> None:
    """What compressors deliver, from the atmosphere."""
    nodes, sources, ledger, p = network.node, network.source, network.ledger, gas.p
    member, members = network.member, network.members
    atmosphere = nodes[network.dynamic]
    for i in range(part.counts[PARTITIONS]):
        c = part.partitions[i]
        at = ledger[c]
        for m in range(members[SOURCES, c], members[SOURCES, c + 1]):
            source = sources[member[m]]
            flow = source_flow(source, p)[0]
            energy = source_heat(source) * flow
            out[nodes[source.node].mass] += flow
            out[nodes[source.node].energy] += energy
            out[at + atmosphere.mass] -= flow
            out[at + atmosphere.energy] -= energy


@inlined
def add_motion(network: Network, part: Part, y: Floats, gas: Gas, out: Floats) -> None:
    """Travel and speed of the movers that friction does not hold."""
    movers, member, members = network.mover, network.member, network.members
    grip, partitions, p = part.grip, part.partitions, gas.p
    outside = network.node[network.dynamic].pressure
    for i in range(part.counts[PARTITIONS]):
        c = partitions[i]
        for m in range(members[MOVERS, c], members[MOVERS, c + 1]):
            mover = movers[member[m]]
            way = grip[member[m]]
            if way != 0.0:
                x, v = y[mover.x], y[mover.v]
                push = push_of(mover, x, p, outside)[0]
                out[mover.x] = v
                out[mover.v] = motion(mover, way, x, v, push)[0]


@inlined
def add_nodes(network: Network, part: Part, y: Floats, gas: Gas, out: Floats) -> None:
    """Work on the movers and heat from the walls; expects what passes in and out."""
    nodes, movers, ledger = network.node, network.mover, network.ledger
    member, members, partitions, t = network.member, network.members, part.partitions, gas.t
    work_at, heat_at = network.work, network.heat
    for i in range(part.counts[PARTITIONS]):
        c = partitions[i]
        at = ledger[c]
        for m in range(members[NODES, c], members[NODES, c + 1]):
            n = member[m]
            node = nodes[n]
            if node.mover >= 0:
                work = work_done(node, n, gas, y, out[movers[node.mover].x])[0]
                out[node.energy] -= work
                out[at + work_at] += node.count * work
            heat = wall_heat(node, t[n], y)[0]
            if node.isothermal == 1:
                received = CV * node.wall * out[node.mass]
                heat = received - out[node.energy]
                out[node.energy] = received
            else:
                out[node.energy] += heat
            out[at + heat_at] += node.count * heat


@inlined
def add_followers(network: Network, part: Part, y: Floats, gas: Gas, out: Floats) -> None:
    """Stems and readings, which follow a pressure."""
    stems, lags, p, partitions = network.stem, network.lag, gas.p, part.partitions
    member, members = network.member, network.members
    for i in range(part.counts[PARTITIONS]):
        c = partitions[i]
        for m in range(members[STEMS, c], members[STEMS, c + 1]):
            stem = stems[member[m]]
            out[stem.z] = stem_rate(stem, p[stem.node], y[stem.z])[0]
        for m in range(members[LAGS, c], members[LAGS, c + 1]):
            lag = lags[member[m]]
            out[lag.r] = lag_rate(lag, p[lag.node], y[lag.r])
