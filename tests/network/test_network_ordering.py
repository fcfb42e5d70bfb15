"""The elimination order and its fill-in, and the factorisation that works on that pattern."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from pneumo.network.ordering import filled_rows, minimum_degree
from pneumo.simulation.linear import Rows, factor, solve

examples = settings(max_examples=100)


@st.composite
def patterns(draw: st.DrawFn) -> tuple[list[set[int]], int]:
    """A symmetric coupling of up to 25 states, and a seed for numbers on it."""
    n = draw(st.integers(1, 25))
    pairs = draw(st.lists(st.tuples(st.integers(0, n - 1), st.integers(0, n - 1)), max_size=3 * n))
    near: list[set[int]] = [set() for _ in range(n)]
    for i, j in pairs:
        if i != j:
            near[i].add(j)
            near[j].add(i)
    return near, draw(st.integers(0, 2**32 - 1))


def compressed(rows: list[list[int]]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Start of each row, column of each entry, place of each diagonal entry."""
    start = np.cumsum([0, *(len(row) for row in rows)])
    column = np.array([j for row in rows for j in row])
    return start, column, np.array([start[i] + row.index(i) for i, row in enumerate(rows)])


@examples
@given(patterns())
def test_order_is_a_permutation_that_starts_where_least_is_coupled(
    given_pattern: tuple[list[set[int]], int],
) -> None:
    near, _ = given_pattern
    order = minimum_degree(near, [0] * len(near))
    assert sorted(order) == list(range(len(near)))
    assert len(near[order[0]]) == min(len(row) for row in near)


@examples
@given(patterns(), st.integers(2, 4))
def test_cells_are_eliminated_one_after_another(
    given_pattern: tuple[list[set[int]], int], count: int
) -> None:
    """Each starts with its state that is then coupled least, other partitions' states counted
    too."""
    near, seed = given_pattern
    partition = np.random.default_rng(seed).integers(count, size=len(near)).tolist()
    order = minimum_degree(near, partition)
    assert sorted(order) == list(range(len(near)))
    assert [partition[i] for i in order] == sorted(partition)
    fewest = min(len(row) for row, c in zip(near, partition, strict=True) if c == min(partition))
    assert len(near[order[0]]) == fewest


@examples
@given(patterns())
def test_a_tree_fills_nothing_in(given_pattern: tuple[list[set[int]], int]) -> None:
    """Least degree first eliminates a tree from its leaves: no entry is added."""
    n = len(given_pattern[0])
    rng = np.random.default_rng(given_pattern[1])
    near: list[set[int]] = [set() for _ in range(n)]
    for child in range(1, n):
        parent = int(rng.integers(child))
        near[child].add(parent)
        near[parent].add(child)
    order = minimum_degree(near, [0] * n)
    place = {old: new for new, old in enumerate(order)}
    entries = [{place[j] for j in near[old]} | {place[old]} for old in order]
    assert [set(row) for row in filled_rows(entries)] == entries


@examples
@given(patterns())
def test_factorisation_against_numpy(given_pattern: tuple[list[set[int]], int]) -> None:
    """Random unsymmetric numbers on a random pattern, diagonally heavy as I/(gamma h) - J is."""
    near, seed = given_pattern
    n = len(near)
    rng = np.random.default_rng(seed)
    entries = [row | {i} for i, row in enumerate(near)]
    rows = filled_rows(entries)
    assert all(set(row) >= given_row for row, given_row in zip(rows, entries, strict=True))
    matrix = np.zeros((n, n))
    for i, columns in enumerate(entries):
        for j in columns:
            matrix[i, j] = rng.normal()
        matrix[i, i] = 1.0 + np.abs(matrix[i]).sum()
    start, column, diagonal = compressed(rows)
    value = np.array([matrix[i, j] for i, row in enumerate(rows) for j in row])
    first, one = np.array([0, n]), np.array([0])
    whole = Rows(start, start[1:], column, diagonal, first, one, 1)
    factor(whole, value, np.zeros(n))
    lower, upper = np.eye(n), np.zeros((n, n))
    for i, row in enumerate(rows):
        for e, j in enumerate(row):
            entry = value[start[i] + e]
            if j < i:
                lower[i, j] = entry
            else:
                upper[i, j] = 1.0 / entry if j == i else entry
    np.testing.assert_allclose(lower @ upper, matrix, rtol=0, atol=1e-12 * matrix.max())
    right = rng.normal(size=n)
    x = np.concatenate([right, [7.0, 8.0]])  # entries beyond the matrix are left alone
    solve(whole, value, x)
    np.testing.assert_allclose(x[:n], np.linalg.solve(matrix, right), rtol=1e-10, atol=1e-12)
    assert x[n:].tolist() == [7.0, 8.0]


@examples
@given(patterns(), st.integers(2, 4))
def test_some_cells_alone_against_numpy(
    given_pattern: tuple[list[set[int]], int], count: int
) -> None:
    """The rows and columns of the partitions taken are factored and solved; the rest is left alone.
    Of one partition the rows are looked at up to the end of its own columns only."""
    near, seed = given_pattern
    n = len(near)
    rng = np.random.default_rng(seed)
    first = np.concatenate([[0], np.sort(rng.integers(n + 1, size=count - 1)), [n]])
    partitions = np.flatnonzero(rng.random(count) < 0.6)
    taken = np.zeros(n, dtype=bool)
    for c in partitions:
        taken[first[c] : first[c + 1]] = True
    rows = filled_rows([row | {i} for i, row in enumerate(near)])
    matrix = np.zeros((n, n))
    for i, columns in enumerate(near):
        for j in columns:
            matrix[i, j] = rng.normal() if taken[i] and taken[j] else 0.0
        matrix[i, i] = 1.0 + np.abs(matrix[i]).sum()
    start, column, diagonal = compressed(rows)
    value = np.array([matrix[i, j] for i, row in enumerate(rows) for j in row])
    others = ~np.repeat(taken, np.diff(start))
    kept = value[others]
    partition = np.searchsorted(first, np.arange(n), side="right") - 1
    own = np.array(
        [start[i] + sum(partition[j] <= partition[i] for j in row) for i, row in enumerate(rows)]
    )
    end = own if len(partitions) == 1 else start[1:]
    some = Rows(start, end, column, diagonal, first, partitions, len(partitions))
    factor(some, value, np.zeros(n))
    assert np.array_equal(value[others], kept)
    right = rng.normal(size=n)
    x = right.copy()
    solve(some, value, x)
    assert np.array_equal(x[~taken], right[~taken])
    part = matrix[np.ix_(taken, taken)]
    np.testing.assert_allclose(
        x[taken], np.linalg.solve(part, right[taken]), rtol=1e-10, atol=1e-12
    )
