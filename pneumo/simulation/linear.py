"""Sparse LU on a pattern that is fixed when the circuit is compiled. No pivoting: the matrices
I/(gamma h) - J of a dissipative network are safe to eliminate in the order chosen."""

from __future__ import annotations

from typing import Any

from pneumo.simulation.jit import inlined

Array = Any


@inlined
def factor(
    row: Array,
    end: Array,
    column: Array,
    diagonal: Array,
    first: Array,
    cells: Array,
    ncell: int,
    value: Array,
    work: Array,
) -> None:
    """Replaces the rows of some cells by their factors L (unit diagonal) and U, in place.

    Parameters
    ----------
    row, column, diagonal : ndarray
        Filled pattern in compressed rows, see `Network`.
    end : ndarray
        Place in it up to which each row is looked at: `row[1:]`, or `Network.own` for a cell alone.
    first : ndarray, shape (cells of the network + 1,)
        First row of each cell, and the end.
    cells, ncell
        The first `ncell` of `cells`, ascending, are taken; entries in columns of other cells must
        be zero.
    value : ndarray, shape (nfill,)
        The matrix on that pattern; on return its factors, the diagonal of U inverted.
    work : ndarray, shape (main,)
        Scratch.
    """
    for m in range(ncell):
        for i in range(first[cells[m]], first[cells[m] + 1]):
            for e in range(row[i], end[i]):
                work[column[e]] = value[e]
            for e in range(row[i], diagonal[i]):
                k = column[e]
                if work[k] != 0.0:
                    share = work[k] * value[diagonal[k]]
                    work[k] = share
                    for u in range(diagonal[k] + 1, end[k]):
                        work[column[u]] -= share * value[u]
            for e in range(row[i], end[i]):
                value[e] = work[column[e]]
            value[diagonal[i]] = 1.0 / value[diagonal[i]]


@inlined
def solve(
    row: Array,
    end: Array,
    column: Array,
    diagonal: Array,
    first: Array,
    cells: Array,
    ncell: int,
    value: Array,
    x: Array,
) -> None:
    """Solves with the factors of `factor`; x holds the right-hand side, then the solution (entries
    of other cells and beyond the matrix are left alone)."""
    for m in range(ncell):
        for i in range(first[cells[m]], first[cells[m] + 1]):
            total = x[i]
            for e in range(row[i], diagonal[i]):
                total -= value[e] * x[column[e]]
            x[i] = total
    for m in range(ncell - 1, -1, -1):
        for i in range(first[cells[m] + 1] - 1, first[cells[m]] - 1, -1):
            total = x[i]
            for e in range(diagonal[i] + 1, end[i]):
                total -= value[e] * x[column[e]]
            x[i] = total * value[diagonal[i]]
