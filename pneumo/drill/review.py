"""What a diagnostician makes of a drill that is over, as records and as sentences: no run is needed
for either.

It is measured in terms of the diagnostic competitions of the DX workshops: detection time,
isolation time, isolation accuracy (there classification errors), cost (Kurtoglu and others, First
International Diagnosis Competition, DX 2009; from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass

from pneumo.drill.entry import Considered, Fell, Found, Stated
from pneumo.drill.outcome import Debrief
from pneumo.drill.telling import clock, minutes, percent

SURE = 0.95
"""From this share on an answer counts as determined [-]."""


@dataclass(frozen=True, slots=True)
class Suspected:
    """Where something may be wrong."""

    component: str
    name: str
    """With the side of its coil: "valve.14"."""
    share: float
    """How probable it is [-]."""


@dataclass(frozen=True, slots=True)
class Stage:
    """What was to be thought after something was done."""

    at: float
    """[s of the ride]"""
    line: str
    """What was done; "" = nothing yet."""
    suspects: tuple[Suspected, ...]
    """All that are in question, the most probable first."""
    sound: float
    """How probable it is that nothing is wrong that has shown itself [-]."""
    none_of_these: float
    """How probable it is that none of all known faults explains it [-]."""

    @property
    def leader(self) -> Suspected | None:
        """What is most probable; None: no fault that has shown itself, or none that is known."""
        best = self.suspects[0] if self.suspects else None
        return best if best and best.share > max(self.sound, self.none_of_these) else None

    @property
    def determined(self) -> Suspected | None:
        """The answer that is sure; None: none is."""
        leader = self.leader
        return leader if leader and leader.share >= SURE else None


@dataclass(frozen=True, slots=True)
class Measured:
    """How a drill went."""

    detected: float | None
    """When it was first noticed that something is wrong [s since the beginning]; None: never."""
    isolated: float | None
    """When it was first stated, or sure, what is wrong [s since the beginning]; None: never."""
    hits: int
    """Defective parts that were named."""
    errors: int
    """Parts that were named and are sound, and defective ones that were not named."""
    cost: float
    """Downtime [s]."""
    tests: int

    @property
    def accuracy(self) -> float:
        """Of all parts that were named or are defective, the share that is both [-]."""
        return self.hits / (self.hits + self.errors) if self.hits + self.errors else 1.0


@dataclass(frozen=True, slots=True)
class Review:
    """What there is to say of a drill besides its debrief."""

    began: float
    """[s of the ride]"""
    defective: tuple[str, ...]
    """Components that had a fault."""
    stages: tuple[Stage, ...]
    """In order; after each thing that was done and told something new."""
    technician: Measured
    """Up to the last finding."""
    own: Measured | None
    """The diagnostician at the same ride, from the same beginning, by its own tests; None: that
    could not be calculated."""

    @property
    def determined(self) -> tuple[tuple[Stage, Suspected], ...]:
        """The stages from which on an answer was sure that had not been so before; the answer."""
        found, before = [], ""
        for stage in self.stages:
            sure = stage.determined
            if sure and sure.name != before:
                found.append((stage, sure))
            before = sure.name if sure else ""
        return tuple(found)

    def since(self, stage: Stage) -> float:
        """When a stage was [s since the beginning]."""
        return max(stage.at - self.began, 0.0)


def reviewed(found: Debrief, stages: tuple[Stage, ...], own: Measured | None) -> Review:
    """The review of a drill: what was to be thought in it, how the technician did up to the last
    finding, and the diagnostician."""
    counted = [e for place, e in enumerate(found.entries) if place not in found.undone]
    suspected = [e.at for e in counted if isinstance(e.result, Considered | Stated)]
    stated = [e for e in counted if isinstance(e.result, Stated)]
    until = stated[-1].at if stated else found.began + found.spent
    parts = defective(found)
    named = [{suspect.component for suspect in either} for either in found.finding or ()]
    hits, errors = classified(named, parts)
    technician = Measured(
        suspected[0] - found.began if suspected else None,
        until - found.began if stated else None,
        hits,
        errors,
        until - found.began,
        sum(isinstance(e.result, Found | Fell) for e in counted if e.at <= until),
    )
    return Review(found.began, parts, stages, technician, own)


def defective(found: Debrief) -> tuple[str, ...]:
    """The components that had a fault."""
    return tuple(dict.fromkeys(truth.component for truth in found.truth))


def classified(named: Sequence[Set[str]], parts: Sequence[str]) -> tuple[int, int]:
    """Defective parts that were named, and classification errors; `named`: each alone, or several
    of which one is meant."""
    hits = sum(any(part in either for either in named) for part in parts)
    return hits, len(parts) - hits + sum(not either & set(parts) for either in named)


TITLE = "What a diagnostician makes of it, who knew what the technician knew"


def review_lines(review: Review) -> Iterator[str]:
    """As plain text, line by line."""
    yield TITLE
    for stage, told in told_stages(review):
        yield f"  {clock(review.since(stage))} {stage.line or 'at first'}: {told}"
    yield from (f"  {line}" for line in determined_told(review))
    yield f"  Technician: {_in_a_row(review.technician)}."
    if review.own is None:
        yield f"  {NO_OWN_WAY}"
    else:
        told = _in_a_row(review.own)
        yield f"  Diagnostician, by its own tests from the same beginning: {told}."


NO_REVIEW = "There is no review by a diagnostician."
"""Before why there is none."""

NO_OWN_WAY = "The diagnostician's own way from the same beginning could not be calculated."
"""Instead of what it took."""


def told_stages(review: Review) -> Iterator[tuple[Stage, str]]:
    """The stages in words; what told nothing new is left out."""
    before = ""
    for stage in review.stages:
        told = stage_told(stage)
        if told != before:
            yield stage, told
        before = told


MOST_NAMED = 3
"""Suspects that are told by name after something was done."""


def stage_told(stage: Stage) -> str:
    """ "hose_1 72 %, valve.14 20 %, 2 more parts in question" """
    if stage.leader is None:
        if stage.none_of_these > stage.sound:
            return "none of the known faults explains what was seen"
        return "nothing wrong has shown itself"
    named = [f"{each.name} {percent(each.share)}" for each in stage.suspects[:MOST_NAMED]]
    more = len(stage.suspects) - len(named)
    return ", ".join([*named, *([f"{_count(more, 'more part')} in question"] if more else [])])


def determined_told(review: Review) -> Iterator[str]:
    """From when on which answer was sure, and whether it was right."""
    for stage, sure in review.determined:
        after = stage.line or "what was seen before the beginning"
        right = sure.component in review.defective
        yield (
            f"From {clock(review.since(stage))} on, after {after}, {sure.name} was sure enough "
            f"({percent(SURE)}). {'It was defective.' if right else 'It had no fault.'}"
        )
    if not review.determined:
        yield f"What was seen never made one answer sure ({percent(SURE)})."
        return
    isolated = review.technician.isolated
    last, sure = review.determined[-1]
    if isolated is not None and sure.component in review.defective:
        late = isolated - review.since(last)
        if late > 0.0:
            yield f"The last finding was stated {minutes(late)} later."


def terms(found: Measured) -> tuple[tuple[str, str], ...]:
    """How it went: terms of the competitions, and values."""
    return (
        ("detection time", _when(found.detected)),
        ("isolation time", _when(found.isolated)),
        ("isolation accuracy", f"{100.0 * found.accuracy:.0f} % "
         f"({_count(found.errors, 'classification error')})"),
        ("tests", str(found.tests)),
        ("cost", f"{minutes(found.cost)} of downtime"),
    )  # fmt: skip


def _in_a_row(found: Measured) -> str:
    return ", ".join(f"{term} {value}" for term, value in terms(found))


def _when(seconds: float | None) -> str:
    return "never" if seconds is None else minutes(seconds)


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
