"""Which questions come into question: of the zones and gates that something may be wrong with."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from pneumo.circuit.verbs import ALL
from pneumo.diagnosis.movements import gates_now, states_now
from pneumo.diagnosis.opinion import Opinion
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.questions import (
    Move,
    Question,
    Row,
    cycling_question,
    decaying_questions,
    in_vain,
    moving_questions,
    standing_questions,
)
from pneumo.diagnosis.record import Record, stretches
from pneumo.diagnosis.rehearsal import LEAST
from pneumo.inspection.survey import Surveyor
from pneumo.network.compile import Compiled
from pneumo.zone.event import Refused, StateEntered

MOST_AHEAD = 24
"""Rides that are run on to see what would come of a command, or of a valve switched alone."""

MOST_MOVED = 2
"""Zones and groups of gates that are thought of being moved."""

ASKED = 0.02
"""One in which something is wrong with less probability is not thought of [-]."""

WATCHED = 120.0
"""A gauge is watched for so long [s]."""


@dataclass(frozen=True)
class Asking:
    """What is asked of one ride."""

    compiled: Compiled
    panel: Panel
    owners: Mapping[str, str]
    """Component -> its zone or group of gates."""

    def questions(
        self, record: Record, opinion: Opinion, rows: Sequence[Row], live: bool, since: float
    ) -> list[Question]:
        """What can be asked next, with what each row would answer.

        Parameters
        ----------
        live
            There is a permit for tests on live wires.
        since
            When a fault struck at the latest [s].
        """
        circuit = self.compiled.circuit
        cut = stretches(record)
        asked = [(made.test, made.target) for made in record.made
                 if made.ended >= cut[-1].began]  # fmt: skip
        surveyor = Surveyor(self.compiled, record.fitted)
        questions = standing_questions(circuit, surveyor, rows, asked, live)
        states = states_now(circuit, record.events)
        tripped = "faulted" in states.values()
        # once it is reset, a zone that has tripped stands where it is safe
        stands = {
            name: circuit.zones[name].safe_state if state == "faulted" else state
            for name, state in states.items()
        }
        stands |= gates_now(circuit, cut)
        longest = max(circuit.longest_movement, LEAST if circuit.gates else 0.0)
        asked_ahead = rows[:MOST_AHEAD]
        for move in self._moves(record, stands, opinion, tripped):
            questions += moving_questions(
                circuit, surveyor, self.panel, asked_ahead, move, longest, live
            )
        for coil in self._coils(opinion):
            question = cycling_question(circuit, asked_ahead, coil)
            if question is not None and ("cycle", coil) not in asked:
                questions.append(question)
        questions += decaying_questions(circuit, surveyor, asked_ahead, WATCHED)
        again = in_vain(record, since)
        return [
            _for_all(question, len(rows)) for question in questions
            if not again(question)
        ]  # fmt: skip

    def _in_question(self, opinion: Opinion) -> tuple[str, ...]:
        """Zones and gates that something may be wrong with, "" = what they share; the most probable
        first."""
        found: dict[str, float] = {}
        for answer in opinion.answers:
            for zone in {self.owners.get(each.spot.component, ""): 0 for each in answer.parts}:
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
        return tuple(coil for zone in zones if zone in self.compiled.circuit.zones
                     for coil in self.compiled.circuit.zones[zone].outputs)  # fmt: skip


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
