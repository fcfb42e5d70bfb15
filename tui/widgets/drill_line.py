"""The line that somebody works on a drill with: what may come next above it, and what is wrong."""

from __future__ import annotations

from textual import on
from textual.app import ComposeResult
from textual.content import Content
from textual.message import Message
from textual.suggester import Suggester
from textual.widget import Widget
from textual.widgets import Input, Static

from pneumo.live.link import Link
from pneumo.live.work import Work
from tui import lines, sentences
from tui.widgets.recall import Recall

FREE = ("help", "?", "briefing", "parts", "faults", "panel", "evidence")
"""First words of lines that only look something up."""


class _Ahead(Suggester):
    """Proposes the rest of the word that is being typed."""

    def __init__(self, line: DrillLine) -> None:
        super().__init__(use_cache=False, case_sensitive=True)
        self._line = line

    async def get_suggestion(self, value: str) -> str | None:
        # a name of which nothing is typed yet would be taken for an answer
        words = () if not value or value[-1].isspace() else self._line.next_words(value)
        return sentences.completed(value, words[0]) if words else None


class DrillLine(Widget):
    """A trainee's line is helped and checked, a trainer's is a note."""

    class Given(Message):
        """A line is to be done, its words filled in; or a note is to be sent."""

        def __init__(self, text: str) -> None:
            self.text = text
            super().__init__()

    class LookUp(Message):
        """A line that costs nothing: `FREE`."""

        def __init__(self, text: str) -> None:
            self.text = text
            super().__init__()

    DEFAULT_CSS = """
    DrillLine { layout: vertical; height: auto; }
    DrillLine #ahead { height: auto; max-height: 3; color: $text-muted; }
    DrillLine #wrong { height: auto; max-height: 4; color: $error; }
    DrillLine #say { height: 1; }
    """

    def __init__(self, link: Link, *, id: str) -> None:
        super().__init__(id=id)
        self._link = link
        self._trainee = link.seat == "trainee"

    @property
    def _work(self) -> Work:
        work = self._link.work
        assert work is not None
        return work

    def compose(self) -> ComposeResult:
        yield Static(id="ahead", markup=False)
        yield Static(id="wrong", markup=False)
        words = "a note to the trainee; Enter sends it"
        line = Recall("what you do, for example: ask" if self._trainee else words, id="say")
        line.suggester = _Ahead(self) if self._trainee else None
        yield line

    def on_mount(self) -> None:
        self.tell("")
        self._look_ahead("")

    @property
    def box(self) -> Recall:
        """What is typed in."""
        return self.query_one("#say", Recall)

    def next_words(self, value: str) -> tuple[str, ...]:
        """Words that may come next in the line."""
        return lines.next_words(value, self._link, self._work)

    def put(self, value: str) -> None:
        """Puts words into the line, to be gone on with."""
        self.box.put(value)
        self.box.focus()

    def put_back(self, value: str, wrong: str) -> None:
        """A line that was not done comes back, to be mended, unless the next is being typed; and
        why it was not."""
        if not self.box.value:
            with self.box.prevent(Input.Changed):
                self.box.put(value)
            self.box.select_all()  # what is typed next takes its place
            self._look_ahead(value)
        self.tell(wrong)

    def complete(self) -> None:
        """Fills in the word that is being typed."""
        line = self.box
        if self._trainee and (words := self.next_words(line.value)):
            self.put(sentences.completed(line.value, words[0]) + " ")

    def tell(self, wrong: str) -> None:
        """Says why a line cannot be done; "" = nothing is wrong."""
        line = self.query_one("#wrong", Static)
        line.update(Content(f"! {wrong}" if wrong else ""))
        line.display = bool(wrong)

    @on(Input.Changed, "#say")
    def _typed(self, event: Input.Changed) -> None:
        event.stop()
        self.tell("")
        self._look_ahead(event.value)

    def _look_ahead(self, value: str) -> None:
        if self._trainee:
            width = max(self.size.width, 1)
            told = lines.ahead(value, self._link, self._work, 2 * width - 12)
            self.query_one("#ahead", Static).update(Content(told))

    def on_resize(self) -> None:
        self._look_ahead(self.box.value)

    @on(Input.Submitted, "#say")
    def _given(self, event: Input.Submitted) -> None:
        event.stop()
        said = " ".join(event.value.split())
        if not said:
            return
        free = self._trainee and said.split()[0] in FREE
        if self._trainee and not free and not (said := self._readable(said)):
            return
        with self.box.prevent(Input.Changed):  # what is told of the line must not be wiped by it
            self.box.remember(said)
        self.tell("")
        self._look_ahead("")
        self.post_message(self.LookUp(said) if free else self.Given(said))

    def _readable(self, said: str) -> str:
        """The line as it can be done, its words filled in; "", and why is told: it cannot."""
        wrong = lines.problem(said, self._link)
        if not wrong:
            return said
        whole = lines.filled(said, self._link, self._work)
        if not lines.problem(whole, self._link):
            return whole
        self.box.select_all()  # what is typed next takes its place
        self.tell(wrong)
        return ""
