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
from typing import NamedTuple

import numpy as np

from pneumo.diagnosis.abreast import Ride, Sound
from pneumo.diagnosis.fit import HARDLY, NEAR, Fit, Marked, unknown
from pneumo.diagnosis.habits import Habits
from pneumo.diagnosis.library import Library
from pneumo.diagnosis.likelihood import Graded, between, misfit, over_severity, total, within
from pneumo.diagnosis.observed import Items, Observation, observed
from pneumo.diagnosis.onset import Onset
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.reasons import Compared
from pneumo.diagnosis.record import Record, Stretch, shortened, stretches
from pneumo.diagnosis.screening import Screened
from pneumo.diagnosis.suspects import Candidate
from pneumo.errors import InputError, UnfinishedError
from pneumo.network.network import Array

MOST_SEVERITIES = 7
"""Rides of a suspect, at most, for each instant at which it may have struck."""


class Effort(NamedTuple):
    """How many suspects get rides."""

    leaders: int
    """So many keep rides of their own."""
    fresh: int
    fresh_later: int
    """So many get some at a time, when something first was odd and later: half of them by what was
    seen at first, half by all."""
    refined: int
    """Of so many the severity is closed in on each time."""
    turns: int
    later_turns: int
    """Times that suspects are chosen and their severities closed in on, at most: by what came after
    the first odd thing, and by all that has been seen."""
    at_first: tuple[tuple[float, int], ...]
    """So long after the first odd thing it is looked at a suspect's first rides [s], and so many go
    on."""
    widens: bool = True
    """While none fits of those that have rides, it is looked further each time."""


WHOLE = Effort(16, 48, 8, 8, 4, 2, ((1.0, 32), (4.0, 16)))
"""Of a search among all that may be wrong."""

LONGEST_AT_FIRST = 12.0
"""So long after it suspects are told apart at first [s]."""

HARDLY_AT_FIRST = 7.0
"""As `HARDLY`, while only what came at first was looked at."""

PROMISING = 7.0
"""A suspect without rides gets some when its log likelihood at first look comes so near to the
best there; by so much more each time that none of those fits which have some."""

PROMISING_STILL = 4.0
"""The same while one fits that has some."""

NEARLY = 4.0
"""Of those that were not run to the end once others were, only who came so near to the best is."""

ROUNDS = 4
"""Times at most that those are run to the end that may fit best."""

BETTER = 3.0
"""A suspect that fits so much better at first look than by its rides gets new ones."""


@dataclass
class Rides:
    """A suspect under way: rides by the place of their severity."""

    candidate: Candidate
    at: float
    """When it struck [s]."""
    stretch: int
    """In which stretch that was."""
    by_place: dict[float, Ride] = field(default_factory=dict)
    why: str = ""
    """What stopped the calculation."""
    earlier: tuple[float, dict[float, Ride], float] | None = None
    """When it struck, its rides and how far behind they were, before another time was tried."""


@dataclass
class _Part:
    """What was seen until some instant."""

    record: Record
    seen: Observation
    sound: Ride
    """The ride without a fault until then."""
    best: float = -np.inf
    """Log likelihood of the suspect that fitted it best."""


