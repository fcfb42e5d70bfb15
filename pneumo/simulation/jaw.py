"""Mechanics of a mover (a brake's ski, a cylinder's piston), each law from its row.

Dry friction is not among the smooth laws here: whether a mover holds or slides, and which way, is
decided at the start of each step (`pneumo.simulation.grip`), and stays so until the moment at which
it stops or breaks away.
"""

from __future__ import annotations

from math import sqrt

from pneumo.network.network import Floats, Row, chamber
from pneumo.simulation.jit import inlined, kernel

BLEND = 1e-4
"""Half the travel over which a contact takes hold [m]: the force is C1, no step change."""

CONTACT_DAMPING = 0.3
"""Damping ratio of a closed contact [-]."""

chamber_at = kernel(chamber)


@inlined
def contact(depth: float, stiffness: float) -> tuple[float, float, float]:
    """Force of a contact at a depth, its slope, and how far it is closed (0..1).

    0 before the surfaces meet, stiffness * depth after, joined by a parabola over +-BLEND. Both may
    be arrays in plain Python (`contact.function`).
    """
    closed = depth >= BLEND
    meeting = (depth > -BLEND) * (depth < BLEND)
    share = 0.5 * (depth + BLEND) / BLEND
    force = stiffness * (depth + BLEND) ** 2 / (4.0 * BLEND)
    return (
        meeting * force + closed * (stiffness * depth),
        meeting * (stiffness * share) + closed * stiffness,
        meeting * share + closed,
    )


@inlined
def air_on(
    mover: Row, which: int, x: float, p: Floats, outside: float
) -> tuple[float, float, float]:
    """Force of one chamber's air on a mover [N], its slopes d/dx at constant pressure, d/dp."""
    n = mover.node_0 if which == 0 else mover.node_1
    if n < 0:
        return 0.0, 0.0, 0.0
    _, area, slope, _ = chamber_at(mover, which, x)
    return area * (p[n] - outside), slope * (p[n] - outside), area


@inlined
def push_of(mover: Row, x: float, p: Floats, outside: float) -> tuple[float, float, float, float]:
    """Force of the air on a mover [N], and its slopes d/dx at constant pressure, d/dp0, d/dp1."""
    push_0, by_x_0, by_0 = air_on(mover, 0, x, p, outside)
    push_1, by_x_1, by_1 = air_on(mover, 1, x, p, outside)
    return push_0 + push_1, by_x_0 + by_x_1, by_0, by_1


@inlined
def force_on(
    mover: Row, x: float, v: float, drag: float, push: float
) -> tuple[float, float, float]:
    """Force on a mover [N] and its slopes d/dx (at constant push) and d/dv.

    push + F0 - k x - c v - drag + contact(low) - contact(high), each contact damped while closed.
    `drag` is the sliding friction, positive towards smaller x (Coulomb's law: the same at any
    speed). At rest and without drag it is what friction has to hold.
    """
    f_high, k_high, closed_high = contact(x - mover.high, mover.high_stiffness)
    f_low, k_low, closed_low = contact(mover.low - x, mover.low_stiffness)
    c_high = 2.0 * CONTACT_DAMPING * sqrt(mover.high_stiffness * mover.mass)
    c_low = 2.0 * CONTACT_DAMPING * sqrt(mover.low_stiffness * mover.mass)
    force = (
        push
        + mover.spring_force
        - mover.spring_rate * x
        - mover.damping * v
        - drag
        - f_high
        + f_low
        - (c_high * closed_high + c_low * closed_low) * v
    )
    by_x = -mover.spring_rate - k_high - k_low
    if 0.0 < closed_high < 1.0:
        by_x -= c_high * v * 0.5 / BLEND
    if 0.0 < closed_low < 1.0:
        by_x += c_low * v * 0.5 / BLEND
    return force, by_x, -mover.damping - c_high * closed_high - c_low * closed_low


@inlined
def motion(mover: Row, way: float, x: float, v: float, push: float) -> tuple[float, float, float]:
    """Acceleration of a mover that slides one way and its slopes d/dx (at constant push) and d/dv:
    Newton's second law."""
    force, by_x, by_v = force_on(mover, x, v, way * mover.friction, push)
    return force / mover.mass, by_x / mover.mass, by_v / mover.mass


@inlined
def load_of(mover: Row, x: float, p: Floats, outside: float) -> float:
    """Force that friction has to hold on a mover at rest at the pressures of its chambers [N]."""
    return force_on(mover, x, 0.0, 0.0, push_of(mover, x, p, outside)[0])[0]
