"""What a seat knows of a ride: what was done, what was seen, which tests were made.

Nothing here comes from the plant: whoever reasons from a record knows what the seat knows.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from pneumo.circuit.action import Action
from pneumo.diagnosis.panel import Shown
from pneumo.drill.carry import HELD
from pneumo.drill.entry import Fell
from pneumo.inspection.evidence import Evidence
from pneumo.scenario.event import ContactRead, RunEvent


class Done(NamedTuple):
    """Something that was done to the ride by whom the seat knows of."""

    time: float
    """[s]"""
    action: Action


class Made(NamedTuple):
    """A test that was made."""

    ended: float
    """When it showed what it showed [s]."""
    test: str
    """First word of its line: one of `inspection.tests`, or "cycle", "decay"."""
    target: str
    found: Evidence | Fell

    @property
    def looks(self) -> tuple[float, ...]:
        """When the ride is looked at for it [s], in order."""
        if self.test == "cycle":
            return (self.ended - 2.0 * HELD, self.ended - HELD, self.ended)
        if isinstance(self.found, Fell):
            return (self.ended - self.found.seconds, self.ended)
        return (self.ended,)


@dataclass(frozen=True)
class Record:
    """What a seat has seen up to an instant at which nothing is under way."""

    now: float
    """[s]"""
    done: Sequence[Done]
    """In order of time."""
    events: Sequence[RunEvent]
    """That the seat sees, in order of time."""
    shown: Callable[[float], Shown]
    """What the panel showed at a time [s] up to now."""
    made: Sequence[Made] = ()
    """In order of time."""
    fitted: Collection[str] = ()
    """Ports at which a tee with a test point was fitted."""
    since: float = 0.0
    """Where the record begins [s]: before it nobody looked."""
    named: Collection[str] = ()
    """Zones and groups of gates that the complaint names."""


class Look(NamedTuple):
    """At this instant a ride is looked at for a test."""

    number: int
    """Of the test."""
    place: int
    """Which of its looks."""


@dataclass(frozen=True)
class Stretch:
    """What happens from something that was done to the next."""

    number: int
    began: float
    """[s]"""
    ended: float
    """[s]; of the last the present instant."""
    done: tuple[Action, ...]
    """What was done at its beginning."""
    looks: tuple[tuple[float, Look], ...] = field(default=())
    """Instants at which rides are looked at for tests, in order."""


MOMENT = 1e-5
"""What is done within so long is done at once [s]."""


def stretches(record: Record) -> tuple[Stretch, ...]:
    """A record cut where something was done."""
    starts: list[tuple[float, list[Action]]] = [(record.since, [])]
    for time, action in record.done:
        if time - starts[-1][0] > MOMENT:
            starts.append((time, []))
        starts[-1][1].append(action)
    looks = sorted(
        (time, Look(number, place))
        for number, made in enumerate(record.made)
        for place, time in enumerate(made.looks)
    )
    found = []
    for number, (began, actions) in enumerate(starts):
        ended = starts[number + 1][0] if number + 1 < len(starts) else record.now
        last = number + 1 == len(starts)
        own = tuple(
            (time, look)
            for time, look in looks
            # what is looked at where something is done is looked at before it
            if (number == 0 or time > began + MOMENT) and (last or time <= ended + MOMENT)
        )
        found.append(Stretch(number, began, ended, tuple(actions), own))
    return tuple(found)


SOON = 0.06
"""A contact that changes so soon after something was done does so for another reason [s]: three
scans, in which no valve has moved yet."""


def within(events: Sequence[RunEvent], stretch: Stretch, last: bool) -> Sequence[RunEvent]:
    """The events of a stretch, out of all in order of time; `last`: nothing comes after it. Of
    contacts that change right at its beginning nobody can say whether that was before it."""
    first = bisect_left(events, stretch.began - MOMENT, key=time_of)
    until = stretch.ended + (MOMENT if last else -MOMENT)
    end = bisect_left(events, until, key=time_of)
    early = stretch.began + (SOON if stretch.number else 0.0)
    return [
        event for event in events[first:end]
        if event.time >= early or not isinstance(event.what, ContactRead)
    ]  # fmt: skip


def time_of(event: RunEvent) -> float:
    """When it happened [s]: the key of a search in events."""
    return event.time


def shortened(record: Record, time: float) -> Record:
    """What a seat had seen up to an earlier instant [s]. It knows which contacts were about to
    change then."""
    return replace(
        record,
        now=time,
        done=[each for each in record.done if each.time < time],
        events=record.events[: bisect_left(record.events, time + SOON, key=time_of)],
        made=[each for each in record.made if each.ended < time],
    )
