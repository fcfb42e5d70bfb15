"""The compressed-air circuit, drawn from the graph: where air stands and where it goes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from rich.text import Text
from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, Vertical, VerticalScroll
from textual.geometry import Region, Size
from textual.message import Message
from textual.scroll_view import ScrollView
from textual.strip import Strip
from textual.widgets import Input, Static

from pneumo.live.link import Link
from tui import text
from tui.drawing import details
from tui.drawing.boxes import PLANT, folds
from tui.drawing.folding import Likeness
from tui.drawing.glyphs import VENTED, WORKING
from tui.drawing.picture import Direction, Picture
from tui.drawing.symbols import Symbols
from tui.judgement import first_in_trouble
from tui.view import View

WIDE = 120
"""From this width on the details stand at the side."""

INKS = (
    "symbol", "name", "port", "number", "reading", "heading", "vented", "low", "working",
    "unseen", "flow", "trapped", "energised", "attention", "fault",
)  # fmt: skip

HELP = """\
## Circuit
The compressed-air circuit, drawn from the document: supply at the left, air goes to the right. A
main that feeds several zones runs downwards, with the zones beside it.

| key | what it does |
|---|---|
| arrows, click | choose the nearest component in that direction |
| `shift`+arrows, wheel | scroll; `home` to the start |
| `z` `Z` | next zone, zone before |
| `/` | find a component by a part of its name; `enter` the next one |
| `c` | bring the chosen component to the middle |
| `o` | open out branches that are drawn as one (×4), or draw them as one again |
| `d` | details of the chosen component, on or off |
| `l` | the marks |
| `escape` | choose nothing |

Branches that are alike are drawn as one, with ×4 behind the name. As soon as one of them differs
they are drawn one by one, and stay so until `o`.

### Lines
| mark | meaning |
|---|---|
| `═══` | charged: half the highest supply pressure or more |
| `━━━` | low: between vented and charged |
| `───` | vented: less than 5 % of the highest supply pressure |
| `┄┄┄` | not seen from this seat |
| `▸` `◂` | air flows there, 5 L/min of free air or more; without: no flow |
| `~` | trapped air: no open way leads out of there now |
| `─│─` | lines that cross without meeting |
| `7.00` | pressure, bar gauge, once for each net |

