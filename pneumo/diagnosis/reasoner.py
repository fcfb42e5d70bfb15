"""A diagnostician: from a record of what a seat has seen to what may be wrong with the ride.

A suspect is a ride. All of them are screened by what they showed in a rehearsal; those that fit
best get rides of their own, on which everything is done that was done to the real one (`underway`).
What is thought of them is an `Opinion`; what to do next a `Recommendation`.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import log

import numpy as np

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.zones import component_zones, zone_feeds
from pneumo.diagnosis.abreast import Sound
from pneumo.diagnosis.acts import owners
from pneumo.diagnosis.asking import Asking
from pneumo.diagnosis.fit import Marked
from pneumo.diagnosis.foretold import Foretold
from pneumo.diagnosis.library import Library
from pneumo.diagnosis.observed import observed
from pneumo.diagnosis.opinion import Likely, Opinion, answers
from pneumo.diagnosis.pairs import Pairs
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.questions import Row
from pneumo.diagnosis.reasons import Compared
from pneumo.diagnosis.recommendation import SOUND, Choose, Recommendation, recommended, stopped
from pneumo.diagnosis.record import Record, stretches
from pneumo.diagnosis.rehearsed import Rehearsed
from pneumo.diagnosis.screening import Screened
from pneumo.diagnosis.search import Search
from pneumo.diagnosis.underway import UnderWay
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.network.network import Array
from pneumo.scenario.actor import Actor

WIDER = 2
"""Times that more suspects are looked at, at most, while those that were not weigh much."""

UNLOOKED = 0.5
"""How probable those may be together, of which no ride was run [-]."""

FEW = 0.02
"""Of all suspects so many are taken to have fitted before any was looked at; estimated."""

MOST_ROWS = 60
"""Rides that are asked what they would answer to a test."""

HARDLY_A_ROW = 0.002
"""A severity of a suspect that is less probable is not asked [-]."""

PRIOR_UNKNOWN = 0.02
"""How probable it is beforehand that none of all suspects is right [-]; estimated."""

PRIOR_SOUND = 0.3
"""How probable it is beforehand that nothing is wrong that has shown itself [-]; estimated."""


class Diagnostician:
    """Reasons about one ride.

    Parameters
    ----------
    library
        What its suspects showed in their rehearsals.
    actors
        Who acts besides on the ride.
    """

    def __init__(
        self,
        circuit: Circuit,
        library: Library,
        compiled: Compiled | None = None,
        actors: Iterable[Actor] = (),
    ) -> None:
        self.circuit = circuit
        self.library = library
        self._compiled = compile_circuit(circuit) if compiled is None else compiled
        self.panel = Panel(self._compiled)
        self.sound = Sound(self._compiled, self.panel, actors)
        self._zones = component_zones(circuit, zone_feeds(circuit))
        self._asking = Asking(self._compiled, self.panel, owners(circuit))
        self._foretold = Foretold(
            library, self._compiled, self.panel, self._zones, self.sound, PRIOR_SOUND
        )
        rehearsed = Rehearsed(library)
        self._search = Search(rehearsed, self.panel, self.sound, self._zones)
        self._pairs = Pairs(rehearsed, self.panel, self._zones, PRIOR_UNKNOWN)
        self._rows: list[Row] = []
        """The rides of what is still in question, as of the last time."""

    @property
    def compared(self) -> Compared | None:
        """Number by number what was seen and expected, as of the last opinion; None: nothing was
        odd."""
        under_way = self._search.under_way
        if under_way is None or under_way.compared is None:
            return None
        return self._pairs.compared(under_way.compared)

    def consider(self, record: Record) -> Opinion:
        """What is to be thought after all that a record holds. A record must hold what those before
        it held."""
        cut = stretches(record)
        self.sound.run(record, cut)
        seen = observed(self.panel, record, cut, self.sound.ride.shown)
        marked = self._search.look(record, seen, self._foretold.tried(record))
        under_way = self._search.under_way
        if marked is None or under_way is None:
            return Opinion((), 1.0, 0.0, self.library.not_examined)
        fits = self._search.fits
        shares = self._shares(under_way, fits, marked)
        for _ in range(WIDER):
            looked = under_way.fitted
            left = (n for n, fit in enumerate(fits) if fit.explains and n not in looked)
            if sum(shares[n] for n in left) < UNLOOKED:
                break
            marked = self._search.wider(record, seen)
            shares = self._shares(under_way, fits, marked)
        alone = self._opinion(shares, fits, marked)
        opinion = self._pairs.beside(alone, self._search, marked, record, seen)
        rows = [*self._weighed(under_way, opinion, marked), *self._pairs.rows(opinion)]
        rows.sort(key=lambda row: -row.share)
        self._rows = [row for row in rows if row.share > HARDLY_A_ROW][:MOST_ROWS]
        return opinion

    def advise(
        self, record: Record, opinion: Opinion, live: bool = False, choose: Choose | None = None
    ) -> Recommendation:
        """What to do next, after `consider`.

        Parameters
        ----------
        record, opinion
            What was considered, and what was thought of it.
        live
            There is a permit for tests on live wires.
        choose
            See `recommended`.
        """
        under_way, rows = self._search.under_way, self._rows
        if under_way is None:
            return self._foretold.advised(record, opinion, live, choose)
        advice = stopped(opinion, self.circuit.downtime)
        if len(rows) > 1:
            since = max(under_way.struck)
            questions = self._asking.questions(record, opinion, rows, live, since)
            where, shares = [row.where for row in rows], [row.share for row in rows]
            advice = recommended(
                opinion, where, shares, questions, self.circuit.downtime, choose
            )  # fmt: skip
        if advice.question is None and opinion.leader is None:
            # those that have rides are not it, or hardly: what tells most of all the others
            advice = self._foretold.advised(record, opinion, live, choose)
        return advice

    def _expected(self, under_way: UnderWay, fits: list[Screened], sound: float) -> list[float]:
        """Log likelihood of every candidate: by its rides where it has had some, else by how far it
        is behind at first look, and by how much of what fitted there has proved to fit, the best
        aside. So much is thought of what was not looked at. What explains nothing fits as the
        ride without a fault does."""
        known = under_way.fitted
        best = max(known.values(), default=0.0)
        looked = max(fit.fit for fit in fits)
        at_first = [fit.fit - looked for fit in fits]
        leader = max(known, key=lambda n: (known[n], -n), default=-1)
        others = [n for n in known
                  if leader < 0 or self.library.candidates[n].component
                  != self.library.candidates[leader].component]  # fmt: skip
        kept = [min(known[n] - best - at_first[n], 0.0) for n in others]
        proved = log((FEW + float(np.exp(kept).sum())) / (len(others) + 1.0))
        return [
            known[n] if n in known
            else best + at_first[n] + proved if fit.explains
            else min(best + at_first[n], sound)
            for n, fit in enumerate(fits)
        ]  # fmt: skip

    def _likely_shares(self, likely: list[float], marked: Marked) -> Array:
        """Share of each candidate, of no fault that has shown itself and of none of these."""
        known = log(1.0 - PRIOR_SOUND - PRIOR_UNKNOWN)
        every = known - log(sum(candidate.prior for candidate in self.library.candidates))
        logs = np.array([
            *(every + each for each in likely),
            log(PRIOR_SOUND) + marked.sound,
            log(PRIOR_UNKNOWN) + marked.unknown,
        ])  # fmt: skip
        shares = np.exp(logs - logs.max())
        return np.asarray(shares / shares.sum())

    def _shares(self, under_way: UnderWay, fits: list[Screened], marked: Marked) -> list[float]:
        """How probable each candidate is, no fault that has shown itself, and none of these."""
        logs = [
            log(candidate.prior) + expected
            for candidate, expected in zip(
                self.library.candidates, self._expected(under_way, fits, marked.sound), strict=True
            )
        ]
        return [float(share) for share in self._likely_shares(logs, marked)]

    def _opinion(self, shares: list[float], fits: list[Screened], marked: Marked) -> Opinion:
        likely = (
            Likely(
                candidate,
                shares[number],
                marked.fits[number].place if number in marked.fits else fits[number].high,
            )
            for number, candidate in enumerate(self.library.candidates)
        )
        return Opinion(
            answers(likely, self.circuit.downtime),
            shares[-2],
            shares[-1],
            self.library.not_examined,
        )

    def _weighed(self, under_way: UnderWay, opinion: Opinion, marked: Marked) -> list[Row]:
        """The rides of the suspects that are still in question, with their shares."""
        shares = {(m.candidate.component, m.candidate.mode, m.candidate.side): m.share
                  for answer in opinion.answers if answer.beside is None
                  for m in answer.modes}  # fmt: skip
        rows = [Row(SOUND, opinion.sound, self.sound.ride)]
        for number, fit in marked.fits.items():
            candidate = self.library.candidates[number]
            share = shares[candidate.component, candidate.mode, candidate.side]
            by_place = under_way.rides[number].by_place
            places = np.array(sorted(by_place))
            nearest = np.abs(fit.fine[:, None] - places[None, :]).argmin(axis=1)
            weights = np.bincount(nearest, np.exp(fit.parts - fit.whole), len(places))
            for place, weight in zip(places.tolist(), weights.tolist(), strict=True):
                rows.append(Row(candidate.spot, share * weight, by_place[place]))
        return rows
