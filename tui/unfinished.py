"""The list of runs that can be continued, offered once at the start."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from tui.screens.pick import PickOne
from tui.widgets.choice import Choice


@dataclass
class Unfinished:
    """The runs, and what is done with one of them."""

    runs: Sequence[tuple[str, Any]] = ()
    """The words of each, and its value."""
    take_up: Callable[[Any], None] = lambda run: None
    """Called with the value of the run that is chosen, outside the screen's thread. It may take
    its time; an InputError of it is shown."""
    forget: Callable[[Any], None] | None = None
    """Called with the value of a run that nobody wants any more."""

    def offer(self) -> PickOne:
        """Gives the value of a run, or None."""
        choices = [Choice(label, value) for label, value in self.runs]
        title = "A run was not finished: continue it?"
        return PickOne(title, choices, no="Start anew", forget=self.forget)