### Boxes
| mark | meaning |
|---|---|
| `[ ]` `( )` `‹ ›` | device, vessel with its pressure, instrument |
| `:2` `1a:` | port, where a side has several |
| `[ ■ 1▸2 ]` | solenoid valve: coil energised (`□` not), air can pass from 1 to 2; `···` moving, \
`shut` no way open, `?` not seen |
| `M` `F` | held by its manual override; forced |
| `[open]` `[SHUT]` | shut-off valve in service; isolated, its outlet vented |
| `[─▷─]` `[ ▷│]` | check valve open by flow; closed |
| `[set 5.50 ]` `[max 9.50 ]` | regulator and relief valve with their settings |
| `[ - ]` | quick exhaust, OR (shuttle), AND (dual pressure): no flow through it |
| `↑` | air blows off there |
| `(A 5.50)` `(R …)` `(v …)` | accumulator, receiver, drain open |
| `‹G 5.50›` `‹T 5.50›` | gauge, transmitter with its reading |
| `‹>4.50 ●›` | pressure switch and its setting: ON (`○` OFF) |
| `[▐ │ ▌ 3.2 o·]` | jaws, fin, gap of each lining in mm; switches ON: `o` open, `c` closed |
| `[▐███  200.0 r·]` | cylinder, travel in mm; switches ON: `r` retracted, `e` extended |
| `x valve stuck` | failed, and how (trainer's seat) |

A drawing of a calculation: before anyone works on the real system lock out, vent every vessel,
verify zero energy and stay clear of the jaws; local codes and licensed practice come first.
"""

MARKS = (
    ("═══", "charged, {working} bar or more"), ("━━━", "low"),
    ("───", "vented, below {vented} bar"),
    ("┄┄┄", "not seen from here"), ("▸", "air flows"), ("~", "trapped air"),
    ("─│─", "crossing, not joined"), ("[ ]", "device"),
    ("( )", "vessel, A accumulator, R receiver"),
    ("‹ ›", "instrument, G gauge, T transmitter"), ("■ □", "coil energised, not"),
    ("1▸2", "way that is open, ··· moving"), ("▷│", "check valve closed"), ("↑", "air blows off"),
    ("● ○", "contact ON, OFF"), ("▐│▌", "jaws on the fin"),
    ("o c", "switch ON: open, closed"), ("M", "manual override"), ("F", "forced"),
    ("v", "drain open"), ("x", "failed"), ("×4", "four alike drawn as one"),
)  # fmt: skip


class Canvas(ScrollView, can_focus=True):
    """Shows a picture, scrolled. Rows are kept as strips until they change."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {f"canvas--{ink}" for ink in INKS}
    DEFAULT_CSS = """
    Canvas { width: 1fr; height: 1fr; background: $background; scrollbar-size: 1 1; }
    Canvas > .canvas--symbol { color: $foreground; }
    Canvas > .canvas--name { color: $text-muted; }
    Canvas > .canvas--port { color: $text-muted; }
    Canvas > .canvas--number { color: $foreground; text-style: bold; }
    Canvas > .canvas--reading { color: $foreground; text-style: bold; }
    Canvas > .canvas--heading { color: $foreground; text-style: bold underline; }
    Canvas > .canvas--vented { color: $secondary; }
    Canvas > .canvas--low { color: $primary; }
    Canvas > .canvas--working { color: $accent; }
    Canvas > .canvas--unseen { color: $secondary 60%; }
    Canvas > .canvas--flow { color: $foreground; text-style: bold; }
    Canvas > .canvas--trapped { color: $warning; }
    Canvas > .canvas--energised { color: $accent; text-style: bold; }
    Canvas > .canvas--attention { color: $warning; text-style: bold; }
    Canvas > .canvas--fault { color: $error; text-style: bold; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "choose('left')", show=False),
        Binding("right", "choose('right')", show=False),
        Binding("up", "choose('up')", show=False),
        Binding("down", "choose('down')", show=False),
        Binding("shift+left", "slide(-16, 0)", show=False),
        Binding("shift+right", "slide(16, 0)", show=False),
        Binding("shift+up", "slide(0, -4)", show=False),
        Binding("shift+down", "slide(0, 4)", show=False),
        Binding("home", "start", show=False),
    ]

    class Chosen(Message):
        """A box was chosen with the keys or the mouse; None: nothing is chosen any more."""

        def __init__(self, box: int | None) -> None:
            self.box = box
            super().__init__()

    def __init__(self) -> None:
        super().__init__()
        self.picture: Picture | None = None
        self.chosen: int | None = None
        self._strips: dict[int, Strip] = {}
        self._styles: dict[str, Style] = {}

    def hang(self, picture: Picture) -> None:
        """Shows another picture."""
        self.picture = picture
        self.chosen = None
        self._strips.clear()
        self.virtual_size = Size(picture.width, picture.height)
        self.refresh()

    def changed(self, rows: Iterable[int]) -> None:
        """Draws rows of the picture again."""
        top, height = self.scroll_offset.y, self.size.height
        dirty = [row for row in rows if self._strips.pop(row, None) is not None]
        seen = sorted(row - top for row in dirty if 0 <= row - top < height)
        if len(seen) * 2 > height:
            self.refresh()
        elif seen:
            self.refresh(*(Region(0, row, self.size.width, 1) for row in seen))

    def choose(self, box: int | None) -> None:
        """Marks a box."""
        if self.picture is None or box == self.chosen:
            return
        places = self.picture.layout.places
        rows = [
            row
            for i in (self.chosen, box)
            if i is not None
            for row in range(places[i].y, places[i].y + places[i].height)
        ]
        self.chosen = box
        self.changed(rows)

    def centre(self, box: int) -> None:
        """Brings a box to the middle."""
        if self.picture is None:
            return
        place = self.picture.layout.places[box]
        x = place.x + place.width // 2 - self.size.width // 2
        y = place.y + place.height // 2 - self.size.height // 2
        self.scroll_to(max(x, 0), max(y, 0), animate=False, force=True)

    def reveal(self, box: int) -> None:
        """Scrolls as little as needed to show a box with what is beside it."""
        if self.picture is None:
            return
        place = self.picture.layout.places[box]
        label = len(self.picture.diagram.boxes[box].label)
        region = Region(place.x, place.y, max(place.width, label), place.height)
        self.scroll_to_region(region.grow((1, 4, 2, 4)), animate=False, force=True)

    def render_line(self, y: int) -> Strip:
        left, top = self.scroll_offset
        width = self.size.width
        row = y + top
        if self.picture is None or row >= self.picture.height:
            return Strip.blank(width, self.rich_style)
        heading = self.picture.heading_at(row)
        if heading is not None and heading[1] < left:
            return self._moved_heading(row, *heading[1:]).crop_extend(
                left, left + width, self.rich_style
            )
        strip = self._strips.get(row)
        if strip is None:
            strip = self._strips[row] = self._strip(row)
        return strip.crop_extend(left, left + width, self.rich_style)

    def _moved_heading(self, row: int, x: int, width: int) -> Strip:
        """A row whose heading begins left of what is in sight: its words come along."""
        assert self.picture is not None
        letters, inks = self.picture.letters[row][:], self.picture.inks[row][:]
        words, colours = letters[x : x + width], inks[x : x + width]
        start = min(self.scroll_offset.x, x + width)
        letters[start : x + width] = words[: x + width - start]
        inks[start : x + width] = colours[: x + width - start]
        return self._joined(letters, inks)

    def notify_style_update(self) -> None:
        super().notify_style_update()
        self._styles.clear()
        self._strips.clear()

    def _style(self, ink: str) -> Style:
        style = self._styles.get(ink)
        if style is None:
            name = ink.removeprefix("*")
            style = self.get_component_rich_style(f"canvas--{name}") if name else self.rich_style
            if ink.startswith("*"):
                style += Style(reverse=True)
            self._styles[ink] = style
        return style

    def _strip(self, row: int) -> Strip:
        assert self.picture is not None
        letters, inks = self.picture.letters[row], self.picture.inks[row]
        if self.chosen is not None:
            place = self.picture.layout.places[self.chosen]
            if place.y <= row < place.y + place.height:
                wide = place.width
                if row == place.y:
                    wide = len(self.picture.diagram.boxes[self.chosen].label)
                span = range(place.x, place.x + wide)
                inks = [f"*{ink}" if x in span else ink for x, ink in enumerate(inks)]
        return self._joined(letters, inks)

    def _joined(self, letters: Sequence[str], inks: Sequence[str]) -> Strip:
        segments = []
        start = 0
        for x in range(1, len(inks) + 1):
            if x == len(inks) or inks[x] != inks[start]:
                segments.append(Segment("".join(letters[start:x]), self._style(inks[start])))
                start = x
        return Strip(segments, len(inks))

    # keys and mouse

    def action_choose(self, direction: Direction) -> None:
        if self.picture is None or not self.picture.diagram.boxes:
            return
        if self.chosen is None:
            box = self._first_in_sight()
        else:
            box = self.picture.nearest(self.chosen, direction)
        self.choose(box)
        self.reveal(box)
        self.post_message(self.Chosen(box))

    def action_slide(self, x: int, y: int) -> None:
        self.scroll_relative(x, y, animate=False, force=True)

    def action_start(self) -> None:
        self.scroll_to(0, 0, animate=False, force=True)

    def on_click(self, event: events.Click) -> None:
        if self.picture is None:
            return
        left, top = self.scroll_offset
        box = self.picture.box_at(event.x + left, event.y + top)
        self.choose(box)
        self.post_message(self.Chosen(box))

    def _first_in_sight(self) -> int:
        assert self.picture is not None
        left, top = self.scroll_offset
        sight = Region(left, top, self.size.width, self.size.height)
        places = self.picture.layout.places
        seen = [i for i, p in enumerate(places) if sight.contains(p.x, p.y)]
        return min(seen or range(len(places)), key=lambda i: (places[i].x, places[i].y))

    def held(self) -> tuple[str, int, int] | None:
        """A component in sight with its place on screen, to keep the eye when all is redrawn."""
        if self.picture is None or not self.picture.diagram.boxes:
            return None
        box = self.chosen if self.chosen is not None else self._first_in_sight()
        place = self.picture.layout.places[box]
        left, top = self.scroll_offset
        return self.picture.diagram.boxes[box].members[0], place.x - left, place.y - top

    def hold_at(self, anchor: tuple[str, int, int] | None) -> None:
        """Scrolls so that the component of an anchor is where it was."""
        if anchor is None or self.picture is None or anchor[0] not in self.picture.box_of:
            return
        place = self.picture.layout.places[self.picture.box_of[anchor[0]]]
        self.scroll_to(place.x - anchor[1], place.y - anchor[2], animate=False, force=True)


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
        self.folds = {fold: Likeness(plant, fold) for fold in folds(plant.circuit)}
        self.opened = {fold for fold, like in self.folds.items() if not like.alike(link.frame)}
        """Folds that are drawn one by one."""
        self._differed = set(self.opened)
        """Those of them that were opened because their branches came to differ."""
        self._shown = link.frame.time
        self.chosen: str | None = None
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
            yield Canvas()
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
        self._write_pane()
        if self._zone < 0 and event.size.width:
            self._zone = 0
            self.call_after_refresh(self._go_to_trouble)

    def _go_to_trouble(self) -> None:
        """Opened for the first time: at the zone that needs to be looked at, if there is one."""
        link = self.link
        trouble = first_in_trouble(link.plant, link.frame, link.past.events)
        out_of_sight = self.canvas.virtual_size.height > self.canvas.size.height
        if self.chosen is None and trouble is not None and out_of_sight:
            group = self.picture.diagram.groups.index(link.plant.zones[trouble])
            self.action_zone(1 + self.picture.zone_groups().index(group))

    @property
    def canvas(self) -> Canvas:
        return self.query_one(Canvas)

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
            self._redraw()
        elif self.is_mounted:
            self.canvas.changed(self.picture.update(frame))
        self._write_pane()

    def _draw(self) -> Picture:
        folded = [fold for fold in self.folds if fold not in self.opened]
        picture = Picture(self.link.plant, self.symbols, self.link.frame, folded)
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
        shown = self._marks or (self._details and self.chosen is not None)
        self.set_class(shown, "-pane")
        if not shown:
            return
        wide = self.has_class("-wide")
        words = self._all_marks(wide) if self._marks else self._about(wide)
        if words.markup != self._written:
            self._written = words.markup
            self.query_one("#circuit-words", Static).update(words)

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
        box = self.picture.diagram.boxes[self.picture.box_of[self.chosen]]
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

    @on(Canvas.Chosen)
    def _chosen(self, event: Canvas.Chosen) -> None:
        event.stop()
        if event.box is None:
            self.chosen = None
        else:
            self.chosen = self.picture.diagram.boxes[event.box].members[0]
            self.pick(self.chosen)
        self._write_pane()

    def look_at(self, component: str) -> None:
        if component not in self.picture.box_of:
            return
        box = self.picture.box_of[component]
        members = self.picture.diagram.boxes[box].members
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
        stops = [PLANT, *self.picture.zone_groups()]
        self._zone = (self._zone + step) % len(stops)
        x, y, _, _ = self.picture.layout.bands.get(stops[self._zone], (0, 0, 0, 0))
        if stops[self._zone] == PLANT:
            x, y = 0, 0
        self.canvas.scroll_to(max(x - 5, 0), y, animate=False, force=True)

    def action_open_out(self) -> None:
        """Opens out the chosen branch, or all; draws them as one again if any is open."""
        of_chosen = {fold for fold in self.folds if any(self.chosen in row for row in fold.twins())}
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
