"""The controller's inputs and outputs: what it reads, what it commands, and what is forced."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from typing import ClassVar, Literal, NamedTuple, cast

import numpy as np
from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from pneumo.live.frame import Frame
from pneumo.live.link import Link, Past
from pneumo.live.plant import Input as Contact
from pneumo.live.plant import Output, Plant
from pneumo.live.request import Do
from tui import text
from tui.judgement import first_in_trouble
from tui.screens.confirm import Confirm
from tui.view import View
from tui.widgets.filter_line import FilterLine
from tui.widgets.rows import Line, Look, Piece, Rows, Words, cut

RECENT = 3.0
"""For so long a change is marked [s of the run]."""

FORCING = (
    "A force gives the controller a value that is not so: its interlocks and alarms act on that "
    "value, not on the real one.",
    "The zone may move at once. Stay clear of the jaws; nobody on the train, nobody at the brakes.",
    "On a real ride only a licensed person forces, by local codes, the rules of the site and the "
    "maker's instructions, with the ride closed, the force written down, a second person watching.",
    "Take every force out again before the ride is given back.",
)
UNFORCING = (
    "The controller goes by what is there again, and may move the zone at once.",
    "Stay clear of the jaws. See that nobody is at the brakes before a force is taken out.",
    "Local codes, the maker's instructions and licensed practice come first.",
)


class SignalRow(NamedTuple):
    """All that the list shows of an input or output."""

    name: str
    """As sentences name it: "trim_charged", "trim_valve_a.14"."""
    component: str
    sort: Literal["input", "output"]
    tells: str
    """What it means when ON."""
    on: bool
    forced: bool
    recent: bool
    wide: int
    """Cells for the name."""
    zone: str
    """Zone or group of gates; the ride's name for its own."""
    first: bool = False
    """Stands among the forced ones at the top; under its zone it stands besides."""

    @property
    def value(self) -> str:
        """In words."""
        return text.state(self.on)


class Heading(NamedTuple):
    """Stands over the signals of a zone."""

    words: str
    bad: bool = False
    """Over what needs attention."""


