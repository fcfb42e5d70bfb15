"""What a diagnostician makes of a drill that is over, as records and as sentences: no run is needed
for either.

It is measured in terms of the diagnostic competitions of the DX workshops: detection time,
isolation time, classification errors, cost (Kurtoglu and others, First International Diagnosis
Competition, DX 2009; from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pneumo.drill.entry import Considered, Fell, Found, Stated
from pneumo.drill.outcome import Debrief
from pneumo.drill.telling import clock, minutes, percent

SURE = 0.95
"""From this share on an answer counts as determined [-]."""


@dataclass(frozen=True, slots=True)
class Stage:
    """What was to be thought after something was done."""

    at: float
    """[s of the ride]"""
    line: str
    """What was done; "" = nothing yet."""
    leader: str
    """Where the fault most probably is; "" = nothing wrong has shown itself."""
    share: float
    """How probable that is [-]."""
    in_question: int
    """Parts that it may be."""


@dataclass(frozen=True, slots=True)
class Measured:
    """How a drill went."""

    detected: float | None
    """When it was first noticed that something is wrong [s since the beginning]; None: never."""
    isolated: float | None
    """When it was first stated, or sure, what is wrong [s since the beginning]; None: never."""
    errors: int
    """Parts that were named and are sound, and defective ones that were not named."""
    cost: float
    """Downtime [s]."""
    tests: int


@dataclass(frozen=True, slots=True)
class Review:
    """What there is to say of a drill besides its debrief."""

    began: float
    """[s of the ride]"""
    stages: tuple[Stage, ...]
    """In order; after each thing that was done and told something new."""
    technician: Measured
    """Up to the last finding."""
    own: Measured | None
    """The diagnostician at the same ride, from the same beginning, by its own tests; None: that
    could not be calculated."""

    @property
    def determined(self) -> Stage | None:
        """After it one answer was sure; None: none ever was."""
        return next((each for each in self.stages if each.leader and each.share >= SURE), None)


def measured(found: Debrief) -> Measured:
    """How the technician did, up to the last finding."""
    counted = [e for place, e in enumerate(found.entries) if place not in found.undone]
    suspected = [e.at for e in counted if isinstance(e.result, Considered | Stated)]
    stated = [e for e in counted if isinstance(e.result, Stated)]
    until = stated[-1].at if stated else found.began + found.spent
    parts = {truth.component for truth in found.truth}
    named = [{suspect.component for suspect in either} for either in found.finding or ()]
    missed = sum(not any(part in either for either in named) for part in parts)
    return Measured(
        suspected[0] - found.began if suspected else None,
        until - found.began if stated else None,
        missed + sum(not either & parts for either in named),
        until - found.began,
        sum(isinstance(e.result, Found | Fell) for e in counted if e.at <= until),
    )


def review_lines(review: Review) -> Iterator[str]:
    """As plain text, line by line; what told nothing new is left out."""
    yield "What a diagnostician makes of it, who knew what you knew"
    before = ""
    for stage in review.stages:
        done, told = stage.line or "at first", stage_told(stage)
        if told != before:
            yield f"  {clock(max(stage.at - review.began, 0.0))} {done}: {told}"
        before = told
    sure = review.determined
    if sure is None:
        yield "  What was seen never made one answer sure."
    else:
        after = sure.line or "what was seen before the beginning"
        when = clock(max(sure.at - review.began, 0.0))
        yield f"  From {when} on, after {after}, {sure.leader} was sure enough."
    yield f"  You: {measured_told(review.technician)}."
    if review.own is None:
        yield "  Its own way from the same beginning could not be calculated."
    else:
        yield f"  By its own tests from the same beginning: {measured_told(review.own)}."


def stage_told(stage: Stage) -> str:
    """ "hose_1 82 %, 4 parts in question" """
    if not stage.leader:
        return "nothing wrong has shown itself"
    number = f"{stage.in_question} part{'' if stage.in_question == 1 else 's'} in question"
    return f"{stage.leader} {percent(stage.share)}, {number}"


def measured_told(found: Measured) -> str:
    """How it went, in the terms of the competitions."""
    detected = "never" if found.detected is None else f"after {minutes(found.detected)}"
    isolated = "never" if found.isolated is None else f"after {minutes(found.isolated)}"
    return (
        f"noticed {detected}, isolated {isolated}, {found.errors} classification "
        f"error{'' if found.errors == 1 else 's'}, {found.tests} "
        f"test{'' if found.tests == 1 else 's'}, {minutes(found.cost)} of downtime"
    )
