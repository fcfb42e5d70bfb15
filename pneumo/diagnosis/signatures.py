"""What each fault of a library shows, as numbers that tell faults apart, and which look the same.

A number is how far something is off from what it is without a fault, in steps that can be told
apart: two that differ by no more than 1 look the same.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pneumo.diagnosis.library import UNKNOWN, Library, Table, Test
from pneumo.diagnosis.marks import PRESSURE, Mark, Scale, marks
from pneumo.diagnosis.rehearsal import STRUCK, Struck
from pneumo.inspection.evidence import Evidence
from pneumo.inspection.gauge import GAUGE_STEP
from pneumo.network.network import Array

APART = 3.0
"""Two numbers are told apart when they differ by so many of their spreads; estimated."""

FAR = 1e6
"""In place of how far off something is that never came [steps]."""

AT_ONCE = 4
"""Numbers in which two are compared at first: most differ in one of them. Then four times as many,
and so on."""

MOST_AT_ONCE = 500_000
"""Numbers that are compared at a time, at most: for the memory that it takes."""


class Column(NamedTuple):
    """What one number of a signature is."""

    struck: Struck
    part: int
    """Of the rehearsal."""
    usual: float
    """Without a fault."""
    test: Test | None
    """None: it is seen on the panel."""
    aspect: str = ""
    """Of what a test gives."""


class Signatures:
    """What every entry of a library shows, one column of numbers for each."""

    def __init__(self, library: Library) -> None:
        tables = library.tables
        first = tables[STRUCK[0]]
        self.candidate: Array = first.candidate
        """(entries,) number of the candidate."""
        self.place: Array = first.place
        """(entries,) on the scale of its severity."""
        self._rows = {struck: _rows(first, table) for struck, table in tables.items()}
        self._tables = tables
        scales = [place.scale for place in library.panel.places]
        columns: list[Column] = []
        blocks: list[Array] = []
        for struck in STRUCK:
            for names, off in (self._panel(struck, scales), self._tests(struck)):
                columns += names
                blocks += off
        self.columns: tuple[Column, ...] = tuple(columns)
        """What each number is."""
        self.off: Array = np.concatenate(blocks)
        """(columns, entries) float32, how far off each is [steps]; NaN: not known."""
        self.on_panel: Array = np.array(
            [column.test is None for column in self.columns], dtype=bool
        )
        """(columns,) bool, seen on the panel."""
        self.is_off: Array = _beyond(self.off, 1.0)
        """(columns, entries) bool, can be told from no fault."""

    def _taken(self, struck: Struck, values: Array) -> Array:
        """(parts, …, entries) float32 of the entries, from (rows of a table, parts, …); NaN where
        nothing was calculated."""
        rows = self._rows[struck]
        taken = values[np.maximum(rows, 0)].astype(np.float32)
        taken[(rows < 0)[:, None] | ~self._tables[struck].ran[np.maximum(rows, 0)]] = np.nan
        return np.moveaxis(taken, 0, -1)

    def _not_run(self, struck: Struck, part: int) -> Array:
        """(entries,) bool, that were not taken through a part of the rehearsal."""
        rows = self._rows[struck]
        return np.asarray((rows < 0) | ~self._tables[struck].ran[np.maximum(rows, 0), part])

    def _panel(self, struck: Struck, scales: list[Scale]) -> tuple[list[Column], list[Array]]:
        table = self._tables[struck]
        parts, places = table.sound.shape
        columns = [
            Column(struck, part, float(table.sound[part, place]), None)
            for part in range(parts)
            for place in range(places)
        ]
        values = self._taken(struck, table.shown).reshape(parts * places, -1)
        off = steps_off(values, table.sound.reshape(-1), scales * parts)
        kept = np.flatnonzero(_tells(off))
        return [columns[number] for number in kept.tolist()], [off[kept]]

    def _tests(self, struck: Struck) -> tuple[list[Column], list[Array]]:
        table = self._tables[struck]
        here = np.full(len(table.candidate), -1, dtype=np.int64)
        rows = self._rows[struck]
        here[rows[rows >= 0]] = np.flatnonzero(rows >= 0)
        unknown = [self._not_run(struck, part) for part in range(len(table.sound))]
        columns: list[Column] = []
        found: list[Array] = []
        for (part, test), results in table.tests.items():
            given = [(here[row], _aspects(result)) for row, result in results if here[row] >= 0]
            without = _aspects(table.usual[part][test])
            known = {aspect: mark for _, each in reversed(given) for aspect, mark in each.items()}
            for aspect, mark in (known | without).items():
                usual = without[aspect].value if aspect in without else mark.usual
                values = np.full(len(rows), usual)
                for entry, each in given:
                    values[entry] = each[aspect].value if aspect in each else mark.usual
                values[unknown[part]] = np.nan
                off = steps_off(values[None, :], np.array([usual]), [mark.scale])
                if _tells(off)[0]:
                    columns.append(Column(struck, part, usual, test, aspect))
                    found.append(off)
        return columns, found

    def gauges(self) -> Array:
        """(parts of both rehearsals, nets, entries) float32, how far off a gauge would be at each
        net [steps]; NaN: not known."""
        found = []
        for struck, table in self._tables.items():
            values = self._taken(struck, table.gauges)
            values[values == UNKNOWN] = np.nan
            parts, nets = table.sound_gauges.shape
            off = steps_off(
                values.reshape(parts * nets, -1) * GAUGE_STEP,
                table.sound_gauges.reshape(-1) * GAUGE_STEP,
                [PRESSURE] * (parts * nets),
            )
            found.append(off.reshape(parts, nets, -1))
        return np.concatenate(found)

    # which look the same

    def shows(self, of: Array | None = None) -> Array:
        """(entries,) bool, whether something can be told from no fault; `of`: (columns,) bool, in
        some of the columns only."""
        off = self.is_off if of is None else self.is_off[of]
        return np.asarray(off.any(axis=0))

    def alike(self, entries: Array) -> Alike:
        """What looks the same as some entries."""
        low, high = self._spans()
        off, owners = self.off, self.candidate[low]
        odd = _beyond(off, 0.5)
        often, by_entry = odd.sum(axis=1), np.ascontiguousarray(odd.T)
        found: list[tuple[int, int]] = []
        for entry in entries.tolist():
            own = np.flatnonzero(by_entry[entry])
            # those first in which fewest are off
            own = own[np.argsort(often[own], kind="stable")]
            rows = np.flatnonzero(owners != self.candidate[entry])
            rows = _between(off, own, entry, low, high, rows)
            theirs = by_entry[np.union1d(low[rows], high[rows])].any(axis=0)
            rows = _between(off, np.flatnonzero(theirs), entry, low, high, rows)
            found += [(entry, row) for row in rows.tolist()]
        pairs = np.array(found, dtype=np.int64).reshape(-1, 2)
        return Alike(pairs[:, 0], low[pairs[:, 1]], high[pairs[:, 1]])

    def _spans(self) -> tuple[Array, Array]:
        """(rows,) entry below and (rows,) above: each entry, and each pair of neighbours of one
        candidate, between which something else may lie."""
        entries = np.arange(len(self.candidate))
        follows = self.candidate[1:] == self.candidate[:-1]
        return (
            np.concatenate([entries, entries[:-1][follows]]),
            np.concatenate([entries, entries[1:][follows]]),
        )


class Alike(NamedTuple):
    """Pairs of an entry and something of another candidate that looks the same."""

    entry: Array
    """(pairs,)"""
    low: Array
    """(pairs,) an entry of the other; or the lower of two, between which it lies."""
    high: Array
    """(pairs,) the same, or the higher of the two."""


def _beyond(off: Array, steps: float) -> Array:
    """Bool of the same shape: off by more than some steps; what is not known is not."""
    return np.asarray((off > steps) | (off < -steps))


def _tells(off: Array) -> Array:
    """(columns,) bool, whether anything is ever off in it: else it tells nothing."""
    return np.asarray(_beyond(off, 0.5).any(axis=1))


def _between(off: Array, columns: Array, entry: int, low: Array, high: Array, rows: Array) -> Array:
    """Of some rows those of which in some columns an entry lies between two others, or cannot be
    told from lying there."""
    start, count = 0, AT_ONCE
    while start < len(columns) and len(rows):
        some = columns[start : start + count]
        given = off[some, entry][:, None]
        a, b = off[np.ix_(some, low[rows])], off[np.ix_(some, high[rows])]
        least, most = np.fmin(a, b), np.fmax(a, b)
        fits = (least - 1.0 <= given) & (given <= most + 1.0)
        rows = rows[(fits | np.isnan(given) | np.isnan(least)).all(axis=0)]
        start, count = start + len(some), min(4 * count, 1 + MOST_AT_ONCE // (1 + len(rows)))
    return rows


def steps_off(values: Array, usual: Array, scales: list[Scale]) -> Array:
    """(columns, entries) float32, how far values are off from the usual ones [steps].

    Parameters
    ----------
    values
        (columns, entries); NaN: not known.
    usual
        (columns,) without a fault.
    scales
        Of each column.
    """
    comes = np.where(np.isinf(usual), 0.0, usual)
    least = np.array([scale.least for scale in scales])
    share = np.array([scale.share for scale in scales])
    step = (APART * (least + share * np.abs(comes)))[:, None]
    never = np.isinf(usual)[:, None]
    missed = np.isinf(values)
    # against what never comes each time is far off, and yet two of them may differ
    off = (values - comes[:, None]) / step + np.where(never, FAR / 2.0, 0.0)
    off[missed] = np.broadcast_to(np.where(never, 0.0, FAR), off.shape)[missed]
    return np.asarray(off, dtype=np.float32)


def _rows(first: Table, table: Table) -> Array:
    """(entries of the first,) row of each in another table; -1: none."""
    row = {key: number for number, key in enumerate(table.keys)}
    return np.array([row.get(key, -1) for key in first.keys], dtype=np.int64)


def _aspects(found: Evidence) -> dict[str, Mark]:
    return {mark.aspect: mark for mark in marks(found)}
