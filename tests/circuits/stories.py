"""What a drill that ships is made of: what is wrong, what is told, and how it is played."""

from __future__ import annotations

from dataclasses import dataclass

from pneumo.drill.brief import Brief, Saying
from pneumo.drill.outcome import Reason

Lines = tuple[str, ...]


@dataclass(frozen=True)
class Story:
    """One drill."""

    name: str
    title: str
    ride: str
    """Name of a ride that comes with pneumo."""
    before: tuple[tuple[float, str], ...]
    """(time [s], sentence) of what has been done to it before; faults are hidden."""
    start: float
    """Where it begins [s]."""
    level: int
    par: float
    """[min]"""
    complaint: str
    normal: str
    at_hand: str
    answers: tuple[tuple[str, str], ...]
    """What the operator can be asked about, and what he says."""
    log_book: Lines
    hints: Lines
    solved: Lines
    """A whole drill, from `begin` to `hand back`, that is judged right."""
    failed: Lines
    """One that is not."""
    why: tuple[Reason, ...]
    """What the debrief then says was missing."""

    @property
    def brief(self) -> Brief:
        """What is told of it."""
        return Brief(
            level=self.level,
            par=60.0 * self.par,
            complaint=self.complaint,
            normal=self.normal,
            at_hand=self.at_hand,
            answers=tuple(Saying(*each) for each in self.answers),
            log_book=self.log_book,
            hints=self.hints,
        )


TOOLS = (
    "A test gauge, a multimeter, soapy water, a bar, callipers and a load cell; locks, tags and "
    "blocks; a spare of every part in the store."
)
"""What is at hand at every ride."""

END: Lines = ("function test", "hand back")


def off(*names: str) -> Lines:
    """Locks out shut-off valves, which are turned."""
    return tuple(line for name in names for line in (f"isolate {name}", f"lock {name}"))


def on(*names: str) -> Lines:
    """And puts them back."""
    return tuple(line for name in names for line in (f"unlock {name}", f"restore {name}"))


def dead(*names: str) -> Lines:
    """Locks out supplies and feeds, which are switched."""
    return tuple(line for name in names for line in (f"switch off {name}", f"lock {name}"))


def live(*names: str) -> Lines:
    """And puts them back."""
    return tuple(line for name in names for line in (f"unlock {name}", f"switch on {name}"))
