"""When a zone's safe state is demanded: by a ride stop, a loss of power, or its own logic."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import inf
from typing import Literal, get_args

from pneumo.circuit.action import Power, RideStop
from pneumo.scenario.event import Commanded, RunEvent
from pneumo.zone.event import RideStopped, RideStopReset, StateEntered

Source = Literal["fault", "power", "stop"]
"""Whatever demands it: the zone is faulted, there is no power, the ride is stopped."""

SOURCES: tuple[Source, ...] = get_args(Source)


@dataclass(frozen=True)
class Demand:
    """A stretch of time in which a zone must go to its safe state and stay there [s]."""

    start: float
    end: float
    """Infinity while it stands."""


@dataclass
class Demands:
    """What demands the safe state of one zone, followed event by event.

    A demand starts with the first of a ride stop, whoever made it, a loss of all power, and the
    zone's own fault, and ends when the last of them is taken back: further ones do not start it
    anew.
    """

    zone: str
    heeded: tuple[Source, ...] = SOURCES
    """Those that count."""
    standing: set[Source] = field(default_factory=set)
    """Those that demand it now."""
    over: list[Demand] = field(default_factory=list)
    """Every demand that was taken back."""
    start: float = 0.0
    """When the one that stands began [s]."""

    @property
    def every(self) -> tuple[Demand, ...]:
        """In order of time; the last may stand."""
        return (*self.over, *([Demand(self.start, inf)] if self.standing else ()))

    def first(self, since: float) -> float | None:
        """When the first demand from a time on began [s]; None: there is none."""
        return next((demand.start for demand in self.every if demand.start >= since), None)

    def follow(self, event: RunEvent) -> None:
        """Takes the next event."""
        match event.what:
            case Commanded(RideStop()) | RideStopped():
                self._begin("stop", event.time)  # the clock does not wait for the next scan
            case RideStopReset():
                self._end("stop", event.time)
            case Commanded(Power(on)):
                (self._end if on else self._begin)("power", event.time)
            case StateEntered(_, "faulted") if event.subject == self.zone:
                self._begin("fault", event.time)
            case StateEntered("faulted", _) if event.subject == self.zone:
                self._end("fault", event.time)

    def _begin(self, source: Source, time: float) -> None:
        if source not in self.heeded:
            return
        if not self.standing:
            self.start = time
        self.standing.add(source)

    def _end(self, source: Source, time: float) -> None:
        if self.standing == {source}:
            self.over.append(Demand(self.start, time))
        self.standing.discard(source)
