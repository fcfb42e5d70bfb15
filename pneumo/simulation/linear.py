"""Sparse LU on a pattern that is fixed when the circuit is compiled. No pivoting: the matrices
I/(gamma h) - J of a dissipative network are safe to eliminate in the order chosen."""

from __future__ import annotations

from typing import Any

from pneumo.simulation.jit import kernel

Array = Any


@kernel
def factor(row: Array, column: Array, diagonal: Array, value: Array, work: Array) -> None:
    """Replaces a matrix by its factors L (unit diagonal) and U, in place.

    Parameters
    ----------
    row, column, diagonal : ndarray
        Filled pattern in compressed rows, see `Network`.
    value : ndarray, shape (nfill,)
        The matrix on that pattern; on return its factors, the diagonal of U inverted.
    work : ndarray, shape (main,)
        Scratch.
    """
    for i in range(diagonal.shape[0]):
        for e in range(row[i], row[i + 1]):
            work[column[e]] = value[e]
        for e in range(row[i], diagonal[i]):
            k = column[e]
            share = work[k] * value[diagonal[k]]
            work[k] = share
            if share != 0.0:
                for u in range(diagonal[k] + 1, row[k + 1]):
                    work[column[u]] -= share * value[u]
        for e in range(row[i], row[i + 1]):
            value[e] = work[column[e]]
        value[diagonal[i]] = 1.0 / value[diagonal[i]]


@kernel
def solve(row: Array, column: Array, diagonal: Array, value: Array, x: Array) -> None:
    """Solves with the factors of `factor`; x holds the right-hand side, then the solution
    (entries beyond the matrix are left alone)."""
    n = diagonal.shape[0]
    for i in range(n):
        total = x[i]
        for e in range(row[i], diagonal[i]):
            total -= value[e] * x[column[e]]
        x[i] = total
    for i in range(n - 1, -1, -1):
        total = x[i]
        for e in range(diagonal[i] + 1, row[i + 1]):
            total -= value[e] * x[column[e]]
        x[i] = total * value[diagonal[i]]
