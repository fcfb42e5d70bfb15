"""Right-hand side and Jacobian: every primitive adds its share to the balances it touches.

States per dynamic node: air mass m [kg] and internal energy U [J]; p = (k - 1) U / V,
T = U / (m cv). Conservation is by construction: each flow is taken from one balance and given to
another, the surroundings included: they are balances in the ledger of each cell.

Everything here is done for one part of the network (see `Part`). States outside the part that its
paths depend on are expected in y; pressures and temperatures of boundary nodes in p and t.
"""

from __future__ import annotations

from typing import Any

from pneumo.air import CP, CV, HEAT_RATIO, REFERENCE_DENSITY
from pneumo.network.network import LAGS, MOVERS, NODES, SOURCES, STEMS, Network, bent, straight
from pneumo.simulation.flow import clip, orifice, pipe
from pneumo.simulation.jaw import motion, pull
from pneumo.simulation.jit import inlined, kernel
from pneumo.simulation.part import (
    CELLS,
    FOREIGN_NODES,
    LIVE,
    OUTER,
    Part,
    spool_position,
)

Array = Any

STEM_CORNER = 0.05
"""Rounding of the limits of a stem's travel [-]."""

PLAY_CORNER = 0.25
"""Rounding of the edge of a stem's play, as a share of the play [-]."""


_straight, _bent = inlined(straight), kernel(bent)


@inlined
def chamber_at(mover: Any, which: int, x: float) -> tuple[float, float, float]:
    """Area [m2], its slope [m] and swept volume [m3] of one bladder or piston of a row."""
    if which != 0:
        return _straight(mover.area_1, mover.slope_1, x)
    area, slope, swept = _straight(mover.area_0, mover.slope_0, x)
    if mover.knots > 0:
        more, steeper, further = _bent(mover.knots, mover.knot, mover.bend, x)
        return area + more, slope + steeper, swept + further
    return area, slope, swept


@inlined
def swept_at(mover: Any, which: int, x: float) -> tuple[float, float, float]:
    """What a chamber's node has gained since x = 0 [m3], its dV/dx [m2] and d2V/dx2 [m]."""
    area, slope, swept = chamber_at(mover, which, x)
    grows = mover.direction_0 * mover.count_0 if which == 0 else mover.direction_1 * mover.count_1
    return grows * swept, grows * area, grows * slope


@inlined
def node_state(node: Any, movers: Array, y: Array) -> tuple[float, float, float, float]:
    """Pressure [Pa], temperature [K], volume [m3] of a dynamic node and dV/dx [m2]."""
    volume = node.volume
    by_x = 0.0
    if node.mover >= 0:
        mover = movers[node.mover]
        swept, by_x, _ = swept_at(mover, node.chamber, y[mover.x])
        volume += swept
    mass = y[node.mass]
    energy = y[node.energy]
    return (HEAT_RATIO - 1.0) * energy / volume, energy / (mass * CV), volume, by_x


@inlined
def gas_state(
    network: Network, part: Part, y: Array, p: Array, t: Array, vol: Array, area: Array
) -> bool:
    """Fills pressure, temperature, volume and dV/dx of the part's nodes and of those outside at its
    paths; False if one is impossible."""
    nodes = network.node
    movers = network.mover
    member = network.member
    members = network.members
    count, cells, outside = part.count, part.cells, part.foreign_node
    for i in range(count[CELLS]):
        c = cells[i]
        for m in range(members[NODES, c], members[NODES, c + 1]):
            n = member[m]
            node = nodes[n]
            if y[node.mass] <= 0.0 or y[node.energy] <= 0.0:
                return False
            p[n], t[n], vol[n], area[n] = node_state(node, movers, y)
            if vol[n] <= 0.0:
                return False
    for i in range(count[FOREIGN_NODES]):
        n = outside[i]
        p[n], t[n], vol[n], area[n] = node_state(nodes[n], movers, y)
    return True


