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
    within,
)
from pneumo.diagnosis.movements import movements, states_now
from pneumo.diagnosis.observed import ODD, Items, Observation, first_odd, observed, when_odd
from pneumo.diagnosis.opinion import Likely, Opinion, answers
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.questions import (
    Move,
    Question,
    Row,
    cycling_question,
    decaying_questions,
    moving_questions,
    said_often,
    standing_questions,
)
from pneumo.diagnosis.reasons import Compared
from pneumo.diagnosis.recommendation import Choose, Recommendation, recommended, stopped
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

LEADERS = 16
"""Suspects that get rides of their own."""

MOST_SEVERITIES = 7
"""Rides of a suspect, at most, for each instant at which it may have struck."""

REFINED = 8
"""Suspects whose severity is closed in on each time."""

FEW = 0.1
"""Of all suspects so many are taken to have fitted before any was looked at; estimated."""

BEFORE = 0.1
"""Before something odd shows, the fault is there for so long [s]; estimated."""

TURNS, LATER_TURNS = 5, 2
"""Times that suspects are chosen and their severities closed in on: when something first was odd,
and after each thing that was done since, at most."""

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

HARDLY_AT_FIRST = 7.0
"""As `HARDLY`, while only the first stretches were looked at."""

AT_FIRST = (2, 5, 10)
"""Stretches, from the first odd one on, after which a suspect's first rides are looked at."""

TWICE = 2
"""What was asked so often is not asked again: it has been in vain."""

HARDLY_A_ROW = 0.002
"""A severity of a suspect that is less probable is not asked [-]."""

HARDLY = 12.0
"""A suspect that is less probable than the best by so much, as a logarithm, gets no rides."""

PROMISING = 3.0
"""A suspect without rides gets some when its log likelihood at first look comes so near to the
best."""

BETTER = 3.0
"""A suspect that fits so much better at first look than by its rides gets new ones."""

NEAR = 0.02
"""Severities nearer than this on their scale are not told apart."""

