"""Laws: what a row says of its node, path, stem, lag or source, each with its slopes.

Rates, Jacobian, ledgers, watches and looks at the plant all take a law from here or from `jaw`. A
slope that a caller does not use costs nothing: these functions are compiled into it.

States per dynamic node: air mass m [kg] and internal energy U [J]; p = (k - 1) U / V,
T = U / (m cv).
"""

from __future__ import annotations

from typing import NamedTuple

from pneumo.air import CP, CV, HEAT_RATIO, REFERENCE_DENSITY
from pneumo.network.network import Flags, Floats, Row, Table
from pneumo.simulation.flow import clip, orifice, pipe
from pneumo.simulation.jaw import chamber_at
from pneumo.simulation.jit import inlined
from pneumo.simulation.part import spool_position

STEM_CORNER = 0.05
"""Rounding of the limits of a stem's travel [-]."""

DEAD_BAND_CORNER = 0.25
"""Rounding of the edge of a stem's dead band, as a share of it [-]."""


class Gas(NamedTuple):
    """The air in every node (nnode,)."""

    p: Floats  # pressure [Pa]
    t: Floats  # temperature [K]
    vol: Floats  # volume [m3]
    area: Floats  # its slope with the travel of the node's mover, dV/dx [m2]
    bend: Floats  # d2V/dx2 [m]


class Flows(NamedTuple):
    """What passes through every path; elsewhere than on the live ones the entries mean nothing."""

    flow: Floats  # (nrestriction,) [kg/s]
    carry: Floats  # (nrestriction,) temperature carried [K]
    near: Floats  # (nrestriction,) 1/sqrt(f) of a pipe at the start of the step; 0: not known
    flowing: Flags  # (nrestriction,) bool: whether `slope` is filled
    slope: Floats  # (nrestriction, 2, 12) of flow and enthalpy flow: with COLUMNS and with time


# nodes


@inlined
def gas_pressure(energy: float, volume: float) -> float:
    """(k - 1) U / V [Pa]. Both may be arrays in plain Python (`gas_pressure.function`)."""
    return (HEAT_RATIO - 1.0) * energy / volume


@inlined
def node_state(node: Row, movers: Table, y: Floats) -> tuple[float, float, float, float, float]:
    """Pressure [Pa], temperature [K], volume [m3] of a dynamic node, dV/dx [m2] and d2V/dx2 [m]."""
    volume, by_x, bend = node.volume, 0.0, 0.0
    if node.mover >= 0:
        mover = movers[node.mover]
        count, area, slope, swept = chamber_at(mover, node.chamber, y[mover.x])
        volume += count * swept
        by_x, bend = count * area, count * slope
    mass = y[node.mass]
    energy = y[node.energy]
    return gas_pressure(energy, volume), energy / (mass * CV), volume, by_x, bend


@inlined
def by_pressure(factor: float, node: Row, n: int, gas: Gas, y: Floats) -> tuple[float, float]:
    """Slopes with U and x of what changes with a node's pressure at the rate `factor`."""
    p = gas.p[n]
    return factor * p / y[node.energy], -factor * p * gas.area[n] / gas.vol[n]


@inlined
def wall_heat(node: Row, t: float, y: Floats) -> tuple[float, float, float]:
    """Heat from a node's wall to its air [W] and its slopes d/dm, d/dU."""
    lost = node.heat * t
    return node.heat * (node.wall - t), lost / y[node.mass], -lost / y[node.energy]


@inlined
def work_done(
    node: Row, n: int, gas: Gas, y: Floats, speed: float
) -> tuple[float, float, float, float]:
    """Power of a node's air on its mover [W] and its slopes d/dU, d/dx, d/dv."""
    p, area = gas.p[n], gas.area[n]
    by_x = (-area * area / gas.vol[n] + gas.bend[n]) * p
    return p * area * speed, p / y[node.energy] * area * speed, by_x * speed, p * area


# paths


@inlined
def opening(
    row: Row, spools: Table, stems: Table, p: Floats, y: Floats, time: float
) -> tuple[float, float, float, float, float]:
    """Opening of a restriction and its slopes d/dp_hi, d/dp_lo, d/dz, d/dtime."""
    o_spool, d_time = 1.0, 0.0
    if row.spool >= 0:
        spool = spools[row.spool]
        reach = row.spool_open - row.spool_closed
        o_spool, slope = clip((spool_position(spool, time) - row.spool_closed) / reach)
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
        reach = row.stem_open - row.stem_closed
        o_stem, slope = clip((y[stems[row.stem].z] - row.stem_closed) / reach)
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
def opened(
    row: Row, fixed: float, spools: Table, stems: Table, p: Floats, y: Floats, time: float
) -> tuple[float, float, float, float, float]:
    """The same of a path that may have an opening `fixed` for the step, see `Part`."""
    if fixed >= 0.0:
        return fixed, 0.0, 0.0, 0.0, 0.0
    return opening(row, spools, stems, p, y, time)


@inlined
def full_flow(
    row: Row, p: Floats, t: Floats, near: float
) -> tuple[float, float, float, float, float, float]:
    """Flow of a restriction as if fully open: see `flow.pipe` for `near` and what is returned."""
    pa, ta, pb, tb = p[row.a], t[row.a], p[row.b], t[row.b]
    if row.law == 0:
        flow, by_a, by_b, carry, by_t = orifice(row.conductance, row.critical, pa, ta, pb, tb)
        return flow, by_a, by_b, carry, by_t, 0.0
    return pipe(row.conductance, row.critical, row.roughness, row.segments, pa, ta, pb, tb, near)


# stems, lags, sources


@inlined
def stem_target(stem: Row, pressure: float) -> float:
    """Position that a regulator's stem seeks, but for the limits of its travel [-]."""
    return (stem.setting - pressure) / stem.band


@inlined
def stem_rate(stem: Row, pressure: float, z: float) -> tuple[float, float, float]:
    """dz/dt of a regulator's stem, and its slopes d/dp, d/dz.

    The stem seeks the target within its travel (rounded limits) and stands still inside the dead
    band: a backlash, which gives the regulator its hysteresis.
    """
    low, high, dead_band, response = stem.low, stem.high, stem.dead_band, stem.response
    target = stem_target(stem, pressure)
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
    if dead_band <= 0.0:
        return error / response, -(slope / response) / stem.band, -1.0 / response
    corner = DEAD_BAND_CORNER * dead_band
    beyond = abs(error) - dead_band
    sign = 1.0 if error >= 0.0 else -1.0
    if beyond <= 0.0:
        return 0.0, 0.0, 0.0
    if beyond < corner:
        by_error = beyond / corner
        drive = 0.5 * beyond * beyond / corner
    else:
        by_error = 1.0
        drive = beyond - 0.5 * corner
    by_target = by_error * slope / response
    return sign * drive / response, -by_target / stem.band, -by_error / response


@inlined
def lag_rate(lag: Row, pressure: float, reading: float) -> float:
    """dr/dt of a reading; linear, so that it makes slopes of it from slopes of both."""
    return (pressure - reading) / lag.lag


@inlined
def source_flow(source: Row, p: Floats) -> tuple[float, float]:
    """Mass flow of a compressor [kg/s] and its slope with the delivery pressure."""
    share = 1.0 - source.fall * (p[source.node] - source.rated_at)
    flow = source.on * REFERENCE_DENSITY * source.delivery
    if share <= 0.0:
        return 0.0, 0.0
    return flow * share, -flow * source.fall


@inlined
def source_heat(source: Row) -> float:
    """Enthalpy of the air that a compressor delivers [J/kg]."""
    return CP * source.temperature