class UnderWay:
    """The suspects of one ride that have rides of their own.

    Parameters
    ----------
    onset
        When they may have struck.
    effort
        How many get rides.
    """

    def __init__(
        self, library: Library, panel: Panel, sound: Sound, onset: Onset, effort: Effort
    ) -> None:
        self._library, self._panel, self._sound = library, panel, sound
        self._effort = effort
        self.first = onset.first
        """The first stretch that counts."""
        self.onset = onset
        self.rides: dict[int, Rides] = {}
        """Number of a candidate -> its rides."""
        self._habits = Habits((), ())
        self._best = 0.0
        """Log likelihood of the one that fits best."""
        self._behind: dict[int, float] = {}
        """By how much that of those that have had rides was less than the best, when they last had
        them."""
        self._proved: dict[int, float] = {}
        """Their own log likelihood then."""
        self._at_first: dict[float, _Part] = {}
        """Time after the first odd thing [s] -> what was seen until then."""
        self.compared: Compared | None = None
        """Number by number what was seen and expected, as of the last time."""

    def examined(
        self, at_first: list[Screened], fits: list[Screened], record: Record, seen: Observation
    ) -> Marked:
        """Gives rides to those that may fit best, until none that has none may fit better.

        `at_first`, `fits`: how well all fit at first look, by what was seen at first, and by all.
        """
        now, effort = _Part(record, seen, self._sound.ride), self._effort
        self._habits = seen.habits
        if not self._behind:
            early = self._until(LONGEST_AT_FIRST, record) or now
            fits_early = fits if early is now else at_first
            self._turns(at_first, fits_early, early, effort.turns, effort.fresh)
        self._turns(at_first, fits, now, effort.later_turns, effort.fresh_later)
        return self._settled(now)

    def widened(
        self, at_first: list[Screened], fits: list[Screened], record: Record, seen: Observation
    ) -> Marked:
        """As `examined`, for the next ones, however little they fit at first look."""
        now = _Part(record, seen, self._sound.ride)
        self._turns(at_first, fits, now, 1, self._effort.fresh, np.inf)
        return self._settled(now)

    def _settled(self, now: _Part) -> Marked:
        """How well those fit in the end that may still be right."""
        through: set[int] = set()
        nearly = HARDLY
        for _ in range(ROUNDS):
            known = [n for n in self._known() if n in through or self._behind[n] < nearly]
            self._run(known, now)
            marked = self._mark(known, now)
            self._place(marked)
            through |= set(known)
            nearly = NEARLY
            if not any(n not in through and self._behind[n] < nearly for n in self._known()):
                break
        marked = self._mark([n for n in self._known() if n in through], now)
        self._prune(marked)
        return marked

    @property
    def struck(self) -> tuple[float, ...]:
        """When a fault may have struck [s]."""
        return self.onset.times

    @property
    def fitted(self) -> dict[int, float]:
        """Log likelihood of those that have had rides."""
        return {n: self._best - behind for n, behind in self._behind.items()}

    def _turns(
        self, at_first: list[Screened], fits: list[Screened], seen: _Part, turns: int,
        most: int, reach: float = PROMISING,
    ) -> None:  # fmt: skip
        """Gives rides to some, closes in on their severities, and so on, so many times at most."""
        for _ in range(turns):
            fresh = self._fresh(at_first, fits, most, reach)
            for number, fit in fresh.items():
                self._start(number, fit, seen.record, seen.seen.cut)
            self._sieve(sorted(fresh), seen.record)
            known = self._known()
            self._run(known, seen)
            marked = self._mark(known, seen)
            self._place(marked)
            self._better_time()
            refined = self._refine(marked, seen.seen.cut)
            if self._best < marked.unknown and self._effort.widens:
                reach += PROMISING
            elif refined or fresh:
                reach = PROMISING_STILL
            else:
                break

    def _sieve(self, fresh: list[int], record: Record) -> None:
        """Runs new rides a little past the first odd thing, and those on that may be."""
        for after, most in self._effort.at_first:
            part = self._until(after, record)
            if not fresh or part is None:
                break
            self._run(fresh, part)
            marked = self._mark(fresh, part)
            may = {n: fit.most for n, fit in marked.fits.items()}
            part.best = max([part.best, *may.values()])
            self._behind |= {n: part.best - most for n, most in may.items()}
            self._proved |= may
            order = sorted(may, key=lambda n: (self._behind[n], n))
            fresh = sorted(n for n in order[:most] if self._behind[n] < HARDLY_AT_FIRST)
        # of those that are left nothing else is known yet
        self._behind |= {n: 0.0 for n in fresh if n not in self._behind}

    def _until(self, after: float, record: Record) -> _Part | None:
        """What was seen until some time after the first odd thing [s]; None: the record does not go
        so far."""
        if after not in self._at_first:
            time = self.onset.odd_at + after
            if time >= record.now:
                return None
            part = shortened(record, time)
            cut = stretches(part)
            sound = self._sound.again(self.first)
            sound.run(self._panel, part, cut)
            self._at_first[after] = _Part(
                part, observed(self._panel, part, cut, self._habits), sound
            )
        return self._at_first[after]

    def _place(self, marked: Marked) -> None:
        """Notes how well they fit."""
        if not marked.fits:
            return
        self._best = max(fit.whole for fit in marked.fits.values())
        self._behind |= {n: self._best - fit.whole for n, fit in marked.fits.items()}
        self._proved |= {n: fit.whole for n, fit in marked.fits.items()}

    def _known(self) -> list[int]:
        """Candidates that have had rides and may still be right, by what those showed."""
        order = sorted(self._behind, key=lambda n: (self._behind[n], n))
        return sorted(n for n in order[: self._effort.leaders] if self._behind[n] < HARDLY)

    def _fresh(
        self, at_first: list[Screened], fits: list[Screened], most: int, reach: float
    ) -> dict[int, Screened]:
        """Candidates without a ride that may be right, at first look; and those whose rides fit
        worse than they may."""
        # what an instrument froze at in the midst of a movement no rehearsal tells
        found: dict[int, Screened] = {
            n: fit for n, fit in enumerate(fits)
            if fit.explains and n not in self.rides and self._library.candidates[n].freezes
        }  # fmt: skip
        for looked, so_far in ((fits, (most + 1) // 2), (at_first, most)):
            best = max(fit.fit for fit in looked)
            may = [
                n for n, fit in enumerate(looked)
                if fit.fit > best - reach and n not in found
                and (n not in self.rides or self._again(n, fit, best, reach))
            ]  # fmt: skip
            for number in sorted(may, key=lambda n: (-looked[n].fit, n))[: so_far - len(found)]:
                found[number] = looked[number]
        return found

    def _again(self, number: int, fit: Screened, best: float, reach: float) -> bool:
        """Whether a candidate that has rides gets more, at severities that it had none at, or from
        another time on; `best`: of all at first look."""
        if self._at_another_time(self.rides[number]):
            # where none fits, the first look may have been wrong about the time as well: what a
            # fault does in the last moment before a command no rehearsal tells
            return reach > PROMISING or fit.fit > self._proved.get(number, -np.inf) + BETTER
        by_place = self.rides[number].by_place
        return (
            self._behind.get(number, np.inf) > best - fit.fit + BETTER
            and len(by_place) < MOST_SEVERITIES
            and any(all(abs(place - other) > NEAR for other in by_place)
                    for place in (fit.low, fit.high))
        )  # fmt: skip

    def _at_another_time(self, rides: Rides) -> bool:
        """Whether a suspect may have struck at a time that was not tried."""
        return len(self.onset.times) > 1 and rides.earlier is None and not rides.candidate.freezes

    def _start(self, number: int, fit: Screened, record: Record, cut: tuple[Stretch, ...]) -> None:
        candidate = self._library.candidates[number]
        rides = self.rides.get(number)
        early = self._until(LONGEST_AT_FIRST, record)
        seen = (record, cut) if early is None else (early.record, early.seen.cut)
        if rides is None:
            at = self.onset.when(candidate, fit.high, *seen, midst=fit.midst)
            rides = self.rides[number] = Rides(candidate, at, self.onset.stretch_of(at, cut))
        elif self._at_another_time(rides):
            # it does not fit as well as it may: it may have struck at another time
            rides.earlier = rides.at, rides.by_place, self._behind.pop(number, np.inf)
            rides.at = self.onset.when(candidate, fit.high, *seen, midst=not fit.midst)
            rides.by_place = {}
        for place in sorted({fit.low, fit.high}):
            if all(abs(place - other) > NEAR for other in rides.by_place):
                self._add(rides, place, cut)

    def _better_time(self) -> None:
        """Of two times at which a suspect may have struck the one that fits better is kept."""
        for number, rides in self.rides.items():
            if rides.earlier is None or not rides.earlier[1]:
                continue
            at, by_place, behind = rides.earlier
            if behind < self._behind.get(number, np.inf):
                rides.at, rides.by_place = at, by_place
                self._behind[number] = behind
            rides.earlier = (at, {}, behind)

    def _add(self, rides: Rides, place: float, cut: tuple[Stretch, ...]) -> None:
        fault = rides.candidate.fault(place)
        try:
            rides.by_place[place] = self._sound.suspect(fault, cut, rides.stretch, rides.at)
        except (UnfinishedError, InputError) as error:
            rides.why = str(error)

    def _run(self, leaders: list[int], part: _Part) -> None:
        """Runs the rides of some of them on."""
        for number in leaders:
            rides = self.rides[number]
            for place, ride in list(rides.by_place.items()):
                try:
                    ride.run(self._panel, part.record, part.seen.cut)
                except (UnfinishedError, InputError) as error:
                    rides.why = str(error)
                    del rides.by_place[place]

    # how well they fit

    def _mark(self, leaders: list[int], part: _Part) -> Marked:
        """How well some of them fit."""
        record, seen, sound = part.record, part.seen, part.sound
        rides = [ride for n in leaders for ride in self.rides[n].by_place.values()]
        items = Items(self._panel, record, seen, self.first, [sound, *rides])
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
        of, in_first = items.seen.only(kept), items.stretch[kept] == self.first
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
        return found

    def _refine(self, marked: Marked, cut: tuple[Stretch, ...]) -> bool:
        """Adds rides at severities between those that were calculated, where one may fit better
        than any so far; False: there is nothing to add."""
        best = max((fit.whole for fit in marked.fits.values()), default=0.0)
        order = sorted(marked.fits, key=lambda n: (-marked.fits[n].most, n))
        added = 0
        for number in order:
            fit, rides = marked.fits[number], self.rides[number]
            if added >= self._effort.refined or fit.most < best - HARDLY:
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
