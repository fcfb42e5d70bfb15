"""Jacobian and time slope of the balances, law by law, and of the ledgers along a step."""

from __future__ import annotations

from pneumo.air import CP, CV
from pneumo.network.network import (
    LAGS,
    MOVERS,
    NODES,
    SOURCES,
    STEMS,
    Floats,
    Network,
    Row,
)
from pneumo.simulation.balance import clear, pass_on
from pneumo.simulation.jaw import motion, push_of
from pneumo.simulation.jit import inlined
from pneumo.simulation.laws import (
    Flows,
    Gas,
    by_pressure,
    full_flow,
    lag_rate,
    opened,
    source_flow,
    source_heat,
    stem_rate,
    wall_heat,
    work_done,
)
from pneumo.simulation.part import LIVE, OUTER, PARTITIONS, Part

BY_TIME = 11
"""Place of the slope with time in `Flows.slope`, after COLUMNS."""


@inlined
def slopes(
    network: Network, part: Part, y: Floats, time: float, gas: Gas, flows: Flows,
    jacobian: Floats, by_time: Floats,
) -> None:  # fmt: skip
    """Analytic Jacobian of the part's main states, on the filled pattern, and df/dt of its states,
    ledgers included; fills all of `flows`.

    States outside the part change with time as `part.drift` says. Expects the gas at the same y.
    """
    first, begin = part.first, network.row
    for i in range(part.counts[PARTITIONS]):
        c = part.partitions[i]
        for e in range(begin[first[c]], begin[first[c + 1]]):
            jacobian[e] = 0.0
    clear(part, by_time)
    flow_slopes(network, part, y, time, gas, flows)
    enter_flows(network, part, flows, jacobian)
    enter_time(network, part, flows, by_time)
    enter_sources(network, part, y, gas, jacobian)
    enter_nodes(network, part, y, gas, jacobian)
    enter_motion(network, part, y, gas, jacobian)
    enter_followers(network, part, y, gas, jacobian)


@inlined
def width_of(row: Row) -> int:
    """How many of COLUMNS, from the first on, a path's flow may depend on."""
    return 11 if row.hi >= 0 or row.stem >= 0 else 6


@inlined
def flow_slopes(
    network: Network, part: Part, y: Floats, time: float, gas: Gas, flows: Flows
) -> None:
    """Fills what passes through the part's live paths, and its slopes."""
    nodes, restrictions, dynamic = network.node, network.restriction, network.dynamic
    spools, stems, live, fixed = network.spool, network.stem, part.live, part.fixed
    p, t = gas.p, gas.t
    for i in range(part.counts[LIVE]):
        r = live[i]
        row = restrictions[r]
        flows.flow[r], flows.near[r] = 0.0, 0.0
        o, d_hi, d_lo, d_z, d_time = opened(row, fixed[r], spools, stems, p, y, time)
        flows.flowing[r] = o != 0.0 or d_time != 0.0
        if not flows.flowing[r]:
            continue
        full, f_pa, f_pb, carry, f_t, flows.near[r] = full_flow(row, p, t, 0.0)
        flows.flow[r], flows.carry[r] = o * full, carry
        slope, heat_slope = flows.slope[r, 0], flows.slope[r, 1]
        width = width_of(row)
        for c in range(width):
            slope[c] = heat_slope[c] = 0.0
        upstream = 0 if p[row.a] >= p[row.b] else 1  # its temperature counts and is carried
        for side in range(2):
            n, f_p = (row.a, f_pa) if side == 0 else (row.b, f_pb)
            if n < dynamic:
                base = 3 * side
                slope[base + 1], slope[base + 2] = by_pressure(o * f_p, nodes[n], n, gas, y)
                if side == upstream:
                    t_m, t_u = -t[n] / y[nodes[n].mass], t[n] / y[nodes[n].energy]
                    slope[base] = o * f_t * t_m
                    slope[base + 1] += o * f_t * t_u
                    heat_slope[base] = CP * o * full * t_m
                    heat_slope[base + 1] = CP * o * full * t_u
        if row.hi >= 0:
            for side in range(2):
                n, d_p = (row.hi, d_hi) if side == 0 else (row.lo, d_lo)
                if n < dynamic:
                    base = 6 + 2 * side
                    slope[base], slope[base + 1] = by_pressure(full * d_p, nodes[n], n, gas, y)
        if row.stem >= 0:
            slope[10] = full * d_z
        for c in range(width):
            heat_slope[c] += CP * carry * slope[c]
        slope[BY_TIME], heat_slope[BY_TIME] = full * d_time, CP * carry * full * d_time


