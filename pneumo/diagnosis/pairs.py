"""Two faults at once: where none explains alone what was seen, one is looked for on the ride that
has the other already.

That ride takes the place of the ride without a fault: what is odd next to it, which suspects get
rides on it, and how bad they are, is found by the same code. It is done from what explains most
alone, and once more from the best of what was found beside it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest
from math import log
from typing import NamedTuple

import numpy as np

from pneumo.circuit.circuit import Downtime
from pneumo.diagnosis.abreast import Ride, Sound
from pneumo.diagnosis.fit import HARDLY, Fit, Marked
from pneumo.diagnosis.likelihood import (
    Graded,
    between,
    by_instrument,
    misfit,
    over_severity,
    total,
)
from pneumo.diagnosis.observed import Item, Items, Observation
from pneumo.diagnosis.opinion import Answer, Likely, Opinion, answers
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.questions import Row
from pneumo.diagnosis.reasons import Compared
from pneumo.diagnosis.record import Record
from pneumo.diagnosis.rehearsed import Rehearsed
from pneumo.diagnosis.search import Search
from pneumo.diagnosis.underway import Effort
from pneumo.errors import InputError, UnfinishedError
from pneumo.network.network import Array

WONDERS = 0.3
"""Pairs are looked for when it is so probable that no single one is right [-]; estimated."""

UNEXPLAINED, LEFT_OVER = -4.0, 2
"""They are, too, when what so many instruments showed, each in a stretch, fits the best single one
no better than this [log likelihood]: one may have been misread; estimated."""

PRIOR = 0.05
"""How probable it is beforehand that two parts are defective at once [-]; estimated."""

MOST_SHARE = 0.9
"""How probable pairs are together, at most [-]: two explain much that one would have explained
that is not on the list. Estimated."""

MOST_BASES = 3
"""Faults on top of which another one is looked for."""

MOST_PAIRS = 40
"""Pairs that are gone on with."""

BESIDE = Effort(8, 16, 4, 4, 2, 1, ((1.0, 24), (4.0, 12)), widens=False)
"""Of the search for a second fault: what the first leaves is less, and tells more of it."""


@dataclass
class _Base:
    """A fault that is taken to be there, and the search for what is wrong besides."""

    candidate: int
    place: float
    """On the scale of its severity."""
    stretch: int
    """The one that it struck in."""
    lost: float
    """How much less probable it is as a whole than at this severity, as a logarithm: of it the
    scale is not gone through again."""
    search: Search
    why: str = ""
    """Why it is not gone on with; "" = it is."""


class _Pair(NamedTuple):
    """Two faults at once, as the rides of the second on top of the first tell."""

    base: _Base
    candidate: int
    place: float
    """Of the second, the most probable."""
    fit: float
    """Log likelihood, whatever the severity."""
    lost: float
    """As of a base, of the second."""
    expected: Mapping[Item, float]
    """What is expected at the most probable severity."""
    ride: Ride
    """The one that comes nearest to that."""

    @property
    def numbers(self) -> tuple[int, int]:
        """Of both candidates, in order."""
        one, other = sorted((self.base.candidate, self.candidate))
        return one, other


class Pairs:
    """Looks for pairs as a record grows.

    Parameters
    ----------
    zones
        Component -> its zone.
    unknown
        How probable it is beforehand that none of all suspects is right [-].
    """

    def __init__(
        self, rehearsed: Rehearsed, panel: Panel, zones: Mapping[str, str], unknown: float
    ) -> None:
        library = rehearsed.library
        self._rehearsed, self._library = rehearsed, library
        self._panel, self._zones = panel, zones
        self._unknown = unknown
        whole = sum(candidate.prior for candidate in library.candidates)
        self._prior = [log(candidate.prior / whole) for candidate in library.candidates]
        self._bases: dict[int, _Base] = {}
        self._found: list[_Pair] = []

    def beside(
        self, opinion: Opinion, alone: Search, marked: Marked, record: Record, seen: Observation
    ) -> Opinion:
        """What is thought, with pairs beside single faults.

        Parameters
        ----------
        opinion, marked
            Of single faults.
        alone
            The search for them.
        """
        self._found = []
        if opinion.none_of_these < WONDERS and not self._left_over(alone, marked):
            return opinion
        found = self._looked(alone, marked, record, seen)
        best: dict[tuple[int, int], _Pair] = {}
        for pair in sorted(found, key=lambda each: -each.fit):
            best.setdefault(pair.numbers, pair)
        logs = {numbers: self._log(pair) for numbers, pair in best.items()}
        kept = sorted(best, key=lambda numbers: (-logs[numbers], numbers))[:MOST_PAIRS]
        self._found = [best[numbers] for numbers in kept]
        # next to what nobody has thought of, whose share is known
        none = log(self._unknown) + marked.unknown
        odds = np.exp(np.minimum(np.array([logs[numbers] for numbers in kept]) - none, 600.0))
        odds *= opinion.none_of_these
        return self._joined(opinion, odds)

    def _left_over(self, alone: Search, marked: Marked) -> bool:
        """Whether the best single fault leaves something unexplained."""
        compared = None if alone.under_way is None else alone.under_way.compared
        best = max(marked.fits, key=lambda n: (marked.fits[n].whole, -n), default=-1)
        if compared is None or best not in compared.expected:
            return False
        fits = by_instrument(compared.seen, compared.off(best))
        return bool((fits < UNEXPLAINED).sum() >= LEFT_OVER)

    def _log(self, pair: _Pair) -> float:
        """Log of how probable a pair is, but for a factor that all have."""
        prior = sum(self._prior[number] for number in pair.numbers)
        return log(2.0 * PRIOR) + prior + pair.fit + pair.base.lost

    def _joined(self, opinion: Opinion, odds: Array) -> Opinion:
        """An opinion of single faults, and pairs beside them."""
        together = float(odds.sum())
        if together <= 0.0:
            return opinion
        pairs = min(together / (1.0 + together), MOST_SHARE)
        shares = (odds * (pairs / together)).tolist()
        rest = 1.0 / (1.0 + together)
        downtime = self._library.circuit.downtime
        of_both: dict[tuple[object, object], list[tuple[Answer, Answer]]] = {}
        for pair, share in zip(self._found, shares, strict=True):
            one, other = self._repairs(pair, share, downtime)
            of_both.setdefault((one.spot, other.spot), []).append((one, other))
        doubles = [
            replace(_merged([one for one, _ in both], downtime),
                    beside=_merged([other for _, other in both], downtime))
            for both in of_both.values()
        ]  # fmt: skip
        singles = [_scaled(answer, rest) for answer in opinion.answers]
        return replace(
            opinion,
            answers=tuple(sorted([*doubles, *singles], key=lambda each: -each.share)),
            sound=opinion.sound * rest,
            none_of_these=1.0 - pairs - rest * (1.0 - opinion.none_of_these),
        )

    def _repairs(self, pair: _Pair, share: float, downtime: Downtime) -> tuple[Answer, Answer]:
        places = {pair.base.candidate: pair.base.place, pair.candidate: pair.place}
        one, other = (
            answers([Likely(self._library.candidates[n], share, places[n])], downtime)[0]
            for n in pair.numbers
        )
        return one, other

    def rows(self, opinion: Opinion) -> list[Row]:
        """The rides of pairs, with their shares in an opinion."""
        shares = {answer.where: answer.share for answer in opinion.answers if answer.beside}
        first: dict[object, _Pair] = {}
        for pair in self._found:
            one, other = self._repairs(pair, 1.0, self._library.circuit.downtime)
            first.setdefault(replace(one, beside=other).where, pair)
        return [Row(where, shares[where], pair.ride)
                for where, pair in first.items() if where in shares]  # fmt: skip

    def compared(self, alone: Compared) -> Compared:
        """What was seen and expected, with what is expected of pairs."""
        expected = dict(alone.expected)
        for pair in self._found:
            usual = zip(alone.items, alone.sound.tolist(), strict=True)
            expected[pair.numbers] = np.array([pair.expected.get(*each) for each in usual])
        return alone._replace(expected=expected)

    # the search

    def _looked(
        self, alone: Search, marked: Marked, record: Record, seen: Observation
    ) -> list[_Pair]:
        """Pairs that explain more than one alone."""
        under_way = alone.under_way
        if under_way is None or not marked.fits:
            return []
        first = under_way.first
        enough = log(self._unknown) + marked.unknown
        found = self._of_bases(list(self._bases), alone, record, seen, first)
        self._give_up(found, enough)
        looked = len(self._bases)
        for number, place in self._starts(alone, marked):
            if self._living >= MOST_BASES - 1:
                break
            if number in self._bases:
                continue
            if number in marked.fits:
                fit, at = marked.fits[number], under_way.rides[number].at
                self._add(alone.sound, seen, number, fit.place, first, at, _lost(fit))
            else:
                at = alone.struck(number, place, record, seen)
                stretch = under_way.onset.stretch_of(at, seen.cut)
                self._add(alone.sound, seen, number, place, stretch, at, 0.0)
            found += self._of_bases([number], alone, record, seen, first)
        best = max(found, key=self._log, default=None)
        # the other way round: what the second is, the first may be another one beside it. It takes
        # as long again, so where a pair was found just now it has time until something was done
        if (
            best is not None and best.candidate not in self._bases and self._living < MOST_BASES
            and (looked == len(self._bases) or self._log(best) < enough)
        ):  # fmt: skip
            within = best.base.search.under_way
            assert within is not None
            number, at = best.candidate, within.rides[best.candidate].at
            self._add(alone.sound, seen, number, best.place, within.first, at, best.lost)
            found += self._of_bases([number], alone, record, seen, first)
        self._give_up(found, enough)
        return found

    @property
    def _living(self) -> int:
        return sum(not base.why for base in self._bases.values())

    def _give_up(self, found: Sequence[_Pair], enough: float) -> None:
        """Gives up bases on top of which nothing explains nearly as much as the best pair, or as
        what nobody has thought of; another one takes its place.

        `enough`: how probable that is, see `_log`.
        """
        most: dict[int, float] = {}
        for pair in found:
            number = pair.base.candidate
            most[number] = max(most.get(number, -np.inf), self._log(pair))
        best = max([enough, *most.values()])
        for number, its in most.items():
            if its < best - HARDLY:
                self._bases[number].why = "it explains too little"

    def _starts(self, alone: Search, marked: Marked) -> list[tuple[int, float]]:
        """What is taken to be there first, with its severity: what explains most alone, unless that
        is less than nothing on the list would, and in turn with it what explains most together with
        another one."""
        order = sorted(marked.fits, key=lambda n: (-marked.fits[n].whole, n))
        by_itself = [(n, marked.fits[n].place) for n in order
                     if marked.fits[n].whole > marked.unknown - HARDLY]  # fmt: skip
        together = [one for one, _ in alone.two_at_once()]
        both = zip_longest(by_itself, dict.fromkeys(together))
        return [start for each in both for start in each if start is not None]

    def _add(
        self, sound: Sound, seen: Observation, number: int, place: float, stretch: int, at: float,
        lost: float,
    ) -> None:  # fmt: skip
        fault = self._library.candidates[number].fault(place)
        try:
            base = sound.with_fault(fault, seen.cut, stretch, at)
        except (UnfinishedError, InputError):
            return
        search = Search(self._rehearsed, self._panel, base, self._zones, BESIDE)
        self._bases[number] = _Base(number, place, stretch, lost, search)

    def _of_bases(
        self, numbers: Sequence[int], alone: Search, record: Record, seen: Observation, first: int
    ) -> list[_Pair]:
        found = []
        for number in numbers:
            base = self._bases[number]
            if base.why:
                continue
            try:
                base.search.sound.run(record, seen.cut)
                looked = base.search.look(record, seen, np.zeros(len(self._library.candidates)))
            except UnfinishedError as error:
                base.why = str(error)
                continue
            if looked is not None:
                found += self._pairs(base, alone.sound.ride, record, seen, first)
        return found

    def _pairs(
        self, base: _Base, sound: Ride, record: Record, seen: Observation, first: int
    ) -> list[_Pair]:
        """Pairs of a base with each suspect that has rides on top of it.

        `first`: the first stretch that counts.
        """
        under_way, one = base.search.under_way, base.search.sound.ride
        assert under_way is not None
        component = self._library.candidates[base.candidate].component
        # two faults of one part are one repair, and a part that is one way and then another fits
        # two that contradict each other
        by_place = {n: rides.by_place for n, rides in under_way.rides.items()
                    if rides.by_place and n in under_way.fitted
                    and rides.candidate.component != component
                    and all(ride.now >= seen.cut[-1].ended for ride in rides.by_place.values())
                    }  # fmt: skip
        rides = [ride for each in by_place.values() for ride in each.values()]
        items = Items(self._panel, record, seen, first, [sound, one, *rides])
        without = misfit(items.seen, items.of(sound, sound)[None, :])
        with_one = misfit(items.seen, items.of(one, sound)[None, :])
        found = []
        for number, own in by_place.items():
            places = np.array(sorted(own))
            rows = np.array([items.of(own[place], one) for place in places.tolist()])
            fine, expected = between(items.seen, Graded(places, rows))
            off = misfit(items.seen, expected)
            # each may have struck in the midst of its first stretch
            for stretch, before in ((under_way.first, with_one), (base.stretch, without)):
                mixed = np.logaddexp(off, before) - log(2.0)
                off = np.where(items.stretch == stretch, mixed, off)
            fit = Fit(
                fine, over_severity(fine, total(items.seen, off)), places, np.zeros(0)
            )  # fmt: skip
            best = int(np.argmax(fit.parts))
            near = float(places[int(np.argmin(np.abs(places - fit.place)))])
            found.append(
                _Pair(base, number, fit.place, fit.whole, _lost(fit),
                      dict(zip(items.items, expected[best].tolist(), strict=True)), own[near])
            )  # fmt: skip
        return found


def _lost(fit: Fit) -> float:
    """How much less probable a suspect is whatever its severity than at the best one [log]."""
    if len(fit.fine) == 1:
        return 0.0
    best = int(np.argmax(fit.parts))
    width = max(float(np.gradient(fit.fine)[best]), 1e-6)
    return min(fit.whole - (float(fit.parts[best]) - log(width)), 0.0)


def _scaled(answer: Answer, by: float) -> Answer:
    modes = tuple(replace(each, share=each.share * by) for each in answer.modes)
    return replace(answer, share=answer.share * by, modes=modes)


def _merged(of: Sequence[Answer], downtime: Downtime) -> Answer:
    """Answers at one spot as one."""
    modes: dict[tuple[str, str, object], Likely] = {}
    for answer in of:
        for each in answer.modes:
            key = each.candidate.component, each.candidate.mode, each.candidate.side
            known = modes.get(key)
            modes[key] = each if known is None else replace(known, share=known.share + each.share)
    return answers(modes.values(), downtime)[0]
