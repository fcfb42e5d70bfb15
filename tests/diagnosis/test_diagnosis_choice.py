"""Which question is best: laws of any table, small cases by hand, a published example."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations, permutations
from math import log2
from random import Random

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from pneumo.diagnosis.choice import (
    RARE,
    Floats,
    Reason,
    Step,
    Table,
    advise,
    after,
    meanings,
    needless,
    one_step,
    two_steps,
)


def table(
    predicted: Sequence[Sequence[int]],
    chance: Sequence[float],
    group: Sequence[int] | None = None,
    minutes: Sequence[float] | None = None,
    repair: Sequence[float] | None = None,
    outcomes: Sequence[int] | None = None,
    slip: float = 0.0,
) -> Table:
    """A table of few rows; a group for each, questions and repairs that take as long, outcomes that
    some row predicts, unless told otherwise."""
    codes = np.array(predicted)
    groups = np.arange(len(chance)) if group is None else np.array(group)
    return Table(
        np.array(chance) / sum(chance),
        groups,
        np.full(groups.max() + 1, 30.0) if repair is None else np.array(repair),
        np.ones(len(predicted)) if minutes is None else np.array(minutes),
        codes,
        np.maximum(codes.max(axis=1) + 1, 2) if outcomes is None else np.array(outcomes),
        np.full(len(predicted), slip),
    )


@st.composite
def tables(draw: st.DrawFn) -> Table:
    """Any table, with rows and outcomes that cannot be, and rows that predict nothing."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    n, g, q = draw(st.integers(1, 9)), draw(st.integers(1, 5)), draw(st.integers(1, 6))
    outcomes = rng.integers(2, 6, q)
    chance = rng.dirichlet(np.full(n, 0.5)) * (rng.random(n) < 0.8)
    if not chance.any():
        chance[0] = 1.0
    return Table(
        chance / chance.sum(),
        rng.integers(0, g, n),
        rng.uniform(1, 90, g),
        rng.uniform(1, 20, q),
        rng.integers(-1, outcomes[:, None], (q, n)),
        outcomes,
        rng.choice([0.0, 0.02, 0.3], q),
    )


def likelihood(case: Table, question: int, row: int, outcome: int) -> float:
    """Chance of an outcome if it is this row, one by one."""
    outcomes, slip = int(case.outcomes[question]), float(case.slip[question])
    predicted = case.predicted[question, row]
    if predicted < 0:
        return 1 / outcomes
    return 1 - slip if predicted == outcome else slip / (outcomes - 1)


def found(case: Table, question: int) -> list[Floats]:
    """For each outcome of a question the chance that it is found with each row."""
    rows = range(len(case.chance))
    return [
        np.array([case.chance[row] * likelihood(case, question, row, outcome) for row in rows])
        for outcome in range(case.outcomes[question])
    ]


def bits(chances: Floats) -> float:
    return -sum(p * log2(p) for p in chances.tolist() if p > 0)


@given(tables())
def test_expected_entropies_agree_with_a_sum_over_single_outcomes(case: Table) -> None:
    for question in range(len(case.minutes)):
        of_group, of_row = 0.0, 0.0
        for joint in found(case, question):
            if joint.sum() > 0:
                groups = np.bincount(case.group, joint) / joint.sum()
                of_group += joint.sum() * bits(groups)
                of_row += joint.sum() * bits(joint / joint.sum())
        assert case.expected_entropy[question] == pytest.approx(of_group, abs=1e-9)
        row_gain = bits(case.chance) - of_row
        assert case.row_gains[question] == pytest.approx(row_gain, abs=1e-8)


@given(tables())
def test_no_question_is_expected_to_make_it_worse(case: Table) -> None:
    assert (case.expected_entropy <= case.entropy + 1e-9).all()
    assert (case.gains <= case.row_gains + 1e-8).all()
    cells = case.cells
    left = cells.over_outcomes(needless(cells.mass, case.repair[cells.groups]))
    assert (left <= needless(case.shares, case.repair) + 1e-9).all()


