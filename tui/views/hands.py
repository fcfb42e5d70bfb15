"""What a person does at the ride: the operator's controls, acts by hand, and tests."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from itertools import product
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from pneumo.circuit.couplings import test_points
from pneumo.circuit.verbs import (
    ALL,
    VERBS,
    Coil,
    Jaws,
    Part,
    Repairable,
    Slot,
    Word,
    ZoneName,
)
from pneumo.circuit.verbs import Choice as ByWord
from pneumo.inspection.tests import TESTS, Target, targets
from pneumo.live.frame import Frame
from pneumo.live.link import Link
from pneumo.live.plant import Plant
from pneumo.live.request import Answer, Do, Hand, Request
from tui import sentences, text
from tui.physical import cautions_for, needs_confirming
from tui.view import View
from tui.widgets.choice import Choice, Filtered
from tui.widgets.options import Options

Targets = Callable[[Plant, Frame], Iterable[tuple[str, str]]]
"""What an act may be done to, each with a few words about it."""


@dataclass(frozen=True)
class Act:
    """One thing a person can do."""

    group: str
    words: str
    targets: Targets
    request: Callable[[str], Request]
    follows: bool = True
    """Whether the words about its targets change as the ride goes on."""


def _tested(of: Target, plant: Plant, frame: Frame) -> Iterable[tuple[str, str]]:
    """Targets of a test; ports at which a test gauge fits come first."""
    if of == "port":
        fits = test_points(plant.circuit)
        inside = (port for port in plant.ports if not plant.nets[plant.net_of[port]].outside)
        for port in sorted(inside, key=lambda port: port not in fits):
            about = sentences.named(plant, port.component)
            yield str(port), f"{about}, test point" if port in fits else about
        return
    for name in targets(plant.circuit, of):
        zone = plant.circuit.zone_of(name) if of == "brake" else None
        about = "coil" if of == "coil" else sentences.named(plant, name)
        yield name, f"zone {zone}" if zone else about


def _places(slot: Slot | None, plant: Plant, frame: Frame) -> Iterable[tuple[str, str]]:
    """What may stand at a place of a sentence, each with its state."""
    if slot is None:
        return [("ride", "every zone")]
    return ((name, _state(slot, name, plant, frame))
            for name in sentences.offered(slot, [], plant, frame))  # fmt: skip


def _state(slot: Slot, name: str, plant: Plant, frame: Frame) -> str:
    match slot:
        case ZoneName() if name in plant.zones:
            return frame.zones[plant.zones.index(name)].state
        case ZoneName():
            return "every zone" if name == ALL else "gates"
        case Part(_, "turnable"):
            return "out of service" if name in frame.isolated else "in service"
        case Part(_, "drainable"):
            return "drain open" if name in frame.drained else "drain closed"
        case Part():
            state = "off" if name in frame.switched_off else "on"
            return f"{sentences.named(plant, name)}, {state}"
        case Coil():
            return "held" if name in frame.overridden else "released"
        case Jaws():
            brakes = (name,) if name in plant.brakes else plant.circuit.zones[name].brakes
            blocked = all(brake in frame.blocked for brake in brakes)
            return "blocked" if blocked else "not blocked"
        case Repairable():
            return sentences.named(plant, name.partition(".")[0])
    return ""


def _said(by: str) -> Iterator[Act]:
    """What the sentences that are said or done so say, each word of a choice by itself."""
    group = {"desk": "operator", "hand": "by hand"}[by]
    for row in VERBS.values():
        if row.by != by:
            continue
        places = [slot for slot in row.slots if not isinstance(slot, Word | ByWord)]
        if len(places) > 1:
            continue  # the list asks for one place: this one is typed
        where = places[0] if places else None
        words = [_words(slot) for slot in row.slots]
        for each in product(*words):
            form = " ".join((row.word, *each))
            yield Act(group, form.replace(" {}", ""), partial(_places, where), partial(_do, form))


def _words(slot: Slot) -> Iterable[str]:
    """Each of them an act of its own; "{}" for where it is done."""
    match slot:
        case Word(word):
            return (word,)
        case ByWord():
            return slot.words
    return ("{}",)


def _do(form: str, name: str) -> Request:
    return Do(form.format(name))


def acts() -> tuple[Act, ...]:
    """Everything a person can do, in the order in which it is listed."""
    return (
        *_said("desk"),
        *(
            Act("tests", row.about, partial(_tested, row.target), partial(Hand, row.word), False)
            for row in TESTS.values()
        ),
        *_said("hand"),
    )


def possible(plant: Plant, frame: Frame) -> tuple[Act, ...]:
    """Acts for which the circuit has a target."""
    return tuple(act for act in acts() if any(True for _ in act.targets(plant, frame)))


class HandsView(View):
    """Act, target, cautions, and a notebook of what was found."""

    TITLE = "tests"
    HELP = """