@inlined
def enter_flows(network: Network, part: Part, flows: Flows, jacobian: Floats) -> None:
    """Enters the slopes of the flows at both ends of each path, but for columns of other parts."""
    nodes, restrictions, dynamic = network.node, network.restriction, network.dynamic
    node_partition, state_partition, inside = (
        network.node_partition,
        network.state_partition,
        part.inside,
    )
    places, columns, live = network.slot_restriction, network.column_restriction, part.live
    slopes, flowing = flows.slope, flows.flowing
    for i in range(part.counts[LIVE]):
        r = live[i]
        if not flowing[r]:
            continue
        row = restrictions[r]
        width = width_of(row)
        border = is_border(network, row)
        for which in range(4):
            n = row.a if which < 2 else row.b
            if n >= dynamic or not inside[node_partition[n]]:
                continue
            weight = -row.weight_a if which < 2 else row.weight_b
            kind = which % 2
            if kind == 1 and nodes[n].isothermal == 1:
                weight *= CV * nodes[n].wall
                kind = 0
            slope = slopes[r, kind]
            slots = places[r, which]
            for c in range(width):
                slot = slots[c]
                if slot >= 0 and (not border or inside[state_partition[columns[r, c]]]):
                    jacobian[slot] += weight * slope[c]


@inlined
def is_border(network: Network, row: Row) -> bool:
    """Whether a path leads from one partition to another."""
    side_a, side_b = network.node_partition[row.a], network.node_partition[row.b]
    return side_a != side_b and side_a >= 0 and side_b >= 0


@inlined
def enter_time(network: Network, part: Part, flows: Flows, by_time: Floats) -> None:
    """Slopes with time of the flows: spools that move, and states of other parts at border
    paths."""
    nodes, restrictions, live = network.node, network.restriction, part.live
    columns, state_partition = network.column_restriction, network.state_partition
    inside, drift, member, members = part.inside, part.drift, network.member, network.members
    for i in range(part.counts[LIVE]):
        r = live[i]
        if not flows.flowing[r]:
            continue
        row = restrictions[r]
        slope, heat_slope = flows.slope[r, 0], flows.slope[r, 1]
        flow, energy = slope[BY_TIME], heat_slope[BY_TIME]
        border = is_border(network, row)
        if border:
            for c in range(width_of(row)):
                q = columns[r, c]
                if q >= 0 and not inside[state_partition[q]]:
                    flow += slope[c] * drift[q]
                    energy += heat_slope[c] * drift[q]
        if border or flow != 0.0:
            pass_on(network, part, r, flow, energy, by_time)
    for i in range(part.counts[PARTITIONS]):
        c = part.partitions[i]
        for m in range(members[NODES, c], members[NODES, c + 1]):
            node = nodes[member[m]]
            if node.isothermal == 1:
                by_time[node.energy] = CV * node.wall * by_time[node.mass]


@inlined
def enter_sources(network: Network, part: Part, y: Floats, gas: Gas, jacobian: Floats) -> None:
    """Slopes of what compressors deliver."""
    nodes, sources, slots, partitions = (
        network.node,
        network.source,
        network.slot_node,
        part.partitions,
    )
    member, members = network.member, network.members
    for i in range(part.counts[PARTITIONS]):
        c = partitions[i]
        for m in range(members[SOURCES, c], members[SOURCES, c + 1]):
            source = sources[member[m]]
            n = source.node
            by_u, _ = by_pressure(source_flow(source, gas.p)[1], nodes[n], n, gas, y)
            heat = CV * nodes[n].wall if nodes[n].isothermal == 1 else source_heat(source)
            jacobian[slots[n, 0, 1]] += by_u
            jacobian[slots[n, 1, 1]] += by_u * heat


@inlined
def enter_nodes(network: Network, part: Part, y: Floats, gas: Gas, jacobian: Floats) -> None:
    """Slopes of work and heat."""
    nodes, movers, slots, grip = network.node, network.mover, network.slot_node, part.grip
    member, members, partitions = network.member, network.members, part.partitions
    for i in range(part.counts[PARTITIONS]):
        c = partitions[i]
        for m in range(members[NODES, c], members[NODES, c + 1]):
            n = member[m]
            node = nodes[n]
            if node.isothermal == 1:
                continue
            _, by_m, by_u = wall_heat(node, gas.t[n], y)
            jacobian[slots[n, 1, 0]] += by_m
            jacobian[slots[n, 1, 1]] += by_u
            if node.mover >= 0:
                _, by_u, by_x, by_v = work_done(node, n, gas, y, y[movers[node.mover].v])
                jacobian[slots[n, 1, 1]] -= by_u
                jacobian[slots[n, 1, 2]] -= by_x
                if grip[node.mover] != 0.0:
                    jacobian[slots[n, 1, 3]] -= by_v


