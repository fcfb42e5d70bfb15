"""A line to type in that brings back what was typed before."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widgets import Input


class Recall(Input):
    """Up and down go through what was given before."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "earlier(-1)", show=False),
        Binding("down", "earlier(1)", show=False),
    ]

    def __init__(self, placeholder: str, *, id: str) -> None:
        super().__init__(placeholder=placeholder, select_on_focus=False, compact=True, id=id)
        self._given: list[str] = []
        self._place = 0
        """Of the line shown among them; their number = a new one."""

    def put(self, value: str) -> None:
        """Puts words there, to be gone on with."""
        self.value = value
        self.cursor_position = len(value)

    def remember(self, line: str) -> None:
        """A line was given: the next one begins empty."""
        self._given = [*(each for each in self._given if each != line), line]
        self._place = len(self._given)
        self.value = ""

    def action_earlier(self, step: int) -> None:
        self._place = min(max(self._place + step, 0), len(self._given))
        self.put(self._given[self._place] if self._place < len(self._given) else "")
