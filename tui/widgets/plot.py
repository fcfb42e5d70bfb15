"""Recorded channels against time, drawn in braille: one panel for each unit, one time axis.

Curves are told apart by a letter that stands on the curve itself and before its name at the right
end; colour only helps. Contacts and coils, which are ON or OFF, have a lane each below.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.message import Message

from pneumo.live.link import Past
from pneumo.network.network import Array
from tui.widgets.canvas import Drawn
from tui.widgets.envelope import Envelope
from tui.widgets.picture import (
    PICTURE_LOOKS,
    WINDOWS,
    Backdrop,
    Curve,
    Picture,
    Place,
    Scene,
    axes,
    mark,
    share_out,
)

GROWTH = 1.25
"""By how much the stretch "all" is lengthened when it is full."""
SHORTEST_ALL = 10.0
"""[s]"""


class Plot(Drawn, can_focus=True):
    """The plot. `choose` says which channels, `draw` gives it the record."""

    LOOKS: ClassVar[tuple[str, ...]] = tuple(f"plot--{look}" for look in PICTURE_LOOKS)
    COMPONENT_CLASSES: ClassVar[set[str]] = set(LOOKS)
    DEFAULT_CSS = """
    Plot {
        width: 1fr; height: 1fr;
        & > .plot--text { color: $text; }
        & > .plot--axis { color: $text-muted; }
        & > .plot--cursor { color: $text-accent; text-style: bold; }
        & > .plot--lane { color: $foreground 60%; }
        & > .plot--now { color: $text-accent; }
        & > .plot--button { color: $text-muted; text-style: underline; }
        & > .plot--chosen { color: $text; text-style: reverse; }
        & > .plot--curve-1 { color: $foreground; text-style: bold; }
        & > .plot--curve-2 { color: $accent; }
        & > .plot--curve-3 { color: $secondary; }
        & > .plot--curve-4 { color: $primary; text-style: bold; }
        & > .plot--curve-5 { color: $text-accent; }
        & > .plot--curve-6 { color: $foreground 70%; }
        &:focus > .plot--chosen { color: $text-accent; text-style: reverse; }
    }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "move(-1)", "Cursor", show=False),
        Binding("right", "move(1)", "Cursor", show=False),
        Binding("shift+left", "move(-10)", show=False),
        Binding("shift+right", "move(10)", show=False),
        Binding("c", "other_cursor", "Cursor A/B", show=False),
        Binding("d", "clear_cursors", "No cursors", show=False),
        Binding("z", "window(1)", "Window", show=False),
        Binding("Z", "window(-1)", show=False),
        Binding("y", "fit", "Value axis", show=False),
        Binding("pageup", "shift(-1)", "Earlier", show=False),
        Binding("pagedown", "shift(1)", "Later", show=False),
        Binding("home", "begin", "Begin", show=False),
        Binding("end", "follow", "Newest", show=False),
    ]

    class Changed(Message):
        """A cursor was moved, set or cleared."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.curves: tuple[Curve, ...] = ()
        self.cursors: list[float | None] = [None, None]
        """A and B [s]."""
        self.active = 0
        """The cursor that the keys move."""
        self.window = 1
        """Place in WINDOWS."""
        self.held: float | None = None
        """Left end of what is shown [s]; None: the newest is followed."""
        self.fitted = False
        """True: value axes go from least to greatest; False: they include zero."""
        self.title = ""
        """What the curves have in common, in the top row."""
        self.past: Past | None = None
        self.now = 0.0
        """The instant that the frame shows [s]."""
        self.newest = 0.0
        self._envelope: Envelope | None = None
        self._envelope_of: object = None
        self._backdrop: Backdrop | None = None
        self._drawn_of: object = None
        self._buttons: list[tuple[int, int, int]] = []
        """First and last column of the words in the top row; place in WINDOWS, or -1."""
        self._held_mouse = False

    # what to draw

    def choose(self, curves: Sequence[Curve], title: str = "") -> None:
        """Draws these channels, curves first and lanes below."""
        self.curves, self.title = tuple(curves), title
        self.redraw()

    def draw(self, past: Past, now: float, newest: float) -> None:
        """Draws a record; `now` is the instant [s] that is shown elsewhere."""
        if self.past is not None and past.epoch != self.past.epoch:
            end = newest
            self.cursors = [at if at is None or at <= end else end for at in self.cursors]
        self.past, self.now, self.newest = past, now, newest
        self.redraw()

    def mark(self, curve: int) -> str:
        """The letter of a curve; a lane has none."""
        return mark(self.curves, curve)

    def reading(self, curve: Curve, time: float) -> float | None:
        """A channel at an instant [s], in SI; None: not recorded or not seen."""
        return self._scene().reading(curve, time)

    # keys and mouse

    def action_move(self, steps: int) -> None:
        """Moves the active cursor by columns of dots; sets it in the middle when there is none."""
        start, width, dots = self._span()
        at = self.cursors[self.active]
        if at is None:
            at = start + (dots // 2) * width
        else:
            at += steps * width
        self._put(self.active, at)
        if not start <= at <= start + dots * width:
            self._show_around(at)

    def action_other_cursor(self) -> None:
        """The keys move the other cursor from now on; it is set beside the first."""
        other = 1 - self.active
        if self.cursors[self.active] is not None:
            self.active = other
            if self.cursors[other] is None:
                _, width, dots = self._span()
                self._put(other, (self.cursors[1 - other] or 0.0) + max(dots // 10, 1) * width)
        self.redraw()

    def action_clear_cursors(self) -> None:
        self.cursors, self.active = [None, None], 0
        self.post_message(self.Changed())
        self.redraw()

    def action_window(self, steps: int) -> None:
        """A longer or shorter stretch of time; what is held keeps its middle."""
        self.set_window((self.window + steps) % len(WINDOWS))

    def set_window(self, window: int) -> None:
        """One of WINDOWS."""
        start, width, dots = self._span()
        self.window = window
        if self.held is not None:
            middle = self.cursors[self.active]
            if middle is None or not start <= middle <= start + dots * width:
                middle = start + dots * width / 2
            self._show_around(middle)
        self.redraw()

    def action_fit(self) -> None:
        self.fitted = not self.fitted
        self.redraw()

    def action_shift(self, halves: float) -> None:
        """Earlier or later by half of what is shown; the newest is followed again at the end."""
        start, width, dots = self._span()
        self._hold(start + halves * width * dots / 2)

    def action_begin(self) -> None:
        self._hold(-math.inf)

    def action_follow(self) -> None:
        self.held = None
        self.redraw()

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        event.stop()
        self.action_shift(-0.25)

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        event.stop()
        self.action_shift(0.25)

    def on_mouse_down(self, event: events.MouseDown) -> None:
        """The first button sets cursor A, the others B; dragging from A sets B."""
        at = event.get_content_offset(self)
        if at is None:
            return
        if at.y == 0:
            for first, last, window in self._buttons:
                if first <= at.x < last:
                    if window >= 0:
                        self.set_window(window)
                    else:
                        self.action_follow()
            return
        self.active = 0 if event.button == 1 and not event.shift else 1
        self._put(self.active, self._time_of(at.x))
        self._held_mouse = event.button == 1 and not event.shift
        self.capture_mouse()

    def on_mouse_move(self, event: events.MouseMove) -> None:
        if self._held_mouse and event.button:
            at = self._time_of(event.get_content_offset_capture(self).x)
            if at != self.cursors[0]:
                self.active = 1
                self._put(1, at)

    def on_mouse_up(self, event: events.MouseUp) -> None:
        self._held_mouse = False
        self.release_mouse()

    def forget(self) -> None:
        super().forget()
        self._drawn_of = None

    def _put(self, cursor: int, time: float) -> None:
        first = float(self.past.times[0]) if self.past and len(self.past.times) else 0.0
        self.cursors[cursor] = min(max(time, first), max(self.newest, first))
        self.post_message(self.Changed())
        self.redraw()

    def _hold(self, start: float) -> None:
        """Shows the record from `start` [s] on; follows the newest when that is inside."""
        _, width, dots = self._span()
        first = float(self.past.times[0]) if self.past and len(self.past.times) else 0.0
        self.held = max(start, math.floor(first / width) * width)
        if self.held + width * dots > self.newest:
            self.held = None
        self.redraw()

    def _show_around(self, time: float) -> None:
        _, width, dots = self._span()
        self._hold(time - width * dots / 2)

    # the time axis

    def _span(self) -> tuple[float, float, int]:
        """Left end [s], width of a column of dots [s], number of columns."""
        dots = max(2 * self._place.cells, 2)
        first = float(self.past.times[0]) if self.past and len(self.past.times) else 0.0
        length = WINDOWS[self.window][1]
        if length is None:
            need = max(self.newest - first, SHORTEST_ALL)
            full = math.ceil(math.log(need / SHORTEST_ALL, GROWTH) - 1e-9)
            width = SHORTEST_ALL * GROWTH**full / (dots - 1)
            return math.floor(first / width) * width, width, dots
        width = length / dots
        if self.held is not None:
            return round(self.held / width) * width, width, dots
        # the end is moved by an eighth at a time: between, only the newest columns change
        jump = max(dots // 8, 1)
        end = math.ceil((math.floor(self.newest / width) + 1) / jump) * jump
        return max(end - dots, math.floor(first / width)) * width, width, dots

    def _time_of(self, x: int) -> float:
        start, width, _ = self._span()
        return start + (2 * (x - self._place.left) + 1) * width

    # drawing

    def redraw(self) -> None:
        """Draws what has changed; nothing when nothing has."""
        width, height = self.size
        if width < 1 or height < 1 or not self.is_mounted:
            return
        past = self.past
        record = None if past is None else (past.epoch, past.thinned, len(past.times))
        drawn = (
            record, self.now, self.newest, self.curves, width, height, self.window, self.held,
            self.fitted, self.title, self.active, *self.cursors,
        )  # fmt: skip
        if drawn == self._drawn_of:
            return
        self._drawn_of = drawn
        scene = self._scene()
        low, high = self._bins(scene)
        of = axes(scene, width, height, low, high)
        if self._backdrop is None or self._backdrop.of != of:
            self._backdrop = Backdrop(of)
        self._backdrop.follow(low, high)
        picture = Picture(scene, self._backdrop)
        self._buttons = picture.buttons
        self.put(picture.canvas)

    @property
    def _place(self) -> Place:
        return share_out(self.curves, *self.size)

    def _scene(self) -> Scene:
        start, step, _ = self._span()
        return Scene(
            self.curves, self.past, self._place, start, step, self.now, self.newest,
            (self.cursors[0], self.cursors[1]), self.window, self.held is not None, self.fitted,
            self.title,
        )  # fmt: skip

    def _bins(self, scene: Scene) -> tuple[Array, Array]:
        columns = tuple(curve.column for curve in self.curves)
        of = (scene.past.epoch, scene.past.thinned) if scene.past else None
        key = (of, scene.step, columns)
        if self._envelope is None or key != self._envelope_of:
            steps = [not curve.unit for curve in self.curves]
            self._envelope, self._envelope_of = Envelope(scene.step, columns, steps), key
        if scene.past is not None:
            self._envelope.follow(scene.past.times, scene.past.values)
        return self._envelope.bins(round(scene.start / scene.step), scene.dots)
