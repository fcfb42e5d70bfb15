"""Which two faults at once would explain what was seen, by what each showed in its rehearsal.

No ride has both. An instrument that one of them leaves alone shows what the other makes of it;
where both change it, either may hide the other. That is coarse: it decides which of them is taken
to be there first, and rides tell the rest.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pneumo.diagnosis.habits import ODD
from pneumo.diagnosis.likelihood import by_family, by_instrument
from pneumo.diagnosis.screening import Part
from pneumo.network.network import Array

MOST = 200
"""So many that explain something are put together; of those that explain the same, one."""

AS_USUAL = 0.1
"""What an instrument shows fits with a suspect as without: it leaves the instrument alone [log
likelihood]."""

PERHAPS = 1.0
"""By how much less each instrument fits a severity between two that were rehearsed, where what lies
between what they show fits; estimated."""


def best_two(parts: Sequence[Part], part_of: Array, between: Array) -> list[tuple[int, int]]:
    """Rows that explain the most two by two, of each two first what explains more alone; the best
    come first.

    Parameters
    ----------
    part_of
        (rows,) number of the component of each: two faults of one are one repair.
    between
        (rows,) bool: something between two severities is meant.
    """
    rows = len(part_of)
    without = np.concatenate([by_instrument(p.of, p.without)[0] for p in parts])
    fits = np.tile(without, (rows, 1))
    first = 0
    for part in parts:
        own = slice(first, first := first + len(part.of.family))
        fits[part.rows, own] = by_instrument(part.of, part.items)

    fits[between] -= np.where(np.abs(fits[between] - without) < AS_USUAL, 0.0, PERHAPS)

    def whole(of: Array) -> Array:
        found, first = np.zeros(len(of)), 0
        for part in parts:
            own = slice(first, first := first + len(part.of.family))
            found += by_family(part.of, of[:, own]).sum(axis=1)
        return found

    alone = whole(fits)
    odd = without < ODD
    explains = (fits >= ODD) & odd
    order = np.argsort(-alone, kind="stable")
    order = order[explains[order].any(axis=1)]
    _, which = np.unique(explains[order][:, odd], axis=0, return_index=True)
    some = order[np.sort(which)]
    # what it would come to, were the other to explain all the rest
    most = whole(np.where(odd, 0.0, fits[some]))
    some = some[np.argsort(-most, kind="stable")[:MOST]]
    found: list[tuple[float, int, int]] = []
    leaves = np.abs(fits[some] - without) < AS_USUAL
    for place, one in enumerate(some.tolist()):
        others, quiet = some[place + 1 :], leaves[place + 1 :]
        theirs = fits[others]
        both = np.where(
            leaves[place], theirs, np.where(quiet, fits[one], np.maximum(fits[one], theirs))
        )
        for fit, other in zip(whole(both).tolist(), others.tolist(), strict=True):
            if part_of[one] != part_of[other] and fit > max(alone[one], alone[other]):
                found.append((fit, *sorted((one, other), key=lambda row: -alone[row])))
    found.sort(key=lambda each: (-each[0], *each[1:]))
    return [(one, other) for _, one, other in found[:MOST]]
