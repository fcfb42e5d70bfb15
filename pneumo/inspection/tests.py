"""The tests a technician can make: one row each.

How a test is asked for, what it costs and what goes with it is in its row; `examine` makes it.
Nothing is loaded for the rows alone: a screen that is just opening knows them, too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Target = Literal["port", "part with air", "part", "coil", "brake"]
"""What a test is made at."""

Word = Literal[
    "read", "listen", "soap", "look", "callipers", "pry", "pull", "voltage", "card", "resistance",
]  # fmt: skip
"""First word of a test."""


@dataclass(frozen=True)
class Method:
    """One test."""

    word: Word
    about: str
    """What is done, in a few words."""
    target: Target
    form: str
    """What a whole line looks like."""
    work: str
    """Field of `Downtime` that it costs."""
    cautions: tuple[str, ...]
    """Keys of `live.cautions.CAUTIONS`."""
    touches: bool
    """Whether it touches the system: its cautions are confirmed before it is made."""


_AT_JAWS = ("codes", "lock out", "jaws", "springs")
_LIVE = ("codes", "electricity", "jaws")

ROWS = (
    Method("read", "read a pressure", "port", "read NAME.2", "read",
         ("codes", "lock out", "stored", "test point"), True),
    Method("listen", "listen", "part with air", "listen NAME", "listen",
         ("codes", "jet", "jaws"), False),
    Method("soap", "soapy water", "part with air", "soap NAME", "soap",
         ("codes", "jet", "jaws"), False),
    Method("look", "look closely", "part", "look NAME", "look", _AT_JAWS, False),
    Method("callipers", "callipers at linings", "brake", "callipers BRAKE", "measure_lining",
         _AT_JAWS, True),
    Method("pry", "a bar at a jaw", "brake", "pry BRAKE", "pry", _AT_JAWS, True),
    Method("pull", "a load cell at a ski", "brake", "pull BRAKE", "pull", _AT_JAWS, True),
    Method("voltage", "voltage at a coil", "coil", "voltage VALVE.14", "measure", _LIVE, True),
    Method("card", "voltage at an output", "coil", "card VALVE.14", "measure_card", _LIVE, True),
    Method("resistance", "resistance of a coil", "coil", "resistance VALVE.14", "measure",
         ("codes", "dead", "jaws"), True),
)  # fmt: skip
"""In the order in which they are offered."""

TESTS: dict[str, Method] = {row.word: row for row in ROWS}
"""First word of a line -> its row."""
