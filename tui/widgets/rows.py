"""A list of rows with a cursor, for any number of them: only what is on screen is drawn.

A row is any hashable value. A function turns it into lines, and lines into pieces: text, a look,
and what a click on it asks for. Looks are the theme's, so that a row needs to know no colour.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Hashable, Sequence
from itertools import accumulate
from typing import ClassVar, Literal, NamedTuple

from rich.cells import cell_len, set_cell_size
from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Region, Size
from textual.message import Message
from textual.scroll_view import ScrollView
from textual.strip import Strip
from textual.widget import Widget

Look = Literal["", "muted", "bold", "bad", "warn", "accent", "button"]


class Piece(NamedTuple):
    """Text in one look."""

    text: str
    look: Look = ""
    act: str = ""
    """What a click on it asks for; "" = it only picks the row."""


Line = tuple[Piece, ...]
Draw = Callable[[Hashable, int], Sequence[Line]]
"""A row and a width in cells -> its lines."""

CURSOR = "▸"
KEPT = 1000
"""Drawn rows that are kept."""


def plain(line: Line) -> str:
    """The text of a line."""
    return "".join(piece.text for piece in line)


def size(line: Line) -> int:
    """Cells of a line."""
    return sum(cell_len(piece.text) for piece in line)


def cut(line: Line, width: int) -> Line:
    """A line made exactly `width` cells wide; what does not fit is cut, the cut marked."""
    room = max(width, 0)
    if size(line) <= room:
        rest = room - size(line)
        return (*line, Piece(" " * rest)) if rest else line
    found: list[Piece] = []
    for piece in line:
        cells = cell_len(piece.text)
        if cells < room:
            found.append(piece)
            room -= cells
            continue
        found.append(piece._replace(text=set_cell_size(piece.text, room - 1) + "…" if room else ""))
        break
    return tuple(piece for piece in found if piece.text)


def spread(left: Line, right: Line, width: int) -> Line:
    """`left` at the left and `right` at the right edge; `left` is cut when there is no room."""
    if size(right) >= width:
        return cut(left, width)
    return (*cut(left, width - size(right)), *right)


LOOKS: frozenset[str] = frozenset(
    f"looks--{name}"
    for name in ("cursor", "cursor-away", "muted", "bold", "bad", "warn", "accent", "button")
)
"""Component classes of a widget whose text has looks."""

LOOKS_CSS = """
    & > .looks--cursor { background: $accent 22%; }
    & > .looks--cursor-away { background: $foreground 8%; }
    & > .looks--muted { color: $foreground 60%; }
    & > .looks--bold { text-style: bold; }
    & > .looks--bad { color: $text-error; background: $error 25%; text-style: bold; }
    & > .looks--warn { color: $text-warning; text-style: bold; }
    & > .looks--accent { color: $text-accent; }
    & > .looks--button { text-style: underline; }
