"""A question before an act, and a message after one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content
from textual.events import Key
from textual.widget import Widget
from textual.widgets import Button, Static

from tui.screens.dialog import Dialog, caution_lines


class Confirm(Dialog[bool]):
    """Shows what is about to be done, with its cautions; True when it is to be done."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y", "yes", "confirm", show=False),
        Binding("n", "no", "cancel", show=False),
    ]

    def __init__(
        self,
        title: str,
        lines: Sequence[str],
        cautions: Sequence[str] = (),
        yes: str = "Confirm",
        no: str = "Cancel",
    ) -> None:
        super().__init__(title)
        self.lines = tuple(lines)
        self.cautions = tuple(cautions)
        self.yes, self.no = yes, no
        self._typed_ahead = False
        """Letters have come that are no answer: somebody types a line and has not seen this."""

    def body(self) -> Iterable[Widget]:
        for line in self.lines:
            yield Static(Content(line))
        yield from caution_lines(self.cautions)
        told = Static(Content("Letters are no answer any more: Tab and Enter, or Esc."), id="ahead")
        told.display = False
        yield told

    def buttons(self) -> Iterable[Widget]:
        yield Button(f"{self.yes} (y)", id="yes", compact=True, action="screen.yes(False)")
        yield Button(f"{self.no} (n)", id="no", compact=True, action="screen.leave")

    def on_mount(self) -> None:
        # with cautions Enter must not do it unread
        self.query_one("#no" if self.cautions else "#yes").focus()

    def on_key(self, event: Key) -> None:
        """A line that is typed ahead of the question must not answer it by its letters."""
        if event.is_printable and event.character not in ("y", "n", None):
            self._typed_ahead = True
            self.query_one("#ahead").display = True

    def action_yes(self, typed: bool = True) -> None:
        if not (typed and self._typed_ahead):
            self.dismiss(True)

    def action_no(self) -> None:
        if not self._typed_ahead:
            self.action_leave()


class Message(Dialog[None]):
    """Something to be read, with the cautions that belong to it."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter", "leave", "close", show=False)]

    def __init__(self, title: str, lines: Sequence[str], cautions: Sequence[str] = ()) -> None:
        super().__init__(title)
        self.lines = tuple(lines)
        self.cautions = tuple(cautions)

    def body(self) -> Iterable[Widget]:
        for line in self.lines:
            yield Static(Content(line))
        yield from caution_lines(self.cautions)


class Invitation(Message):
    """How a trainee joins; the app closes it once that is done."""

    def __init__(self, title: str, lines: Sequence[str], *, waits: bool) -> None:
        """`waits`: nobody has joined yet."""
        super().__init__(title, lines)
        self.waits = waits


class Gone(Message):
    """The ride is gone: q leaves at once, the rest of the screen stays to be read."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("q,ctrl+q", "app.leave", show=False)]

    def buttons(self) -> Iterable[Widget]:
        yield Button("Close", compact=True, action="screen.leave")
        yield Button("Leave (q)", compact=True, action="app.leave")
