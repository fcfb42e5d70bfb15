"""What every suspect would show in a rehearsal: calculated once for a ride, and kept.

One entry for a fault mode at a severity, struck while the zones stood open or closed. Of the panel
all numbers are kept; of the tests only what they give otherwise than without the fault. Of parts
that are alike one is rehearsed; what the others show follows from it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import islice
from typing import Any, NamedTuple

import numpy as np

from pneumo.circuit.circuit import Circuit
from pneumo.diagnosis.marks import marks
from pneumo.diagnosis.nets import Nets
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.rehearsal import STRUCK, Rehearsal, Stretch, Struck
from pneumo.diagnosis.suspects import Candidate, candidates
from pneumo.diagnosis.twins import Renaming, Twins
from pneumo.errors import InputError, UnfinishedError
from pneumo.inspection.evidence import Evidence
from pneumo.inspection.survey import Surveyor
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.network.network import Array
from pneumo.scenario.play import Play

UNKNOWN = -1
"""In place of what a gauge shows, in parts of a rehearsal that were not run."""

Test = tuple[str, str]
"""First word, and what it is made at."""


class Trial(NamedTuple):
    """One entry of a library, to be calculated."""

    candidate: int
    place: float
    """On the scale of its severity."""
    struck: Struck
    parts: int
    """So many parts of the rehearsal."""


class Told(NamedTuple):
    """What a suspect showed after one part of a rehearsal."""

    shown: Array
    """(places,), see `Panel.stretch`; float32 but without a fault."""
    found: tuple[tuple[Test, Evidence], ...]
    """What tests give otherwise than without the fault."""
    gauges: Array
    """(nets,) int16, see `Nets.shown`."""


@dataclass(frozen=True)
class Entry:
    """What a suspect showed; () = it could not be calculated, `why` says what stopped it."""

    trial: Trial
    told: tuple[Told, ...]
    why: str = ""


class Work:
    """The calculation of a library, entry by entry; see `pneumo.pool`."""

    def __init__(self, circuit: Circuit, compiled: Compiled | None = None) -> None:
        self.circuit = circuit
        self.candidates = candidates(circuit)
        self._jobs = rehearsed(circuit, self.candidates)
        self.rehearsal = Rehearsal(circuit, compiled)
        self._nets = Nets(self.rehearsal.compiled)
        self._surveyor = Surveyor(self.rehearsal.compiled)
        self._marks = {
            struck: [self._surveyor.marks(each.stands) for each in self.rehearsal.sound(struck)]
            for struck in STRUCK
        }
        self.sound: dict[Struck, tuple[Told, ...]] = {
            struck: tuple(self._without(stretch) for stretch in self.rehearsal.sound(struck))
            for struck in STRUCK
        }
        """What each part of a rehearsal shows without any fault: of all tests what they give."""

    def _without(self, stretch: Stretch) -> Told:
        found = self._surveyor.evidence(stretch.stands, self._surveyor.pairs)
        return Told(stretch.shown, tuple(found.items()), self._nets.shown(stretch.stands))

    def __reduce__(self) -> tuple[object, ...]:
        # to a process that was not forked only what cannot be made again is sent
        return Work, (self.circuit,)

    def jobs(self) -> tuple[Trial, ...]:
        """Everything to be calculated, in order."""
        return self._jobs

    def given_up(self, trial: Trial, why: str) -> Entry:
        """The entry of a trial that could not be run."""
        return Entry(trial, (), why)

    def run(self, trial: Trial) -> Entry:
        """Calculates one entry; what stops it is told in it."""
        fault = self.candidates[trial.candidate].fault(trial.place)
        told = []
        try:
            parts = islice(self.rehearsal.run(fault, trial.struck), trial.parts)
            for part, (shown, play) in enumerate(parts):
                found = self._found(play, trial.struck, part)
                told.append(Told(shown.astype(np.float32), found, self._nets.shown(play)))
        except (UnfinishedError, InputError) as error:
            return self.given_up(trial, str(error))
        return Entry(trial, tuple(told))

    def _found(self, play: Play, struck: Struck, part: int) -> tuple[tuple[Test, Evidence], ...]:
        sound = dict(self.sound[struck][part].found)
        pairs = self._surveyor.differing(self._surveyor.marks(play), self._marks[struck][part])
        found = self._surveyor.evidence(play, pairs)
        # a test that was idle shows what one shows that was not
        return tuple((t, each) for t, each in found.items() if marks(each) != marks(sound[t]))


def trials(of: Iterable[Candidate]) -> Iterator[Trial]:
    """What is calculated for some candidates. Only of what sticks it matters what the zones did
    before: the rest is not moved back again, for that is what it does when struck there."""
    for number, candidate in enumerate(of):
        for place in candidate.grades:
            for struck in STRUCK:
                yield Trial(number, place, struck, 3 if candidate.sticks else 2)


def rehearsed(circuit: Circuit, of: Sequence[Candidate]) -> tuple[Trial, ...]:
    """What is calculated for a ride: of parts that are alike, one."""
    first = Twins(circuit).first
    return tuple(t for t in trials(of) if of[t.candidate].component not in first)


def completed(entries: Sequence[Entry], sound: Mapping[Struck, Sequence[Told]]) -> Iterator[Entry]:
    """Entries, those that were not taken back again with what they do then: what they do when
    struck there, as far as it is other than without a fault."""
    known = {(e.trial.candidate, e.trial.place, e.trial.struck): e for e in entries}
    for entry in entries:
        candidate, place, struck, parts = entry.trial
        other: Struck = "closed" if struck == "open" else "open"
        twin = known.get((candidate, place, other))
        if len(entry.told) == parts < len(sound[struck]) and twin is not None:
            there, here = sound[other][parts - 1], sound[struck][parts]
            told = twin.told[parts - 1]
            yield replace(entry, told=(*entry.told, _moved_to(told, there, here)))
        else:
            yield entry


def _moved_to(told: Told, there: Told, here: Told) -> Told:
    """What differs from what is without a fault in one rehearsal, in the place of the other."""
    with np.errstate(invalid="ignore"):
        shown = told.shown - there.shown + here.shown
    shown = np.where(np.isfinite(shown), shown, told.shown)
    gauges = told.gauges - there.gauges + here.gauges
    return Told(shown.astype(np.float32), told.found, np.maximum(gauges, 0).astype(np.int16))


class Found(Mapping[tuple[int, Test], tuple[tuple[int, Evidence], ...]]):
    """(part, test) -> what it gave otherwise than without the fault: (entry, result).

    Parameters
    ----------
    rehearsed
        The same of the entries that were rehearsed.
    rows
        What exchanges twins, None for nothing -> rehearsed entry -> the entry that follows from it.
    """

    def __init__(
        self,
        rehearsed: Mapping[tuple[int, Test], Sequence[tuple[int, Evidence]]],
        rows: Mapping[Renaming | None, Mapping[int, int]],
    ) -> None:
        self._rehearsed, self._rows = rehearsed, rows
        self._known: dict[tuple[int, Test], tuple[tuple[int, Evidence], ...]] = {}

    def __getitem__(self, key: tuple[int, Test]) -> tuple[tuple[int, Evidence], ...]:
        # results of twins are made when somebody asks: of most tests nobody does
        if key not in self._known:
            part, (word, target) = key
            found: list[tuple[int, Evidence]] = []
            for renaming, row in self._rows.items():
                if renaming is None:
                    for e, result in self._rehearsed.get(key, ()):
                        found.append((row[e], result))
                else:
                    rehearsed = (part, (word, renaming.name(target)))
                    for e, result in self._rehearsed.get(rehearsed, ()):
                        if e in row:
                            found.append((row[e], renaming.evidence(result)))
            if not found:
                raise KeyError(key)
            self._known[key] = tuple(sorted(found, key=lambda each: each[0]))
        return self._known[key]

    def __iter__(self) -> Iterator[tuple[int, Test]]:
        return iter(self._keys)

    def __len__(self) -> int:
        return len(self._keys)

    @cached_property
    def _keys(self) -> tuple[tuple[int, Test], ...]:
        by_entry: dict[int, list[tuple[int, Test]]] = {}
        for key, found in self._rehearsed.items():
            for e, _ in found:
                by_entry.setdefault(e, []).append(key)
        keys = dict.fromkeys(self._rehearsed)
        for renaming, row in self._rows.items():
            if renaming is not None:
                theirs = dict.fromkeys(key for e in row for key in by_entry.get(e, ()))
                for part, (word, target) in theirs:
                    keys.setdefault((part, (word, renaming.name(target))))
        return tuple(keys)


@dataclass(frozen=True)
class Table:
    """All entries that were struck in one place, by candidate and ascending severity."""

    shown: Array
    """(entries, parts, places) float32, see `Panel.stretch`; NaN where it is not known."""
    gauges: Array
    """(entries, parts, nets) int16, see `Nets.shown`; `UNKNOWN` where it is not known."""
    ran: Array
    """(entries, parts) bool: a part was calculated; else it is known from the other rehearsal."""
    candidate: Array
    """(entries,) number of the candidate."""
    place: Array
    """(entries,) on the scale of its severity."""
    sound: Array
    """(parts, places) what the panel shows without any fault."""
    sound_gauges: Array
    """(parts, nets) int16, what gauges show then."""
    tests: Mapping[tuple[int, Test], tuple[tuple[int, Evidence], ...]]
    """(part, test) -> what it gave otherwise than without the fault: (entry, result)."""
    usual: tuple[Mapping[Test, Evidence], ...]
    """Of each part, what every test gives without any fault."""

    @cached_property
    def keys(self) -> list[tuple[int, float]]:
        """Candidate and place of each entry."""
        return list(zip(self.candidate.tolist(), self.place.tolist(), strict=True))


class Library:
    """What all candidates of a ride showed.

    Parameters
    ----------
    entries
        Of each trial of `rehearsed`, in order.
    sound
        Struck -> what each part shows without any fault, of all tests what they give.
    compiled
        The circuit; None: it is compiled here.
    """

    def __init__(
        self,
        circuit: Circuit,
        entries: Sequence[Entry],
        sound: Mapping[Struck, Sequence[Told]],
        compiled: Compiled | None = None,
    ) -> None:
        self.circuit = circuit
        self.compiled = compile_circuit(circuit) if compiled is None else compiled
        self.panel = Panel(self.compiled)
        self.nets = Nets(self.compiled)
        self.candidates = candidates(circuit)
        self._twins = Twins(circuit)
        good = list(completed([entry for entry in entries if entry.told], sound))
        self.tables = {
            struck: self._table([e for e in good if e.trial.struck == struck], sound[struck])
            for struck in STRUCK
        }
        """Struck -> its entries."""
        examined = {n for table in self.tables.values() for n in table.candidate.tolist()}
        self.not_examined = tuple(
            candidate for n, candidate in enumerate(self.candidates) if n not in examined
        )
        """Those that could not be calculated."""

    def _table(self, entries: Sequence[Entry], sound: Sequence[Told]) -> Table:
        rehearsed: dict[tuple[int, Test], list[tuple[int, Evidence]]] = {}
        own: dict[int, list[int]] = {}
        for e, entry in enumerate(entries):
            own.setdefault(entry.trial.candidate, []).append(e)
            for part, told in enumerate(entry.told):
                for test, found in told.found:
                    rehearsed.setdefault((part, test), []).append((e, found))
        # each entry, what it follows from and what exchanges the twins
        follows = [
            (number, e, self._twins.renamings.get(candidate.component))
            for number, candidate in enumerate(self.candidates)
            for e in own.get(self._rehearsed[number], ())
        ]
        parts, places = len(sound), len(self.panel.places)
        shown = np.full((len(follows), parts, places), np.nan, dtype=np.float32)
        gauges = np.full((len(follows), parts, len(self.nets.ports)), UNKNOWN, dtype=np.int16)
        ran = np.zeros((len(follows), parts), dtype=bool)
        rows: dict[Renaming | None, dict[int, int]] = {}
        for row, (_, e, renaming) in enumerate(follows):
            rows.setdefault(renaming, {})[e] = row
            of_panel, of_nets = self._taken_from[renaming]
            ran[row, : entries[e].trial.parts] = True
            for part, told in enumerate(entries[e].told):
                shown[row, part] = told.shown[of_panel]
                gauges[row, part] = told.gauges[of_nets]
        return Table(
            shown,
            gauges,
            ran,
            np.array([number for number, _, _ in follows], dtype=np.int64),
            np.array([entries[e].trial.place for _, e, _ in follows]),
            np.array([each.shown for each in sound]),
            np.array([each.gauges for each in sound]),
            Found(rehearsed, rows),
            tuple(dict(each.found) for each in sound),
        )

    @cached_property
    def _taken_from(self) -> dict[Renaming | None, tuple[Any, Any]]:
        """What exchanges twins -> where what the panel and what gauges show is taken from."""
        found: dict[Renaming | None, tuple[Any, Any]] = {None: (slice(None), slice(None))}
        for renaming in dict.fromkeys(self._twins.renamings.values()):
            found[renaming] = (
                renaming.places(self.panel.places), self.nets.exchanged(renaming),
            )  # fmt: skip
        return found

    @cached_property
    def _rehearsed(self) -> list[int]:
        """Candidate -> the one that is rehearsed for it."""
        of_component: dict[str, list[int]] = {}
        for number, candidate in enumerate(self.candidates):
            of_component.setdefault(candidate.component, []).append(number)
        first = self._twins.first
        return [
            of_component[first.get(component, component)][place]
            for component, numbers in of_component.items()
            for place, _ in enumerate(numbers)
        ]
