"""Sparse LU on a pattern that is fixed when the circuit is compiled. No pivoting: the matrices
I/(gamma h) - J of a dissipative network are safe to eliminate in the order chosen."""

from __future__ import annotations

from typing import NamedTuple

from pneumo.network.network import Floats, Ints
from pneumo.simulation.jit import inlined


class Rows(NamedTuple):
    """The rows of some partitions of a matrix on its filled pattern, see `Network`.

    Entries in columns of other partitions must be zero.
    """

    row: Ints  # (main + 1,) where each row begins
    end: Ints  # (main,) up to where it is looked at: `row[1:]`; for one partition `Network.own`
    column: Ints  # (nfill,)
    diagonal: Ints  # (main,)
    first: Ints  # (npartition + 1,) first row of each partition, and the end
    partitions: Ints  # the partitions, ascending
    number: int  # how many of them are taken


@inlined
def factor(rows: Rows, value: Floats, work: Floats) -> None:
    """Replaces the rows by their factors L (unit diagonal) and U, in place.

    Parameters
    ----------
    value : ndarray, shape (nfill,)
        The matrix; on return its factors, the diagonal of U inverted.
    work : ndarray, shape (main,)
        Scratch.
    """
    row, end, column, diagonal = rows.row, rows.end, rows.column, rows.diagonal
    first, partitions = rows.first, rows.partitions
    for m in range(rows.number):
        for i in range(first[partitions[m]], first[partitions[m] + 1]):
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
def solve(rows: Rows, value: Floats, x: Floats) -> None:
    """Solves with the factors of `factor`; x holds the right-hand side, then the solution (entries
    of other partitions and beyond the matrix are left alone)."""
    row, end, column, diagonal = rows.row, rows.end, rows.column, rows.diagonal
    first, partitions = rows.first, rows.partitions
    for m in range(rows.number):
        for i in range(first[partitions[m]], first[partitions[m] + 1]):
            total = x[i]
            for e in range(row[i], diagonal[i]):
                total -= value[e] * x[column[e]]
            x[i] = total
    for m in range(rows.number - 1, -1, -1):
        for i in range(first[partitions[m] + 1] - 1, first[partitions[m]] - 1, -1):
            total = x[i]
            for e in range(diagonal[i] + 1, end[i]):
                total -= value[e] * x[column[e]]
            x[i] = total * value[diagonal[i]]
