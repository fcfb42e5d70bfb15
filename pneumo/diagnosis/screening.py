"""A first look at all suspects: what was seen, against what each showed in its rehearsal.

It is coarse: a rehearsal was commanded otherwise than the ride. It decides which suspects are worth
a ride of their own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from pneumo.diagnosis.abreast import Ride
from pneumo.diagnosis.library import Library, Table
from pneumo.diagnosis.likelihood import Seen, misfit, total
from pneumo.diagnosis.marks import Mark, Scale, marks
from pneumo.diagnosis.movements import PART, UNTOLD, Moved, Movement
from pneumo.diagnosis.observed import Observation, shown_number
from pneumo.diagnosis.observed import tested as tested_number
from pneumo.diagnosis.panel import EDGE, Panel
from pneumo.diagnosis.record import Record
from pneumo.diagnosis.rehearsal import Struck
from pneumo.network.network import Array

BLUR = 2.0
"""Factor on the spreads; estimated."""

MIDST = 1.5
"""By how much the log likelihood is lowered of a fault that struck in the midst of a stretch: what
came when in it is not asked; estimated."""

PERHAPS = -2.0
"""Log likelihood, at least, of where a contact stands some time after a fault struck; estimated."""

SPREAD = 1.0
"""By how much it is lowered of a severity between two that were calculated, where more fits than
would; estimated."""

SETTLES = 0.5
"""A movement is over so long after its last edge [s]; estimated."""


class Screened(NamedTuple):
    """How well a suspect fits at first look."""

    fit: float
    """Log likelihood, of its best severity and the better of the places in which it struck."""
    low: float
    """Its best severity lies between these two, on its scale; often they are one."""
    high: float
    midst: bool
    """It fits better had it struck in the midst of the first odd stretch than before it."""


class Sight(NamedTuple):
    """What is compared: a record in numbers, and the ride without a fault."""

    panel: Panel
    record: Record
    seen: Observation
    moved: tuple[dict[str, Moved], ...]
    """Of each stretch, see `movements`."""
    sound: Ride
    first: int
    """The first stretch that counts."""
    zones: Mapping[str, str]
    """Component -> its zone."""
    without: Mapping[tuple[int, str], float]
    """(stretch, zone) -> log likelihood of what its part of the panel showed without a fault."""

    def did(self, stretch: int, zone: str) -> Moved:
        """What a zone did in a stretch."""
        return self.moved[stretch].get(zone, UNTOLD)


def screened(library: Library, sight: Sight) -> list[Screened]:
    """How well every candidate of a library fits, in its order."""
    found = [Screened(-np.inf, 1.0, 1.0, False)] * len(library.candidates)
    panel = sight.panel
    places = panel.places
    moving = [p for p, where in enumerate(places) if sight.did(sight.first, where.zone).movement
              in ("opening", "closing")]  # fmt: skip
    still = [p for p in range(len(places)) if p not in moving]
    # it may have struck before the first odd stretch began, or in the midst of it
    before, midst = (
        {
            struck: dict(zip(table.keys, _standing(struck, table, sight, of), strict=True))
            for struck, table in library.tables.items()
        }
        for of in (still, range(len(places)))
    )
    for struck, table in library.tables.items():
        rows = np.flatnonzero(table.whole)
        if not len(rows):
            continue
        later, first, tests_as_usual = _moving(struck, table, sight)
        low, high, between = table.between
        standing = np.array([before[struck][key] for key in table.keys])
        struck_later = np.max(
            [[of.get(key, -np.inf) for key in table.keys] for of in midst.values()], axis=0
        )
        before_it = first + np.maximum(standing[low], standing[high])
        in_it = np.maximum(struck_later[low], struck_later[high]) - MIDST
        fits = later + np.maximum(before_it, in_it) - np.where(between, SPREAD, 0.0)
        unmoved = _unmoved(struck, table, sight)
        fits += np.minimum(unmoved[low], unmoved[high])
        if all(sight.moved[sight.first :]):
            # what shows nothing in everyday operation explains no better than nothing does
            silent = table.silent(panel.places).all(axis=1) & tests_as_usual
            unseen = silent[low] & silent[high]
            fits = np.where(unseen, np.minimum(fits, sum(sight.without.values())), fits)
        for row, candidate in enumerate(table.candidate[low].tolist()):
            if fits[row] > found[candidate].fit:
                ends = float(table.place[low[row]]), float(table.place[high[row]])
                later_on = bool(in_it[row] > before_it[row])
                found[candidate] = Screened(float(fits[row]), *ends, later_on)
    return found


def _moving(struck: Struck, table: Table, sight: Sight) -> tuple[Array, Array, Array]:
    """How well what was seen of movements fits, and what tests gave after them: (rows,) after the
    first stretch, (rows,) in it; at the severities of entries and between them. (entries,) bool:
    tests give what they give without a fault."""
    panel, seen, record, sound = sight.panel, sight.seen, sight.record, sight.sound
    columns = [
        (k, place, part)
        for k in range(sight.first, len(seen.cut))
        for zone, places in panel.by_zone.items()
        for part, whole in _part(struck, table, sight, k, zone)
        for place in places
        # of a movement that was broken off only what came until then can be compared
        if whole or panel.places[place].scale is EDGE
    ]
    aspects, tested = _tested(struck, table, sight)
    of = Seen.of([
        *(shown_number(panel, seen, k, place) for k, place, _ in columns),
        *(tested_number(record, seen, n, scale)._replace(value=value)
          for (n, _, scale), value in zip(aspects, _values(seen.found, aspects), strict=True)),
    ])  # fmt: skip
    parts = np.array([part for _, _, part in columns], dtype=np.int64)
    at = np.array([place for _, place, _ in columns], dtype=np.int64)
    usual = np.array([float(sound.shown[k][place]) for k, place, _ in columns])
    rows = table.shown[:, parts, at].astype(float)
    # what is calculated for the ride as it was really commanded, and how the fault shifts that
    with np.errstate(invalid="ignore"):
        shifted = usual + rows - table.sound[parts, at]
    rows = np.where(of.smooth[: len(columns)] & np.isfinite(shifted), shifted, rows)
    items = _misfit(table, of, np.concatenate([rows, tested], axis=1))
    stretch = [*(k for k, _, _ in columns), *(seen.in_stretch[n] for n, _, _ in aspects)]
    in_first = np.array(stretch, dtype=np.int64) == sight.first
    return (
        total(of, np.where(in_first, 0.0, items)),
        total(of, np.where(in_first, items, 0.0)),
        (tested == _values(sound.found, aspects)).all(axis=1),
    )


def _standing(struck: Struck, table: Table, sight: Sight, places: Iterable[int]) -> Array:
    """(entries,) how well what some places of the panel showed in the first stretch fits a fault
    that struck while the zones stood there: all but when it was, which nobody knows."""
    panel, first = sight.panel, sight.first
    own = [p for p in places if panel.places[p].scale is not EDGE]
    without = sight.sound.shown[first][own]
    where = [panel.places[p] for p in own]
    of = Seen.of([shown_number(panel, sight.seen, first, p) for p in own])
    here = np.array([sight.did(first, p.zone).stands == struck for p in where], dtype=bool)
    stands = table.shown[:, 0, own].astype(float)
    # what a zone does while it moves no fault that it stands with has changed
    rows = np.where(here & (stands != table.sound[0, own]), stands, without)
    items = misfit(of, rows, BLUR)
    # where a contact ends depends on how long ago it struck
    ends = np.array([p.aspect == "at the end" for p in where], dtype=bool)
    return total(of, np.where(ends, np.maximum(items, PERHAPS), items))


def _unmoved(struck: Struck, table: Table, sight: Sight) -> Array:
    """(entries,) log likelihood of what was seen of zones that no rehearsal tells of: what never
    shows anything in a zone explains nothing there."""
    silent = table.silent(sight.panel.places)
    found = np.zeros(len(table.candidate))
    for (stretch, zone), fit in sight.without.items():
        if not any(whole for _, whole in _part(struck, table, sight, stretch, zone)):
            own = silent[:, sight.panel.by_zone[zone]].all(axis=1)
            found += np.where(own & bool(sight.moved[stretch]), fit, 0.0)
    return found


def _part(
    struck: Struck, table: Table, sight: Sight, stretch: int, zone: str
) -> Iterator[tuple[int, bool]]:
    """The part of a rehearsal that tells what a zone did in a stretch, if any does, and whether the
    movement came to its end."""
    part = PART.get((struck, sight.did(stretch, zone).movement))
    if part is None:
        return
    own = [place for place, where in enumerate(sight.panel.places)
           if where.zone == zone and where.scale is EDGE]  # fmt: skip
    edges = table.sound[part, own]
    last = float(np.max(edges[np.isfinite(edges)], initial=0.0))
    of = sight.seen.cut[stretch]
    yield part, of.ended - of.began > last + SETTLES


def _misfit(table: Table, of: Seen, known: Array) -> Array:
    """(rows, items) log likelihood at the severities of entries and between them. Between two
    whatever lies between what they show fits: how it goes from one to the other nobody knows."""
    low, high, between = table.between
    a, b = known[low], known[high]
    fits = misfit(of, a, BLUR)
    inside = (np.minimum(a, b) <= of.values) & (of.values <= np.maximum(a, b))
    both = np.where(inside, 0.0, np.maximum(fits, misfit(of, b, BLUR)))
    return np.where(between[:, None], both, fits)


_Aspect = tuple[int, Mark, Scale]
"""Of a test: its number, a mark of that aspect, the scale."""


def _tests(sight: Sight) -> dict[int, Movement]:
    """Tests that rehearsals tell of -> how their zone came to where it stood."""
    found: dict[int, Movement] = {}
    for number, made in enumerate(sight.record.made):
        zone = sight.zones.get(made.target.partition(".")[0], "")
        for k in range(sight.seen.in_stretch[number], sight.first - 1, -1):
            movement = sight.did(k, zone).movement
            if movement in ("opening", "closing"):
                found[number] = movement
            if movement != "still":
                break
    return found


def _tested(struck: Struck, table: Table, sight: Sight) -> tuple[list[_Aspect], Array]:
    """The aspects of tests, and (entries, aspects) what each entry gives."""
    seen, sound = sight.seen, sight.sound
    told: dict[int, list[tuple[int, tuple[Mark, ...]]]] = {}
    for number, movement in _tests(sight).items():
        made = sight.record.made[number]
        part = PART[struck, movement]
        rows = table.tests.get((part, (made.test, made.target)), ())
        told[number] = [(row, marks(found)) for row, found in rows]
    known: dict[tuple[int, str], Mark] = {}
    for number, others in told.items():
        for found in (seen.found[number], sound.found.get(number, ()), *(m for _, m in others)):
            for mark in found:
                known.setdefault((number, mark.aspect), mark)
    aspects = [(number, mark, mark.scale) for (number, _), mark in known.items()]
    column = {key: place for place, key in enumerate(known)}
    usual = np.array([mark.usual for _, mark, _ in aspects])
    given = np.tile(_values(sound.found, aspects), (len(table.candidate), 1))
    for number, others in told.items():
        own = [place for (of, _), place in column.items() if of == number]
        for row, found in others:
            given[row, own] = usual[own]
            for mark in found:
                given[row, column[number, mark.aspect]] = mark.value
    return aspects, given


def _values(found: Mapping[int, Sequence[Mark]] | Sequence[Sequence[Mark]],
            aspects: Sequence[_Aspect]) -> Array:  # fmt: skip
    """What tests gave, by aspect."""
    values = []
    for number, mark, _ in aspects:
        known = {each.aspect: each.value for each in found[number]}
        values.append(known.get(mark.aspect, mark.usual))
    return np.array(values, dtype=float)