class SignalsView(View):
    """The panel of the controller: every input and output, zone by zone."""

    TITLE = "signals"
    HELP = """
# Signals

What the controller reads and what it commands, zone by zone. An input or output is `ON` or
`OFF`; beside it stands what ON means. What is forced stands at the top besides. Both
seats see the same: it is the controller's panel, not the ride. Whether a contact tells the truth
is for you to find out.

A **force** holds an input for the logic, or an output, at a value, whatever the ride does.

| key | does |
|---|---|
| + | forces the input or output ON |
| - | forces the input or output OFF |
| d | takes the force out |
| D | takes every force out |
| / | filter by words, such as `trim closed`, `output`, `forced`, `changed` |
| enter | shows the component in the other views |

Marks: `F` forced, `*` changed in the last 3 s of the run, `■` ON, `□` OFF.

Forcing defeats the protection that the controller gives. The cautions are shown before each force;
on a real ride it is for licensed people under the rules of the site.
"""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("plus", "force(True)", "Force ON"),
        Binding("minus", "force(False)", "Force OFF"),
        Binding("d", "unforce", "Unforce"),
        Binding("D", "unforce_all", "Unforce all"),
        Binding("slash", "filter", "Filter"),
        Binding("escape", "leave_filter", "List", show=False),
    ]
    DEFAULT_CSS = """
    SignalsView {
        layout: vertical;
        #signals-list { height: 1fr; }
    }
    """

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        self._columns = _columns(link.plant)
        self._forced = 0
        self._head = Words(id="signals-head")
        self._tools = Words(id="signals-tools")
        self._list = Rows(
            lambda row, width: [draw_signal(row, width)],
            empty="No input or output fits.",
            pickable=lambda row: isinstance(row, SignalRow),
            key=lambda row: (row.name, row.first) if isinstance(row, SignalRow) else row,
            id="signals-list",
        )
        self._filter = FilterLine(self.show, list=self._list, id="signals-filter")

    def compose(self) -> ComposeResult:
        yield self._head
        yield self._list  # first, so that it and not the filter gets the focus
        yield self._filter
        yield self._tools

    def on_mount(self) -> None:
        self._tools.fill((
            Piece("[+ force ON]", "button", "on"), Piece(" "),
            Piece("[- force OFF]", "button", "off"), Piece(" "),
            Piece("[d unforce]", "button", "unforce"), Piece(" "),
            Piece("[D unforce all]", "button", "unforce all"), Piece(" "),
            Piece("[/ filter]", "button", "filter"),
        ))  # fmt: skip
        self.show()
        self.call_after_refresh(self._go_to_trouble)  # the list has its height by then

    def show(self) -> None:
        plant, frame = self.link.plant, self.link.frame
        recent = changed(self.link.past, frame, self._columns)
        rows = signal_rows(plant, frame, recent)
        everything = len(plant.inputs) + len(plant.outputs)
        words = self._filter.words
        if words:
            rows = matching(rows, words)
        self._list.fill(rows)
        found = sum(isinstance(row, SignalRow) and not row.first for row in rows)
        forces = sum(frame.forced_inputs) + sum(frame.forced_outputs)
        if forces != self._forced:  # lines have come or gone above the cursor
            self._forced = forces
            self._list.go(self._list.cursor)
        count: Line = (
            (Piece(f"F {forces} forced", "warn"),) if forces else (Piece("nothing forced"),)
        )
        shown = f"{found} of {everything}" if found < everything else f"{everything}"
        label = f"{shown} inputs and outputs"
        if words:
            label += f" with “{words}”"
        self._head.fill((*count, Piece("   "), Piece(label, "muted")))

    def _go_to_trouble(self) -> None:
        """Opens with the zone in trouble; not when the forced ones at the top have to be seen."""
        link = self.link
        zone = first_in_trouble(link.plant, link.frame)
        if zone is None or self._forced:
            return
        heading = Heading(link.plant.zones[zone])
        if heading in self._list.rows:
            place = self._list.rows.index(heading)
            self._list.go(place)
            self._list.scroll_to(y=place, animate=False)  # the heading is to be seen, too

    def look_at(self, component: str) -> None:
        for index, row in enumerate(self._list.rows):
            if isinstance(row, SignalRow) and row.component == component and not row.first:
                self._list.go(index)
                return

    # forcing

    def _selected(self) -> SignalRow | None:
        row = self._list.row
        return row if isinstance(row, SignalRow) else None

    def action_force(self, on: bool) -> None:
        row = self._selected()
        if row is None:
            return
        value = text.state(on)
        if row.sort == "input":
            line = f"The logic reads {row.name} as {value}, whatever the contact says."
        else:
            line = (
                f"The controller holds the output of {row.name} {value}, whatever its logic asks."
            )
        self._confirm(f"force {row.name} {value.lower()}", [line], FORCING, "Force it")

    def action_unforce(self) -> None:
        row = self._selected()
        if row is None:
            return
        if not row.forced:
            self.app.notify(f"{row.name} is not forced.", timeout=4, markup=False)
            return
        done = "reads its contact" if row.sort == "input" else "follows the logic"
        line = f"{row.name} {done} again."
        self._confirm(f"unforce {row.name}", [line], UNFORCING, "Take it out")

    def action_unforce_all(self) -> None:
        plant, frame = self.link.plant, self.link.frame
        signals: list[Contact | Output] = [*plant.inputs, *plant.outputs]
        forced = [
            signal.name
            for signal, is_forced in zip(
                signals, (*frame.forced_inputs, *frame.forced_outputs), strict=True
            )
            if is_forced
        ]
        if not forced:
            self.app.notify("Nothing is forced.", timeout=4)
            return
        lines = [f"{len(forced)} forced: {', '.join(forced)}."]
        self._confirm("unforce all", lines, UNFORCING, "Take all out")

    def _confirm(
        self, sentence: str, lines: Sequence[str], cautions: Sequence[str], yes: str
    ) -> None:
        def decided(go: bool | None) -> None:
            if go:
                self.ask(Do(sentence), sure=True)

        title = sentence[0].upper() + sentence[1:]
        self.app.push_screen(Confirm(title, lines, cautions, yes), decided)

    @on(Words.Acted, "#signals-tools")
    def _tool(self, event: Words.Acted) -> None:
        if event.act in ("on", "off"):
            self.action_force(event.act == "on")
        elif event.act == "unforce":
            self.action_unforce()
        elif event.act == "unforce all":
            self.action_unforce_all()
        else:
            self.action_filter()

    # list and filter

    @on(Rows.Chosen, "#signals-list")
    def _pick_component(self, event: Rows.Chosen) -> None:
        row = self._selected()
        if row is not None:
            self.pick(row.component)

    def action_filter(self) -> None:
        self._filter.open()

    def action_leave_filter(self) -> None:
        self._filter.leave()


# what is shown


