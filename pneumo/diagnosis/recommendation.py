"""What to do next, as a record: a test, a command, or the repair."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from pneumo.circuit.circuit import Downtime
from pneumo.diagnosis.choice import Reason, Table, advise, meanings
from pneumo.diagnosis.opinion import Both, Opinion, repairs_time
from pneumo.diagnosis.questions import OnPanel, Question
from pneumo.diagnosis.suspects import Spot
from pneumo.drill.entry import Fell
from pneumo.inspection.evidence import Evidence

SURE = 0.95
"""A repair that is right with this chance is made without asking on [-]."""

SLIP = 0.03
"""Chance that a test gives something else than it should [-]; estimated."""

OTHERS = 1
"""Outcomes of a question beside those that the suspects predict."""

Choose = Callable[[Table, Sequence[Question]], int]
"""Chooses a question; -1: none."""

SOUND = Spot("", "")
"""In place of a spot: nothing is wrong."""


@dataclass(frozen=True)
class Outcome:
    """What one outcome of a question would mean."""

    answer: Evidence | Fell | OnPanel | None
    """An example of it; None: something unforeseen."""
    share: float
    """Its chance [-]."""
    leaders: tuple[tuple[Spot | Both, float], ...]
    """What leads after it, with its chance; `SOUND` = nothing is wrong."""


@dataclass(frozen=True)
class Recommendation:
    """What to do next."""

    reason: Reason
    question: Question | None
    """None: nothing more is worth asking."""
    outcomes: tuple[Outcome, ...]
    """Of the question, the most probable first."""
    leader: Spot | Both
    """Where to repair if nothing more is asked."""
    share: float
    """Chance that it is there [-]."""
    needless: float
    """Needless repairs to be expected if nothing more is asked [s]."""


def stopped(opinion: Opinion, downtime: Downtime) -> Recommendation:
    """There is nothing to choose between."""
    best = opinion.leader
    if best is None:
        return Recommendation(Reason.NOTHING, None, (), SOUND, opinion.sound, 0.0)
    needless = (1.0 - best.share) * repairs_time(best, downtime)
    reason = Reason.SURE if best.share >= SURE else Reason.NOTHING
    return Recommendation(reason, None, (), best.where, best.share, needless)


def recommended(
    opinion: Opinion,
    spots: Sequence[Spot | Both],
    shares: Sequence[float],
    questions: Sequence[Question],
    downtime: Downtime,
    choose: Choose | None = None,
    *,
    ask_on: bool = False,
) -> Recommendation:
    """What to do next, of some questions.

    Parameters
    ----------
    spots, shares
        Of each row of the questions: where it would be mended (`SOUND`: nowhere), and how probable
        it is [-].
    choose
        Chooses the question in place of what tells most for its minutes: for comparison.
    ask_on
        As long as a question tells anything it is asked: there is nothing yet to repair.
    """
    if not questions:
        return stopped(opinion, downtime)
    named, table = _table(opinion, spots, shares, questions, downtime)
    # the rows know nothing of what is not on the list
    listed = 1.0 - opinion.none_of_these
    advice = advise(table, SURE / max(listed, 1e-9))
    question: Question | None = None
    outcomes: tuple[Outcome, ...] = ()
    place = -1
    if advice.reason is Reason.ASK or (ask_on and advice.steps):
        place = advice.steps[0].question if choose is None else choose(table, questions)
    if place >= 0:
        question = questions[place]
        outcomes = tuple(
            Outcome(
                question.answers[each.outcome] if each.outcome >= 0 else None,
                each.chance,
                tuple((named[number], chance) for number, chance in each.leaders),
            )
            for each in sorted(meanings(table, place), key=lambda each: -each.chance)
        )
    return Recommendation(
        advice.reason,
        question,
        outcomes,
        named[advice.group],
        listed * advice.share,
        advice.needless * 60.0,
    )


def _table(
    opinion: Opinion,
    spots: Sequence[Spot | Both],
    shares: Sequence[float],
    questions: Sequence[Question],
    downtime: Downtime,
) -> tuple[tuple[Spot | Both, ...], Table]:
    """The spots in question, in the order of the groups, and what can be asked of the rows."""
    takes = {answer.where: repairs_time(answer, downtime) for answer in opinion.answers}
    number: dict[Spot | Both, int] = {}
    group = np.array([number.setdefault(spot, len(number)) for spot in spots], dtype=np.int64)
    named = tuple(number)
    repair = np.array([
        # whether it has helped is tried each time
        downtime.function_test + (0.0 if spot == SOUND else takes[spot]) for spot in named
    ]) / 60.0  # fmt: skip
    share = np.array(shares)
    return named, Table(
        chance=share / share.sum(),
        group=group,
        repair=repair,
        minutes=np.array([question.seconds for question in questions]) / 60.0,
        predicted=np.array([question.outcome for question in questions], dtype=np.int64),
        outcomes=np.array([max(q.outcome) + 1 + OTHERS for q in questions], dtype=np.int64),
        slip=np.full(len(questions), SLIP),
    )
