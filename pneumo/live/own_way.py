"""A diagnostician plays a drill itself, from its beginning, on a copy of the ride: how long a good
strategy takes with what the trainee's seat can know."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from pneumo.circuit.verbs import ALL
from pneumo.diagnosis.library import Library
from pneumo.drill.brief import Brief
from pneumo.drill.entry import Given
from pneumo.drill.outcome import Debrief
from pneumo.drill.practice import Practice
from pneumo.drill.review import SURE, Measured, classified, defective
from pneumo.errors import InputError
from pneumo.live.by_itself import thoughts
from pneumo.live.journal import Act
from pneumo.live.session import Session
from pneumo.scenario.plant import SimulationError

MOST_TESTS = 30
"""Recommendations that are followed."""

MOST_ROUNDS = 2
"""While nothing odd shows, every zone is closed and opened so often."""


class Beginning(NamedTuple):
    """Where a drill begins, and what came of it."""

    session: Session
    """Of the same ride; only what never changes of it is used."""
    acts: tuple[Act, ...]
    """What was done before."""
    began: float
    """[s]"""
    brief: Brief
    found: Debrief


def beginning(session: Session, practice: Practice, found: Debrief) -> Beginning:
    """The beginning of a drill that is over."""
    acts = [act for act in session.acts.journal if act.entered <= practice.began]
    # a command in the instant in which the drill began was given after that
    given = sum(isinstance(e.result, Given) and e.began <= practice.began for e in practice.entries)
    for _ in range(given):
        del acts[max(n for n, act in enumerate(acts) if act.seat == "trainee")]
    return Beginning(session, tuple(acts), practice.began, practice.brief, found)


def own_way(of: Beginning, library: Library, ending: Callable[[], bool]) -> Measured | None:
    """Plays a drill by what is recommended, until nothing more is; None: that cannot be
    calculated, or nobody wants to know any more (`ending`)."""
    try:
        session = Session(of.session.circuit, of.session.document, of.session.actors)
        session.restart(of.acts, of.began, begins=of.began)
        return _played(session, Practice(session, of.brief), library, of.found, ending)
    except (SimulationError, InputError):
        return None


def _played(
    session: Session,
    practice: Practice,
    library: Library,
    found: Debrief,
    ending: Callable[[], bool],
) -> Measured | None:
    detected: float | None = None
    tests = rounds = 0
    for opinion, advise in thoughts(session, practice, library):
        if ending():
            return None
        leader, question = opinion.leader, advise().question
        if detected is None and 1.0 - opinion.sound >= SURE:
            detected = practice.spent
        if question is not None and tests < MOST_TESTS:
            tests += 1
            lines = question.lines
        elif leader is None and rounds < MOST_ROUNDS:
            rounds += 1
            lines = tuple(f"{verb} {target}" for target in (ALL, *session.circuit.gates)
                          for verb in ("close", "open"))  # fmt: skip
        else:
            named = [{each.spot.component} for each in leader.parts] if leader else []
            hits, errors = classified(named, defective(found))
            isolated = practice.spent if leader else None
            return Measured(detected, isolated, hits, errors, practice.spent, tests)
        for line in lines:
            practice.do(line)
    return None
