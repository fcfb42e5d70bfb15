"""A picture of the circuit on screen: scrolled, clicked, walked through with the arrow keys."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Region, Size
from textual.message import Message
from textual.scroll_view import ScrollView
from textual.strip import Strip

from tui.drawing.picture import Direction, Picture

INKS = (
    "symbol", "name", "port", "number", "reading", "heading", "vented", "low", "working",
    "unseen", "flow", "trapped", "energised", "attention", "fault",
)  # fmt: skip


class CircuitCanvas(ScrollView, can_focus=True):
    """Shows a picture, scrolled. Rows are kept as strips until they change."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {f"canvas--{ink}" for ink in INKS}
    DEFAULT_CSS = """
    CircuitCanvas { width: 1fr; height: 1fr; background: $background; scrollbar-size: 1 1; }
    CircuitCanvas > .canvas--symbol { color: $foreground; }
    CircuitCanvas > .canvas--name { color: $text-muted; }
    CircuitCanvas > .canvas--port { color: $text-muted; }
    CircuitCanvas > .canvas--number { color: $foreground; text-style: bold; }
    CircuitCanvas > .canvas--reading { color: $foreground; text-style: bold; }
    CircuitCanvas > .canvas--heading { color: $foreground; text-style: bold underline; }
    CircuitCanvas > .canvas--vented { color: $secondary; }
    CircuitCanvas > .canvas--low { color: $primary; }
    CircuitCanvas > .canvas--working { color: $accent; }
    CircuitCanvas > .canvas--unseen { color: $secondary 60%; }
    CircuitCanvas > .canvas--flow { color: $foreground; text-style: bold; }
    CircuitCanvas > .canvas--trapped { color: $warning; }
    CircuitCanvas > .canvas--energised { color: $accent; text-style: bold; }
    CircuitCanvas > .canvas--attention { color: $warning; text-style: bold; }
    CircuitCanvas > .canvas--fault { color: $error; text-style: bold; }
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
        label = len(self.picture.boxes[box].label)
        region = Region(place.x, place.y, max(place.width, label), place.height)
        self.scroll_to_region(region.grow((1, 4, 2, 4)), animate=False, force=True)

    def render_line(self, y: int) -> Strip:
        left, top = self.scroll_offset
        width = self.size.width
        row = y + top
        if self.picture is None or row >= self.picture.height:
            return Strip.blank(width, self.rich_style)
        heading = self.picture.heading_at(row)
        if heading is not None and left > 0:
            moved = self._moved_heading(row, heading.width)
            return moved.crop_extend(left, left + width, self.rich_style)
        strip = self._strips.get(row)
        if strip is None:
            strip = self._strips[row] = self._strip(row)
        return strip.crop_extend(left, left + width, self.rich_style)

    def _moved_heading(self, row: int, width: int) -> Strip:
        """A row whose heading begins left of what is in sight: its words come along."""
        assert self.picture is not None
        letters, inks = self.picture.letters[row][:], self.picture.inks[row][:]
        words, colours = letters[:width], inks[:width]
        start = min(self.scroll_offset.x, width)
        letters[start:width] = words[: width - start]
        inks[start:width] = colours[: width - start]
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
                    wide = len(self.picture.boxes[self.chosen].label)
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
        if self.picture is None or not self.picture.boxes:
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
        own = [i for i, box in enumerate(self.picture.boxes) if not box.marker]
        seen = [i for i in own if sight.contains(places[i].x, places[i].y)]
        return min(seen or own, key=lambda i: (places[i].x, places[i].y))

    def held(self) -> tuple[str, int, int] | None:
        """A component in sight with its place on screen, to keep the eye when all is redrawn."""
        if self.picture is None or not self.picture.boxes:
            return None
        box = self.chosen if self.chosen is not None else self._first_in_sight()
        place = self.picture.layout.places[box]
        left, top = self.scroll_offset
        return self.picture.boxes[box].members[0], place.x - left, place.y - top

    def hold_at(self, anchor: tuple[str, int, int] | None) -> None:
        """Scrolls so that the component of an anchor is where it was."""
        if anchor is None or self.picture is None or anchor[0] not in self.picture.box_of:
            return
        place = self.picture.layout.places[self.picture.box_of[anchor[0]]]
        self.scroll_to(place.x - anchor[1], place.y - anchor[2], animate=False, force=True)
