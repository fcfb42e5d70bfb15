"""Help: what the open view shows, and the keys that work everywhere."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import Markdown

from tui.screens.dialog import Dialog


class Help(Dialog[None]):
    """Two texts in Markdown, one below the other."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("question_mark,f1,q,enter", "leave", "close", show=False),
        Binding("down,j", "scroll(1)", show=False),
        Binding("up,k", "scroll(-1)", show=False),
        Binding("pagedown,space", "scroll(10)", show=False),
        Binding("pageup", "scroll(-10)", show=False),
    ]

    def __init__(self, title: str, texts: Iterable[str]) -> None:
        super().__init__(title)
        self.texts = tuple(texts)

    def body(self) -> Iterable[Widget]:
        for text in self.texts:
            yield Markdown(text)

    def action_scroll(self, lines: int) -> None:
        self.query_one("#body").scroll_relative(y=lines, animate=False)
