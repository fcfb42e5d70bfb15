"""A drill made from a seed: faults are drawn until one is as hard to find as was asked for."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from math import ceil

from pneumo.circuit.circuit import Circuit, Downtime
from pneumo.components.base import Component
from pneumo.diagnosis.library import Library
from pneumo.diagnosis.opinion import repair_time
from pneumo.diagnosis.suspects import Candidate
from pneumo.drill.brief import Brief
from pneumo.errors import InputError
from pneumo.live.journal import Act
from pneumo.live.written import LONGEST_NAME
from pneumo.making.difficulty import LEVELS, Difficulty, difficulty, is_found
from pneumo.making.noticed import noticed
from pneumo.making.operated import drawn, operated
from pneumo.making.strategy import Played, played
from pneumo.making.words import briefing
from pneumo.scenario.plant import SimulationError

MOST_DRAWS = 40
"""Faults that are drawn for one drill, besides those that show nothing."""

SILENT = 3
"""All in all so many times as many are drawn at most."""

SPARE = 1.25
"""The par is longer than what the diagnostician takes by this factor: nobody is as quick [-];
estimated."""

WHOLE = 300.0
"""It is rounded up to this [s]."""

UNSHOWN, UNFOUND, STOPPED = (
    "showed nothing to the operator, the panel or a test",
    "could not be told from others",
    "could not be calculated",
)
"""Why a fault that was drawn makes no drill."""

HARDER = "harder than level"
"""The same, before the level."""


@dataclass(frozen=True)
class Made:
    """A drill that was made; all that a drill file needs but the ride."""

    title: str
    brief: Brief
    acts: tuple[Act, ...]
    start: float
    """[s]"""
    difficulty: Difficulty
    hidden: Candidate
    played: Played


def make(
    circuit: Circuit,
    document: str,
    library: Library,
    level: int,
    seed: int,
    say: Callable[[int, str], None] = lambda number, found: None,
    most: int | None = None,
) -> Made:
    """A drill of a level from 1 to 5, always the same for a seed.

    Parameters
    ----------
    document
        Text of the ride's document.
    library
        What each fault of the ride shows.
    say
        Takes the number of each fault that is drawn, from 1, and what it would make: never which.
    most
        Faults that are drawn at most besides those that show nothing; None: `MOST_DRAWS`.

    Raises
    ------
    InputError
        When none of them is of that level: says what was found instead.
    """
    most = MOST_DRAWS if most is None else most
    found: Counter[str] = Counter()
    number = hardest = 0
    while number - found[UNSHOWN] < most and number < SILENT * most:
        number += 1
        tried = _tried(circuit, document, library, level, seed, number)
        what = tried if isinstance(tried, str) else f"level {tried.difficulty.level}"
        say(number, what)
        if not isinstance(tried, str) and tried.difficulty.level == level:
            return tried
        found[what] += 1
        if not isinstance(tried, str):
            hardest = max(hardest, tried.difficulty.points)
    told = ", ".join(f"{many} {what}" for what, many in sorted(found.items()))
    raise InputError(
        f"{circuit.path}: none of {number} faults drawn by seed {seed} makes a drill of level "
        f"{level}. Of them: {told}. {_short_of(level, hardest, found)}{_offered(found)}"
    )


def _short_of(level: int, hardest: int, found: Iterable[str]) -> str:
    """How near the hardest that was found comes to a level; "" = it is above, or was broken off."""
    begins = LEVELS[level - 2] if level > 1 else 0
    if hardest >= begins or any(what.startswith(HARDER) for what in found):
        return ""
    return (
        f"Level {level} takes {begins} points for what makes it hard; the hardest got {hardest}. "
    )


def _offered(found: Counter[str]) -> str:
    """Which levels there were to be had."""
    levels = [what for what in sorted(found) if what.startswith("level ")]
    if not levels:
        return "Give another seed."
    return f"Ask for {' or '.join(levels)}, or give another seed."


def _tried(
    circuit: Circuit, document: str, library: Library, level: int, seed: int, number: int
) -> Made | str:
    """The drill of one fault, or why it makes none: too hard is one that is above the level before
    it is known what it hides among."""
    fault = drawn(circuit, library.candidates, seed, number)
    hidden = fault.candidate
    try:
        ride = operated(circuit, document, fault)
        acts, start = tuple(ride.faulty.acts.journal), ride.faulty.now
        seen = noticed(ride)
        hardness = partial(difficulty, spot=hidden.spot, unnoticed=not seen.something)
        play = played(
            ride.faulty,
            library,
            next(iter(ride.hisses), None),
            lambda so_far: hardness(so_far).least_level <= level,
        )
    except SimulationError:
        return STOPPED
    if not play.thoughts:
        return UNSHOWN
    hard = hardness(play)
    if hard.least_level > level:
        return f"{HARDER} {level}"
    if not is_found(play, hidden.spot):
        return UNFOUND
    draw = random.Random(f"words {seed} {number}")
    brief = briefing(circuit, seen, play, hidden, hard.level, _par(circuit, play, hidden), draw)
    return Made(title_of(circuit, hard.level, seed), brief, acts, start, hard, hidden, play)


def title_of(circuit: Circuit, level: int, seed: int) -> str:
    """What a drill is called."""
    by = f", level {level}, seed {seed}"
    return f"{circuit.ride.name[: LONGEST_NAME - len(by)]}{by}"


def _par(circuit: Circuit, play: Played, hidden: Candidate) -> float:
    """Downtime that a good technician needs [s]."""
    downtime = circuit.downtime
    ends = play.thoughts[-1].opinion.answers[0].how
    work = (
        play.seconds
        + _safe_work(circuit.components[hidden.component], downtime)
        + repair_time(hidden.spot, ends, downtime)
        + downtime.function_test
        + downtime.hand_back
    )
    return WHOLE * ceil(SPARE * work / WHOLE)


def _safe_work(component: Component, downtime: Downtime) -> float:
    """One shut-off valve turned, locked, proved and put back; of what has a coil its feed as well;
    the jaws of a brake blocked; of what has no air the permit [s]."""
    seconds = 0.0
    if component.ports():
        seconds += 2.0 * (downtime.turn + downtime.lock) + downtime.prove
    if component.coils():
        seconds += 2.0 * (downtime.switch + downtime.lock)
    if "brake" in component.traits:
        seconds += 2.0 * downtime.block
    return seconds or downtime.permit
