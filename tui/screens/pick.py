"""Choosing one of many by typing a part of its name."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from textual.widget import Widget
from textual.widgets import Button

from tui.screens.dialog import Dialog
from tui.widgets.choice import Choice, Filtered


class PickOne(Dialog[Any]):
    """A filtered list; gives the value of the row that is chosen."""

    def __init__(
        self, title: str, choices: Sequence[Choice], hint: str = "type to filter", no: str = "Leave"
    ) -> None:
        super().__init__(title)
        self.choices = tuple(choices)
        self.hint = hint
        self.no = no

    def body(self) -> Iterable[Widget]:
        yield Filtered(self.choices, self.hint)

    def buttons(self) -> Iterable[Widget]:
        yield Button(f"{self.no} (esc)", compact=True, action="screen.leave")

    def on_mount(self) -> None:
        self.query_one(Filtered).focus_filter()

    def on_filtered_chosen(self, message: Filtered.Chosen) -> None:
        message.stop()
        self.dismiss(message.choice.value)
