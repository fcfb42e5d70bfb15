"""Right-hand side and Jacobian: every primitive adds its share to the balances it touches.

States per dynamic node: air mass m [kg] and internal energy U [J]; p = (k - 1) U / V,
T = U / (m cv). Conservation is by construction: each flow is taken from one balance and given to
another, the surroundings included, whose balances follow the main states.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from pneumo.air import CP, CV, HEAT_RATIO, REFERENCE_DENSITY
from pneumo.network.network import Network
from pneumo.simulation.flow import carried, clip, orifice, pipe
from pneumo.simulation.jaw import SEIZED_LAG, motion
from pneumo.simulation.jit import inlined, kernel

Array = Any

STEM_CORNER = 0.05
"""Rounding of the limits of a stem's travel [-]."""

PLAY_CORNER = 0.25
"""Rounding of the edge of a stem's play, as a share of the play [-]."""


@inlined
def node_state(node: Any, movers: Array, y: Array) -> tuple[float, float, float, float]:
    """Pressure [Pa], temperature [K], volume [m3] of a dynamic node and dV/dx [m2]."""
    volume = node.volume
    by_x = 0.0
    if node.mover >= 0:
        mover = movers[node.mover]
        x = y[mover.x]
        if node.chamber == 0:
            by_x = mover.direction_0 * mover.count_0 * (mover.area_0 + mover.slope_0 * x)
            volume += (
                mover.direction_0 * mover.count_0 * x * (mover.area_0 + 0.5 * mover.slope_0 * x)
            )
        else:
            by_x = mover.direction_1 * mover.count_1 * (mover.area_1 + mover.slope_1 * x)
            volume += (
                mover.direction_1 * mover.count_1 * x * (mover.area_1 + 0.5 * mover.slope_1 * x)
            )
    mass = y[node.mass]
    energy = y[node.energy]
    return (HEAT_RATIO - 1.0) * energy / volume, energy / (mass * CV), volume, by_x


@kernel
def gas_state(network: Network, y: Array, p: Array, t: Array, vol: Array, area: Array) -> bool:
    """Fills pressure, temperature, volume and dV/dx of every node; False if one is impossible."""
    nodes = network.node
    movers = network.mover
    for i in range(network.dynamic):
        node = nodes[i]
        if y[node.mass] <= 0.0 or y[node.energy] <= 0.0:
            return False
        p[i], t[i], vol[i], area[i] = node_state(node, movers, y)
        if vol[i] <= 0.0:
            return False
    for i in range(network.dynamic, nodes.shape[0]):
        p[i], t[i], vol[i], area[i] = nodes[i].pressure, nodes[i].temperature, 1.0, 0.0
    return True


@inlined
def spool_position(spool: Any, time: float) -> float:
    """Position of a spool at a time: it moves at a constant rate until its movement ends."""
    return spool.position + spool.rate * (min(time, spool.until) - spool.since)


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
def full_flow(row: Any, p: Array, t: Array) -> tuple[float, float, float, float, float]:
    """Flow of a restriction as if fully open: see `flow.orifice` for what is returned."""
    if row.law == 0:
        return orifice(row.conductance, row.critical, p[row.a], t[row.a], p[row.b], t[row.b])
    return pipe(
        row.conductance, row.critical, row.roughness, p[row.a], t[row.a], p[row.b], t[row.b]
    )


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
        by_0 = mover.direction_0 * (mover.area_0 + mover.slope_0 * x)
        push += by_0 * (p[mover.node_0] - outside)
        by_x += mover.direction_0 * mover.slope_0 * (p[mover.node_0] - outside)
    if mover.node_1 >= 0:
        by_1 = mover.direction_1 * (mover.area_1 + mover.slope_1 * x)
        push += by_1 * (p[mover.node_1] - outside)
        by_x += mover.direction_1 * mover.slope_1 * (p[mover.node_1] - outside)
    return push, by_x, by_0, by_1


@kernel
def live_paths(network: Network, time: float, live: Array, fixed: Array) -> int:
    """Numbers of the restrictions that may pass air until the next event; returns how many.

    A path whose spool rests where it is shut passes none, whatever the pressures do. `fixed` gets
    the opening of each live path that no pressure and no moving spool can change, -1 for others.
    """
    spools = network.spool
    count = 0
    for r in range(network.restriction.shape[0]):
        row = network.restriction[r]
        if row.open_max == 0.0 and row.open_min == 0.0:
            continue
        at, moving = 1.0, False
        if row.spool >= 0:
            spool = spools[row.spool]
            moving = spool.rate != 0.0 and time < spool.until
            at = (spool_position(spool, time) - row.spool_shut) / (row.spool_open - row.spool_shut)
            if at <= 0.0 and not moving and row.open_min == 0.0:
                continue
        fixed[r] = -1.0
        if row.hi < 0 and row.stem < 0 and not moving:
            fixed[r] = row.open_min + (row.open_max - row.open_min) * clip(at)[0]
        live[count] = r
        count += 1
    return count