UNKNOWN = log(0.05)
"""Log likelihood, for each instrument that is not as it should be, of what nobody has thought of;
estimated."""

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
    earlier: tuple[float, dict[float, Ride], float] | None = None
    """When it struck, its rides and how well they fitted, before another time was tried."""


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
        self._rides: dict[int, _Rides] = {}
        self._first: int | None = None
        """The first stretch that was odd."""
        self._struck: tuple[float, ...] = ()
        """When a fault may have struck [s]."""
        self._odd_at = 0.0
        """When something first was odd [s]."""
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
        without = self._without(record, seen, odd)
        sight = Sight(self.panel, record, seen, moved, self.sound.ride, odd, self._zones, without)
        fits = screened(self.library, sight)
        marked = self._examined(fits, record, seen)
        self._prune(marked)
        opinion = self._opinion(fits, marked)
        self._rows = self._weighed(opinion, marked)
        return opinion

    def _examined(self, fits: list[Screened], record: Record, seen: Observation) -> _Marked:
        """Gives rides to those that may fit best, until none that has none may fit better."""
        turns = LATER_TURNS if self._fitted else TURNS
        for _ in range(turns):
            fresh = self._fresh(fits)
            for number in fresh:
                self._start(number, fits[number], record, seen.cut)
            promising = self._on(fresh, record, seen)
            known = sorted({*promising, *self._known()})
            self._run(known, record, seen)
            marked = self._mark(known, record, seen)
            self._better_time()
            refined = self._refine(marked, seen.cut)
            if not (refined or fresh):
                break
        known = self._known()
        self._run(known, record, seen)
        return self._mark(known, record, seen)

    def _on(self, fresh: list[int], record: Record, seen: Observation) -> list[int]:
        """Runs new rides through the first odd stretches only, and gives those on that may be."""
        assert self._first is not None
        for stretches_run in AT_FIRST:
            part = seen.until(self._first + stretches_run)
            if len(part.cut) == len(seen.cut):
                break
            self._run(fresh, record, part)
            marked = self._mark(fresh, record, part)
            most = {n: fit.most for n, fit in marked.fits.items()}
            known = [self._fitted[n] for n in self._known() if n not in fresh]
            best = max([*most.values(), *known], default=0.0)
            fresh = [n for n in fresh if most.get(n, -np.inf) > best - HARDLY_AT_FIRST]
        return fresh

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
        often = said_often(record, max(self._struck))
        questions = [
            _for_all(question, len(rows)) for question in questions
            if often.get(question.said, 0) < TWICE
        ]  # fmt: skip
        return recommended(
            opinion, rows, self.library.candidates, questions, self.circuit.downtime, choose
        )

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

    def _nothing_odd(self) -> Opinion:
        return Opinion((), 1.0, 0.0, self.library.not_examined)

    def _set_out(self, record: Record, seen: Observation, odd: int) -> None:
        """From when on a fault is looked for; found out once."""
        if self._first is not None:
            return
        self._first = odd
        began = seen.cut[odd].began
        self._odd_at = when_odd(
            record.events, seen.cut[odd], odd == len(seen.cut) - 1, self.sound.ride
        )
        late = self._odd_at - BEFORE
        self._struck = (began, late) if late > began + BEFORE else (began,)

    # suspects under way

    def _known(self) -> list[int]:
        """Candidates that have had rides and may still be right, by what those showed."""
        if not self._fitted:
            return []
        order = sorted(self._fitted, key=lambda n: (-self._fitted[n], n))
        least = self._fitted[order[0]] - HARDLY
        return sorted(n for n in order[:LEADERS] if self._fitted[n] > least)

    def _fresh(self, fits: list[Screened]) -> list[int]:
        """Candidates without a ride that may fit as well as the best, at first look; and those
        whose rides fit worse than they may."""
        best = max(self._fitted.values(), default=max(fit.fit for fit in fits))
        may = [
            n for n, fit in enumerate(fits)
            if fit.fit > best - PROMISING and fit.fit > self._fitted.get(n, -np.inf) + BETTER
            and (n not in self._rides or self._again(n, fit))
        ]  # fmt: skip
        return sorted(sorted(may, key=lambda n: (-fits[n].fit, n))[:LEADERS])

    def _again(self, number: int, fit: Screened) -> bool:
        """Whether a candidate that has rides gets more, at severities that it had none at."""
        by_place = self._rides[number].by_place
        if len(self._struck) > 1 and self._rides[number].earlier is None:
            return True
        return len(by_place) < MOST_SEVERITIES and any(
            all(abs(place - other) > NEAR for other in by_place) for place in (fit.low, fit.high)
        )

    def _likely(self, fits: list[Screened]) -> list[float]:
        """Log of the share of each candidate, but for a factor: by its rides where it has had
        some, else at first look."""
        return [
            log(candidate.prior) + self._fitted.get(n, fits[n].fit)
            for n, candidate in enumerate(self.library.candidates)
        ]

    def _start(self, number: int, fit: Screened, record: Record, cut: tuple[Stretch, ...]) -> None:
        candidate = self.library.candidates[number]
        rides = self._rides.get(number)
        if rides is None:
            at = self._when(candidate, fit, record, cut, midst=fit.midst)
            rides = self._rides[number] = _Rides(candidate, at)
        elif len(self._struck) > 1 and rides.earlier is None:
            # it does not fit as well as it may: it may have struck at another time
            rides.earlier = rides.at, rides.by_place, self._fitted.pop(number, -np.inf)
            rides.at = self._when(candidate, fit, record, cut, midst=not fit.midst)
            rides.by_place = {}
        for place in sorted({fit.low, fit.high}):
            if all(abs(place - other) > NEAR for other in rides.by_place):
                self._add(rides, place, cut)

    def _when(
        self, candidate: Candidate, fit: Screened, record: Record, cut: tuple[Stretch, ...],
        *, midst: bool,
    ) -> float:  # fmt: skip
        """When a suspect struck: before the first odd stretch, or in its midst [s]."""
        if not midst:
            return self._struck[0]
        return self._aligned(candidate, fit.high, self._struck[-1], record, cut)

    def _better_time(self) -> None:
        """Of two times at which a suspect may have struck the one that fits better is kept."""
        for number, rides in self._rides.items():
            if rides.earlier is None or not rides.earlier[1]:
                continue
            at, by_place, fitted = rides.earlier
            if fitted > self._fitted.get(number, -np.inf):
                rides.at, rides.by_place = at, by_place
                self._fitted[number] = fitted
            rides.earlier = (at, {}, fitted)

    def _aligned(
        self, candidate: Candidate, place: float, at: float, record: Record,
        cut: tuple[Stretch, ...],
    ) -> float:  # fmt: skip
        """When a fault must have struck for the first odd thing to come when it came [s]. What
        follows from a fault, such as an alarm, may come some time after it struck."""
        assert self._first is not None
        stretch = cut[self._first]
        part = cut[: self._first + 1]
        try:
            ride = self.sound.suspect(candidate.fault(place), cut, self._first, at)
            ride.run(self.panel, record, part)
        except (UnfinishedError, InputError):
            return at
        events = ride.play.plant.log.events
        shows = when_odd(events, stretch, self._first == len(cut) - 1, self.sound.ride)
        if shows >= stretch.ended - BEFORE:
            return at  # it shows nothing here
        return min(max(at + self._odd_at - shows, stretch.began), stretch.ended - BEFORE)

    def _add(self, rides: _Rides, place: float, cut: tuple[Stretch, ...]) -> None:
        assert self._first is not None
        fault = rides.candidate.fault(place)
        try:
            rides.by_place[place] = self.sound.suspect(fault, cut, self._first, rides.at)
        except (UnfinishedError, InputError) as error:
            rides.why = str(error)

    def _run(self, leaders: list[int], record: Record, seen: Observation) -> None:
        for number in leaders:
            rides = self._rides[number]
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
        rides = [ride for n in leaders for ride in self._rides[n].by_place.values()]
        items = Items(self.panel, record, seen, self._first, [sound, *rides])
        without = items.of(sound, sound)
        graded = []
        for n in leaders:
            by_place = self._rides[n].by_place
            if by_place:
                places = sorted(by_place)
                rows = np.array([items.of(by_place[place], sound) for place in places])
                graded.append((n, Graded(np.array(places), rows)))
        kept = without != items.seen.values
        for _, each in graded:
            kept |= (each.expected != items.seen.values).any(axis=0)
        of, in_first = items.seen.only(kept), items.stretch[kept] == self._first
        off_without = misfit(of, without[kept][None, :])
        found = _Marked({}, float(total(of, off_without)[0]), _unknown(of, off_without))

        def fits(off: Array) -> Array:
            # it may have struck in the midst of the first stretch
            mixed = np.logaddexp(off, off_without) - log(2.0)
            return total(of, np.where(in_first, mixed, off))

        best: dict[int, Array] = {}
        for n, each in graded:
            own = Graded(each.places, each.expected[:, kept])
            fine, rows = between(of, own)
            parts = over_severity(fine, fits(misfit(of, rows)))
            at_best = fits(within(of, own)) if len(own.places) > 1 else np.zeros(0)
            found.fits[n] = _Fit(fine, parts, own.places, at_best)
            best[n] = rows[int(np.argmax(parts))]
        self.compared = Compared(
            tuple(item for item, keep in zip(items.items, kept, strict=True) if keep),
            of, in_first, without[kept], best,
        )  # fmt: skip
        self._fitted |= {n: fit.whole for n, fit in found.fits.items()}
        return found

    def _refine(self, marked: _Marked, cut: tuple[Stretch, ...]) -> bool:
        """Adds rides at severities between those that were calculated, where one may fit better
        than any so far; False: there is nothing to add."""
        best = max((fit.whole for fit in marked.fits.values()), default=0.0)
        order = sorted(marked.fits, key=lambda n: (-marked.fits[n].most, n))
        added = 0
        for number in order:
            fit, rides = marked.fits[number], self._rides[number]
            if added >= REFINED or fit.most < best - HARDLY:
                break
            place = fit.wanted()
            if place is not None and len(rides.by_place) < MOST_SEVERITIES:
                self._add(rides, place, cut)
                added += 1
        return added > 0

    # what is thought of it

    def _proved(self, fits: list[Screened], marked: _Marked) -> float:
        """Log of how much of what fitted at first look has proved to fit, the best aside: so much
        is thought of what was not looked at."""
        best = max((fit.whole for fit in marked.fits.values()), default=0.0)
        leader = max(marked.fits, key=lambda n: (marked.fits[n].whole, -n), default=-1)
        others = [n for n in self._fitted
                  if leader < 0 or self.library.candidates[n].component
                  != self.library.candidates[leader].component]  # fmt: skip
        kept = [min(self._fitted[n] - min(fits[n].fit, best), 0.0) for n in others]
        return log((FEW + float(np.exp(kept).sum())) / (len(others) + 1.0))

    def _likely_shares(self, likely: list[float], marked: _Marked) -> Array:
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

    def _opinion(self, fits: list[Screened], marked: _Marked) -> Opinion:
        logs = self._likely(fits)
        best = max((logs[n] for n in marked.fits), default=0.0)
        # a suspect without a ride is never more probable than one that has proved to fit
        proved = self._proved(fits, marked)
        logs = [
            each if n in self._fitted else min(each, best) + proved for n, each in enumerate(logs)
        ]
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

    def _weighed(self, opinion: Opinion, marked: _Marked) -> list[Row]:
        """The rides of the suspects that are still in question, with their shares."""
        shares = {(m.candidate.component, m.candidate.mode, m.candidate.side): m.share
                  for answer in opinion.answers for m in answer.modes}  # fmt: skip
        rows = [Row(-1, 1.0, opinion.sound, self.sound.ride)]
        for number, fit in marked.fits.items():
            candidate = self.library.candidates[number]
            share = shares[candidate.component, candidate.mode, candidate.side]
            by_place = self._rides[number].by_place
            places = np.array(sorted(by_place))
            nearest = np.abs(fit.fine[:, None] - places[None, :]).argmin(axis=1)
            weights = np.bincount(nearest, np.exp(fit.parts - fit.whole), len(places))
            for place, weight in zip(places.tolist(), weights.tolist(), strict=True):
                rows.append(Row(number, place, share * weight, by_place[place]))
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
        """Ends rides at severities that can hardly be; the likely ones and their neighbours go
        on."""
        for number, fit in marked.fits.items():
            by_place = self._rides[number].by_place
            likely = fit.fine[fit.parts > fit.parts.max() - HARDLY / 2.0]
            low = max((p for p in by_place if p <= likely.min()), default=0.0)
            high = min((p for p in by_place if p >= likely.max()), default=1.0)
            for place in list(by_place):
                if not low <= place <= high:
                    del by_place[place]


