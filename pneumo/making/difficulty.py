"""How hard a fault is to find: measured at the diagnostician's own way to it, graded by a rule."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, replace

from pneumo.diagnosis.suspects import Spot
from pneumo.making.strategy import Played

LEFT = 0.02
"""What is more probable than this is still in question [-]."""

FOUND = 0.5
"""The right answer has to be this probable at the end, more than all others together [-];
estimated."""

POINTS = {
    "tests": (1, 3, 5, 8),
    "minutes": (10.0, 20.0, 40.0, 80.0),
    "group": (2, 4),
    "misled": (1, 3),
    "rival": (0.6,),
    "unnoticed": (1,),
}
"""A point for each of these that is reached; all estimated."""

LEVELS = (1, 2, 4, 6)
"""Points from which on a drill is of level 2, 3, 4, 5: of what is found of the faults of a ride, a
fifth has none, and one in twenty has six or more; measured, see `pneumo/drill/README.md`."""


@dataclass(frozen=True)
class Difficulty:
    """How hard a fault was to find."""

    tests: int
    """What was asked of the ride."""
    minutes: float
    """Downtime until nothing more was worth asking [min]."""
    group: int
    """Answers that were still in question then, the right one included."""
    misled: int
    """Times that another answer was thought more probable."""
    rival: float
    """How probable it was at most [-]; 0 = it never was."""
    unnoticed: bool
    """The operator has noticed nothing: only a close look at the panel tells."""

    @property
    def points(self) -> int:
        """By `POINTS`."""
        return sum(bisect_right(of, getattr(self, what)) for what, of in POINTS.items())

    @property
    def level(self) -> int:
        """1 the easiest, 5 the hardest."""
        return 1 + bisect_right(LEVELS, self.points)

    @property
    def least_level(self) -> int:
        """What it is at least, whatever is asked from here on: only the group may become less."""
        return replace(self, group=1).level


def difficulty(played: Played, spot: Spot, unnoticed: bool = False) -> Difficulty:
    """How hard it was to find a fault at a spot."""
    opinions = [thought.opinion for thought in played.thoughts]
    ahead = [o.answers[0].share for o in opinions if o.answers[0].where != spot]
    return Difficulty(
        tests=len(played.asked),
        minutes=played.seconds / 60.0,
        group=sum(answer.share > LEFT for answer in opinions[-1].answers),
        misled=len(ahead),
        rival=max(ahead, default=0.0),
        unnoticed=unnoticed,
    )


def is_found(played: Played, spot: Spot) -> bool:
    """Whether the right answer came out."""
    if played.ended is None or not played.thoughts:
        return False
    leader = played.thoughts[-1].opinion.leader
    return leader is not None and leader.where == spot and leader.share >= FOUND
