"""States of a run on a grid of times."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from pneumo.network.network import Array, Network
from pneumo.simulation.advance import sample_all
from pneumo.simulation.position import NOW, Position


@dataclass
class Samples:
    """What was recorded so far; the kernels fill the rows."""

    step: float = 0.0
    """Grid [s]; 0: nothing is recorded."""
    first: float = 0.0
    """Time of the first row [s]."""
    rows: Array = field(default_factory=lambda: np.zeros((0, 0)))
    """(rows, states), filled as far as the run has come."""

    @staticmethod
    def begun(network: Network, position: Position, step: float, until: float) -> Samples:
        """A grid of `step` [s] from where a run stands until a time [s]."""
        now = float(position.run[NOW])
        count = int((until - now) / step + 1e-9) + 1
        found = Samples(step, now, np.zeros((count, len(position.y))))
        sample_all(network, position, step, found.rows)
        return found

    def copy(self) -> Samples:
        """Independent ones that go on from here."""
        return replace(self, rows=self.rows.copy())

    def filled(self, now: float) -> Array:
        """(recorded, states) by a time [s], that of the run."""
        if self.step == 0.0:
            return self.rows[:0]
        return self.rows[: int((now - self.first) / self.step + 1e-9) + 1]

    def times(self, now: float) -> Array:
        """(recorded,) times of those rows [s]."""
        grid: Array = self.first + self.step * np.arange(len(self.filled(now)))
        return grid
