"""A ride in normal operation: trains pass, and the gates let people in, by a seed."""

from __future__ import annotations

import random
from typing import Literal

from pneumo.circuit.action import Action, Command
from pneumo.circuit.circuit import Circuit
from pneumo.errors import InputError

Sequence = tuple[tuple[float, Action], ...]
"""(time [s], what is done), in order of time."""

Verb = Literal["open", "close"]

SHORTEST, LONGEST = 60.0, 120.0
"""A sequence lasts so long [s]."""

UNTIL_NEXT = (1.0, 4.0)
"""A train comes so much later to the next zone [s]; estimated, as all of the times here."""

STAYS = (2.0, 5.0)
"""A zone stays so long as the train needs it, beyond the time that it may take to get there [s]."""

BOARDING = (4.0, 8.0)
"""The gates stand open so long [s]."""

PAUSE = (1.0, 5.0)
"""Between two trains [s]."""


def check_operable(circuit: Circuit) -> None:
    """Refuses a ride on which nothing is commanded. Raises InputError."""
    if not circuit.zones and not circuit.gates:
        raise InputError(
            f"{circuit.path}: the ride has neither a zone nor gates, so that nothing is operated "
            "and no fault shows. Add one of them."
        )


def operating_sequence(circuit: Circuit, seed: int) -> Sequence:
    """Trains pass, one after another: each zone in turn leaves the state in which it starts, and
    returns to it behind the train; between two trains the gates let people in.

    No zone is commanded before it may have finished what it was commanded before. Raises
    InputError as `check_operable`.
    """
    check_operable(circuit)
    draw = random.Random(f"operating {seed}")
    length = draw.uniform(SHORTEST + 10.0, LONGEST - 10.0)
    done: list[tuple[float, Action]] = []
    time = draw.uniform(*PAUSE)
    free = dict.fromkeys(circuit.zones, 0.0)
    while True:
        passage, end = _train(circuit, draw, time, free)
        passage += _boarding(circuit, draw, end)
        end = max(at for at, _ in passage)
        if done and end > LONGEST:
            break
        done += passage
        time = end + draw.uniform(*PAUSE)
        if time > length:
            break
    return tuple(sorted(done, key=lambda each: each[0]))


def _train(
    circuit: Circuit, draw: random.Random, time: float, free: dict[str, float]
) -> tuple[list[tuple[float, Action]], float]:
    """Commands of a train that comes to the first zone at a time, and when it is through."""
    found: list[tuple[float, Action]] = []
    for name, zone in circuit.zones.items():
        limits = zone.limits
        moves = max(limits.close, limits.open, limits.vent)
        begin = round(max(time, free[name]), 2)
        end = round(begin + moves + draw.uniform(*STAYS), 2)
        there, back = _there_and_back(zone.starts)
        found += [(begin, Command(name, there)), (end, Command(name, back))]
        free[name] = end + moves
        time = begin + draw.uniform(*UNTIL_NEXT)
    return found, max((at for at, _ in found), default=time)


def _boarding(circuit: Circuit, draw: random.Random, time: float) -> list[tuple[float, Action]]:
    """Commands of the gates once a train stands."""
    found: list[tuple[float, Action]] = []
    for name, group in circuit.gates.items():
        begin = round(time + draw.uniform(*PAUSE), 2)
        end = round(begin + draw.uniform(*BOARDING), 2)
        there, back = _there_and_back(group.starts)
        found += [(begin, Command(name, there)), (end, Command(name, back))]
    return found


def _there_and_back(starts: str) -> tuple[Verb, Verb]:
    return ("close", "open") if starts == "open" else ("open", "close")
