"""What came of a drill: the records of a debrief, which need no run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pneumo.drill.arc import State
from pneumo.drill.entry import Entry, Left
from pneumo.drill.job import Suspect

Verdict = Literal["right", "partly right", "wrong"]

Reason = Literal[
    "hurt", "given up", "nothing named", "not named", "only suspected", "only the part",
    "named too much", "not repaired", "repaired for nothing", "unsafe", "no function test",
    "function test failed", "left behind",
]  # fmt: skip
"""Why a verdict is not `right`."""


@dataclass(frozen=True, slots=True)
class Truth:
    """A fault that was there."""

    component: str
    mode: str
    sentence: str
    """With its severity and shape."""
    since: float
    """[s of the ride]"""
    ended: float | None
    """When a repair ended it [s]; None: it is there still."""
    named: Literal["", "part", "among", "named"]
    """How far the last finding names it: not, only its part, among other suspects, or alone."""
    suspected: float | None
    """When its part first stood among the suspects [s]; None: it never did."""
    effect: str
    """What it does, in the words of the catalogue."""


@dataclass(frozen=True, slots=True)
class Took:
    """Downtime that a family of acts took; what was spent between acts is `waiting and
    thinking`."""

    family: str
    seconds: float


@dataclass(frozen=True, slots=True)
class Debrief:
    """What came of a drill."""

    title: str
    state: State
    verdict: Verdict
    reasons: tuple[Reason, ...]
    truth: tuple[Truth, ...]
    finding: tuple[tuple[Suspect, ...], ...] | None
    """The last one stated; None: none was."""
    entries: tuple[Entry, ...]
    began: float
    """[s of the ride]"""
    spent: float
    """Downtime [s]."""
    par: float
    """[s]; 0 = not told."""
    minutes: tuple[Took, ...]
    needless: tuple[int, ...]
    """Entries of repairs that ended nothing."""
    idle: tuple[int, ...]
    """Entries of tests that could show nothing in the state in which they were made."""
    unsafe: tuple[int, ...]
    """Entries that were unsafe."""
    left: tuple[Left, ...]
    undone: tuple[int, ...] = ()
    """Entries that do not count: the simulation stopped, and the ride was set back before them."""
