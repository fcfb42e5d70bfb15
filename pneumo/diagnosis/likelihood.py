"""How well what was expected fits what was seen: numbers against numbers.

Each number of an observation has a spread. What lies within it fits; what lies far outside costs a
fixed amount and no more, since any single reading may be wrong (`FLOOR`). The numbers of one
instrument in one stretch are not independent: the one that fits worst counts for all. Instruments
of one sort in one zone and stretch (its jaw switches, say) share what they are wrong by, too: the
worst counts, and the others by `SHARED`.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from typing import NamedTuple

import numpy as np

from pneumo.diagnosis.marks import Scale
from pneumo.network.network import Array

FLOOR = 0.01
"""Chance of a reading that has nothing to do with what is wrong [-]; estimated."""

SHARED = 0.35
"""How much each further instrument of a family counts beside the worst [-]; set by the bench."""

FINE = 8
"""Severities between two that were calculated, at which it is asked how well they fit."""


class Number(NamedTuple):
    """One number that was seen."""

    value: float
    scale: Scale
    instrument: Hashable
    """Names the instrument and the stretch; of its numbers the worst counts."""
    family: Hashable
    """Names what shares with it what it is wrong by."""
    until: float = np.inf
    """Of a time: when nobody looked any longer [s]."""
    early: float = -np.inf
    """Of a time: what came until then may have come before anybody looked [s]."""


class Seen(NamedTuple):
    """What was seen, and how near an expectation must come to it. One number an item."""

    values: Array
    """(items,)"""
    least: Array
    """(items,) spread of an item [in its unit]."""
    share: Array
    """(items,) what comes on top, as a share of the value [-]."""
    smooth: Array
    """(items,) bool: changes gradually with the severity of a fault."""
    instrument: Array
    """(items,) number of the instrument, and stretch, that an item belongs to."""
    family: Array
    """(instruments,) number of its family."""
    until: Array
    """(items,) of a time: when nobody looked any longer [s]; what came later had not come. Infinity
    of all else."""
    early: Array
    """(items,) of a time: what came until then may have come before anybody looked [s]. Minus
    infinity of all else."""

    @staticmethod
    def of(numbers: Sequence[Number]) -> Seen:
        """From one entry an item."""
        known: dict[Hashable, int] = {}
        instrument = [known.setdefault(each.instrument, len(known)) for each in numbers]
        of: dict[Hashable, int] = {}
        family = np.zeros(len(known), dtype=np.int64)
        for place, each in zip(instrument, numbers, strict=True):
            family[place] = of.setdefault(each.family, len(of))
        return Seen(
            np.array([each.value for each in numbers], dtype=float),
            np.array([each.scale.least for each in numbers], dtype=float),
            np.array([each.scale.share for each in numbers], dtype=float),
            np.array([each.scale.smooth for each in numbers], dtype=bool),
            np.array(instrument, dtype=np.int64),
            family,
            np.array([each.until for each in numbers], dtype=float),
            np.array([each.early for each in numbers], dtype=float),
        )

    def __len__(self) -> int:
        return len(self.values)

    @staticmethod
    def joined(parts: Sequence[Seen]) -> Seen:
        """All items of several that have no instrument in common."""
        instruments = np.cumsum([0, *(len(each.family) for each in parts)])
        families = np.cumsum([0, *(int(each.family.max(initial=-1)) + 1 for each in parts)])
        whole = {
            name: np.concatenate([getattr(each, name) for each in parts]) for name in Seen._fields
        }
        whole["instrument"] = np.concatenate(
            [each.instrument + n for each, n in zip(parts, instruments.tolist(), strict=False)]
        )
        whole["family"] = np.concatenate(
            [each.family + n for each, n in zip(parts, families.tolist(), strict=False)]
        )
        return Seen(**whole)

    def only(self, kept: Array | Sequence[int]) -> Seen:
        """Some of its items: (items,) bool, or their numbers."""
        instruments, number = np.unique(self.instrument[kept], return_inverse=True)
        _, family = np.unique(self.family[instruments], return_inverse=True)
        return Seen(
            self.values[kept], self.least[kept], self.share[kept], self.smooth[kept],
            number.reshape(-1), family.reshape(-1), self.until[kept], self.early[kept],
        )  # fmt: skip


def misfit(seen: Seen, expected: Array, blur: float = 1.0) -> Array:
    """(rows, items) log likelihood of each item, 0 where it fits.

    `expected`: (rows, items). `blur`: factor on the spreads, for what was calculated for a ride
    that was acted on a little otherwise.
    """
    really, expected = np.minimum(seen.values, seen.until), np.minimum(expected, seen.until)
    size = np.where(np.isfinite(really), np.abs(really), 0.0)
    spread = blur * (seen.least + seen.share * size)
    with np.errstate(invalid="ignore"):
        off = np.abs(expected - really) / spread
    # NEVER as expected, or what was not read
    off = np.where((expected == really) | np.isnan(really), 0.0, off)
    # one of them came right at the beginning, and the other before it
    first, last = np.minimum(really, expected), np.maximum(really, expected)
    off = np.where((first <= seen.early) & (last >= seen.until), 0.0, off)
    return np.asarray(np.log(FLOOR + (1.0 - FLOOR) * np.exp(-0.5 * np.minimum(off, 40.0) ** 2)))


def by_instrument(seen: Seen, items: Array) -> Array:
    """(rows, instruments) log likelihood: of each instrument's items the worst."""
    found: Array = np.zeros((len(items), len(seen.family)))
    if not len(seen):
        return found
    order = np.argsort(seen.instrument, kind="stable")
    number = seen.instrument[order]
    starts = np.flatnonzero(np.diff(number, prepend=-1))
    found[:, number[starts]] = np.minimum.reduceat(items[:, order], starts, axis=1)
    return found


