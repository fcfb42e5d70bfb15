"""Mechanics of a mover (a brake's ski, a cylinder's piston): pure functions of numbers.

Dry friction is not among the smooth laws here: whether a mover holds or slides, and which way, is
decided at the start of each step (`pneumo.simulation.grip`), and stays so until the moment at which
it stops or breaks away.
"""

from __future__ import annotations

from math import sqrt

from pneumo.simulation.jit import inlined

BLEND = 1e-4
"""Half the travel over which a contact takes hold [m]: the force is C1, no step change."""

CONTACT_DAMPING = 0.3
"""Damping ratio of a closed contact [-]."""


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
def pull(
    x: float,
    push: float,
    spring_force: float,
    spring_rate: float,
    low: float,
    low_stiffness: float,
    high: float,
    high_stiffness: float,
) -> float:
    """Force on a mover at rest that friction has to hold [N]: air, springs and contacts."""
    f_high = contact(x - high, high_stiffness)[0]
    f_low = contact(low - x, low_stiffness)[0]
    return push + spring_force - spring_rate * x - f_high + f_low


@inlined
def motion(
    x: float,
    v: float,
    push: float,
    mass: float,
    spring_force: float,
    spring_rate: float,
    drag: float,
    damping: float,
    low: float,
    low_stiffness: float,
    high: float,
    high_stiffness: float,
) -> tuple[float, float, float]:
    """Acceleration of a mover that slides and its slopes d/dx (at constant push) and d/dv.

    m a = push + F0 - k x - c v - drag + contact(low) - contact(high), each contact damped while
    closed (Newton's second law). `drag` is the sliding friction, positive towards smaller x
    (Coulomb's law: the same at any speed).
    """
    depth = x - high
    f_high, k_high, closed_high = contact(depth, high_stiffness)
    f_low, k_low, closed_low = contact(low - x, low_stiffness)
    c_high = 2.0 * CONTACT_DAMPING * sqrt(high_stiffness * mass)
    c_low = 2.0 * CONTACT_DAMPING * sqrt(low_stiffness * mass)
    force = (
        push
        + spring_force
        - spring_rate * x
        - damping * v
        - drag
        - f_high
        + f_low
        - (c_high * closed_high + c_low * closed_low) * v
    )
    by_x = -spring_rate - k_high - k_low
    if 0.0 < closed_high < 1.0:
        by_x -= c_high * v * 0.5 / BLEND
    if 0.0 < closed_low < 1.0:
        by_x += c_low * v * 0.5 / BLEND
    by_v = -damping - c_high * closed_high - c_low * closed_low
    return force / mass, by_x / mass, by_v / mass
