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

HAIR = 0.01
"""Share of a value axis that need not be shown on the other side of zero."""

COLOURS = 6
PICTURE_LOOKS = ("text", "axis", "lane", "cursor", "now", "button", "chosen",
          *(f"curve-{n}" for n in range(1, COLOURS + 1)))  # fmt: skip
_TEXT, _AXIS, _LANE, _CURSOR, _NOW, _BUTTON, _CHOSEN, _CURVE = range(8)

_BITS = ((0, 3), (1, 4), (2, 5), (6, 7))
"""Bit of each dot of a braille cell, 4 rows of 2."""
_BRAILLE = 0x2800


class Curve(NamedTuple):
    """A channel to draw."""

    column: int
    """In `Past.values`."""
    name: str
    unit: str
    """As `Channel.unit`; "": a lane."""


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


class Axes(NamedTuple):
    """What decides whether a drawing can go on from the last."""

    curves: tuple[Curve, ...]
    width: int
    height: int
    place: Place
    start: float
    step: float
    ranges: tuple[tuple[float, float, float], ...]
    """Of each panel: bottom, top and step of its value axis, in the unit on screen."""


def axes(scene: Scene, width: int, height: int, low: Array, high: Array) -> Axes:
    """The axes that fit a scene, whose curves are `low` and `high`: (dots, curves) in SI."""
    ranges = tuple(_range(panel, low, high, scene.fitted) for panel in scene.place.panels)
    return Axes(scene.curves, width, height, scene.place, scene.start, scene.step, ranges)