@inlined
def opening(
    row: Any, spools: Array, stems: Array, p: Array, y: Array, time: float
) -> tuple[float, float, float, float, float]:
    """Opening of a restriction and its slopes d/dp_hi, d/dp_lo, d/dz, d/dtime."""
    o_spool, d_time = 1.0, 0.0
    if row.spool >= 0:
        spool = spools[row.spool]
        reach = row.spool_open - row.spool_shut
        o_spool, slope = clip((spool_position(spool, time) - row.spool_shut) / reach)
        if time < spool.until:
            d_time = slope * spool.rate / reach
    if o_spool == 0.0 and d_time == 0.0:
        return row.open_min, 0.0, 0.0, 0.0, 0.0
    o_press, d_press = 1.0, 0.0
    if row.hi >= 0:
        drive = row.hi_gain * p[row.hi] - row.lo_gain * p[row.lo] - row.threshold
        o_press, d_press = clip(drive / row.band)
    o_stem, d_stem = 1.0, 0.0
    if row.stem >= 0:
        reach = row.stem_open - row.stem_shut
        o_stem, slope = clip((y[stems[row.stem].z] - row.stem_shut) / reach)
        d_stem = slope / reach
    span = row.open_max - row.open_min
    d_hi = 0.0
    d_lo = 0.0
    if row.hi >= 0:
        d_hi = span * o_spool * o_stem * d_press * row.hi_gain / row.band
        d_lo = -span * o_spool * o_stem * d_press * row.lo_gain / row.band
    return (
        row.open_min + span * o_spool * o_press * o_stem,
        d_hi,
        d_lo,
        span * o_spool * o_press * d_stem,
        span * o_press * o_stem * d_time,
    )


@inlined
def full_flow(
    row: Any, p: Array, t: Array, near: float
) -> tuple[float, float, float, float, float, float]:
    """Flow of a restriction as if fully open: see `flow.pipe` for `near` and what is returned."""
    pa, ta, pb, tb = p[row.a], t[row.a], p[row.b], t[row.b]
    if row.law == 0:
        flow, by_a, by_b, carry, by_t = orifice(row.conductance, row.critical, pa, ta, pb, tb)
        return flow, by_a, by_b, carry, by_t, 0.0
    return pipe(row.conductance, row.critical, row.roughness, row.segments, pa, ta, pb, tb, near)


@inlined
def stem_rate(
    target: float, z: float, play: float, response: float, low: float, high: float
) -> tuple[float, float, float]:
    """dz/dt of a regulator stem, and its slopes d/dtarget, d/dz.

    The stem seeks the target within its travel (rounded limits) and stands still inside the play:
    a backlash, which gives the regulator its hysteresis.
    """
    goal, slope = target, 1.0
    if target >= high + STEM_CORNER:
        goal, slope = high, 0.0
    elif target > high - STEM_CORNER:
        w = high + STEM_CORNER - target
        goal, slope = high - w * w / (4.0 * STEM_CORNER), w / (2.0 * STEM_CORNER)
    elif target <= low - STEM_CORNER:
        goal, slope = low, 0.0
    elif target < low + STEM_CORNER:
        w = target - low + STEM_CORNER
        goal, slope = low + w * w / (4.0 * STEM_CORNER), w / (2.0 * STEM_CORNER)
    error = goal - z
    if play <= 0.0:
        return error / response, slope / response, -1.0 / response
    corner = PLAY_CORNER * play
    beyond = abs(error) - play
    sign = 1.0 if error >= 0.0 else -1.0
    if beyond <= 0.0:
        return 0.0, 0.0, 0.0
    if beyond < corner:
        by_error = beyond / corner
        drive = 0.5 * beyond * beyond / corner
    else:
        by_error = 1.0
        drive = beyond - 0.5 * corner
    return sign * drive / response, by_error * slope / response, -by_error / response


@inlined
def source_flow(source: Any, p: Array) -> tuple[float, float]:
    """Mass flow of a compressor [kg/s] and its slope with the delivery pressure."""
    share = 1.0 - source.fall * (p[source.node] - source.rated_at)
    flow = source.on * REFERENCE_DENSITY * source.delivery
    if share <= 0.0:
        return 0.0, 0.0
    return flow * share, -flow * source.fall


