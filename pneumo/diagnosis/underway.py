"""Suspects that have rides of their own: who gets one, at which severity, from when on.

How bad a fault is, and when it struck, is not known. A suspect sets out at the severities that fit
best at first look, and gets further ones between them where one may fit better than any so far. It
struck before the first stretch in which something was odd, or in the midst of it, at the instant
that makes the first odd thing come when it came. New rides go through the first odd stretches only,
until it is known whether they may be right.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import log

import numpy as np

from pneumo.diagnosis.abreast import Ride, Sound
from pneumo.diagnosis.fit import HARDLY, NEAR, Fit, Marked, unknown
from pneumo.diagnosis.library import Library
from pneumo.diagnosis.likelihood import Graded, between, misfit, over_severity, total, within
from pneumo.diagnosis.observed import Items, Observation, when_odd
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.reasons import Compared
from pneumo.diagnosis.record import Record, Stretch
from pneumo.diagnosis.screening import Screened
from pneumo.diagnosis.suspects import Candidate
from pneumo.errors import InputError, UnfinishedError
from pneumo.network.network import Array

LEADERS = 16
"""Suspects that get rides of their own."""

MOST_SEVERITIES = 7
"""Rides of a suspect, at most, for each instant at which it may have struck."""

REFINED = 8
"""Suspects whose severity is closed in on each time."""

BEFORE = 0.1
"""Before something odd shows, the fault is there for so long [s]; estimated."""

TURNS, LATER_TURNS = 5, 2
"""Times that suspects are chosen and their severities closed in on: when something first was odd,
and after each thing that was done since, at most."""

AT_FIRST = (2, 5, 10)
"""Stretches, from the first odd one on, after which a suspect's first rides are looked at."""

HARDLY_AT_FIRST = 7.0
"""As `HARDLY`, while only the first stretches were looked at."""

PROMISING = 3.0
"""A suspect without rides gets some when its log likelihood at first look comes so near to the
best."""

BETTER = 3.0
"""A suspect that fits so much better at first look than by its rides gets new ones."""


@dataclass
class Rides:
    """A suspect under way: rides by the place of their severity."""

    candidate: Candidate
    at: float
    """When it struck [s]."""
    by_place: dict[float, Ride] = field(default_factory=dict)
    why: str = ""
    """What stopped the calculation."""
    earlier: tuple[float, dict[float, Ride], float] | None = None
    """When it struck, its rides and how well they fitted, before another time was tried."""


