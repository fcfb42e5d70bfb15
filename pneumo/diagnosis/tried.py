"""What hidden faults would show when a valve is switched alone: no rehearsal tells that, so it is
tried on rides, a few each time. What they gave is kept.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import log
from typing import NamedTuple

import numpy as np

from pneumo.circuit.action import Inject
from pneumo.diagnosis.abreast import Sound
from pneumo.diagnosis.latent import Rows, Standing
from pneumo.diagnosis.library import Library
from pneumo.diagnosis.likelihood import FLOOR
from pneumo.diagnosis.movements import Stands, states_now
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.questions import (
    Move,
    Question,
    Sorted,
    cycled_alone,
    test_question,
)
from pneumo.diagnosis.record import Made, Record
from pneumo.diagnosis.rehearsal import STRUCK
from pneumo.errors import InputError, UnfinishedError
from pneumo.inspection.evidence import Evidence
from pneumo.network.network import Array
from pneumo.scenario.play import Play

MOST_TRIED = 10
"""Rides that are tried each time, more or less."""

SETTLES = 2.0
"""Such a ride stands for so long with its fault before [s]."""


_OTHER: dict[Stands, Stands] = {"open": "closed", "closed": "open"}


class Asked(NamedTuple):
    """Something that can be asked, and what each row would answer."""

    question: Question
    """Its outcomes are left out."""
    codes: Array
    """(rows,) number of the outcome, 0 = as without a fault."""

    def worth(self, share: Array) -> float:
        """Information on the rows for each second, at most [bit/s]. `share`: (rows,), the rest is
        as without a fault."""
        chance = np.bincount(self.codes, share)
        chance[0] += 1.0 - chance.sum()
        chance = chance[chance > 0.0]
        return float(-(chance * np.log2(chance)).sum()) / self.question.seconds


class _Coil(NamedTuple):
    """A valve to be switched alone."""

    name: str
    zone: str
    stands: Stands
    """Where its zone stands then."""


class Cycles:
    """What is seen of valves that are switched alone."""

    def __init__(self, library: Library, panel: Panel, sound: Sound) -> None:
        self._circuit, self._library = library.circuit, library
        self._panel, self._sound = panel, sound
        self._valves = {
            coil.rpartition(".")[0]: name
            for name, zone in library.circuit.zones.items()
            for coil in zone.outputs
        }
        self._standing: dict[tuple[str, Stands], Play | None] = {}
        """Zone, where it stands -> the ride without a fault as it stands there; None: it cannot be
        calculated."""
        self._known: dict[_Coil, dict[int, int]] = {}
        """Candidate -> what is seen with it, 0 = as without a fault."""
        self._sorted: dict[_Coil, Sorted] = {}

    def asked(self, rows: Rows, at: Standing, untold: Array) -> Iterator[Asked]:
        """Coils of which it is known what every suspect would show: as their zones stand, and once
        they are moved. `untold`: (rows,) bool, no other test tells of it."""
        left = MOST_TRIED
        for coil in self._in_turn(rows, at, untold):
            own = self._own(rows, coil, untold)
            known = self._known.setdefault(coil, {})
            for number, place in own.items():
                if number not in known and left > 0:
                    known[number] = self._tried(coil, number, place, at)
                    left -= 1
            if own and all(number in known for number in own):
                codes = np.zeros(len(rows.share), dtype=np.int64)
                for number in own:
                    codes[rows.candidate == number] = known[number]
                if codes.any():
                    yield Asked(self._question(coil, at), codes)

    def fits(self, record: Record) -> Array:
        """(candidates,) log likelihood of what was seen of valves that were switched alone, as far
        as it was tried; 0 where it was not."""
        found = np.zeros(len(self._library.candidates))
        zones = np.array([self._zone_of(n) for n in range(len(found))])
        for made in record.made:
            coil = self._made(made, record)
            if coil is None or not self._known.get(coil):
                continue
            seen = self._sorted[coil].number(made.found)
            told = np.where(zones == coil.zone, seen, 0)
            for number, code in self._known[coil].items():
                told[number] = code
            found[told != seen] += log(FLOOR)
        return found

    def _made(self, made: Made, record: Record) -> _Coil | None:
        """The coil of a test, where its zone stood then; None: it is another test."""
        if made.test != "cycle":
            return None
        zone = self._valves.get(made.target.rpartition(".")[0], "")
        before = [event for event in record.events if event.time < made.looks[0]]
        stands = states_now(self._circuit, before).get(zone, "")
        known: dict[str, Stands] = {"open": "open", "closed": "closed"}
        return _Coil(made.target, zone, known[stands]) if stands in known else None

    def _in_turn(self, rows: Rows, at: Standing, untold: Array) -> list[_Coil]:
        """First those of zones at whose valves most is hidden."""
        weight: dict[str, float] = {}
        for row in np.flatnonzero(untold).tolist():
            zone = self._zone_of(int(rows.candidate[row]))
            weight[zone] = weight.get(zone, 0.0) + float(rows.share[row])
        coils = [
            _Coil(coil, zone, stands)
            for zone, of in self._circuit.zones.items()
            if at.stands.get(zone)
            for coil in of.outputs
            for stands in (at.stands[zone], _OTHER[at.stands[zone]])
        ]
        return sorted(coils, key=lambda each: -weight.get(each.zone, 0.0))

    def _own(self, rows: Rows, coil: _Coil, untold: Array) -> dict[int, float]:
        """Suspects at the valves of the coil's zone, since two in a row hide each other -> the most
        probable severity, on its scale."""
        found: dict[int, tuple[float, float]] = {}
        for row in np.flatnonzero(untold).tolist():
            number = int(rows.candidate[row])
            if self._zone_of(number) == coil.zone:
                table = self._library.tables[STRUCK[int(rows.struck[row])]]
                each = (float(rows.share[row]), float(table.place[rows.entry[row]]))
                found[number] = max(found.get(number, each), each)
        return {number: place for number, (_, place) in found.items()}

    def _zone_of(self, number: int) -> str:
        """The zone whose valve a suspect is at; "" = it is at none."""
        return self._valves.get(self._library.candidates[number].component, "")

    def _tried(self, coil: _Coil, number: int, place: float, at: Standing) -> int:
        """What is seen with a suspect; 0 = as without a fault, or it cannot be calculated."""
        play = self._ride(coil, at)
        if play is None:
            return 0
        of = self._sorted.get(coil)
        if of is None:
            of = self._sorted[coil] = Sorted()
            usual = cycled_alone(play, coil.name)
            if usual is not None:
                of.number(usual)
        if not of.examples:
            return 0
        try:
            play.act(Inject(self._library.candidates[number].fault(place)))
            play.advance(play.now + SETTLES)
            seen: Evidence | None = cycled_alone(play, coil.name)
        except (UnfinishedError, InputError):
            return 0
        return 0 if seen is None else of.number(seen)

    def _ride(self, coil: _Coil, at: Standing) -> Play | None:
        """A ride without a fault, its zone standing there."""
        key = coil.zone, coil.stands
        if key not in self._standing:
            play = self._sound.ride.play.snapshot()
            self._standing[key] = play
            if at.stands[coil.zone] != coil.stands:
                try:
                    self._move(coil).carried_out(play, self._panel, self._circuit.longest_movement)
                except UnfinishedError:
                    self._standing[key] = None
        kept = self._standing[key]
        return None if kept is None else kept.snapshot()

    def _move(self, coil: _Coil) -> Move:
        return Move(coil.zone, (coil.zone,), coil.stands == "closed", tripped=False)

    def _question(self, coil: _Coil, at: Standing) -> Question:
        before = self._move(coil).lines if at.stands[coil.zone] != coil.stands else ()
        examples = tuple(self._sorted[coil].examples)
        return test_question(self._circuit, ("cycle", coil.name), before, (), examples, live=False)
