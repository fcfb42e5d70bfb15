"""Where the slopes of a plant's rates stand in a sparse matrix."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from plain_laws import Array
from scipy.sparse import csc_matrix

ROWS = 4
"""A path's flow changes m and U at a and at b, and depends on"""

COLUMNS = 11
"""m, U, x at a and at b, U, x at the nodes that open and close it, and its stem."""


class Numbers(NamedTuple):
    """Which state is which; -1: there is none. Nodes end with one entry more, which stands for all
    of the boundary and for none."""

    m: Array
    u: Array
    x: Array
    """Of the mover that each node moves with."""
    v: Array
    size: int


class Pattern:
    """Entries are handed over in blocks, each as long as its rows and columns."""

    def __init__(self, size: int, rows: list[Array], cols: list[Array]) -> None:
        row, col = np.concatenate(rows), np.concatenate(cols)
        self._wanted = (row >= 0) & (col >= 0)
        own = np.arange(size)
        row, col = (
            np.concatenate((each[self._wanted], own)).astype(np.int64) for each in (row, col)
        )
        keys, place = np.unique(col * size + row, return_inverse=True)
        self._place, self._diagonal = place[:-size], place[-size:]
        self._rows = (keys % size).astype(np.int32)
        self._starts = np.searchsorted(keys, np.arange(size + 1) * size).astype(np.int32)
        self._size = size

    def gathered(self, blocks: list[Array]) -> Array:
        """Entries that stand in one place added up."""
        entries = np.concatenate(blocks)
        found: Array = np.bincount(self._place, entries[self._wanted], len(self._rows))
        return found

    def shifted(self, slopes: Array, diagonal: float) -> csc_matrix:
        """diagonal * I - J, of the entries that `gathered` gave."""
        data = -slopes
        data[self._diagonal] += diagonal
        shape = (self._size, self._size)
        return csc_matrix((data, self._rows, self._starts), shape=shape, copy=False)


def of_paths(row: Array, numbers: Numbers, z: Array) -> tuple[Array, Array]:
    """Rows and columns of the ROWS times COLUMNS slopes of each path."""
    m, u, x, _, _ = numbers
    nodes = len(m) - 1

    def inner(n: Array) -> Array:
        return np.where((n >= 0) & (n < nodes), n, nodes)

    a, b, hi, lo = (inner(row[name]) for name in ("a", "b", "hi", "lo"))
    stem = np.where(row["stem"] >= 0, np.append(z, -1)[row["stem"]], -1)
    on = np.stack((m[a], u[a], x[a], m[b], u[b], x[b], u[hi], x[hi], u[lo], x[lo], stem))
    of = np.stack((m[a], u[a], m[b], u[b]))
    shape = (ROWS, COLUMNS, len(row))
    rows, cols = np.broadcast_to(of[:, None], shape), np.broadcast_to(on[None], shape)
    return rows.ravel(), cols.ravel()
