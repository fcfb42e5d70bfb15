"""How well suspects that have rides of their own fit what was seen until some instant."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import log

import numpy as np

from pneumo.diagnosis.abreast import Ride
from pneumo.diagnosis.fit import HARDLY, NEAR, Fit, unknown
from pneumo.diagnosis.likelihood import Graded, Seen, between, misfit, over_severity, total, within
from pneumo.diagnosis.observed import Items, Observation
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.reasons import Compared
from pneumo.diagnosis.record import Record
from pneumo.diagnosis.suspects import Candidate
from pneumo.network.network import Array

LESS = -1.0
"""Log likelihood of what is less otherwise than a fault would make it that was there before the
first odd stretch; estimated."""

Way = tuple[int, bool]
"""Number of a candidate, and whether it struck in the midst of the first odd stretch."""


@dataclass
class Rides:
    """A suspect under way: rides by the place of their severity."""

    candidate: Candidate
    at: float
    """When it struck [s]."""
    stretch: int
    """In which stretch that was."""
    by_place: dict[float, Ride] = field(default_factory=dict)
    tried: set[float] = field(default_factory=set)
    """Severities that had rides."""
    why: str = ""
    """What stopped the calculation."""

    @property
    def now(self) -> float:
        """Time that they have come to [s]."""
        return max((ride.now for ride in self.by_place.values()), default=np.inf)


@dataclass
class Part:
    """What was seen until some instant."""

    record: Record
    seen: Observation
    sound: Ride
    """The ride without a fault until then."""
    best: float = -np.inf
    """Log likelihood of the suspect that fitted it best."""


@dataclass
class Marking:
    """How well suspects fit some part of what was seen."""

    fits: dict[Way, Fit]
    sound: float
    """Log likelihood of the ride without a fault."""
    unknown: float
    """Log likelihood of what nobody has thought of."""
    compared: Callable[[Mapping[int, Way]], Compared]
    """Number by number; asked for some suspects, each with the time at which it struck."""


def mark(panel: Panel, first: int, part: Part, ways: Mapping[Way, Rides]) -> Marking:
    """How well suspects fit what was seen until some instant; those without rides are left out.

    `first`: the first stretch that counts.
    """
    sound = part.sound
    rides = [ride for each in ways.values() for ride in each.by_place.values()]
    items = Items(panel, part.record, part.seen, first, [sound, *rides])
    without = items.of(sound, sound)
    graded = []
    for way, each in ways.items():
        by_place = each.by_place
        if by_place:
            places = sorted(by_place)
            rows = np.array([items.of(by_place[place], sound) for place in places])
            graded.append((way, Graded(np.array(places), rows)))
    kept = without != items.seen.values
    for _, own in graded:
        kept |= (own.expected != items.seen.values).any(axis=0)
    of, in_first = items.seen.only(kept), items.stretch[kept] == first
    # a fault that was there before anything was odd may have made what was taken for a habit
    as_seen = Seen(of.values + items.later[kept], *of[1:])
    off_without = misfit(of, without[kept][None, :])
    all_fits: dict[Way, Fit] = {}

    def fits(off: Array, low: Array, high: Array) -> Array:
        # it may have struck in the midst of the first stretch: then that is as without it, or
        # not as much otherwise
        mixed = np.logaddexp(off, off_without) - log(2.0)
        low, high = (limit(each, without[kept]) for limit, each
                     in ((np.minimum, low), (np.maximum, high)))  # fmt: skip
        less = of.smooth & np.isfinite(high) & (low <= of.values) & (of.values <= high)
        mixed = np.where(less, np.maximum(mixed, LESS), mixed)
        return total(of, np.where(in_first, mixed, off))

    rows_at_best: dict[Way, Array] = {}
    for way, whole in graded:
        own = Graded(whole.places, whole.expected[:, kept])
        fine, rows = between(of, own)
        off = np.maximum(misfit(of, rows), misfit(as_seen, rows))
        parts = over_severity(fine, fits(off, rows, rows))
        at_best = np.zeros(0)
        if len(own.places) > 1:
            a, b = own.expected[:-1], own.expected[1:]
            off = np.maximum(within(of, own), within(as_seen, own))
            at_best = fits(off, np.minimum(a, b), np.maximum(a, b))
        all_fits[way] = Fit(fine, parts, own.places, at_best)
        rows_at_best[way] = rows[int(np.argmax(parts))]

    def compared(chosen: Mapping[int, Way]) -> Compared:
        return Compared(
            tuple(item for item, keep in zip(items.items, kept, strict=True) if keep),
            of, in_first, without[kept],
            {number: rows_at_best[way] for number, way in chosen.items()},
        )  # fmt: skip

    return Marking(all_fits, float(total(of, off_without)[0]), unknown(of, off_without), compared)


def without_hopeless(rides: Rides, fit: Fit) -> None:
    """Ends rides at severities that can hardly be; the likely ones and their neighbours go on."""
    low, high = fit.limits
    rides.by_place = {p: ride for p, ride in rides.by_place.items() if low <= p <= high}


def next_grades(candidate: Candidate, low: float, high: float) -> list[float]:
    """The grades next below and next above severities."""
    return [
        *[grade for grade in candidate.grades if grade < low - NEAR][-1:],
        *[grade for grade in candidate.grades if grade > high + NEAR][:1],
    ]


def beyond(candidate: Candidate, fit: Fit) -> list[float]:
    """The next grades beyond the severities that were calculated, where these fit no less at their
    end."""
    low, high = float(fit.places[0]), float(fit.places[-1])
    enough = fit.parts.max() - HARDLY / 2.0
    return [place for place in next_grades(candidate, low, high)
            if fit.parts[0 if place < low else -1] > enough]  # fmt: skip
