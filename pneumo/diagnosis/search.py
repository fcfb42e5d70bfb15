"""One look for a fault on a ride that is otherwise known: without a fault, or with one already."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pneumo.diagnosis.abreast import Sound
from pneumo.diagnosis.fit import Marked
from pneumo.diagnosis.habits import ODD
from pneumo.diagnosis.likelihood import misfit, total
from pneumo.diagnosis.movements import movements, under_way
from pneumo.diagnosis.observed import Items, Observation, first_odd, when_odd
from pneumo.diagnosis.onset import Onset
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.record import Record
from pneumo.diagnosis.rehearsed import Rehearsed
from pneumo.diagnosis.screening import Screen, Screened, Sight
from pneumo.diagnosis.together import best_two
from pneumo.diagnosis.underway import WHOLE, Effort, UnderWay
from pneumo.network.network import Array


class Search:
    """A search as a record grows.

    Parameters
    ----------
    sound
        The ride as it is otherwise; it has to be run on before each look.
    zones
        Component -> its zone.
    effort
        How many suspects get rides.
    """

    def __init__(
        self, rehearsed: Rehearsed, panel: Panel, sound: Sound, zones: Mapping[str, str],
        effort: Effort = WHOLE,
    ) -> None:  # fmt: skip
        self.sound, self._effort = sound, effort
        self._rehearsed, self._panel, self._zones = rehearsed, panel, zones
        self.under_way: UnderWay | None = None
        """The suspects that have rides; None: nothing was odd yet."""
        self._screen: Screen | None = None
        self._sight: Sight | None = None
        self.fits: list[Screened] = []
        """How well each suspect fits at first look."""
        self._at_first: list[Screened] = []
        """The same, by what was seen at first."""

    def look(self, record: Record, seen: Observation, tried: Array) -> Marked | None:
        """How well suspects with rides fit; None: nothing is odd.

        `tried`: (candidates,) log likelihood of what was seen that no rehearsal tells of.
        """
        circuit, cut = self._rehearsed.library.circuit, seen.cut
        odd = first_odd(self._panel, record, seen, self.sound.ride)
        if odd is None:
            return None
        if self.under_way is None or self._screen is None:
            last = odd == len(cut) - 1
            odd_at = when_odd(record.events, cut[odd], last, self.sound.ride)
            library = self._rehearsed.library
            began = under_way(circuit, cut, record.events, cut[odd].began)
            moving = {part: began[zone] for part, zone in self._zones.items() if zone in began}
            onset = Onset(self._panel, self.sound, cut[odd], odd_at, moving)
            self.under_way = UnderWay(library, self._panel, self.sound, onset, self._effort)
            self._screen = Screen(self._rehearsed, self._panel, odd, self._zones)
        moved = movements(circuit, cut, record.events)
        what = self._odd(record, seen, self.under_way.first)
        self._sight = Sight(record, seen, moved, self.sound.ride, *what)
        self._at_first, looked = self._screen.look(self._sight)
        self.fits = [
            each._replace(fit=each.fit + more)
            for each, more in zip(looked, tried.tolist(), strict=True)
        ]
        return self.under_way.examined(self._at_first, self.fits, record, seen)

    def wider(self, record: Record, seen: Observation) -> Marked:
        """As `look`, after it: those get rides that fit less at first look."""
        assert self.under_way is not None
        return self.under_way.widened(self._at_first, self.fits, record, seen)

    def two_at_once(self) -> list[tuple[tuple[int, float], tuple[int, float]]]:
        """Which two suspects would explain the most of what was seen at first, after `look`: of
        each its number and its severity, what explains more first. The best two come first."""
        assert self._screen is not None and self._sight is not None
        screen = self._screen
        rows = best_two(list(screen.parts(self._sight)), screen.component, screen.between)
        return [(screen.place(one), screen.place(other)) for one, other in rows]

    def struck(self, number: int, place: float, record: Record, seen: Observation) -> float:
        """When a suspect of a severity struck that has no rides [s], after `look`."""
        assert self.under_way is not None
        candidate, midst = self._rehearsed.library.candidates[number], self.fits[number].midst
        return self.under_way.onset.when(candidate, place, record, seen.cut, midst=midst)

    def _odd(
        self, record: Record, seen: Observation, odd: int
    ) -> tuple[dict[tuple[int, str], float], list[int]]:
        """Log likelihood of what the panel showed without a fault, by stretch and zone; and the
        places on it: where something was odd."""
        items = Items(self._panel, record, seen, odd, (self.sound.ride,))
        row = items.of(self.sound.ride, self.sound.ride)[None, :]
        off = misfit(items.seen, row)
        zones = np.array([
            "" if item.place < 0 else self._panel.places[item.place].zone for item in items.items
        ])  # fmt: skip
        found: dict[tuple[int, str], float] = {}
        places: dict[int, None] = {}
        for place in np.flatnonzero(off[0] < ODD).tolist():
            if items.items[place].place >= 0:
                places[items.items[place].place] = None
            key = (int(items.stretch[place]), str(zones[place]))
            if key not in found:
                own = (items.stretch == key[0]) & (zones == key[1])
                found[key] = float(total(items.seen.only(own), off[:, own])[0])
        return found, list(places)
