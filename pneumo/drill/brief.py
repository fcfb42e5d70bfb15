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
_KEYS = ("level", "par", *TEXTS, "answers", "log_book")


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

    def answer(self, about: str) -> tuple[str, ...]:
        """What the operator says when asked; "": everything he was not asked for."""
        if not about:
            return tuple(each.said for each in self.answers)
        return tuple(each.said for each in self.answers if each.about == about.lower())


UNTOLD = Brief()
"""Of a drill that says nothing."""


def read_brief(
    value: Any, hints: tuple[str, ...], wrong: Callable[[Place, str, str], NoReturn]
) -> Brief:
    """The briefing of a drill file; `wrong` (place, found, wanted) stops at what is not right."""
    if value in ("", None):
        return Brief(hints=hints)
    place: Place = ("briefing",)
    if not isinstance(value, dict):
        wrong(place, "The briefing has no fields.", f"Give it {listed(_KEYS)}.")
    for key in value:
        if key not in _KEYS:
            wrong(
                (*place, key),
                f"There is no field {quoted(key)} in a briefing.",
                near(key, _KEYS, f"Fields are {listed(_KEYS)}."),
            )

    def text(value: object, *at: str | int) -> str:
        if not isinstance(value, str) or len(value) > LONGEST_TEXT:
            wrong(
                (*place, *at), "This is not a text, or it is too long.",
                f"Write up to {LONGEST_TEXT} letters.",
            )  # fmt: skip
        return " ".join(value.split())

    answers = value.get("answers", "") or {}
    book = value.get("log_book", "") or []
    if not isinstance(answers, dict) or len(answers) > MOST:
        wrong((*place, "answers"), "These are not answers.", f"Write 'noise: …', up to {MOST}.")
    if not isinstance(book, list) or len(book) > MOST:
        wrong((*place, "log_book"), "This is not a list.", f"Start each line with '- ', {MOST}.")
    level = value.get("level", "0")
    lowest, highest = LEVELS
    if level != "0" and level not in map(str, range(lowest, highest + 1)):
        wrong(
            (*place, "level"), f"{quoted(level)} is not a level.",
            f"Write a number from {lowest} to {highest}.",
        )  # fmt: skip
    try:
        par = DURATION.parse(value["par"]) if "par" in value else 0.0
    except (QuantityError, TypeError, AttributeError) as error:
        found = getattr(error, "found", "This is not a time.")
        wrong((*place, "par"), found, getattr(error, "wanted", "Write it like '45 min'."))
    return Brief(
        level=int(level),
        par=par,
        **{key: text(value[key], key) for key in TEXTS if key in value},
        answers=tuple(
            Saying(text(topic, "answers").lower(), text(said, "answers", topic))
            for topic, said in answers.items()
        ),
        log_book=tuple(text(line, "log_book", i) for i, line in enumerate(book)),
        hints=hints,
    )
