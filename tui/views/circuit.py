"""The compressed-air circuit, drawn from the graph: where air stands and where it goes."""

from __future__ import annotations

from typing import ClassVar

from rich.text import Text
from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, Vertical, VerticalScroll
from textual.widgets import Input, Static

from pneumo.circuit.symmetry import alike
from pneumo.live.link import Link
from pneumo.schematic.sheet import Sheet, sheets, twins
from tui import text
from tui.drawing import details
from tui.drawing.folding import Likeness
from tui.drawing.glyphs import VENTED, WORKING
from tui.drawing.marks import HELP, MARKS
from tui.drawing.picture import Picture
from tui.drawing.symbols import Symbols
from tui.judgement import first_in_trouble
from tui.view import View
from tui.widgets.circuit_canvas import CircuitCanvas

WIDE = 160
"""From this width on the details stand at the side, else below."""
SIDE = 42
"""Cells of the details at the side."""


class CircuitView(View):
    """The drawing, the details of the chosen component, the search."""

    TITLE = "Circuit"
    HELP = HELP
    DEFAULT_CSS = """
    CircuitView { layout: vertical; }
    CircuitView #circuit-find { display: none; height: 1; }
    CircuitView.-finding #circuit-find { display: block; }
    CircuitView #circuit-part { width: 30; border: none; height: 1; padding: 0 1; }
    CircuitView #circuit-hits { width: 1fr; height: 1; color: $text-muted; padding: 0 1; }
    CircuitView #circuit-find { layout: horizontal; }
    CircuitView #circuit-field { layout: vertical; height: 1fr; }
    CircuitView #circuit-pane {
        display: none; height: 7; width: 1fr; border-top: solid $panel; padding: 0 1;
    }
    CircuitView.-pane #circuit-pane { display: block; }
    CircuitView #circuit-words { width: 1fr; height: auto; }
    CircuitView #circuit-legend {
        height: 1; color: $text-muted; padding: 0 1; text-wrap: nowrap; text-overflow: ellipsis;
    }
    CircuitView.-wide #circuit-field { layout: horizontal; }
    CircuitView.-wide #circuit-pane {
        height: 1fr; width: 42; border-top: none; border-left: solid $panel;
    }
    CircuitView.-low #circuit-pane { height: 4; }
    CircuitView.-low #circuit-legend { display: none; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("z", "zone(1)", "Next zone", show=False),
        Binding("Z", "zone(-1)", "Zone before", show=False),
        Binding("slash", "find", "Find", show=False),
        Binding("c", "centre", "Centre", show=False),
        Binding("o", "open_out", "Open out", show=False),
        Binding("d", "details", "Details", show=False),
        Binding("l", "marks", "Marks", show=False),
        Binding("escape", "nothing", "Choose nothing", show=False),
    ]

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        plant = link.plant
        self.symbols = Symbols(plant)
        self.folds = {fold: Likeness(plant, fold) for fold in alike(plant.circuit)}
        self.opened = {fold for fold, like in self.folds.items() if not like.alike(link.frame)}
        """Folds that are drawn one by one."""
        self._differed = set(self.opened)
        """Those of them that were opened because their branches came to differ."""
        self._shown = link.frame.time
        self.chosen: str | None = None
        self._width = 80
        """Cells in which the picture is drawn."""
        self._sheets = self._drawn()
        self.picture = self._draw()
        self._zone = -1
        """Place of the zone gone to last; 0 is the plant, -1: not laid out yet."""
        self._details = True
        self._marks = False
        self._written = ""

    def compose(self) -> ComposeResult:
        with Container(id="circuit-find"):
            yield Input(placeholder="part of a name", id="circuit-part", compact=True)
            yield Static(id="circuit-hits")
        with Container(id="circuit-field"):
            yield CircuitCanvas()
            with VerticalScroll(id="circuit-pane", can_focus=False), Vertical():
                yield Static(id="circuit-words")
        yield Static(self._legend(), id="circuit-legend")

    def on_mount(self) -> None:
        self.canvas.hang(self.picture)
        self.show()

    def on_resize(self, event: events.Resize) -> None:
        self.set_class(event.size.width >= WIDE, "-wide")
        self.set_class(event.size.height < 14, "-low")
        self._written = ""
        # beside the scroll bar, and beside the details whether they are shown or not: the drawing
        # stays as it is when something is chosen
        width = max(event.size.width - 1 - (SIDE if self.has_class("-wide") else 0), 1)
        if width != self._width:
            self._width = width
            self._redraw()
        self._write_pane()
        if self._zone < 0 and event.size.width:
            self._zone = 0
            self.call_after_refresh(self._go_to_trouble)

    def _go_to_trouble(self) -> None:
        """Opened for the first time: at the zone that needs to be looked at, if there is one."""
        link = self.link
        trouble = first_in_trouble(link.plant, link.frame)
        out_of_sight = self.canvas.virtual_size.height > self.canvas.size.height
        if self.chosen is None and trouble is not None and out_of_sight:
            names = [band.name for band in self.picture.layout.bands]
            self.action_zone(names.index(link.plant.zones[trouble]))

    @property
    def canvas(self) -> CircuitCanvas:
        return self.query_one(CircuitCanvas)

    # drawing

    def show(self) -> None:
        frame = self.link.frame
        different = {fold for fold, like in self.folds.items() if not like.alike(frame)}
        opened = self.opened | different
        if frame.time < self._shown:  # gone back: what comes later is not to be seen yet
            opened -= self._differed - different
            self._differed &= different
        self._differed |= different - self.opened
        self._shown = frame.time
        if opened != self.opened:
            self.opened = opened
            self._sheets = self._drawn()
            self._redraw()
        elif self.is_mounted:
            self.canvas.changed(self.picture.update(frame))
        self._write_pane()

    def _drawn(self) -> tuple[Sheet, ...]:
        folded = [fold for fold in self.folds if fold not in self.opened]
        return sheets(self.link.plant.circuit, folded)

    def _draw(self) -> Picture:
        picture = Picture(self.link.plant, self.symbols, self.link.frame, self._sheets, self._width)
        picture.update(self.link.frame)
        return picture

    def _redraw(self) -> None:
        """Another layout; what is in sight stays where it is."""
        self.picture = self._draw()
        if not self.is_mounted:
            return
        anchor = self.canvas.held()
        self.canvas.hang(self.picture)
        self.canvas.hold_at(anchor)
        self.canvas.choose(self.picture.box_of.get(self.chosen or ""))
        self._written = ""

    def _legend(self) -> Text:
        working = text.pressure(WORKING * self.picture.highest)
        words = f"═ ≥ {working}  ━ low  ─ vented  ▸ air flows  ~ trapped"
        if self.link.seat == "trainee":
            words = "┄ the air is not seen from here"
        return Text(f"{words}  l all marks", no_wrap=True, overflow="ellipsis")

    # the pane

    def _write_pane(self) -> None:
        if not self.is_mounted:
            return
        wide = self.has_class("-wide")
        about = self._details and self.chosen is not None and not self._marks
        # at the side there is room for the marks while nothing is chosen
        shown = self._marks or about or (wide and self._details)
        self.set_class(shown, "-pane")
        if not shown:
            return
        words = self._about(wide) if about else None
        key = f"marks {wide}" if words is None else words.markup
        if key != self._written:
            self._written = key
            self.query_one("#circuit-words", Static).update(words or self._all_marks(wide))

    def _all_marks(self, wide: bool) -> Text:
        highest = self.picture.highest
        between = "\n" if wide else "   "
        found = Text()
        for mark, meaning in MARKS:
            meaning = meaning.format(
                working=text.pressure(WORKING * highest, unit=False),
                vented=text.pressure(VENTED * highest, unit=False),
            )
            found.append(f"{mark:<4}" if wide else f"{mark} ", "bold")
            found.append(meaning.replace(" ", "\N{NO-BREAK SPACE}") if not wide else meaning)
            found.append(between)
        return found

    def _about(self, wide: bool) -> Text:
        assert self.chosen is not None
        plant, frame = self.link.plant, self.link.frame
        box = self.picture.boxes[self.picture.box_of[self.chosen]]
        name = self.chosen if self.chosen in box.members else box.members[0]
        members = box.members if name == box.members[0] else (name,)
        found = Text()
        found.append(details.heading(plant, members), "bold")
        about = plant.circuit.components[name].about
        if about:
            found.append(f"\n{about}", "italic")
        for rows in (
            details.now(plant, frame, name),
            details.ports(plant, frame, name),
            details.parameters(plant, name),
        ):
            if not rows:
                continue
            if wide:
                found.append("\n")
                for what, value in rows:
                    found.append(f"\n{what}: ", "dim")
                    found.append(value)
            else:
                found.append("\n")
                for i, (what, value) in enumerate(rows):
                    found.append(("; " if i else "") + f"{what} ", "dim")
                    found.append(value)
        return found

    # choosing

    @on(CircuitCanvas.Chosen)
    def _chosen(self, event: CircuitCanvas.Chosen) -> None:
        event.stop()
        if event.box is None:
            self.chosen = None
        else:
            box = self.picture.boxes[event.box]
            self.chosen = box.members[0]
            if box.marker:  # on to what it leads to
                there = self.picture.box_of[self.chosen]
                self.canvas.choose(there)
                self.canvas.centre(there)
            self.pick(self.chosen)
        self._write_pane()

    def look_at(self, component: str) -> None:
        if component not in self.picture.box_of:
            return
        box = self.picture.box_of[component]
        members = self.picture.boxes[box].members
        self.chosen = component if component in members else members[0]
        if self.is_mounted:
            self.canvas.choose(box)
            self.call_after_refresh(self.canvas.centre, box)
            self._write_pane()

    def action_centre(self) -> None:
        if self.chosen is not None:
            self.canvas.centre(self.picture.box_of[self.chosen])

    def action_nothing(self) -> None:
        if self.has_class("-finding"):
            self._end_search()
        elif self._marks:
            self._marks = False
        else:
            self.chosen = None
            self.canvas.choose(None)
        self._write_pane()

    def action_details(self) -> None:
        self._details = not self._details
        self._write_pane()

    def action_marks(self) -> None:
        self._marks = not self._marks
        self._written = ""
        self._write_pane()

    def action_zone(self, step: int) -> None:
        """Goes to the next zone; the plant comes before the first."""
        bands = self.picture.layout.bands
        self._zone = (self._zone + step) % len(bands)
        self.canvas.scroll_to(0, bands[self._zone].y, animate=False, force=True)

    def action_open_out(self) -> None:
        """Opens out the chosen branch, or all; draws them as one again if any is open."""
        of_chosen = {fold for fold in self.folds if any(self.chosen in row for row in twins(fold))}
        closed = set(self.folds) - self.opened
        if of_chosen & closed:
            self.opened |= of_chosen
            self._differed -= of_chosen
        elif self.opened:
            self.opened = {f for f, like in self.folds.items() if not like.alike(self.link.frame)}
            self._differed = set(self.opened)
        else:
            self.opened = set(self.folds)
            self._differed = set()
        self._sheets = self._drawn()
        self._redraw()
        self._write_pane()

    # finding

    def action_find(self) -> None:
        self.add_class("-finding")
        self.query_one("#circuit-part", Input).focus()

    def _end_search(self) -> None:
        self.remove_class("-finding")
        self.canvas.focus()

    @on(Input.Changed, "#circuit-part")
    def _typed(self, event: Input.Changed) -> None:
        event.stop()
        self._go_to_hit(0)

    @on(Input.Submitted, "#circuit-part")
    def _next_hit(self, event: Input.Submitted) -> None:
        event.stop()
        self._go_to_hit(1)

    def _hits(self) -> list[str]:
        part = self.query_one("#circuit-part", Input).value.strip().lower()
        return [name for name in self.picture.box_of if part and part in name.lower()]

    def _go_to_hit(self, step: int) -> None:
        hits = self._hits()
        words = self.query_one("#circuit-hits", Static)
        if not hits:
            words.update("no component has that in its name" if self._part() else "")
            return
        at = (hits.index(self.chosen) + step) % len(hits) if self.chosen in hits else 0
        words.update(f"{at + 1} of {len(hits)}: {hits[at]}   enter next, escape done")
        box = self.picture.box_of[hits[at]]
        self.chosen = hits[at]
        self.canvas.choose(box)
        self.canvas.centre(box)
        self.pick(hits[at])
        self._write_pane()

    def _part(self) -> str:
        return self.query_one("#circuit-part", Input).value.strip()
