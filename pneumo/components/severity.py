"""The scale on which the severities of a fault mode lie evenly, from weak to full.

A mode that goes both ways (a drift, a setting) has two sides; no side holds the value of no fault.
Shares lie evenly as they are. Sizes (mm, N, bar) do on a geometric scale: between a hole of 1 mm
and one of 2 mm there is as much to tell apart as between 10 mm and 20 mm; factors do on both sides
of 1. Where a side begins, at the weakest severity that can matter, is estimated.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from pneumo.components.base import Severity

WEAK_SHARE = 1.0 / 20.0
"""Of shares, the weakest that can matter, of the largest [-]; estimated."""

WEAK_SIZE = 1.0 / 5.0
"""Of sizes, of the mildest grade of a campaign [-]: the largest does not tell, since friction may
be given that is many times what moves a jaw; estimated."""

WEAK_FACTOR = 0.1
"""A factor matters from this share of its way on [-]: "slow" goes to 1000, and begins at 2;
estimated."""

CLOSED = 1.0 / 50.0
"""Added to factors, so that the geometric scale comes to 0: one of no more than this is next to
closed [-]; estimated."""

DIGITS = 4
"""Significant ones of a severity on the scale: what is written is what was run, and the last bit of
a logarithm does not tell machines apart."""

Scale = Literal["share", "size", "factor"]


@dataclass(frozen=True)
class Side:
    """One side of a scale: from the weakest severity that can matter, at place 0, to the largest,
    at place 1."""

    weak: float
    """[in SI; a fraction or factor as it is]"""
    full: float
    scale: Scale
    step: float = 0.0
    """Severities are whole multiples of it; 0: any."""

    def at(self, place: float) -> float:
        """The severity at a place from 0 to 1."""
        if place >= 1.0:
            return self.full
        if place <= 0.0:
            return self.weak
        start, end = self._scaled(self.weak), self._scaled(self.full)
        value = self._unscaled(start + place * (end - start))
        if self.step:
            return max(round(value / self.step), 1) * self.step
        return float(f"{value:.{DIGITS}g}")

    def place_of(self, value: float) -> float:
        """The place of a severity of this side, 0 of one that is weaker than `weak`."""
        if value == self.full:
            return 1.0
        if abs(value - self.full) >= abs(self.weak - self.full):
            return 0.0
        start, end = self._scaled(self.weak), self._scaled(self.full)
        return min((self._scaled(value) - start) / (end - start), 1.0)

    def graded(self, n: int) -> tuple[float, ...]:
        """As `graded`, of this side."""
        places = (1.0,) if n == 1 else (i / (n - 1) for i in range(n))
        return tuple(dict.fromkeys(self.at(place) for place in places))

    def _scaled(self, value: float) -> float:
        if self.scale == "share":
            return value
        return math.log(abs(value) if self.scale == "size" else value + CLOSED)

    def _unscaled(self, scaled: float) -> float:
        if self.scale == "share":
            return scaled
        if self.scale == "factor":
            return math.exp(scaled) - CLOSED
        return math.copysign(math.exp(scaled), self.full)


def sides(severity: Severity) -> tuple[Side, ...]:
    """The sides of a scale: the one below the value of no fault, then the one above it, as far as
    the mode goes there."""
    ends = (severity.low, severity.high)
    return tuple(_side(severity, full) for full in ends if full != severity.none)


def place_of(severity: Severity, value: float) -> tuple[Side, float]:
    """The side on which a severity lies, and its place there. Raises ValueError for the value of no
    fault."""
    for side in sides(severity):
        if (value - severity.none) * (side.full - severity.none) > 0.0:
            return side, side.place_of(value)
    raise ValueError(f"{value:g} is no severity of this fault mode")


def graded(severity: Severity, n: int) -> tuple[float, ...]:
    """Severities that span a fault mode evenly.

    Parameters
    ----------
    severity
        The scale of the mode.
    n
        How many on each side, at least 1; fewer come of a mode that has no more steps.

    Returns
    -------
    Of each side those from the weakest that can matter to the largest [in SI; a fraction or factor
    as it is]; of one, the largest.
    """
    return tuple(value for side in sides(severity) for value in side.graded(n))


def _side(severity: Severity, full: float) -> Side:
    none = severity.none
    if severity.unit == "x":
        way = Side(none, full, "factor")
        return Side(way.at(WEAK_FACTOR), full, "factor")
    if severity.unit in ("", "%"):
        weak = severity.step or float(f"{WEAK_SHARE * full:.{DIGITS}g}")
        return Side(weak, full, "share", severity.step)
    weak = WEAK_SIZE * min(abs(grade) for grade in severity.campaign)
    return Side(math.copysign(float(f"{weak:.{DIGITS}g}"), full), full, "size")
