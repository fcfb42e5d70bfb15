"""Every zone of a run judged at the instants that are shown, by the judge of a verification."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pneumo.live.frame import Judged
from pneumo.live.places import Jaws, Places
from pneumo.scenario.play import Play
from pneumo.verification.demand import SOURCES, Demands, Source
from pneumo.verification.follow import Followed
from pneumo.verification.spell import course, in_time

SEEN: tuple[Source, ...] = ("fault", "stop")
"""What both seats see: that there is no power stays with the trainer."""


class Judging:
    """Follows the run that is shown."""

    def __init__(self, places: Sequence[Places]) -> None:
        self._places = places
        self._events: list[Any] = []
        self._crossings: list[Any] = []
        self._zones: list[_Zone] = []

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
            self._events, self._crossings = log.events, log.crossings
            self._zones = [_Zone(play, place) for place in self._places]
        for zone in self._zones:
            zone.read()


class _Zone:
    """What was followed of one zone."""

    def __init__(self, play: Play, place: Places) -> None:
        self._zone = place.zone
        self._delay = play.compiled.line_delay[place.zone.name]
        self._followed = Followed(play, place.zone)
        self._seen = Demands(place.zone.name, SEEN)
        for event in play.plant.log.events:
            self._seen.follow(event)

    def read(self) -> None:
        """Takes what is new in the log."""
        for event in self._followed.read():
            self._seen.follow(event)

    def judged(self, now: float) -> Judged:
        """By its jaws."""
        spells = self._followed.spells
        lacking = tuple(i for i, there in enumerate(spells.there) if not there)
        found = self._demanded(self._followed.demands, now, spells.safe, lacking)
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
        return self._demanded(self._seen, now, safe, lacking)

    def _demanded(
        self, demands: Demands, now: float, safe: bool | None, lacking: tuple[int, ...]
    ) -> Judged:
        by: Source | None = next((s for s in SOURCES if s in demands.standing), None)
        if by is None:
            return Judged(safe, lacking)
        over = safe is False and not in_time(self._zone, self._delay, demands.start, now)
        return Judged(safe, lacking, by, demands.start, not_safe=over)
