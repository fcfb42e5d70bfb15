"""When a zone is asked for its safe state: by a ride stop, a loss of power, or its own logic."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import inf

from pneumo.circuit.action import Power, RideStop
from pneumo.scenario.event import Commanded, RunEvent
from pneumo.zone.event import RideStopped, RideStopReset, StateEntered


@dataclass(frozen=True)
class Demand:
    """A stretch of time in which a zone must go to its safe state and stay there [s]."""

    start: float
    end: float
    """Infinity while it stands."""


def demands(events: Iterable[RunEvent], zone: str) -> tuple[Demand, ...]:
    """Every demand on a zone, in order of time.

    It starts with the first of a ride stop, whoever made it, a loss of all power, and the zone's
    own fault, and ends when the last of them is taken back: further ones do not start it anew.
    """
    found: list[Demand] = []
    standing: set[str] = set()
    start = 0.0
    for event in events:
        before = bool(standing)
        match event.what:
            case Commanded(RideStop()) | RideStopped():
                standing.add("stop")  # the clock does not wait for the logic's next scan
            case RideStopReset():
                standing.discard("stop")
            case Commanded(Power(on)):
                (standing.discard if on else standing.add)("power")
            case StateEntered(_, "faulted") if event.subject == zone:
                standing.add("fault")
            case StateEntered("faulted", _) if event.subject == zone:
                standing.discard("fault")
        if standing and not before:
            start = event.time
        elif before and not standing:
            found.append(Demand(start, event.time))
    if standing:
        found.append(Demand(start, inf))
    return tuple(found)


def first_demand(events: Iterable[RunEvent], zone: str, since: float) -> float | None:
    """When a zone is first asked from a time on [s]; None: it is not asked."""
    return next((d.start for d in demands(events, zone) if d.start >= since), None)
