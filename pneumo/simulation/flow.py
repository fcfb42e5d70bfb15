"""Flow laws: pure functions of numbers, each with its slopes for the Jacobian.

Both laws return the mass flow from a to b and the temperature of the air that is carried: that of
the side it comes from, without exception, since anything else carries heat upstream. Flow and
enthalpy flow are therefore C1 but where the flow turns: there both are zero, and their slopes are
those of either side's temperature.
"""

from __future__ import annotations

from math import log, sqrt

from pneumo.air import (
    GAS_CONSTANT,
    REFERENCE_DENSITY,
    REFERENCE_TEMPERATURE,
    SUTHERLAND,
    VISCOSITY_REFERENCE,
)
from pneumo.simulation.jit import inlined, kernel

LAMINAR = 0.005
"""Relative pressure difference below which an orifice flows linearly [-]."""

LN_10 = log(10.0)

SLACK = 1e-4
"""Relative pressure difference below which a line flows linearly at the latest [-]. In a short,
wide line the true laminar flow ends at a few pascals, below the tolerance of a step; a law as
steep as that at zero would be stepped over from one side to the other without end."""

SLACK_FRICTION = 0.03
"""Friction factor with which that straight part is chosen [-]: turbulent flow at Re about 1e4."""

CORNER = 0.05
"""Share of an opening's travel that is rounded at either end [-]."""


@inlined
def clip(u: float) -> tuple[float, float]:
    """An opening 0..1 that follows u with rounded corners, and its slope. C1.

    0 for u <= 0, 1 for u >= 1; a parabola over CORNER at either end, a straight line between.
    """
    if u <= 0.0:
        return 0.0, 0.0
    if u >= 1.0:
        return 1.0, 0.0
    straight = 1.0 / (1.0 - CORNER)
    if u < CORNER:
        return 0.5 * straight * u * u / CORNER, straight * u / CORNER
    if u > 1.0 - CORNER:
        w = 1.0 - u
        return 1.0 - 0.5 * straight * w * w / CORNER, straight * w / CORNER
    return straight * (u - 0.5 * CORNER), straight


@inlined
def orifice(
    c: float, b: float, pa: float, ta: float, pb: float, tb: float
) -> tuple[float, float, float, float, float]:
    """Mass flow through an ISO 6358 restriction and its slopes.

    m = C rho0 p1 sqrt(T0 / T1) phi,  phi = 1 when p2/p1 <= b, else
    phi = sqrt(1 - ((p2/p1 - b) / (1 - b))^2)   (ISO 6358-1, formula from memory; m = 0.5).
    Below a relative pressure difference of LAMINAR, phi is the parabola through zero that joins
    the law in value and slope. T1 is the temperature upstream, ta at equal pressures.

    Parameters
    ----------
    c : float
        Sonic conductance C [m3/(s Pa)].
    b : float
        Critical pressure ratio [-].
    pa, pb : float
        Pressures [Pa].
    ta, tb : float
        Temperatures [K].

    Returns
    -------
    flow, d/dpa, d/dpb, carried temperature, d/dt : float
        Flow from a to b [kg/s], its slopes with the pressures [kg/(s Pa)], the temperature
        upstream [K], which is carried, and the slope with it [kg/(s K)].
    """
    if pa >= pb:
        sign, p1, p2, t = 1.0, pa, pb, ta
    else:
        sign, p1, p2, t = -1.0, pb, pa, tb
    k = c * REFERENCE_DENSITY * sqrt(REFERENCE_TEMPERATURE / t)
    per_p1, steep = 1.0 / p1, 1.0 / (1.0 - b)
    s = (p1 - p2) * per_p1
    if s < LAMINAR:
        joint = 1.0
        joint_slope = 0.0
        if 1.0 - b > LAMINAR:
            q = (1.0 - LAMINAR - b) * steep
            joint = sqrt(1.0 - q * q)
            joint_slope = q * steep / joint
        alpha = joint * (2.0 / LAMINAR) - joint_slope
        beta = (joint_slope - joint * (1.0 / LAMINAR)) * (1.0 / LAMINAR)
        phi = s * (alpha + beta * s)
        slope = alpha + 2.0 * beta * s
    elif s >= 1.0 - b:
        phi = 1.0
        slope = 0.0
    else:
        q = (1.0 - s - b) * steep
        phi = sqrt(1.0 - q * q)
        slope = q * steep / phi
    flow = sign * k * p1 * phi
    up = k * (phi + slope * p2 * per_p1)
    down = -k * slope
    if pa >= pb:
        return flow, up, down, t, -0.5 * flow / t
    return flow, -down, -up, t, -0.5 * flow / t


