"""A drill that is worked on: its briefing, what has been found, one line to work with, its debrief.

The trainee types what he does; the trainer reads it as it comes, and sends notes and hints.
"""

from __future__ import annotations

from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.suggester import Suggester
from textual.widget import Widget
from textual.widgets import Button, Input, OptionList, Static
from textual.widgets.option_list import Option

from pneumo.drill.arc import WORKING
from pneumo.drill.entry import Entry
from pneumo.drill.telling import debrief_lines, finding_told, minutes
from pneumo.live.link import Link
from pneumo.live.request import Answer, Line, Request, Tell
from pneumo.live.work import Note, Work
from tui import lines, sentences, text
from tui.bar import Key
from tui.drill_words import briefing, last_finding, row, state_rows, title_row
from tui.screens.confirm import Confirm
from tui.view import View
from tui.widgets.options import Options
from tui.widgets.recall import Recall

REPAIRS = ("replace", "clean", "refit", "adjust", "free", "reline", "reconnect")
"""First words of a repair, as the key goes through them."""

BUTTONS: dict[str, tuple[tuple[str, str], ...]] = {
    "trainee": (("finding", "F2 finding"), ("repair", "F3 repair"), ("test", "F4 function test"),
                ("back", "F6 hand back"), ("briefing", "F7 briefing")),
    "trainer": (("note", "F2 note"), ("hint", "F3 hint"), ("briefing", "F7 briefing")),
}  # fmt: skip
"""Of each seat: id and words."""


class _Ahead(Suggester):
    """Proposes the rest of the word that is being typed."""

    def __init__(self, view: DrillView) -> None:
        super().__init__(use_cache=False, case_sensitive=True)
        self._view = view

    async def get_suggestion(self, value: str) -> str | None:
        # a name of which nothing is typed yet would be taken for an answer
        words = () if not value or value[-1].isspace() else self._view.next_words(value)
        return sentences.completed(value, words[0]) if words else None


