"""A record as numbers, and what rides with a fault are expected to show in their place."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from pneumo.diagnosis.abreast import Ride
from pneumo.diagnosis.habits import ODD, Habits, corrected, learned, numbers
from pneumo.diagnosis.likelihood import Number, Seen, misfit
from pneumo.diagnosis.marks import Mark, Scale, marks
from pneumo.diagnosis.panel import Panel, Shown
from pneumo.diagnosis.record import SOON, Record, Stretch, time_of, within
from pneumo.network.network import Array
from pneumo.scenario.event import ContactRead, RunEvent
from pneumo.zone.event import AlarmRaised, StateEntered

LATE = 0.1
"""Later than without a fault by so much, and this share of the time, is odd [s, -]; estimated."""


class Observation(NamedTuple):
    """What was seen, stretch by stretch and test by test."""

    cut: tuple[Stretch, ...]
    shown: tuple[Array, ...]
    """Of each stretch, see `Panel.stretch`; as the calculated ride would show it."""
    habits: Habits
    """What was learned of how the ride differs from that."""
    found: tuple[tuple[Mark, ...], ...]
    """Of each test."""
    in_stretch: tuple[int, ...]
    """Of each test: the stretch that it was made in."""


def observed(
    panel: Panel, record: Record, cut: tuple[Stretch, ...], sound: Mapping[int, Array] | Habits
) -> Observation:
    """The numbers of a record. `sound`: of each stretch, what the ride without a fault shows, or
    what was learned of how the ride differs from that."""
    shown = [seen_in(panel, record, each, each.number == len(cut) - 1) for each in cut]
    habits = sound if isinstance(sound, Habits) else learned(panel, cut, shown, sound)
    stretch_of = {look.number: s.number for s in cut for _, look in s.looks}
    return Observation(
        cut,
        tuple(corrected(*each) for each in zip(shown, habits.later, strict=False)),
        habits,
        tuple(marks(made.found) for made in record.made),
        tuple(stretch_of[number] for number in range(len(record.made))),
    )


def seen_in(panel: Panel, record: Record, stretch: Stretch, last: bool) -> Array:
    """What the panel showed in a stretch, see `Panel.stretch`; `last`: nothing comes after it."""
    ends = record.shown(stretch.ended)
    says = ends.contacts.copy()
    changing = _changing(record.events, stretch.ended)
    for place, contact in enumerate(panel.contacts):
        if contact in changing:
            says[place] = np.nan
    events = within(record.events, stretch, last)
    return panel.stretch(stretch.began, events, Shown(says, ends.readings))


class Item(NamedTuple):
    """What one number of a record is."""

    stretch: int
    test: int
    """-1: of the panel."""
    place: int
    """On the panel, -1: of a test."""
    aspect: str


def shown_in(panel: Panel, seen: Observation, stretch: int) -> Seen:
    """What the panel showed in a stretch."""
    return numbers(panel, seen.cut[stretch], seen.shown[stretch], seen.habits.loose[stretch])


def tested(record: Record, seen: Observation, test: int, scale: Scale, value: float) -> Number:
    """A number of a test."""
    made = record.made[test]
    # the same test again in one stretch tells nothing new of what it is wrong by
    name = (seen.in_stretch[test], made.test, made.target)
    return Number(value, scale, name, name)


def _aspects(
    seen: Observation, tests: Iterable[int], rides: Iterable[Ride]
) -> dict[tuple[int, str], tuple[Scale, float]]:
    """(test, aspect) that was or may have been seen -> its scale, and what it usually is."""
    known: dict[tuple[int, str], tuple[Scale, float]] = {}
    for number in tests:
        for found in (seen.found[number], *(r.found.get(number, ()) for r in rides)):
            for mark in found:
                known.setdefault((number, mark.aspect), (mark.scale, mark.usual))
    return known


class Items:
    """The numbers of a record from a stretch on, in a fixed order, for any number of rides.

    Parameters
    ----------
    rides
        All that will be asked for: a test may give on one of them what it did not give really.
    """

    def __init__(
        self,
        panel: Panel,
        record: Record,
        seen: Observation,
        first: int,
        rides: Iterable[Ride],
    ) -> None:
        self._stretches = range(first, len(seen.cut))
        self._places = len(panel.places)
        self._tests = [n for n, stretch in enumerate(seen.in_stretch) if stretch in self._stretches]
        known = _aspects(seen, self._tests, rides)
        self._aspects = known
        self.items = (
            *(Item(k, -1, p, panel.places[p].aspect)
              for k in self._stretches for p in range(self._places)),
            *(Item(seen.in_stretch[n], n, -1, aspect) for n, aspect in known),
        )  # fmt: skip
        values = self._of_tests(dict(enumerate(seen.found)), None)
        self.seen = Seen.joined([
            *(shown_in(panel, seen, k) for k in self._stretches),
            Seen.of([tested(record, seen, n, scale, value)
                     for ((n, _), (scale, _)), value in zip(known.items(), values, strict=True)]),
        ])  # fmt: skip
        self.later = np.concatenate([
            *(np.where(np.isfinite(seen.shown[k]), seen.habits.later[k], 0.0)
              for k in self._stretches),
            np.zeros(len(known)),
        ])  # fmt: skip
        """(items,) by how much later each really came than it is taken to have come [s]."""
        self.stretch = np.array([item.stretch for item in self.items], dtype=np.int64)
        """(items,) the stretch of each."""

    def of(self, ride: Ride, otherwise: Ride) -> Array:
        """(items,) what a ride shows; `otherwise`: where it was not run, or cannot be tested."""
        shown = ((ride if k in ride.shown else otherwise).shown[k] for k in self._stretches)
        return np.concatenate([*shown, self._of_tests(ride.found, otherwise)])

    def _of_tests(self, found: Mapping[int, Sequence[Mark]], otherwise: Ride | None) -> list[float]:
        told: dict[tuple[int, str], float] = {}
        for number in self._tests:
            of = found.get(number)
            if of is None and otherwise is not None:
                of = otherwise.found[number]
            told.update(((number, mark.aspect), mark.value) for mark in of or ())
        return [told.get(key, usual) for key, (_, usual) in self._aspects.items()]


def first_odd(panel: Panel, record: Record, seen: Observation, sound: Ride) -> int | None:
    """The first stretch in which something was not as it is without a fault; None: nothing was."""
    items = Items(panel, record, seen, 0, (sound,))
    off = misfit(items.seen, items.of(sound, sound)[None, :])[0]
    odd = items.stretch[off < ODD]
    return int(odd.min()) if len(odd) else None


def when_odd(events: Sequence[RunEvent], stretch: Stretch, last: bool, sound: Ride) -> float:
    """When it first showed in a stretch that something was not as without a fault [s]: the first
    edge, state or alarm that came otherwise or not at all; else its end.

    Parameters
    ----------
    events
        Of the ride with the fault, in order of time.
    last
        Nothing comes after the stretch.
    """
    really = _told(within(events, stretch, last), stretch.began)
    without = _told(within(sound.events, stretch, last), stretch.began)
    odd = [_lasted(stretch)]
    for told, other in ((really, without), (without, really)):
        for key, times in told.items():
            others = other.get(key, [])
            for place, time in enumerate(times):
                if place >= len(others) or abs(time - others[place]) > LATE + LATE * time:
                    odd.append(time)
    return stretch.began + min(odd)


def _lasted(stretch: Stretch) -> float:
    return stretch.ended - stretch.began


def _changing(events: Sequence[RunEvent], time: float) -> set[str]:
    """Contacts that changed at about a time [s]: whether before or after it nobody can say."""
    first = bisect_left(events, time - SOON, key=time_of)
    end = bisect_left(events, time + SOON, key=time_of)
    return {e.subject for e in events[first:end] if isinstance(e.what, ContactRead)}


def _told(events: Iterable[RunEvent], began: float) -> dict[tuple[str, object], list[float]]:
    """What a seat is told of by itself -> when, after an instant [s]."""
    found: dict[tuple[str, object], list[float]] = {}
    for event in events:
        if isinstance(event.what, ContactRead | StateEntered | AlarmRaised):
            what = getattr(event.what, "name", event.what)
            found.setdefault((event.subject, what), []).append(event.time - began)
    return found
