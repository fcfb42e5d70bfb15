"""Laws of air and of moving parts in plain numpy, each in its most direct form.

Nothing of `pneumo.simulation` is used. Arguments are arrays that broadcast together; units SI,
pressures absolute. Where pneumo's own laws round a corner that decides nothing at the accuracy of
this plant (1 %), these have the corner.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]

R, K = 287.05, 1.4
"""Air: gas constant [J/(kg K)] and ratio of specific heats [-], from memory."""

CV, CP = R / (K - 1.0), R * K / (K - 1.0)

RHO_ANR, T_ANR = 1.185, 293.15
"""Reference atmosphere of ISO 8778 [kg/m3, K], from memory."""

GENTLE = 0.005
"""Relative pressure difference below which a restriction's flow bends towards a line through
zero [-]."""

SLACK = 3e-4
"""Relative pressure difference of a line below which its flow is linear at the latest [-]."""

SOFT = 1e-4
"""Half the travel over which a contact takes hold [m]."""

CONTACT_DAMPING = 0.3
"""Damping ratio of a closed contact [-]."""


def opened(u: Array) -> tuple[Array, Array]:
    """Opening 0..1 of what is driven by u, and its slope: straight, but for the first and the last
    twentieth of the way, where a seat lifts and a port's edge is round."""
    edge = 0.05
    u = np.minimum(np.maximum(u, 0.0), 1.0)
    near = np.maximum(edge - u, 0.0)
    far = np.maximum(u - (1.0 - edge), 0.0)
    share = (u - 0.5 * edge + (near**2 - far**2) / (2.0 * edge)) / (1.0 - edge)
    return share, (1.0 - (near + far) / edge) / (1.0 - edge)


def nozzle(c: Array, b: Array, p1: Array, p2: Array, t: Array) -> tuple[Array, Array, Array]:
    """Flow of an ISO 6358 restriction from the higher pressure p1 to p2 [kg/s], t upstream, and its
    slopes with p1 and p2.

    m = C rho0 p1 sqrt(T0/T) phi, phi = sqrt(1 - ((p2/p1 - b)/(1 - b))^2) or 1 (ISO 6358-1, formula
    from memory).
    """
    drop = 1.0 - p2 / p1
    share = np.maximum((1.0 - np.maximum(drop, GENTLE) - b) / (1.0 - b), 0.0)
    phi = np.sqrt(1.0 - share**2)
    slope = share / (1.0 - b) / phi
    u = drop / GENTLE
    bent = u < 1.0
    end = phi - slope * GENTLE
    phi, slope = (
        np.where(bent, phi * u + end * u * (1.0 - u), phi),
        np.where(bent, (phi + end * (1.0 - 2.0 * u)) / GENTLE, slope),
    )
    k = c * RHO_ANR * np.sqrt(T_ANR / t)
    return k * p1 * phi, k * (phi + slope * p2 / p1), -k * slope


def line(
    bore: Array, length: Array, rough: Array, cuts: Array, p1: Array, p2: Array, t: Array
) -> Array:
    """Flow through a length of pipe from p1 to p2 <= p1 [kg/s]; `cuts`: equal lengths that its line
    is cut into, of which this is one.

    Isothermal flow with friction, G^2 (f L/D + 2 ln(p1/p2)) = (p1^2 - p2^2)/(R T), no further than
    to where it chokes, r^2 - 1 = f L/D + 2 ln r (any compressible-flow text); Colebrook's friction
    factor, explicit in Re sqrt(f), which is sought in two rounds.
    """
    mu = 1.716e-5 * (t / 273.15) ** 1.5 * (273.15 + 110.4) / (t + 110.4)
    slender, rt = length / bore, R * t
    wide, rough = bore / mu / np.sqrt(slender), rough / bore / 3.7
    end, resistance = p2, 0.02 * slender
    ratio = np.sqrt(1.0 + resistance)
    for _ in range(2):
        if (p1 > p2 * np.sqrt(1.0 + resistance)).any():  # elsewhere it is too far to choke
            for _ in range(3):
                ratio = np.sqrt(1.0 + resistance + 2.0 * np.log(ratio))
            end = np.maximum(p2, p1 / ratio)
        spread = 2.0 * np.log(p1 / end)
        squares = (p1 - end) * (p1 + end) / rt
        turbulent = wide * np.sqrt(squares / (1.0 + spread / resistance))  # Re sqrt(f)
        resistance = (
            slender
            * (2.0 / np.log(10.0) * np.log(rough + 2.51 / np.maximum(turbulent, 20.0))) ** -2
        )
    drive = (p1 - p2) * (p1 + p2) / rt
    steepest = np.sqrt(bore / (0.03 * length)) / np.sqrt(2.0 * SLACK * p1**2 / (rt * cuts))
    laminar = drive * np.minimum(bore**2 / (64.0 * mu * length), steepest)
    # G = (G_laminar^-8 + G_turbulent^-8)^(-1/8), written so that no flow at all is no division
    less = laminar**2 / np.maximum(squares, 1e-30) * (resistance + spread)
    less *= less
    return 0.25 * np.pi * bore**2 * laminar / np.sqrt(np.sqrt(np.sqrt(1.0 + less * less)))


def contact(depth: Array, stiffness: Array) -> tuple[Array, Array, Array]:
    """Force of a contact at a depth [N], its slope, and how far it is closed 0..1."""
    closed = np.minimum(np.maximum(0.5 + 0.5 / SOFT * depth, 0.0), 1.0)
    sunk = np.where(closed < 1.0, SOFT * closed**2, depth)
    return stiffness * sunk, stiffness * closed, closed


def stem_speed(aim: Array, z: Array, play: Array, lag: Array) -> tuple[Array, Array]:
    """Speed of a regulator's stem towards where it should be [1/s] and its slope with the aim: it
    stands still within its play."""
    away = aim - z
    beyond = np.maximum(np.abs(away) - play, 0.0)
    return np.sign(away) * beyond / lag, (beyond > 0.0) / lag
