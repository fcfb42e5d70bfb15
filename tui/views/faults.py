"""The trainer's view: breaking things, taking the air or the power away, and putting it right."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.widgets import Button, Input, OptionList, Static
from textual.widgets.option_list import Option

from pneumo.components.base import Component, FaultMode, Severity
from pneumo.live.frame import FaultFrame, Frame
from pneumo.live.link import Link
from pneumo.live.request import Do, Hide, Request
from pneumo.units import format_severity
from tui import sentences, text
from tui.view import View
from tui.widgets.choice import Choice, Filtered
from tui.widgets.options import Options

_WHEN = ("delay", "over", "every", "lasts")
"""Fields of when a fault comes and goes."""


def grades(scale: Severity) -> tuple[str, ...]:
    """Severities worth trying, from the mildest to the worst the mode allows."""
    values = sorted({scale.low, *scale.campaign, scale.default, scale.high})
    return tuple(format_severity(value, scale.unit) for value in values)


def fault_sentence(
    component: str, mode: str, severity: str, delay: str, over: str, every: str, lasts: str
) -> str:
    """The sentence of a fault; fields left empty say nothing."""
    parts = ["fault", component, mode, severity]
    parts += [word for label, value in (("over", over), ("every", every), ("for", lasts)) if value
              for word in (label, value)]  # fmt: skip
    said = " ".join(part for part in parts if part)
    return f"in {delay}: {said}" if delay else said


def cut_supply(link: Link) -> tuple[str, ...]:
    """Sentences that switch off every supply that is on."""
    off = link.frame.switched_off
    return tuple(f"switch off {name}" for name in link.plant.supplies if name not in off)


def losses_back(link: Link) -> tuple[str, ...]:
    """Sentences that bring power and supplies back."""
    frame = link.frame
    back = [f"switch on {n}" for n in link.plant.supplies if n in frame.switched_off]
    return (*back, "power on") if frame.power is False else tuple(back)


class _Grade(Input):
    """The severity: up and down step through the grades of the mode."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "step(1)", show=False),
        Binding("down", "step(-1)", show=False),
    ]
    steps: tuple[str, ...] = ()

    def action_step(self, by: int) -> None:
        if not self.steps:
            return
        at = self.steps.index(self.value) if self.value in self.steps else -1 if by > 0 else 1
        self.value = self.steps[min(max(at + by, 0), len(self.steps) - 1)]
        self.cursor_position = len(self.value)


