"""The table of a verification: events as rows, zones with their operating states as columns.

One letter a cell: S safe, L late, U unsafe, N not calculated, small when no alarm told of it, · not
run. Only the lines on screen are drawn, so that a thousand rows cost no more than twenty.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import ClassVar, NamedTuple

from rich.cells import set_cell_size
from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Size
from textual.message import Message
from textual.scroll_view import ScrollView
from textual.strip import Strip

from pneumo.report.matrix import Cell, Matrix, Row
from tui.widgets.rows import CURSOR

HEAD = 1
"""Lines of the heading, which stays."""

NARROWEST, WIDEST = 14, 44
"""Width of the names of the events [cells]."""

NOT_RUN = "·"

LOOKS = {"safe": "safe", "late": "late", "not calculated": "missing", "unsafe": "unsafe"}


class Place(NamedTuple):
    """A cell of the table, run or not."""

    row: Row
    zone: str
    state: str
    cell: Cell | None


class _Group(NamedTuple):
    """The columns of a zone."""

    zone: str
    states: tuple[str, ...]
    left: int
    """Place of its first letter, counted from the first column [cells]."""
    width: int


def event_name(row: Row) -> str:
    """What happened, with the component: "trim_valve_a stuck-actuated"."""
    return f"{row.component} {row.label}" if row.injection.kind == "fault" else row.label


def letter(cell: Cell | None) -> str:
    """What stands in a cell."""
    if cell is None:
        return NOT_RUN
    return cell.letter.lower() if cell.undetected else cell.letter


def searched(row: Row) -> str:
    """What a search for words looks through, in small letters."""
    effects = {cell.case.effect for cell in row.cells.values()}
    return " ".join((event_name(row), *row.represents, *sorted(effects))).lower()


class MatrixTable(ScrollView, can_focus=True):
    """The table, with a cursor on one cell."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "matrix--head", "matrix--safe", "matrix--late", "matrix--missing", "matrix--unsafe",
        "matrix--row", "matrix--cursor",
    }  # fmt: skip
    DEFAULT_CSS = """
    MatrixTable {
        background: $surface; scrollbar-size-vertical: 1; scrollbar-size-horizontal: 1;
        & > .matrix--head { background: $panel; text-style: bold; }
        & > .matrix--safe { color: $text-muted; }
        & > .matrix--late { color: $text-warning; text-style: bold; }
        & > .matrix--missing { color: $text-warning; text-style: bold reverse; }
        & > .matrix--unsafe { color: $text-error; background: $error-muted; text-style: bold; }
        & > .matrix--row { background: $panel; }
        & > .matrix--cursor { text-style: bold reverse; }
    }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "move(-1,0)", show=False),
        Binding("down", "move(1,0)", show=False),
        Binding("left", "move(0,-1)", show=False),
        Binding("right", "move(0,1)", show=False),
        Binding("pageup", "page(-1)", show=False),
        Binding("pagedown", "page(1)", show=False),
        Binding("home", "end(-1)", show=False),
        Binding("end", "end(1)", show=False),
        Binding("enter", "choose", show=False),
    ]

    class Moved(Message):
        """The cursor is on another cell; None: there is none."""

        def __init__(self, table: MatrixTable, place: Place | None) -> None:
            self.table, self.place = table, place
            super().__init__()

        @property
        def control(self) -> MatrixTable:
            return self.table

    class Chosen(Moved):
        """A cell was chosen, by enter or two clicks."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.matrix: Matrix | None = None
        self.empty = ""
        """Shown when there is no row."""
        self.rows: list[Row] = []
        """The rows that are shown."""
        self.row = self.column = 0
        """Where the cursor is."""
        self._groups: list[_Group] = []
        self._columns: list[tuple[str, str, int]] = []
        """(zone, state, place) of every column shown."""
        self._searched: dict[int, str] = {}
        self._names: dict[int, str] = {}

    @property
    def place(self) -> Place | None:
        """The cell under the cursor; None: nothing is shown."""
        if not (self.row < len(self.rows) and self.column < len(self._columns)):
            return None
        row, (zone, state, _) = self.rows[self.row], self._columns[self.column]
        return Place(row, zone, state, row.cells.get((zone, state)))

    def load(self, matrix: Matrix | None) -> None:
        """Shows another result, the whole of it."""
        self.matrix = matrix
        self._searched = {id(row): searched(row) for row in matrix.rows} if matrix else {}
        self._names = {id(row): event_name(row) for row in matrix.rows} if matrix else {}
        self.row = self.column = 0
        self.narrow()

    def narrow(self, *, bad: bool = False, zone: str = "", words: Collection[str] = ()) -> None:
        """Shows only some rows: those that are not safe, one zone's columns, those with all of
        these words. The cursor stays on its row where that is still there."""
        kept = self.rows[self.row] if self.row < len(self.rows) else None
        column = self._columns[self.column][:2] if self.column < len(self._columns) else None
        matrix = self.matrix
        zones = () if matrix is None else tuple(z for z in matrix.zones if zone in ("", z))
        self.rows = [
            row
            for row in (() if matrix is None else matrix.rows)
            if (not bad or _not_safe(row, zones))
            and all(word in self._searched[id(row)] for word in words)
        ]
        self._groups, self._columns, left = [], [], 0
        for name in zones:
            assert matrix is not None
            states = matrix.states[name]
            width = max(len(name), len(states)) + 2
            self._groups.append(_Group(name, states, left, width))
            self._columns += [(name, state, left + i) for i, state in enumerate(states)]
            left += width
        self.row = next((i for i, row in enumerate(self.rows) if row is kept), 0)
        places = [(z, s) for z, s, _ in self._columns]
        self.column = places.index(column) if column in places else 0
        self._measure()
        self._go()

    # drawing

    @property
    def _name_width(self) -> int:
        longest = max(map(len, self._names.values()), default=0) + 2
        return max(min(longest, WIDEST, self.size.width * 2 // 5), NARROWEST)

    def _measure(self) -> None:
        cells = self._groups[-1].left + self._groups[-1].width if self._groups else 0
        self.virtual_size = Size(self._name_width + cells, len(self.rows) + HEAD)
        self.refresh()

    def on_resize(self) -> None:
        self._measure()

    def render_line(self, y: int) -> Strip:
        width = self.size.width
        base = self.rich_style
        if not self.rows:
            muted = base + self.get_component_rich_style("matrix--safe", partial=True)
            words = f" {self.empty}" if y == 0 else ""
            return Strip([Segment(words, muted)]).adjust_cell_length(width, base)
        index = y - HEAD + self.scroll_offset.y
        name, cells = self._head(base) if y < HEAD else self._line(index, base)
        left = self.scroll_offset.x
        room = max(width - self._name_width, 0)
        shown = Strip(cells).crop(left, left + room)
        fill = name.style or base
        return Strip([name, *shown]).adjust_cell_length(width, fill)

    def _head(self, base: Style) -> tuple[Segment, list[Segment]]:
        style = base + self.get_component_rich_style("matrix--head", partial=True)
        here = self._columns[self.column][0] if self.column < len(self._columns) else ""
        over = self.get_component_rich_style("matrix--cursor", partial=True)
        cells: list[Segment] = []
        for group in self._groups:
            own = style + over if group.zone == here else style
            cells.append(Segment(group.zone, own))
            cells.append(Segment(" " * (group.width - len(group.zone)), style))
        title = set_cell_size(f" what happened ({len(self.rows)})", self._name_width)
        return Segment(title, style), cells

    def _line(self, index: int, base: Style) -> tuple[Segment, list[Segment]]:
        if index >= len(self.rows):
            return Segment(" " * self._name_width, base), []
        row = self.rows[index]
        current = index == self.row
        if current:
            base += self.get_component_rich_style("matrix--row", partial=True)
        name = self._names[id(row)]
        wide = self._name_width - 2
        cut = name if len(name) <= wide else name[: wide - 1] + "…"
        mark = CURSOR if current else " "
        at = self._columns[self.column][:2]
        cells: list[Segment] = []
        for group in self._groups:
            for state in group.states:
                cell = row.cells.get((group.zone, state))
                look = "safe" if cell is None else LOOKS[cell.outcome.verdict]
                style = base + self.get_component_rich_style(f"matrix--{look}", partial=True)
                if current and (group.zone, state) == at:
                    style += self.get_component_rich_style("matrix--cursor", partial=True)
                cells.append(Segment(letter(cell), style))
            cells.append(Segment(" " * (group.width - len(group.states)), base))
        return Segment(set_cell_size(f"{mark}{cut}", self._name_width), base), cells

    # keys and mouse

    def _go(self) -> None:
        """Shows the cursor, and says where it is."""
        height = self.size.height - HEAD
        if height > 0 and self.size.width:
            top = self.scroll_offset.y
            if self.row < top:
                top = self.row
            elif self.row >= top + height:
                top = self.row - height + 1
            left, room = self.scroll_offset.x, self.size.width - self._name_width
            if self.column < len(self._columns):
                place = self._columns[self.column][2]
                if place < left or self.column == 0:
                    left = max(place - 1, 0) if self.column else 0
                elif place >= left + room - 1:
                    left = place - room + 2
            self.scroll_to(left, top, animate=False)
        self.refresh()
        self.post_message(self.Moved(self, self.place))

    def action_move(self, down: int, right: int) -> None:
        self.row = min(max(self.row + down, 0), max(len(self.rows) - 1, 0))
        self.column = min(max(self.column + right, 0), max(len(self._columns) - 1, 0))
        self._go()

    def action_page(self, step: int) -> None:
        self.action_move(step * max(self.size.height - HEAD - 1, 1), 0)

    def action_end(self, step: int) -> None:
        self.action_move(step * len(self.rows), 0)

    def action_choose(self) -> None:
        if self.place is not None:
            self.post_message(self.Chosen(self, self.place))

    def on_click(self, event: events.Click) -> None:
        offset = event.get_content_offset(self)
        if offset is None or offset.y < HEAD:
            return
        index = offset.y - HEAD + self.scroll_offset.y
        if index >= len(self.rows):
            return
        self.row = index
        at = offset.x - self._name_width + self.scroll_offset.x
        if offset.x >= self._name_width and self._columns:
            distance = [abs(place - at) for _, _, place in self._columns]
            self.column = distance.index(min(distance))
        self._go()
        if event.chain == 2:
            self.action_choose()

    def watch_has_focus(self, value: bool) -> None:
        super().watch_has_focus(value)
        self.refresh()


def _not_safe(row: Row, zones: Collection[str]) -> bool:
    return any(
        cell.outcome.verdict != "safe" for (zone, _), cell in row.cells.items() if zone in zones
    )
