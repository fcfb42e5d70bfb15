"""The choice of the next question against the least there can be, on tables that can be solved."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from optimum import advised_with_repairs, least_minutes, least_with_repairs, minutes_of
from rival_orders import circuit_order, cost_over_prior

from pneumo.diagnosis.choice import Ints, Table, one_step, two_steps

Maker = Callable[[np.random.Generator], Table]

SEEDS = range(8)
"""Tables of each sort."""


def table(
    rng: np.random.Generator,
    predicted: Ints,
    minutes: float | np.ndarray = 5.0,
    group: Ints | None = None,
) -> Table:
    """A table with unequal chances and repairs of about a quarter of an hour, 4 to 60 min."""
    questions, rows = predicted.shape
    group = np.arange(rows) if group is None else group
    return Table(
        rng.dirichlet(np.ones(rows)),
        group,
        15 * 4 ** rng.uniform(-1, 1, group.max() + 1),
        np.broadcast_to(minutes, questions).astype(float),
        predicted,
        np.maximum(predicted.max(axis=1) + 1, 2),
        np.zeros(questions),
    )


def unequal(rng: np.random.Generator, questions: int) -> np.ndarray:
    """Minutes of questions, 1 to 25 min."""
    return 5 * 5 ** rng.uniform(-1, 1, questions)


def answers(rng: np.random.Generator, rows: int, questions: int) -> Ints:
    """Half of the questions divide all rows in two or three, half tell few rows from the rest."""
    half = questions // 2
    broad = rng.integers(0, rng.integers(2, 4, (half, 1)), (half, rows))
    narrow = rng.random((questions - half, rows)) < rng.uniform(0.1, 0.4, (questions - half, 1))
    return np.concatenate((broad, narrow.astype(int)))


def chain(parts: int) -> Ints:
    """A reading at each joint of a chain, and a test of each part alone."""
    part = np.arange(parts)
    return np.concatenate((part <= part[:-1, None], np.eye(parts, dtype=bool))).astype(int)


def tree(levels: int) -> Ints:
    """A reading at each branch of a tree: whether the fault is in it or beyond."""
    nodes = 2**levels - 1
    beyond = np.eye(nodes, dtype=int)
    for node in reversed(range(1, nodes)):
        beyond[(node - 1) // 2] |= beyond[node]
    return beyond[1:]


SORTS: dict[str, Maker] = {
    "any": lambda rng: table(rng, answers(rng, 10, 10), unequal(rng, 10)),
    "any, equal minutes": lambda rng: table(rng, answers(rng, 10, 10)),
    "several rows a group": lambda rng: table(
        rng, answers(rng, 11, 10), unequal(rng, 10), np.append(np.arange(4), rng.integers(0, 4, 7))
    ),
    "chain": lambda rng: table(rng, chain(8), unequal(rng, 15)),
    "chain, equal minutes": lambda rng: table(rng, chain(8)),
    "tree": lambda rng: table(rng, tree(3), unequal(rng, 6)),
}


def best_of_two(case: Table) -> int:
    return two_steps(case)[0].question


def over_least(sort: str, *rules: Callable[[Table], int]) -> list[list[float]]:
    """For each rule its expected minutes over the least, for each table of a sort."""
    cases = [SORTS[sort](np.random.default_rng(seed)) for seed in SEEDS]
    least = [least_minutes(case) for case in cases]
    return [
        [minutes_of(case, rule) / minutes for case, minutes in zip(cases, least, strict=True)]
        for rule in rules
    ]


@pytest.mark.parametrize("sort", SORTS)
def test_the_choice_takes_hardly_longer_than_the_best(sort: str) -> None:
    for ratios in over_least(sort, one_step, best_of_two):
        assert min(ratios) >= 1 - 1e-9
        assert np.mean(ratios) <= 1.1
        assert max(ratios) <= 1.4


@pytest.mark.parametrize("sort", SORTS)
def test_the_advice_when_to_repair_takes_hardly_longer_than_the_best(sort: str) -> None:
    cases = [SORTS[sort](np.random.default_rng(seed)) for seed in SEEDS]
    ratios = [advised_with_repairs(case) / least_with_repairs(case) for case in cases]
    assert min(ratios) >= 1 - 1e-9
    assert np.mean(ratios) <= 1.1
    assert max(ratios) <= 1.4


def test_simple_orders_take_longer() -> None:
    """Otherwise the tables would be too easy to tell a good choice from a bad one."""

    def in_order(case: Table) -> int:
        return circuit_order(case, range(len(case.minutes)))

    ours, ordered, by_cost = over_least(
        "several rows a group", best_of_two, in_order, cost_over_prior
    )
    assert np.mean(ordered) - 1 > 5 * (np.mean(ours) - 1)
    assert np.mean(by_cost) - 1 > 2 * (np.mean(ours) - 1)


def even(predicted: Ints) -> Table:
    """Equal chances; questions of 1 min, repairs of 10 min."""
    questions, rows = predicted.shape
    return Table(
        np.full(rows, 1 / rows), np.arange(rows), np.full(rows, 10.0), np.ones(questions),
        predicted, np.full(questions, 2), np.zeros(questions),
    )  # fmt: skip


def test_the_least_of_a_chain_is_halving() -> None:
    """Three tests for eight parts; without joints each part is tested alone: 1 to 6 tests, the
    last two parts by one."""
    assert least_minutes(even(chain(8))) == pytest.approx(3.0)
    assert least_minutes(even(chain(8)[7:])) == pytest.approx((1 + 2 + 3 + 4 + 5 + 6 + 7 + 7) / 8)


def test_the_least_with_repairs_takes_what_is_less() -> None:
    """Two parts: a test of 1 min against a repair of 10 min in vain every second time."""
    two = np.array([[0, 1]])
    assert least_with_repairs(even(two)) == pytest.approx(1.0)
    assert least_with_repairs(even(np.zeros((1, 2), int))) == pytest.approx(5.0)


def test_who_chooses_otherwise_stops_by_the_same_rule() -> None:
    """A test of 1 min and one of 3 min tell the same; without a test, a repair in vain every
    second time."""
    case = even(np.array([[0, 1], [0, 1]]))
    slow = Table(case.chance, case.group, case.repair, np.array([1.0, 3.0]), case.predicted,
                 case.outcomes, case.slip)  # fmt: skip
    minutes = [advised_with_repairs(slow, lambda left, n=n: n) for n in (0, 1, -1)]  # type: ignore[misc]
    assert minutes == pytest.approx([1.0, 3.0, 5.0])
    assert advised_with_repairs(slow) == pytest.approx(least_with_repairs(slow))


def test_what_is_never_told_ends_the_search() -> None:
    """Rows that differ in what they answer, and not in what may have to be repaired."""
    case = even(np.array([[0, 0, 1, 1]]))
    apart = Table(case.chance, np.array([0, 1, 0, 1]), case.repair[:2], case.minutes,
                  case.predicted, case.outcomes, case.slip)  # fmt: skip
    assert least_minutes(apart) == 0.0


def test_circuit_order_skips_what_tells_nothing() -> None:
    case = even(np.array([[0, 0, 0, 0], [0, 0, 1, 1], [0, 1, 1, 1]]))
    assert circuit_order(case, [0, 2, 1]) == 2
    assert circuit_order(case, [0]) == -1


def test_cost_over_prior_tries_the_group_that_is_cheap_and_likely() -> None:
    """Each part has a test of its own: 4, 1 and 9 min for chances of 0.6, 0.1 and 0.3."""
    case = Table(np.array([0.6, 0.1, 0.3]), np.arange(3), np.full(3, 10.0),
                 np.array([4.0, 1.0, 9.0]), np.eye(3, dtype=int), np.full(3, 2),
                 np.zeros(3))  # fmt: skip
    assert cost_over_prior(case) == 0


@pytest.mark.parametrize("predicted", [np.array([[0, -1]]), np.array([[0, 1]])])
def test_only_exact_tables_are_solved(predicted: Ints) -> None:
    case = even(predicted)
    slipping = Table(case.chance, case.group, case.repair, case.minutes, predicted,
                     case.outcomes, np.full(1, 0.1))  # fmt: skip
    with pytest.raises(ValueError, match="without slips"):
        least_minutes(slipping if (predicted >= 0).all() else case)