class FaultsView(View):
    """Component, mode, severity, time: one sentence; below, what stands."""

    TITLE = "faults"
    HELP = """
## Faults (trainer's seat)
Type parts of a component's name, its kind, or its fault (`trim valve stuck`), Enter. Choose how it
fails (up and down), Enter. Change the severity
(up and down step through sensible ones) or when it comes, Enter: it is injected. The line that
begins with *fault* is what is done, and is written into the journal of the run.

- **begins in** `5 s`: later; empty: now. **grows over** `3 s`: from nothing to its severity.
  **repeats every** `10 s` **lasts** `2 s`: an intermittent fault.
- A fault is hidden from the trainee's seat or shown there; several may stand at a time.
- Below: the faults that stand or are to come. `c` or Delete clears the marked one, `v` hides or
  shows it. `u` and `U` take the last act back and do it again.
- Losses: `A` cuts the air (every compressor and supply), `P` the power, `B` both, `G` gives both
  back. `w` saves the situation as a scenario or a drill.

Replay faults here. On a real ride none is brought about unless a licensed person has planned it,
nobody is on board and the area is clear.
"""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("c,delete", "clear", "clear"),
        Binding("v", "hide", "hide or show"),
        Binding("A", "lose('air')", "cut air"),
        Binding("P", "lose('power')", "cut power"),
        Binding("B", "lose('both')", "cut both"),
        Binding("G", "lose('back')", "restore"),
        Binding("escape", "to_list", show=False),
    ]
    DEFAULT_CSS = """
    FaultsView { layout: vertical; }
    FaultsView #parts { height: 1fr; }
    FaultsView #who, FaultsView #how, FaultsView #standing-box {
        border-top: solid $secondary 50%; border-title-color: $text-muted; padding: 0 1;
    }
    FaultsView #who { width: 2fr; height: 1fr; }
    FaultsView #how { width: 3fr; height: 1fr; }
    FaultsView OptionList { text-wrap: nowrap; text-overflow: ellipsis; }
    FaultsView #modes { height: auto; border: none; padding: 0; }
    FaultsView #effect { height: 2; color: $text-muted; }
    FaultsView .fields { height: 1; }
    FaultsView .fields Static { width: auto; padding: 0 1 0 0; color: $text-muted; }
    FaultsView .fields Input { width: 11; margin: 0 1 0 0; }
    FaultsView #range { color: $text-muted; }
    FaultsView #said { height: 2; }
    FaultsView #standing-box { height: 6; }
    FaultsView #standing { height: 1fr; border: none; padding: 0; }
    FaultsView #none { height: auto; color: $text-muted; }
    FaultsView #losses { height: 1; padding: 0 1; }
    FaultsView #losses Static { width: auto; padding: 0 1 0 0; color: $text-muted; }
    .-events FaultsView #standing-box, .-strip.-tall FaultsView #standing-box { height: 30%; }
    """

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        self.hidden = True
        """Whether the next fault is kept from the trainee."""
        self._modes: tuple[FaultMode, ...] = ()
        self._standing: tuple[FaultFrame, ...] | None = None

    # what is on screen

    def compose(self) -> ComposeResult:
        choices = [
            Choice(name, name, sentences.named(self.link.plant, name), _modes_of(component))
            for name, component in self.link.plant.circuit.components.items()
            if component.fault_modes()
        ]
        with Horizontal(id="parts"):
            with Vertical(id="who") as who:
                who.border_title = "component"
                yield Filtered(choices, "type: trim valve stuck", id="component")
            with Vertical(id="how") as how:
                how.border_title = "how it fails"
                yield Options(id="modes", markup=False, compact=True)
                yield Static(id="effect", markup=False)
                with Horizontal(classes="fields"):
                    yield Static("severity")
                    yield _Grade(id="severity", compact=True)
                    yield Static(id="range", markup=False)
                with Horizontal(classes="fields"):
                    yield Static("begins in")
                    yield Input(id="delay", placeholder="now", compact=True)
                    yield Static("grows over")
                    yield Input(id="over", placeholder="at once", compact=True)
                with Horizontal(classes="fields"):
                    yield Static("repeats every")
                    yield Input(id="every", placeholder="once", compact=True)
                    yield Static("lasts")
                    yield Input(id="lasts", placeholder="–", compact=True)
                yield Static(id="said", markup=False)
                with Horizontal(classes="fields"):
                    yield Button("Inject", id="inject", compact=True)
                    yield Button(Content(_hidden_words(True)), id="hidden", compact=True)
        with Vertical(id="standing-box") as standing:
            standing.border_title = "faults active or to come (c clears, v hides or shows)"
            yield Static(id="none", markup=False)
            yield Options(id="standing", markup=False, compact=True)
        with Horizontal(id="losses"):
            yield Static("losses (A P B G)")
            yield Button("Cut air", id="lose-air", compact=True)
            yield Button("Cut power", id="lose-power", compact=True)
            yield Button("Both", id="lose-both", compact=True)
            yield Button("Restore", id="lose-back", compact=True)
            yield Button("Save (w)", id="save", compact=True)

    def on_resize(self) -> None:
        # as many modes as leave room for the fields below them
        room = self.query_one("#how").size.height - 8
        self.query_one("#modes").styles.max_height = max(room, 2)

    def show(self) -> None:
        frame = self.link.frame
        if frame.faults != self._standing:
            self._show_standing(frame)

    def _show_standing(self, frame: Frame) -> None:
        self._standing = frame.faults
        options = self.query_one("#standing", OptionList)
        at = options.highlighted or 0
        options.clear_options()
        options.add_options(Option(_row(fault, frame)) for fault in frame.faults)
        if frame.faults:
            options.highlighted = min(at, len(frame.faults) - 1)
        options.display = bool(frame.faults)
        none = self.query_one("#none", Static)
        none.display = not frame.faults
        none.update("none: nothing is defective")

    def look_at(self, component: str) -> None:
        if component != self.component:
            self.query_one("#component", Filtered).select(component)

    def begin(self, component: str = "") -> None:
        """An empty form, ready to choose a component, or a mode of the given one."""
        for name in _WHEN:
            self.query_one(f"#{name}", Input).clear()
        choices = self.query_one("#component", Filtered)
        choices.clear()
        if component and choices.select(component):
            self.query_one("#modes").focus()
        else:
            choices.focus_filter()

    # choosing

    @property
    def component(self) -> str:
        """The component that is marked, "" when none is."""
        choice = self.query_one("#component", Filtered).choice
        return str(choice.value) if choice is not None else ""

    @property
    def mode(self) -> FaultMode | None:
        """The mode that is marked."""
        at = self.query_one("#modes", OptionList).highlighted
        return self._modes[at] if at is not None and at < len(self._modes) else None

    @property
    def sentence(self) -> str:
        """What would be done."""
        if self.mode is None:
            return ""
        return fault_sentence(
            self.component, self.mode.name, *(
                " ".join(self.query_one(f"#{name}", Input).value.split())
                for name in ("severity", *_WHEN)
            )
        )  # fmt: skip

    @on(Filtered.Highlighted)
    def _component_marked(self, message: Filtered.Highlighted) -> None:
        message.stop()
        component = self.component
        self._modes = (
            self.link.plant.circuit.components[component].fault_modes() if component else ()
        )
        self.query_one("#how").border_title = (
            f"how {component} fails" if component else "how it fails"
        )
        options = self.query_one("#modes", OptionList)
        options.clear_options()
        width = max((len(mode.name) for mode in self._modes), default=0)
        options.add_options(
            Option(
                Content.assemble(mode.name.ljust(width + 2), (mode.effect, "$text-muted")),
            )
            for mode in self._modes
        )
        options.highlighted = self._meant(message.source) if self._modes else None
        self._mode_marked()

    def _meant(self, component: Filtered) -> int | None:
        """Place of the mode that the words typed speak of, or of the only one there is; None: it is
        still to be chosen."""
        choice = component.choice
        assert choice is not None
        own = Choice(choice.name, "", choice.about)
        left = [word for word in component.words if not own.matches([word])]
        fits = [sum(word in mode.name for word in left) for mode in self._modes]
        if len(fits) > 1 and not any(fits):
            return None
        return fits.index(max(fits))

    @on(Filtered.Chosen)
    def _component_chosen(self, message: Filtered.Chosen) -> None:
        message.stop()
        self.pick(str(message.choice.value))
        self.query_one("#modes").focus()

    @on(OptionList.OptionHighlighted, "#modes")
    def _mode_marked(self) -> None:
        mode = self.mode
        scale = mode.severity if mode is not None else None
        self.query_one("#effect", Static).update(Content(mode.effect if mode else ""))
        grade = self.query_one("#severity", _Grade)
        grade.disabled = scale is None
        grade.steps = grades(scale) if scale else ()
        grade.value = format_severity(scale.default, scale.unit) if scale else ""
        words = f"{grade.steps[0]} to {grade.steps[-1]}" if scale else "all or nothing"
        if mode is None:
            words = ""
        self.query_one("#range", Static).update(Content(words))
        self._say()

    @on(OptionList.OptionSelected, "#modes")
    def _mode_chosen(self) -> None:
        mode = self.mode
        if mode is not None:
            graded = mode.severity is not None
            self.query_one("#severity" if graded else "#inject").focus()

    @on(Input.Changed, "#severity, #delay, #over, #every, #lasts")
    def _say(self) -> None:
        said = self.query_one("#said", Static)
        sentence = self.sentence
        problem = sentences.problem(sentence, self.link.plant) if sentence else ""
        said.update(Content.styled(f"! {problem}", "$error") if problem else Content(sentence))

    # acting

    @on(Input.Submitted, "#severity, #delay, #over, #every, #lasts")
    @on(Button.Pressed, "#inject")
    def _inject(self) -> None:
        sentence = self.sentence
        if not sentence:
            self._tell("Choose a component and how it fails first.")
        elif problem := sentences.problem(sentence, self.link.plant):
            self._tell(problem)
        else:
            self.ask(Do(sentence, hidden=self.hidden))
            self.query_one("#component", Filtered).options.focus()

    def _tell(self, problem: str) -> None:
        self.query_one("#said", Static).update(Content.styled(f"! {problem}", "$error"))

    @on(Button.Pressed, "#hidden")
    def _toggle_hidden(self) -> None:
        self.hidden = not self.hidden
        self.query_one("#hidden", Button).label = Content(_hidden_words(self.hidden))

    @on(Button.Pressed, "#save")
    async def _save(self) -> None:
        await self.run_action("app.offer('save')")

    @on(Button.Pressed, "#lose-air, #lose-power, #lose-both, #lose-back")
    def _lose(self, event: Button.Pressed) -> None:
        self.action_lose(str(event.button.id).removeprefix("lose-"))

    @on(OptionList.OptionSelected, "#standing")
    def _standing_chosen(self) -> None:
        self.notify("c clears this fault, v hides or shows it.", timeout=3)

    def _marked(self) -> FaultFrame | None:
        at = self.query_one("#standing", OptionList).highlighted
        faults = self.link.frame.faults
        return faults[at] if at is not None and at < len(faults) else None

    def action_clear(self) -> None:
        """Puts the marked fault right."""
        fault = self._marked()
        if fault is None:
            self.notify("No fault stands: there is nothing to clear.")
        else:
            self.ask(Do(f"clear {fault.component} {fault.mode}"))

    def action_hide(self) -> None:
        """Keeps the marked fault from the trainee, or shows it."""
        fault = self._marked()
        if fault is None:
            self.notify("No fault stands: there is nothing to hide.")
        else:
            self.ask(Hide(fault.component, fault.mode, not fault.hidden))

    def action_lose(self, what: str) -> None:
        """Takes air, power or both away, or gives them back."""
        for request in self._loss(what):
            self.ask(request, sure=True)  # a loss is played, nobody turns anything by hand

    def _loss(self, what: str) -> Iterable[Request]:
        said = losses_back(self.link) if what == "back" else ()
        if what in ("air", "both"):
            said += cut_supply(self.link)
        if what in ("power", "both") and self.link.frame.power is not False:
            said += ("power off",)
        if not said:
            self.notify("Nothing is left to do: it is so already.")
        return [Do(sentence) for sentence in said]

    def action_to_list(self) -> None:
        """Escape leaves a field for the list, where keys are keys again."""
        self.query_one("#component", Filtered).options.focus()


def _modes_of(component: Component) -> str:
    return " ".join(mode.name for mode in component.fault_modes())


def _hidden_words(hidden: bool) -> str:
    return f"[{'x' if hidden else ' '}] hidden from the trainee"


def _row(fault: FaultFrame, frame: Frame) -> Content:
    if fault.present:
        mark, words = "x", f"since {text.clock(fault.at)}"
    elif fault.at > frame.time:
        mark, words = "·", f"comes at {text.clock(fault.at)}"
    elif " every " in f" {fault.sentence} ":
        mark, words = "·", "not present right now"
    else:
        mark, words = "x", f"growing since {text.clock(fault.at)}"
    seen = "hidden" if fault.hidden else "shown"
    return Content.assemble(
        (f"{mark} ", "$error bold" if fault.present else ""),
        f"{fault.sentence:34}  ",
        (f"{words:22} {seen}", "$text-muted"),
    )
