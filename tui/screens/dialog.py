"""What all dialogs share: a framed box over the views, left by Escape, that scrolls when small."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar, TypeVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widget import Widget
from textual.widgets import Button, Static

Result = TypeVar("Result")


class Dialog(ModalScreen[Result | None]):
    """A box with a title, a body and a row of buttons. Escape leaves it with None."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "leave", "leave", show=False)]

    def __init__(self, title: str) -> None:
        super().__init__()
        self.heading = title

    def compose(self) -> ComposeResult:
        with Vertical(id="box") as box:
            box.border_title = Content(self.heading)
            with VerticalScroll(id="body", can_focus=False):
                yield from self.body()
            with Horizontal(id="buttons"):
                yield from self.buttons()

    def body(self) -> Iterable[Widget]:
        """The widgets between title and buttons."""
        return ()

    def buttons(self) -> Iterable[Widget]:
        """The buttons, the usual one first."""
        yield Button("Close", compact=True, action="screen.leave")

    def action_leave(self) -> None:
        self.dismiss(None)


def caution_lines(cautions: Iterable[str]) -> Iterable[Widget]:
    """Cautions as a marked list."""
    cautions = tuple(cautions)
    if cautions:
        yield Static(Content("! Cautions on a real ride"), classes="caution-title")
    for caution in cautions:
        yield Static(Content(f"– {caution}"), classes="caution")
