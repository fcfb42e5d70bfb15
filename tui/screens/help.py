"""Help: what the open view shows, and the keys that work everywhere."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from tui.drilling import under_way
from tui.keys import MARKS, every_key, first_steps
from tui.screens.dialog import Dialog

if TYPE_CHECKING:
    from pneumo.live.link import Link
    from tui.host import Host
    from tui.stage import Stage

Rows = Sequence[tuple[str, str]]


def help_for(link: Link, stage: Stage, host: Host | None) -> Help:
    """The help of a seat, about its open view first."""
    texts = [
        *([f"## Drill: {link.drill}"] if link.drill else ()),
        *([stage.view.HELP] if stage.view is not None and stage.view.HELP else ()),
        first_steps(link.seat, under_way(link) is not None),
        *([host.second_seat()] if host is not None and host.invitation else ()),
    ]
    keys = every_key(link.seat, link.keeps_time, under_way(link) is not None)
    return Help(f"Help: {stage.current}", texts, keys, MARKS)


class Help(Dialog[None]):
    """Texts in Markdown, one below the other, then keys and marks."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("question_mark,f1,q,enter", "leave", "close", show=False),
        Binding("down,j", "scroll(1)", show=False),
        Binding("up,k", "scroll(-1)", show=False),
        Binding("pagedown,space", "scroll(10)", show=False),
        Binding("pageup", "scroll(-10)", show=False),
        Binding("home", "scroll(-10000)", show=False),
        Binding("end", "scroll(10000)", show=False),
    ]

    def __init__(self, title: str, texts: Iterable[str], keys: Rows, marks: Rows) -> None:
        super().__init__(title)
        self.texts = tuple(texts)
        self.keys, self.marks = keys, marks

    def body(self) -> Iterable[Widget]:
        for text in self.texts:
            yield Static(drawn(text))
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


def drawn(markdown: str) -> Content:
    """The little Markdown that help is written in, as one text: a widget for each of its blocks
    would take a quarter of a second to open."""
    return Content("\n\n").join(
        [_block(block.strip("\n")) for block in re.split(r"\n\s*\n", markdown) if block.strip()]
    )


def _block(block: str) -> Content:
    """Heading, paragraphs, list and rows of a table that stand together."""
    said: list[str] = []
    for line in block.split("\n"):
        if re.fullmatch(r"\|[-| :]+\|", line):
            continue
        begins = line.startswith(("#", "|", "- "))
        if said and not begins and not said[-1].startswith(("#", "|")):
            said[-1] += f" {line.strip()}"
        else:
            said.append(line)
    cells = [[_words(c.strip()) for c in x.strip("|").split("|")] for x in said if x[:1] == "|"]
    width = max((row[0].cell_length for row in cells), default=0) + 2
    rows, lines = iter(cells), []
    for line in said:
        if line.startswith("|"):
            first, *rest = next(rows)
            gap = " " * (width - first.cell_length)
            lines.append(Content.assemble(" ", first, gap, Content("  ").join(rest)))
        elif line.startswith("#"):
            lines.append(Content.styled(line.lstrip("# "), "bold"))
        else:
            lines.append(_words(f"• {line[2:]}" if line.startswith("- ") else line))
    return Content("\n").join(lines)


def _words(text: str) -> Content:
    """Words with `keys`, **strong** and *stressed* ones."""
    parts = re.split(r"(`[^`]+`|\*\*[^*]+\*\*|\*[^*\s][^*]*\*)", text)
    styles = {"`": "bold $accent", "*": "bold"}
    return Content.assemble(
        *((p.strip(p[0]), styles[p[0]]) if i % 2 else p for i, p in enumerate(parts))
    )


def _table(title: str, rows: Rows) -> Content:
    width = max(len(name) for name, _ in rows) + 2
    lines = [Content.styled(title, "bold")]
    lines += [Content.assemble((f" {n:{width}}", "bold $accent"), words) for n, words in rows]
    return Content("\n").join(lines)
