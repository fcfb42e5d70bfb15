"""How well a diagnostician finds faults, and in how many minutes. By hand:

    python -m tests.bench.diagnosis [--ride FILE] [--faults N] [--seed S] [--rivals M] [--json F]

Faults are drawn evenly from all of a ride, their severity evenly on its scale, their onset at any
instant of normal operation (`operating`). A fault that trips something, or is odd on the panel
before its sequence is over, *shows*; from there on the diagnostician plays by its own
recommendations, with instruments that are not perfect, until it states a finding. On `--rivals` of
the faults two simple orders of tests are played beside it, with the same reasoning and the same
rule when to stop: the order of the circuit, and cost over prior probability.

`--on-grid`: severities of a campaign, struck at time zero. `--plain`: the readings come from an
independent plant in plain Python with other wall heat, friction, areas and conductances.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from multiprocessing import get_context
from statistics import mean
from time import process_time
from typing import Any, NamedTuple

from pneumo.api import load
from pneumo.circuit.circuit import Circuit
from pneumo.circuit.shipped import find_document
from pneumo.diagnosis.choice import Table
from pneumo.diagnosis.library import Library
from pneumo.diagnosis.opinion import Opinion
from pneumo.diagnosis.questions import Question
from pneumo.diagnosis.reasoner import Diagnostician
from pneumo.diagnosis.record import Made, Record
from pneumo.diagnosis.store import library_of
from pneumo.drill.brief import UNTOLD
from pneumo.drill.practice import Practice
from pneumo.errors import InputError, UnfinishedError
from pneumo.live.known import Known
from pneumo.live.session import Session
from pneumo.scenario.event import RunEvent
from pneumo.zone.event import AlarmRaised
from tests.bench.operating import DrawnFault, Noise, drawn_faults
from tests.bench.rival_orders import circuit_order, cost_over_prior

MOST_ACTS = 40
"""Whoever has not found it by then gives up."""

AFTER = 5.0
"""Time that is watched after the first alarm, or after the sequence [s]."""

SURE = 0.95
"""A finding of this probability is called sure."""

BINS = (0.0, 0.5, 0.8, 0.85, 0.95, 1.0)
"""Findings are counted by how sure they were said to be."""


@dataclass(frozen=True)
class Outcome:
    """What came of one fault."""

    fault: str
    trouble: str = ""
    """What stopped the ride or the reasoning; "" = nothing."""
    shown: bool = False
    first: bool = False
    """The very mode stands first."""
    group_first: bool = False
    """The spot that leads is where the fault is, and the repair that is advised ends it."""
    top3: bool = False
    share: float = 0.0
    """How sure the finding was."""
    minutes: float = 0.0
    rival_minutes: tuple[float, ...] = ()
    """In the order of the circuit, and by cost over prior; () = not played."""
    seconds: float = 0.0
    """Of thinking, of one processor more or less [s]."""
    slowest: float = 0.0
    """Of thinking about one act after the first [s]."""


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


class _Bench:
    """A ride with a hidden fault in normal operation, and who reasons about it."""

    def __init__(self, circuit: Circuit, library: Library, drawn: DrawnFault, seed: int) -> None:
        text = find_document(circuit.path).read_text(encoding="utf-8")
        self.session = Session(circuit, text)
        self.who = Diagnostician(circuit, library, self.session.compiled)
        self._known = Known(self.session, self.who.panel)
        self.practice = Practice(self.session, UNTOLD)
        self._noise = Noise(seed)
        self._events: list[RunEvent] = []
        self._read = 0
        self._made: list[Made] = []
        self.slow: list[float] = []
        """Seconds of thinking, act by act."""
        self._operate(drawn)

    def _operate(self, drawn: DrawnFault) -> None:
        session, fault = self.session, drawn.fault
        hidden = f"fault {fault.sentence}"
        struck = False
        for time, action in drawn.sequence:
            if not struck and fault.at <= time:
                session.advance(fault.at)
                session.do("trainer", hidden, hidden=True)
                struck = True
            session.advance(time)
            if self._alarmed():
                break
            session.do("trainee", action.text)
        if not struck and not self._alarmed():
            session.advance(fault.at)
            session.do("trainer", hidden, hidden=True)
        session.advance(session.now + AFTER)

    def _alarmed(self) -> bool:
        return any(isinstance(e.what, AlarmRaised) for e in self.session.play.plant.log.events)

    def record(self) -> Record:
        """What is known, as instruments that are not perfect tell it."""
        entries = self.practice.entries
        exact = self._known.record(entries, tuple(self.practice.site.fitted))
        scan = self.session.circuit.ride.scan
        self._events += self._noise.events(exact.events[self._read :], scan)
        self._read = len(exact.events)
        for made in exact.made[len(self._made) :]:
            found = made.found
            if not hasattr(found, "first"):
                found = self._noise.evidence(found)
            self._made.append(made._replace(found=found))
        return replace(exact, events=tuple(self._events), made=tuple(self._made))

    def solve(self, rule: Rule | None) -> Opinion:
        """Plays until a finding can be stated. `rule`: chooses the tests; None: what is advised."""
        self.practice.do("begin")
        for _ in range(MOST_ACTS):
            began = process_time()
            record = self.record()
            opinion = self.who.consider(record)
            if not opinion.answers:
                return opinion
            advice = self.who.advise(record, opinion, self.practice.site.live, rule)
            self.slow.append(process_time() - began)
            if advice.question is None or self.practice.arc.over:
                return opinion
            for line in advice.question.lines:
                self.practice.do(line)
        return opinion


class _Job(NamedTuple):
    circuit: Circuit
    library: Library
    drawn: tuple[DrawnFault, ...]
    seed: int
    rivals: int


_job: _Job
"""What the workers were forked with."""


def _play(number: int) -> Outcome:
    circuit, library, faults, seed, rivals = _job
    drawn = faults[number]
    sentence = drawn.fault.sentence
    try:
        bench = _Bench(circuit, library, drawn, seed + number)
        opinion = bench.solve(None)
        if not opinion.answers:
            return Outcome(sentence)
        minutes = bench.practice.spent / 60.0
        rival: tuple[float, ...] = ()
        if number < rivals:
            rules = (in_circuit_order(circuit), by_cost_over_prior)
            rival = tuple(_rival(drawn, seed + number, rule) for rule in rules)
    except (UnfinishedError, InputError) as error:
        return Outcome(sentence, str(error))
    return replace(
        _scored(circuit, drawn, opinion),
        minutes=minutes,
        rival_minutes=rival,
        seconds=sum(bench.slow),
        slowest=max(bench.slow[1:], default=0.0),
    )


def _rival(drawn: DrawnFault, seed: int, rule: Rule) -> float:
    bench = _Bench(_job.circuit, _job.library, drawn, seed)
    bench.solve(rule)
    return bench.practice.spent / 60.0


def _scored(circuit: Circuit, drawn: DrawnFault, opinion: Opinion) -> Outcome:
    name, mode_name = drawn.fault.component, drawn.fault.mode
    mode = next(m for m in circuit.components[name].fault_modes() if m.name == mode_name)
    right = [
        a.spot.component == name and mode.is_ended(a.how, a.spot.side) for a in opinion.answers[:3]
    ]
    modes = sorted((m for a in opinion.answers[:3] for m in a.modes), key=lambda m: -m.share)
    best = modes[0].candidate
    return Outcome(
        drawn.fault.sentence,
        shown=True,
        first=(best.component, best.mode) == (name, mode_name),
        group_first=right[0],
        top3=any(right),
        share=opinion.answers[0].share,
    )


def row(ride: str, outcomes: Sequence[Outcome]) -> dict[str, Any]:
    """The figures of a ride."""
    shown = [o for o in outcomes if o.shown]
    played = [o for o in shown if o.rival_minutes]
    sure = [o for o in shown if o.share >= SURE]

    def share(of: Iterable[bool], among: Sequence[Outcome]) -> float | None:
        return round(sum(of) / len(among), 3) if among else None

    def minutes(of: Iterable[float]) -> float | None:
        found = list(of)
        return round(mean(found), 1) if found else None

    calibration = []
    for low, high in pairwise(BINS):
        own = [o for o in shown if low <= o.share < high or (high == 1.0 and o.share == 1.0)]
        calibration.append(
            {
                "said": [low, high],
                "findings": len(own),
                "right": share((o.group_first for o in own), own),
            }
        )
    return {
        "ride": ride,
        "faults": len(outcomes),
        "shown": len(shown),
        "stopped": sum(bool(o.trouble) for o in outcomes),
        "first": share((o.first for o in shown), shown),
        "group_first": share((o.group_first for o in shown), shown),
        "top3": share((o.top3 for o in shown), shown),
        "minutes": minutes(o.minutes for o in shown),
        "minutes_beside_rivals": minutes(o.minutes for o in played),
        "minutes_in_order": minutes(o.rival_minutes[0] for o in played),
        "minutes_cost_over_prior": minutes(o.rival_minutes[1] for o in played),
        "sure": len(sure),
        "sure_and_wrong": share((not o.group_first for o in sure), sure),
        "calibration": calibration,
        "seconds": round(mean(o.seconds for o in shown), 1) if shown else None,
        "slowest": round(max((o.slowest for o in shown), default=0.0), 1),
    }


def played(
    circuit: Circuit, faults: int, seed: int, rivals: int, workers: int, *, on_grid: bool = False
) -> Iterator[Outcome]:
    """What comes of so many faults, in order."""
    global _job
    library = library_of(circuit)
    drawn = drawn_faults(circuit, faults, seed, on_grid=on_grid)
    _job = _Job(circuit, library, drawn, seed, rivals)
    with get_context("fork").Pool(workers) as pool:
        yield from pool.imap(_play, range(faults))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--ride", default="sand_martin")
    parser.add_argument("--faults", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rivals", type=int, default=30)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--on-grid", action="store_true")
    parser.add_argument("--json")
    parser.add_argument("--verbose", action="store_true")
    asked = parser.parse_args()
    outcomes = []
    for outcome in played(
        load(asked.ride), asked.faults, asked.seed, asked.rivals, asked.workers,
        on_grid=asked.on_grid,
    ):  # fmt: skip
        outcomes.append(outcome)
        if asked.verbose:
            print(outcome, flush=True)
    found = row(asked.ride, outcomes)
    print(json.dumps(found, indent=1))
    if asked.json:
        with open(asked.json, "w", encoding="utf-8") as stream:
            json.dump(found, stream, indent=1)


if __name__ == "__main__":
    main()