@inlined
def push_of(mover: Any, x: float, p: Array, outside: float) -> tuple[float, float, float, float]:
    """Force of the air on a mover, and its slopes d/dx at constant pressure, d/dp0, d/dp1."""
    push = 0.0
    by_x = 0.0
    by_0 = 0.0
    by_1 = 0.0
    if mover.node_0 >= 0:
        area, slope, _ = chamber_at(mover, 0, x)
        by_0 = mover.direction_0 * area
        push += by_0 * (p[mover.node_0] - outside)
        by_x += mover.direction_0 * slope * (p[mover.node_0] - outside)
    if mover.node_1 >= 0:
        area, slope, _ = chamber_at(mover, 1, x)
        by_1 = mover.direction_1 * area
        push += by_1 * (p[mover.node_1] - outside)
        by_x += mover.direction_1 * slope * (p[mover.node_1] - outside)
    return push, by_x, by_0, by_1


@inlined
def pull_of(mover: Any, x: float, p: Array, outside: float) -> float:
    """`pull` of a row at the pressures of its chambers."""
    return pull(
        x,
        push_of(mover, x, p, outside)[0],
        mover.spring_force,
        mover.spring_rate,
        mover.low,
        mover.low_stiffness,
        mover.high,
        mover.high_stiffness,
    )


@inlined
def motion_of(
    mover: Any, way: float, x: float, v: float, push: float
) -> tuple[float, float, float]:
    """`motion` of a row that slides one way: acceleration, its slopes d/dx at constant push and
    d/dv."""
    return motion(
        x,
        v,
        push,
        mover.mass,
        mover.spring_force,
        mover.spring_rate,
        way * mover.friction,
        mover.damping,
        mover.low,
        mover.low_stiffness,
        mover.high,
        mover.high_stiffness,
    )


@inlined
def rates(
    network: Network,
    part: Part,
    y: Array,
    time: float,
    p: Array,
    t: Array,
    vol: Array,
    area: Array,
    near: Array,
    flow: Array,
    carry: Array,
    out: Array,
) -> bool:
    """dy/dt of the part's states, its ledgers included. False: the state is impossible.

    `near` is what `slopes` has found of each path's friction nearby, zero where nothing is known.
    """
    if not gas_state(network, part, y, p, t, vol, area):
        return False
    flows(network, part, y, time, p, t, near, flow, carry)
    balances(network, part, y, p, t, vol, area, flow, carry, out)
    return True


@inlined
def flows(
    network: Network,
    part: Part,
    y: Array,
    time: float,
    p: Array,
    t: Array,
    near: Array,
    flow: Array,
    carry: Array,
) -> None:
    """Fills flow [kg/s] and carried temperature [K] of the part's live paths at a gas state."""
    restrictions, spools, stems = network.restriction, network.spool, network.stem
    live, fixed = part.live, part.fixed
    for i in range(part.count[LIVE]):
        r = live[i]
        row = restrictions[r]
        o = fixed[r]
        if o < 0.0:
            o = opening(row, spools, stems, p, y, time)[0]
        flow[r] = 0.0
        if o != 0.0:
            full, _, _, carry[r], _, _ = full_flow(row, p, t, near[r])
            flow[r] = o * full


