"""A diagnostician that works on a drill by its own recommendations, as a trainee could."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from pneumo.circuit.zones import component_zones, zone_feeds
from pneumo.diagnosis.choice import Reason
from pneumo.diagnosis.library import Library
from pneumo.diagnosis.opinion import Opinion
from pneumo.drill.brief import UNTOLD
from pneumo.drill.practice import Practice
from pneumo.inspection.ear import joined
from pneumo.live.by_itself import thoughts
from pneumo.live.session import Session
from pneumo.making.operated import Hiss

MOST_ASKED = 12
"""A fault for which more has to be asked is not found within a reasonable time."""

MOST_LISTENED = 8
"""So many parts of a zone in which it hisses are listened to at most."""


class Thought(NamedTuple):
    """What was thought, and what was asked then."""

    opinion: Opinion
    lines: tuple[str, ...]
    """() = nothing more was worth asking."""


@dataclass(frozen=True)
class Played:
    """A drill as the diagnostician has worked on it."""

    listened: tuple[str, ...]
    """Lines before anything was thought of: where it hisses was looked for by ear."""
    thoughts: tuple[Thought, ...]
    """In order; () = nothing was odd, and nothing led to it."""
    ended: Reason | None
    """Why nothing more was asked; None: it did not come to an end, was broken off, or somebody was
    hurt."""
    seconds: float
    """Downtime up to then [s]."""

    @property
    def asked(self) -> tuple[str, ...]:
        """The lines that gave an answer, in order."""
        return (*self.listened, *(each.lines[-1] for each in self.thoughts if each.lines))


def played(
    session: Session, library: Library, hiss: Hiss | None, goes_on: Callable[[Played], bool]
) -> Played:
    """Works on a ride until nothing more is worth asking; the ride goes on meanwhile.

    Parameters
    ----------
    hiss
        That the operator tells of when he is asked; None: there was none.
    goes_on
        Takes what has been done so far, whenever something more is to be asked, and breaks it off.

    Raises SimulationError.
    """
    practice = Practice(session, UNTOLD)
    walk = [] if hiss is None else _walk(session, hiss)
    listened: list[str] = []
    had: list[Thought] = []

    def so_far(ended: Reason | None = None) -> Played:
        return Played(tuple(listened), tuple(had), ended, practice.spent)

    for opinion, advise in thoughts(session, practice, library):
        if opinion.answers:
            advice = advise()
            lines = () if advice.question is None else advice.question.lines
            had.append(Thought(opinion, lines))
            if not lines:
                return so_far(advice.reason)
            if not goes_on(so_far()):
                return so_far()
        elif had or not walk:
            return Played(tuple(listened), (), Reason.NOTHING, practice.spent)
        else:
            lines = (*(() if listened else ("ask",)), walk.pop(0))
            listened.append(lines[-1])
        for line in lines:
            practice.do(line)
        if len(had) > MOST_ASKED:
            break
    return so_far()


def _walk(session: Session, hiss: Hiss) -> list[str]:
    """Lines that look for a hiss by ear, part after part: it is heard at the next one as well."""
    circuit, near = session.circuit, joined(session.compiled)
    zones = component_zones(circuit, zone_feeds(circuit))
    found: list[str] = []
    heard: set[str] = set()
    for name, part in circuit.components.items():
        if part.ports() and zones.get(name, "") == hiss.zone and name not in heard:
            found.append(f"listen {name}")
            heard |= {name, *near[name]}
    logic = session.play.actors.controller.logic.zones
    moves = hiss.state and logic[hiss.zone].state != hiss.state
    verb = "open" if hiss.state == "open" else "close"
    return [*([f"{verb} {hiss.zone}"] if moves else []), *found[:MOST_LISTENED]]
