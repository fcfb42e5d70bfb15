"""The hidden part of a drill file: what is to be found, and the hints."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from math import isfinite
from typing import Any, NoReturn, cast

from pneumo.drill.brief import LONGEST_TEXT, MOST
from pneumo.errors import InputError
from pneumo.harmless import quoted
from pneumo.live.journal import Act
from pneumo.live.request import Seat
from pneumo.live.seal import LONGEST, Seal
from pneumo.units import DURATION

MOST_ACTS = 20_000
"""Acts of a drill."""

_AGAIN = "Ask for an undamaged copy of the drill."

Wrong = Callable[[str, str], NoReturn]
"""Stops at what is not right: what was found, what would be right."""


def hidden_text(acts: Sequence[Act], hints: tuple[str, ...], seal: Seal) -> str:
    """The acts that are hidden, with their places among all, and the hints, as one word; "" = there
    is nothing to hide, and nothing that must not be known. Raises InputError for more than can be
    read again."""
    hidden = [
        [place, act.time, act.entered, act.seat, act.sentence]
        for place, act in enumerate(acts)
        if act.hidden
    ]
    if not (hidden or hints or seal.encrypts):
        return ""
    text = json.dumps({"acts": hidden, "hints": hints})
    if len(text) > LONGEST // 2:
        raise InputError("More is hidden than a drill can hold; save a shorter run.")
    return seal.seal(text)


def read_hidden(
    word: Any, seal: Seal, wrong: Wrong
) -> tuple[list[tuple[int, Act]], tuple[str, ...]]:
    """The hidden acts with their places, and the hints; `wrong` stops at what is not right."""
    if word == "":
        return [], ()
    if not isinstance(word, str):
        wrong("The hidden part is not text.", _AGAIN)
    try:
        data: Any = json.loads(seal.unseal(word))
    except InputError as error:
        wrong(str(error), "")
    except (ValueError, RecursionError):
        wrong("The hidden part does not hold actions.", _AGAIN)
    # version 1 had no hints
    rows, hints = (
        (data.get("acts"), data.get("hints") or []) if isinstance(data, dict) else (data, [])
    )
    if not fit_hints(hints):
        wrong("The hidden part does not hold hints.", _AGAIN)
    found = [_act(row, wrong) for row in (rows if isinstance(rows, list) else [None])]
    return found, tuple(hints)


def fit_hints(hints: Any) -> bool:
    """Whether these are hints."""
    fit = isinstance(hints, list) and len(hints) <= MOST
    return fit and all(isinstance(hint, str) and len(hint) <= LONGEST_TEXT for hint in hints)


def _act(row: Any, wrong: Wrong) -> tuple[int, Act]:
    match row:
        case [int(at), float() | int() as time, float() | int() as said, str(seat), str(sentence)]:
            times_are_good = all(isfinite(t) and 0.0 <= t <= DURATION.high for t in (time, said))
            if 0 <= at < MOST_ACTS and times_are_good:
                if seat in ("trainer", "trainee"):
                    return at, Act(float(time), cast(Seat, seat), sentence, True, float(said))
                wrong(f"{quoted(seat)} is not a seat.", _AGAIN)
    return wrong("The hidden part does not hold actions.", _AGAIN)
