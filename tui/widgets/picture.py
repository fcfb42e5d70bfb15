"""One drawing of a plot, into arrays of characters and of looks: a plain function of a scene.

A panel for each unit, a lane for each contact or coil, one time axis. Curves are told apart by a
letter that stands on the curve itself and before its name at the right end; colour only helps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pneumo.live.link import Past
from pneumo.network.network import Array
from tui import text
from tui.widgets.axis import lower, time_label, time_step, upper, value_step
from tui.widgets.canvas import Canvas
from tui.widgets.envelope import at_instant

MARKS = "abcdefghijklmnopqrstuvwxyz"
WINDOWS: tuple[tuple[str, float | None], ...] = (
    ("10 s", 10.0),
    ("1 min", 60.0),
    ("10 min", 600.0),
    ("all", None),
)
"""Words and length [s] of the stretches of time that can be shown."""

GUTTER = 9
"""Cells left of the curves, for the value axis."""
SCALES = {"Pa": (1e5, "bar"), "m": (1e-3, "mm"), "N": (1e3, "kN")}
"""Unit of a channel -> size of the unit on screen in SI, and its name."""

COLOURS = 6
PICTURE_LOOKS = ("text", "axis", "lane", "cursor", "now", "button", "chosen",
          *(f"curve-{n}" for n in range(1, COLOURS + 1)))  # fmt: skip
_TEXT, _AXIS, _LANE, _CURSOR, _NOW, _BUTTON, _CHOSEN, _CURVE = range(8)

_WEIGHTS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]], dtype=np.uint8)
"""Braille dots of a cell, 4 rows of 2."""
_BRAILLE = 0x2800


class Curve(NamedTuple):
    """A channel to draw."""

    column: int
    """In `Past.values`."""
    name: str
    unit: str
    """As `Channel.unit`; "": a lane."""
    words: tuple[str, str] = ("made", "broken")
    """Of a lane: what 1 and 0 are called."""


class Panel(NamedTuple):
    """Rows of the screen that share one value axis."""

    unit: str
    top: int
    height: int
    members: tuple[int, ...]
    """Places in the list of curves."""


class Place(NamedTuple):
    """Where everything is in a widget of some size."""

    left: int
    """Column of the first cell of the curves."""
    cells: int
    """Width of the curves."""
    panels: tuple[Panel, ...]
    lanes: tuple[tuple[int, int], ...]
    """Row, place in the list of curves."""
    axis: int
    """Row of the time axis; its labels are below it."""
    unseen: int
    """Curves for which there is no room."""


def share_out(curves: Sequence[Curve], width: int, height: int) -> Place:
    """Shares the rows out: a row of words, panels, lanes, two rows of time axis."""
    names = min(max(width // 4, 16), 34) if width >= 44 else 0
    left = min(GUTTER, width // 4)
    units = [u for u in SCALES if any(curve.unit == u for curve in curves)]
    lanes = [i for i, curve in enumerate(curves) if not curve.unit]
    room = max(height - 3, 0)
    least = 4 if room >= 8 else 3
    shown = units[: room // least]
    fit = lanes[: room - least * len(shown)]
    panels: list[Panel] = []
    top = 1
    for n, unit in enumerate(shown):
        tall, over = divmod(room - len(fit), len(shown))
        members = tuple(i for i, curve in enumerate(curves) if curve.unit == unit)
        panels.append(Panel(unit, top, tall + (n < over), members))
        top += panels[-1].height
    unseen = len(curves) - len(fit) - sum(len(panel.members) for panel in panels)
    rows = tuple((top + n, lane) for n, lane in enumerate(fit))
    return Place(left, max(width - left - names, 1), tuple(panels), rows, height - 2, unseen)


def mark(curves: Sequence[Curve], curve: int) -> str:
    """The letter of a curve; a lane has none."""
    if not curves[curve].unit:
        return " "
    return MARKS[sum(1 for other in curves[:curve] if other.unit) % len(MARKS)]


@dataclass(frozen=True)
class Scene:
    """What a picture shows."""

    curves: tuple[Curve, ...]
    past: Past | None
    place: Place
    start: float
    """Left end [s]."""
    step: float
    """Width of a column of dots [s]."""
    now: float
    """The instant that the frame shows [s]."""
    newest: float
    """The latest instant there is [s]."""
    cursors: tuple[float | None, float | None]
    """A and B [s]."""
    window: int
    """Place in WINDOWS."""
    held: bool
    """False: the newest is followed."""
    fitted: bool
    """True: value axes go from least to greatest; False: they include zero."""
    title: str
    """What the curves have in common; "" = nothing to say."""

    @property
    def dots(self) -> int:
        """Columns of dots."""
        return 2 * self.place.cells

    @property
    def end(self) -> float:
        """Right end [s]."""
        return self.start + self.dots * self.step

    def reading(self, curve: Curve, time: float) -> float | None:
        """A channel at an instant [s], in SI; None: not recorded or not seen."""
        if self.past is None or len(self.past.times) == 0 or time > self.newest:
            return None
        at = min(time, float(self.past.times[-1]))
        return at_instant(self.past.times, self.past.values, curve.column, at, not curve.unit)


class Picture:
    """Draws a scene: `low` and `high` are its curves per column of dots, (dots, curves) in SI."""

    def __init__(self, scene: Scene, width: int, height: int) -> None:
        self.scene, self.place = scene, scene.place
        self.width, self.height = width, height
        self.canvas = Canvas(width, height)
        self.write, self.chars, self.looks = (
            self.canvas.write, self.canvas.chars, self.canvas.looks
        )  # fmt: skip
        self.buttons: list[tuple[int, int, int]] = []
        """Words in the top row: first column, column after, place in WINDOWS or -1 = newest."""
        self._cells = slice(self.place.left, self.place.left + self.place.cells)

    def draw(self, low: Array, high: Array) -> None:
        """Everything, from the back to the front."""
        self._head()
        if not self.scene.curves:
            self.write(self.place.left, 2, "No channel is chosen.", _AXIS)
        for panel in self.place.panels:
            self._panel(panel, low, high)
        for row, lane in self.place.lanes:
            self._lane(row, lane, low[:, lane], high[:, lane])
        self._time_axis()
        self._upright()

    def _head(self) -> None:
        scene = self.scene
        x = 0
        for n, (words, _) in enumerate(WINDOWS):
            chosen = n == scene.window
            end = self.write(
                x, 0, f"[{words}]" if chosen else f" {words} ", _CHOSEN if chosen else _BUTTON
            )
            self.buttons.append((x, end, n))
            x = end + 1
        held = scene.held
        end = self.write(x, 0, " newest " if held else "[newest]", _BUTTON if held else _CHOSEN)
        self.buttons.append((x, end, -1))
        notes = [scene.title] if scene.title else []
        if scene.now < scene.newest - 1e-9:
            notes.append(f"shown {text.clock(scene.now)}, newest {text.clock(scene.newest)}")
        if self.place.unseen:
            notes.append(f"no room for {self.place.unseen} more")
        if notes:
            self.write(end + 2, 0, "; ".join(notes), _NOW)

    def _look(self, curve: int) -> int:
        before = sum(1 for other in self.scene.curves[:curve] if other.unit)
        return _CURVE + before % COLOURS

    # a panel of curves

    def _panel(self, panel: Panel, low: Array, high: Array) -> None:
        size, unit = SCALES[panel.unit]
        low, high = low / size, high / size
        members = list(panel.members)
        bottom, top, step = self._range(panel, low[:, members], high[:, members])
        scale = (4 * panel.height - 1) / (top - bottom)
        self._value_axis(panel, bottom, top, step, unit)
        dots = np.zeros((4 * panel.height, self.scene.dots), dtype=bool)
        rows = np.arange(4 * panel.height)[:, None]
        chars = self.chars[panel.top : panel.top + panel.height, self._cells]
        looks = self.looks[panel.top : panel.top + panel.height, self._cells]
        for curve in members:
            seen = ~np.isnan(low[:, curve])
            if not seen.any():
                continue
            upper_dot = np.where(seen, np.rint((top - high[:, curve]) * scale), 1e9)
            lower_dot = np.where(seen, np.rint((top - low[:, curve]) * scale), -1e9)
            own = (rows >= upper_dot) & (rows <= lower_dot)
            dots |= own
            touched = own.reshape(panel.height, 4, -1, 2).any(axis=(1, 3))
            looks[touched] = self._look(curve)
        codes = (dots.reshape(panel.height, 4, -1, 2) * _WEIGHTS[None, :, None, :]).sum(
            axis=(1, 3), dtype=np.uint32
        )
        np.copyto(chars, codes + _BRAILLE, where=codes > 0)
        for curve in members:
            self._letters(panel, curve, low[:, curve], high[:, curve], top, scale)
        self._names(panel, top, scale, size)

    def _range(self, panel: Panel, low: Array, high: Array) -> tuple[float, float, float]:
        """Bottom, top and step of the value axis, in the unit on screen."""
        seen = ~np.isnan(low)
        least = float(low[seen].min()) if seen.any() else 0.0
        most = float(high[seen].max()) if seen.any() else 0.0
        if not self.scene.fitted:
            least, most = min(least, 0.0), max(most, 0.0)
        if most - least < 0.01:
            most = least + (1.0 if not self.scene.fitted else 0.05)
        step = value_step(least, most, max(panel.height // 2, 1))
        bottom, top = lower(least, step) * step, upper(most, step) * step
        return bottom, max(top, bottom + step), step

    def _value_axis(self, panel: Panel, bottom: float, top: float, step: float, unit: str) -> None:
        edge = self.place.left - 1
        for y in range(panel.top, panel.top + panel.height):
            self.write(max(edge, 0), y, "│", _AXIS)
        if edge < 4:
            return
        digits = max(0, -math.floor(math.log10(step) + 1e-9))
        count = round((top - bottom) / step)
        for n in range(count + 1):
            value = bottom + n * step
            y = panel.top + round((top - value) / (top - bottom) * (4 * panel.height - 1)) // 4
            label = f"{value:.{digits}f}" + (f" {unit}" if n == count else "")
            self.write(edge, y, "┤", _AXIS)
            self.write(0, y, label.rjust(edge)[-edge:], _TEXT if n == count else _AXIS)
            for x in self._tick_cells():
                self.write(x, y, "·", _AXIS)

    def _letters(
        self, panel: Panel, curve: int, low: Array, high: Array, top: float, scale: float
    ) -> None:
        """The curve's letter on the curve itself, every so often, staggered among the curves."""
        gap = max(self.place.cells // 4, 12)
        first = 2 + (panel.members.index(curve) * 5) % gap
        for cell in range(first, self.place.cells, gap):
            value = (low[2 * cell] + high[2 * cell]) / 2
            if np.isnan(value):
                continue
            y = panel.top + min(max(round((top - value) * scale) // 4, 0), panel.height - 1)
            self.write(self.place.left + cell, y, mark(self.scene.curves, curve), self._look(curve))

    def _names(self, panel: Panel, top: float, scale: float, size: float) -> None:
        """Letter, value and name at the right end, each near its curve, none over another."""
        x = self._cells.stop + 1
        if x >= self.width:
            return
        at = self._reading_at()
        wanted = []
        for curve in panel.members:
            value = self.scene.reading(self.scene.curves[curve], at)
            row = 0 if value is None else int((top - value / size) * scale) // 4
            wanted.append((min(max(row, 0), panel.height - 1), curve, value))
        wanted.sort(key=lambda entry: entry[0])
        shown = wanted[: panel.height]
        rows: list[int] = []
        for n, (row, _, _) in enumerate(shown):
            rows.append(max(row, rows[-1] + 1 if rows else 0))
            overflow = rows[-1] - (panel.height - 1)
            if overflow > 0:
                for back in range(n, -1, -1):
                    rows[back] = min(rows[back], panel.height - 1 - (n - back))
        for row, (_, curve, value) in zip(rows, shown, strict=True):
            channel = self.scene.curves[curve]
            number = text.quantity(value, channel.unit).partition(" ")[0].rjust(6)
            room = self.width - x - 9
            words = f"{mark(self.scene.curves, curve)} {number} {_tail(channel.name, room)}"
            self.write(x, panel.top + row, words, self._look(curve))
        hidden = len(wanted) - len(shown)
        if hidden:
            y = panel.top + panel.height - 1
            self.write(x, y, f"and {hidden + 1} more".ljust(self.width - x), _AXIS)

    # lanes, axis, cursors

    def _lane(self, y: int, lane: int, low: Array, high: Array) -> None:
        cells = self.place.cells
        least = np.fmin.reduce(low.reshape(cells, 2), axis=1)
        most = np.fmax.reduce(high.reshape(cells, 2), axis=1)
        row = np.full(cells, ord(" "), dtype=np.uint32)
        row[least > 0.5] = ord("▄")
        row[most <= 0.5] = ord("▁")
        row[(least <= 0.5) & (most > 0.5)] = ord("│")
        self.chars[y, self._cells] = row
        self.looks[y, self._cells] = _LANE
        self.write(max(self.place.left - 1, 0), y, "│", _AXIS)
        x = self._cells.stop + 1
        if x < self.width:
            curve = self.scene.curves[lane]
            value = self.scene.reading(curve, self._reading_at())
            word = text.UNSEEN if value is None else curve.words[0 if value > 0.5 else 1]
            room = self.width - x - 9
            self.write(x, y, f"{word:>8} {_tail(curve.name, room)}", _TEXT)

    def _reading_at(self) -> float:
        """Instant [s] of the values at the right end: now, or the end of what is shown."""
        return min(self.scene.now, self.scene.end)

    def _tick_cells(self) -> list[int]:
        return [x for x, _ in self._ticks()]

    def _ticks(self) -> list[tuple[int, str]]:
        span = self.scene.dots * self.scene.step
        step = time_step(span, max(self.place.cells // 12, 1))
        first = math.ceil(self.scene.start / step - 1e-6)
        last = math.floor((self.scene.start + span) / step - 1e-6)
        return [
            (self._column(n * step), time_label(n * step, step)) for n in range(first, last + 1)
        ]

    def _column(self, time: float) -> int:
        dot = math.floor((time - self.scene.start) / self.scene.step + 1e-6)
        return self.place.left + min(max(dot // 2, 0), self.place.cells - 1)

    def _time_axis(self) -> None:
        y, left = self.place.axis, self.place.left
        if y < 1 or y >= self.height:
            return
        self.write(max(left - 1, 0), y, "└", _AXIS)
        self.write(left, y, "─" * self.place.cells, _AXIS)
        free = 0
        for x, label in self._ticks():
            self.write(x, y, "┴", _AXIS)
            begin = x - len(label) // 2
            if begin >= free and begin + len(label) <= self.width:
                free = self.write(begin, y + 1, label, _AXIS) + 1

    def _upright(self) -> None:
        """Lines at cursor A, cursor B and the shown instant, behind the curves."""
        scene, y = self.scene, self.place.axis
        lines = [
            (at, name, _CURSOR)
            for at, name in zip(scene.cursors, "AB", strict=True)
            if at is not None
        ]
        if scene.now < scene.newest - 1e-9:
            lines.insert(0, (scene.now, "▲", _NOW))
        for at, name, look in lines:
            if not self.scene.start <= at <= self.scene.end:
                continue
            x = self._column(at)
            column = self.chars[1:y, x]
            empty = (column == ord(" ")) | (column == ord("·"))
            column[empty] = ord("┊" if look == _NOW else "│")
            self.looks[1:y, x][empty] = look
            self.write(x, y, name, look)


def _tail(name: str, room: int) -> str:
    """A name cut in front: its end tells more than its beginning."""
    if room < 2:
        return ""
    return name if len(name) <= room else "…" + name[len(name) - room + 1 :]
