"""A diagnostician at work on a drill by itself, with what the trainee's seat knows: whoever plays
decides what is done next, and does it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from pneumo.diagnosis.library import Library
from pneumo.diagnosis.opinion import Opinion
from pneumo.diagnosis.reasoner import Diagnostician
from pneumo.diagnosis.recommendation import Recommendation
from pneumo.drill.practice import Practice
from pneumo.live.known import Known
from pneumo.live.session import Session

Thought = tuple[Opinion, Callable[[], Recommendation]]
"""What is thought; gives what to do next, which takes longer to work out."""


def thoughts(session: Session, practice: Practice, library: Library) -> Iterator[Thought]:
    """Begins a drill, and thinks of it as it stands, whenever it is asked to, until it is over.
    Raises SimulationError."""
    who = Diagnostician(session.circuit, library, session.compiled, session.actors)
    known = Known(session, who.panel, practice.brief.complaint)
    practice.do("begin")
    while not practice.arc.over:
        record = known.record(practice.entries, tuple(practice.site.fitted))
        opinion = who.consider(record)
        yield opinion, partial(who.advise, record, opinion, practice.site.live)
