"""What a diagnostician thinks, as records; sentences are made in `telling`."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from pneumo.circuit.circuit import Downtime
from pneumo.components.base import Ending
from pneumo.diagnosis.suspects import Candidate, Spot


@dataclass(frozen=True)
class Likely:
    """A fault mode that may be what is wrong."""

    candidate: Candidate
    share: float
    """How probable it is [-]."""
    place: float
    """The severity that fits best, on its scale."""


class Both(NamedTuple):
    """Two places at which something is wrong at once."""

    one: Spot
    other: Spot


@dataclass(frozen=True)
class Answer:
    """Where something may have to be mended, and how."""

    spot: Spot
    share: float
    """How probable it is that the fault is there [-]."""
    how: Ending
    """The repair that most probably ends it, of those the quickest."""
    modes: tuple[Likely, ...]
    """The most probable first."""
    beside: Answer | None = None
    """What is wrong besides; None: nothing, this alone explains what was seen."""

    @property
    def where(self) -> Spot | Both:
        """Where something is wrong."""
        return self.spot if self.beside is None else Both(self.spot, self.beside.spot)

    @property
    def parts(self) -> tuple[Answer, ...]:
        """Each repair by itself."""
        return (self,) if self.beside is None else (self, self.beside)


@dataclass(frozen=True)
class Opinion:
    """What is thought of a ride after all that was seen."""

    answers: tuple[Answer, ...]
    """The most probable first."""
    sound: float
    """How probable it is that nothing is wrong that has shown itself [-]."""
    none_of_these: float
    """How probable it is that none of all that is known explains it [-]."""
    not_examined: tuple[Candidate, ...]
    """What could not be calculated."""

    @property
    def leader(self) -> Answer | None:
        """What is most probable; None: nothing is wrong, or none of these."""
        best = self.answers[0] if self.answers else None
        return best if best and best.share > max(self.sound, self.none_of_these) else None


ENDS = 0.95
"""A repair is enough that ends this share of what may be wrong at a spot [-]; estimated."""


def answers(likely: Iterable[Likely], downtime: Downtime) -> tuple[Answer, ...]:
    """What may have to be mended, by spot, the most probable first."""
    by_spot: dict[Spot, list[Likely]] = {}
    for each in likely:
        by_spot.setdefault(each.candidate.spot, []).append(each)
    found = [
        Answer(
            spot,
            sum(each.share for each in modes),
            _how(spot, modes, downtime),
            tuple(sorted(modes, key=lambda each: -each.share)),
        )
        for spot, modes in by_spot.items()
    ]
    return tuple(sorted(found, key=lambda answer: -answer.share))


def repairs_time(answer: Answer, downtime: Downtime) -> float:
    """What all repairs of an answer take [s]."""
    return sum(repair_time(each.spot, each.how, downtime) for each in answer.parts)


def repair_time(spot: Spot, how: Ending, downtime: Downtime) -> float:
    """What a repair takes [s]."""
    if how == "restore":
        return downtime.turn
    work = "replace_coil" if spot.side and how == "replace" else how
    return float(getattr(downtime, work))


def _how(spot: Spot, modes: list[Likely], downtime: Downtime) -> Ending:
    ends: dict[Ending, float] = {}
    for each in modes:
        for how in each.candidate.ended_by:
            ends[how] = ends.get(how, 0.0) + each.share
    enough = ENDS * max(ends.values())
    good = [how for how, share in ends.items() if share >= enough]
    return min(good, key=lambda how: (repair_time(spot, how, downtime), how))