@inlined
def enter_motion(network: Network, part: Part, y: Floats, gas: Gas, jacobian: Floats) -> None:
    """Slopes of travel and speed of the movers that friction does not hold."""
    nodes, movers, slots, dynamic = network.node, network.mover, network.slot_mover, network.dynamic
    member, members, partitions, grip = network.member, network.members, part.partitions, part.grip
    outside = nodes[dynamic].pressure
    for i in range(part.counts[PARTITIONS]):
        c = partitions[i]
        for m in range(members[MOVERS, c], members[MOVERS, c + 1]):
            j = member[m]
            mover = movers[j]
            if grip[j] == 0.0:
                continue
            x = y[mover.x]
            push, by_x, by_0, by_1 = push_of(mover, x, gas.p, outside)
            _, a_x, a_v = motion(mover, grip[j], x, y[mover.v], push)
            share = 1.0 / mover.mass
            a_x += share * by_x
            slot = slots[j]
            for chamber in range(2):
                n, by_p = (mover.node_0, by_0) if chamber == 0 else (mover.node_1, by_1)
                if n >= 0 and n < dynamic:
                    a_u, more = by_pressure(share * by_p, nodes[n], n, gas, y)
                    jacobian[slot[1, 3 + 2 * chamber]] += a_u
                    a_x += more
            jacobian[slot[0, 1]] += 1.0
            jacobian[slot[1, 0]] += a_x
            jacobian[slot[1, 1]] += a_v


@inlined
def enter_followers(network: Network, part: Part, y: Floats, gas: Gas, jacobian: Floats) -> None:
    """Slopes of stems and readings."""
    nodes, stems, lags, dynamic = network.node, network.stem, network.lag, network.dynamic
    slot_stem, slot_lag, p = network.slot_stem, network.slot_lag, gas.p
    member, members, partitions = network.member, network.members, part.partitions
    for i in range(part.counts[PARTITIONS]):
        c = partitions[i]
        for m in range(members[STEMS, c], members[STEMS, c + 1]):
            k = member[m]
            n = stems[k].node
            _, by_p, by_z = stem_rate(stems[k], p[n], y[stems[k].z])
            jacobian[slot_stem[k, 3]] += by_z
            if n < dynamic:
                by_u, by_x = by_pressure(by_p, nodes[n], n, gas, y)
                jacobian[slot_stem[k, 1]] += by_u
                if slot_stem[k, 2] >= 0:
                    jacobian[slot_stem[k, 2]] += by_x
        for m in range(members[LAGS, c], members[LAGS, c + 1]):
            k = member[m]
            lag = lags[k]
            n = lag.node
            jacobian[slot_lag[k, 3]] += lag_rate(lag, 0.0, 1.0)
            if n < dynamic:
                by_u, by_x = by_pressure(1.0, nodes[n], n, gas, y)
                jacobian[slot_lag[k, 1]] += lag_rate(lag, by_u, 0.0)
                if slot_lag[k, 2] >= 0:
                    jacobian[slot_lag[k, 2]] += lag_rate(lag, by_x, 0.0)


@inlined
def ledger_slope(
    network: Network, part: Part, y: Floats, gas: Gas, flows: Flows, step: Floats, out: Floats
) -> None:
    """Jacobian of the part's ledgers times a step of its main states; other entries of `out` mean
    nothing.

    A ledger appears in no other balance, so a stage solves the main system first and then
    evaluates these rows.
    """
    nodes, movers, restrictions = network.node, network.mover, network.restriction
    sources, outer = network.source, part.outer
    columns, state_partition, inside = (
        network.column_restriction,
        network.state_partition,
        part.inside,
    )
    member, members, ledger = network.member, network.members, network.ledger
    work_at, heat_at = network.work, network.heat
    clear(part, out)
    for i in range(part.counts[OUTER]):
        r = outer[i]
        if not flows.flowing[r]:
            continue
        row = restrictions[r]
        border = is_border(network, row)
        flow, energy = 0.0, 0.0
        for c in range(width_of(row)):
            q = columns[r, c]
            if q >= 0 and (not border or inside[state_partition[q]]):
                flow += flows.slope[r, 0, c] * step[q]
                energy += flows.slope[r, 1, c] * step[q]
        pass_on(network, part, r, flow, energy, out)
    atmosphere = nodes[network.dynamic]
    for i in range(part.counts[PARTITIONS]):
        c = part.partitions[i]
        at = ledger[c]
        for m in range(members[SOURCES, c], members[SOURCES, c + 1]):
            source = sources[member[m]]
            n = source.node
            by_u, _ = by_pressure(source_flow(source, gas.p)[1], nodes[n], n, gas, y)
            flow = by_u * step[nodes[n].energy]
            out[at + atmosphere.mass] -= flow
            out[at + atmosphere.energy] -= source_heat(source) * flow
        for m in range(members[NODES, c], members[NODES, c + 1]):
            n = member[m]
            node = nodes[n]
            if node.mover >= 0 and part.grip[node.mover] != 0.0:
                mover = movers[node.mover]
                _, by_u, by_x, by_v = work_done(node, n, gas, y, y[mover.v])
                work = by_u * step[node.energy] + by_x * step[mover.x] + by_v * step[mover.v]
                out[at + work_at] += node.count * work
            if node.isothermal == 0:
                _, by_m, by_u = wall_heat(node, gas.t[n], y)
                heat = by_m * step[node.mass] + by_u * step[node.energy]
                out[at + heat_at] += node.count * heat
