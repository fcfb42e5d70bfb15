"""The log of a run, read once while it grows: when each zone was asked and when it was safe."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import inf

from pneumo.circuit.circuit import Zone
from pneumo.scenario.event import RunEvent
from pneumo.scenario.play import Play
from pneumo.verification.demand import Demands
from pneumo.verification.spell import Spells, decided_at


class Followed:
    """One zone of a run; a run only goes forward, so what was read stays as it is."""

    def __init__(self, play: Play, zone: Zone) -> None:
        self.zone = zone
        self.demands = Demands(zone.name)
        self.spells = Spells(zone, play.compiled.brakes[zone.name])
        self._events = play.plant.log.events
        self._crossings = play.plant.log.crossings
        self._read = (0, 0)
        self.read()

    def read(self) -> Sequence[RunEvent]:
        """Takes what is new in the log, and gives its events."""
        events, crossings = self._read
        self._read = len(self._events), len(self._crossings)
        new = self._events[events : self._read[0]]
        for event in new:
            self.demands.follow(event)
        for crossing in self._crossings[crossings : self._read[1]]:
            self.spells.follow(*crossing)
        return new

    def asked(self, since: float, demanded_latest: float) -> float:
        """When the zone is first asked from a time on, `demanded_latest` at the latest [s]."""
        first = self.demands.first(since)
        return demanded_latest if first is None else min(first, demanded_latest)

    def decided_at(self, limit_from: float) -> float:
        """Time after which nothing can change its verdict [s], unless something happens before."""
        return decided_at(self.spells.since(limit_from), self.zone, limit_from)


def follow(play: Play) -> dict[str, Followed]:
    """Every zone of a run."""
    return {name: Followed(play, zone) for name, zone in play.compiled.circuit.zones.items()}


def settled_after(
    zones: Iterable[Followed], injected_at: float, demanded_latest: float = inf
) -> float:
    """Time after which nothing can change any zone's verdict [s], unless something happens before;
    infinity while a zone has not been asked.

    `demanded_latest`: when every zone counts as asked, also one that was asked before the injection
    and is therefore not asked anew [s].
    """
    latest = -inf
    for zone in zones:
        zone.read()
        asked = zone.asked(injected_at, demanded_latest)
        if asked == inf:
            return inf
        latest = max(latest, zone.decided_at(asked))
    return latest
