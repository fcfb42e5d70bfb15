"""The best that any order of tests can do on a small table, solved exactly, and what a rule takes.

Dynamic programming over the sets of rows that are still possible. Only tables without slips, in
which every row predicts every outcome: then what has been found leaves a set. Up to about a dozen
rows and as many questions.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from math import inf

import numpy as np

from pneumo.diagnosis.choice import Reason, Table, advise

Rows = tuple[int, ...]
Move = tuple[float, list[Rows]]
"""Expected minutes of an act, weighed by the chance to come to it, and the sets it can leave."""


def least_minutes(table: Table) -> float:
    """Least expected minutes of tests until one group is left, or nothing tells more on it."""
    _exact(table)

    def moves(rows: Rows) -> Iterator[Move]:
        if not _told(table, rows):
            yield from _questions(table, rows)

    return _least(_all(table), moves, {})


def minutes_of(table: Table, rule: Callable[[Table], int]) -> float:
    """Expected minutes of tests until the same end, when a rule names each question."""
    _exact(table)

    def moves(rows: Rows) -> Iterator[Move]:
        if not _told(table, rows):
            yield _asked(table, rows, rule(_left(table, rows)))

    return _least(_all(table), moves, {})


def least_with_repairs(table: Table) -> float:
    """Least expected minutes of tests and of repairs that were not needed, until one group is left;
    at any time a group can be repaired, which tells whether it was that."""
    _exact(table)

    def moves(rows: Rows) -> Iterator[Move]:
        groups = {int(table.group[row]) for row in rows}
        if len(groups) > 1:
            yield from _questions(table, rows)
            for group in sorted(groups):
                yield _repaired(table, rows, group)

    return _least(_all(table), moves, {})


def advised_with_repairs(table: Table, choose: Callable[[Table], int] | None = None) -> float:
    """Expected minutes of tests and of repairs that were not needed for who follows the advice.
    `choose`: names the question in its place where one is worth asking, -1: none."""
    _exact(table)

    def moves(rows: Rows) -> Iterator[Move]:
        if len({int(table.group[row]) for row in rows}) > 1:
            left = _left(table, rows)
            advice = advise(left, sure=1.0)
            question = -1
            if advice.reason is Reason.ASK:
                question = advice.steps[0].question if choose is None else choose(left)
            if question >= 0:
                yield _asked(table, rows, question)
            else:
                yield _repaired(table, rows, advice.group)

    return _least(_all(table), moves, {})


def _least(rows: Rows, moves: Callable[[Rows], Iterator[Move]], known: dict[Rows, float]) -> float:
    """Least of all moves and what follows them; 0 where there is none to make."""
    if rows not in known:
        least = inf
        for minutes, parts in moves(rows):
            for part in parts:
                if minutes < least:
                    minutes += _least(part, moves, known)
            least = min(least, minutes)
        known[rows] = 0.0 if least == inf else least
    return known[rows]


def _exact(table: Table) -> None:
    if table.slip.any() or (table.predicted < 0).any():
        raise ValueError("only tables without slips in which each row predicts each outcome")


def _all(table: Table) -> Rows:
    return tuple(np.flatnonzero(table.chance > 0).tolist())


def _left(table: Table, rows: Rows) -> Table:
    chance = np.zeros(len(table.chance))
    chance[list(rows)] = table.chance[list(rows)]
    return replace(table, chance=chance / chance.sum())


def _asked(table: Table, rows: Rows, question: int) -> Move:
    parts: dict[int, list[int]] = {}
    for row in rows:
        parts.setdefault(int(table.predicted[question, row]), []).append(row)
    assert len(parts) > 1, f"question {question} tells nothing"
    minutes = float(table.minutes[question] * table.chance[list(rows)].sum())
    return minutes, [tuple(part) for part in parts.values()]


def _questions(table: Table, rows: Rows) -> Iterator[Move]:
    """Every question that tells something, of those that tell the same the quickest."""
    quickest: dict[tuple[Rows, ...], Move] = {}
    for question in np.argsort(table.minutes, kind="stable"):
        if len(np.unique(table.predicted[question, list(rows)])) > 1:
            move = _asked(table, rows, int(question))
            quickest.setdefault(tuple(move[1]), move)
    yield from quickest.values()


def _repaired(table: Table, rows: Rows, group: int) -> Move:
    others = tuple(row for row in rows if table.group[row] != group)
    return float(table.repair[group] * table.chance[list(others)].sum()), [others]


def _told(table: Table, rows: Rows) -> bool:
    """Whether no question, nor all of them together, can tell more on the group."""
    shares: dict[bytes, dict[int, float]] = {}
    for row in rows:
        of_class = shares.setdefault(table.predicted[:, row].tobytes(), {})
        group = int(table.group[row])
        of_class[group] = of_class.get(group, 0.0) + float(table.chance[row])
    first, *rest = (
        {group: mass / sum(of_class.values()) for group, mass in of_class.items()}
        for of_class in shares.values()
    )
    return all(
        other.keys() == first.keys()
        and all(abs(share - first[group]) < 1e-9 for group, share in other.items())
        for other in rest
    )
