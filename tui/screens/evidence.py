"""What one trainee of a class has done, line by line, as it comes."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from tui.late import unless_gone
from tui.screens.dialog import Dialog

LOOKS = 2
"""Looks at the ride per second."""


class Evidence(Dialog[None]):
    """A list that grows; what is read stays where it is."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter,q", "leave", "close", show=False),
        Binding("down", "scroll(1)", show=False),
        Binding("up", "scroll(-1)", show=False),
        Binding("pagedown,space", "scroll(10)", show=False),
        Binding("pageup", "scroll(-10)", show=False),
        Binding("home", "scroll(-10000)", show=False),
        Binding("end", "scroll(10000)", show=False),
    ]

    def __init__(self, title: str, told: Callable[[], Content], *, grows: bool) -> None:
        """`told`: what there is to read now; `grows`: it begins with the latest."""
        super().__init__(title)
        self._told, self._grows = told, grows
        self._drawn = Content("")

    def body(self) -> Iterable[Widget]:
        yield Static(id="told")

    def on_mount(self) -> None:
        self._look()
        if self._grows:
            self.call_after_refresh(self.action_scroll, 10000)
        self.set_interval(1 / LOOKS, unless_gone(self, self._look))

    def _look(self) -> None:
        told = self._told()
        if told != self._drawn:
            self._drawn = told
            self.query_one("#told", Static).update(told)

    def action_scroll(self, lines: int) -> None:
        self.query_one("#body").scroll_relative(y=lines, animate=False)
