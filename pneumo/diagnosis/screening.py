"""A first look at all suspects: what was seen, against what each showed in its rehearsal.

It is coarse: a rehearsal was commanded otherwise than the ride. It decides which suspects are worth
a ride of their own, so what it cannot tell speaks against nobody.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from pneumo.diagnosis.abreast import Ride
from pneumo.diagnosis.habits import corrected
from pneumo.diagnosis.likelihood import Seen, misfit, total
from pneumo.diagnosis.marks import Mark, Scale, marks
from pneumo.diagnosis.movements import UNTOLD, Moved, Movement, Stands, asked
from pneumo.diagnosis.observed import Observation, seen_in, shown_in
from pneumo.diagnosis.observed import tested as tested_number
from pneumo.diagnosis.panel import EDGE, Panel
from pneumo.diagnosis.record import Record, within
from pneumo.diagnosis.rehearsed import Rehearsed
from pneumo.network.network import Array

BLUR = 2.0
"""Factor on the spreads; estimated."""

MIDST = 1.5
"""By how much the log likelihood is lowered of a fault that struck in the midst of a stretch: what
came when in it is not asked; estimated."""

PERHAPS = -2.0
"""Log likelihood, at least, of where a contact or a pressure has come to some time after a fault
struck; estimated."""

TIED = 0.1
"""Severities that fit so nearly as well as the best are all in question."""

IN_TIME = -3.0
"""The same where a rehearsal does not show it yet; estimated."""

SPREAD = 1.0
"""By how much it is lowered of a severity between two that were calculated, where more fits than
would; estimated."""

SETTLES = 0.5
"""A movement is over so long after its last edge [s]; estimated."""

LONGEST = 6.0
"""The same of what has no limits [s]; estimated."""

AT_FIRST = 3
"""Stretches, from the first odd one on, in which a fault shows what it does at first. What comes
of it after many movements no rehearsal tells."""


class Screened(NamedTuple):
    """How well a suspect fits at first look."""

    fit: float
    """Log likelihood, of its best severity and the better of the places in which it struck."""
    low: float
    """Its best severity lies between these two, on its scale; often they are one."""
    high: float
    midst: bool
    """It fits better had it struck in the midst of the first odd stretch than before it."""
    explains: bool
    """Something that was odd may be so because of it."""


class Sight(NamedTuple):
    """What is compared: a record in numbers, and the ride without a fault."""

    record: Record
    seen: Observation
    moved: tuple[dict[str, Moved], ...]
    """Of each stretch, see `movements`."""
    sound: Ride
    without: Mapping[tuple[int, str], float]
    """(stretch, zone) -> log likelihood of what its part of the panel showed without a fault, where
    something was odd."""
    odd: Sequence[int]
    """Places of the panel at which something was."""

    def did(self, stretch: int, zone: str) -> Moved:
        """What a zone did in a stretch."""
        return self.moved[stretch].get(zone, UNTOLD)


class Part(NamedTuple):
    """What a zone showed from one stretch to another, beside what suspects show there."""

    of: Seen
    without: Array
    """(1, items) log likelihood of each number without a fault."""
    rows: Array
    """(telling,) those that show something else."""
    items: Array
    """(telling, items) log likelihood of each number, of those."""

    def total(self, rows: int) -> Array:
        """(rows,) log likelihood of all of it."""
        found = np.full(rows, float(total(self.of, self.without)[0]))
        found[self.rows] = total(self.of, self.items)
        return found


class Screen:
    """All suspects of a ride, looked at again as its record grows.

    Parameters
    ----------
    first
        The first stretch that counts.
    zones
        Component -> its zone.
    """

    def __init__(
        self, rehearsed: Rehearsed, panel: Panel, first: int, zones: Mapping[str, str]
    ) -> None:
        self._rehearsed, self._panel = rehearsed, panel
        self._first, self._zones = first, zones
        self._low, self._high, self.between = rehearsed.between
        self._trips = dict.fromkeys(panel.by_zone, LONGEST)
        """Zone -> until when at most an alarm comes after a command [s]."""
        for zone, each in rehearsed.library.circuit.zones.items():
            self._trips[zone] = max(each.limits.close, each.limits.open) + each.limits.vent
        circuit = rehearsed.library.circuit
        self._safe = {name: zone.safe_state for name, zone in circuit.zones.items()}
        self._known: dict[int, tuple[Array, dict[str, int]]] = {}
        """Of stretches that are over, see `_stretch`."""
        self._standing: tuple[Array, Array] | None = None
        """The same of the first one, see `_struck`."""

    def look(self, sight: Sight) -> tuple[list[Screened], list[Screened]]:
        """How well every candidate of a library fits, in its order: what was seen at first, and
        all."""
        first, last = self._first, len(sight.seen.cut) - 1
        ends: dict[str, int] = {}
        shown: dict[int, Array] = {}
        for k in range(first, last + 1):
            shown[k], until = self._known.get(k) or self._stretch(sight, k, ends)
            if max([k, *until.values()]) < last:
                self._known[k] = shown[k], until
            ends |= until
        if self._standing is None or last == first:
            self._standing = self._struck(sight)
        still, anywhere = self._standing
        of_tests, as_usual = self._tests(sight)
        struck_before = shown[first] + still
        struck_in = anywhere - MIDST
        unseen = self._rehearsed.silent(sight.odd) & as_usual
        nowhere = unseen[self._low] & unseen[self._high]

        def fits(until: int) -> list[Screened]:
            later = np.zeros(len(self._low))
            for k in range(first + 1, until):
                later += shown[k]
            for k, each in of_tests.items():
                if k < until:
                    later += each
            whole = later + np.maximum(struck_before, struck_in)
            whole -= np.where(self.between, SPREAD, 0.0)
            if all(sight.moved[first:until]):
                # what never shows anything where something was odd explains no better than nothing
                nothing = sum(fit for (k, _), fit in sight.without.items() if k < until)
                whole = np.where(nowhere, np.minimum(whole, nothing), whole)
            return self._best(whole, struck_in > struck_before, ~nowhere)

        return fits(min(first + AT_FIRST, last + 1)), fits(last + 1)

    def _best(self, fits: Array, midst: Array, explains: Array) -> list[Screened]:
        """Of each candidate the row that fits best, and from which to which severity others fit as
        well."""
        rehearsed = self._rehearsed
        of = rehearsed.candidate[self._low]
        most = np.full(rehearsed.candidates, -np.inf)
        np.maximum.at(most, of, fits)
        tied = fits > most[of] - TIED
        low, high = np.ones(rehearsed.candidates), np.zeros(rehearsed.candidates)
        np.minimum.at(low, of[tied], rehearsed.place[self._low[tied]])
        np.maximum.at(high, of[tied], rehearsed.place[self._high[tied]])
        found = [Screened(-np.inf, 1.0, 1.0, False, True)] * rehearsed.candidates
        for row in np.flatnonzero(fits == most[of])[::-1].tolist():
            n = int(of[row])
            found[n] = Screened(
                float(fits[row]), float(low[n]), float(high[n]), bool(midst[row]),
                bool(explains[row]),
            )  # fmt: skip
        return found

    # what the panel showed

    def parts(self, sight: Sight) -> Iterator[Part]:
        """What was seen at first, part by part, of faults that were there before it."""
        every = np.arange(len(self._low))
        for zone, places in self._panel.by_zone.items():
            for k in range(self._first, min(self._first + AT_FIRST, len(sight.seen.cut))):
                moved = sight.did(k, zone)
                if moved.movement in ("closing", "opening"):
                    last = self._ends(sight, k, zone)
                    yield self._moving(sight, k, last, zone, moved.movement)
                elif k == self._first:
                    of, without, items = self._stands(sight, places, moved.stands)
                    of_rows = np.maximum(items[self._low], items[self._high])
                    yield Part(of, without, every, of_rows)

    @property
    def component(self) -> Array:
        """(rows,) number of the component of each."""
        known: dict[str, int] = {}
        candidates = self._rehearsed.library.candidates
        of = [known.setdefault(each.component, len(known)) for each in candidates]
        return np.array(of)[self._rehearsed.candidate[self._low]]

    def place(self, row: int) -> tuple[int, float]:
        """Candidate and severity of a row."""
        low, high = self._low[row], self._high[row]
        place = self._rehearsed.place
        return int(self._rehearsed.candidate[low]), float(place[low] + place[high]) / 2.0

    def _stretch(
        self, sight: Sight, k: int, ends: Mapping[str, int]
    ) -> tuple[Array, dict[str, int]]:
        """(rows,) log likelihood of what the panel showed in a stretch, of a fault that was there
        when it began; and of each zone that moved in it the stretch in which that ended. What other
        zones are asked for meanwhile cuts a stretch short, and no movement.

        `ends`: the same of the stretches before it.
        """
        found = np.zeros(len(self._low))
        until: dict[str, int] = {}
        for zone, places in self._panel.by_zone.items():
            movement = sight.did(k, zone).movement
            if movement in ("closing", "opening"):
                until[zone] = self._ends(sight, k, zone)
                found += self._moving(sight, k, until[zone], zone, movement).total(len(found))
            elif k > max(self._first, ends.get(zone, k)) and sight.moved[k]:
                # of zones that no rehearsal tells of: what never shows anything there explains
                # nothing there
                silent = self._rehearsed.silent(places)
                without = sight.without.get((k, zone), 0.0)
                found += np.where(silent[self._low] & silent[self._high], without, 0.0)
        return found, until

    def _ends(self, sight: Sight, k: int, zone: str) -> int:
        """The last stretch of a movement that began with a stretch."""
        cut, last = sight.seen.cut, k
        if not zone:
            return k
        while (
            last + 1 < len(cut)
            and cut[last].ended - cut[k].began < self._trips[zone] + SETTLES
            and sight.moved[last + 1]
            and not asked(cut[last + 1].done, zone, self._safe.get(zone))
        ):
            last += 1
        return last

    def _moving(self, sight: Sight, k: int, last: int, zone: str, movement: Movement) -> Part:
        """What a zone showed that moved from a stretch to another."""
        rehearsed, panel = self._rehearsed, self._panel
        seen, cut = sight.seen, sight.seen.cut
        usual = sight.sound.shown[k]
        if last > k:
            whole = replace(cut[k], ended=cut[last].ended)
            at_end = last == len(cut) - 1
            events = within(sight.sound.play.plant.log.events, whole, at_end)
            usual = panel.stretch(whole.began, events, panel.ends(sight.sound.shown[last]))
            really = seen_in(panel, sight.record, whole, at_end)
            really = corrected(really, seen.habits.later[k])
            seen = seen._replace(
                cut=(*cut[:k], whole, *cut[k + 1 :]),
                shown=(*seen.shown[:k], really, *seen.shown[k + 1 :]),
            )
        lasted = cut[last].ended - cut[k].began
        edges = [p for p in panel.by_zone[zone] if panel.places[p].scale is EDGE]
        comes = rehearsed.sound[movement][edges]
        over = lasted > float(np.max(comes[np.isfinite(comes)], initial=0.0)) + SETTLES
        # of a movement that was broken off only what came until then can be compared
        places = panel.by_zone[zone] if over else edges
        usual = usual[places]
        of = shown_in(panel, seen, k).only(places)
        telling = ~rehearsed.silent_in(movement, places)
        rows = np.flatnonzero(telling[self._low] | telling[self._high])
        entries, place_of = np.unique(
            np.concatenate([self._low[rows], self._high[rows]]), return_inverse=True
        )
        some = np.ix_(entries, np.array(places))
        known, by = (each[movement][some].astype(float) for each in (rehearsed.shown, rehearsed.by))
        # what is calculated for the ride as it was really commanded, and how the fault shifts that
        with np.errstate(invalid="ignore"):
            shifted = usual + by
        known = np.where(of.smooth & np.isfinite(shifted), shifted, known)
        low, high = place_of[: len(rows)], place_of[len(rows) :]
        items = _between(of, known, low, high, self.between[rows])
        if lasted < self._trips[zone] + SETTLES:
            # what trips it in the end has perhaps not done so yet
            where = [panel.places[p] for p in places]
            alarms = np.array([p.aspect == "first alarm" for p in where], dtype=bool)
            trips = (known[:, alarms] != usual[alarms]).any(axis=1)
            later = np.array([p.scale is not EDGE for p in where], dtype=bool)
            items[np.ix_(trips[low] | trips[high], later)] = 0.0
        return Part(of, misfit(of, usual[None, :]), rows, items)

    def _struck(self, sight: Sight) -> tuple[Array, Array]:
        """(rows,) log likelihood of what the panel showed at the end of the first stretch, of a
        fault that struck before it or in its midst: of zones that did not move, and of all. When in
        it that was nobody knows, so all but that is compared."""
        still, every = (np.zeros(len(self._rehearsed.place)) for _ in range(2))
        for zone, places in self._panel.by_zone.items():
            moved = sight.did(self._first, zone)
            of, _, items = self._stands(sight, places, moved.stands)
            found = total(of, items)
            every += found
            if moved.movement not in ("opening", "closing"):
                still += found
        return (np.maximum(still[self._low], still[self._high]),
                np.maximum(every[self._low], every[self._high]))  # fmt: skip

    def _stands(
        self, sight: Sight, places: Sequence[int], stands: Stands
    ) -> tuple[Seen, Array, Array]:
        """What some places of the panel showed in the first stretch, and the log likelihood of each
        number: (1, items) without a fault; (entries, items) of a fault that struck while the zone
        stood there; "": nobody knows where."""
        panel, first, rehearsed = self._panel, self._first, self._rehearsed
        own = [p for p in places if panel.places[p].scale is not EDGE]
        of = shown_in(panel, sight.seen, first).only(own)
        usual = sight.sound.shown[first][own]
        where = [stands] if stands else list(rehearsed.stands)
        parts = []
        for each in where:
            known, at = rehearsed.stands[each][:, own].astype(float), rehearsed.sound[each][own]
            # what a zone does while it stands no fault that it stands with has changed
            known = np.where(known != at, known, usual)
            items = misfit(of, known, BLUR)
            # where it ends depends on how long ago it struck
            ends = np.array([panel.places[p].aspect in ("at the end", "shown") for p in own])
            least = np.where((known - usual) * (of.values - usual) > 0.0, PERHAPS, IN_TIME)
            may = ends & ~rehearsed.as_usual[:, own]
            parts.append(np.where(may, np.maximum(items, least), items))
        without = misfit(of, usual[None, :], BLUR)
        if not stands:
            parts.append(np.broadcast_to(without, parts[0].shape))
        return of, without, np.maximum.reduce(parts)

    # what tests gave

    def _tests(self, sight: Sight) -> tuple[dict[int, Array], Array]:
        """Stretch -> (rows,) log likelihood of what tests gave in it; (entries,) bool: they give
        what they give without a fault."""
        aspects, tested = self._tested(sight)
        seen, record = sight.seen, sight.record
        of = Seen.of([
            tested_number(record, seen, n, scale, value)
            for (n, _, scale), value in zip(aspects, _values(seen.found, aspects), strict=True)
        ])  # fmt: skip
        items = _between(of, tested, self._low, self._high, self.between)
        stretch = np.array([seen.in_stretch[n] for n, _, _ in aspects], dtype=np.int64)
        found = {int(k): total(of, np.where(stretch == k, items, 0.0)) for k in np.unique(stretch)}
        usual = _values(sight.sound.found, aspects)
        return found, np.asarray((tested == usual).all(axis=1))

    def _movement(self, sight: Sight, number: int) -> Movement:
        """How the zone that a test was made at came to where it stood; "": no rehearsal tells."""
        zone = self._zones.get(sight.record.made[number].target.partition(".")[0], "")
        for k in range(sight.seen.in_stretch[number], self._first - 1, -1):
            movement = sight.did(k, zone).movement
            if movement in ("opening", "closing"):
                return movement
            if movement != "still":
                break
        return ""

    def _tested(self, sight: Sight) -> tuple[list[_Aspect], Array]:
        """The aspects of tests, and (entries, aspects) what each entry gives."""
        seen, sound = sight.seen, sight.sound
        told: dict[int, list[tuple[Array, tuple[Mark, ...]]]] = {}
        for number, made in enumerate(sight.record.made):
            if movement := self._movement(sight, number):
                told[number] = [
                    (entries, marks(evidence)) for entries, evidence
                    in self._rehearsed.tests(movement, (made.test, made.target))
                ]  # fmt: skip
        known: dict[tuple[int, str], Mark] = {}
        for number, others in told.items():
            for found in (seen.found[number], sound.found.get(number, ()), *(m for _, m in others)):
                for mark in found:
                    known.setdefault((number, mark.aspect), mark)
        aspects = [(number, mark, mark.scale) for (number, _), mark in known.items()]
        column = {key: place for place, key in enumerate(known)}
        usual = np.array([mark.usual for _, mark, _ in aspects])
        given = np.tile(_values(sound.found, aspects), (len(self._rehearsed.place), 1))
        for number, others in told.items():
            own = np.array([p for (of, _), p in column.items() if of == number], dtype=np.int64)
            for entries, found in others:
                given[np.ix_(entries, own)] = usual[own]
                for mark in found:
                    given[entries, column[number, mark.aspect]] = mark.value
        return aspects, given


def _between(of: Seen, known: Array, low: Array, high: Array, between: Array) -> Array:
    """(rows, items) log likelihood at the severities of entries and between them. Between two
    whatever lies between what they show fits: how it goes from one to the other nobody knows."""
    fits = misfit(of, known, BLUR)
    found = fits[low]
    a, b = known[low[between]], known[high[between]]
    inside = (np.minimum(a, b) <= of.values) & (of.values <= np.maximum(a, b))
    either = np.maximum(fits[low[between]], fits[high[between]])
    found[between] = np.where(inside, 0.0, either)
    return found


_Aspect = tuple[int, Mark, Scale]
"""Of a test: its number, a mark of that aspect, the scale."""


def _values(found: Mapping[int, Sequence[Mark]] | Sequence[Sequence[Mark]],
            aspects: Sequence[_Aspect]) -> Array:  # fmt: skip
    """What tests gave, by aspect."""
    values = []
    for number, mark, _ in aspects:
        known = {each.aspect: each.value for each in found[number]}
        values.append(known.get(mark.aspect, mark.usual))
    return np.array(values, dtype=float)
