"""Mechanics of a mover (a brake's ski, a cylinder's piston): pure functions of numbers."""

from __future__ import annotations

from math import sqrt

from pneumo.simulation.jit import inlined

BLEND = 1e-4
"""Half the travel over which a contact takes hold [m]: the force is C1, no step change."""

CREEP = 1e-3
"""Speed at which Coulomb friction reaches 71 % of its value [m/s]."""

CONTACT_DAMPING = 0.3
"""Damping ratio of a closed contact [-]."""

SEIZED_LAG = 1e-3
"""Time in which the speed of a seized mover dies away [s]."""


@inlined
def contact(depth: float, stiffness: float) -> tuple[float, float, float]:
    """Force of a contact at a depth, its slope, and how far it is closed (0..1).

    0 before the surfaces meet, stiffness * depth after, joined by a parabola over +-BLEND.
    """
    if depth <= -BLEND:
        return 0.0, 0.0, 0.0
    if depth >= BLEND:
        return stiffness * depth, stiffness, 1.0
    share = 0.5 * (depth + BLEND) / BLEND
    return stiffness * (depth + BLEND) ** 2 / (4.0 * BLEND), stiffness * share, share


@inlined
def motion(
    x: float,
    v: float,
    push: float,
    mass: float,
    spring_force: float,
    spring_rate: float,
    friction: float,
    damping: float,
    low: float,
    low_stiffness: float,
    high: float,
    high_stiffness: float,
) -> tuple[float, float, float]:
    """Acceleration of a mover and its slopes d/dx (at constant push) and d/dv.

    m a = push + F0 - k x - c v - Fc v/sqrt(v^2 + CREEP^2) + contact(low) - contact(high),
    each contact damped while closed (Newton's second law; smooth Coulomb friction).
    """
    depth = x - high
    f_high, k_high, closed_high = contact(depth, high_stiffness)
    f_low, k_low, closed_low = contact(low - x, low_stiffness)
    c_high = 2.0 * CONTACT_DAMPING * sqrt(high_stiffness * mass)
    c_low = 2.0 * CONTACT_DAMPING * sqrt(low_stiffness * mass)
    root = sqrt(v * v + CREEP * CREEP)
    force = (
        push
        + spring_force
        - spring_rate * x
        - damping * v
        - friction * v / root
        - f_high
        + f_low
        - (c_high * closed_high + c_low * closed_low) * v
    )
    by_x = -spring_rate - k_high - k_low
    if 0.0 < closed_high < 1.0:
        by_x -= c_high * v * 0.5 / BLEND
    if 0.0 < closed_low < 1.0:
        by_x += c_low * v * 0.5 / BLEND
    by_v = -damping - friction * CREEP * CREEP / root**3 - c_high * closed_high - c_low * closed_low
    return force / mass, by_x / mass, by_v / mass
