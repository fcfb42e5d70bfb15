"""The contacts of a run: what each says, and which of it the controller has still to read."""

from __future__ import annotations

import copy
from bisect import insort
from math import ceil, inf

import numpy as np

from pneumo.network.compile import Compiled
from pneumo.network.network import Array
from pneumo.scenario.plant import Plant


class Contacts:
    """Crossings of sensed watches on their way to the controller's next scan."""

    def __init__(self, compiled: Compiled) -> None:
        self._period = compiled.circuit.ride.scan
        self._says = np.zeros(len(compiled.network.watch), dtype=np.bool_)
        self._pending: list[tuple[float, float, int, bool]] = []
        """(effective [s], crossed [s], watch, on)"""

    def copy(self) -> Contacts:
        """An independent copy that goes on from here."""
        new = copy.copy(self)
        new._says, new._pending = self._says.copy(), list(self._pending)
        return new

    def begin(self, plant: Plant) -> None:
        """Every contact says what its watch does, and nothing is on its way."""
        self._says[:] = plant.on
        self._pending = []

    def says(self, plant: Plant, watch: int) -> bool:
        """What a contact says to the controller now, a fault at it included."""
        return plant.controls.overrides.contact_held.get(watch, bool(self._says[watch]))

    def said(self, plant: Plant, watches: Array) -> Array:
        """(watches,) what these contacts say to the controller now, faults at them included."""
        says: Array = self._says
        if held := plant.controls.overrides.contact_held:
            says = says.copy()
            for watch, on in held.items():
                says[watch] = on
        return says[watches]

    def tick(self, time: float) -> float:
        """First scan at or after a time [s] (the same expression as in the kernel)."""
        return ceil(time / self._period - 1e-9) * self._period

    def next_time(self) -> float:
        """The scan at which the next crossing is read [s]; infinity: none is on its way."""
        return self.tick(self._pending[0][0]) if self._pending else inf

    def crossed(self, plant: Plant, moment: float, watch: int, on: bool) -> float:
        """A sensed watch has crossed at a moment; when that is read at the earliest [s]."""
        effective = moment + float(plant.network.watch[watch]["delay"])
        insort(self._pending, (effective, moment, watch, on))
        return max(self.tick(effective), moment)

    def read(self, now: float) -> list[tuple[int, bool]]:
        """The crossings that a scan at this time [s] reads: (watch, on), in order."""
        found: list[tuple[int, bool]] = []
        while self._pending and self.tick(self._pending[0][0]) <= now:
            _, _, watch, on = self._pending.pop(0)
            self._says[watch] = on
            found.append((watch, on))
        return found