"""
"""Their styles, to be put into the default CSS of that widget."""


def look_of(widget: Widget, look: str, state: str = "") -> Style:
    """The style of a look in a widget, on a cursor when `state` says so."""
    names = [f"looks--{name}" for name in (state, look) if name]
    return widget.get_visual_style(*names).rich_style


def segments(widget: Widget, line: Line, state: str = "") -> list[Segment]:
    """A line in its looks; a piece that asks for something says so under "act"."""
    found = []
    for words, look, act in line:
        style = look_of(widget, look, state)
        found.append(Segment(words, style + Style(meta={"act": act}) if act else style))
    return found


class Words(Widget):
    """One line of words, some of them to be clicked."""

    COMPONENT_CLASSES: ClassVar[set[str]] = set(LOOKS)
    DEFAULT_CSS = f"""
    Words {{ height: 1; width: 1fr; background: $panel; {LOOKS_CSS} }}
    """

    class Acted(Message):
        """A word was clicked."""

        def __init__(self, words: Words, act: str) -> None:
            self.words, self.act = words, act
            super().__init__()

        @property
        def control(self) -> Words:
            return self.words

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.line: Line = ()
        self._right: Line = ()

    def fill(self, left: Line, right: Line = ()) -> None:
        """Shows a line; `right` at the right edge, if there is room for both."""
        if (left, right) != (self.line, self._right):
            self.line, self._right = left, right
            self.refresh()

    def render_line(self, y: int) -> Strip:
        width, base = self.size.width, look_of(self, "")
        right = self._right if size((*self.line, *self._right)) < width - 1 else ()
        line = spread((Piece(" "), *self.line), right, width)
        return Strip(segments(self, line)).adjust_cell_length(width, base)

    def on_click(self, event: events.Click) -> None:
        act = event.style.meta.get("act")
        if act:
            self.post_message(self.Acted(self, str(act)))


class Rows(ScrollView, can_focus=True):
    """The list. `draw` makes the lines of a row: `tall` of them, or as many as `fill` says."""

    COMPONENT_CLASSES: ClassVar[set[str]] = set(LOOKS)
    DEFAULT_CSS = f"""
    Rows {{ overflow-x: hidden; background: $surface; scrollbar-size-vertical: 1; {LOOKS_CSS} }}
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "move(-1)", "Up", show=False),
        Binding("down", "move(1)", "Down", show=False),
        Binding("pageup", "page(-1)", "Page up", show=False),
        Binding("pagedown", "page(1)", "Page down", show=False),
        Binding("home", "end(-1)", "First", show=False),
        Binding("end", "end(1)", "Last", show=False),
        Binding("enter", "choose", "Choose", show=False),
    ]

    class Resized(Message):
        """The list has another size: what fits into it may be other."""

        def __init__(self, rows: Rows) -> None:
            self.rows = rows
            super().__init__()

        @property
        def control(self) -> Rows:
            return self.rows

    class Moved(Message):
        """The cursor was moved to a row by a person."""

        def __init__(self, rows: Rows, index: int) -> None:
            self.rows, self.index = rows, index
            super().__init__()

        @property
        def control(self) -> Rows:
            return self.rows

    class Chosen(Moved):
        """A row was chosen, by enter or two clicks."""

    class Acted(Moved):
        """A piece that asks for something was clicked."""

        def __init__(self, rows: Rows, index: int, act: str) -> None:
            self.act = act
            super().__init__(rows, index)

    def __init__(
        self,
        draw: Draw,
        *,
        tall: int = 1,
        empty: str = "",
        pickable: Callable[[Hashable], bool] = lambda row: True,
        key: Callable[[Hashable], Hashable] | None = None,
        away: bool = True,
        id: str | None = None,
    ) -> None:
        super().__init__(id=id)
        self._draw = draw
        self._pickable = pickable
        self._away = away
        """The cursor is shown while the focus is elsewhere, too."""
        self._key = key
        """What stays the same about a row: the cursor stays with it. None: with its place."""
        self.tall = tall
        self.empty = empty
        """Shown when there are no rows."""
        self.rows: Sequence[Hashable] = ()
        self.cursor = 0
        self._tops: Sequence[int] = ()
        """First line of every row, and the line after the last; () = all are `tall`."""
        self._strips: dict[tuple[Hashable, int, str, int], list[Strip]] = {}
        self._shown: dict[int, object] = {}
        """Line of the screen -> what was drawn there last."""

    @property
    def row(self) -> Hashable | None:
        """The row under the cursor; None: there is none."""
        return self.rows[self.cursor] if self.cursor < len(self.rows) else None

    def fill(
        self,
        rows: Sequence[Hashable],
        tall: int | None = None,
        heights: Sequence[int] | None = None,
    ) -> None:
        """Shows these rows; only lines that look different are drawn again. `heights`: how many
        lines each row has, where they differ."""
        before = self._key(self.rows[self.cursor]) if self._key and self.row is not None else None
        self.rows = rows
        if tall is not None and tall != self.tall:
            self.tall = tall
            self.forget()
        self.cursor = self._same(before, min(self.cursor, max(len(rows) - 1, 0)))
        self._tops = (0, *accumulate(heights)) if heights and len(heights) == len(rows) else ()
        size = Size(1, max(self._top(len(rows)), self.tall))
        if size != self.virtual_size:
            self.virtual_size = size
        top = self.scroll_offset.y
        for y in range(self.size.height):
            if self._shown.get(y) != self._at(y + top):
                self.refresh(Region(0, y, self.size.width, 1))

    def forget(self) -> None:
        """Draws everything anew: what `draw` gives has changed."""
        self._strips.clear()
        self._shown.clear()
        self.refresh()

    def go(self, index: int) -> None:
        """Puts the cursor on a row, or the nearest that can be picked, and shows it."""
        index = self._near(min(max(index, 0), max(len(self.rows) - 1, 0)), 1)
        if index != self.cursor:
            self.cursor = index
            self.refresh()
        height = self.size.height
        if height < 1:
            return
        top, first, last = self.scroll_offset.y, self._top(index), self._top(index + 1)
        if first < top or last - first > height:
            self.scroll_to(y=first, animate=False, immediate=True)
        elif last > top + height:
            self.scroll_to(y=last - height, animate=False, immediate=True)

    def on_resize(self) -> None:
        # other lists and lines may take room from this one once they are filled
        self.go(self.cursor)
        self.post_message(self.Resized(self))

    def _top(self, index: int) -> int:
        """First line of a row."""
        return self._tops[index] if self._tops else index * self.tall

    def _find(self, line: int) -> tuple[int, int]:
        """The row of a line, and which of its lines it is; a row that there is not: none there."""
        if not self._tops:
            return divmod(line, self.tall)
        index = bisect_right(self._tops, line) - 1
        return index, line - self._tops[index]

    # drawing

    def notify_style_update(self) -> None:
        super().notify_style_update()
        self._strips.clear()

    def _at(self, line: int) -> object:
        index, part = self._find(line)
        if index >= len(self.rows):
            return (None, line == 0)
        state = (self.has_focus, part) if index == self.cursor else part
        return (self.rows[index], state)

    @property
    def room(self) -> int:
        """Cells of a row beside the cursor's mark and the scroll bar."""
        return max(self.scrollable_content_region.width - 1, 0)

    def render_line(self, y: int) -> Strip:
        width = self.room + 1
        line = y + self.scroll_offset.y
        self._shown[y] = self._at(line)
        index, part = self._find(line)
        if index >= len(self.rows):
            words = f" {self.empty}" if not self.rows and line == 0 else ""
            muted = look_of(self, "muted")
            return Strip([Segment(words, muted)]).adjust_cell_length(width, muted)
        state = ""
        if index == self.cursor and (self.has_focus or self._away):
            state = "cursor" if self.has_focus else "cursor-away"
        tall = self._top(index + 1) - self._top(index)
        key = (self.rows[index], width, state, tall)
        strips = self._strips.get(key)
        if strips is None:
            if len(self._strips) > KEPT:
                self._strips.clear()
            lines = self._draw(self.rows[index], width - 1)
            strips = [
                self._strip(lines[i] if i < len(lines) else (), width, state, i == 0)
                for i in range(tall)
            ]
            self._strips[key] = strips
        return strips[part]

    def _strip(self, line: Line, width: int, state: str, first: bool) -> Strip:
        base = look_of(self, "", state)
        mark = Segment(CURSOR if state and first else " ", base)
        return Strip([mark, *segments(self, line, state)]).adjust_cell_length(width, base)

    # keys and mouse

    def _same(self, before: Hashable | None, index: int) -> int:
        """The row with that key, else the row at that place or the nearest that can be picked."""
        if self._key is not None and before is not None:
            if index < len(self.rows) and self._key(self.rows[index]) == before:
                return index
            for i, row in enumerate(self.rows):
                if self._key(row) == before:
                    return i
        return self._near(index, 1)

    def _near(self, index: int, step: int) -> int:
        """The nearest row that can be picked, first looking in the direction of `step`."""
        for direction in (step, -step):
            i = index
            while 0 <= i < len(self.rows):
                if self._pickable(self.rows[i]):
                    return i
                i += direction
        return index

    def _move_to(self, index: int, step: int) -> None:
        if not self.rows:
            return
        index = self._near(min(max(index, 0), len(self.rows) - 1), step)
        self.go(index)
        if index == self._near(0, 1) and self._top(index + 1) <= self.size.height:
            self.scroll_to(y=0, animate=False)  # also shows the heading above
        self.post_message(self.Moved(self, index))

    def action_move(self, step: int) -> None:
        self._move_to(self.cursor + step, step)

    def action_page(self, step: int) -> None:
        self._move_to(self.cursor + step * max(self.size.height // self.tall - 1, 1), step)

    def action_end(self, step: int) -> None:
        self._move_to(len(self.rows) - 1 if step > 0 else 0, -step)

    def action_choose(self) -> None:
        if self.row is not None and self._pickable(self.row):
            self.post_message(self.Chosen(self, self.cursor))

    def on_click(self, event: events.Click) -> None:
        offset = event.get_content_offset(self)
        if offset is None:
            return
        index, _ = self._find(offset.y + self.scroll_offset.y)
        if index >= len(self.rows) or not self._pickable(self.rows[index]):
            return
        self.go(index)
        self.post_message(self.Moved(self, index))
        act = event.style.meta.get("act")
        if act:
            self.post_message(self.Acted(self, index, str(act)))
        elif event.chain == 2:
            self.post_message(self.Chosen(self, index))

    def watch_has_focus(self, value: bool) -> None:
        super().watch_has_focus(value)
        self.refresh()