@kernel
def rates(
    network: Network, y: Array, time: float, p: Array, t: Array, vol: Array, area: Array, out: Array
) -> bool:
    """dy/dt of every state, the boundary's balances included. False: the state is impossible."""
    live = np.arange(network.restriction.shape[0])
    fixed = np.full(live.shape[0], -1.0)
    return live_rates(network, live, live.shape[0], fixed, y, time, p, t, vol, area, out)


@kernel
def live_rates(
    network: Network,
    live: Array,
    count: int,
    fixed: Array,
    y: Array,
    time: float,
    p: Array,
    t: Array,
    vol: Array,
    area: Array,
    out: Array,
) -> bool:
    """`rates` through the first `count` of the paths in `live` only, see `live_paths`."""
    if not gas_state(network, y, p, t, vol, area):
        return False
    out[:] = 0.0
    node = network.node
    restrictions = network.restriction
    spools = network.spool
    stems = network.stem
    movers = network.mover
    sources = network.source
    lags = network.lag
    for i in range(count):
        row = restrictions[live[i]]
        o = fixed[live[i]]
        if o < 0.0:
            o = opening(row, spools, stems, p, y, time)[0]
        if o == 0.0:
            continue
        full, _, _, carry, _ = full_flow(row, p, t)
        flow = o * full
        energy = CP * carry * flow
        out[node[row.a].mass] -= row.weight_a * flow
        out[node[row.a].energy] -= row.weight_a * energy
        out[node[row.b].mass] += row.weight_b * flow
        out[node[row.b].energy] += row.weight_b * energy
    atmosphere = node[network.dynamic]
    for s in range(sources.shape[0]):
        source = sources[s]
        flow = source_flow(source, p)[0]
        energy = CP * source.temperature * flow
        out[node[source.node].mass] += flow
        out[node[source.node].energy] += energy
        out[atmosphere.mass] -= flow
        out[atmosphere.energy] -= energy
    for j in range(movers.shape[0]):
        mover = movers[j]
        x = y[mover.x]
        v = y[mover.v]
        push = push_of(mover, x, p, atmosphere.pressure)[0]
        acceleration = motion(
            x,
            v,
            push,
            mover.mass,
            mover.spring_force,
            mover.spring_rate,
            mover.friction,
            mover.damping,
            mover.low,
            mover.low_stiffness,
            mover.high,
            mover.high_stiffness,
        )[0]
        out[mover.x] = mover.mobility * v
        out[mover.v] = mover.mobility * acceleration - (1.0 - mover.mobility) * v / SEIZED_LAG
    for i in range(network.dynamic):
        row = node[i]
        if row.mover >= 0:
            work = p[i] * area[i] * out[movers[row.mover].x]
            out[row.energy] -= work
            out[network.work] += row.count * work
        heat = row.heat * (row.wall - t[i])
        if row.isothermal == 1:
            received = CV * row.wall * out[row.mass]
            heat = received - out[row.energy]
            out[row.energy] = received
        else:
            out[row.energy] += heat
        out[network.heat] += row.count * heat
    for k in range(stems.shape[0]):
        stem = stems[k]
        target = (stem.setting - p[stem.node]) / stem.band
        out[stem.z] = stem_rate(target, y[stem.z], stem.play, stem.response, stem.low, stem.high)[0]
    for k in range(lags.shape[0]):
        lag = lags[k]
        out[lag.r] = (p[lag.node] - y[lag.r]) / lag.lag
    return True


