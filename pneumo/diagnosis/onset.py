"""When a fault may have struck that shows in a stretch first: before it or in its midst."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pneumo.circuit.circuit import Event
from pneumo.diagnosis.abreast import Sound
from pneumo.diagnosis.observed import when_odd
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.record import Record, Stretch
from pneumo.diagnosis.suspects import Candidate
from pneumo.errors import InputError, UnfinishedError

BEFORE = 0.1
"""Before something odd shows, the fault is there for so long [s]; estimated."""

STILL = 200.0
"""A meter whose needle does not move shows the same within so much [Pa]; estimated."""

STILL_FOR, ROWS = 0.01, 0.2
"""Since when it does is found to so much, and rows of a record lie so much apart at most [s]."""


class Onset:
    """Times at which suspects may have struck.

    Parameters
    ----------
    first
        The first stretch in which something was odd.
    odd_at
        When it was [s].
    moving
        Part -> when the movement of its zone began that was under way when that stretch began [s].
    """

    def __init__(
        self, panel: Panel, sound: Sound, first: Stretch, odd_at: float,
        moving: Mapping[str, float],
    ) -> None:  # fmt: skip
        self._panel, self._sound = panel, sound
        self._moving = moving
        self.first, self.odd_at = first.number, odd_at
        late = odd_at - BEFORE
        self.times = (first.began, late) if late > first.began + BEFORE else (first.began,)
        """Before the stretch, and in its midst where that is another time [s]."""
        self._shows: dict[tuple[bytes, float, float], float] = {}
        """What a suspect changes, when it strikes and how far was looked [s] -> when something
        first is odd [s]."""

    def when(
        self, candidate: Candidate, place: float, record: Record, cut: tuple[Stretch, ...],
        *, midst: bool,
    ) -> float:  # fmt: skip
        """When a suspect struck: before the first odd stretch, or before what was under way when
        that began, or in its midst [s].

        `place`: of its severity. `record`, `cut`: as far as the first odd stretch at least.
        """
        if candidate.freezes and candidate.component in self._panel.meters:
            return self._froze(candidate.component, record, cut)
        if not midst:
            return self._moving.get(candidate.component, self.times[0])
        return self._aligned(candidate, place, self.times[-1], record, cut)

    def _aligned(
        self, candidate: Candidate, place: float, at: float, record: Record,
        cut: tuple[Stretch, ...],
    ) -> float:  # fmt: skip
        """When a fault must have struck for the first odd thing to come when it came [s]. What
        follows from a fault, such as an alarm, may come some time after it struck."""
        fault, stretch = candidate.fault(place), cut[self.first]
        try:
            key = (self._sound.changes(fault), at, stretch.ended)
            if key not in self._shows:
                ride = self._sound.suspect(fault, cut, self.first, at)
                ride.run(self._panel, record, cut[: self.first + 1])
                last = self.first == len(cut) - 1
                self._shows[key] = when_odd(ride.events, stretch, last, self._sound.ride)
        except (UnfinishedError, InputError):
            return at
        shows = self._shows[key]
        if shows >= stretch.ended - BEFORE:
            return at  # it shows nothing here
        earliest = self._moving.get(candidate.component, stretch.began)
        return min(max(at + self.odd_at - shows, earliest), stretch.ended - BEFORE)

    def _froze(self, meter: str, record: Record, cut: tuple[Stretch, ...]) -> float:
        """Since when a meter has shown what it shows at the end of the first odd stretch [s]."""
        place = self._panel.meters.index(meter)
        value = record.shown(cut[self.first].ended).readings[place]

        def shows(time: float) -> bool:
            return bool(abs(record.shown(time).readings[place] - value) < STILL)

        k = self.first
        while k and shows(cut[k].began):
            k -= 1
        low, high = cut[k].began, cut[k].ended
        while high - low > STILL_FOR:
            middle = 0.5 * (low + high)
            low, high = (low, middle) if shows(middle) else (middle, high)
        # rows of a record lie apart: when within them it came to that value the ride itself tells
        play = self._sound.again(k).play
        play.schedule(Event(cut[k].began, action) for action in cut[k].done)
        near: list[tuple[float, float]] = []
        for time in np.arange(max(cut[k].began, high - ROWS), high + ROWS, STILL_FOR).tolist():
            play.advance(time)
            near.append((abs(float(self._panel.shown(play).readings[place]) - value), time))
        return min(near)[1]

    def stretch_of(self, at: float, cut: tuple[Stretch, ...]) -> int:
        """The stretch in which a suspect struck, not after the first odd one."""
        return next((k for k in range(self.first) if at < cut[k].ended), self.first)
