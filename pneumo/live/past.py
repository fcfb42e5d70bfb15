"""What a ride has recorded: every channel on a grid of simulated time, and the events."""

from __future__ import annotations

from math import inf, nextafter
from mmap import mmap

import numpy as np

from pneumo.live.link import Past
from pneumo.network.network import Array
from pneumo.scenario.event import RunEvent

GRID = 0.1
"""From one row to the next [s of simulated time]."""

WHOLE = 1200.0
"""Every row is kept for so long at least [s of simulated time], and twice as long at most."""

STRETCH = 10.0
"""Of what is older the extremes in stretches of this length are kept [s]; twice the length when
there are too many."""

MOST_STRETCHES = 2048
"""More than a screen has columns."""


class Recorder:
    """Rows of channels. Written by one thread; `past` may be read by others at any time, since rows
    that have been handed out are never written again.

    What it holds does not grow with the run: rows of long ago are thinned out, so that no extreme
    is lost. The record on disk has them all.
    """

    def __init__(self, channels: int) -> None:
        self._times: Array = np.zeros(256)
        self._values: Array = _room(256, channels)
        self._rows = 0
        self._thin = 0
        """Rows that are what is left of others."""
        self._stretch = STRETCH
        self._thinned = 0
        self._whole_from = -inf
        self.grid = GRID
        """From one row to the next [s]; may be set wider while nobody looks closely."""
        self.epoch = 0
        self.events: list[RunEvent] = []
        self.of: Recorder | None = None
        """The one that this was forked off."""
        self.past = Past(0, self._times[:0], self._values[:0], self.events)

    @property
    def rows(self) -> int:
        """Rows there are."""
        return self._rows

    @property
    def due(self) -> float:
        """When the next row is due [s]."""
        if self._rows == 0:
            return 0.0
        return (round(float(self._times[self._rows - 1]) / self.grid) + 1) * self.grid

    def add(self, time: float, values: Array) -> None:
        """Adds a row."""
        if self._rows == len(self._times):
            room = 2 * self._rows
            self._times = np.concatenate([self._times, np.zeros(room - self._rows)])
            self._values = _moved(self._values, room)
        self._times[self._rows], self._values[self._rows] = time, values
        self._rows += 1
        if self._rows - self._thin > 2 * WHOLE / GRID:
            self._thin_out()
        self._publish()

    def cut(self, time: float, events: list[RunEvent]) -> None:
        """Forgets what lies after a time [s]; the events of the run are others from now on."""
        rows = int(np.searchsorted(self._times[: self._rows], time, side="right"))
        # what has been handed out stays as it is: new rows go into new arrays
        self._times, self._values = self._times.copy(), _moved(self._values, len(self._times))
        self._rows = rows
        self._thin = min(self._thin, rows)
        # rows that were left out before this time are gone also for what comes after it
        self._whole_from = min(self._whole_from, nextafter(time, inf))
        self.follow(events)

    def follow(self, events: list[RunEvent]) -> None:
        """Another run is shown from now on: whoever reads must read everything anew."""
        self.epoch += 1
        self.events = events
        self._publish()

    def forked(self, events: list[RunEvent]) -> Recorder:
        """A recorder that goes on from here with another run, without touching this one."""
        new = Recorder(self._values.shape[1])
        new._times, new._values = self._times.copy(), _moved(self._values, len(self._times))
        new._rows, new.epoch = self._rows, self.epoch + 1
        new._thin, new._stretch = self._thin, self._stretch
        new._thinned, new._whole_from = self._thinned, self._whole_from
        new.events, new.of = events, self
        new._publish()
        return new

    def left(self, events: list[RunEvent]) -> Recorder:
        """Back to the recorder that this one was forked off."""
        assert self.of is not None
        self.of.epoch = self.epoch
        self.of.follow(events)
        return self.of

    def _publish(self) -> None:
        n = self._rows
        self.past = Past(
            self.epoch, self._times[:n], self._values[:n], self.events, self._thinned,
            self._whole_from,
        )  # fmt: skip

    def _thin_out(self) -> None:
        """Leaves the extremes of what is older than `WHOLE`."""
        until = float(self._times[self._rows - 1]) - WHOLE
        self._whole_from = np.floor(until / self._stretch) * self._stretch
        end = int(np.searchsorted(self._times[: self._rows], self._whole_from))
        times, values = self._times[: self._rows], self._values[: self._rows]
        fresh = extremes(times[self._thin : end], values[self._thin : end], self._stretch)
        old = (times[: self._thin], values[: self._thin])
        thin_times, thin_values = (np.concatenate(pair) for pair in zip(old, fresh, strict=True))
        while len(thin_times) > 2 * MOST_STRETCHES:
            self._stretch *= 2.0
            thin_times, thin_values = extremes(thin_times, thin_values, self._stretch)
        # what has been handed out stays as it is: the rows are in new arrays now
        self._times = np.concatenate([thin_times, times[end:]])
        self._thin, self._rows = len(thin_times), len(self._times)
        self._values = _room(self._rows, values.shape[1])
        self._values[: self._thin], self._values[self._thin :] = thin_values, values[end:]
        self._thinned += 1


def _room(rows: int, channels: int) -> Array:
    """(rows, channels) zeros, of memory of their own: it is taken page by page as it is written
    to, and given back whole. Among what else is kept such large arrays left holes behind, and a
    ride at speed grew by a third of its memory for them."""
    if not rows * channels:
        return np.zeros((rows, channels), dtype=np.float32)
    pages = mmap(-1, 4 * rows * channels)
    return np.frombuffer(pages, dtype=np.float32).reshape(rows, channels)


def _moved(values: Array, rows: int) -> Array:
    """The same rows in new memory, with room for so many."""
    moved = _room(rows, values.shape[1])
    moved[: len(values)] = values
    return moved


def extremes(times: Array, values: Array, stretch: float) -> tuple[Array, Array]:
    """Rows of times (n,) [s] and values (n, channels), of each stretch of time [s] at most two:
    the least and the greatest value of every channel, whichever came first in the first row."""
    if not len(times):
        return times, values
    number = np.floor(times / stretch)
    starts = np.flatnonzero(np.diff(number, prepend=number[0] - 1.0))
    kept_times: list[Array] = []
    kept: list[Array] = []
    channels = np.arange(values.shape[1])
    for start, end in zip(starts, [*starts[1:], len(times)], strict=True):
        rows = values[start:end]
        if len(rows) > 2:
            least, greatest = rows.argmin(axis=0), rows.argmax(axis=0)
            first, last = np.minimum(least, greatest), np.maximum(least, greatest)
            rows = np.stack([rows[first, channels], rows[last, channels]])
        kept_times.append(times[[start, end - 1]] if len(rows) == 2 else times[start:end])
        kept.append(rows)
    return np.concatenate(kept_times), np.concatenate(kept)
