"""A ride with a hidden fault in normal operation, and whoever looks for it: the diagnostician by
its own recommendations, or with a rival's order of tests."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from time import process_time

import numpy as np

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.shipped import find_document
from pneumo.diagnosis.choice import Table, advise
from pneumo.diagnosis.library import Library
from pneumo.diagnosis.likelihood import misfit
from pneumo.diagnosis.observed import Observation, first_odd, observed, shown_in
from pneumo.diagnosis.opinion import Answer, Opinion, repair_time, repairs_time
from pneumo.diagnosis.questions import Question
from pneumo.diagnosis.reasoner import Diagnostician
from pneumo.diagnosis.recommendation import SOUND, SURE, Recommendation
from pneumo.diagnosis.record import Made, Record, stretches
from pneumo.drill.brief import UNTOLD
from pneumo.drill.practice import Practice
from pneumo.live.known import Known
from pneumo.live.session import Session
from pneumo.network.compile import Compiled
from pneumo.scenario.event import RunEvent, alarms_raised
from pneumo.scenario.play import Play
from tests.bench.operating import DrawnFault, Noise
from tests.bench.optimum import advised_with_repairs, least_with_repairs
from tests.bench.rival_orders import circuit_order, cost_over_prior
from tests.bench.scores import Repair, Way, repaired

MOST_ACTS = 40
"""Who has asked so often states what stands first then."""

AFTER = 5.0
"""Time that is watched after the first alarm, or after the sequence [s]."""

SOLVED = 8
"""So many rows and questions of a table are left for its optimum."""

Rule = Callable[[Table, Sequence[Question]], int]


def in_circuit_order(circuit: Circuit) -> Rule:
    """Tests from the beginning of the document to its end."""
    place = {name: at for at, name in enumerate(circuit.components)}

    def choose(table: Table, questions: Sequence[Question]) -> int:
        def rank(number: int) -> tuple[int, float]:
            target = questions[number].lines[-1].split()[1].partition(".")[0]
            # commands come when no test of a part tells anything
            return place.get(target, len(place)), questions[number].seconds

        return circuit_order(table, sorted(range(len(questions)), key=rank))

    return choose


def by_cost_over_prior(table: Table, questions: Sequence[Question]) -> int:
    """What is cheapest for how likely it is."""
    return cost_over_prior(table)


class FirstTable:
    """Chooses as is advised, and keeps the first table that was chosen from."""

    def __init__(self) -> None:
        self._first: tuple[Table, Sequence[Question]] | None = None

    def __call__(self, table: Table, questions: Sequence[Question]) -> int:
        if self._first is None:
            self._first = table, questions
        return advise(table, SURE).steps[0].question

    def optimum(self, rules: Iterable[Rule]) -> tuple[float, ...] | None:
        """Expected minutes as advised, by some rules, and last the least there can be, of what is
        left of the table when it is cut down; None: nothing is left to choose."""
        small = None if self._first is None else _cut_down(*self._first)
        if small is None:
            return None
        table, questions = small
        by_rules = (
            advised_with_repairs(table, lambda left, rule=rule: rule(left, questions))  # type: ignore[misc]
            for rule in rules
        )
        return advised_with_repairs(table), *by_rules, least_with_repairs(table)


def _cut_down(table: Table, questions: Sequence[Question]) -> tuple[Table, list[Question]] | None:
    """The likeliest rows, and questions of which all of them predict the outcome, those that tell
    most for each minute; as if no outcome ever slipped."""
    rows = np.sort(np.argsort(-table.chance, kind="stable")[:SOLVED])
    asked = np.flatnonzero((table.predicted[:, rows] >= 0).all(axis=1))
    if not len(asked):
        return None
    small = replace(
        table,
        chance=table.chance[rows] / table.chance[rows].sum(),
        group=table.group[rows],
        minutes=table.minutes[asked],
        predicted=table.predicted[np.ix_(asked, rows)],
        outcomes=table.outcomes[asked],
        slip=np.zeros(len(asked)),
    )
    best = np.argsort(-small.row_gains / small.minutes, kind="stable")[:SOLVED]
    best = best[small.row_gains[best] > 0]
    if not len(best):
        return None
    return replace(
        small, minutes=small.minutes[best], predicted=small.predicted[best],
        outcomes=small.outcomes[best], slip=small.slip[best],
    ), [questions[number] for number in asked[best]]  # fmt: skip


@dataclass(frozen=True)
class Stated:
    """A finding, and how it came about."""

    opinion: Opinion
    advice: Recommendation | None
    """None: nothing was odd."""
    ended: str
    """See `Way.ended`."""
    first_seconds: float
    rank_seconds: float
    ask_seconds: float


class Hidden:
    """A ride that has come to its first symptom, or to the end of its sequence.

    Parameters
    ----------
    known
        The circuit as whoever reasons calculates it.
    rest
        The ride as it really is, at rest.
    drawn
        Its sequence, and the fault that is hidden in it; `fault` False: none is.
    """

    def __init__(
        self,
        circuit: Circuit,
        library: Library,
        known: Compiled,
        rest: Play,
        drawn: DrawnFault,
        seed: int,
        *,
        fault: bool = True,
    ) -> None:
        text = find_document(circuit.path).read_text(encoding="utf-8")
        self.circuit, self.drawn = circuit, drawn
        self.session = Session(circuit, text, rest=rest)
        self.practice = Practice(self.session, UNTOLD)
        self._who = Diagnostician(circuit, library, known)
        self._known = Known(self.session, self._who.panel)
        self._noise = Noise(seed)
        self._events: list[RunEvent] = []
        self._read = 0
        self._made: list[Made] = []
        self._operate(fault)

    def _operate(self, fault: bool) -> None:
        session, at = self.session, self.drawn.fault.at
        struck = not fault
        for time, action in self.drawn.sequence:
            if not struck and at <= time:
                self._strike()
                struck = True
            session.advance(time)
            if self.alarmed:
                break
            session.do("trainee", action.text)
        if not struck and not self.alarmed:
            self._strike()
        session.advance(session.now + AFTER)

    def _strike(self) -> None:
        self.session.advance(self.drawn.fault.at)
        self.session.do("trainer", f"fault {self.drawn.fault.sentence}", hidden=True)

    @property
    def alarmed(self) -> bool:
        """An alarm was raised."""
        return any(alarms_raised(self.session.play.plant.log.events))

    @property
    def shows(self) -> bool:
        """An alarm was raised, or something is odd to instruments that are perfect."""
        return self.alarmed or self._odd(self._exact())

    @property
    def odd(self) -> bool:
        """Something on the panel is not as it is without a fault, for whoever reasons."""
        return self._odd(self._record())

    @property
    def complains(self) -> str:
        """The zone or group of gates that the first alarm is of; without an alarm the one of which
        the panel, were it perfect, is farthest off where it is odd first. "" = the ride."""
        for _, zone, _ in alarms_raised(self.session.play.plant.log.events):
            return zone
        seen, odd = self._seen(self._exact())
        if odd is None:
            return ""
        panel, expected = self._who.panel, self._who.sound.ride.shown[odd]
        off = misfit(shown_in(panel, seen, odd), expected[None, :])[0]
        return panel.places[int(np.argmin(off))].zone

    def _odd(self, record: Record) -> bool:
        return self._seen(record)[1] is not None

    def _seen(self, record: Record) -> tuple[Observation, int | None]:
        """A record as numbers, and its first stretch in which something is odd; None: nothing."""
        panel, sound = self._who.panel, self._who.sound
        cut = stretches(record)
        sound.run(record, cut)
        seen = observed(panel, record, cut, sound.ride.shown)
        return seen, first_odd(panel, record, seen, sound.ride)

    def _exact(self) -> Record:
        """What is known, as instruments would tell it that are perfect."""
        return self._known.record(self.practice.entries, tuple(self.practice.site.fitted))

    def _record(self) -> Record:
        """What is known, as instruments that are not perfect tell it."""
        exact = self._exact()
        scan = self.circuit.ride.scan
        self._events += self._noise.events(exact.events[self._read :], scan)
        self._read = len(exact.events)
        for made in exact.made[len(self._made) :]:
            found = made.found
            if not hasattr(found, "first"):
                found = self._noise.evidence(found)
            self._made.append(made._replace(found=found))
        return replace(exact, events=tuple(self._events), made=tuple(self._made))

    def solve(self, rule: Rule) -> Stated:
        """Asks on until nothing more is worth asking. `rule`: chooses the tests."""
        self.practice.do("begin")
        ranked, asked = [], [0.0]
        advice, ended = None, ""
        while True:
            began = process_time()
            record = self._record()
            opinion = self._who.consider(record)
            ranked.append(process_time() - began)
            if not opinion.answers:
                break
            began = process_time()
            advice = self._who.advise(record, opinion, self.practice.site.live, rule)
            asked.append(process_time() - began)
            if advice.question is None:
                break
            if self.practice.arc.over or len(ranked) > MOST_ACTS:
                ended = self.practice.arc.state if self.practice.arc.over else "too many tests"
                break
            for line in advice.question.lines:
                if not self.practice.arc.over:
                    self.practice.do(line)
        rank = max(ranked[1:], default=0.0)
        return Stated(opinion, advice, ended, ranked[0], rank, max(asked))

    def way(self, stated: Stated) -> Way | None:
        """What it took to the right repair; None: nothing was odd, and nothing is looked for."""
        if stated.advice is None:
            return None
        repairs = self._repairs(stated.opinion, stated.advice)
        return repaired(self.practice.spent / 60.0, repairs, stated.ended)

    def _repairs(self, opinion: Opinion, advice: Recommendation) -> list[Repair]:
        """All that may be made after a finding. That nothing is wrong is tried as well."""
        downtime = self.circuit.downtime
        test = downtime.function_test / 60.0
        found = [Repair(advice.leader == SOUND, opinion.sound / test, test, False)]
        for answer in opinion.answers:
            took = test + repairs_time(answer, downtime) / 60.0
            vain = sum(
                repair_time(part.spot, part.how, downtime) / 60.0
                for part in answer.parts if not self._ended(part)
            )  # fmt: skip
            helps = any(map(self._ended, answer.parts))
            there = helps or any(map(self._is_there, answer.parts))
            advised = advice.leader == answer.where
            found.append(Repair(advised, answer.share / took, vain if helps else took, there))
        return found

    def ends(self, answer: Answer) -> bool:
        """Whether an answer is the hidden fault: its repair ends it, and there is no other."""
        return answer.beside is None and self._ended(answer)

    def _ended(self, part: Answer) -> bool:
        """Whether a repair ends the hidden fault."""
        name, mode_name = self.drawn.fault.component, self.drawn.fault.mode
        mode = next(m for m in self.circuit.components[name].fault_modes() if m.name == mode_name)
        return part.spot.component == name and mode.is_ended(part.how, part.spot.side)

    def _is_there(self, answer: Answer) -> bool:
        """Whether the hidden fault is at a spot."""
        fault = self.drawn.fault
        modes = {(m.candidate.component, m.candidate.mode) for m in answer.modes}
        return (fault.component, fault.mode) in modes
