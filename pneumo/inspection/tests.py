"""The tests a technician can make: one row each.

How a test is asked for, what it costs and what goes with it is in its row; `examine` makes it.
Nothing is loaded for the rows alone: a screen that is just opening knows them, too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from pneumo.circuit.circuit import Circuit

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
    wires: Literal["", "live", "plug"] = ""
    """Made on live wires, which needs a permit, or with a plug off, which needs one unless its feed
    is off and locked."""
    reaches: bool = False
    """Made with the hands between the jaws, which must be blocked or without force. A bar and a
    load cell are held from outside."""


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
    Method("callipers", "callipers", "brake", "callipers BRAKE", "measure_lining",
         _AT_JAWS, True, reaches=True),
    Method("pry", "pry a jaw", "brake", "pry BRAKE", "pry", _AT_JAWS, True),
    Method("pull", "pull a ski", "brake", "pull BRAKE", "pull", _AT_JAWS, True),
    Method("voltage", "coil voltage", "coil", "voltage VALVE.14", "measure", _LIVE, True,
           wires="live"),
    Method("card", "output card", "coil", "card VALVE.14", "measure_card", _LIVE, True,
           wires="live"),
    Method("resistance", "coil resistance", "coil", "resistance VALVE.14", "measure",
         ("codes", "dead", "jaws"), True, wires="plug"),
)  # fmt: skip
"""In the order in which they are offered."""

TESTS: dict[str, Method] = {row.word: row for row in ROWS}
"""First word of a line -> its row."""


_SEEN = {"brake", "gate", "turnable", "drainable", "outside"}
"""Traits of parts that show something to an eye, besides the plugs of coils."""


def targets(circuit: Circuit, of: Target) -> tuple[str, ...]:
    """What tests can be made at, in document order. Of ports all that there are: whether a gauge
    fits is told by `circuit.couplings`, and by tees that were fitted since."""
    parts = circuit.components.items()
    match of:
        case "port":
            return tuple(f"{name}.{port.name}" for name, part in parts for port in part.ports())
        case "part with air":
            return tuple(name for name, part in parts if part.ports())
        case "part":
            return tuple(name for name, part in parts if part.traits & _SEEN or part.coils())
        case "coil":
            return tuple(f"{name}.{side}" for name, part in parts for side in part.coils())
        case "brake":
            return tuple(name for name, part in parts if "brake" in part.traits)
