"""What is told of a drill before it begins, and what the operator and the log book answer.

Under `briefing` in a drill file:

```yaml
briefing:
  level: 2
  par: 45 min
  complaint: The block brakes close, but the second set comes late since this morning.
  normal: Every zone is closed within a second and open within two.
  at_hand: A test gauge, a multimeter, soapy water; coils and valves in the store.
  answers:
    noise: I have heard nothing.
  log_book:
    - "Mon 17:20 silencers of the block zone changed"
  test_hints: yes
```
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NoReturn

from pneumo.circuit.document import Place
from pneumo.circuit.spelling import listed, near
from pneumo.harmless import quoted
from pneumo.quantity import QuantityError
from pneumo.units import DURATION

LONGEST_TEXT = 2000
"""Letters of one text."""

MOST = 40
"""Answers, lines of the log book, and hints."""

LEVELS = (1, 5)
"""From the easiest to the hardest."""

TEXTS = ("complaint", "normal", "at_hand")
_KEYS = ("level", "par", *TEXTS, "answers", "log_book", "test_hints")


@dataclass(frozen=True)
class Saying:
    """What the operator can be asked about, and what he says."""

    about: str
    said: str


@dataclass(frozen=True)
class Brief:
    """What is told of a drill."""

    level: int = 0
    """1 the easiest, 5 the hardest; 0 = not graded."""
    par: float = 0.0
    """Downtime that a good technician needs [s]; 0 = not told."""
    complaint: str = ""
    """What the operator says is wrong."""
    normal: str = ""
    """What the ride does when nothing is wrong."""
    at_hand: str = ""
    """Tools and spare parts."""
    answers: tuple[Saying, ...] = ()
    log_book: tuple[str, ...] = ()
    """Its lines, the latest last."""
    hints: tuple[str, ...] = ()
    """In the order in which they are given; sealed in the file."""
    test_hints: bool = False
    """Who has had all hints is told the next best test, if he asks for one more."""

    def answer(self, about: str) -> tuple[str, ...]:
        """What the operator says when asked; "": everything, each behind what it is about."""
        if not about:
            return tuple(f"{each.about.capitalize()}? {each.said}" for each in self.answers)
        return tuple(each.said for each in self.answers if each.about == about.lower())


UNTOLD = Brief()
"""Of a drill that says nothing."""


Wrong = Callable[[Place, str, str], NoReturn]
"""Stops at what is not right: place, what was found, what would be right."""

_AT: Place = ("briefing",)


def read_brief(value: Any, hints: tuple[str, ...], wrong: Wrong) -> Brief:
    """The briefing of a drill file; `wrong` stops at what is not right."""
    if value in ("", None):
        return Brief(hints=hints)
    if not isinstance(value, dict):
        wrong(_AT, "The briefing has no fields.", f"Give it {listed(_KEYS)}.")
    for key in value:
        if key not in _KEYS:
            wrong(
                (*_AT, key),
                f"There is no field {quoted(key)} in a briefing.",
                near(key, _KEYS, f"Fields are {listed(_KEYS)}."),
            )
    return Brief(
        level=_level(value.get("level", "0"), wrong),
        par=_par(value["par"], wrong) if "par" in value else 0.0,
        **{key: _text(value[key], (key,), wrong) for key in TEXTS if key in value},
        answers=_answers(value.get("answers", ""), wrong),
        log_book=_log_book(value.get("log_book", ""), wrong),
        hints=hints,
        test_hints=_yes(value.get("test_hints", "no"), wrong),
    )


def _text(value: object, at: Place, wrong: Wrong) -> str:
    if not isinstance(value, str) or len(value) > LONGEST_TEXT:
        found = "This is not a text, or it is too long."
        wrong((*_AT, *at), found, f"Write up to {LONGEST_TEXT} letters.")
    return " ".join(value.split())


def _level(value: object, wrong: Wrong) -> int:
    lowest, highest = LEVELS
    if value not in ("0", *map(str, range(lowest, highest + 1))):
        found = f"{quoted(str(value))} is not a level."
        wrong((*_AT, "level"), found, f"Write a number from {lowest} to {highest}.")
    return int(str(value))


def _par(value: object, wrong: Wrong) -> float:
    try:
        return DURATION.parse(value if isinstance(value, str) else "")
    except QuantityError as error:
        wrong((*_AT, "par"), error.found, error.wanted)


def _yes(value: object, wrong: Wrong) -> bool:
    if value not in ("yes", "no"):
        wrong((*_AT, "test_hints"), f"{quoted(str(value))} is not yes or no.", "Write yes or no.")
    return value == "yes"


def _answers(value: object, wrong: Wrong) -> tuple[Saying, ...]:
    answers = value or {}
    if not isinstance(answers, dict) or len(answers) > MOST:
        wrong((*_AT, "answers"), "These are not answers.", f"Write 'noise: …', up to {MOST}.")
    return tuple(
        Saying(_text(about, ("answers",), wrong).lower(), _text(said, ("answers", about), wrong))
        for about, said in answers.items()
    )


def _log_book(value: object, wrong: Wrong) -> tuple[str, ...]:
    book = value or []
    if not isinstance(book, list) or len(book) > MOST:
        wrong((*_AT, "log_book"), "This is not a list.", f"Start each line with '- ', {MOST}.")
    return tuple(_text(line, ("log_book", i), wrong) for i, line in enumerate(book))
