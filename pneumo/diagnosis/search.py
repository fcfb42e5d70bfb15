"""One look for a fault on a ride that is otherwise known: without a fault, or with one already."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pneumo.diagnosis.abreast import Sound
from pneumo.diagnosis.fit import Marked
from pneumo.diagnosis.library import Library
from pneumo.diagnosis.likelihood import misfit, total
from pneumo.diagnosis.movements import movements
from pneumo.diagnosis.observed import ODD, Items, Observation, first_odd, when_odd
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.record import Record
from pneumo.diagnosis.screening import Screened, Sight, screened
from pneumo.diagnosis.underway import UnderWay
from pneumo.network.network import Array


class Search:
    """A search as a record grows.

    Parameters
    ----------
    sound
        The ride as it is otherwise; it has to be run on before each look.
    zones
        Component -> its zone.
    """

    def __init__(
        self, library: Library, panel: Panel, sound: Sound, zones: Mapping[str, str]
    ) -> None:
        self.sound = sound
        self._library, self._panel, self._zones = library, panel, zones
        self.under_way: UnderWay | None = None
        """The suspects that have rides; None: nothing was odd yet."""
        self.fits: list[Screened] = []
        """How well each suspect fits at first look."""

    def look(self, record: Record, seen: Observation, tried: Array) -> Marked | None:
        """How well suspects with rides fit; None: nothing is odd.

        `tried`: (candidates,) log likelihood of what was seen that no rehearsal tells of.
        """
        circuit, cut = self._library.circuit, seen.cut
        odd = first_odd(self._panel, record, seen, self.sound.ride)
        if odd is None:
            return None
        if self.under_way is None:
            last = odd == len(cut) - 1
            odd_at = when_odd(record.events, cut[odd], last, self.sound.ride)
            self.under_way = UnderWay(self._library, self._panel, self.sound, cut[odd], odd_at)
        moved = movements(circuit, cut, record.events)
        without = self._without(record, seen, odd)
        sight = Sight(
            self._panel, record, seen, moved, self.sound.ride, odd, self._zones, without
        )  # fmt: skip
        self.fits = [
            each._replace(fit=each.fit + more)
            for each, more in zip(screened(self._library, sight), tried.tolist(), strict=True)
        ]
        return self.under_way.examined(self.fits, record, seen)

    def _without(self, record: Record, seen: Observation, odd: int) -> dict[tuple[int, str], float]:
        """Log likelihood of what the panel showed without a fault, by stretch and zone; where
        something was odd."""
        items = Items(self._panel, record, seen, odd, (self.sound.ride,))
        row = items.of(self.sound.ride, self.sound.ride)[None, :]
        off = misfit(items.seen, row)
        zones = np.array([
            "" if item.place < 0 else self._panel.places[item.place].zone for item in items.items
        ])  # fmt: skip
        found: dict[tuple[int, str], float] = {}
        for place in np.flatnonzero(off[0] < ODD).tolist():
            key = (int(items.stretch[place]), str(zones[place]))
            if key not in found:
                own = (items.stretch == key[0]) & (zones == key[1])
                found[key] = float(total(items.seen.only(own), off[:, own])[0])
        return found
