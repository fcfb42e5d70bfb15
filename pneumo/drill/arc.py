"""The arc of a drill: what may follow what.

```text
briefing ─begin─> at work ─finding─> finding stated ─repair─> repaired ─function test─> tested
                                        └────────────function test──────────────────────┘
from finding stated, repaired, tested: hand back ─> handed back
from at work on: accident ─> stopped,  give up ─> given up
```

Tests, safe work and commands are possible from `at work` on and lead nowhere. A new finding may be
stated until the ride is handed back; a repair needs a finding, so that nobody replaces parts to
learn what is wrong.
"""

from __future__ import annotations

from typing import Literal

from pneumo.drill.steps import Row, Steps
from pneumo.errors import InputError

State = Literal[
    "briefing", "at work", "finding stated", "repaired", "tested", "handed back", "stopped",
    "given up",
]  # fmt: skip
Step = Literal["begin", "finding", "repair", "function test", "hand back", "accident", "give up"]

WORKING: tuple[State, ...] = ("at work", "finding stated", "repaired", "tested")
"""States in which the technician is at the ride."""

OVER: tuple[State, ...] = ("handed back", "stopped", "given up")
"""States from which nothing leads on; a debrief is made there."""

_FOUND: tuple[State, ...] = ("finding stated", "repaired", "tested")

TABLE: tuple[Row[State, Step], ...] = (
    Row("begin", ("briefing",), "at work"),
    Row("finding", WORKING, "finding stated"),
    Row("repair", _FOUND, "repaired"),
    Row("function test", _FOUND, "tested"),
    Row("hand back", _FOUND, "handed back"),
    Row("accident", WORKING, "stopped"),
    Row("give up", WORKING, "given up"),
)

_FIRST: dict[Step, str] = {
    "begin": "The drill has begun already.",
    "finding": "Begin the drill first.",
    "repair": "State your finding first: name the part and what is wrong with it.",
    "function test": "State your finding first, also when it is that nothing is wrong.",
    "hand back": "State your finding first, also when it is that nothing is wrong.",
    "give up": "Begin the drill first.",
}
"""Why a step is not possible yet."""


class Arc(Steps[State, Step]):
    """Where a drill stands."""

    def __init__(self, first: State = "briefing") -> None:
        super().__init__(TABLE, first)

    @property
    def over(self) -> bool:
        """Handed back, stopped or given up."""
        return self.state in OVER

    def check(self, step: Step | None) -> None:
        """Refuses what cannot be done now; None: a test, safe work or a command.

        Raises
        ------
        InputError
            With what has to be done first.
        """
        if self.over:
            raise InputError(f"The drill is over: {self.state}.")
        if step is None:
            if self.state == "briefing":
                raise InputError("Begin the drill first.")
        elif not self.may(step):
            raise InputError(_FIRST[step])
