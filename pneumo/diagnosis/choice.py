"""Which test next, and when to stop testing and repair.

Everything here works on plain arrays, and knows nothing of circuits:

- A *row* is one thing that may be the matter: a fault at one severity, a set of abnormal parts.
- A *group* is what has to be repaired; rows of one group need not be told apart.
- A *question* is a test or an act that can be made now. It has a few possible *outcomes*.

A question is worth the information on the group that it is expected to give (entropy, after de
Kleer and Williams, Diagnosing multiple faults, Artificial Intelligence 32, 1987) for each minute
that it takes (information per cost, after Johnson, An information theory approach to diagnosis,
1960; both from memory). It is looked at alone, and together with the best second question after
each of its outcomes.

Testing ends when it costs more than it can save. Whoever stops testing repairs one group after the
other until the fault is gone; what that loses are the minutes of repairs that were not needed. They
are least when the group with the most chance for each minute of its repair comes first (Smith,
Naval Research Logistics Quarterly 3, 1956; from memory). No question raises what is expected of
them; one that lowers it by less than its own minutes is not worth asking.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LOOKED_AT = 6
"""So many of the questions that tell most, and the one that saves most, are looked at together with
a second one."""

RARE = 0.01
"""Nothing is asked ahead after an outcome with less chance than this."""

LEAST = 1e-9
"""A question that tells less tells nothing [bit]."""

MOMENT = 1 / 60
"""What takes less counts as this long [min]: something for nothing could not be compared."""


@dataclass(frozen=True)
class Cells:
    """The outcomes of all questions, one question after the other: c cells.

    Outcomes that no row predicts mean the same: they share the first cell of their question.
    """

    first: Ints
    """First cell of each question, and c at the end.  (q + 1,)"""
    alike: Floats
    """How many outcomes a cell stands for; 0 where rows predict all of them.  (c,)"""
    groups: Ints
    """The groups that are still possible.  (p,)"""
    mass: Floats
    """Chance that the outcome is found (one of those of the cell) and that it is this
    group.  (c, p)"""
    silent: Floats
    """Chance of the rows that predict nothing about a question.  (q,)"""

    def over_outcomes(self, of_cells: Floats) -> Floats:
        """Sum over the outcomes of each question.  (c,) -> (q,)"""
        return np.add.reduceat(self.alike * of_cells, self.first[:-1])


@dataclass(frozen=True)
class Table:
    """What is still possible and what can be asked: n rows, g groups, q questions, one of each at
    least.

    Raises `ValueError` when the arrays do not fit each other.
    """

    chance: Floats
    """Chance of each row; together 1.  (n,)"""
    group: Ints
    """Number of the group that a row belongs to.  (n,)"""
    repair: Floats
    """What the repair of a group takes, with the proof that it has helped [min].  (g,)"""
    minutes: Floats
    """What a question takes [min].  (q,)"""
    predicted: Ints
    """The outcome that a row predicts, counted from 0 without gaps; -1 when it predicts nothing:
    then each outcome is as likely as any other.  (q, n)"""
    outcomes: Ints
    """How many outcomes a question can have, 2 at least, with those that no row predicts.  (q,)"""
    slip: Floats
    """Chance that the outcome is not the predicted one but any of the others.  (q,)"""

    def __post_init__(self) -> None:
        n, q = len(self.chance), len(self.minutes)
        if self.group.shape != (n,) or self.predicted.shape != (q, n):
            raise ValueError("each row needs a group, and an entry for each question")
        if self.outcomes.shape != (q,) or self.slip.shape != (q,):
            raise ValueError("each question needs its number of outcomes and its slip")
        if not (n and q):
            raise ValueError("a table needs a row and a question")
        if not (self.chance.min() >= 0 and abs(self.chance.sum() - 1) < 1e-6):
            raise ValueError("the chances of the rows must not be negative, and make 1 together")
        if not 0 <= self.group.min() <= self.group.max() < len(self.repair):
            raise ValueError("each group needs the minutes of its repair")
        if not (self.minutes.min() >= 0 and self.repair.min() >= 0):
            raise ValueError("no question and no repair can take less than 0 minutes")
        if self.outcomes.min() < 2 or not 0 <= self.slip.min() <= self.slip.max() <= 1:
            raise ValueError("each question needs two outcomes at least, and a slip from 0 to 1")
        if self.predicted.min() < -1 or (self.predicted.max(axis=1) >= self.outcomes).any():
            raise ValueError("an outcome is predicted that the question does not have")
        object.__setattr__(self, "minutes", np.maximum(self.minutes, MOMENT))
        object.__setattr__(self, "repair", np.maximum(self.repair, MOMENT))

    @cached_property
    def shares(self) -> Floats:
        """Chance of each group.  (g,)"""
        return _summed(self.group, self.chance, len(self.repair))

    @cached_property
    def entropy(self) -> float:
        """How far from knowing the group we are [bit]; 0 when one group has all the chance."""
        return float(-_bits(self.shares).sum())

    @cached_property
    def expected_entropy(self) -> Floats:
        """Entropy to be expected after each question [bit].  (q,)"""
        mass = self.cells.mass
        return self.cells.over_outcomes(_bits(mass.sum(axis=1)) - _bits(mass).sum(axis=1))

    @cached_property
    def gains(self) -> Floats:
        """Information on the group to be expected of each question [bit].  (q,)"""
        gained = self.entropy - self.expected_entropy
        return np.where(gained > LEAST, gained, 0.0)

    @cached_property
    def row_gains(self) -> Floats:
        """Information on the row to be expected of each question [bit]. A question that tells rows
        apart may tell groups apart together with another one.  (q,)"""
        cells = self.cells
        found = -cells.over_outcomes(_bits(cells.mass.sum(axis=1)))
        noise = -_bits(1 - self.slip) - (self.outcomes - 1) * _bits(self.slipped)
        gained = found - (1 - cells.silent) * noise - cells.silent * np.log2(self.outcomes)
        return np.where(gained > LEAST, gained, 0.0)

    @cached_property
    def slipped(self) -> Floats:
        """Chance of each single outcome other than the predicted one.  (q,)"""
        return self.slip / np.maximum(self.outcomes - 1, 1)

    @cached_property
    def cells(self) -> Cells:
        """What the outcomes of each question say of each group."""
        possible = np.flatnonzero(self.chance > 0)
        chance, code = self.chance[possible], np.take(self.predicted, possible, axis=1)
        groups, group = np.unique(self.group[possible], return_inverse=True)
        named = code.max(axis=1) + 1
        first = np.concatenate(([0], np.cumsum(named + 1)))
        question = np.repeat(np.arange(len(code)), named + 1)
        alike = np.ones(len(question))
        alike[first[:-1]] = self.outcomes - named

        # chance of the rows by what they predict and by group, nothing first
        place = code + (first[:-1, None] + 1)
        place *= len(groups)
        place += group
        by_place = np.broadcast_to(chance, code.shape).ravel()
        mass = _summed(place.ravel(), by_place, len(question) * len(groups))
        mass = mass.reshape(-1, len(groups))
        silent = mass[first[:-1]]

        # an outcome comes as predicted, by a slip, or where nothing was predicted
        mass[first[:-1]] = 0.0
        mass *= (1 - self.slip - self.slipped)[question, None]
        by_slip = _summed(group, chance, len(groups)) - silent
        mass += (self.slipped[:, None] * by_slip + silent / self.outcomes[:, None])[question]
        return Cells(first, alike, groups, mass, silent.sum(axis=1))


def _summed(index: Ints, weights: Floats, length: int) -> Floats:
    """Sum of the weights of each index.  (length,)"""
    return np.asarray(np.bincount(index, weights, length), dtype=np.float64)


def _bits(chance: Floats) -> Floats:
    """p log2 p; 0 where p is 0."""
    return chance * np.log2(chance, out=np.zeros_like(chance), where=chance > 0)


def after(table: Table, question: int, outcome: int) -> Table:
    """The table once a question has had an outcome; -1: any that no row predicts.

    Asked again it would tell the same, so that nothing is predicted about it any more. Raises
    `ValueError` when no row allows the outcome.
    """
    code = table.predicted[question]
    likely = np.where(code == outcome, 1 - table.slip[question], table.slipped[question])
    chance = table.chance * np.where(code < 0, 1 / table.outcomes[question], likely)
    if not chance.sum() > 0:
        raise ValueError(f"no row allows outcome {outcome} of question {question}")
    predicted = table.predicted.copy()
    predicted[question] = -1
    return replace(table, chance=chance / chance.sum(), predicted=predicted)


@dataclass(frozen=True)
class Meaning:
    """What one outcome of a question would mean."""

    outcome: int
    """-1: any outcome that no row predicts."""
    chance: float
    leaders: tuple[tuple[int, float], ...]
    """The groups that lead then, with their chance; the first leads."""


def meanings(table: Table, question: int, most: int = 3) -> tuple[Meaning, ...]:
    """What each possible outcome of a question would mean, with so many leading groups at most."""
    groups = table.cells.groups
    told = []
    for outcome, mass in _outcomes(table, question):
        chance = float(mass.sum())
        order = np.argsort(-mass, kind="stable")[:most]
        leaders = tuple((int(groups[i]), float(mass[i]) / chance) for i in order if mass[i] > 0)
        told.append(Meaning(outcome, chance, leaders))
    return tuple(told)


def _outcomes(table: Table, question: int) -> Iterator[tuple[int, Floats]]:
    """Each possible outcome of a question, as in `Meaning`, with the chance that it is found and
    that it is each of the groups.  (p,)"""
    cells = table.cells
    own = slice(*cells.first[question : question + 2])
    for outcome, mass in enumerate(cells.mass[own] * cells.alike[own, None], start=-1):
        if mass.any():
            yield outcome, mass


def needless(mass: Floats, repair: Floats) -> Floats:
    """Minutes of repairs that are not needed, to be expected when groups of these chances are
    repaired one after the other until the fault is gone.  (..., p), (p,) -> (...)"""
    order = np.argsort(-mass / repair, axis=-1, kind="stable")
    left = mass.sum(axis=-1, keepdims=True) - np.take_along_axis(mass, order, -1).cumsum(axis=-1)
    return np.asarray((np.maximum(left, 0) * repair[order]).sum(axis=-1))


def one_step(table: Table) -> int:
    """The question that tells most on the group for each minute it takes, of equals the first; -1
    when none tells anything."""
    best = int(np.argmax(table.gains / table.minutes))
    return best if table.gains[best] > 0 else -1


@dataclass(frozen=True)
class Step:
    """A question, and the best second one after each of its outcomes."""

    question: int
    then: tuple[tuple[int, int], ...]
    """(outcome, second question) where the second one raises what is told for each minute; outcomes
    as in `Meaning`."""
    gain: float
    """Information on the group to be expected of both [bit]."""
    minutes: float
    """What both can be expected to take [min]."""
    saves: float
    """Minutes of needless repairs that asking spares, less its own, when after each outcome that is
    done which is better: repair, or ask the second question. Negative when it costs more than it
    saves [min]."""

    @property
    def rate(self) -> float:
        """Information for each minute [bit/min]."""
        return self.gain / self.minutes


def two_steps(table: Table) -> tuple[Step, ...]:
    """The best questions, judged together with a second one after each outcome; the best first.

    Of questions that tell the same only the quickest is looked at. Empty when none tells anything.
    """
    asked = _telling(table)
    if not asked:
        return ()
    rest = replace(
        table,
        minutes=table.minutes[asked],
        predicted=table.predicted[asked],
        outcomes=table.outcomes[asked],
        slip=table.slip[asked],
    )
    steps = [
        replace(
            step, question=asked[step.question], then=tuple((o, asked[q]) for o, q in step.then)
        )
        for step in (_look_ahead(rest, question) for question in _candidates(rest))
        if step.gain > LEAST
    ]
    return tuple(sorted(steps, key=lambda step: (-step.rate, step.question)))


def _telling(table: Table) -> list[int]:
    """Questions that tell something; of those that tell the same the quickest."""
    codes = np.compress(table.chance > 0, table.predicted, axis=1)
    quickest: dict[tuple[bytes, int, float], int] = {}
    for question in np.argsort(table.minutes, kind="stable").tolist():
        if table.row_gains[question] > 0:
            tells = (codes[question].tobytes(), table.outcomes[question], table.slip[question])
            quickest.setdefault(tells, question)
    return sorted(quickest.values())


def _candidates(table: Table) -> list[int]:
    """Questions that are worth looking further: those that tell most for each minute, and the one
    that saves most."""
    # of those that tell as much on the group first what tells more on the row
    rates = (-table.row_gains / table.minutes, -table.gains / table.minutes)
    most = np.lexsort(rates)[:LOOKED_AT].tolist()
    cells = table.cells
    left = cells.over_outcomes(needless(cells.mass, table.repair[cells.groups]))
    return list(dict.fromkeys([*most, int(np.argmin(left + table.minutes))]))


def _look_ahead(table: Table, question: int) -> Step:
    repair = table.repair[table.cells.groups]
    gain, minutes = float(table.gains[question]), float(table.minutes[question])
    saves = float(needless(table.shares, table.repair)) - minutes
    seconds = []
    for outcome, mass in _outcomes(table, question):
        chance, repairing = float(mass.sum()), float(needless(mass, repair))
        then = after(table, question, outcome) if chance >= RARE else None
        second = one_step(then) if then else -1
        if then is None or second < 0:
            saves -= repairing
            continue
        more, longer = float(then.gains[second]), float(then.minutes[second])
        saves -= min(repairing, chance * (longer + _needless_after(then, second)))
        seconds.append((more / longer, chance * more, chance * longer, outcome, second))

    asked = []
    for rate, more, longer, outcome, second in sorted(seconds, reverse=True):
        if rate > gain / minutes:
            gain, minutes = gain + more, minutes + longer
            asked.append((outcome, second))
    return Step(question, tuple(sorted(asked)), gain, minutes, saves)


def _needless_after(table: Table, question: int) -> float:
    """Needless repairs to be expected after a question [min]."""
    cells = table.cells
    own = slice(*cells.first[question : question + 2])
    return float((cells.alike[own] * needless(cells.mass[own], table.repair[cells.groups])).sum())


class Reason(Enum):
    """Why a question is asked, or none."""

    ASK = "A test is worth its minutes."
    SURE = "One repair is sure enough."
    NOTHING = "No test left can tell the rest apart."
    REPAIR = "Testing on costs more than the repairs it can spare."


@dataclass(frozen=True)
class Advice:
    """What to do next."""

    reason: Reason
    steps: tuple[Step, ...]
    """The questions that were looked at, the one to ask first; those that save more minutes than
    they take come before the others."""
    group: int
    """What to repair first if nothing more is asked."""
    share: float
    """Chance that it is that group."""
    needless: float
    """Minutes of needless repairs to be expected if nothing more is asked [min]."""


def advise(table: Table, sure: float) -> Advice:
    """Whether to ask on, and what. `sure`: the chance at which a group is repaired without asking
    on, 0 to 1."""
    expected = float(needless(table.shares, table.repair))
    leader = int(np.argmax(table.shares))
    if table.shares[leader] >= sure:
        return Advice(Reason.SURE, (), leader, float(table.shares[leader]), expected)
    steps = tuple(sorted(two_steps(table), key=lambda step: step.saves <= 0))
    pays = any(step.saves > 0 for step in steps)
    reason = Reason.ASK if pays else Reason.REPAIR if steps else Reason.NOTHING
    group = int(np.argmax(table.shares / table.repair))
    return Advice(reason, steps, group, float(table.shares[group]), expected)
