"""The journal: everything anybody has done to a ride, in the order in which it was done."""

from __future__ import annotations

from typing import NamedTuple

from pneumo.circuit.action import Action
from pneumo.circuit.circuit import Circuit
from pneumo.circuit.sentence import SentenceError, parse_action
from pneumo.circuit.verbs import ahead
from pneumo.live.request import Seat
from pneumo.quantity import STANDARD_AMBIENT_PRESSURE, QuantityError
from pneumo.units import DURATION


class Act(NamedTuple):
    """One sentence that somebody has said."""

    time: float
    """When it takes effect [s]."""
    seat: Seat
    sentence: str
    """Of the document language."""
    hidden: bool
    """True: the trainee is not told of it."""
    entered: float
    """When it was said [s]; before `time` for what was said ahead."""


def read_act(circuit: Circuit, text: str, now: float) -> tuple[float, Action]:
    """When a sentence takes effect, and what it does: "close trim", "in 5 s: close trim".

    Raises
    ------
    SentenceError
        When the sentence or its time is not right.
    """
    time, sentence = now, text
    if (later := ahead(text)) is not None:
        delay, sentence = later
        try:
            time = now + DURATION.parse(delay, STANDARD_AMBIENT_PRESSURE)
        except QuantityError as error:
            raise SentenceError(error.found, error.wanted) from None
    elif text.split()[:1] == ["in"]:
        raise SentenceError(f"{text!r} has no colon.", "Write it like 'in 5 s: close trim'.")
    action = parse_action(sentence, circuit.components, circuit.zones, circuit.gates, time)
    return time, action
