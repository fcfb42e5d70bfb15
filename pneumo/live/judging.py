"""Every zone of a run judged at the instants that are shown, by the judge of a verification.

A run only goes forward, so its events and crossings are followed: a frame looks at what is new.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pneumo.live.frame import Judged
from pneumo.live.places import Jaws, Places
from pneumo.network.compile import Compiled
from pneumo.scenario.play import Play
from pneumo.verification.demand import SOURCES, Demands, Source
from pneumo.verification.judge import Spells, course, in_time

SEEN: tuple[Source, ...] = ("fault", "stop")
"""What both seats see: that there is no power stays with the trainer."""


class Judging:
    """Follows the run that is shown."""

    def __init__(self, compiled: Compiled, places: Sequence[Places]) -> None:
        self._compiled, self._places = compiled, places
        self._events: list[Any] = []
        self._crossings: list[Any] = []
        self._zones: list[_Zone] = []
        self._read = (0, 0)

    def zones(self, play: Play, inputs: Sequence[bool]) -> list[tuple[Judged, Judged]]:
        """Of every zone what it is judged by its jaws, and what its switches confirm.

        `inputs`: what the controller reads, in the order of `Plant.inputs`.
        """
        self._follow(play)
        return [
            (zone.judged(play.now), zone.confirmed(play.now, place.jaws_read(inputs)))
            for zone, place in zip(self._zones, self._places, strict=True)
        ]

    def _follow(self, play: Play) -> None:
        log = play.plant.log
        if log.events is not self._events or log.crossings is not self._crossings:
            # another run: one that was gone back to, or a copy of the ride
            self._events, self._crossings, self._read = log.events, log.crossings, (0, 0)
            self._zones = [_Zone(self._compiled, place) for place in self._places]
        events, crossings = self._read
        self._read = len(self._events), len(self._crossings)
        for zone in self._zones:
            for event in self._events[events : self._read[0]]:
                zone.demands.follow(event)
                zone.seen.follow(event)
            for crossing in self._crossings[crossings : self._read[1]]:
                zone.spells.follow(*crossing)


class _Zone:
    """What was followed of one zone."""

    def __init__(self, compiled: Compiled, place: Places) -> None:
        self._zone = place.zone
        self._delay = compiled.line_delay[place.zone.name]
        self.demands = Demands(place.zone.name, SOURCES)
        self.seen = Demands(place.zone.name, SEEN)
        self.spells = Spells(place.zone, compiled.brakes[place.zone.name])

    def judged(self, now: float) -> Judged:
        """By its jaws."""
        spells = self.spells
        lacking = tuple(i for i, there in enumerate(spells.there) if not there)
        found = self._demanded(self.demands, now, spells.safe, lacking)
        if found.demanded_by is None:
            return found
        since = spells.since(found.since)
        went = course(since, self._zone, self._delay, found.since, now)
        return found._replace(verdict=went.verdict)

    def confirmed(self, now: float, jaws: Sequence[Jaws]) -> Judged:
        """By its switches: a brake that no switch watches counts for neither."""
        told = [each.tells(self._zone.safe_state) for each in jaws]
        lacking = tuple(i for i, there in enumerate(told) if there is False)
        safe: bool | None = None
        if told.count(True) >= self._zone.brakes_needed:
            safe = True
        elif len(told) - len(lacking) < self._zone.brakes_needed:
            safe = False
        return self._demanded(self.seen, now, safe, lacking)

    def _demanded(
        self, demands: Demands, now: float, safe: bool | None, lacking: tuple[int, ...]
    ) -> Judged:
        by: Source | None = next((s for s in SOURCES if s in demands.standing), None)
        if by is None:
            return Judged(safe, lacking)
        over = safe is False and not in_time(self._zone, self._delay, demands.start, now)
        return Judged(safe, lacking, by, demands.start, not_safe=over)