## Tests and actions
What a person can do at the ride, from either seat: choose an act, Enter, choose where (type to
filter), Enter. Left and right, or Tab, go between the lists.

- **operator:** what is on the desk. **tests:** a gauge at a test point (those come first in the
  list), ears, soapy water, eyes, callipers, a bar and a load cell at a jaw, a multimeter at a coil,
  at its winding and at the output card. **by hand:** shut-off valves, drains, manual overrides,
  switches, blocks between jaws, and repairs, each where it can end a fault (a `swap` of two plugs
  is typed).
- Cautions are shown before every act that touches the system, in a drill once for each kind of
  risk; it is done once they are confirmed. In a drill an act costs its minutes and stands in the
  list of page `0` as well.
- The **notebook** keeps each result with the time of the run. Nothing is wiped from it.

Nothing here releases anybody from local codes, the maker's instructions and licensed practice.
"""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,left", "to_acts", show=False),
        Binding("right", "to_targets", show=False),
    ]
    DEFAULT_CSS = """
    HandsView { layout: grid; grid-size: 2 2; grid-columns: 22 1fr; grid-rows: 1fr 38%; }
    HandsView #acts-box, HandsView #where-box, HandsView #notes-box {
        border-top: solid $secondary 50%; border-title-color: $text-muted;
        padding: 0 1; height: 1fr;
    }
    HandsView #notes-box { column-span: 2; }
    HandsView #acts, HandsView #notes { height: 1fr; border: none; padding: 0; }
    HandsView #cautions { height: auto; max-height: 5; color: $warning; }
    HandsView #empty { color: $text-muted; height: auto; }
    .-events HandsView {
        grid-size: 3 1; grid-columns: 22 1fr 1fr; grid-rows: 1fr;
    }
    .-events HandsView #notes-box { column-span: 1; }
    """

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        self.acts = possible(link.plant, link.frame)
        self.notes: list[tuple[float, str, str]] = []
        """(time of the run [s], what was done, result)"""
        self._rows: list[Act | None] = []
        self._act: Act | None = None
        self._targets: list[tuple[str, str]] = []

    def compose(self) -> ComposeResult:
        with Vertical(id="acts-box") as box:
            box.border_title = "act"
            yield Options(id="acts", markup=False, compact=True)
        with Vertical(id="where-box") as box:
            box.border_title = "where"
            yield Filtered((), "type to filter", id="where")
            yield Static(id="cautions", markup=False)
        with Vertical(id="notes-box") as box:
            box.border_title = "notebook"
            yield Static("nothing noted yet", id="empty", markup=False)
            yield Options(id="notes", markup=False, compact=True)

    def on_mount(self) -> None:
        options = self.query_one("#acts", OptionList)
        group = ""
        for act in self.acts:
            if act.group != group:
                group = act.group
                self._rows.append(None)
                options.add_option(Option(Content.styled(group, "$text-muted"), disabled=True))
            self._rows.append(act)
            options.add_option(Option(f"  {act.words}"))
        options.highlighted = 1
        self._show_notes()

    def show(self) -> None:
        if self._act is None or not self._act.follows:
            return
        now = list(self._act.targets(self.link.plant, self.link.frame))
        if now != self._targets:
            self._set_targets(now)

    def _set_targets(self, targets: list[tuple[str, str]]) -> None:
        self._targets = targets
        where = self.query_one("#where", Filtered)
        where.set_choices([Choice(name, name, about) for name, about in targets], keep=True)

    def look_at(self, component: str) -> None:
        where = self.query_one("#where", Filtered)
        match = (n for n, _ in self._targets if n.partition(".")[0] == component)
        if (name := next(match, None)) is not None:
            where.select(name)

    def begin(self, component: str = "") -> None:
        """Ready to choose a test."""
        options = self.query_one("#acts", OptionList)
        tests = (i for i, act in enumerate(self._rows) if act is not None and act.group == "tests")
        options.highlighted = next(tests, options.highlighted)
        options.focus()

    # choosing

    @on(OptionList.OptionHighlighted, "#acts")
    def _act_marked(self, event: OptionList.OptionHighlighted) -> None:
        act = self._rows[event.option_index]
        if act is None or act is self._act:
            return
        self._act = act
        self.query_one("#where-box").border_title = f"{act.words}: where"
        self._targets = list(act.targets(self.link.plant, self.link.frame))
        where = self.query_one("#where", Filtered)
        where.set_choices([Choice(name, name, about) for name, about in self._targets])
        self.query_one("#cautions", Static).update(Content(_told(act.request("x"))))

    @on(OptionList.OptionSelected, "#acts")
    def _act_chosen(self) -> None:
        if len(self._targets) == 1:
            self._do(self._targets[0][0])
        else:
            self.query_one("#where", Filtered).focus_filter()

    @on(Filtered.Highlighted)
    def _target_marked(self, message: Filtered.Highlighted) -> None:
        message.stop()

    @on(Filtered.Chosen)
    def _target_chosen(self, message: Filtered.Chosen) -> None:
        message.stop()
        self._do(str(message.choice.value))

    def _do(self, target: str) -> None:
        if self._act is None:
            return
        component = target.partition(".")[0]
        if component in self.link.plant.circuit.components:
            self.pick(component)
        self.ask(self._act.request(target))
        self.query_one("#where", Filtered).filter.value = ""

    def action_to_acts(self) -> None:
        self.query_one("#acts").focus()

    def action_to_targets(self) -> None:
        self.query_one("#where", Filtered).options.focus()

    # the notebook

    def answered(self, request: Request, answer: Answer) -> bool:
        if isinstance(request, Hand):
            done = f"{request.test} {request.target}"
        elif isinstance(request, Do) and cautions_for(request):
            done = request.sentence
        else:
            return False
        result = answer.text or ("done" if answer.done else "not done")
        self.notes.append((self.link.frame.time, done, result))
        self._show_notes()
        return isinstance(request, Hand) and self.display and self.screen.is_current

    def _show_notes(self) -> None:
        options = self.query_one("#notes", OptionList)
        for time, done, result in self.notes[options.option_count :]:
            options.add_option(
                Option(
                    Content.assemble(
                        (f"{text.clock(time):>9}  ", "$text-muted"), (f"{done}: ", "bold"), result
                    )
                )
            )
        options.display = bool(self.notes)
        self.query_one("#empty", Static).display = not self.notes
        if self.notes:
            options.highlighted = len(self.notes) - 1


def _told(request: Request) -> str:
    """Cautions beside the targets; what is confirmed before the act is not said twice in full."""
    told = cautions_for(request)
    if not told:
        return ""
    if needs_confirming(request):
        return f"! {told[1]} (All cautions are shown before the act.)"
    return "! " + " ".join(told)