@inlined
def balances(
    network: Network,
    part: Part,
    y: Array,
    p: Array,
    t: Array,
    vol: Array,
    area: Array,
    flow_of: Array,
    carry: Array,
    out: Array,
) -> None:
    """dy/dt of the part's states, its ledgers included, at a gas state with known flows."""
    node = network.node
    restrictions = network.restriction
    stems = network.stem
    movers = network.mover
    sources = network.source
    lags = network.lag
    member = network.member
    members = network.members
    ledger = network.ledger
    node_cell = network.node_cell
    border = network.border
    inside = part.inside
    grip = part.grip
    count = part.count
    cells, live, first = part.cells, part.live, network.state
    dynamic, work_at, heat_at = network.dynamic, network.work, network.heat
    atmosphere = node[dynamic]
    for i in range(count[CELLS]):
        c = cells[i]
        for q in range(first[c], first[c + 1]):
            out[q] = 0.0
        for q in range(ledger[c], ledger[c + 1]):
            out[q] = 0.0
    for i in range(count[LIVE]):
        r = live[i]
        flow = flow_of[r]
        if flow == 0.0:
            continue
        row = restrictions[r]
        energy = CP * carry[r] * flow
        side_a, side_b = node_cell[row.a], node_cell[row.b]
        if side_a < 0:
            at = ledger[side_b]
            out[at + node[row.a].mass] -= row.weight_a * flow
            out[at + node[row.a].energy] -= row.weight_a * energy
        elif inside[side_a]:
            out[node[row.a].mass] -= row.weight_a * flow
            out[node[row.a].energy] -= row.weight_a * energy
        if side_b < 0:
            at = ledger[side_a]
            out[at + node[row.b].mass] += row.weight_b * flow
            out[at + node[row.b].energy] += row.weight_b * energy
        elif inside[side_b]:
            out[node[row.b].mass] += row.weight_b * flow
            out[node[row.b].energy] += row.weight_b * energy
        if side_a != side_b:
            if border[r, 0] >= 0 and inside[side_a]:
                out[border[r, 0]] = flow
                out[border[r, 0] + 1] = energy
            if border[r, 1] >= 0 and inside[side_b]:
                out[border[r, 1]] = flow
                out[border[r, 1] + 1] = energy
    for i in range(count[CELLS]):
        c = cells[i]
        at = ledger[c]
        for m in range(members[SOURCES, c], members[SOURCES, c + 1]):
            source = sources[member[m]]
            flow = source_flow(source, p)[0]
            energy = CP * source.temperature * flow
            out[node[source.node].mass] += flow
            out[node[source.node].energy] += energy
            out[at + atmosphere.mass] -= flow
            out[at + atmosphere.energy] -= energy
        for m in range(members[MOVERS, c], members[MOVERS, c + 1]):
            mover = movers[member[m]]
            way = grip[member[m]]
            if way == 0.0:
                continue  # held: neither travel nor speed changes
            x = y[mover.x]
            v = y[mover.v]
            push = push_of(mover, x, p, atmosphere.pressure)[0]
            out[mover.x] = v
            out[mover.v] = motion_of(mover, way, x, v, push)[0]
        for m in range(members[NODES, c], members[NODES, c + 1]):
            n = member[m]
            row = node[n]
            if row.mover >= 0:
                work = p[n] * area[n] * out[movers[row.mover].x]
                out[row.energy] -= work
                out[at + work_at] += row.count * work
            heat = row.heat * (row.wall - t[n])
            if row.isothermal == 1:
                received = CV * row.wall * out[row.mass]
                heat = received - out[row.energy]
                out[row.energy] = received
            else:
                out[row.energy] += heat
            out[at + heat_at] += row.count * heat
        for m in range(members[STEMS, c], members[STEMS, c + 1]):
            stem = stems[member[m]]
            target = (stem.setting - p[stem.node]) / stem.band
            out[stem.z] = stem_rate(
                target, y[stem.z], stem.play, stem.response, stem.low, stem.high
            )[0]
        for m in range(members[LAGS, c], members[LAGS, c + 1]):
            lag = lags[member[m]]
            out[lag.r] = (p[lag.node] - y[lag.r]) / lag.lag


