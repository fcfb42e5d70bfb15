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
from textual.widget import Widget
from textual.widgets import Button, OptionList, Static
from textual.widgets.option_list import Option

from pneumo.drill.arc import WORKING
from pneumo.drill.entry import Entry
from pneumo.drill.telling import finding_told, minutes
from pneumo.errors import InputError
from pneumo.live.link import Link
from pneumo.live.lookup import help_lines, looked_up
from pneumo.live.request import Answer, Line, Request, Tell
from pneumo.live.work import Note, Work
from tui import text
from tui.bar import Key
from tui.drill_words import (
    briefing,
    debriefing,
    hints_left,
    last_finding,
    row,
    state_rows,
    title_row,
)
from tui.lines import REPAIRS
from tui.screens.confirm import Confirm
from tui.view import View
from tui.widgets.drill_line import DrillLine
from tui.widgets.options import Options

BUTTONS: dict[str, tuple[tuple[str, str], ...]] = {
    "trainee": (("finding", "F2 finding"), ("repair", "F3 repair"), ("test", "F4 function test"),
                ("suspect", "F5 suspect"), ("back", "F6 hand back"), ("briefing", "F7 briefing")),
    "trainer": (("note", "F2 note"), ("hint", "F3 hint"), ("thought", "F4 diagnosis"),
                ("briefing", "F7 briefing")),
}  # fmt: skip
"""Of each seat: id and words."""


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
- **Looked up at no cost**: `help` for all that can be typed, `faults hose_1` for what can be wrong
  with a part, `parts hose_1` for what it is joined to, `parts` for all. `Esc` leads back.
- `F5` **suspects**: `suspect hose_1` or `suspect hose_1 leak` keeps what you think of, `rule out
  hose_1` takes it off, `write TEXT` is a note. They cost nothing and stand above the list.
- `F2` **finding**: name the part and what is wrong (`finding hose_1 leak`), with `or` for another
  one that it may be, `and` for a second fault, or `finding none`. `F3` **repair**: again for
  another kind. `F4` **function test**, `F6` **hand back**: then the debrief is shown. `F7` the
  briefing.
- The **list** holds all that was done, with its time and what came of it; `UNSAFE` stands where it
  was. Enter on a row puts its line into the line to type in again. `Esc` leaves that line.
- `hint` gives the next written hint; in some drills, when there is none left, the test that tells
  most next.
- **Trainer:** the same list as it happens. `F2` or Enter: a note to the trainee. `F3`: a hint,
  which costs minutes. `space` stops and starts the clock. `F4`: what a diagnostician thinks who
  knows what the trainee knows, and why; it is there when what faults of the ride would show is.