@given(tables())
def test_what_is_left_after_each_outcome_mixes_to_what_was(case: Table) -> None:
    for question in range(len(case.minutes)):
        mixed = np.zeros(len(case.chance))
        for outcome, joint in enumerate(found(case, question)):
            if joint.sum() > 0:
                then = after(case, question, outcome)
                assert then.chance.sum() == pytest.approx(1.0)
                assert then.gains[question] == then.row_gains[question] == 0.0
                mixed += joint.sum() * then.chance
        assert mixed == pytest.approx(case.chance)


@given(tables())
def test_outcomes_mean_what_is_left_after_them(case: Table) -> None:
    for question in range(len(case.minutes)):
        told = meanings(case, question, most=len(case.repair))
        assert sum(meaning.chance for meaning in told) == pytest.approx(1.0)
        for meaning in told:
            shares = after(case, question, meaning.outcome).shares
            told_shares = [share for _, share in meaning.leaders]
            assert told_shares == pytest.approx([shares[group] for group, _ in meaning.leaders])
            assert told_shares == pytest.approx(sorted(shares[shares > 0], reverse=True))


@given(tables(), st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter(case: Table, random: Random) -> None:
    order = random.sample(range(len(case.chance)), len(case.chance))
    moved = replace(
        case,
        chance=case.chance[order],
        group=case.group[order],
        predicted=case.predicted[:, order],
    )
    assert moved.gains == pytest.approx(case.gains, abs=1e-9)
    mine, theirs = two_steps(case), two_steps(moved)
    assert [step.rate for step in mine] == pytest.approx([step.rate for step in theirs], abs=1e-9)


@given(tables(), st.integers(0, 1))
def test_what_all_rows_answer_alike_tells_nothing(case: Table, code: int) -> None:
    alike = replace(case, predicted=np.full_like(case.predicted, code))
    assert not alike.row_gains.any()
    assert two_steps(alike) == () and one_step(alike) == -1


@given(tables())
def test_what_comes_by_chance_tells_nothing(case: Table) -> None:
    by_chance = replace(case, slip=1 - 1 / case.outcomes)
    assert not by_chance.row_gains.any()


@given(tables())
def test_no_order_of_repairs_loses_less(case: Table) -> None:
    shares, repair = case.shares, case.repair
    groups = range(len(repair))
    orders = (
        sum(repair[group] * shares[list(order[i + 1 :])].sum() for i, group in enumerate(order))
        for order in permutations(groups)
    )
    assert needless(shares, repair) == pytest.approx(min(orders), abs=1e-9)


@given(tables())
def test_a_second_question_counts_after_those_outcomes_where_it_tells_most_for_each_minute(
    case: Table,
) -> None:
    assume(len(np.unique(case.predicted[:, case.chance > 0], axis=0)) == len(case.minutes))
    for step in two_steps(case):
        seconds = []
        for meaning in meanings(case, step.question):
            then = after(case, step.question, meaning.outcome)
            if meaning.chance >= RARE and (second := one_step(then)) >= 0:
                worth = np.array([then.gains[second], then.minutes[second]])
                seconds.append(meaning.chance * worth)
        first = np.array([case.gains[step.question], case.minutes[step.question]])
        rates = [
            gain / minutes
            for count in range(len(seconds) + 1)
            for some in combinations(seconds, count)
            for gain, minutes in [first + sum(some, np.zeros(2))]
        ]
        assert step.rate == pytest.approx(max(rates), rel=1e-9)
        for outcome, second in step.then:
            assert one_step(after(case, step.question, outcome)) == second


def test_a_question_that_tells_more_for_each_minute_is_asked_first() -> None:
    four = [[0, 0, 1, 1], [0, 1, 1, 1]]
    assert one_step(table(four, [1, 1, 1, 1])) == 0
    assert one_step(table(four, [1, 1, 1, 1], minutes=[4.0, 1.0])) == 1
    # one group in two rows: the second question alone settles it
    assert one_step(table(four, [1, 1, 1, 1], group=[0, 1, 1, 1])) == 1


def test_two_questions_that_tell_only_together_are_found() -> None:
    both = table([[0, 0, 1, 1], [0, 1, 0, 1]], [1, 1, 1, 1], group=[0, 1, 1, 0])
    assert one_step(both) == -1
    assert two_steps(both) == (
        Step(question=0, then=((0, 1), (1, 1)), gain=1.0, minutes=2.0, saves=15.0 - 2.0),
        Step(question=1, then=((0, 0), (1, 0)), gain=1.0, minutes=2.0, saves=15.0 - 2.0),
    )
    assert advise(both, sure=0.95).reason is Reason.ASK


def test_of_questions_that_tell_only_together_the_quick_ones_are_found() -> None:
    """The quickest of all tells rows apart, but helps no other question."""
    slow = [[a, a, b, b] * 2 for a in range(3) for b in range(4) if a != b]
    quick = [[0, 0, 1, 1] * 2, [0, 1, 0, 1] * 2, [0] * 4 + [1] * 4]
    minutes = [9.0] * len(slow) + [1.0, 1.0, 0.5]
    case = table(slow + quick, [1] * 8, group=[0, 1, 1, 0] * 2, minutes=minutes)
    assert two_steps(case)[0].minutes == pytest.approx(2.0)


def test_a_second_question_counts_where_it_tells_more_for_each_minute() -> None:
    # after its outcome 1 a quick question settles what is left, after 0 a slow one
    case = table([[0, 0, 0, 0], [0, 0, 1, 1], [2, 2, 0, 1], [0, 1, 2, 2]], [1, 1, 1, 1],
                 minutes=[1.0, 4.0, 2.0, 50.0])  # fmt: skip
    step = next(step for step in two_steps(case) if step.question == 1)
    assert step.then == ((1, 2),)
    assert (step.gain, step.minutes) == (pytest.approx(1.5), pytest.approx(5.0))


def test_what_tells_nothing_is_not_asked_before_what_tells_something() -> None:
    assert [step.question for step in two_steps(table([[0, 0], [0, 1]], [1, 1]))] == [1]


def test_questions_that_tell_the_same_are_looked_at_once() -> None:
    halves = [[0, 0, 1, 1]] * 20 + [[0, 1, 0, 1]]
    steps = two_steps(table(halves, [1, 1, 1, 1], minutes=[3.0] * 12 + [2.0] * 8 + [9.0]))
    assert [step.question for step in steps] == [12, 20]


def test_testing_ends_when_one_group_is_sure_enough() -> None:
    case = table([[0, 1]], [0.94, 0.06])
    assert advise(case, sure=0.95).reason is Reason.ASK
    advice = advise(case, sure=0.94)
    assert (advice.reason, advice.steps, advice.group) == (Reason.SURE, (), 0)
    assert (advice.share, advice.needless) == (pytest.approx(0.94), pytest.approx(0.06 * 30))


@pytest.mark.parametrize(("minutes", "reason"), [(5.0, Reason.ASK), (7.0, Reason.REPAIR)])
def test_testing_ends_when_it_costs_more_than_it_saves(minutes: float, reason: Reason) -> None:
    """To repair the leader loses 30 min in one case of five: 6 min."""
    advice = advise(table([[0, 1]], [0.8, 0.2], minutes=[minutes]), sure=0.99)
    assert advice.reason is reason
    assert advice.needless == pytest.approx(6.0)
    assert advice.steps[0].saves == pytest.approx(6.0 - minutes)


@given(tables())
def test_testing_goes_on_as_long_as_any_question_saves_more_than_it_costs(case: Table) -> None:
    advice = advise(case, sure=1.0)
    pays = [step for step in advice.steps if step.saves > 0]
    assert (advice.reason is Reason.ASK) == bool(pays)
    if pays:
        assert advice.steps[0].rate == max(step.rate for step in pays)
    else:
        left = case.cells.over_outcomes(needless(case.cells.mass, case.repair[case.cells.groups]))
        assert (advice.needless - left <= case.minutes + 1e-9).all()


def test_what_pays_is_asked_before_what_tells_more() -> None:
    """Whether it is the first group is worth no test: its repair takes 5 min."""
    case = table([[0, 1, 1], [0, 0, 1]], [4, 1, 1], minutes=[11.0, 9.0], repair=[5.0, 60.0, 60.0])
    assert [step.question for step in two_steps(case)] == [0, 1]
    first, second = advise(case, sure=0.95).steps
    assert (first.question, first.saves) == (1, pytest.approx(70 / 6 - 9 - 5 / 6))
    assert (second.question, second.saves) == (0, pytest.approx(70 / 6 - 11 - 9 / 3))


def test_what_pays_is_found_behind_many_that_tell_more() -> None:
    """Eight parts are repaired in a minute each: whether it is one of them is worth no test of two.
    Which of the two others it is saves many minutes, at a low rate of information; what tells all
    at once costs more than it saves."""
    quick = np.eye(8, 10, dtype=int)
    which, all_at_once = [0] * 9 + [1], list(range(10))
    case = table([*quick, all_at_once, which], [6] * 8 + [26] * 2,
                 minutes=[2.0] * 8 + [900.0, 20.0], repair=[1.0] * 8 + [120.0] * 2)  # fmt: skip
    advice = advise(case, sure=0.95)
    assert (advice.reason, advice.steps[0].question) == (Reason.ASK, 9)


def test_testing_ends_when_nothing_tells_groups_apart() -> None:
    advice = advise(table([[0, 0, 1]], [3, 1, 0]), sure=0.95)
    assert (advice.reason, advice.steps) == (Reason.NOTHING, ())


def test_the_quick_repair_comes_first_when_it_loses_less() -> None:
    """0.6 x 10 min are lost by it, 0.4 x 60 min by the likelier one."""
    advice = advise(table([[0, 0]], [0.6, 0.4], repair=[60.0, 10.0]), sure=0.95)
    assert (advice.group, advice.share) == (1, pytest.approx(0.4))
    assert advice.needless == pytest.approx(6.0)


def test_what_takes_no_time_comes_first() -> None:
    """A ride's document may say that a test or a repair takes 0 s."""
    case = table([[0, 0, 1, 1], [0, 0, 1, 2]], [4, 3, 2, 1],
                 minutes=[0.0, 1.0], repair=[30.0, 0.0, 30.0, 30.0])  # fmt: skip
    advice = advise(case, sure=0.95)
    assert one_step(case) == advice.steps[0].question == 0
    assert advice.group == 1
    assert advice.needless == pytest.approx((1 - 0.7) * 30 + (1 - 0.9) * 30, abs=0.1)


def test_an_outcome_that_nothing_allows_is_refused() -> None:
    with pytest.raises(ValueError, match="no row allows outcome 1 of question 0"):
        after(table([[0, 0]], [1, 1]), 0, 1)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"group": np.array([0])}, "each row needs a group"),
        ({"predicted": np.array([0, 1])}, "an entry for each question"),
        ({"slip": np.zeros(2)}, "its slip"),
        ({"chance": np.array([0.5, 0.6])}, "make 1 together"),
        ({"chance": np.array([1.5, -0.5])}, "must not be negative"),
        ({"group": np.array([0, 2])}, "minutes of its repair"),
        ({"minutes": np.array([-1.0])}, "less than 0 minutes"),
        ({"repair": np.array([9.0, -1.0])}, "less than 0 minutes"),
        ({"outcomes": np.array([1])}, "two outcomes at least"),
        ({"slip": np.array([1.1])}, "a slip from 0 to 1"),
        ({"predicted": np.array([[0, 2]])}, "an outcome is predicted"),
        ({"predicted": np.array([[0, -2]])}, "an outcome is predicted"),
    ],
)
def test_arrays_that_do_not_fit_are_refused(change: dict[str, Floats], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        replace(table([[0, 1]], [1, 1]), **change)


def test_a_table_without_rows_is_refused() -> None:
    none = np.zeros(0)
    with pytest.raises(ValueError, match="a row and a question"):
        Table(none, none.astype(int), none, none, np.zeros((0, 0), int), none.astype(int), none)


# The published example: x = A·C, y = B·D, z = C·E, F = x + y, G = y + z with A, B, C, D, E =
# 3, 2, 2, 3, 3; observed F = 10 and G = 12; each part is abnormal with chance 0.01 (de Kleer and
# Williams 1987; the figures from memory, checked by adding up all 32 sets of abnormal parts).

PARTS = {
    "M1": ((1, 0, 0), 3 * 2),
    "M2": ((0, 1, 0), 2 * 3),
    "M3": ((0, 0, 1), 2 * 3),
    "A1": ((1, 1, 0), 10),
    "A2": ((0, 1, 1), 12),
}
"""What a sound part says of (x, y, z): factors of each, and their sum."""

Suspects = dict[frozenset[str], tuple[int | None, ...]]
"""Abnormal parts -> values of x, y and z; None: an abnormal part leaves it open."""


def consistent() -> Suspects:
    """Every set of abnormal parts that what was observed allows. Abnormal parts say nothing."""
    suspects: Suspects = {}
    for count in range(len(PARTS) + 1):
        for abnormal in combinations(PARTS, count):
            sound = [PARTS[name] for name in PARTS if name not in abnormal]
            factors = np.array([row for row, _ in sound]).reshape(-1, 3)
            sums = np.array([total for _, total in sound])
            rank = np.linalg.matrix_rank(factors) if sound else 0
            if sound and np.linalg.matrix_rank(np.column_stack((factors, sums))) > rank:
                continue  # they contradict each other
            solved = np.linalg.lstsq(factors, sums, rcond=None)[0] if sound else np.zeros(3)
            case = [
                bool(sound) and np.linalg.matrix_rank(np.vstack((factors, unit))) == rank
                for unit in np.eye(3)
            ]
            values = (round(v) if fixed else None for v, fixed in zip(solved, case, strict=True))
            suspects[frozenset(abnormal)] = tuple(values)
    return suspects


def published(suspects: Suspects, open_values: str) -> Table:
    """A row and a group for each set, a question for each of x, y and z.

    `open_values`: what a row says of a value that it leaves open, "another": one that no row
    predicts; "any": any of a hundred million values, each as likely.
    """
    predicted, outcomes = [], []
    for values in zip(*suspects.values(), strict=True):
        foreseen = sorted({value for value in values if value is not None})
        silent = len(foreseen) if open_values == "another" else -1
        predicted.append([silent if v is None else foreseen.index(v) for v in values])
        outcomes.append(len(foreseen) + 1 if open_values == "another" else 10**8)
    prior = [0.01 ** len(s) * 0.99 ** (5 - len(s)) for s in suspects]
    return table(predicted, prior, outcomes=outcomes)


def test_three_multipliers_and_two_adders_smallest_sets_that_explain() -> None:
    suspects = consistent()
    smallest = {s for s in suspects if not any(other < s for other in suspects)}
    assert smallest == {frozenset(s) for s in (["A1"], ["M1"], ["A2", "M2"], ["M2", "M3"])}


@pytest.mark.parametrize("open_values", ["another", "any"])
def test_three_multipliers_and_two_adders_measure_x_first(open_values: str) -> None:
    """The published figures follow when a value that is left open is found to be one that nothing
    predicts, the limit of ever more values that are equally likely. Were it one of the predicted
    ones, x would leave 0.364589 bit."""
    case = published(consistent(), open_values)
    assert case.entropy == pytest.approx(1.359445, abs=1e-6)
    assert case.expected_entropy == pytest.approx([0.318607, 1.277901, 1.312044], abs=1e-6)
    assert one_step(case) == two_steps(case)[0].question == 0


def test_three_multipliers_and_two_adders_what_x_would_mean() -> None:
    suspects = consistent()
    sets = list(suspects)
    another, four, six = meanings(published(suspects, "any"), 0, most=1)
    for meaning, value, part in ((four, 4, "M1"), (six, 6, "A1")):
        weights = {s: 99.0 ** -len(s) for s, (x, _, _) in suspects.items() if x == value}
        ((group, share),) = meaning.leaders
        assert sets[group] == {part}
        assert share == pytest.approx(weights[frozenset([part])] / sum(weights.values()), rel=1e-6)
    assert another.outcome == -1
    assert sets[another.leaders[0][0]] == {"A1", "M1"}