def by_family(seen: Seen, instruments: Array) -> Array:
    """(rows, families) log likelihood: the worst instrument of each, the others in part."""
    families = int(seen.family.max()) + 1 if len(seen.family) else 0
    if not families:
        return np.zeros((len(instruments), 0))
    order = np.argsort(seen.family, kind="stable")
    starts = np.flatnonzero(np.diff(seen.family[order], prepend=-1))
    values = instruments[:, order]
    worst = np.minimum.reduceat(values, starts, axis=1)
    return np.asarray(worst + SHARED * (np.add.reduceat(values, starts, axis=1) - worst))


def total(seen: Seen, items: Array) -> Array:
    """(rows,) log likelihood of all that was seen, from that of each item."""
    return np.asarray(by_family(seen, by_instrument(seen, items)).sum(axis=1))


class Graded(NamedTuple):
    """One fault mode at a series of severities."""

    places: Array
    """(grades,) where each stands on the scale of severity, ascending, 0 to 1."""
    expected: Array
    """(grades, items)"""


def between(seen: Seen, graded: Graded) -> tuple[Array, Array]:
    """A fault at severities on and between those that were calculated.

    Returns (rows,) places on the scale and (rows, items) what is expected there: what changes
    gradually lies between its neighbours, what jumps is as at the nearer one.
    """
    places, known = graded.places, graded.expected
    if len(places) == 1:
        return places, known
    part = np.linspace(0.0, 1.0, FINE, endpoint=False)
    low = np.repeat(np.arange(len(places) - 1), FINE)
    share = np.tile(part, len(places) - 1)
    low, share = np.append(low, len(places) - 2), np.append(share, 1.0)
    a, b = known[low], known[low + 1]
    near = np.where(share[:, None] < 0.5, a, b)
    with np.errstate(invalid="ignore"):
        line = a + share[:, None] * (b - a)
    gradual = seen.smooth & np.isfinite(a) & np.isfinite(b)
    at = places[low] + share * (places[low + 1] - places[low])
    return at, np.where(gradual, line, near)


def within(seen: Seen, graded: Graded) -> Array:
    """(grades - 1, items) log likelihood of each item, at best, for a severity between two that
    were calculated: whatever lies between what they show may be shown by one between them."""
    a, b = graded.expected[:-1], graded.expected[1:]
    inside = (np.minimum(a, b) <= seen.values) & (seen.values <= np.maximum(a, b))
    return np.where(inside, 0.0, np.maximum(misfit(seen, a), misfit(seen, b)))


def over_severity(places: Array, found: Array) -> Array:
    """(rows,) log likelihood of a fault whose severity may be anything from 0 to 1 on its scale,
    as each row's part of it. `found`: (rows,) log likelihood at `places`, ascending; beyond them
    it is taken to fit nothing."""
    if len(places) == 1:
        return found
    return np.asarray(found + np.log(np.maximum(np.gradient(places), 1e-6)))
