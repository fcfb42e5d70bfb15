"""One zone's states as a drawing with words beside or below it, or in a small window as a list."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap
from typing import ClassVar, Literal

from textual import events
from textual.binding import Binding, BindingType
from textual.message import Message

from pneumo.live.frame import Frame
from pneumo.live.link import Link
from tui.widgets.canvas import Canvas, Drawn
from tui.widgets.state_diagram import (
    BAD,
    BUTTON,
    CHOSEN,
    HEIGHT,
    LOOKS,
    MUTED,
    WIDTH,
    draw,
)  # fmt: skip
from tui.widgets.zone_story import Line, forced, last_taken, story

Shape = Literal["beside", "below", "list"]
"""Where the words are."""

WORDS = 38
"""Least width of the words beside a drawing."""


def shape(width: int, height: int) -> Shape:
    """How a sheet of this size is laid out."""
    if height >= HEIGHT + 2 and width >= WIDTH + 3 + WORDS:
        return "beside"
    return "below" if height >= HEIGHT + 16 and width >= WIDTH + 2 else "list"


class ZoneSheet(Drawn, can_focus=True):
    """The sheet. `redraw` looks at the frame; it is cheap when nothing on the sheet has changed."""

    LOOKS: ClassVar[tuple[str, ...]] = tuple(f"sheet--{look}" for look in LOOKS)
    COMPONENT_CLASSES: ClassVar[set[str]] = set(LOOKS)
    DEFAULT_CSS = """
    ZoneSheet {
        & > .sheet--text { color: $text; }
        & > .sheet--muted { color: $text-muted; }
        & > .sheet--current { color: $text; text-style: bold; }
        & > .sheet--bad { color: $text-error; text-style: bold; }
        & > .sheet--waits { color: $text-accent; }
        & > .sheet--last { color: $text; text-style: bold; }
        & > .sheet--title { color: $text; text-style: bold; }
        & > .sheet--button { color: $text-muted; text-style: underline; }
        & > .sheet--chosen { color: $text; text-style: reverse; }
        &:focus > .sheet--chosen { color: $text-accent; text-style: reverse; }
    }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up,left", "step(-1)", "Previous zone", show=False),
        Binding("down,right", "step(1)", "Next zone", show=False),
        Binding("home", "end(0)", "First zone", show=False),
        Binding("end", "end(-1)", "Last zone", show=False),
        Binding("pageup", "scroll_words(-5)", show=False),
        Binding("pagedown", "scroll_words(5)", show=False),
        Binding("enter", "pick", "Show elsewhere", show=False),
    ]

    class Picked(Message):
        """The zone is to be shown in the other views."""

        def __init__(self, zone: str) -> None:
            self.zone = zone
            super().__init__()

    def __init__(self, link: Link) -> None:
        super().__init__()
        self.link = link
        self.zone = 0
        """Place in the plant's zones."""
        self.top = 0
        """Lines of the words that are scrolled away."""
        self._tabs: list[tuple[int, int, int]] = []
        """First column, column after, zone."""

    @property
    def name_of_zone(self) -> str:
        """The zone that is drawn; "" when the ride has none."""
        zones = self.link.plant.zones
        return zones[self.zone] if self.zone < len(zones) else ""

    def choose(self, zone: int) -> None:
        """Draws another zone, by its place."""
        if zone != self.zone:
            self.zone, self.top = zone, 0
            self.redraw()

    # drawing

    def redraw(self) -> None:
        width, height = self.size
        if width < 1 or height < 1 or not self.is_mounted:
            return
        canvas = Canvas(width, height)
        name, frame = self.name_of_zone, self.link.frame
        if not name:
            canvas.write(0, 0, "This ride has no brake zones.", MUTED)
        else:
            self._draw_tabs(canvas, frame)
            self._draw_zone(canvas, frame, name)
        self.put(canvas)

    def _draw_tabs(self, canvas: Canvas, frame: Frame) -> None:
        words = [
            f" {name} {'x ' if zone.state == 'faulted' else ''}"
            for name, zone in zip(self.link.plant.zones, frame.zones, strict=True)
        ]
        # the chosen one stays on the sheet
        first = 0
        while first < self.zone and sum(map(len, words[first : self.zone + 1])) > canvas.width - 2:
            first += 1
        x = canvas.write(0, 0, "‹" if first else " ", MUTED)
        self._tabs = []
        for number in range(first, len(words)):
            look = CHOSEN if number == self.zone else BUTTON
            if frame.zones[number].state == "faulted" and number != self.zone:
                look = BAD
            end = canvas.write(x, 0, words[number], look)
            self._tabs.append((x, end, number))
            x = end + 1
        if x > canvas.width + 1:
            canvas.write(canvas.width - 1, 0, "›", MUTED)

    def _draw_zone(self, canvas: Canvas, frame: Frame, name: str) -> None:
        plant = self.link.plant
        zone, now = plant.circuit.zones[name], frame.zones[self.zone]
        spring = plant.circuit.zone_spring(name)
        last = last_taken(name, self.link.past.events, frame.time)
        layout = shape(canvas.width, canvas.height)
        lines = story(
            zone, spring, now, frame.time, last, forced(plant, frame, name), frame.stopped_by,
            with_ways=layout == "list",
        )  # fmt: skip
        if layout != "list":
            taken = None if last is None else (last.source, last.destination)
            ways = {wait.to for wait in now.waits if not wait.cause}
            draw(canvas, (1, 2), spring, zone.safe_state, now.state, taken, ways)
        x, y = {"beside": (WIDTH + 3, 2), "below": (1, HEIGHT + 3), "list": (1, 1)}[layout]
        self._write(canvas, x, y, lines)

    def _write(self, canvas: Canvas, x: int, y: int, lines: Sequence[Line]) -> None:
        broken: list[Line] = []
        room = max(canvas.width - x - 1, 8)
        for line in lines:
            rest = " " * line.indent
            parts = wrap(line.words, room, subsequent_indent=rest, drop_whitespace=True) or [""]
            broken += [Line(part, line.look) for part in parts]
        fits = canvas.height - y
        self.top = min(max(self.top, 0), max(len(broken) - fits, 0))
        for n, line in enumerate(broken[self.top : self.top + max(fits, 0)]):
            canvas.write(x, y + n, line.words, line.look)
        if self.top + fits < len(broken):
            canvas.write(canvas.width - 2, canvas.height - 1, "▼", MUTED)
        if self.top:
            canvas.write(canvas.width - 2, y, "▲", MUTED)

    # keys and mouse

    def action_step(self, step: int) -> None:
        zones = len(self.link.plant.zones)
        if zones:
            self.choose((self.zone + step) % zones)

    def action_end(self, place: int) -> None:
        zones = len(self.link.plant.zones)
        if zones:
            self.choose(place % zones)

    def action_scroll_words(self, lines: int) -> None:
        self.top = max(self.top + lines, 0)
        self.redraw()

    def action_pick(self) -> None:
        if self.name_of_zone:
            self.post_message(self.Picked(self.name_of_zone))

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        event.stop()
        self.action_scroll_words(2)

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        event.stop()
        self.action_scroll_words(-2)

    def on_click(self, event: events.Click) -> None:
        at = event.get_content_offset(self)
        if at is not None and at.y == 0:
            for first, last, zone in self._tabs:
                if first <= at.x < last:
                    self.choose(zone)
