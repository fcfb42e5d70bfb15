"""What a ride has recorded: every channel on a grid of simulated time, and the events."""

from __future__ import annotations

import numpy as np

from pneumo.live.link import Past
from pneumo.network.network import Array
from pneumo.scenario.event import RunEvent

GRID = 0.1
"""From one row to the next [s of simulated time]."""


class Recorder:
    """Rows of channels. Written by one thread; `past` may be read by others at any time, since rows
    that have been handed out are never written again."""

    def __init__(self, channels: int) -> None:
        self._times: Array = np.zeros(256)
        self._values: Array = np.zeros((256, channels), dtype=np.float32)
        self._rows = 0
        self.epoch = 0
        self.events: list[RunEvent] = []
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
        return (round(float(self._times[self._rows - 1]) / GRID) + 1) * GRID

    def add(self, time: float, values: Array) -> None:
        """Adds a row."""
        if self._rows == len(self._times):
            room = 2 * self._rows
            self._times = np.concatenate([self._times, np.zeros(room - self._rows)])
            more = np.zeros((room - self._rows, self._values.shape[1]), dtype=np.float32)
            self._values = np.concatenate([self._values, more])
        self._times[self._rows], self._values[self._rows] = time, values
        self._rows += 1
        self._publish()

    def cut(self, time: float, events: list[RunEvent]) -> None:
        """Forgets what lies after a time [s]; the events of the run are others from now on."""
        rows = int(np.searchsorted(self._times[: self._rows], time, side="right"))
        # what has been handed out stays as it is: new rows go into new arrays
        self._times, self._values = self._times.copy(), self._values.copy()
        self._rows = rows
        self.follow(events)

    def follow(self, events: list[RunEvent]) -> None:
        """Another run is shown from now on: whoever reads must read everything anew."""
        self.epoch += 1
        self.events = events
        self._publish()

    def forked(self, events: list[RunEvent], epoch: int) -> Recorder:
        """A recorder that goes on from here without touching this one."""
        twin = Recorder(self._values.shape[1])
        twin._times, twin._values = self._times.copy(), self._values.copy()
        twin._rows, twin.epoch = self._rows, epoch
        twin.events = events
        twin._publish()
        return twin

    def _publish(self) -> None:
        n = self._rows
        self.past = Past(self.epoch, self._times[:n], self._values[:n], self.events)
