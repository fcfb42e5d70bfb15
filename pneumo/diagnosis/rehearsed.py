"""What was rehearsed of all suspects, movement by movement, and which of it shows nothing."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Literal

import numpy as np

from pneumo.diagnosis.library import Library, Test
from pneumo.diagnosis.movements import Movement, Stands
from pneumo.diagnosis.rehearsal import Struck
from pneumo.inspection.evidence import Evidence
from pneumo.network.network import Array

_Part = tuple[Struck, int]

_MOVES: dict[Movement, dict[Struck | Literal[""], _Part]] = {
    "closing": {"": ("open", 1), "open": ("open", 1), "closed": ("closed", 2)},
    "opening": {"": ("open", 2), "open": ("open", 2), "closed": ("closed", 1)},
}
"""Movement -> where the zones stood when something struck that sticks, "" = it does not -> the
rehearsal, and its part, that tells of it."""

_STANDS: dict[Stands, _Part] = {"open": ("open", 0), "closed": ("closed", 0)}


UNNOTICED = 0.5
"""What differs by less than so many spreads is not noticed."""


class Rehearsed:
    """What a library tells, one entry for a fault mode at a severity; of what sticks, one for each
    place in which it may have struck."""

    def __init__(self, library: Library) -> None:
        self.library, self._tables = library, library.tables
        self._as_usual: dict[Movement, Array] = {}
        self._of_row: dict[tuple[Struck | Literal[""], Struck], dict[int, Array]] = {}
        self.candidates = len(library.candidates)
        """How many there are."""
        rows: dict[tuple[int, Struck | Literal[""], float], dict[Struck, int]] = {}
        for struck, table in self._tables.items():
            for row, (candidate, place) in enumerate(table.keys):
                sticks = library.candidates[candidate].sticks
                for where in ("open", "closed") if sticks else ("",):
                    rows.setdefault((candidate, where, place), {})[struck] = row
        order = sorted(rows)
        self.candidate: Array = np.array([candidate for candidate, _, _ in order], dtype=np.int64)
        """(entries,) number of the candidate."""
        self.place: Array = np.array([place for _, _, place in order])
        """(entries,) on the scale of its severity."""
        self._struck = [where for _, where, _ in order]
        self._row = {struck: np.array([rows[key].get(struck, -1) for key in order], dtype=np.int64)
                     for struck in self._tables}  # fmt: skip
        self.shown: dict[Movement, Array] = {}
        """(entries, places) float32 what the panel shows in a movement, see `Panel.stretch`."""
        self.by: dict[Movement, Array] = {}
        """(entries, places) float32 by how much that is more than without the fault; NaN: it comes,
        or it does not, because of it."""
        self.sound: dict[Movement | Stands, Array] = {}
        """(places,) what it shows without a fault."""
        for movement, parts in _MOVES.items():
            self.shown[movement], self.by[movement] = self._moves(parts)
            struck, part = parts[""]
            self.sound[movement] = self._tables[struck].sound[part]
        self.stands: dict[Stands, Array] = {}
        """(entries, places) float32 what it shows some time after a fault has struck in zones that
        stand."""
        for stands, (struck, part) in _STANDS.items():
            sound = self._tables[struck].sound[part].astype(np.float32)
            self.sound[stands] = sound
            self.stands[stands] = self._taken(struck, part, sound)

    def _taken(self, struck: Struck, part: int, otherwise: Array) -> Array:
        """(entries, places) of a part of a rehearsal; `otherwise`: where it was not calculated."""
        rows = self._row[struck]
        taken: Array = self._tables[struck].shown[np.maximum(rows, 0), part]
        missing = (rows < 0) | np.isnan(taken[:, 0])
        taken[missing] = otherwise
        return taken

    def _moves(self, parts: dict[Struck | Literal[""], _Part]) -> tuple[Array, Array]:
        """(entries, places) what a movement shows, and by how much that is more than usual."""
        shown = np.empty((len(self.place), self._tables["open"].shown.shape[2]), dtype=np.float32)
        by = np.empty_like(shown)
        for where, (struck, part) in parts.items():
            own = np.array([each == where for each in self._struck], dtype=bool)
            sound = self._tables[struck].sound[part].astype(np.float32)
            shown[own] = self._taken(struck, part, sound)[own]
            with np.errstate(invalid="ignore"):
                by[own] = shown[own] - sound
        return shown, by

    @cached_property
    def between(self) -> tuple[Array, Array, Array]:
        """(rows,) entry below, (rows,) entry above and (rows,) bool whether something between them
        is meant: each entry, and each pair of neighbours of one candidate."""
        every = np.arange(len(self.place))
        follows = (self.candidate[1:] == self.candidate[:-1]) & np.array(
            [a == b for a, b in zip(self._struck[1:], self._struck[:-1], strict=True)], dtype=bool
        )
        low = np.concatenate([every, every[:-1][follows]])
        high = np.concatenate([every, every[1:][follows]])
        return low, high, low != high

    # what of it tells nothing

    def silent_in(self, movement: Movement, places: Sequence[int]) -> Array:
        """(entries,) bool: some places of the panel show in a movement what they would show without
        a fault."""
        return np.asarray(self._usual_in(movement)[:, places].all(axis=1))

    def silent(self, places: Sequence[int]) -> Array:
        """(entries,) bool: they do so always."""
        return np.asarray(self.as_usual[:, places].all(axis=1))

    @cached_property
    def as_usual(self) -> Array:
        """(entries, places) bool: a place never shows anything else than without a fault."""
        found = self._usual_in("closing") & self._usual_in("opening")
        for stands, shown in self.stands.items():
            with np.errstate(invalid="ignore"):
                found &= self._unnoticed(shown - self.sound[stands])
        return found

    def _usual_in(self, movement: Movement) -> Array:
        if movement not in self._as_usual:
            self._as_usual[movement] = self._unnoticed(self.by[movement])
        return self._as_usual[movement]

    def _unnoticed(self, by: Array) -> Array:
        """NaN: it never comes, neither without a fault."""
        return np.asarray((np.abs(by) < UNNOTICED * self.library.panel.least) | np.isnan(by))

    # what tests gave

    def tests(self, movement: Movement, test: Test) -> list[tuple[Array, Evidence]]:
        """What a test gives after a movement otherwise than without a fault, and the numbers of the
        entries of which it does."""
        found = []
        for where, (struck, part) in _MOVES[movement].items():
            entries = self._entries(where, struck)
            for row, evidence in self._tables[struck].tests.get((part, test), ()):
                own = entries.get(row)
                if own is not None:
                    found.append((own, evidence))
        return found

    def _entries(self, where: Struck | Literal[""], struck: Struck) -> dict[int, Array]:
        """Row of a table -> the entries that it tells of, struck where it says."""
        if (where, struck) not in self._of_row:
            rows = self._row[struck].tolist()
            own: dict[int, list[int]] = {}
            for entry, (row, held) in enumerate(zip(rows, self._struck, strict=True)):
                if row >= 0 and held == where:
                    own.setdefault(row, []).append(entry)
            self._of_row[where, struck] = {row: np.array(found) for row, found in own.items()}
        return self._of_row[where, struck]