@inlined
def slopes(
    network: Network,
    part: Part,
    y: Array,
    time: float,
    p: Array,
    t: Array,
    vol: Array,
    area: Array,
    jacobian: Array,
    flow_slope: Array,
    flowing: Array,
    by_time: Array,
    near: Array,
    flow: Array,
    carry_of: Array,
) -> None:
    """Analytic Jacobian of the part's main states, on the filled pattern, and df/dt of its states;
    fills what `flows` does and the friction of each path for states nearby.

    `flow_slope[r, 0, :]` and `[r, 1, :]` keep d flow and d enthalpy flow over the columns of
    restriction r where `flowing[r]`; elsewhere they are not filled: the ledgers need them (see
    `ledger_slope`). States outside the part change with time as `part.drift` says. Expects the gas
    state at the same y.
    """
    node = network.node
    restrictions = network.restriction
    spools = network.spool
    stems = network.stem
    movers = network.mover
    sources = network.source
    lags = network.lag
    slot_restriction = network.slot_restriction
    slot_node = network.slot_node
    slot_mover = network.slot_mover
    slot_stem = network.slot_stem
    slot_lag = network.slot_lag
    dynamic = network.dynamic
    member = network.member
    members = network.members
    ledger = network.ledger
    node_cell = network.node_cell
    state_cell = network.state_cell
    inside = part.inside
    grip = part.grip
    count = part.count
    cells, live, fixed, drift = part.cells, part.live, part.fixed, part.drift
    first, begin, columns = network.state, network.row, network.column_restriction
    border_at = network.border
    for i in range(count[CELLS]):
        c = cells[i]
        for e in range(begin[first[c]], begin[first[c + 1]]):
            jacobian[e] = 0.0
        for q in range(first[c], first[c + 1]):
            by_time[q] = 0.0
        for q in range(ledger[c], ledger[c + 1]):
            by_time[q] = 0.0
    for i in range(count[LIVE]):
        r = live[i]
        row = restrictions[r]
        flowing[r], flow[r], near[r] = False, 0.0, 0.0
        o, d_hi, d_lo, d_z, d_clock = fixed[r], 0.0, 0.0, 0.0, 0.0
        if o < 0.0:
            o, d_hi, d_lo, d_z, d_clock = opening(row, spools, stems, p, y, time)
        if o == 0.0 and d_clock == 0.0:
            continue
        flowing[r] = True
        width = 11 if row.hi >= 0 or row.stem >= 0 else 6  # entries of COLUMNS that can differ
        slope, heat_slope = flow_slope[r, 0], flow_slope[r, 1]
        for c in range(width):
            slope[c] = 0.0
            heat_slope[c] = 0.0
        a = row.a
        b = row.b
        full, f_pa, f_pb, carry, f_t, near[r] = full_flow(row, p, t, 0.0)
        flow[r], carry_of[r] = o * full, carry
        upstream = 0 if p[a] >= p[b] else 1  # the side whose temperature counts and is carried
        for side in range(2):
            n = a if side == 0 else b
            f_p = f_pa if side == 0 else f_pb
            if n >= dynamic:
                continue
            mass = y[node[n].mass]
            energy = y[node[n].energy]
            base = 3 * side
            slope[base + 1] = o * f_p * p[n] / energy
            slope[base + 2] = -o * f_p * p[n] * area[n] / vol[n]
            if side == upstream:
                t_m = -t[n] / mass
                t_u = t[n] / energy
                slope[base] = o * f_t * t_m
                slope[base + 1] += o * f_t * t_u
                heat_slope[base] = CP * o * full * t_m
                heat_slope[base + 1] = CP * o * full * t_u
        if row.hi >= 0:
            if row.hi < dynamic:
                slope[6] = full * d_hi * p[row.hi] / y[node[row.hi].energy]
                slope[7] = -full * d_hi * p[row.hi] * area[row.hi] / vol[row.hi]
            if row.lo < dynamic:
                slope[8] = full * d_lo * p[row.lo] / y[node[row.lo].energy]
                slope[9] = -full * d_lo * p[row.lo] * area[row.lo] / vol[row.lo]
        if row.stem >= 0:
            slope[10] = full * d_z
        for c in range(width):
            heat_slope[c] += CP * carry * slope[c]
        side_a, side_b = node_cell[a], node_cell[b]
        border = side_a != side_b and side_a >= 0 and side_b >= 0
        flow_clock, energy_clock = full * d_clock, CP * carry * full * d_clock
        if border:
            for c in range(width):
                q = columns[r, c]
                if q >= 0 and not inside[state_cell[q]]:
                    flow_clock += slope[c] * drift[q]
                    energy_clock += heat_slope[c] * drift[q]
        for which in range(4):
            n = a if which < 2 else b
            if n >= dynamic or not inside[node_cell[n]]:
                continue
            weight = -row.weight_a if which < 2 else row.weight_b
            kind = which % 2
            if kind == 1 and node[n].isothermal == 1:
                weight *= CV * node[n].wall
                kind = 0
            by = slope if kind == 0 else heat_slope
            slots = slot_restriction[r, which]
            for c in range(width):
                slot = slots[c]
                if slot >= 0 and (not border or inside[state_cell[columns[r, c]]]):
                    jacobian[slot] += weight * by[c]
        if d_clock == 0.0 and not border:
            continue
        for which in range(2):
            n = a if which == 0 else b
            weight = -row.weight_a if which == 0 else row.weight_b
            if n >= dynamic:
                at = ledger[side_b if which == 0 else side_a]
                by_time[at + node[n].mass] += weight * flow_clock
                by_time[at + node[n].energy] += weight * energy_clock
            elif inside[node_cell[n]]:
                by_time[node[n].mass] += weight * flow_clock
                if node[n].isothermal == 1:
                    by_time[node[n].energy] += weight * flow_clock * CV * node[n].wall
                else:
                    by_time[node[n].energy] += weight * energy_clock
                if border:
                    at = border_at[r, which]
                    by_time[at] += flow_clock
                    by_time[at + 1] += energy_clock
    for ci in range(count[CELLS]):
        c = cells[ci]
        for m in range(members[SOURCES, c], members[SOURCES, c + 1]):
            source = sources[member[m]]
            n = source.node
            slope = source_flow(source, p)[1]
            by_u = slope * p[n] / y[node[n].energy]
            heat = CP * source.temperature
            if node[n].isothermal == 1:
                heat = CV * node[n].wall
            jacobian[slot_node[n, 0, 1]] += by_u
            jacobian[slot_node[n, 1, 1]] += by_u * heat
        for m in range(members[NODES, c], members[NODES, c + 1]):
            i = member[m]
            row = node[i]
            if row.isothermal == 0:
                jacobian[slot_node[i, 1, 0]] += row.heat * t[i] / y[row.mass]
                jacobian[slot_node[i, 1, 1]] -= row.heat * t[i] / y[row.energy]
                if row.mover >= 0:
                    mover = movers[row.mover]
                    speed = y[mover.v]
                    bend = swept_at(mover, row.chamber, y[mover.x])[2]
                    by_x = (-area[i] * area[i] / vol[i] + bend) * p[i]
                    jacobian[slot_node[i, 1, 1]] -= p[i] / y[row.energy] * area[i] * speed
                    jacobian[slot_node[i, 1, 2]] -= by_x * speed
                    if grip[row.mover] != 0.0:
                        jacobian[slot_node[i, 1, 3]] -= p[i] * area[i]
        for m in range(members[MOVERS, c], members[MOVERS, c + 1]):
            j = member[m]
            mover = movers[j]
            if grip[j] == 0.0:
                continue
            x = y[mover.x]
            push, by_x, by_0, by_1 = push_of(mover, x, p, node[dynamic].pressure)
            _, a_x, a_v = motion_of(mover, grip[j], x, y[mover.v], push)
            share = 1.0 / mover.mass
            a_x += share * by_x
            slot = slot_mover[j]
            for chamber in range(2):
                n = mover.node_0 if chamber == 0 else mover.node_1
                by_p = by_0 if chamber == 0 else by_1
                if n >= 0 and n < dynamic:
                    jacobian[slot[1, 3 + 2 * chamber]] += share * by_p * p[n] / y[node[n].energy]
                    a_x -= share * by_p * p[n] * area[n] / vol[n]
            jacobian[slot[0, 1]] += 1.0
            jacobian[slot[1, 0]] += a_x
            jacobian[slot[1, 1]] += a_v
        for m in range(members[STEMS, c], members[STEMS, c + 1]):
            k = member[m]
            stem = stems[k]
            n = stem.node
            target = (stem.setting - p[n]) / stem.band
            _, by_target, by_z = stem_rate(
                target, y[stem.z], stem.play, stem.response, stem.low, stem.high
            )
            jacobian[slot_stem[k, 3]] += by_z
            if n < dynamic:
                by_p = -by_target / stem.band
                jacobian[slot_stem[k, 1]] += by_p * p[n] / y[node[n].energy]
                if slot_stem[k, 2] >= 0:
                    jacobian[slot_stem[k, 2]] -= by_p * p[n] * area[n] / vol[n]
        for m in range(members[LAGS, c], members[LAGS, c + 1]):
            k = member[m]
            lag = lags[k]
            n = lag.node
            jacobian[slot_lag[k, 3]] -= 1.0 / lag.lag
            if n < dynamic:
                jacobian[slot_lag[k, 1]] += p[n] / y[node[n].energy] / lag.lag
                if slot_lag[k, 2] >= 0:
                    jacobian[slot_lag[k, 2]] -= p[n] * area[n] / vol[n] / lag.lag


