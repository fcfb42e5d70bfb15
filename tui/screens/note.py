"""A line to the trainees of a class."""

from __future__ import annotations

from collections.abc import Iterable

from textual import on
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Button, Input, Static

from tui.screens.dialog import Dialog

LONGEST = 200
"""Letters of a note."""


class NoteLine(Dialog[str]):
    """Asks for a note; gives it as one line, or None."""

    def __init__(self, to: str) -> None:
        super().__init__(f"A note to {to}")

    def body(self) -> Iterable[Widget]:
        yield Static(Content("It stands in the list of what was done, and costs no time."))
        yield Input(compact=True, id="note", max_length=LONGEST)

    def buttons(self) -> Iterable[Widget]:
        yield Button("Send (enter)", compact=True, action="screen.send")
        yield Button("Cancel (esc)", compact=True, action="screen.leave")

    @on(Input.Submitted)
    def _entered(self) -> None:
        self.action_send()

    def action_send(self) -> None:
        said = " ".join(self.query_one("#note", Input).value.split())
        self.dismiss(said or None)