"""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("tab", "take", show=False),
        Binding("escape", "leave_line", show=False),
        Binding("enter", "to_line", show=False),
        Binding("f2", "first", show=False),
        Binding("f3", "second", show=False),
        Binding("f4", "fourth", show=False),
        Binding("f5", "say_line('suspect ')", show=False),
        Binding("f6", "say_line('hand back')", show=False),
        Binding("f7", "briefing", show=False),
    ]
    DEFAULT_CSS = """
    DrillView { layout: vertical; padding: 0 1; }
    DrillView #state { height: auto; max-height: 7; color: $text-muted; }
    DrillView #story { height: 1fr; }
    DrillView #story Static { height: auto; }
    DrillView #evidence { height: 1fr; border-top: solid $secondary 50%; padding: 0; }
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
        self._words = ""
        """What is read in place of the list: the briefing, or what was looked up; "" = nothing."""
        self._follows = False
        """What the diagnostician thinks is read instead, as it changes."""
        self._repair = -1
        """Place of the repair that the key put into the line last."""

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
        yield DrillLine(self.link, id="line")
        with Horizontal(id="drill-keys"):
            for name, words in BUTTONS[self.link.seat]:
                button = Button(words, id=f"do-{name}", compact=True)
                button.can_focus = False  # a click leaves the focus in the line
                button.styles.line_pad = 0  # six of them fit 80 columns
                yield button

    def on_mount(self) -> None:
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

    @property
    def line(self) -> DrillLine:
        """The line to work with."""
        return self.query_one("#line", DrillLine)

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
    def _reading(self) -> str:
        """What is read in place of the list; "" = nothing."""
        return "\n".join(self.link.thought[1:]) if self._follows else self._words

    @property
    def _story_shown(self) -> bool:
        return self._stage != "work" or bool(self._reading)

    def _arrange(self) -> None:
        working = self._stage == "work"
        self.query_one("#story").display = self._story_shown
        self.query_one("#begin").display = self._stage == "briefing" and self._trainee
        self.query_one("#evidence").display = working and not self._reading
        for name in ("#line", "#drill-keys"):
            self.query_one(name).display = working
        hint = next(iter(self.query("#do-hint").results(Button)), None)
        if hint is not None:
            left = self.work.hints
            hint.label = f"F3 hint ({left} left)" if left or not self.work.has_hint else "F3 hint"
            hint.disabled = not self.work.has_hint
        self.query("#do-thought").set(display=len(self.link.thought) > 1)

    @property
    def _stopped(self) -> str:
        """That the clock is stopped, and what starts it."""
        if not self.link.keeps_time:
            return "CLOCK STOPPED by the trainer"
        return f"CLOCK STOPPED: {'the next line' if self._trainee else 'space'} starts it"

    def _show_state(self, work: Work) -> None:
        width = max(self.size.width - 2, 1)
        frame, rows = self.link.frame, [text.short(title_row(work), width)]
        if self._stage == "work":
            said = state_rows(work, frame.time, "" if frame.running else self._stopped)
            rows = [text.short(line, width) for line in said]
            for short in self.link.thought[:1]:
                rows += text.wrapped(f"diagnostician: {short}", width, 3)
        if rows != self._drawn:
            self._drawn = rows
            head = Content.styled(rows[0], "bold $foreground")
            self.query_one("#state", Static).update(
                Content("\n").join([head, *map(Content, rows[1:])])
            )

    def _tell_story(self, work: Work) -> None:
        story = debriefing(work) or self._reading or briefing(work, self.link.seat)
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

    @on(DrillLine.Given)
    def _given(self, event: DrillLine.Given) -> None:
        event.stop()
        self._repair = -1
        if self._trainee:
            self.ask(Line(event.text))
        else:
            self.ask(Tell(event.text))
            self.query_one("#evidence").focus()  # where space stops the clock

    @on(DrillLine.LookUp)
    def _look_up(self, event: DrillLine.LookUp) -> None:
        """Shows what costs nothing in place of the list."""
        event.stop()
        match event.text.split():
            case ["briefing"]:
                self.action_briefing()
            case ["evidence"]:
                self.action_leave_line()
            case ["panel", *_]:
                self.line.tell("The panel is in views 1 to 6: Esc, then the digit.")
            case _:
                self._read_up(event.text)

    def _read_up(self, line: str) -> None:
        circuit = self.link.plant.circuit
        try:
            found = looked_up(circuit, line)
            told = list(found) if found is not None else help_lines("briefing, evidence, help")
        except InputError as error:
            self.line.tell(str(error))
            return
        self._read("\n".join(told))

    def _read(self, words: str, follows: bool = False) -> None:
        """Shows words in place of the list, or `follows` what the diagnostician thinks; "" = the
        list again."""
        self._words, self._follows = words, follows
        self.show()
        self.query_one("#story").scroll_home(animate=False)
        if (first := self.first) is not None:
            first.focus()

    def _put(self, value: str) -> None:
        """Puts words into the line, to be gone on with."""
        if self._reading:
            self._read("")
        self.line.put(value)

    def begin(self, component: str = "") -> None:
        """Ready to type."""
        if (first := self.first) is not None:
            first.focus()
        if self._stage == "work":
            self.line.box.focus()

    def answered(self, request: Request, answer: Answer) -> bool:
        if not isinstance(request, Line) or not self.display:
            return False
        if not answer.done and self._stage != "debrief":
            self.line.put_back(request.text, f"{request.text}: {answer.text}")
        return True

    # keys and buttons

    @property
    def _in_line(self) -> bool:
        return self.line.box.has_focus

    def action_take(self) -> None:
        if not self._in_line:
            self.screen.focus_next()
            return
        self.line.complete()

    def action_leave_line(self) -> None:
        if self._reading:
            self._read("")
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
        elif self.work.has_hint:
            cost = minutes(self.link.plant.circuit.downtime.hint)
            left = f"{hints_left(self.work)}."
            self.app.push_screen(
                Confirm("A hint for the trainee", [f"It costs the trainee {cost}. {left}"]),
                lambda go: self.ask(Line("hint")) if go else None,
            )
        else:
            self.notify("This drill has no further hint.", severity="warning")

    def action_fourth(self) -> None:
        """A function test; of the trainer what the diagnostician thinks, or the list again."""
        if self._trainee:
            self.action_say_line("function test")
        elif self._stage == "work" and self.link.thought:
            self._read("", follows=not self._reading)

    def action_say_line(self, line: str) -> None:
        if self._stage == "work" and self._trainee:
            self._put(line)

    def action_briefing(self) -> None:
        """Shows the briefing again, or the list."""
        if self._stage == "work":
            self._read("" if self._reading else briefing(self.work, self.link.seat))

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
            case "do-test" | "do-thought":
                self.action_fourth()
            case "do-suspect":
                self.action_say_line("suspect ")
            case "do-back":
                self.action_say_line("hand back")
            case "do-briefing":
                self.action_briefing()