class Backdrop:
    """Axes, curves and lanes. While the axes stay, only columns that differ are drawn anew."""

    def __init__(self, of: Axes) -> None:
        self.of = of
        self.canvas = Canvas(of.width, of.height)
        self._low: Array | None = None
        self._high: Array | None = None
        self._cells = slice(of.place.left, of.place.left + of.place.cells)
        ticks = self._ticks()
        for panel, span in zip(of.place.panels, of.ranges, strict=True):
            self._value_axis(panel, *span, [x for x, _ in ticks])
        for y, _ in of.place.lanes:
            self.canvas.write(max(of.place.left - 1, 0), y, "│", _AXIS)
        self._time_axis(ticks)
        self._empty = self.canvas.copy()

    def follow(self, low: Array, high: Array) -> None:
        """Draws the curves: least and greatest per column of dots, (dots, curves) in SI."""
        begin = 0
        if self._low is not None and self._high is not None:
            same = _alike(low, self._low) & _alike(high, self._high)
            begin = int(np.argmin(same)) // 2 if not same.all() else self.of.place.cells
        self._low, self._high = low, high
        cells = slice(self.of.place.left + begin, self._cells.stop)
        if begin >= self.of.place.cells:
            return
        for layer, empty in (
            (self.canvas.chars, self._empty.chars),
            (self.canvas.looks, self._empty.looks),
        ):
            layer[1 : self.of.place.axis, cells] = empty[1 : self.of.place.axis, cells]
        low, high = low[2 * begin :], high[2 * begin :]
        for panel, (bottom, top, _) in zip(self.of.place.panels, self.of.ranges, strict=True):
            self._panel(panel, bottom, top, low, high, begin)
        for row, lane in self.of.place.lanes:
            self._lane(row, low[:, lane], high[:, lane], cells)

    def _panel(
        self, panel: Panel, bottom: float, top: float, low: Array, high: Array, begin: int
    ) -> None:
        size = SCALES[panel.unit][0]
        scale = (4 * panel.height - 1) / (top - bottom)
        area = (
            slice(panel.top, panel.top + panel.height),
            slice(self._cells.start + begin, self._cells.stop),
        )
        chars, looks = self.canvas.chars[area], self.canvas.looks[area]
        codes = np.zeros(chars.shape, dtype=np.uint8)
        rows = np.arange(4 * panel.height, dtype=np.float32)[:, None]
        drawn = []
        last = 4 * panel.height - 1
        for curve in panel.members:
            upper_dot = np.clip(np.rint((top - high[:, curve] / size) * scale), 0.0, last)
            lower_dot = np.clip(np.rint((top - low[:, curve] / size) * scale), 0.0, last)
            dots = (rows >= upper_dot) & (rows <= lower_dot)  # never where it is NaN
            own = _braille(dots.view(np.uint8))
            codes |= own
            looks[own > 0] = _look(self.of.curves, curve)
            drawn.append((upper_dot + lower_dot) / 2)
        np.copyto(chars, codes + np.uint32(_BRAILLE), where=codes > 0)
        for place, curve in enumerate(panel.members):
            self._letters(panel, place, curve, drawn[place], begin)

    def _letters(self, panel: Panel, place: int, curve: int, middle: Array, begin: int) -> None:
        """The curve's letter on the curve itself, every so often, staggered among the curves."""
        gap = max(self.of.place.cells // 4, 12)
        for cell in range(2 + (place * 5) % gap, self.of.place.cells, gap):
            at = middle[2 * (cell - begin)] if cell >= begin else np.nan
            if not np.isnan(at):
                y = panel.top + min(max(int(at) // 4, 0), panel.height - 1)
                letter, look = mark(self.of.curves, curve), _look(self.of.curves, curve)
                self.canvas.write(self._cells.start + cell, y, letter, look)

    def _lane(self, y: int, low: Array, high: Array, cells: slice) -> None:
        least = np.fmin(low[0::2], low[1::2])
        most = np.fmax(high[0::2], high[1::2])
        row = np.full(len(least), ord(" "), dtype=np.uint32)
        row[least > 0.5] = ord("▄")
        row[most <= 0.5] = ord("▁")
        row[(least <= 0.5) & (most > 0.5)] = ord("│")
        self.canvas.chars[y, cells] = row
        self.canvas.looks[y, cells] = _LANE

    def _value_axis(
        self, panel: Panel, bottom: float, top: float, step: float, ticks: Sequence[int]
    ) -> None:
        edge = self.of.place.left - 1
        for y in range(panel.top, panel.top + panel.height):
            self.canvas.write(max(edge, 0), y, "│", _AXIS)
        if edge < 4:
            return
        digits = max(0, -math.floor(math.log10(step) + 1e-9))
        count = round((top - bottom) / step)
        for n in range(count + 1):
            value = bottom + n * step
            y = panel.top + round((top - value) / (top - bottom) * (4 * panel.height - 1)) // 4
            last = n == count
            label = f"{value:.{digits}f}" + (f" {SCALES[panel.unit][1]}" if last else "")
            self.canvas.write(edge, y, "┤", _AXIS)
            self.canvas.write(0, y, label.rjust(edge)[-edge:], _TEXT if last else _AXIS)
            for x in ticks:
                self.canvas.write(x, y, "·", _AXIS)

    def _ticks(self) -> list[tuple[int, str]]:
        """Column and label of each tick of the time axis."""
        of = self.of
        span = 2 * of.place.cells * of.step
        step = time_step(span, max(of.place.cells // 12, 1))
        first = math.ceil(of.start / step - 1e-6)
        last = math.floor((of.start + span) / step - 1e-6)
        return [
            (_column(of.place, of.start, of.step, n * step), time_label(n * step, step))
            for n in range(first, last + 1)
        ]

    def _time_axis(self, ticks: Sequence[tuple[int, str]]) -> None:
        y, left = self.of.place.axis, self.of.place.left
        if y < 1 or y >= self.of.height:
            return
        self.canvas.write(max(left - 1, 0), y, "└", _AXIS)
        self.canvas.write(left, y, "─" * self.of.place.cells, _AXIS)
        free = 0
        for x, label in ticks:
            self.canvas.write(x, y, "┴", _AXIS)
            begin = x - len(label) // 2
            if begin >= free and begin + len(label) <= self.of.width:
                free = self.canvas.write(begin, y + 1, label, _AXIS) + 1


class Picture:
    """A scene before its backdrop: words, names and values, cursors."""

    def __init__(self, scene: Scene, backdrop: Backdrop) -> None:
        self.scene, self.place, self.ranges = scene, scene.place, backdrop.of.ranges
        self.canvas = backdrop.canvas.copy()
        self.write = self.canvas.write
        self.buttons: list[tuple[int, int, int]] = []
        """Words in the top row: first column, column after, place in WINDOWS or -1 = newest."""
        self._head()
        if not scene.curves:
            self.write(self.place.left, 2, "No channel is chosen.", _AXIS)
        for panel, (bottom, top, _) in zip(self.place.panels, self.ranges, strict=True):
            self._names(panel, top, (4 * panel.height - 1) / (top - bottom))
        for row, lane in self.place.lanes:
            self._word(row, scene.curves[lane])
        self._upright()

    @property
    def _right(self) -> int:
        """First column of the names."""
        return self.place.left + self.place.cells + 1

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

    def _names(self, panel: Panel, top: float, scale: float) -> None:
        """Letter, value and name at the right end, each near its curve, none over another."""
        x, size = self._right, SCALES[panel.unit][0]
        if x >= self.canvas.width:
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
            room = self.canvas.width - x - 9
            words = f"{mark(self.scene.curves, curve)} {number} {_tail(channel.name, room)}"
            self.write(x, panel.top + row, words, _look(self.scene.curves, curve))
        hidden = len(wanted) - len(shown)
        if hidden:
            y = panel.top + panel.height - 1
            self.write(x, y, f"and {hidden + 1} more".ljust(self.canvas.width - x), _AXIS)

    def _word(self, y: int, curve: Curve) -> None:
        """What a lane is at the right end, and its name."""
        value = self.scene.reading(curve, self._reading_at())
        word = text.UNSEEN if value is None else text.state(value > 0.5)
        name = _tail(curve.name, self.canvas.width - self._right - 9)
        self.write(self._right, y, f"{word:>8} {name}", _TEXT)

    def _reading_at(self) -> float:
        """Instant [s] of the values at the right end: now, or the end of what is shown."""
        return min(self.scene.now, self.scene.end)

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
            x = _column(self.place, scene.start, scene.step, at)
            column = self.canvas.chars[1:y, x]
            empty = (column == ord(" ")) | (column == ord("·"))
            column[empty] = ord("┊" if look == _NOW else "│")
            self.canvas.looks[1:y, x][empty] = look
            self.write(x, y, name, look)


def _column(place: Place, start: float, step: float, time: float) -> int:
    """Cell of an instant [s]."""
    dot = math.floor((time - start) / step + 1e-6)
    return place.left + min(max(dot // 2, 0), place.cells - 1)


def _look(curves: Sequence[Curve], curve: int) -> int:
    return _CURVE + sum(1 for other in curves[:curve] if other.unit) % COLOURS


def _range(panel: Panel, low: Array, high: Array, fitted: bool) -> tuple[float, float, float]:
    size, members = SCALES[panel.unit][0], list(panel.members)
    least = float(np.fmin.reduce(low[:, members], axis=None)) / size
    most = float(np.fmax.reduce(high[:, members], axis=None)) / size
    if math.isnan(least):
        least = most = 0.0
    if not fitted:
        # a hair beyond zero, as after venting, is drawn at zero
        hair = HAIR * max(most, -least)
        least, most = (least if least < -hair else 0.0), (most if most > hair else 0.0)
    if most - least < 0.01:
        most = least + (0.05 if fitted else 1.0)
    step = value_step(least, most, max(panel.height // 2, 1))
    bottom, top = lower(least, step) * step, upper(most, step) * step
    return bottom, max(top, bottom + step), step


def _alike(a: Array, b: Array) -> Array:
    """Rows of two arrays that are equal, NaN counting as equal to NaN."""
    same: Array = ((a == b) | (np.isnan(a) & np.isnan(b))).all(axis=1)
    return same


def _braille(dots: Array) -> Array:
    """Codes of cells of 4 rows of 2 dots, of 0 or 1."""
    codes = np.zeros((dots.shape[0] // 4, dots.shape[1] // 2), dtype=np.uint8)
    for row, bits in enumerate(_BITS):
        for column, bit in enumerate(bits):
            codes |= dots[row::4, column::2] << np.uint8(bit)
    return codes


def _tail(name: str, room: int) -> str:
    """A name cut in front: its end tells more than its beginning."""
    if room < 2:
        return ""
    return name if len(name) <= room else "…" + name[len(name) - room + 1 :]