@inlined
def viscosity(t: float) -> float:
    """Dynamic viscosity of air [Pa s], Sutherland's law."""
    ratio = t * (1.0 / 273.15)
    per_sum = 1.0 / (t + SUTHERLAND)
    return VISCOSITY_REFERENCE * (273.15 + SUTHERLAND) * ratio * sqrt(ratio) * per_sum


@inlined
def log_ratio(p1: float, p2: float) -> float:
    """ln(p1/p2) for p1 >= p2; 2 artanh x by its series where x = (p1 - p2)/(p1 + p2) is small."""
    x = (p1 - p2) / (p1 + p2)
    if x > 0.1:
        return log(p1 / p2)
    z = x * x
    series = 1 / 9 + z * (1 / 11 + z * (1 / 13))
    return 2.0 * x * (1.0 + z * (1 / 3 + z * (1 / 5 + z * (1 / 7 + z * series))))


@inlined
def friction(karman: float, rough: float, drag: float, near: float) -> tuple[float, float, float]:
    """K = Re sqrt(f) of a turbulent flow, 1/sqrt(f) there and its slope with K.

    Solves K^2 (1 + drag / f) = karman^2 with Colebrook's f(K), which is what K is when the air did
    not expand: drag = 2 ln(p1/p2) / (L/D). `rough` is e/(3.7 D). `near` is 1/sqrt(f) at a state
    nearby, 0 when none is known.

    By Newton's method, of which about a twentieth of a step's square is left: nothing after a step
    of less than 1e-5; after one of less than 3e-4, enough when a state nearby is known, 1e-8 of the
    flow at most.
    """
    root, enough = near, 3e-4
    if near == 0.0:
        root, enough = 7.0, 1e-5
    k = karman / sqrt(1.0 + drag * root * root)
    square = karman * karman
    for _ in range(20):
        per_k = 1.0 / k
        inside = rough + 2.51 * per_k
        root = -2.0 / LN_10 * log(inside)
        rise = 2.0 / LN_10 * 2.51 * per_k * per_k / inside
        share = drag * root
        wider = 1.0 + share * root
        step = (k * k * wider - square) / (2.0 * k * (wider + k * share * rise))
        k -= step
        if abs(step) < enough * k:
            break
    return k, root - step * rise, rise


@kernel
def choking(
    mach: float, k: float, rough: float, slender: float
) -> tuple[float, float, float, float]:
    """Pressure ratio at which a pipe chokes; there 1/sqrt(f), its slope with K, and K.

    Solves r^2 - 1 = f L/D + 2 ln r with r = mach / (K/sqrt(f)), mach = D p1 / (mu sqrt(R T)), from
    a first guess of K.
    """
    for _ in range(30):
        inside = rough + 2.51 / k
        root = -2.0 / LN_10 * log(inside)
        rise = 2.0 / LN_10 * 2.51 / (k * k * inside)
        r = mach / (k * root)
        over = r * r - 1.0 - 2.0 * log(r) - slender / (root * root)
        slope = -(2.0 * r - 2.0 / r) * r * (1.0 / k + rise / root) + 2.0 * slender * rise / root**3
        step = over / slope
        k -= step
        if abs(step) < 1e-5 * k:
            break
    root -= step * rise
    return mach / (k * root), root, rise, k