def signal_rows(plant: Plant, frame: Frame, recent: Sequence[bool]) -> list[Hashable]:
    """Inputs and outputs under a heading for each zone, in document order, what is forced also at
    the top; `recent`: of inputs, then of outputs."""
    ride = plant.circuit.ride.name
    names = [contact.name for contact in plant.inputs] + [o.name for o in plant.outputs]
    wide = min(max((len(name) for name in names), default=0), 28)
    of: dict[str, list[SignalRow]] = {zone: [] for zone in ("", *plant.zones)}
    for i, contact in enumerate(plant.inputs):
        of.setdefault(contact.zone, []).append(
            SignalRow(
                contact.name, contact.name, "input", _tells(plant, contact), frame.inputs[i],
                frame.forced_inputs[i], recent[i], wide, contact.zone or ride,
            )
        )  # fmt: skip
    for i, output in enumerate(plant.outputs):
        of.setdefault(output.zone, []).append(
            SignalRow(
                output.name, output.component, "output", f"{output.when} {output.zone}",
                frame.outputs[i], frame.forced_outputs[i], recent[len(plant.inputs) + i], wide,
                output.zone or ride,
            )
        )  # fmt: skip
    forced = [signal._replace(first=True) for each in of.values() for signal in each
              if signal.forced]  # fmt: skip
    rows: list[Hashable] = [Heading("forced", bad=True), *forced] if forced else []
    for zone, signals in of.items():
        if signals:
            rows += [Heading(zone or ride), *signals]
    return rows


def _tells(plant: Plant, contact: Contact) -> str:
    """What an input that is ON means."""
    if contact.kind == "jaw switch":
        of = str(getattr(plant.circuit.components[contact.name], "of", ""))
        return f"{of} {contact.reads}"
    if contact.kind == "low pressure":
        return "pressure is low"
    return "zone charged" if contact.reads == "charged" else contact.reads


def matching(rows: Sequence[Hashable], words: str) -> list[Hashable]:
    """The signals that have every word somewhere, under the headings that are left; each once."""
    wanted = words.lower().split()
    found: list[Hashable] = []
    heading: Hashable | None = None
    for row in rows:
        if isinstance(row, Heading):
            heading = row
            continue
        assert isinstance(row, SignalRow)
        if row.first:
            continue
        line = f"{row.zone} {row.name} {row.sort} {row.tells} {row.value}"
        line += f"{' forced' if row.forced else ''}{' changed' if row.recent else ''}".lower()
        if all(word in line.lower() for word in wanted):
            if heading is not None and (not found or heading not in found):
                found.append(heading)
            found.append(row)
    return found


def draw_signal(row: Hashable, width: int) -> Line:
    """The line of a signal, or of a heading."""
    if isinstance(row, Heading):
        return cut((Piece(row.words, "warn" if row.bad else "bold"),), width)
    signal = cast(SignalRow, row)
    look: Look = "warn" if signal.forced else ("" if signal.on else "muted")
    return cut(
        (
            Piece("F" if signal.forced else " ", "warn"),
            Piece("* " if signal.recent else "  ", "accent"),
            Piece(f"{text.short(signal.name, signal.wide):<{signal.wide}}  "),
            Piece(f"{'■' if signal.on else '□'} {signal.value:<4}", look),
            Piece("forced  " if signal.forced else "        ", "warn"),
            Piece(f"ON: {signal.tells}", "muted"),
            Piece(f"  ({signal.zone})" if signal.first else "", "muted"),
        ),
        width,
    )


# what has changed


def _columns(plant: Plant) -> list[int]:
    """Column of the record of every input, then of every output; -1: none."""
    place = {(channel.quantity, channel.component): i for i, channel in enumerate(plant.channels)}
    return [place.get(("contact", contact.name), -1) for contact in plant.inputs] + [
        place.get(("coil", output.name), -1) for output in plant.outputs
    ]


def changed(past: Past, frame: Frame, columns: Sequence[int]) -> list[bool]:
    """Whether each input, then each output, has changed within the last RECENT seconds before the
    frame: between recorded rows, or since the last of them."""
    now = np.array([*frame.inputs, *frame.outputs], dtype=np.float32)
    count = min(len(past.times), len(past.values))
    end = int(np.searchsorted(past.times[:count], frame.time, side="right"))
    start = int(np.searchsorted(past.times[:count], frame.time - RECENT, side="left"))
    start = max(start - 1, 0)
    if end <= start or not len(columns):
        return [False] * len(columns)
    known = np.array([column >= 0 for column in columns])
    rows = past.values[start:end][:, np.maximum(columns, 0)]
    if past.times[end - 1] > frame.time - RECENT:
        rows = np.vstack([rows, now])
    steps = np.diff(rows, axis=0)
    moved = np.any(np.nan_to_num(steps, nan=0.0) != 0.0, axis=0) & known
    return [bool(each) for each in moved]
