"""Faults that have shown nothing so far: which there may be, and how probable each is.

Nothing on the panel and no test was other than without a fault. A fault may be there all the same:
one that is only heard, a second valve that no longer switches while the first does, or one that
shows when its zone moves next. Who they are the rehearsals of the library tell: no ride is run.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import NamedTuple

import numpy as np

from pneumo.circuit.action import ForceOutput, Unforce
from pneumo.circuit.circuit import Circuit
from pneumo.diagnosis.habits import ODD
from pneumo.diagnosis.library import Library, Table, Test
from pneumo.diagnosis.likelihood import FLOOR, Seen, misfit
from pneumo.diagnosis.movements import (
    PART,
    Moved,
    Movement,
    Stands,
    movements,
    states_now,
    switched_alone,
)
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.questions import outcomes
from pneumo.diagnosis.record import Made, Record, Stretch
from pneumo.diagnosis.rehearsal import STRUCK, Struck
from pneumo.drill.entry import Fell
from pneumo.inspection.evidence import Evidence
from pneumo.network.network import Array

NAMED = 0.9
"""How probable it is that what is wrong is of a zone that the complaint names [-]; estimated."""

HARDLY_A_ROW = 1e-5
"""A suspect that is less probable is not asked [-]."""


@dataclass(frozen=True)
class Onset:
    """When a fault may have struck, and what was done since."""

    stood: Mapping[str, Stands]
    """Where each zone and group of gates stood, "" = all together, as far as that can be told."""
    moved: Mapping[str, tuple[Movement, ...]]
    """How each has moved since, in order."""
    tests: tuple[tuple[Made, Movement], ...]
    """Tests made since, each with the last movement before it, "" = none."""

    def struck(self, zone: str) -> Struck:
        """The rehearsal of what sticks."""
        return "closed" if self.stood.get(zone) == "closed" else "open"

    def part(self, table: Struck, zone: str, movement: Movement) -> int:
        """The part of a rehearsal that tells of a zone after a movement; "" = none since it
        struck."""
        if movement:
            return PART[table, movement]
        stood = self.struck(zone)
        return 0 if stood == table else PART[table, "closing" if stood == "closed" else "opening"]

    def now(self, table: Struck, zone: str) -> int:
        """The part that tells of a zone as it stands."""
        moved = self.moved.get(zone, ())
        return self.part(table, zone, moved[-1] if moved else "")


class Standing(NamedTuple):
    """How a ride stands at which nothing is odd."""

    stands: Mapping[str, Stands]
    """Zone or group of gates, "" = all together -> where it stands, as far as that can be told."""
    asked: frozenset[Test]
    """Tests that were made as it stands: they would give the same again."""
    onsets: tuple[Onset, ...]


def standing(
    circuit: Circuit, zones: Mapping[str, str], record: Record, cut: tuple[Stretch, ...], first: int
) -> Standing | None:
    """How a ride stands; None: something unusual was done, such as a valve shut by hand, of which
    no rehearsal tells.

    Parameters
    ----------
    zones
        Component -> its zone.
    first
        Number of the stretch in which it was first asked what to do: a fault that somebody looks
        for was there by then.
    """
    forced: set[str] = set()
    for each in cut:
        switched_alone(each.done, forced)
    if forced:
        return None
    # a valve that was switched alone and let go stands where it stood
    usual = [
        replace(each, done=tuple(a for a in each.done if not isinstance(a, ForceOutput | Unforce)))
        for each in cut
    ]
    moved = movements(circuit, usual, record.events)
    if not all(moved):
        return None
    names = (*circuit.zones, *circuit.gates)
    states = states_now(circuit, record.events)
    stands: dict[str, Stands] = {
        name: where for name in names
        if (where := _stood(circuit, moved, name, len(cut)))
        and states.get(name, where) == where
    }  # fmt: skip
    _add_all(circuit, stands)
    moves = [k for k, each in enumerate(moved) if _moves(each)]
    since_then = cut[moves[-1]].began if moves else cut[0].began
    asked = frozenset((m.test, m.target) for m in record.made if m.ended >= since_then)
    # it was there before anybody looked, or has come since: nobody knows
    onsets = tuple(_onset(circuit, zones, record, cut, moved, begins) for begins in (0, first + 1))
    return Standing(stands, asked, onsets)


def _onset(
    circuit: Circuit,
    zones: Mapping[str, str],
    record: Record,
    cut: Sequence[Stretch],
    moved: Sequence[Mapping[str, Moved]],
    begins: int,
) -> Onset:
    """A fault that struck before what was done at the beginning of a stretch, and after what came
    of what was done before."""
    names = (*circuit.zones, *circuit.gates)
    stood: dict[str, Stands] = {n: _stood(circuit, moved, n, begins) for n in names}
    _add_all(circuit, stood)
    own: dict[str, list[tuple[int, Movement]]] = {
        name: [(k, each[name].movement) for k, each in enumerate(moved)
               if k >= begins and name in each and each[name].movement in ("opening", "closing")]
        for name in (*names, "")
    }  # fmt: skip
    stretch_of = {look.number: each.number for each in cut for _, look in each.looks}
    tests: list[tuple[Made, Movement]] = []
    for number, made in enumerate(record.made):
        stretch = stretch_of[number]
        if stretch >= begins - 1:
            zone = zones.get(made.target.partition(".")[0], "")
            before = [movement for k, movement in own[zone] if k <= stretch]
            tests.append((made, before[-1] if before else ""))
    return Onset(
        stood,
        {name: tuple(movement for _, movement in each) for name, each in own.items()},
        tuple(tests),
    )


def _moves(did: Mapping[str, Moved]) -> bool:
    return any(each.movement in ("opening", "closing") for each in did.values())


def _stood(
    circuit: Circuit, moved: Sequence[Mapping[str, Moved]], name: str, before: int
) -> Stands:
    """Where a zone or a group of gates stood before a stretch."""
    for each in reversed(moved[:before]):
        if each[name].movement:
            return each[name].stands
    owner = circuit.zones[name] if name in circuit.zones else circuit.gates[name]
    return "closed" if owner.starts == "closed" else "open"


def _add_all(circuit: Circuit, stands: dict[str, Stands]) -> None:
    together = {stands.get(name, "") for name in circuit.zones}
    # what zones share is asked as if all stood as the first of them
    stands[""] = next(iter(together)) if len(together) == 1 else "open"


class Rows(NamedTuple):
    """What may be hidden: n rows, each an entry of the library that struck at an onset."""

    onset: Array
    """(n,) number of the onset."""
    struck: Array
    """(n,) number of the table, in the order of `STRUCK`."""
    entry: Array
    """(n,) row of the table."""
    candidate: Array
    """(n,) number in the library."""
    share: Array
    """(n,) how probable it is beforehand, and with what tests gave since; of all faults together 1,
    of those that have not shown themselves less [-]."""


class Latent:
    """The suspects of a library that show nothing."""

    def __init__(self, library: Library, panel: Panel, zones: Mapping[str, str]) -> None:
        self._library, self._panel, self.zones = library, panel, zones
        self.zone = [zones.get(each.component, "") for each in library.candidates]
        """(candidates,) the zone of each."""
        self._sticks = np.array([each.sticks for each in library.candidates], dtype=bool)
        self._prior = np.array([each.prior for each in library.candidates])
        self.shows = cache(self._shows)
        self._width = cache(self._widths)
        self._same = cache(self._standing_rows)

    def rows(self, at: Standing) -> Rows:
        """What may be hidden in a ride."""
        parts = []
        whole = self._prior.sum() * len(at.onsets)
        for number, onset in enumerate(at.onsets):
            for place, struck in enumerate(STRUCK):
                share = self._shares(onset, struck) / whole
                entry = np.flatnonzero(share > 0.0)
                parts.append(
                    (
                        np.full(len(entry), number),
                        np.full(len(entry), place),
                        entry,
                        self._library.tables[struck].candidate[entry],
                        share[entry],
                    )
                )
        onsets, tables, entry, candidate, share = (
            np.concatenate(each) for each in zip(*parts, strict=True)
        )
        kept = share > HARDLY_A_ROW
        return Rows(onsets[kept], tables[kept], entry[kept], candidate[kept], share[kept])

    def told(self, rows: Rows, named: Collection[str]) -> Rows:
        """The rows with what a complaint tells that names some zones; together they are as
        probable as before."""
        there = np.array([zone in named for zone in self.zone], dtype=bool)[rows.candidate]
        whole, within = rows.share.sum(), rows.share[there].sum()
        if not 0.0 < within < whole:
            return rows
        factor = np.where(there, NAMED / within, (1.0 - NAMED) / (whole - within))
        return rows._replace(share=rows.share * factor * whole)

    def _shares(self, onset: Onset, struck: Struck) -> Array:
        """(entries,) how probable each is, 0 of what would have shown itself."""
        table = self._library.tables[struck]
        of = table.candidate
        # of what does not stick one rehearsal tells all
        stuck = np.array([onset.struck(zone) == struck for zone in self.zone], dtype=bool)
        own = np.where(self._sticks, stuck, struck == STRUCK[0])
        share = self._prior[of] * self._width(struck) * own[of]
        for zone, places in self._panel.by_zone.items():
            for movement in dict.fromkeys(onset.moved.get(zone, ())):
                shown = self.shows(struck, PART[struck, movement])[:, places]
                share = np.where(shown.any(axis=1), 0.0, share)
            shown = self._shows_standing(struck, onset.struck(zone))[:, places]
            share = np.where(shown.any(axis=1), 0.0, share)
        for made, movement in onset.tests:
            test = made.test, made.target
            part = onset.part(struck, self.zones.get(made.target.partition(".")[0], ""), movement)
            usual = table.usual[part].get(test)
            if usual is None or isinstance(made.found, Fell):
                continue
            fits = np.full(len(share), not _otherwise(usual, made.found))
            for entry, found in table.tests.get((part, test), ()):
                if share[entry] > 0.0:
                    fits[entry] = not _otherwise(found, made.found)
            share = np.where(fits, share, FLOOR * share)
        return share

    def _shows(self, struck: Struck, part: int) -> Array:
        """(entries, places) bool: something odd is to be seen there in a part of a rehearsal."""
        table: Table = self._library.tables[struck]
        panel, each = self._panel, np.arange(len(self._panel.places))
        never = np.full(len(each), np.inf)
        of = Seen(
            table.sound[part], panel.least, panel.share, panel.smooth, each, each, never, -never
        )
        # of a part that was not run nothing is known
        return np.asarray(misfit(of, table.shown[:, part]) < ODD)

    def _shows_standing(self, struck: Struck, stood: Struck) -> Array:
        """(entries, places) bool: something is to be seen while the ride stands."""
        shown = self.shows(stood, 0)
        if stood == struck:
            return shown
        rows = self._same(struck, stood)
        return np.where((rows >= 0)[:, None], shown[rows], False)

    def _standing_rows(self, struck: Struck, stood: Struck) -> Array:
        """(entries,) the row of the same fault in the other table, -1: it has none."""
        rows = {key: row for row, key in enumerate(self._library.tables[stood].keys)}
        keys = self._library.tables[struck].keys
        return np.array([rows.get(key, -1) for key in keys], dtype=np.int64)

    def _widths(self, struck: Struck) -> Array:
        """(entries,) how much of the scale of its severity each stands for [-]."""
        table = self._library.tables[struck]
        width = np.ones(len(table.candidate))
        for number in np.unique(table.candidate).tolist():
            own = np.flatnonzero(table.candidate == number)
            if len(own) > 1:
                middle = (table.place[own][1:] + table.place[own][:-1]) / 2.0
                width[own] = np.diff(np.concatenate([[0.0], middle, [1.0]]))
        return width


def _otherwise(one: Evidence, other: Evidence) -> bool:
    """Whether what a test gives can be told from something else that it gives."""
    return len(outcomes((one, other))[1]) > 1