@inlined
def pipe(
    bore: float,
    length: float,
    roughness: float,
    segments: float,
    pa: float,
    ta: float,
    pb: float,
    tb: float,
    near: float,
) -> tuple[float, float, float, float, float, float]:
    """Mass flow through a length of pipe and its slopes; arguments and results as `orifice`, and
    1/sqrt(f) of its turbulent flow, which is asked for at a state nearby (`near`; 0: not known).

    Isothermal flow with friction, G = m / A:  G^2 (f L/D + 2 ln(p1/p2)) = (p1^2 - p2^2) / (R T)
    (any compressible-flow text), limited where it chokes (Ma = 1/sqrt(k)). The Darcy factor is
    Colebrook's at that flow, 1/sqrt(f) = -2 log10(e/(3.7 D) + 2.51/K): K is found by Newton's
    method, so that the lengths of a divided pipe give exactly the whole pipe. Laminar flow
    (f = 64/Re) is joined by G = (G_laminar^-8 + G_turbulent^-8)^(-1/8); it is taken no steeper than
    SLACK allows. That is a share of what the whole line loses, of which this is one of so many
    `segments`: a line cut finely is no gentler than the same line in one.
    """
    if pa >= pb:
        sign, p1, p2, t = 1.0, pa, pb, ta
    else:
        sign, p1, p2, t = -1.0, pb, pa, tb
    rt = GAS_CONSTANT * t
    per_rt, per_p1, per_length, per_bore = 1.0 / rt, 1.0 / p1, 1.0 / length, 1.0 / bore
    per_t = GAS_CONSTANT * per_rt
    area = 0.25 * 3.141592653589793 * bore * bore
    per_mu = 1.0 / viscosity(t)
    mu_rise = 1.5 - t * (1.0 / (t + SUTHERLAND))  # dln mu / dln t
    squares = (p1 - p2) * (p1 + p2)
    y = squares * per_rt
    laminar_slope = bore * bore * (1.0 / 64.0) * per_mu * per_length  # dG/dy of laminar flow
    steepest = sqrt(bore * rt * segments * per_length * (0.5 / (SLACK * SLACK_FRICTION))) * per_p1
    capped = laminar_slope > steepest
    laminar_slope = min(laminar_slope, steepest)
    g_laminar = laminar_slope * y
    l_up = laminar_slope * 2.0 * p1 * per_rt
    l_down = -laminar_slope * 2.0 * p2 * per_rt
    l_t = -g_laminar * (1.0 + mu_rise) * per_t
    if capped:
        l_up -= g_laminar * per_p1
        l_t = -0.5 * g_laminar * per_t
    karman = bore * per_mu * sqrt(y * bore * per_length)
    root = 0.0
    if karman < 40.0:  # Re below 25: the turbulent branch has no weight left
        flow, up, down, by_t = g_laminar, l_up, l_down, l_t
    else:
        rough = roughness * (1.0 / 3.7) * per_bore
        slender = length * per_bore
        per_p2 = 1.0 / p2
        spread = 2.0 * log_ratio(p1, p2)
        k, root, root_rise = friction(karman, rough, spread * bore * per_length, near)
        per_root = 1.0 / root
        resistance = slender * per_root * per_root  # f L / D
        per_drop = 1.0 / (resistance + spread)
        f_fall = -2.0 * k * root_rise * per_root  # dln f / dln K
        if y * rt * per_drop > p2 * p2:  # choked
            swift = 1.0 / sqrt(rt)
            mach = bore * p1 * per_mu * swift
            r, choked_root, root_rise, k = choking(mach, k, rough, slender)
            per_root = 1.0 / choked_root
            resistance = slender * per_root * per_root
            f_fall = -2.0 * k * root_rise * per_root
            g = p1 * swift / r
            wide = 2.0 * r * r - 2.0
            # dln r = lag * dln(p1 / (mu sqrt(R T)))
            lag = resistance * f_fall
            lag /= lag + (1.0 - 0.5 * f_fall) * wide
            g_up = g * (1.0 - lag) * per_p1
            g_down = 0.0
            g_t = g * per_t * (-0.5 * (1.0 - lag) + mu_rise * lag)
        else:
            g = sqrt(y * per_drop)
            # dln G = w (dln y / 2 - dln mu - dspread / (2 drop)) + dln mu
            w = (1.0 - 0.5 * f_fall) / (1.0 - 0.5 * f_fall * spread * per_drop)
            per_squares = 1.0 / squares
            g_up = g * w * (p1 * per_squares - per_drop * per_p1)
            g_down = g * w * (per_drop * per_p2 - p2 * per_squares)
            g_t = g * per_t * (-0.5 * w + mu_rise * (1.0 - w))
        portion = g / g_laminar
        small = portion * portion
        small *= small
        small *= small
        # G = g (1 + (g/gl)^8)^(-1/8): dG = mix^9 (dg + (g/gl)^9 dgl)
        lessened = 1.0 - small
        mix = 1.0 - 0.125 * small
        if small > 1e-9:
            lessened = 1.0 / (1.0 + small)
            mix = sqrt(sqrt(sqrt(lessened)))
        keep = mix * lessened
        share = portion * small
        flow = g * mix
        up = keep * (g_up + share * l_up)
        down = keep * (g_down + share * l_down)
        by_t = keep * (g_t + share * l_t)
    flow, by_t = sign * area * flow, sign * area * by_t
    up, down = area * up, area * down
    if pa >= pb:
        return flow, up, down, t, by_t, root
    return flow, -down, -up, t, by_t, root
