"""Ticks of a time axis and of a value axis, at round numbers."""

from __future__ import annotations

import math

TIME_STEPS = (
    0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30,
    60, 120, 300, 600, 900, 1800, 3600, 7200, 18000, 36000,
)  # fmt: skip
"""[s]"""


def time_step(span: float, most: int) -> float:
    """The shortest round step [s] that gives no more than `most` steps in `span` [s]."""
    fitting = (step for step in TIME_STEPS if step * max(most, 1) >= span)
    return next(fitting, TIME_STEPS[-1])


def time_label(time: float, step: float) -> str:
    """A tick: "4.5 s", "12 s", "1:05", "3 min", "2 h"."""
    if step >= 60:
        minutes = round(time / 60)
        return f"{minutes // 60} h" if step >= 3600 else f"{minutes} min"
    if time < 59.999:
        digits = max(0, -math.floor(math.log10(step) + 1e-9)) if step < 1 else 0
        return f"{time:.{digits}f} s"
    minutes, rest = divmod(round(time * 100), 6000)
    return f"{minutes}:{rest / 100:02.0f}" if step >= 1 else f"{minutes}:{rest / 100:05.2f}"


def value_step(low: float, high: float, most: int) -> float:
    """The smallest of 1, 2, 5 times a power of ten with which no more than `most` steps cover
    `low` to `high`, both rounded outwards to it."""
    span = max(high - low, 1e-12)
    power = math.floor(math.log10(span / max(most, 1))) - 1
    while True:
        for size in (1.0, 2.0, 5.0):
            step = size * 10.0**power
            if upper(high, step) - lower(low, step) <= most:
                return step
        power += 1


def lower(value: float, step: float) -> int:
    """Whole steps at or below a value."""
    return math.floor(value / step + 1e-6)


def upper(value: float, step: float) -> int:
    """Whole steps at or above a value."""
    return math.ceil(value / step - 1e-6)