class UnderWay:
    """The suspects of one ride that have rides of their own.

    Parameters
    ----------
    first
        The first stretch in which something was odd.
    odd_at
        When it was [s].
    """

    def __init__(
        self, library: Library, panel: Panel, sound: Sound, first: Stretch, odd_at: float
    ) -> None:
        self._library, self._panel, self._sound = library, panel, sound
        self._first, self._odd_at = first.number, odd_at
        self.first = first.number
        """The first stretch that counts."""
        late = odd_at - BEFORE
        self.struck = (first.began, late) if late > first.began + BEFORE else (first.began,)
        """When a fault may have struck [s]."""
        self.rides: dict[int, Rides] = {}
        """Number of a candidate -> its rides."""
        self.fitted: dict[int, float] = {}
        """Log likelihood of those that have had rides, as of when they last had them."""
        self.compared: Compared | None = None
        """Number by number what was seen and expected, as of the last time."""

    def examined(self, fits: list[Screened], record: Record, seen: Observation) -> Marked:
        """Gives rides to those that may fit best, until none that has none may fit better."""
        turns = LATER_TURNS if self.fitted else TURNS
        for _ in range(turns):
            fresh = self._fresh(fits)
            for number in fresh:
                self._start(number, fits[number], record, seen.cut)
            promising = self._on(fresh, record, seen)
            known = sorted({*promising, *self._known()})
            self._run(known, record, seen)
            marked = self._mark(known, record, seen)
            self._better_time()
            refined = self._refine(marked, seen.cut)
            if not (refined or fresh):
                break
        known = self._known()
        self._run(known, record, seen)
        marked = self._mark(known, record, seen)
        self._prune(marked)
        return marked

    def _on(self, fresh: list[int], record: Record, seen: Observation) -> list[int]:
        """Runs new rides through the first odd stretches only, and gives those on that may be."""
        for stretches_run in AT_FIRST:
            part = seen.until(self._first + stretches_run)
            if len(part.cut) == len(seen.cut):
                break
            self._run(fresh, record, part)
            marked = self._mark(fresh, record, part)
            most = {n: fit.most for n, fit in marked.fits.items()}
            known = [self.fitted[n] for n in self._known() if n not in fresh]
            best = max([*most.values(), *known], default=0.0)
            fresh = [n for n in fresh if most.get(n, -np.inf) > best - HARDLY_AT_FIRST]
        return fresh

    def _known(self) -> list[int]:
        """Candidates that have had rides and may still be right, by what those showed."""
        if not self.fitted:
            return []
        order = sorted(self.fitted, key=lambda n: (-self.fitted[n], n))
        least = self.fitted[order[0]] - HARDLY
        return sorted(n for n in order[:LEADERS] if self.fitted[n] > least)

    def _fresh(self, fits: list[Screened]) -> list[int]:
        """Candidates without a ride that may fit as well as the best, at first look; and those
        whose rides fit worse than they may."""
        best = max(self.fitted.values(), default=max(fit.fit for fit in fits))
        may = [
            n for n, fit in enumerate(fits)
            if fit.fit > best - PROMISING and fit.fit > self.fitted.get(n, -np.inf) + BETTER
            and (n not in self.rides or self._again(n, fit))
        ]  # fmt: skip
        return sorted(sorted(may, key=lambda n: (-fits[n].fit, n))[:LEADERS])

    def _again(self, number: int, fit: Screened) -> bool:
        """Whether a candidate that has rides gets more, at severities that it had none at."""
        by_place = self.rides[number].by_place
        if len(self.struck) > 1 and self.rides[number].earlier is None:
            return True
        return len(by_place) < MOST_SEVERITIES and any(
            all(abs(place - other) > NEAR for other in by_place) for place in (fit.low, fit.high)
        )

    def _start(self, number: int, fit: Screened, record: Record, cut: tuple[Stretch, ...]) -> None:
        candidate = self._library.candidates[number]
        rides = self.rides.get(number)
        if rides is None:
            at = self._when(candidate, fit, record, cut, midst=fit.midst)
            rides = self.rides[number] = Rides(candidate, at)
        elif len(self.struck) > 1 and rides.earlier is None:
            # it does not fit as well as it may: it may have struck at another time
            rides.earlier = rides.at, rides.by_place, self.fitted.pop(number, -np.inf)
            rides.at = self._when(candidate, fit, record, cut, midst=not fit.midst)
            rides.by_place = {}
        for place in sorted({fit.low, fit.high}):
            if all(abs(place - other) > NEAR for other in rides.by_place):
                self._add(rides, place, cut)

    def _when(
        self, candidate: Candidate, fit: Screened, record: Record, cut: tuple[Stretch, ...],
        *, midst: bool,
    ) -> float:  # fmt: skip
        """When a suspect struck: before the first odd stretch, or in its midst [s]."""
        if not midst:
            return self.struck[0]
        return self._aligned(candidate, fit.high, self.struck[-1], record, cut)

    def _better_time(self) -> None:
        """Of two times at which a suspect may have struck the one that fits better is kept."""
        for number, rides in self.rides.items():
            if rides.earlier is None or not rides.earlier[1]:
                continue
            at, by_place, fitted = rides.earlier
            if fitted > self.fitted.get(number, -np.inf):
                rides.at, rides.by_place = at, by_place
                self.fitted[number] = fitted
            rides.earlier = (at, {}, fitted)

    def _aligned(
        self, candidate: Candidate, place: float, at: float, record: Record,
        cut: tuple[Stretch, ...],
    ) -> float:  # fmt: skip
        """When a fault must have struck for the first odd thing to come when it came [s]. What
        follows from a fault, such as an alarm, may come some time after it struck."""
        stretch = cut[self._first]
        part = cut[: self._first + 1]
        try:
            ride = self._sound.suspect(candidate.fault(place), cut, self._first, at)
            ride.run(self._panel, record, part)
        except (UnfinishedError, InputError):
            return at
        events = ride.play.plant.log.events
        shows = when_odd(events, stretch, self._first == len(cut) - 1, self._sound.ride)
        if shows >= stretch.ended - BEFORE:
            return at  # it shows nothing here
        return min(max(at + self._odd_at - shows, stretch.began), stretch.ended - BEFORE)

    def _add(self, rides: Rides, place: float, cut: tuple[Stretch, ...]) -> None:
        fault = rides.candidate.fault(place)
        try:
            rides.by_place[place] = self._sound.suspect(fault, cut, self._first, rides.at)
        except (UnfinishedError, InputError) as error:
            rides.why = str(error)

    def _run(self, leaders: list[int], record: Record, seen: Observation) -> None:
        """Runs the rides of some of them on."""
        for number in leaders:
            rides = self.rides[number]
            for place, ride in list(rides.by_place.items()):
                try:
                    ride.run(self._panel, record, seen.cut)
                except (UnfinishedError, InputError) as error:
                    rides.why = str(error)
                    del rides.by_place[place]

    # how well they fit

    def _mark(self, leaders: list[int], record: Record, seen: Observation) -> Marked:
        """How well some of them fit."""
        sound = self._sound.ride
        rides = [ride for n in leaders for ride in self.rides[n].by_place.values()]
        items = Items(self._panel, record, seen, self._first, [sound, *rides])
        without = items.of(sound, sound)
        graded = []
        for n in leaders:
            by_place = self.rides[n].by_place
            if by_place:
                places = sorted(by_place)
                rows = np.array([items.of(by_place[place], sound) for place in places])
                graded.append((n, Graded(np.array(places), rows)))
        kept = without != items.seen.values
        for _, each in graded:
            kept |= (each.expected != items.seen.values).any(axis=0)
        of, in_first = items.seen.only(kept), items.stretch[kept] == self._first
        off_without = misfit(of, without[kept][None, :])
        found = Marked({}, float(total(of, off_without)[0]), unknown(of, off_without))

        def fits(off: Array) -> Array:
            # it may have struck in the midst of the first stretch
            mixed = np.logaddexp(off, off_without) - log(2.0)
            return total(of, np.where(in_first, mixed, off))

        best: dict[int | tuple[int, int], Array] = {}
        for n, each in graded:
            own = Graded(each.places, each.expected[:, kept])
            fine, rows = between(of, own)
            parts = over_severity(fine, fits(misfit(of, rows)))
            at_best = fits(within(of, own)) if len(own.places) > 1 else np.zeros(0)
            found.fits[n] = Fit(fine, parts, own.places, at_best)
            best[n] = rows[int(np.argmax(parts))]
        self.compared = Compared(
            tuple(item for item, keep in zip(items.items, kept, strict=True) if keep),
            of, in_first, without[kept], best,
        )  # fmt: skip
        self.fitted |= {n: fit.whole for n, fit in found.fits.items()}
        return found

    def _refine(self, marked: Marked, cut: tuple[Stretch, ...]) -> bool:
        """Adds rides at severities between those that were calculated, where one may fit better
        than any so far; False: there is nothing to add."""
        best = max((fit.whole for fit in marked.fits.values()), default=0.0)
        order = sorted(marked.fits, key=lambda n: (-marked.fits[n].most, n))
        added = 0
        for number in order:
            fit, rides = marked.fits[number], self.rides[number]
            if added >= REFINED or fit.most < best - HARDLY:
                break
            place = fit.wanted()
            if place is not None and len(rides.by_place) < MOST_SEVERITIES:
                self._add(rides, place, cut)
                added += 1
        return added > 0

    def _prune(self, marked: Marked) -> None:
        """Ends rides at severities that can hardly be; the likely ones and their neighbours go
        on."""
        for number, fit in marked.fits.items():
            by_place = self.rides[number].by_place
            likely = fit.fine[fit.parts > fit.parts.max() - HARDLY / 2.0]
            low = max((p for p in by_place if p <= likely.min()), default=0.0)
            high = min((p for p in by_place if p >= likely.max()), default=1.0)
            for place in list(by_place):
                if not low <= place <= high:
                    del by_place[place]
