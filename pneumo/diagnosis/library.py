"""What every suspect would show in a rehearsal: calculated once for a ride, and kept.

One entry for a fault mode at a severity, struck while the zones stood open or closed. Of the panel
all numbers are kept; of the tests only what they give otherwise than without the fault.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from pneumo.circuit.circuit import Circuit
from pneumo.diagnosis.marks import marks
from pneumo.diagnosis.rehearsal import STRUCK, Rehearsal, Struck
from pneumo.diagnosis.suspects import Candidate, candidates
from pneumo.errors import InputError, UnfinishedError
from pneumo.inspection.evidence import Evidence
from pneumo.inspection.survey import Surveyor
from pneumo.network.compile import Compiled
from pneumo.network.network import Array
from pneumo.scenario.play import Play

Test = tuple[str, str]
"""First word, and what it is made at."""


class Trial(NamedTuple):
    """One entry of a library, to be calculated."""

    candidate: int
    place: float
    """On the scale of its severity."""
    struck: Struck
    whole: bool
    """Not only while the ride stands."""


class Told(NamedTuple):
    """What a suspect showed after one part of a rehearsal."""

    shown: Array
    """(places,) float32, see `Panel.stretch`."""
    found: tuple[tuple[Test, Evidence], ...]
    """What tests give otherwise than without the fault."""


@dataclass(frozen=True)
class Entry:
    """What a suspect showed; () = it could not be calculated, `why` says what stopped it."""

    trial: Trial
    told: tuple[Told, ...]
    why: str = ""


class Work:
    """The calculation of a library, entry by entry."""

    def __init__(self, circuit: Circuit, compiled: Compiled | None = None) -> None:
        self.circuit = circuit
        self.candidates = candidates(circuit)
        self.rehearsal = Rehearsal(circuit, compiled)
        self._surveyor = Surveyor(self.rehearsal.compiled)
        self._marks = {
            struck: [self._surveyor.marks(each.stands) for each in self.rehearsal.sound(struck)]
            for struck in STRUCK
        }
        self._gives = {
            struck: [self._surveyor.evidence(each.stands, self._surveyor.pairs)
                     for each in self.rehearsal.sound(struck)]
            for struck in STRUCK
        }  # fmt: skip
        self.sound: dict[Struck, Array] = {
            struck: np.array([each.shown for each in self.rehearsal.sound(struck)])
            for struck in STRUCK
        }
        """(parts, places) what the panel shows without any fault."""

    def jobs(self) -> tuple[Trial, ...]:
        """Everything to be calculated, in order."""
        return tuple(trials(self.candidates))

    def run(self, trial: Trial) -> Entry:
        """Calculates one entry; what stops it is told in it."""
        fault = self.candidates[trial.candidate].fault(trial.place)
        try:
            stretches = self.rehearsal.run(fault, trial.struck, trial.whole)
        except (UnfinishedError, InputError) as error:
            return Entry(trial, (), str(error))
        told = []
        for part, stretch in enumerate(stretches):
            found = self._found(stretch.stands, trial.struck, part) if trial.whole else ()
            told.append(Told(stretch.shown.astype(np.float32), found))
        return Entry(trial, tuple(told))

    def _found(self, play: Play, struck: Struck, part: int) -> tuple[tuple[Test, Evidence], ...]:
        sound = self._gives[struck][part]
        pairs = self._surveyor.differing(self._surveyor.marks(play), self._marks[struck][part])
        found = self._surveyor.evidence(play, pairs)
        # a test that was idle shows what one shows that was not
        return tuple((t, each) for t, each in found.items() if marks(each) != marks(sound[t]))


def trials(of: Iterable[Candidate]) -> Iterator[Trial]:
    """What is calculated for some candidates: what sticks is taken through both rehearsals."""
    for number, candidate in enumerate(of):
        for place in candidate.grades:
            for struck in STRUCK:
                yield Trial(number, place, struck, candidate.sticks or struck == STRUCK[0])


@dataclass(frozen=True)
class Table:
    """All entries that were struck in one place, by candidate and ascending severity."""

    shown: Array
    """(entries, parts, places) float32, see `Panel.stretch`; NaN in parts that were not run."""
    candidate: Array
    """(entries,) number of the candidate."""
    place: Array
    """(entries,) on the scale of its severity."""
    sound: Array
    """(parts, places) what the panel shows without any fault."""
    tests: Mapping[tuple[int, Test], tuple[tuple[int, Evidence], ...]]
    """(part, test) -> what it gave otherwise than without the fault: (entry, result)."""

    @cached_property
    def keys(self) -> list[tuple[int, float]]:
        """Candidate and place of each entry."""
        return list(zip(self.candidate.tolist(), self.place.tolist(), strict=True))

    @cached_property
    def whole(self) -> Array:
        """(entries,) bool: taken through the whole rehearsal."""
        return ~np.isnan(self.shown[:, -1, 0])

    @cached_property
    def between(self) -> tuple[Array, Array, Array]:
        """(rows,) entry below, (rows,) entry above and (rows,) bool whether something between them
        is meant: each entry that is whole, and each pair of neighbours of one candidate."""
        whole = np.flatnonzero(self.whole)
        follows = self.candidate[whole[1:]] == self.candidate[whole[:-1]]
        low = np.concatenate([whole, whole[:-1][follows]])
        high = np.concatenate([whole, whole[1:][follows]])
        return low, high, low != high


class Library:
    """What all candidates of a ride showed.

    Parameters
    ----------
    entries
        Of each trial of the ride, in order.
    sound
        Struck -> (parts, places) what the panel shows without any fault.
    """

    def __init__(
        self,
        circuit: Circuit,
        entries: Sequence[Entry],
        sound: Mapping[Struck, Array],
    ) -> None:
        self.candidates = candidates(circuit)
        good = [entry for entry in entries if entry.told]
        self.tables = {
            struck: _table([e for e in good if e.trial.struck == struck], sound[struck])
            for struck in STRUCK
        }
        """Struck -> its entries."""
        examined = {entry.trial.candidate for entry in good}
        self.not_examined = tuple(
            candidate for n, candidate in enumerate(self.candidates) if n not in examined
        )
        """Those that could not be calculated."""


def _table(entries: Sequence[Entry], sound: Array) -> Table:
    tests: dict[tuple[int, Test], list[tuple[int, Evidence]]] = {}
    for row, entry in enumerate(entries):
        for part, told in enumerate(entry.told):
            for test, found in told.found:
                tests.setdefault((part, test), []).append((row, found))
    shown = np.full((len(entries), *sound.shape), np.nan, dtype=np.float32)
    for row, entry in enumerate(entries):
        for part, told in enumerate(entry.told):
            shown[row, part] = told.shown
    return Table(
        shown,
        np.array([entry.trial.candidate for entry in entries], dtype=np.int64),
        np.array([entry.trial.place for entry in entries]),
        sound,
        {key: tuple(rows) for key, rows in tests.items()},
    )
