"""Simple orders of tests, to compare the choice of the next question with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pneumo.diagnosis.choice import LEAST, Table

EXCLUDED = 1e-3
"""A row counts as excluded when it has less chance than this share of the likeliest."""


def circuit_order(table: Table, order: Sequence[int]) -> int:
    """The first question, in a given order, that can tell rows apart that are still possible; -1
    when none can."""
    tells = _possible(table).row_gains > 0
    return next((question for question in order if tells[question]), -1)


def cost_over_prior(table: Table) -> int:
    """The question that tries the group with the least minutes over chance; -1 when none can be
    tried.

    A group is tried by the quickest question that tells it from all others, and where there is none
    by the one that would leave least of them (after Kalagnanam and Henrion, A comparison of
    decision analysis and expert rules for sequential diagnosis, 1988; from memory).
    """
    cells = _possible(table).cells
    here = cells.mass > 0
    chance = cells.alike * cells.mass.sum(axis=1)
    # chance of what could not be the matter any more, if it is this group.  (q, p)
    excludes = np.add.reduceat(~here * chance[:, None], cells.first[:-1])
    shares = cells.mass[cells.first[0] : cells.first[1]]
    shares = (cells.alike[: cells.first[1], None] * shares).sum(axis=0)
    best = excludes >= excludes.max(axis=0) - LEAST
    minutes = np.where(best & (excludes > LEAST), table.minutes[:, None], np.inf)
    cost = minutes.min(axis=0) / shares
    group = int(np.argmin(cost))
    return int(np.argmin(minutes[:, group])) if np.isfinite(cost[group]) else -1


def _possible(table: Table) -> Table:
    """The table without what counts as excluded, and as if no outcome ever slipped."""
    chance = np.where(table.chance < EXCLUDED * table.chance.max(), 0.0, table.chance)
    return replace(table, chance=chance / chance.sum(), slip=np.zeros(len(table.slip)))
