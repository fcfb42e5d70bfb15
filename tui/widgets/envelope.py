"""The least and the greatest of recorded channels in bins of time, kept up as the record grows.

A drawn curve needs no more than this, and no spike is lost, however short. Each bin also holds
what the curve is at its two edges, so that neighbouring bins join without a break.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pneumo.network.network import Array

_SHORTEST = 1e-9
"""[s] Stands for the time between two entries at one instant."""


class Envelope:
    """Bins of equal width [s]; bin number i begins at i * width.

    `steps` says for each channel whether it holds its value until the next entry (a contact), or
    goes there in a straight line. NaN is a gap.
    """

    def __init__(self, width: float, columns: Sequence[int], steps: Sequence[bool]) -> None:
        self.width = width
        self._columns = np.asarray(columns, dtype=np.intp)
        self._steps = np.asarray(steps, dtype=bool)
        self._read = 0
        """Entries of the record that are in the bins."""
        self._first = 0
        """Number of the first bin that is kept."""
        self._low = self._high = np.empty((0, len(columns)), dtype=np.float32)

    def follow(self, times: Array, values: Array) -> None:
        """Takes in what a record has more than before; times (n,), values (n, channels)."""
        if len(times) <= self._read or not len(self._columns):
            return
        begin = max(self._read - 1, 0)  # the last entry again: a line begins there
        t = times[begin:]
        y = values[begin:][:, self._columns]
        bins = np.floor(t / self.width).astype(np.int64)
        if self._read == 0:
            self._first = int(bins[0])
        self._reserve(int(bins[-1]) - self._first + 1)
        self._take_entries(bins - self._first, y)
        self._take_edges(t, y, int(bins[0]), int(bins[-1]))
        self._read = len(times)

    def bins(self, start: int, count: int) -> tuple[Array, Array]:
        """Least and greatest of `count` bins from number `start` on, each (count, columns)."""
        low = np.full((count, len(self._columns)), np.nan, dtype=np.float32)
        high = low.copy()
        begin = max(start, self._first)
        end = min(start + count, self._first + len(self._low))
        if begin < end:
            kept = slice(begin - self._first, end - self._first)
            low[begin - start : end - start] = self._low[kept]
            high[begin - start : end - start] = self._high[kept]
        return low, high

    def _reserve(self, count: int) -> None:
        if count > len(self._low):
            shape = (max(count, 2 * len(self._low)), len(self._columns))
            for name in ("_low", "_high"):
                old = getattr(self, name)
                new = np.full(shape, np.nan, dtype=np.float32)
                new[: len(old)] = old
                setattr(self, name, new)

    def _take_entries(self, bins: Array, y: Array) -> None:
        starts = np.flatnonzero(np.diff(bins, prepend=bins[0] - 1))
        at = bins[starts]
        self._low[at] = np.fmin(self._low[at], np.fmin.reduceat(y, starts, axis=0))
        self._high[at] = np.fmax(self._high[at], np.fmax.reduceat(y, starts, axis=0))

    def _take_edges(self, t: Array, y: Array, first: int, last: int) -> None:
        """An edge between two bins belongs to both."""
        if first == last:
            return
        edges = np.arange(first + 1, last + 1) * self.width
        left = np.clip(np.searchsorted(t, edges, side="right") - 1, 0, len(t) - 2)
        share = (edges - t[left]) / np.maximum(t[left + 1] - t[left], _SHORTEST)
        share = np.where(self._steps, 0.0, np.clip(share, 0.0, 1.0)[:, None])
        value = (y[left] + share * (y[left + 1] - y[left])).astype(np.float32)
        for at in (slice(first - self._first, last - self._first),
                   slice(first + 1 - self._first, last + 1 - self._first)):  # fmt: skip
            self._low[at] = np.fmin(self._low[at], value)
            self._high[at] = np.fmax(self._high[at], value)


def at_instant(times: Array, values: Array, column: int, time: float, step: bool) -> float | None:
    """One channel at an instant [s]; None: not recorded, or not seen."""
    n = int(np.searchsorted(times, time, side="right"))
    if n == 0 or time > times[-1]:
        return None
    value = float(values[n - 1, column])
    if not step and n < len(times):
        share = (time - times[n - 1]) / max(times[n] - times[n - 1], _SHORTEST)
        value += float(share) * (float(values[n, column]) - value)
    return None if np.isnan(value) else value
