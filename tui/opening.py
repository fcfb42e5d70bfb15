"""The first screen: which ride is opened, and what is being prepared for it.

It loads nothing of the ride, so that it stands within the first second, and begins the work only
once it is drawn.
"""

from __future__ import annotations

from time import monotonic
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.message import Message
from textual.screen import ModalScreen
from textual.widgets import Static

from tui.late import unless_gone

if TYPE_CHECKING:
    from pneumo.live.preparation import Preparation, Step

LOOKS = 10
"""Looks at the work per second."""


class Opening(ModalScreen[None]):
    """Shows a preparation while it is under way. Keys of the ride do nothing yet."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("q,ctrl+q,ctrl+c", "give_up", "leave", priority=True),
    ]
    DEFAULT_CSS = """
    Opening { align: left top; background: $background; }
    Opening Static { width: 100%; height: auto; padding: 1 2; }
    """

    class Ended(Message):
        """The work is done or has failed."""

    def __init__(self, preparation: Preparation[Any]) -> None:
        super().__init__()
        self.preparation = preparation
        self._told = False

    def compose(self) -> ComposeResult:
        yield Static(self._words())

    def on_mount(self) -> None:
        self.call_after_refresh(self.preparation.begin)
        self.set_interval(1 / LOOKS, unless_gone(self, self._look))

    def _look(self) -> None:
        self.query_one(Static).update(self._words())
        if self.preparation.ended and not self._told:
            self._told = True
            self.post_message(self.Ended())

    def _words(self) -> Content:
        lines = [
            Content.styled(f"{self.preparation.name}: getting ready", "bold"),
            Content(""),
            *(_line(step) for step in self.preparation.steps),
            Content(""),
            Content.styled("q leaves", "$text-muted"),
        ]
        return Content("\n").join(lines)

    def action_give_up(self) -> None:
        self.preparation.leave()
        self.app.exit()


def _line(step: Step) -> Content:
    if step.ended is not None:
        return Content.styled(f"  {step.words}: {step.ended - step.begun:.1f} s", "$text-muted")
    words = f"▸ {step.words} … {monotonic() - step.begun:.0f} s"
    return Content(f"{words}, {step.detail}" if step.detail else words)
