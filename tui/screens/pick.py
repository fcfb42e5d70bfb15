"""Choosing one of many by typing a part of its name."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from textual.widget import Widget
from textual.widgets import Button

from tui.screens.dialog import Dialog
from tui.widgets.choice import Choice, Filtered


class PickOne(Dialog[Any]):
    """A filtered list; gives the value of the row that is chosen."""

    def __init__(
        self,
        title: str,
        choices: Sequence[Choice],
        hint: str = "type to filter, down to choose",
        no: str = "Cancel",
        forget: Callable[[Any], None] | None = None,
    ) -> None:
        super().__init__(title)
        self.choices = tuple(choices)
        self.hint = hint
        self.no = no
        self.forget = forget
        """Drops the value of a row for good; None: rows stay."""

    def body(self) -> Iterable[Widget]:
        yield Filtered(self.choices, self.hint)

    def buttons(self) -> Iterable[Widget]:
        yield Button(f"{self.no} (esc)", compact=True, action="screen.leave")
        if self.forget is not None:
            yield Button("Forget it", id="forget", compact=True, action="screen.forget")

    def action_forget(self) -> None:
        """Drops the marked row; the others stay."""
        rows = self.query_one(Filtered)
        marked = rows.choice
        if self.forget is None:
            return
        if marked is None:
            self.notify("Mark a row first: up and down move to it.")
            return
        self.forget(marked.value)
        left = tuple(choice for choice in rows.choices if choice is not marked)
        if left:
            rows.set_choices(left)
        else:
            self.dismiss(None)

    def on_mount(self) -> None:
        self.query_one(Filtered).focus_filter()

    def on_filtered_chosen(self, message: Filtered.Chosen) -> None:
        message.stop()
        self.dismiss(message.choice.value)
