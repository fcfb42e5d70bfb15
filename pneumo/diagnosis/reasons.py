"""Why an answer is thought to be right or wrong: what was seen that fits one suspect better than
another, and which suspects nothing that was seen tells apart. Records only; `telling` has words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import log
from typing import NamedTuple

import numpy as np

from pneumo.circuit.action import Action
from pneumo.diagnosis.library import Test
from pneumo.diagnosis.likelihood import Seen, by_instrument, misfit, total
from pneumo.diagnosis.observed import Item
from pneumo.diagnosis.opinion import Answer, Likely, Opinion
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.record import Record, Stretch
from pneumo.diagnosis.suspects import Candidate
from pneumo.drill.entry import Fell
from pneumo.inspection.evidence import Evidence
from pneumo.network.network import Array

SPEAKS = log(2.0)
"""An instrument that fits one suspect better than another by less tells nothing of the two [log
likelihood]; estimated."""

MOST_SIGNS = 3
"""Signs for an answer, or against it."""

MOST_CASES = 5
"""Answers whose reasons are given."""

LEAST_SHARE = 0.01
"""Answers less probable are not gone into [-]."""


class Compared(NamedTuple):
    """What was seen, number by number, and what was expected in its place."""

    items: tuple[Item, ...]
    seen: Seen
    in_first: Array
    """(items,) bool: of the stretch in which the fault struck, perhaps after they came about."""
    sound: Array
    """(items,) of the ride without a fault."""
    expected: Mapping[int | tuple[int, int], Array]
    """Number of a candidate, or of two at once -> (items,) of the ride that fits best."""

    @property
    def off_sound(self) -> Array:
        """(1, items) log likelihood of each number without a fault."""
        return misfit(self.seen, self.sound[None, :])

    def off(self, number: int | tuple[int, int]) -> Array:
        """(1, items) log likelihood of each number with a candidate, or with two."""
        own = misfit(self.seen, self.expected[number][None, :])
        mixed = np.logaddexp(own, self.off_sound) - log(2.0)
        return np.where(self.in_first, mixed, own)


class Sign(NamedTuple):
    """What one instrument showed, or one test gave, that fits one thing better than another."""

    began: float
    """Where its stretch begins [s of the ride]."""
    done: tuple[Action, ...]
    """What was done there."""
    instrument: str
    """Of the panel, or a zone; "" = the ride, or a test."""
    test: Test | None
    """Word and target of a test."""
    found: Evidence | Fell | None
    """What the test gave."""
    made: float
    """When it did [s of the ride]."""
    aspect: str
    """Which number of it; see `Panel.places` and `marks`."""
    seen: float
    expected: float
    """With the fault."""
    other: float
    """With what it is compared with."""
    weight: float
    """By how much it fits the one better [log likelihood]."""
    alike: tuple[str, ...]
    """Further instruments of its sort that say the same."""


@dataclass(frozen=True)
class Case:
    """What there is to say of an answer."""

    answer: Answer
    likely: Likely
    """Its fault mode and severity that fit best."""
    shown: tuple[Sign, ...]
    """What speaks for it, against a ride without a fault; `other` = without a fault."""
    rival: Answer | None
    """The most probable other answer that something tells it from."""
    for_it: tuple[Sign, ...]
    """What fits it better than the rival; `other` = with the rival."""
    against: tuple[Sign, ...]
    """What fits the rival better; without one, a ride without a fault. `other` = with that."""
    alike: tuple[Answer, ...]
    """Answers that nothing so far tells from it."""


class _Known(NamedTuple):
    """A suspect, and how well it fits."""

    row: Array
    """(items,) what is expected."""
    off: Array
    """(1, items) log likelihood of each number."""


class Reasons:
    """Finds out what speaks for answers and against them.

    Parameters
    ----------
    compared
        As of the last opinion.
    cut
        The record in stretches.
    """

    def __init__(
        self,
        compared: Compared,
        candidates: tuple[Candidate, ...],
        panel: Panel,
        record: Record,
        cut: tuple[Stretch, ...],
    ) -> None:
        self._compared, self._panel, self._record, self._cut = compared, panel, record, cut
        self._number = {candidate: n for n, candidate in enumerate(candidates)}
        self._sound = _Known(compared.sound, compared.off_sound)

    def cases(self, opinion: Opinion) -> tuple[Case, ...]:
        """What there is to say of the leading answers, in their order."""
        known = [(answer, self._known(answer)) for answer in opinion.answers
                 if answer.share >= LEAST_SHARE]  # fmt: skip
        found = [(answer, *own) for answer, own in known if own is not None]
        return tuple(
            self._case(answer, likely, own,
                       [(other, its) for other, _, its in found if other is not answer])
            for answer, likely, own in found[:MOST_CASES]
        )  # fmt: skip

    def odd(self) -> tuple[Sign, ...]:
        """What was seen that is other than on a ride without a fault; `expected` = as seen."""
        seen = self._compared.seen
        return self._signs(_Known(seen.values, np.zeros((1, len(seen)))), self._sound)

    def _known(self, answer: Answer) -> tuple[Likely, _Known] | None:
        """The best of its fault modes that had a ride."""
        for likely in answer.modes:
            number: int | tuple[int, int] = self._number[likely.candidate]
            if answer.beside is not None:
                one, other = sorted(self._number[each.modes[0].candidate] for each in answer.parts)
                number = one, other
            if number in self._compared.expected:
                row = self._compared.expected[number]
                return likely, _Known(row, self._compared.off(number))
        return None

    def _case(
        self, answer: Answer, likely: Likely, own: _Known, others: list[tuple[Answer, _Known]]
    ) -> Case:
        told = [self._told_apart(own, its) for _, its in others]
        alike = tuple(each for (each, _), apart in zip(others, told, strict=True) if not apart)
        rival = next((each for each, apart in zip(others, told, strict=True) if apart), None)
        against = self._sound if rival is None else rival[1]
        return Case(
            answer,
            likely,
            self._signs(own, self._sound),
            rival[0] if rival else None,
            self._signs(own, rival[1]) if rival else (),
            tuple(
                sign._replace(expected=sign.other, other=sign.expected)
                for sign in self._signs(against, own)
            ),
            alike,
        )

    def _told_apart(self, one: _Known, other: _Known) -> bool:
        seen = self._compared.seen
        whole = total(seen, one.off)[0] - total(seen, other.off)[0]
        each = by_instrument(seen, one.off)[0] - by_instrument(seen, other.off)[0]
        return bool(abs(whole) >= SPEAKS or (np.abs(each) >= SPEAKS).any())

    def _signs(self, one: _Known, other: _Known) -> tuple[Sign, ...]:
        """What fits one thing better than another, what tells most first; instruments of one sort
        are one sign."""
        seen = self._compared.seen
        better = by_instrument(seen, one.off)[0] - by_instrument(seen, other.off)[0]
        by_item = (one.off - other.off)[0]
        places: dict[int, list[tuple[float, int]]] = {}
        for instrument in np.flatnonzero(better >= SPEAKS).tolist():
            own = np.flatnonzero(seen.instrument == instrument)
            place = int(own[np.argmax(by_item[own])])
            family = int(seen.family[instrument])
            places.setdefault(family, []).append((float(better[instrument]), place))
        found = []
        for told in places.values():
            told.sort(key=lambda each: (-round(each[0], 2), each[1]))
            (weight, place), *more = told
            alike = tuple(name for _, p in more if (name := self._instrument(p)))
            found.append((weight, place, alike))
        found.sort(key=lambda each: (-round(each[0], 2), each[1]))
        return tuple(
            self._sign(place, weight, alike, one.row, other.row)
            for weight, place, alike in found[:MOST_SIGNS]
        )

    def _instrument(self, place: int) -> str:
        item = self._compared.items[place]
        return self._panel.places[item.place].instrument if item.test < 0 else ""

    def _sign(
        self, place: int, weight: float, alike: tuple[str, ...], one: Array, other: Array
    ) -> Sign:
        item = self._compared.items[place]
        stretch = self._cut[item.stretch]
        made = self._record.made[item.test] if item.test >= 0 else None
        return Sign(
            began=stretch.began,
            done=stretch.done,
            instrument=self._instrument(place),
            test=(made.test, made.target) if made else None,
            found=made.found if made else None,
            made=made.ended if made else stretch.ended,
            aspect=item.aspect,
            seen=float(self._compared.seen.values[place]),
            expected=float(one[place]),
            other=float(other[place]),
            weight=weight,
            alike=alike,
        )
