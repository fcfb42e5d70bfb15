"""What can be asked while nothing is odd, and what each hidden fault would answer.

Tests of the ride as it stands, and commands with what the panel would show: the rehearsals of the
library tell. What they do not tell of is tried on rides, see `tried`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache

import numpy as np

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.verbs import ALL
from pneumo.diagnosis.abreast import Sound
from pneumo.diagnosis.latent import Latent, Onset, Rows, Standing, standing
from pneumo.diagnosis.library import Library, Test
from pneumo.diagnosis.movements import PART, Movement, Stands
from pneumo.diagnosis.opinion import Likely, Opinion, answers
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.questions import (
    USUAL,
    OnPanel,
    Question,
    Sorted,
    in_vain,
    line_seconds,
    telling_place,
    test_question,
)
from pneumo.diagnosis.recommendation import SOUND, Choose, Recommendation, recommended, stopped
from pneumo.diagnosis.record import Record, stretches
from pneumo.diagnosis.rehearsal import STRUCK, Struck
from pneumo.diagnosis.suspects import Spot
from pneumo.diagnosis.tried import Asked, Cycles
from pneumo.inspection.survey import Surveyor
from pneumo.network.compile import Compiled
from pneumo.network.network import Array

WORTH = 48
"""Of all that can be asked so many are compared: those that can tell most for their minutes."""


class Foretold:
    """Advises on a ride at which nothing is odd.

    Parameters
    ----------
    zones
        Component -> its zone.
    sound
        The ride without a fault, abreast of the real one.
    nothing
        How probable it is beforehand that nothing is wrong [-].
    """

    def __init__(
        self,
        library: Library,
        compiled: Compiled,
        panel: Panel,
        zones: Mapping[str, str],
        sound: Sound,
        nothing: float,
    ) -> None:
        self._circuit: Circuit = library.circuit
        self._library, self._panel, self._zones = library, panel, zones
        self._sound, self._nothing = sound, nothing
        self._latent = Latent(library, panel, zones)
        self._cycles = Cycles(library, panel, sound)
        self._first: int | None = None
        """The stretch in which it was first asked what to do."""
        self._sorted: dict[tuple[Test, Stands], Sorted] = {}
        self._codes: dict[tuple[int, Stands], int] = {}
        """Identity of a result of the library, and where the zone stands -> its outcome."""
        tests = (test for table in library.tables.values() for _, test in table.tests)
        self._tests = tuple(dict.fromkeys(tests))
        self._entries = cache(self._entries_of)
        self._surveyor = Surveyor(compiled)

    def advised(
        self, record: Record, opinion: Opinion, live: bool, choose: Choose | None
    ) -> Recommendation:
        """What to do next, see `Diagnostician.advise`."""
        cut = stretches(record)
        if self._first is None:
            self._first = len(cut) - 1
        nothing_more = stopped(opinion, self._circuit.downtime)
        at = standing(self._circuit, self._zones, record, cut, self._first)
        if at is None:
            return nothing_more
        rows = self._latent.rows(at)
        tried = np.exp(self.tried(record))
        rows = rows._replace(share=rows.share * tried[rows.candidate])
        rows = self._latent.told(rows, record.named)
        again = in_vain(record, cut[self._first].began)
        found = [
            each for each in self._all(rows, at, live)
            if not again(each.question) and each.codes.any()
        ]  # fmt: skip
        if not found:
            return nothing_more
        advice = self._of(rows, found, choose)
        return nothing_more if advice.question is None else advice

    def tried(self, record: Record) -> Array:
        """(candidates,) log likelihood of what was found by tests that no rehearsal tells of."""
        return self._cycles.fits(record)

    def _all(self, rows: Rows, at: Standing, live: bool) -> Iterator[Asked]:
        told = np.zeros(len(rows.share), dtype=bool)
        for each in self._standing(rows, at, live):
            told |= each.codes > 0
            yield each
        yield from self._moving(rows, at)
        yield from self._cycles.asked(rows, at, ~told)

    def _of(self, rows: Rows, found: Sequence[Asked], choose: Choose | None) -> Recommendation:
        """The best of what can be asked."""
        share = rows.share * (1.0 - self._nothing)
        nothing = self._nothing / (self._nothing + share.sum())
        share = share * (1.0 - nothing) / share.sum()
        worth = [each.worth(share) for each in found]
        order = sorted(range(len(found)), key=lambda n: (-worth[n], n))
        kept = [found[n] for n in sorted(order[:WORTH])]
        # rows at one spot that answer alike are one
        of_spot: dict[Spot, int] = {}
        spots = [of_spot.setdefault(each.spot, len(of_spot)) for each in self._library.candidates]
        codes = np.stack([np.array(spots)[rows.candidate], *(each.codes for each in kept)])
        merged, which = np.unique(codes, axis=1, return_inverse=True)
        shares = np.bincount(which.reshape(-1), share, merged.shape[1])
        named = list(of_spot)
        assumed = np.bincount(rows.candidate, share, len(self._library.candidates))
        likely = (
            Likely(each, float(chance), 1.0)
            for each, chance in zip(self._library.candidates, assumed.tolist(), strict=True)
        )
        questions = []
        for each, row in zip(kept, merged[1:], strict=True):
            present, code = np.unique(np.append(0, row), return_inverse=True)
            examples = each.question.answers
            questions.append(
                replace(
                    each.question,
                    outcome=tuple(code.tolist()),
                    answers=tuple(examples[n] for n in present.tolist()),
                )
            )
        return recommended(
            Opinion(answers(likely, self._circuit.downtime), nothing, 0.0, ()),
            (SOUND, *(named[n] for n in merged[0].tolist())),
            (nothing, *shares.tolist()),
            questions,
            self._circuit.downtime,
            choose,
            ask_on=True,
        )

    # tests of the ride as it stands

    def _standing(self, rows: Rows, at: Standing, live: bool) -> Iterator[Asked]:
        views = list(self._views(rows, at))
        told: dict[Test, Array] = {}
        for test in self._tests:
            zone = self._zones.get(test[1].partition(".")[0], "")
            stands = at.stands.get(zone, "")
            if not stands or test in at.asked:
                continue
            codes = np.zeros(len(rows.share), dtype=np.int64)
            for onset, struck, row in views:
                part = onset.now(struck, zone)
                for number, code in self._answers(struck, part, test, stands, row):
                    codes[number] = code
            if codes.any():
                told[test] = codes
        really = self._surveyor.evidence(self._sound.ride.play, told)
        for test, codes in told.items():
            of = self._sorted[test, at.stands[self._zones.get(test[1].partition(".")[0], "")]]
            # a rehearsal was looked at soon after a movement: what has settled since it tells wrong
            if of.number(really[test]) == 0:
                examples = tuple(of.examples)
                yield Asked(test_question(self._circuit, test, (), (), examples, live), codes)

    def _views(self, rows: Rows, at: Standing) -> Iterator[tuple[Onset, Struck, Array]]:
        """Each onset and rehearsal, with (entries,) the row of each entry, -1: it has none."""
        for number, onset in enumerate(at.onsets):
            for place, struck in enumerate(STRUCK):
                own = np.flatnonzero((rows.onset == number) & (rows.struck == place))
                row = np.full(len(self._library.tables[struck].candidate), -1)
                row[rows.entry[own]] = own
                yield onset, struck, row

    def _answers(
        self, struck: Struck, part: int, test: Test, stands: Stands, row: Array
    ) -> Iterator[tuple[int, int]]:
        """Rows that answer a test otherwise after a part of a rehearsal, and how."""
        table = self._library.tables[struck]
        found = table.tests.get((part, test), ())
        if not found:
            return
        of = self._sorted.get((test, stands))
        if of is None:
            of = self._sorted[test, stands] = Sorted()
            of.number(table.usual[part][test])
        numbers = row[self._entries(struck, part, test)]
        for place in np.flatnonzero(numbers >= 0).tolist():
            answer = found[place][1]
            # the library keeps its records: each is looked at once
            key = id(answer), stands
            if key not in self._codes:
                self._codes[key] = of.number(answer)
            yield int(numbers[place]), self._codes[key]

    def _entries_of(self, struck: Struck, part: int, test: Test) -> Array:
        found = self._library.tables[struck].tests[part, test]
        return np.array([entry for entry, _ in found], dtype=np.int64)

    # commands

    def _moving(self, rows: Rows, at: Standing) -> Iterator[Asked]:
        names = [
            name for name in (*self._circuit.zones, *self._circuit.gates) if at.stands.get(name)
        ]
        moves: list[tuple[str, tuple[str, ...]]] = [(name, (name,)) for name in names]
        zones = tuple(self._circuit.zones)
        if len({at.stands.get(zone, "") for zone in zones}) == 1 and zones[0] in names:
            moves.append((ALL, ("", *zones)))
        for target, own in moves:
            places = [place for name in own for place in self._panel.by_zone.get(name, ())]
            closing = at.stands[own[-1]] == "open"
            movement: Movement = "closing" if closing else "opening"
            shown = np.zeros((len(rows.share), len(places)), dtype=bool)
            for number, struck in enumerate(STRUCK):
                of = np.flatnonzero(rows.struck == number)
                told = self._latent.shows(struck, PART[struck, movement])
                shown[of] = told[rows.entry[of]][:, places]
            packed = np.packbits(shown, axis=1)
            number_of = {bytes(packed.shape[1]): 0}
            codes = np.array(
                [number_of.setdefault(each.tobytes(), len(number_of)) for each in packed],
                dtype=np.int64,
            )
            first = [int(np.argmax(codes == code)) for code in range(1, len(number_of))]
            odd = (telling_place(self._panel, places, shown[row]) for row in first)
            answers = (USUAL, *map(self._odd_at, odd))
            line = f"{'close' if closing else 'open'} {target}"
            question = Question((line,), line_seconds(self._circuit, line), (), answers)
            yield Asked(question, codes)

    def _odd_at(self, place: int) -> OnPanel:
        of = self._panel.places[place]
        return OnPanel(of.instrument, of.aspect, None)
