"""Drawing in characters: a sheet to write on, and a widget that shows only what has changed."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import ClassVar

import numpy as np
from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from pneumo.network.network import Array


class Canvas:
    """A sheet of characters, each with a look. Everything beside the sheet is cut."""

    def __init__(self, width: int, height: int) -> None:
        self.width, self.height = width, height
        self.chars: Array = np.full((height, width), ord(" "), dtype=np.uint32)
        """Code points, each one cell wide."""
        self.looks: Array = np.zeros((height, width), dtype=np.uint8)
        """Places in `Drawn.LOOKS`."""

    def write(self, x: int, y: int, words: str, look: int = 0) -> int:
        """Text from a cell on; the column after it."""
        end = x + len(words)
        if 0 <= y < self.height and end > 0 and x < self.width:
            words = words[max(-x, 0) : max(self.width - x, 0)]
            x = max(x, 0)
            self.chars[y, x : x + len(words)] = np.frombuffer(
                words.encode("utf-32-le"), dtype=np.uint32
            )
            self.looks[y, x : x + len(words)] = look
        return end

    def copy(self) -> Canvas:
        """Another sheet with the same on it."""
        other = Canvas(0, 0)
        other.width, other.height = self.width, self.height
        other.chars, other.looks = self.chars.copy(), self.looks.copy()
        return other

    def row(self, y: int) -> str:
        """The characters of one row."""
        return str(self.chars[y].astype("<u4").tobytes().decode("utf-32-le"))


class Drawn(Widget):
    """A widget that is drawn on a canvas; a new drawing costs what differs from the last."""

    LOOKS: ClassVar[tuple[str, ...]] = ()
    """Component classes that the looks of a canvas stand for, in their order."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._canvas = Canvas(0, 0)
        self._strips: list[Strip] = []
        self._styles: list[Style] = []

    @property
    def rows(self) -> list[str]:
        """What is drawn, as plain text."""
        return [self._canvas.row(y) for y in range(self._canvas.height)]

    def redraw(self) -> None:
        """Draws anew. Every subclass does, at the end, with `put`."""
        raise NotImplementedError

    def forget(self) -> None:
        """The next drawing is taken for new, whatever it looks like: the looks have changed."""
        self._canvas, self._styles = Canvas(0, 0), []

    def put(self, canvas: Canvas) -> None:
        """Shows a canvas; rows that are as they were stay."""
        old, self._canvas = self._canvas, canvas
        if canvas.chars.shape != old.chars.shape:
            rows = list(range(canvas.height))
            self._strips = [Strip([])] * canvas.height
            regions = [Region(0, 0, canvas.width, canvas.height)]
        else:
            differ = (canvas.chars != old.chars) | (canvas.looks != old.looks)
            rows = np.flatnonzero(differ.any(axis=1)).tolist()
            if not rows:
                return
            # row by row: a region around all of them would have every row between drawn again
            first = differ[rows].argmax(axis=1).tolist()
            last = differ[rows, ::-1].argmax(axis=1).tolist()
            regions = [
                Region(a, y, canvas.width - b - a, 1)
                for y, a, b in zip(rows, first, last, strict=True)
            ]
        if not self._styles:
            self._styles = [self.get_component_rich_style(look) for look in self.LOOKS]
        # blank cells look the same in any plain look: they go with what is left of them
        solid = np.array([bool(style.underline or style.reverse) for style in self._styles])
        looks = canvas.looks[rows]
        plain = (canvas.chars[rows] == ord(" ")) & (looks == 0)
        plain[:, 1:] &= ~solid[looks[:, :-1]]
        source = np.where(plain, 0, np.arange(canvas.width))
        looks = np.take_along_axis(looks, np.maximum.accumulate(source, axis=1), axis=1)
        for n, y in enumerate(rows):
            self._strips[y] = _strip(canvas.row(y), looks[n], self._styles)
        self.refresh(*regions)

    def render_line(self, y: int) -> Strip:
        return self._strips[y] if y < len(self._strips) else Strip.blank(self.size.width)

    def on_resize(self) -> None:
        self.redraw()

    def notify_style_update(self) -> None:
        super().notify_style_update()
        self.forget()
        if self.is_mounted:
            self.call_after_refresh(self.redraw)

    def watch_has_focus(self, value: bool) -> None:
        super().watch_has_focus(value)
        self.forget()
        self.redraw()


def _strip(words: str, looks: Array, styles: Sequence[Style]) -> Strip:
    starts = [0, *((looks[1:] != looks[:-1]).nonzero()[0] + 1).tolist()]
    shown = [styles[look] for look in looks[starts].tolist()]
    parts = [words[a:b] for a, b in pairwise([*starts, len(words)])]
    return Strip(list(map(Segment, parts, shown)), len(words))