@dataclass(frozen=True)
class _Fit:
    """How well a suspect fits."""

    fine: Array
    """(rows,) places on the scale of its severity: those that were calculated and between them."""
    parts: Array
    """(rows,) log likelihood, as each one's part of the whole."""
    places: Array
    """(grades,) the severities that were calculated."""
    at_best: Array
    """(grades - 1,) log likelihood, at best, of one between two of them."""

    @property
    def whole(self) -> float:
        """Log likelihood whatever its severity."""
        most = float(self.parts.max())
        return most + log(float(np.exp(self.parts - most).sum()))

    @property
    def most(self) -> float:
        """What it may come to with a severity that was not calculated yet."""
        return max(self.whole, float(self.at_best.max(initial=-np.inf)))

    @property
    def place(self) -> float:
        """The severity that fits best."""
        return float(self.fine[int(np.argmax(self.parts))])

    def wanted(self) -> float | None:
        """A severity that should be calculated; None: those that were are near enough."""
        gaps = np.diff(self.places)
        open_ = np.where(gaps > NEAR, self.at_best, -np.inf)
        if not len(open_) or open_.max() == -np.inf:
            return None
        most = int(np.argmax(open_))
        if self.at_best[most] < self.parts.max() - HARDLY / 2.0:
            return None
        low, high = float(self.places[most]), float(self.places[most + 1])
        inside = (self.fine > low) & (self.fine < high)
        place = float(self.fine[inside][int(np.argmax(self.parts[inside]))])
        # a line drawn between them may be far off: never nearer than a fifth of the way to an end
        margin = 0.2 * (high - low)
        return round(min(max(place, low + margin), high - margin), 4)


@dataclass
class _Marked:
    """How well the suspects fit that have rides."""

    fits: dict[int, _Fit]
    sound: float
    """Log likelihood of the ride without a fault."""
    unknown: float
    """Log likelihood of what nobody has thought of."""


def _unknown(of: Seen, without: Array) -> float:
    """Log likelihood of something nobody has thought of: what is as without a fault counts so, and
    the rest may be anything."""
    instruments = np.maximum(by_instrument(of, without), UNKNOWN)
    return float(by_family(of, instruments).sum())


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
