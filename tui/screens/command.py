"""One line to type a sentence in, with what may come next below it."""

from __future__ import annotations

from typing import ClassVar

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.screen import ModalScreen
from textual.suggester import Suggester
from textual.widgets import Input, Static

from pneumo.live.link import Link
from pneumo.live.request import Do
from tui import sentences
from tui.requests import is_fault


class _Ahead(Suggester):
    """Proposes the rest of the word that is being typed."""

    def __init__(self, link: Link) -> None:
        super().__init__(use_cache=False, case_sensitive=True)
        self.link = link

    async def get_suggestion(self, value: str) -> str | None:
        words = sentences.next_words(value, self.link.plant, self.link.frame, self.link.seat)
        return sentences.completed(value, words[0]) if words else None


class CommandLine(ModalScreen[Do | None]):
    """Gives a sentence that can be carried out, a trainer's fault hidden from the trainee; or None.
    Tab takes the proposed word."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "leave", show=False),
        Binding("tab", "take", "take the proposal", show=False, priority=True),
        Binding("up", "earlier(-1)", show=False),
        Binding("down", "earlier(1)", show=False),
    ]

    def __init__(self, link: Link, said: list[str], start: str = "") -> None:
        """`said`: sentences of before; the one that is given is added."""
        super().__init__()
        self.link = link
        self._said = said
        self.history = [*said, start]
        self.place = len(self.history) - 1

    def compose(self) -> ComposeResult:
        with Vertical(id="line"):
            yield Static(id="next", markup=False)
            yield Static(id="problem", markup=False)
            yield Input(
                value=self.history[-1],
                placeholder=sentences.example(self.link.seat),
                suggester=_Ahead(self.link),
                select_on_focus=False,
                compact=True,
                id="sentence",
            )

    def on_mount(self) -> None:
        line = self.query_one("#sentence", Input)
        line.focus()
        line.cursor_position = len(line.value)
        self._propose(line.value)

    def _propose(self, text: str) -> None:
        words = sentences.next_words(text, self.link.plant, self.link.frame, self.link.seat)
        width = max(self.size.width - 8, 1)
        shown: list[str] = []
        used = 0
        for word in words:
            used += len(word) + 2
            if used > 2 * width - 8:
                shown.append(f"… {len(words) - len(shown)} more")
                break
            shown.append(word)
        self.query_one("#next", Static).update(Content("  ".join(shown)))
        self._tell("")

    def _tell(self, problem: str) -> None:
        line = self.query_one("#problem", Static)
        line.set_class(bool(problem), "-told")
        line.update(Content(f"! {problem}" if problem else ""))

    @on(Input.Changed)
    def _typed(self, event: Input.Changed) -> None:
        self._propose(event.value)

    @on(Input.Submitted)
    def _given(self, event: Input.Submitted) -> None:
        text = " ".join(event.value.split())
        if not text:
            self.dismiss(None)
            return
        plant, frame, seat = self.link.plant, self.link.frame, self.link.seat
        problem = sentences.problem(text, plant, seat)
        if problem:
            text = sentences.filled(text, plant, frame, seat)
            if not sentences.problem(text, plant, seat):
                self._give(text)
                return
            more = (
                " Tab completes the word." if sentences.next_words(text, plant, frame, seat) else ""
            )
            self._tell(problem + more)
        else:
            self._give(text)

    def _give(self, sentence: str) -> None:
        self._said.append(sentence)
        self.dismiss(Do(sentence, self.link.seat == "trainer" and is_fault(sentence)))

    def on_click(self, event: events.Click) -> None:
        if event.widget is self:
            self.dismiss(None)

    def action_leave(self) -> None:
        self.dismiss(None)

    def action_take(self) -> None:
        line = self.query_one("#sentence", Input)
        words = sentences.next_words(line.value, self.link.plant, self.link.frame, self.link.seat)
        if words:
            line.value = sentences.completed(line.value, words[0]) + " "
            line.cursor_position = len(line.value)

    def action_earlier(self, step: int) -> None:
        self.place = min(max(self.place + step, 0), len(self.history) - 1)
        line = self.query_one("#sentence", Input)
        line.value = self.history[self.place]
        line.cursor_position = len(line.value)
