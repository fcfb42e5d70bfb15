"""A diagnostician: from a record of what a seat has seen to what may be wrong with the ride.

A suspect is a ride. All of them are screened by what they showed in a rehearsal; those that fit
best get a ride of their own, on which everything is done that was done to the real one. How bad a
fault is, and when it struck, is not known: a suspect has several rides, at severities that close in
on what fits, struck before the first stretch in which something was odd or in the midst of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from math import log

import numpy as np

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.verbs import ALL
from pneumo.circuit.zones import component_zones, zone_feeds
from pneumo.diagnosis.abreast import Ride, Sound
from pneumo.diagnosis.library import Library
from pneumo.diagnosis.likelihood import (
    Graded,
    Seen,
    between,
    by_family,
    by_instrument,
    misfit,
    over_severity,
    total,
)
from pneumo.diagnosis.movements import movements, states_now
from pneumo.diagnosis.observed import Items, Observation, first_odd, observed, when_odd
from pneumo.diagnosis.opinion import Likely, Opinion, answers
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.questions import (
    Move,
    Question,
    Row,
    cycling_question,
    decaying_questions,
    moving_questions,
    standing_questions,
)
from pneumo.diagnosis.reasons import Compared, best_rows
from pneumo.diagnosis.recommendation import Recommendation, recommended, stopped
from pneumo.diagnosis.record import Record, Stretch, stretches
from pneumo.diagnosis.rehearsal import LEAST
from pneumo.diagnosis.screening import Screened, Sight, screened
from pneumo.diagnosis.suspects import Candidate
from pneumo.errors import InputError, UnfinishedError
from pneumo.inspection.survey import Surveyor
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.network.network import Array
from pneumo.scenario.actor import Actor
from pneumo.zone.event import Refused, StateEntered

LEADERS = 24
"""Suspects that get rides of their own."""

AROUND = (-0.2, 0.0, 0.2)
"""Severities at first, around the one that fits best at first look, on their scale."""

MOST_SEVERITIES = 7
"""Rides of a suspect, at most, for each instant at which it may have struck."""

REFINED = 8
"""Suspects whose severity is closed in on each time."""

LEFT_OUT = 2.0
"""By how much the log likelihood of a suspect without a ride is lowered; estimated."""

BEFORE = 0.1
"""Before something odd shows, the fault is there for so long [s]; estimated."""

REFINEMENTS = 3
"""Times that the severity of suspects is closed in on after each thing that was done."""

MOST_ROWS = 60
"""Rides that are asked what they would answer to a test."""

MOST_AHEAD = 24
"""Rides that are run on to see what would come of a command, or of a valve switched alone."""

MOST_MOVED = 2
"""Zones that are thought of being moved."""

ASKED = 0.02
"""A zone in which something is wrong with less probability is not thought of [-]."""

WATCHED = 120.0
"""A gauge is watched for so long [s]."""

HARDLY_A_ROW = 0.002
"""A severity of a suspect that is less probable is not asked [-]."""

HARDLY = 12.0
"""A suspect that is less probable than the best by so much, as a logarithm, gets no rides."""

NEAR = 0.02
"""Severities nearer than this on their scale are not told apart."""

UNKNOWN = log(0.05)
"""Log likelihood, for each family of instruments, of what nobody has thought of; estimated."""

PRIOR_UNKNOWN = 0.02
"""How probable it is beforehand that none of all suspects is right [-]; estimated."""

PRIOR_SOUND = 0.3
"""How probable it is beforehand that nothing is wrong that has shown itself [-]; estimated."""


@dataclass
class _Rides:
    """A suspect under way: rides by the place of their severity."""

    candidate: Candidate
    at: float
    """When it struck [s]."""
    by_place: dict[float, Ride] = field(default_factory=dict)
    why: str = ""
    """What stopped the calculation."""


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
        limits = (zone.limits for zone in circuit.zones.values())
        self._lasts = max((max(of.close, of.open) + of.vent for of in limits), default=LEAST)
        """A movement of zones takes so long at most [s]."""
        self._rides: dict[tuple[int, float], _Rides] = {}
        self._first: int | None = None
        """The first stretch that was odd."""
        self._struck: tuple[float, ...] = ()
        """When a fault may have struck [s]."""
        self._rows: list[Row] = []
        """The rides of what is still in question, as of the last time."""
        self.compared: Compared | None = None
        """Number by number what was seen and expected, as of the last opinion; None: nothing was
        odd."""
        self._fitted: dict[int, float] = {}
        """Log likelihood of those that have had rides, as of when they last had them."""

    def consider(self, record: Record) -> Opinion:
        """What is to be thought after all that a record holds. A record must hold what those before
        it held."""
        cut = stretches(record)
        self.sound.run(record, cut)
        seen = observed(self.panel, record, cut)
        odd = first_odd(self.panel, record, seen, self.sound.ride)
        if odd is None:
            return self._nothing_odd()
        self._set_out(record, seen, odd)
        moved = movements(self.circuit, seen, record.events)
        sight = Sight(self.panel, record, seen, moved, self.sound.ride, odd, self._zones)
        fits = screened(self.library, sight)
        leaders = self._leaders(fits)
        for number in leaders:
            self._start(number, fits[number], cut)
        self._run(leaders, record, seen)
        marked = self._mark(leaders, record, seen)
        for _ in range(REFINEMENTS):
            if not self._refine(marked, cut):
                break
            self._run(leaders, record, seen)
            marked = self._mark(leaders, record, seen)
        self._prune(marked)
        opinion = self._opinion(fits, marked)
        self._rows = self._weighed(opinion, marked)
        return opinion

    def advise(self, record: Record, opinion: Opinion, live: bool = False) -> Recommendation:
        """What to do next, after `consider`.

        Parameters
        ----------
        record, opinion
            What was considered, and what was thought of it.
        live
            There is a permit for tests on live wires.
        """
        rows = self._rows
        if len(rows) < 2:
            return stopped(opinion, self.circuit.downtime)
        cut = stretches(record)
        asked = [(made.test, made.target) for made in record.made
                 if made.ended >= cut[-1].began]  # fmt: skip
        surveyor = Surveyor(self._compiled, record.fitted)
        questions = standing_questions(self.circuit, surveyor, rows, asked, live)
        states = states_now(self.circuit, record.events)
        tripped = "faulted" in states.values()
        # once it is reset, a zone that has tripped stands where it is safe
        stands = {
            name: self.circuit.zones[name].safe_state if state == "faulted" else state
            for name, state in states.items()
        }
        asked_ahead = rows[:MOST_AHEAD]
        for move in self._moves(record, stands, opinion, tripped):
            questions += moving_questions(
                self.circuit, surveyor, self.panel, asked_ahead, move, self._lasts, live
            )
        for coil in self._coils(opinion):
            question = cycling_question(self.circuit, asked_ahead, coil)
            if question is not None and ("cycle", coil) not in asked:
                questions.append(question)
        questions += decaying_questions(self.circuit, surveyor, asked_ahead, WATCHED)
        questions = [_for_all(question, len(rows)) for question in questions]
        return recommended(opinion, rows, self.library.candidates, questions,
                           self.circuit.downtime)  # fmt: skip

    def _nothing_odd(self) -> Opinion:
        return Opinion((), 1.0, 0.0, self.library.not_examined)

    def _set_out(self, record: Record, seen: Observation, odd: int) -> None:
        """From when on a fault is looked for; found out once."""
        if self._first is not None:
            return
        self._first = odd
        began = seen.cut[odd].began
        late = when_odd(record, seen, self.sound.ride, odd) - BEFORE
        self._struck = (began, late) if late > began + BEFORE else (began,)

    # suspects under way

    def _leaders(self, fits: list[Screened]) -> list[int]:
        """Numbers of the candidates that get rides: those that fit best, by rides of their own
        where they have had them, else at first look. What can hardly be is left out."""
        likely = self._likely(fits)
        order = sorted(range(len(likely)), key=lambda n: (-likely[n], n))[:LEADERS]
        return sorted(n for n in order if likely[n] > likely[order[0]] - HARDLY)

    def _likely(self, fits: list[Screened]) -> list[float]:
        """Log of the share of each candidate, but for a factor: by its rides where it has had
        some; the others stand to the best of those as they do at first look."""
        candidates = self.library.candidates
        known = self._fitted
        off = 0.0
        if known:
            best = max(known, key=lambda n: (known[n], -n))
            off = known[best] - max(fits[n].fit for n in known)
        return [
            log(candidate.prior)
            + (known[n] if n in known else fits[n].fit + off - (LEFT_OUT if known else 0.0))
            for n, candidate in enumerate(candidates)
        ]

    def _start(self, number: int, fit: Screened, cut: tuple[Stretch, ...]) -> None:
        candidate = self.library.candidates[number]
        places = {1.0}
        if candidate.side is not None:
            places = {min(max(fit.place + off, 0.0), 1.0) for off in AROUND}
        for at in self._struck:
            if (number, at) not in self._rides:
                rides = self._rides[number, at] = _Rides(candidate, at)
                for place in sorted(places):
                    self._add(rides, place, cut)

    def _add(self, rides: _Rides, place: float, cut: tuple[Stretch, ...]) -> None:
        assert self._first is not None
        fault = rides.candidate.fault(place)
        try:
            rides.by_place[place] = self.sound.suspect(fault, cut, self._first, rides.at)
        except (UnfinishedError, InputError) as error:
            rides.why = str(error)

    def _run(self, leaders: list[int], record: Record, seen: Observation) -> None:
        for number in leaders:
            for at in self._struck:
                rides = self._rides[number, at]
                for place, ride in list(rides.by_place.items()):
                    try:
                        ride.run(self.panel, record, seen.cut)
                    except (UnfinishedError, InputError) as error:
                        rides.why = str(error)
                        del rides.by_place[place]

    # how well they fit

    def _mark(self, leaders: list[int], record: Record, seen: Observation) -> _Marked:
        assert self._first is not None
        sound = self.sound.ride
        under_way = [self._rides[n, at] for n in leaders for at in self._struck]
        rides = [ride for each in under_way for ride in each.by_place.values()]
        items = Items(self.panel, record, seen, self._first, [sound, *rides])
        without = items.of(sound, sound)
        graded = []
        for n in leaders:
            for at in self._struck:
                by_place = self._rides[n, at].by_place
                if by_place:
                    places = sorted(by_place)
                    rows = np.array([items.of(by_place[place], sound) for place in places])
                    graded.append((n, at, Graded(np.array(places), rows)))
        kept = without != items.seen.values
        for _, _, each in graded:
            kept |= (each.expected != items.seen.values).any(axis=0)
        of, in_first = items.seen.only(kept), items.stretch[kept] == self._first
        off_without = misfit(of, without[kept][None, :])
        found = _Marked(leaders, {}, float(total(of, off_without)[0]), _unknown(of, off_without))
        if not graded:
            return found
        spans, blocks = [], []
        for n, at, each in graded:
            fine, between_rows = between(of, Graded(each.places, each.expected[:, kept]))
            spans.append((n, at, fine))
            blocks.append(between_rows)
        off = misfit(of, np.concatenate(blocks))
        mixed = np.logaddexp(off, off_without) - log(2.0)
        fits = total(of, np.where(in_first, mixed, off))
        start = 0
        fitted = []
        for (n, at, fine), rows in zip(spans, blocks, strict=True):
            own = over_severity(fine, fits[start : start + len(fine)])
            start += len(fine)
            fitted.append((n, own, rows))
            found.by_ride.setdefault(n, []).append(_Fit(at, fine, own - log(len(self._struck))))
        self._fitted |= {n: found.fit(n) for n in found.by_ride}
        named = tuple(items.items[place] for place in np.flatnonzero(kept))
        self.compared = Compared(named, of, in_first, without[kept], best_rows(fitted))
        return found

    def _refine(self, marked: _Marked, cut: tuple[Stretch, ...]) -> bool:
        """Adds rides at severities that fit best between those that were calculated; False: there
        is nothing to add."""
        added = False
        best = sorted(marked.by_ride, key=lambda n: (-marked.fit(n), n))
        for number in best[:REFINED]:
            if self.library.candidates[number].side is None:
                continue
            for fit in marked.by_ride[number]:
                rides = self._rides[number, fit.at]
                place = round(float(fit.places[int(np.argmax(fit.parts))]), 4)
                near = min(abs(place - other) for other in rides.by_place)
                if near > NEAR and len(rides.by_place) < MOST_SEVERITIES:
                    self._add(rides, place, cut)
                    added = True
        return added

    def _weighed(self, opinion: Opinion, marked: _Marked) -> list[Row]:
        """The rides of the suspects that are still in question, with their shares."""
        shares = {(m.candidate.component, m.candidate.mode, m.candidate.side): m.share
                  for answer in opinion.answers for m in answer.modes}  # fmt: skip
        rows = [Row(-1, 1.0, opinion.sound, self.sound.ride)]
        for number, fits in marked.by_ride.items():
            candidate = self.library.candidates[number]
            share = shares[candidate.component, candidate.mode, candidate.side]
            best = max(float(fit.parts.max()) for fit in fits)
            whole = sum(float(np.exp(fit.parts - best).sum()) for fit in fits)
            for fit in fits:
                by_place = self._rides[number, fit.at].by_place
                places = np.array(sorted(by_place))
                if not len(places):
                    continue
                nearest = np.abs(fit.places[:, None] - places[None, :]).argmin(axis=1)
                parts = np.exp(fit.parts - best) / whole
                for place, weight in zip(
                    places.tolist(), np.bincount(nearest, parts, len(places)), strict=True
                ):
                    rows.append(Row(number, place, share * float(weight), by_place[place]))
        rows = [row for row in rows if row.share > HARDLY_A_ROW]
        rows.sort(key=lambda row: -row.share)
        return rows[:MOST_ROWS]

    def _in_question(self, opinion: Opinion) -> tuple[str, ...]:
        """Zones that something may be wrong with, "" = what they share; the most probable first."""
        found: dict[str, float] = {}
        for answer in opinion.answers:
            zone = self._zones.get(answer.spot.component, "")
            found[zone] = found.get(zone, 0.0) + answer.share
        likely = [zone for zone, share in found.items() if share > ASKED]
        return tuple(sorted(likely, key=lambda zone: -found[zone]))

    def _moves(
        self, record: Record, stands: Mapping[str, str], opinion: Opinion, tripped: bool
    ) -> Iterator[Move]:
        """Commands that move a zone that something may be wrong with, or all of them."""
        if tripped and _refused(record):
            return
        zones = self._in_question(opinion)
        for name in zones[:MOST_MOVED]:
            if name and stands.get(name) in ("open", "closed"):
                yield Move(name, (name,), stands[name] == "open", tripped)
        together = set(stands.values())
        if "" in zones and together in ({"open"}, {"closed"}):
            yield Move(ALL, tuple(stands), together == {"open"}, tripped)

    def _coils(self, opinion: Opinion) -> tuple[str, ...]:
        """Coils of the zones that something may be wrong with."""
        zones = self._in_question(opinion)[:MOST_MOVED]
        return tuple(coil for zone in zones if zone in self.circuit.zones
                     for coil in self.circuit.zones[zone].outputs)  # fmt: skip

    def _prune(self, marked: _Marked) -> None:
        """Ends rides at severities that can hardly be; the best and its neighbours go on."""
        for number, fits in marked.by_ride.items():
            best = max(float(fit.parts.max()) for fit in fits)
            for fit in fits:
                rides = self._rides[number, fit.at]
                places = sorted(rides.by_place)
                likely = fit.places[fit.parts > best - HARDLY / 2.0]
                if not len(likely):
                    likely = fit.places[[int(np.argmax(fit.parts))]]
                low = max((p for p in places if p <= likely.min()), default=places[0])
                high = min((p for p in places if p >= likely.max()), default=places[-1])
                for place in places:
                    if not low <= place <= high:
                        del rides.by_place[place]

    # what is thought of it

    def _opinion(self, fits: list[Screened], marked: _Marked) -> Opinion:
        candidates = self.library.candidates
        known = 1.0 - PRIOR_SOUND - PRIOR_UNKNOWN
        every = log(known / sum(candidate.prior for candidate in candidates))
        found = [every + each for each in self._likely(fits)]
        found += [log(PRIOR_SOUND) + marked.sound, log(PRIOR_UNKNOWN) + marked.unknown]
        shares = np.exp(np.array(found) - max(found))
        shares /= shares.sum()
        likely = (
            Likely(
                candidate,
                float(shares[number]),
                marked.place(number) if number in marked.by_ride else fits[number].place,
            )
            for number, candidate in enumerate(candidates)
        )
        listed = answers(likely, self.circuit.downtime)
        return Opinion(listed, float(shares[-2]), float(shares[-1]), self.library.not_examined)


@dataclass(frozen=True)
class _Fit:
    """A suspect that struck at an instant."""

    at: float
    """[s]"""
    places: Array
    """(rows,) on the scale of its severity."""
    parts: Array
    """(rows,) log likelihood, as each one's part of the whole."""


