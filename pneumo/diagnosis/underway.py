"""Suspects that have rides of their own: who gets one, at which severity, from when on.

How bad a fault is, and when it struck, is not known. A suspect sets out at the severities that fit
best at first look, and gets further ones between them where one may fit better than any so far. It
struck before the first stretch in which something was odd, or in the midst of it, at the instant
that makes the first odd thing come when it came. New rides go through the first odd stretches only,
until it is known whether they may be right.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from pneumo.diagnosis.abreast import Sound
from pneumo.diagnosis.fit import HARDLY, NEAR, Marked
from pneumo.diagnosis.habits import ODD, Habits
from pneumo.diagnosis.library import Library
from pneumo.diagnosis.likelihood import misfit
from pneumo.diagnosis.marking import (
    Marking,
    Part,
    Rides,
    Way,
    beyond,
    mark,
    next_grades,
    without_hopeless,
)
from pneumo.diagnosis.observed import Items, Observation, observed
from pneumo.diagnosis.onset import Onset
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.reasons import Compared
from pneumo.diagnosis.record import Record, Stretch, shortened, stretches
from pneumo.diagnosis.screening import Screened
from pneumo.errors import InputError, UnfinishedError

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
    """So long after the first odd thing it is looked at the first rides [s], and so many suspects
    go on, each time at which it may have struck counted by itself."""
    widens: bool = True
    """While none fits of those that have rides, it is looked further each time."""


WHOLE = Effort(16, 48, 8, 8, 4, 2, ((1.0, 48), (4.0, 24)))
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

CLOSER = 3
"""Times more that severities alone are closed in on."""

MOST_ON = 6
"""So many go on at a time beyond what was odd next."""

ROUNDS = 4
"""Times at most that those are run to the end that may fit best."""

POORLY = 1.0 / 3.0
"""A suspect fits poorly whose log likelihood is less than this share of what something is given
that nobody has thought of: it may fit better when it is worse, or less bad, than was calculated."""

BETTER = 3.0
"""A suspect that fits so much better at first look than by its rides gets more."""


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
        """Number of a candidate -> its rides, from the time on that fits better."""
        self._ways: dict[Way, Rides] = {}
        self._habits = Habits((), ())
        self._best = 0.0
        """Log likelihood of the one that fits best."""
        self._best_then = 0.0
        """The same when others last got rides."""
        self._poorly = False
        """None fits well so far."""
        self._widely: set[int] = set()
        """Candidates that have had rides from all times on, and at severities next to those that
        fit at first look, because none fitted well."""
        self._behind: dict[Way, float] = {}
        """By how much that of those that have had rides was less than the best, when they last had
        them."""
        self._proved: dict[Way, float] = {}
        """Their own log likelihood then."""
        self._again_odd: float | None = None
        """So long after the first odd thing something was odd again [s]."""
        self._at_first: dict[float, Part] = {}
        """Time after the first odd thing [s] -> what was seen until then."""
        self.compared: Compared | None = None
        """Number by number what was seen and expected, as of the last time."""

    def examined(
        self, at_first: list[Screened], fits: list[Screened], record: Record, seen: Observation
    ) -> Marked:
        """Gives rides to those that may fit best, until none that has none may fit better.

        `at_first`, `fits`: how well all fit at first look, by what was seen at first, and by all.
        """
        now, effort = Part(record, seen, self._sound.ride), self._effort
        self._habits = seen.habits
        self._again_odd = self._odd_again(now)
        later = effort.later_turns
        if not self._behind:
            early = self._until(LONGEST_AT_FIRST, record) or now
            fits_early = fits if early is now else at_first
            self._turns(at_first, fits_early, early, effort.turns, effort.fresh)
        else:
            self._place(self._mark(self._run_on(self._known(), now), now))
            # as long as those that have rides explain what is new, no others get any
            later = later if self._best < self._best_then - BETTER else 0
        self._turns(at_first, fits, now, later, effort.fresh_later)
        if later:
            self._best_then = self._best
        return self._settled(now)

    def widened(
        self, at_first: list[Screened], fits: list[Screened], record: Record, seen: Observation
    ) -> Marked:
        """As `examined`, for the next ones, however little they fit at first look."""
        now = Part(record, seen, self._sound.ride)
        self._turns(at_first, fits, now, 1, self._effort.fresh, np.inf)
        return self._settled(now)

    def _settled(self, now: Part) -> Marked:
        """How well those fit in the end that may still be right."""
        through: set[Way] = set()
        nearly = HARDLY
        for _ in range(ROUNDS):
            known = [way for way in self._known() if way in through or self._behind[way] < nearly]
            known = self._run_on(known, now)
            marked = self._mark(known, now)
            self._place(marked)
            through |= set(known)
            nearly = NEARLY
            if not any(way not in through and self._behind[way] < nearly for way in self._known()):
                break
        marked = self._mark([way for way in self._known() if way in through], now)
        chosen = self._better(marked.fits)
        every = {**self._better(self._ways), **chosen}
        self.rides = {number: self._ways[way] for number, way in every.items()}
        self.compared = marked.compared(chosen)
        fits = {number: marked.fits[way] for number, way in sorted(chosen.items())}
        return Marked(fits, marked.sound, marked.unknown)

    def _better(self, ways: Iterable[Way]) -> dict[int, Way]:
        """Of each candidate the way that fits better."""
        order = sorted(ways, key=lambda way: (-self._behind.get(way, np.inf), way))
        return {way[0]: way for way in order}

    @property
    def struck(self) -> tuple[float, ...]:
        """When a fault may have struck [s]."""
        return self.onset.times

    @property
    def fitted(self) -> dict[int, float]:
        """Log likelihood of those that have had rides."""
        better = self._better(self._behind)
        return {n: self._best - self._behind[way] for n, way in sorted(better.items())}

    def _turns(
        self, at_first: list[Screened], fits: list[Screened], seen: Part, turns: int,
        most: int, reach: float = PROMISING,
    ) -> None:  # fmt: skip
        """Gives rides to some, closes in on their severities, and so on, so many times at most."""
        for turn in range(turns + CLOSER):
            some = most if turn == 0 else most // 2
            fresh = self._fresh(at_first, fits, some, reach) if turn < turns else {}
            ways = [way for number, fit in fresh.items()
                    for way in self._start(number, fit, seen.record, seen.seen.cut)]  # fmt: skip
            self._sieve(sorted(ways), seen.record)
            known = self._run_on(self._known(), seen)
            marked = self._mark(known, seen)
            self._place(marked)
            refined = self._refine(marked, seen.seen.cut)
            if turn + 1 >= turns and not refined:
                break
            if self._best < marked.unknown and self._effort.widens:
                reach += PROMISING
            elif not refined and not fresh:
                break
            elif not self._poorly:
                reach = PROMISING_STILL
        for way, fit in marked.fits.items():
            without_hopeless(self._ways[way], fit)

    def _sieve(self, fresh: list[Way], record: Record) -> None:
        """Runs new rides a little past the first odd thing, and those on that may be."""
        for after, most in self._effort.at_first:
            part = self._until(after, record)
            if not fresh or part is None:
                break
            self._run(fresh, part)
            marked = self._mark(fresh, part)
            may = {way: fit.most for way, fit in marked.fits.items()}
            part.best = max([part.best, *may.values()])
            self._behind |= {way: part.best - most for way, most in may.items()}
            self._proved |= may
            order = sorted(may, key=lambda way: (self._behind[way], way))
            fresh = sorted(way for way in order[:most] if self._behind[way] < HARDLY_AT_FIRST)
            self._drop(way for way in order if self._behind[way] >= HARDLY_AT_FIRST)
            for way in fresh:
                without_hopeless(self._ways[way], marked.fits[way])
        # of those that are left nothing else is known yet
        self._behind |= {way: 0.0 for way in fresh if way not in self._behind}

    def _run_on(self, ways: list[Way], part: Part) -> list[Way]:
        """Runs some of them on: those that have seen no more than what came at first by way of what
        was odd next. Those that may still be right after that."""
        after = self._again_odd
        again = None if after is None else self._until(after, part.record)
        if again is not None:
            late = [way for way in ways if self._ways[way].now < again.record.now]
            self._run(late, again)
            marked = self._mark(late, again)
            again.best = max([again.best, *(fit.whole for fit in marked.fits.values())])
            for way, fit in marked.fits.items():
                self._behind[way] = again.best - fit.most
                self._proved[way] = fit.most
                without_hopeless(self._ways[way], fit)
            order = sorted(marked.fits, key=lambda way: (self._behind[way], way))
            may = {way for way in order[:MOST_ON] if self._behind[way] < HARDLY}
            self._drop(way for way in order if self._behind[way] >= HARDLY)
            ways = [way for way in ways if way not in late or way in may]
        self._run(ways, part)
        return ways

    def _drop(self, ways: Iterable[Way]) -> None:
        """Ends the rides of some."""
        for way in ways:
            self._ways[way].by_place.clear()

    def _odd_again(self, now: Part) -> float | None:
        """So long after the first odd thing, and after what came at first, something was odd again
        [s]; None: nothing was, or only now."""
        items = Items(self._panel, now.record, now.seen, self.first, (now.sound,))
        off = misfit(items.seen, items.of(now.sound, now.sound)[None, :])[0]
        for k in np.unique(items.stretch[off < ODD]).tolist():
            after = now.seen.cut[k].ended - self.onset.odd_at
            if after > LONGEST_AT_FIRST:
                return after if k < len(now.seen.cut) - 1 else None
        return None

    def _until(self, after: float, record: Record) -> Part | None:
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
            self._at_first[after] = Part(
                part, observed(self._panel, part, cut, self._habits), sound
            )
        return self._at_first[after]

    def _place(self, marked: Marking) -> None:
        """Notes how well they fit."""
        if not marked.fits:
            return
        self._best = max(fit.whole for fit in marked.fits.values())
        self._poorly = self._best < POORLY * marked.unknown
        self._behind |= {way: self._best - fit.whole for way, fit in marked.fits.items()}
        self._proved |= {way: fit.whole for way, fit in marked.fits.items()}

    def _known(self) -> list[Way]:
        """Those that have had rides and may still be right, by what these showed."""
        order = sorted(self._behind, key=lambda way: (self._behind[way], way))
        better: dict[int, float] = {}
        for way in order:
            if len(better) < self._effort.leaders:
                better.setdefault(way[0], self._behind[way])
        return sorted(
            way for way in order
            if self._behind[way] < min(HARDLY, better.get(way[0], -np.inf) + NEARLY)
        )  # fmt: skip

    def _fresh(
        self, at_first: list[Screened], fits: list[Screened], most: int, reach: float
    ) -> dict[int, Screened]:
        """Candidates without a ride that may be right, at first look; and those whose rides fit
        worse than they may."""
        tried = self._better(self._ways)
        # what an instrument froze at in the midst of a movement no rehearsal tells
        found: dict[int, Screened] = {
            n: fit for n, fit in enumerate(fits)
            if fit.explains and n not in tried and self._library.candidates[n].freezes
        }  # fmt: skip
        for looked, so_far in ((fits, (most + 1) // 2), (at_first, most)):
            best = max(fit.fit for fit in looked)
            may = [
                n for n, fit in enumerate(looked)
                if fit.fit > best - reach and n not in found
                and (n not in tried or self._again(tried[n], fit, best))
            ]  # fmt: skip
            for number in sorted(may, key=lambda n: (-looked[n].fit, n))[: so_far - len(found)]:
                found[number] = looked[number]
        return found

    def _again(self, way: Way, fit: Screened, best: float) -> bool:
        """Whether a candidate that has rides gets more, at severities that it had none at or from
        another time on; `best`: of all at first look."""
        if self._poorly and way[0] not in self._widely:
            return True
        tried = self._ways[way].tried
        return (
            (fit.fit > self._proved.get(way, -np.inf) + BETTER
             or self._behind.get(way, np.inf) > best - fit.fit + BETTER)
            and len(tried) < MOST_SEVERITIES
            and any(all(abs(place - other) > NEAR for other in tried)
                    for place in (fit.low, fit.high))
        )  # fmt: skip

    def _start(
        self, number: int, fit: Screened, record: Record, cut: tuple[Stretch, ...]
    ) -> list[Way]:
        """Gives a candidate rides: at the severities that fit at first look, from the time on that
        does; where none fits well so far, at severities next to them, and from the other time on
        as well."""
        candidate = self._library.candidates[number]
        early = self._until(LONGEST_AT_FIRST, record)
        seen = (record, cut) if early is None else (early.record, early.seen.cut)
        places = {fit.low, fit.high}
        if self._poorly:
            self._widely.add(number)
        if self._poorly or len(places) == 1:  # of one severity alone nobody knows what is beside it
            places |= set(next_grades(candidate, fit.low, fit.high))
        for midst in (fit.midst, not fit.midst) if self._poorly else (fit.midst,):
            if (number, midst) not in self._ways:
                at = self.onset.when(candidate, fit.high, *seen, midst=midst)
                if at not in [rides.at for way, rides in self._ways.items() if way[0] == number]:
                    stretch = self.onset.stretch_of(at, cut)
                    self._ways[number, midst] = Rides(candidate, at, stretch)
        ways = [way for way in self._ways if way[0] == number]
        for way in ways:
            rides = self._ways[way]
            for place in sorted(places):
                if all(abs(place - other) > NEAR for other in rides.tried):
                    self._add(rides, place, cut)
        return ways

    def _add(self, rides: Rides, place: float, cut: tuple[Stretch, ...]) -> None:
        fault = rides.candidate.fault(place)
        rides.tried.add(place)
        try:
            rides.by_place[place] = self._sound.suspect(fault, cut, rides.stretch, rides.at)
        except (UnfinishedError, InputError) as error:
            rides.why = str(error)

    def _run(self, leaders: list[Way], part: Part) -> None:
        """Runs the rides of some of them on."""
        for way in leaders:
            rides = self._ways[way]
            for place, ride in list(rides.by_place.items()):
                try:
                    ride.run(self._panel, part.record, part.seen.cut)
                except (UnfinishedError, InputError) as error:
                    rides.why = str(error)
                    del rides.by_place[place]

    # how well they fit

    def _mark(self, ways: list[Way], part: Part) -> Marking:
        return mark(self._panel, self.first, part, {way: self._ways[way] for way in ways})

    def _refine(self, marked: Marking, cut: tuple[Stretch, ...]) -> bool:
        """Adds rides at severities between those that were calculated, or beyond them, where one
        may fit better than any so far; False: there is nothing to add."""
        best = max((fit.whole for fit in marked.fits.values()), default=0.0)
        order = sorted(marked.fits, key=lambda way: (-marked.fits[way].most, way))
        added = 0
        for way in order:
            fit, rides = marked.fits[way], self._ways[way]
            if added >= self._effort.refined or fit.most < best - HARDLY:
                break
            inside = fit.wanted()
            wanted = [] if inside is None else [inside]
            if fit.whole < POORLY * marked.unknown:
                wanted += beyond(rides.candidate, fit)
            if len(rides.by_place) + len(wanted) > MOST_SEVERITIES:
                without_hopeless(rides, fit)
            wanted = wanted[: max(MOST_SEVERITIES - len(rides.by_place), 0)]
            for place in wanted:
                self._add(rides, place, cut)
            added += bool(wanted)
        return added > 0
