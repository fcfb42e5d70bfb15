"""A view alone on a screen, for view tests: what it posts, and what stands there as text."""

from __future__ import annotations

from textual.app import App, ComposeResult

from tui.messages import Ask, Pick
from tui.view import View


class Stage(App[None]):
    """Shows one view and notes its messages."""

    def __init__(self, view: View) -> None:
        super().__init__()
        self.view = view
        self.asked: list[object] = []
        """Requests, in order."""
        self.sure: list[bool] = []
        """Of each request: its cautions were confirmed in the view."""
        self.picked: list[str] = []

    def compose(self) -> ComposeResult:
        yield self.view

    def on_ask(self, message: Ask) -> None:
        self.asked.append(message.request)
        self.sure.append(message.sure)

    def on_pick(self, message: Pick) -> None:
        self.picked.append(message.component)

    def lines(self) -> list[str]:
        """What is on the screen, line by line."""
        strips = self.screen._compositor.render_strips(self.size)
        return ["".join(segment.text for segment in strip).rstrip() for strip in strips]

    def place(self, words: str, line: str = "") -> tuple[int, int]:
        """Where some words are, in the first line that also contains `line`: (x, y)."""
        for y, shown in enumerate(self.lines()):
            if words in shown and line in shown:
                return shown.index(words) + 1, y
        raise AssertionError(f"{words!r} is not on the screen")