@inlined
def ledger_slope(
    network: Network,
    part: Part,
    y: Array,
    p: Array,
    t: Array,
    vol: Array,
    area: Array,
    flow_slope: Array,
    flowing: Array,
    step: Array,
    out: Array,
) -> None:
    """Jacobian of the part's ledgers times a step of its main states.

    A ledger appears in no other balance, so a stage solves the main system first and then
    evaluates these rows.
    """
    node = network.node
    restrictions = network.restriction
    movers = network.mover
    sources = network.source
    columns = network.column_restriction
    member = network.member
    members = network.members
    ledger = network.ledger
    node_cell = network.node_cell
    state_cell = network.state_cell
    dynamic = network.dynamic
    inside = part.inside
    count, cells, outer, border_at = part.count, part.cells, part.outer, network.border
    work_at, heat_at = network.work, network.heat
    for i in range(count[CELLS]):
        c = cells[i]
        for q in range(ledger[c], ledger[c + 1]):
            out[q] = 0.0
    for i in range(count[OUTER]):
        r = outer[i]
        if not flowing[r]:
            continue
        row = restrictions[r]
        side_a, side_b = node_cell[row.a], node_cell[row.b]
        border = side_a >= 0 and side_b >= 0
        flow = 0.0
        energy = 0.0
        for c in range(11 if row.hi >= 0 or row.stem >= 0 else 6):
            column = columns[r, c]
            if column >= 0 and (not border or inside[state_cell[column]]):
                flow += flow_slope[r, 0, c] * step[column]
                energy += flow_slope[r, 1, c] * step[column]
        if border:
            for side in range(2):
                if inside[side_a if side == 0 else side_b]:
                    out[border_at[r, side]] = flow
                    out[border_at[r, side] + 1] = energy
        elif side_a < 0:
            at = ledger[side_b]
            out[at + node[row.a].mass] -= row.weight_a * flow
            out[at + node[row.a].energy] -= row.weight_a * energy
        else:
            at = ledger[side_a]
            out[at + node[row.b].mass] += row.weight_b * flow
            out[at + node[row.b].energy] += row.weight_b * energy
    atmosphere = node[dynamic]
    for i in range(count[CELLS]):
        c = cells[i]
        at = ledger[c]
        for m in range(members[SOURCES, c], members[SOURCES, c + 1]):
            source = sources[member[m]]
            n = source.node
            flow = source_flow(source, p)[1] * p[n] / y[node[n].energy] * step[node[n].energy]
            out[at + atmosphere.mass] -= flow
            out[at + atmosphere.energy] -= CP * source.temperature * flow
        for m in range(members[NODES, c], members[NODES, c + 1]):
            n = member[m]
            row = node[n]
            dp = p[n] / y[row.energy] * step[row.energy]
            if row.mover >= 0 and part.grip[row.mover] != 0.0:
                mover = movers[row.mover]
                speed = y[mover.v]
                bend = swept_at(mover, row.chamber, y[mover.x])[2]
                dp -= p[n] * area[n] / vol[n] * step[mover.x]
                out[at + work_at] += row.count * (
                    dp * area[n] * speed
                    + p[n] * bend * step[mover.x] * speed
                    + p[n] * area[n] * step[mover.v]
                )
            if row.isothermal == 0:
                dt = t[n] * (step[row.energy] / y[row.energy] - step[row.mass] / y[row.mass])
                out[at + heat_at] -= row.count * row.heat * dt