@kernel
def slopes(
    network: Network,
    live: Array,
    count: int,
    fixed: Array,
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
) -> None:
    """Analytic Jacobian of the main states, on the filled pattern, and df/dt of every state.

    `flow_slope[r, 0, :]` and `[r, 1, :]` keep d flow and d enthalpy flow over the columns of
    restriction r where `flowing[r]`; elsewhere they are not filled: the boundary's balances need
    them (see `boundary_slope`). `live`, `count`, `fixed`: see `live_paths`. Expects the gas state
    of `rates` at the same y.
    """
    jacobian[:] = 0.0
    by_time[:] = 0.0
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
    d_t = np.zeros(6)
    flowing[:] = False
    for i in range(count):
        r = live[i]
        row = restrictions[r]
        o, d_hi, d_lo, d_z, d_clock = fixed[r], 0.0, 0.0, 0.0, 0.0
        if o < 0.0:
            o, d_hi, d_lo, d_z, d_clock = opening(row, spools, stems, p, y, time)
        if o == 0.0 and d_clock == 0.0:
            continue
        flowing[r] = True
        flow_slope[r, 0, :] = 0.0
        flow_slope[r, 1, :] = 0.0
        width = 11 if row.hi >= 0 or row.stem >= 0 else 6  # entries of COLUMNS that can differ
        a = row.a
        b = row.b
        full, f_pa, f_pb, carry, f_t = full_flow(row, p, t)
        _, c_pa, c_ta, c_pb, c_tb = carried(p[a], t[a], p[b], t[b])
        # total slopes of the full flow, through the carried temperature too
        f_pa += f_t * c_pa
        f_pb += f_t * c_pb
        f_ta = f_t * c_ta
        f_tb = f_t * c_tb
        for side in range(2):
            n = a if side == 0 else b
            f_p = f_pa if side == 0 else f_pb
            f_tt = f_ta if side == 0 else f_tb
            c_p = c_pa if side == 0 else c_pb
            c_t = c_ta if side == 0 else c_tb
            if n >= dynamic:
                for c in range(3):
                    d_t[3 * side + c] = 0.0
                continue
            mass = y[node[n].mass]
            energy = y[node[n].energy]
            p_u = p[n] / energy
            p_x = -p[n] * area[n] / vol[n]
            t_m = -t[n] / mass
            t_u = t[n] / energy
            base = 3 * side
            flow_slope[r, 0, base] = o * f_tt * t_m
            flow_slope[r, 0, base + 1] = o * (f_p * p_u + f_tt * t_u)
            flow_slope[r, 0, base + 2] = o * f_p * p_x
            d_t[base] = c_t * t_m
            d_t[base + 1] = c_p * p_u + c_t * t_u
            d_t[base + 2] = c_p * p_x
        if row.hi >= 0:
            if row.hi < dynamic:
                flow_slope[r, 0, 6] = full * d_hi * p[row.hi] / y[node[row.hi].energy]
                flow_slope[r, 0, 7] = -full * d_hi * p[row.hi] * area[row.hi] / vol[row.hi]
            if row.lo < dynamic:
                flow_slope[r, 0, 8] = full * d_lo * p[row.lo] / y[node[row.lo].energy]
                flow_slope[r, 0, 9] = -full * d_lo * p[row.lo] * area[row.lo] / vol[row.lo]
        flow_slope[r, 0, 10] = full * d_z
        for c in range(width):
            extra = o * full * d_t[c] if c < 6 else 0.0
            flow_slope[r, 1, c] = CP * (carry * flow_slope[r, 0, c] + extra)
        for which in range(4):
            n = a if which < 2 else b
            weight = -row.weight_a if which < 2 else row.weight_b
            isothermal = n < dynamic and node[n].isothermal == 1
            kind = which % 2
            if kind == 1 and isothermal:
                weight *= CV * node[n].wall
                kind = 0
            for c in range(width):
                slot = slot_restriction[r, which, c]
                if slot >= 0:
                    jacobian[slot] += weight * flow_slope[r, kind, c]
        if d_clock != 0.0:
            flow = full * d_clock
            for which in range(2):
                n = a if which == 0 else b
                weight = -row.weight_a if which == 0 else row.weight_b
                by_time[node[n].mass] += weight * flow
                if n < dynamic and node[n].isothermal == 1:
                    by_time[node[n].energy] += weight * flow * CV * node[n].wall
                else:
                    by_time[node[n].energy] += weight * flow * CP * carry
    for s in range(sources.shape[0]):
        source = sources[s]
        n = source.node
        slope = source_flow(source, p)[1]
        by_u = slope * p[n] / y[node[n].energy]
        heat = CP * source.temperature
        if node[n].isothermal == 1:
            heat = CV * node[n].wall
        jacobian[slot_node[n, 0, 1]] += by_u
        jacobian[slot_node[n, 1, 1]] += by_u * heat
    for i in range(dynamic):
        row = node[i]
        if row.isothermal == 0:
            jacobian[slot_node[i, 1, 0]] += row.heat * t[i] / y[row.mass]
            jacobian[slot_node[i, 1, 1]] -= row.heat * t[i] / y[row.energy]
            if row.mover >= 0:
                mover = movers[row.mover]
                x = y[mover.x]
                speed = mover.mobility * y[mover.v]
                if row.chamber == 0:
                    bend = mover.direction_0 * mover.count_0 * mover.slope_0
                else:
                    bend = mover.direction_1 * mover.count_1 * mover.slope_1
                by_x = (-area[i] * area[i] / vol[i] + bend) * p[i]
                jacobian[slot_node[i, 1, 1]] -= p[i] / y[row.energy] * area[i] * speed
                jacobian[slot_node[i, 1, 2]] -= by_x * speed
                jacobian[slot_node[i, 1, 3]] -= p[i] * area[i] * mover.mobility
    for j in range(movers.shape[0]):
        mover = movers[j]
        x = y[mover.x]
        push, by_x, by_0, by_1 = push_of(mover, x, p, node[dynamic].pressure)
        _, a_x, a_v = motion(
            x,
            y[mover.v],
            push,
            mover.mass,
            mover.spring_force,
            mover.spring_rate,
            mover.friction,
            mover.damping,
            mover.low,
            mover.low_stiffness,
            mover.high,
            mover.high_stiffness,
        )
        share = mover.mobility / mover.mass
        a_x = mover.mobility * a_x + share * by_x
        slot = slot_mover[j]
        for chamber in range(2):
            n = mover.node_0 if chamber == 0 else mover.node_1
            by_p = by_0 if chamber == 0 else by_1
            if n >= 0 and n < dynamic:
                jacobian[slot[1, 3 + 2 * chamber]] += share * by_p * p[n] / y[node[n].energy]
                a_x -= share * by_p * p[n] * area[n] / vol[n]
        jacobian[slot[0, 1]] += mover.mobility
        jacobian[slot[1, 0]] += a_x
        jacobian[slot[1, 1]] += mover.mobility * a_v - (1.0 - mover.mobility) / SEIZED_LAG
    for k in range(stems.shape[0]):
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
    for k in range(lags.shape[0]):
        lag = lags[k]
        n = lag.node
        jacobian[slot_lag[k, 3]] -= 1.0 / lag.lag
        if n < dynamic:
            jacobian[slot_lag[k, 1]] += p[n] / y[node[n].energy] / lag.lag
            if slot_lag[k, 2] >= 0:
                jacobian[slot_lag[k, 2]] -= p[n] * area[n] / vol[n] / lag.lag


