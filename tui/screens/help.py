"""Help: what the open view shows, and the keys that work everywhere."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Markdown, Static

from tui.screens.dialog import Dialog

Rows = Sequence[tuple[str, str]]


class Help(Dialog[None]):
    """Texts in Markdown, one below the other, then keys and marks."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("question_mark,f1,q,enter", "leave", "close", show=False),
        Binding("down,j", "scroll(1)", show=False),
        Binding("up,k", "scroll(-1)", show=False),
        Binding("pagedown,space", "scroll(10)", show=False),
        Binding("pageup", "scroll(-10)", show=False),
    ]

    def __init__(self, title: str, texts: Iterable[str], keys: Rows, marks: Rows) -> None:
        super().__init__(title)
        self.texts = tuple(texts)
        self.keys, self.marks = keys, marks

    def body(self) -> Iterable[Widget]:
        for text in self.texts:
            yield Markdown(text)
        yield Static(_table("Keys everywhere", self.keys))
        yield Static(_table("Marks", self.marks))
        yield Static(
            Content(
                "This is a calculation about a description of a circuit. It certifies nothing; "
                "local codes and licensed practice come first."
            ),
            classes="caution",
        )

    def action_scroll(self, lines: int) -> None:
        self.query_one("#body").scroll_relative(y=lines, animate=False)


def _table(title: str, rows: Rows) -> Content:
    width = max(len(name) for name, _ in rows) + 2
    lines = [Content.styled(title, "bold")]
    lines += [Content.assemble((f" {n:{width}}", "bold $accent"), words) for n, words in rows]
    return Content("\n").join(lines)
