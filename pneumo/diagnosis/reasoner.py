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
from pneumo.diagnosis.asking import Asking
from pneumo.diagnosis.fit import Marked
from pneumo.diagnosis.foretold import Foretold
from pneumo.diagnosis.library import Library
from pneumo.diagnosis.likelihood import misfit, total
from pneumo.diagnosis.movements import movements
from pneumo.diagnosis.observed import ODD, Items, Observation, first_odd, observed, when_odd
from pneumo.diagnosis.opinion import Likely, Opinion, answers
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.questions import Row
from pneumo.diagnosis.reasons import Compared
from pneumo.diagnosis.recommendation import SOUND, Choose, Recommendation, recommended, stopped
from pneumo.diagnosis.record import Record, stretches
from pneumo.diagnosis.screening import Screened, Sight, screened
from pneumo.diagnosis.underway import UnderWay
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.network.network import Array
from pneumo.scenario.actor import Actor

FEW = 0.1
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
        self._asking = Asking(self._compiled, self.panel, self._zones)
        self._foretold = Foretold(
            library, self._compiled, self.panel, self._zones, self.sound, PRIOR_SOUND
        )
        self._under_way: UnderWay | None = None
        """None: nothing was odd yet."""
        self._rows: list[Row] = []
        """The rides of what is still in question, as of the last time."""

    @property
    def compared(self) -> Compared | None:
        """Number by number what was seen and expected, as of the last opinion; None: nothing was
        odd."""
        return None if self._under_way is None else self._under_way.compared

    def consider(self, record: Record) -> Opinion:
        """What is to be thought after all that a record holds. A record must hold what those before
        it held."""
        cut = stretches(record)
        self.sound.run(record, cut)
        seen = observed(self.panel, record, cut)
        odd = first_odd(self.panel, record, seen, self.sound.ride)
        if odd is None:
            return Opinion((), 1.0, 0.0, self.library.not_examined)
        if self._under_way is None:
            last = odd == len(cut) - 1
            odd_at = when_odd(record.events, cut[odd], last, self.sound.ride)
            self._under_way = UnderWay(self.library, self.panel, self.sound, cut[odd], odd_at)
        moved = movements(self.circuit, cut, record.events)
        without = self._without(record, seen, odd)
        sight = Sight(self.panel, record, seen, moved, self.sound.ride, odd, self._zones, without)
        fits = self._foretold.better(screened(self.library, sight), record)
        marked = self._under_way.examined(fits, record, seen)
        opinion = self._opinion(self._under_way, fits, marked)
        self._rows = self._weighed(self._under_way, opinion, marked)
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
        if self._under_way is None:
            return self._foretold.advised(record, opinion, live, choose)
        rows = self._rows
        if len(rows) < 2:
            return stopped(opinion, self.circuit.downtime)
        since = max(self._under_way.struck)
        questions = self._asking.questions(record, opinion, rows, live, since)
        spots = [
            SOUND if row.candidate < 0 else self.library.candidates[row.candidate].spot
            for row in rows
        ]
        shares = [row.share for row in rows]
        return recommended(opinion, spots, shares, questions, self.circuit.downtime, choose)

    def _without(self, record: Record, seen: Observation, odd: int) -> dict[tuple[int, str], float]:
        """Log likelihood of what the panel showed without a fault, by stretch and zone; where
        something was odd."""
        items = Items(self.panel, record, seen, odd, (self.sound.ride,))
        row = items.of(self.sound.ride, self.sound.ride)[None, :]
        off = misfit(items.seen, row)
        zones = np.array([
            "" if item.place < 0 else self.panel.places[item.place].zone for item in items.items
        ])  # fmt: skip
        found: dict[tuple[int, str], float] = {}
        for place in np.flatnonzero(off[0] < ODD).tolist():
            key = (int(items.stretch[place]), str(zones[place]))
            if key not in found:
                own = (items.stretch == key[0]) & (zones == key[1])
                found[key] = float(total(items.seen.only(own), off[:, own])[0])
        return found

    def _proved(self, under_way: UnderWay, fits: list[Screened], marked: Marked) -> float:
        """Log of how much of what fitted at first look has proved to fit, the best aside: so much
        is thought of what was not looked at."""
        best = max((fit.whole for fit in marked.fits.values()), default=0.0)
        leader = max(marked.fits, key=lambda n: (marked.fits[n].whole, -n), default=-1)
        known = under_way.fitted
        others = [n for n in known
                  if leader < 0 or self.library.candidates[n].component
                  != self.library.candidates[leader].component]  # fmt: skip
        kept = [min(known[n] - min(fits[n].fit, best), 0.0) for n in others]
        return log((FEW + float(np.exp(kept).sum())) / (len(others) + 1.0))

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

    def _opinion(self, under_way: UnderWay, fits: list[Screened], marked: Marked) -> Opinion:
        known = under_way.fitted
        # by its rides where it has had some, else at first look
        logs = [
            log(candidate.prior) + known.get(n, fits[n].fit)
            for n, candidate in enumerate(self.library.candidates)
        ]
        best = max((logs[n] for n in marked.fits), default=0.0)
        # a suspect without a ride is never more probable than one that has proved to fit
        proved = self._proved(under_way, fits, marked)
        logs = [each if n in known else min(each, best) + proved for n, each in enumerate(logs)]
        shares = self._likely_shares(logs, marked)
        likely = (
            Likely(
                candidate,
                float(shares[number]),
                marked.fits[number].place if number in marked.fits else fits[number].high,
            )
            for number, candidate in enumerate(self.library.candidates)
        )
        return Opinion(
            answers(likely, self.circuit.downtime),
            float(shares[-2]),
            float(shares[-1]),
            self.library.not_examined,
        )

    def _weighed(self, under_way: UnderWay, opinion: Opinion, marked: Marked) -> list[Row]:
        """The rides of the suspects that are still in question, with their shares."""
        shares = {(m.candidate.component, m.candidate.mode, m.candidate.side): m.share
                  for answer in opinion.answers for m in answer.modes}  # fmt: skip
        rows = [Row(-1, 1.0, opinion.sound, self.sound.ride)]
        for number, fit in marked.fits.items():
            candidate = self.library.candidates[number]
            share = shares[candidate.component, candidate.mode, candidate.side]
            by_place = under_way.rides[number].by_place
            places = np.array(sorted(by_place))
            nearest = np.abs(fit.fine[:, None] - places[None, :]).argmin(axis=1)
            weights = np.bincount(nearest, np.exp(fit.parts - fit.whole), len(places))
            for place, weight in zip(places.tolist(), weights.tolist(), strict=True):
                rows.append(Row(number, place, share * weight, by_place[place]))
        rows = [row for row in rows if row.share > HARDLY_A_ROW]
        rows.sort(key=lambda row: -row.share)
        return rows[:MOST_ROWS]