class DrillView(View):
    """The page of a drill, for either seat."""

    TITLE = "drill"
    HELP = """
## The drill
Read the briefing, begin, find what is wrong, say it, put it right, test it, hand the ride back. The
clock is that of the ride: every test and every repair takes its minutes, and nothing goes back.

- **Type what you do**, Enter does it: `listen hose_1`, `read trim_check.2`, `close trim`,
  `lock main`, `prove hose_1`, `ask`, `log book`, `wait 5 min`, `hint`. `Tab` completes a word, up
  and down bring back earlier lines. What is typed while something is under way waits its turn.
- `F2` **finding**: name the part and what is wrong (`finding hose_1 leak`), with `or` for another
  suspect, `and` for a second fault, or `finding none`. `F3` **repair**: again for another kind.
  `F4` **function test**, `F6` **hand back**: then the debrief is shown. `F7` the briefing.
- The **list** holds all that was done, with its time and what came of it; `UNSAFE` stands where it
  was. Enter on a row puts its line into the line to type in again. `Esc` leaves that line.
- **Trainer:** the same list as it happens. `F2` or Enter: a note to the trainee. `F3`: a hint,
  which costs minutes. `space` stops and starts the clock.
"""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("tab", "take", show=False),
        Binding("escape", "leave_line", show=False),
        Binding("enter", "to_line", show=False),
        Binding("f2", "first", show=False),
        Binding("f3", "second", show=False),
        Binding("f4", "say_line('function test')", show=False),
        Binding("f6", "say_line('hand back')", show=False),
        Binding("f7", "briefing", show=False),
    ]
    DEFAULT_CSS = """
    DrillView { layout: vertical; padding: 0 1; }
    DrillView #state { height: auto; max-height: 3; color: $text-muted; }
    DrillView #story { height: 1fr; }
    DrillView #story Static { height: auto; }
    DrillView #evidence { height: 1fr; border-top: solid $secondary 50%; padding: 0; }
    DrillView #ahead { height: auto; max-height: 3; color: $text-muted; }
    DrillView #wrong { height: auto; max-height: 4; color: $error; }
    DrillView #say { height: 1; }
    DrillView #drill-keys { height: 1; }
    DrillView #begin { margin: 0; }
    """

    TYPING = (
        Key(0, "Enter", "does it", ""),
        Key(1, "Tab", "completes", ""),
        Key(2, "↑ ↓", "earlier lines", ""),
        Key(3, "Esc", "to the keys", ""),
    )

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        self._trainee = link.seat == "trainee"
        self._drawn: object = None
        """What the lines above say."""
        self._stage = ""
        """What is shown: "briefing", "work" or "debrief"."""
        self._told: str | None = None
        """What stands in the story."""
        self._rows: list[Entry | Note] = []
        """Of the list."""
        self._reading = False
        """The briefing is read again."""
        self._repair = -1
        """Place of the repair that the key put into the line last."""
        self._wrong = ""
        """Why the last line cannot be done."""

    @property
    def work(self) -> Work:
        """The drill."""
        work = self.link.work
        assert work is not None
        return work

    def compose(self) -> ComposeResult:
        yield Static(id="state", markup=False)
        with VerticalScroll(id="story"):
            yield Static(markup=False)
        yield Button("Begin (Enter): the clock starts", id="begin", compact=True)
        yield Options(id="evidence", markup=False, compact=True)
        yield Static(id="ahead", markup=False)
        yield Static(id="wrong", markup=False)
        words = (
            "what you do, for example: ask"
            if self._trainee
            else "a note to the trainee; Enter sends it"
        )
        line = Recall(words, id="say")
        line.suggester = _Ahead(self) if self._trainee else None
        yield line
        with Horizontal(id="drill-keys"):
            for name, words in BUTTONS[self.link.seat]:
                button = Button(words, id=f"do-{name}", compact=True)
                button.can_focus = False  # a click leaves the focus in the line
                yield button

    def on_mount(self) -> None:
        self._look_ahead("")
        self.show()

    # what is shown

    @property
    def first(self) -> Widget | None:
        """The button that begins, the line of a trainee at work, else what can be scrolled."""
        if not self.is_mounted:
            return None
        name = {"briefing": "#begin" if self._trainee else "#story", "debrief": "#story"}
        at_work = "#story" if self._reading else "#say" if self._trainee else "#evidence"
        return self.query_one(name.get(self._stage, at_work))

    def show(self) -> None:
        if not self.is_mounted:
            return
        work = self.work
        stage = "debrief" if work.debrief is not None else (
            "work" if work.state in WORKING else "briefing"
        )  # fmt: skip
        changed, self._stage = stage != self._stage, stage
        self._arrange()
        self._show_state(work)
        if self._story_shown:
            self._tell_story(work)
        self._list(work)
        if changed and self.display:
            self.query_one("#story").scroll_home(animate=False)
            if self.screen.is_current and (first := self.first) is not None:
                first.focus()

    @property
    def _story_shown(self) -> bool:
        return self._stage != "work" or self._reading

    def _arrange(self) -> None:
        working = self._stage == "work"
        self.query_one("#story").display = self._story_shown
        self.query_one("#begin").display = self._stage == "briefing" and self._trainee
        self.query_one("#evidence").display = working and not self._reading
        for name in ("#ahead", "#say", "#drill-keys"):
            self.query_one(name).display = working
        self.query_one("#wrong").display = self._stage != "debrief" and bool(self._wrong)
        hint = next(iter(self.query("#do-hint").results(Button)), None)
        if hint is not None:
            left = self.work.hints
            hint.label = f"F3 hint ({left} left)"
            hint.disabled = not left

    @property
    def _stopped(self) -> str:
        """That the clock is stopped, and what starts it."""
        if not self.link.keeps_time:
            return "CLOCK STOPPED by the trainer"
        return f"CLOCK STOPPED: {'the next line' if self._trainee else 'space'} starts it"

    def _show_state(self, work: Work) -> None:
        width = max(self.size.width - 2, 1)
        frame, said = self.link.frame, [title_row(work)]
        if self._stage == "work":
            said = [*state_rows(work, frame.time, "" if frame.running else self._stopped)]
        rows = [text.short(line, width) for line in said]
        if rows != self._drawn:
            self._drawn = rows
            head = Content.styled(rows[0], "bold $foreground")
            self.query_one("#state", Static).update(
                Content("\n").join([head, *map(Content, rows[1:])])
            )

    def _tell_story(self, work: Work) -> None:
        found = work.debrief
        story = (
            "\n".join(debrief_lines(found)) if found is not None else briefing(work, self.link.seat)
        )
        if story != self._told:
            self._told = story
            self.query_one("#story Static", Static).update(Content(story))

    def _list(self, work: Work) -> None:
        """Adds what is new to the list; it only grows."""
        fresh: list[Entry | Note] = [
            *work.entries[sum(isinstance(each, Entry) for each in self._rows) :],
            *work.notes[sum(isinstance(each, Note) for each in self._rows) :],
        ]
        if not fresh:
            return
        fresh.sort(key=lambda each: each.time if isinstance(each, Note) else each.ended)
        options = self.query_one("#evidence", OptionList)
        options.add_options(Option(row(each, work.began)) for each in fresh)
        self._rows += fresh
        options.highlighted = len(self._rows) - 1

    # the line

    def next_words(self, value: str) -> tuple[str, ...]:
        """Words that may come next in the line."""
        return lines.next_words(value, self.link, self.work)

    @on(Input.Changed, "#say")
    def _typed(self, event: Input.Changed) -> None:
        event.stop()
        self._tell("")
        self._look_ahead(event.value)

    def _look_ahead(self, value: str) -> None:
        if self._trainee:
            width = max(self.size.width - 2, 1)
            told = lines.ahead(value, self.link, self.work, 2 * width - 12)
            self.query_one("#ahead", Static).update(Content(told))

    def _tell(self, wrong: str) -> None:
        self._wrong = wrong
        line = self.query_one("#wrong", Static)
        line.update(Content(f"! {wrong}" if wrong else ""))
        line.display = bool(wrong)

    @on(Input.Submitted, "#say")
    def _given(self, event: Input.Submitted) -> None:
        event.stop()
        said = " ".join(event.value.split())
        if not said:
            return
        if not self._trainee:
            self.ask(Tell(said))
            self.query_one("#evidence").focus()  # where space stops the clock
        else:
            said = self._readable(said)
            if not said:
                return
            self.ask(Line(said))
        self._repair = -1
        self.query_one("#say", Recall).remember(said)

    def _readable(self, said: str) -> str:
        """The line as it can be done, its words filled in; "", and why is told: it cannot."""
        wrong = lines.problem(said, self.link)
        if not wrong:
            return said
        whole = lines.filled(said, self.link, self.work)
        if not lines.problem(whole, self.link):
            return whole
        self._tell(wrong)
        return ""

    def _put(self, value: str) -> None:
        """Puts words into the line, to be gone on with."""
        if self._reading:
            self.action_briefing()
        line = self.query_one("#say", Recall)
        line.put(value)
        line.focus()

    def begin(self, component: str = "") -> None:
        """Ready to type."""
        if (first := self.first) is not None:
            first.focus()
        if self._stage == "work":
            self.query_one("#say").focus()

    def answered(self, request: Request, answer: Answer) -> bool:
        if not isinstance(request, Line) or not self.display:
            return False
        if not answer.done and self._stage != "debrief":
            self._tell(f"{request.text}: {answer.text}")
        return True

    # keys and buttons

    @property
    def _in_line(self) -> bool:
        return self.query_one("#say").has_focus

    def action_take(self) -> None:
        if not self._in_line:
            self.screen.focus_next()
            return
        line = self.query_one("#say", Input)
        if self._trainee and (words := self.next_words(line.value)):
            self._put(sentences.completed(line.value, words[0]) + " ")

    def action_leave_line(self) -> None:
        if self._reading:
            self.action_briefing()
        elif self._stage == "work":
            self.query_one("#evidence").focus()

    def action_to_line(self) -> None:
        if self._stage == "work":
            self._put("")

    @on(OptionList.OptionSelected, "#evidence")
    def _chosen(self, event: OptionList.OptionSelected) -> None:
        chosen = self._rows[event.option_index]
        again = self._trainee and isinstance(chosen, Entry) and chosen.line != "begin"
        self._put(chosen.line if again and isinstance(chosen, Entry) else "")

    def action_first(self) -> None:
        """A finding; of the trainer a note."""
        if self._stage != "work":
            return
        stated = last_finding(self.work)
        told = finding_told(stated.faults)[:-1] if stated is not None and stated.faults else ""
        told = told.replace("; and", " and").replace(", or", " or")
        self._put((f"finding {told}" if told else "finding ") if self._trainee else "")

    def action_second(self) -> None:
        """A repair, of another kind each time; of the trainer a hint."""
        if self._stage != "work":
            return
        if self._trainee:
            self._repair = (self._repair + 1) % len(REPAIRS)
            self._put(f"{REPAIRS[self._repair]} ")
        elif self.work.hints:
            cost = minutes(self.link.plant.circuit.downtime.hint)
            left = f"Hints that are left: {self.work.hints}."
            self.app.push_screen(
                Confirm("A hint for the trainee", [f"It costs the trainee {cost}. {left}"]),
                lambda go: self.ask(Line("hint")) if go else None,
            )
        else:
            self.notify("This drill has no further hint.", severity="warning")

    def action_say_line(self, line: str) -> None:
        if self._stage == "work" and self._trainee:
            self._put(line)

    def action_briefing(self) -> None:
        """Shows the briefing again, or the list."""
        if self._stage == "work":
            self._reading = not self._reading
            self.show()
            if (first := self.first) is not None:
                first.focus()

    @on(Button.Pressed)
    def _pressed(self, event: Button.Pressed) -> None:
        event.stop()
        match event.button.id:
            case "begin":
                self.ask(Line("begin"))
            case "do-finding" | "do-note":
                self.action_first()
            case "do-repair" | "do-hint":
                self.action_second()
            case "do-test":
                self.action_say_line("function test")
            case "do-back":
                self.action_say_line("hand back")
            case "do-briefing":
                self.action_briefing()