@dataclass
class _Marked:
    """How well the suspects fit that have rides."""

    leaders: list[int]
    by_ride: dict[int, list[_Fit]]
    sound: float
    """Log likelihood of the ride without a fault."""
    unknown: float
    """Log likelihood of what nobody has thought of."""

    def fit(self, number: int) -> float:
        """Log likelihood of a suspect, whatever its severity and whenever it struck."""
        parts = np.concatenate([fit.parts for fit in self.by_ride[number]])
        most = float(parts.max())
        return most + log(float(np.exp(parts - most).sum()))

    def place(self, number: int) -> float:
        """The severity of a suspect that fits best, on its scale."""
        best = max(self.by_ride[number], key=lambda fit: float(fit.parts.max()))
        return float(best.places[int(np.argmax(best.parts))])


def _refused(record: Record) -> bool:
    """Whether the last reset was not carried out: the alarm still stands."""
    for event in reversed(record.events):
        if isinstance(event.what, Refused) and event.what.command == "reset":
            return True
        if isinstance(event.what, StateEntered):
            return False
    return False


def _for_all(question: Question, rows: int) -> Question:
    """A question that was asked of the first rows only: the others predict nothing."""
    missing = rows - len(question.outcome)
    return replace(question, outcome=(*question.outcome, *(-1,) * missing))


def _unknown(of: Seen, without: Array) -> float:
    """Log likelihood of something nobody has thought of: what is as without a fault counts so, and
    the rest may be anything."""
    families = by_family(of, by_instrument(of, without))[0]
    return float(np.maximum(families, UNKNOWN).sum())
