"""How well suspects fit what was seen, at the severities that were calculated and between them."""

from __future__ import annotations

from dataclasses import dataclass
from math import log

import numpy as np

from pneumo.diagnosis.likelihood import Seen, by_family, by_instrument
from pneumo.network.network import Array

HARDLY = 8.0
"""A suspect that is less probable than the best by so much, as a logarithm, gets no rides."""

NEAR = 0.02
"""Severities nearer than this on their scale are not told apart."""

UNKNOWN = log(0.05)
"""Log likelihood, for each instrument that is not as it should be, of what nobody has thought of;
estimated."""


@dataclass(frozen=True)
class Fit:
    """How well a suspect fits."""

    fine: Array
    """(rows,) places on the scale of its severity: those that were calculated and between them."""
    parts: Array
    """(rows,) log likelihood, as each one's part of the whole."""
    places: Array
    """(grades,) the severities that were calculated."""
    at_best: Array
    """(grades - 1,) log likelihood, at best, of one between two of them."""

    @property
    def whole(self) -> float:
        """Log likelihood whatever its severity."""
        most = float(self.parts.max())
        return most + log(float(np.exp(self.parts - most).sum()))

    @property
    def most(self) -> float:
        """What it may come to with a severity that was not calculated yet."""
        return max(self.whole, float(self._at_best.max(initial=-np.inf)))

    @property
    def _at_best(self) -> Array:
        """(grades - 1,) the same of one between two severities that are not near each other."""
        return np.asarray(np.where(np.diff(self.places) > NEAR, self.at_best, -np.inf))

    @property
    def place(self) -> float:
        """The severity that fits best."""
        return float(self.fine[int(np.argmax(self.parts))])

    def wanted(self) -> float | None:
        """A severity that should be calculated; None: those that were are near enough."""
        at_best = self._at_best
        if at_best.max(initial=-np.inf) < self.parts.max() - HARDLY / 2.0:
            return None
        most = int(np.argmax(at_best))
        low, high = float(self.places[most]), float(self.places[most + 1])
        inside = (self.fine > low) & (self.fine < high)
        place = float(self.fine[inside][int(np.argmax(self.parts[inside]))])
        # a line drawn between them may be far off: never nearer than a fifth of the way to an end
        margin = 0.2 * (high - low)
        return round(min(max(place, low + margin), high - margin), 4)

    @property
    def limits(self) -> tuple[float, float]:
        """The lowest and the highest of the severities that were calculated that may be right, or
        are next to one that may."""
        enough = self.most - HARDLY / 2.0
        likely = self.fine[self.parts > enough]
        gaps = np.flatnonzero(self._at_best > enough)
        low = self.places[self.places <= likely.min(initial=np.inf)][-1:]
        high = self.places[self.places >= likely.max(initial=-np.inf)][:1]
        kept = [*self.places[gaps], *self.places[gaps + 1]]
        if len(likely):
            kept += [*low, *high]
        return (float(min(kept)), float(max(kept))) if kept else (0.0, 1.0)


@dataclass
class Marked:
    """How well the suspects fit that have rides."""

    fits: dict[int, Fit]
    sound: float
    """Log likelihood of the ride without a fault."""
    unknown: float
    """Log likelihood of what nobody has thought of."""


def unknown(of: Seen, without: Array) -> float:
    """Log likelihood of something nobody has thought of: what is as without a fault counts so, and
    the rest may be anything."""
    instruments = np.maximum(by_instrument(of, without), UNKNOWN)
    return float(by_family(of, instruments).sum())