@kernel
def boundary_slope(
    network: Network,
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
    """Jacobian of the boundary's balances times a step of the main states.

    Fills out[main:]; the boundary's own states appear in no other balance, so a stage solves the
    main system first and then evaluates these rows.
    """
    node = network.node
    restrictions = network.restriction
    movers = network.mover
    sources = network.source
    columns = network.column_restriction
    dynamic = network.dynamic
    for q in range(network.main, out.shape[0]):
        out[q] = 0.0
    for r in range(restrictions.shape[0]):
        row = restrictions[r]
        if not flowing[r] or (row.a < dynamic and row.b < dynamic):
            continue
        flow = 0.0
        energy = 0.0
        for c in range(11):
            column = columns[r, c]
            if column >= 0:
                flow += flow_slope[r, 0, c] * step[column]
                energy += flow_slope[r, 1, c] * step[column]
        if row.a >= dynamic:
            out[node[row.a].mass] -= row.weight_a * flow
            out[node[row.a].energy] -= row.weight_a * energy
        if row.b >= dynamic:
            out[node[row.b].mass] += row.weight_b * flow
            out[node[row.b].energy] += row.weight_b * energy
    atmosphere = node[network.dynamic]
    for s in range(sources.shape[0]):
        source = sources[s]
        n = source.node
        flow = source_flow(source, p)[1] * p[n] / y[node[n].energy] * step[node[n].energy]
        out[atmosphere.mass] -= flow
        out[atmosphere.energy] -= CP * source.temperature * flow
    for i in range(dynamic):
        row = node[i]
        dp = p[i] / y[row.energy] * step[row.energy]
        if row.mover >= 0:
            mover = movers[row.mover]
            speed = mover.mobility * y[mover.v]
            if row.chamber == 0:
                bend = mover.direction_0 * mover.count_0 * mover.slope_0
            else:
                bend = mover.direction_1 * mover.count_1 * mover.slope_1
            dp -= p[i] * area[i] / vol[i] * step[mover.x]
            out[network.work] += row.count * (
                dp * area[i] * speed
                + p[i] * bend * step[mover.x] * speed
                + p[i] * area[i] * mover.mobility * step[mover.v]
            )
        if row.isothermal == 0:
            dt = t[i] * (step[row.energy] / y[row.energy] - step[row.mass] / y[row.mass])
            out[network.heat] -= row.count * row.heat * dt
