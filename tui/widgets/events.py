"""The events of the run as a list over its full width: all of them, one kind, or by their words."""

from __future__ import annotations

from typing import ClassVar, cast

from textual import on
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.message import Message
from textual.widgets import Static

from pneumo.live.link import Link
from tui import text
from tui.widgets.event_log import KINDS, EventLog, EventRow
from tui.widgets.filter_line import FilterLine
from tui.widgets.rows import Line, Piece, Rows, Words, cut

SHORT = {"compressor": "air"}
"""Kinds of event that need a shorter word in the list."""

TIME_AND_KIND = 21
"""Cells of an event's time and kind, and the spaces after them and after who it is about."""


class Events(Vertical):
    """The list, what is left out of it, and the event under the cursor when it has no room.

    It follows the newest event, or the instant that is shown, until somebody moves in it.
    """

    DEFAULT_CSS: ClassVar[str] = """
    Events {
        height: 1fr;
        #events-list { height: 1fr; scrollbar-gutter: stable; }
        #events-whole {
            height: auto; max-height: 3; padding: 0 1; background: $panel; display: none;
        }
    }
    """

    class Chosen(Message):
        """An event was chosen."""

        def __init__(self, row: EventRow) -> None:
            self.row = row
            super().__init__()

    def __init__(self, link: Link) -> None:
        super().__init__()
        self._link = link
        self._log = EventLog()
        self._follow = True
        self._now = 0
        """Shown events that are not later than the frame."""
        self._said = ""
        """The whole event that is shown."""
        self._bar = Words(id="events-bar")
        self._events = Rows(
            lambda row, width: [draw_event(cast(EventRow, row), link.frame.time, width)],
            empty="No event.",
            id="events-list",
        )
        self._whole = Static("", id="events-whole", markup=False)
        self._filter = FilterLine(self._narrow, list=self._events, id="events-filter")

    def compose(self) -> ComposeResult:
        yield self._bar
        yield self._filter
        yield self._events
        yield self._whole

    def show(self) -> None:
        """Draws the events as they are now."""
        frame = self._link.frame
        changed = self._log.take(self._link.past)
        now = self._log.until(frame.time)
        if now != self._now and (changed is False or now < len(self._log.shown)):
            self._events.forget()
        self._now = now
        self._events.fill(self._log.shown)
        if self._follow and self._events.size.height:
            self._events.go(now - 1)
        self._show_bar()
        self._show_whole()

    def _show_bar(self) -> None:
        line: Line = (Piece("Events", "bold"), Piece("  "))
        for kind in KINDS:
            chosen = kind == self._log.kind
            line += (
                Piece(f"[{kind}]" if chosen else kind, "accent" if chosen else "button", kind),
                Piece(" "),
            )
        count = len(self._log.shown)
        words = f" {count} of {self._log.total}" if count < self._log.total else f" {count}"
        if self._log.words:
            words += f" with “{self._log.words}”"
        line += (Piece(words, "muted"),)
        newer = self._now - 1 - self._events.cursor
        held: Line = (
            (Piece(f"held, {max(newer, 0)} newer ", "warn"), Piece("[follow]", "button", "follow"),
             Piece(" "))
            if not self._follow
            else ()
        )  # fmt: skip
        self._bar.fill(line, held)

    def _show_whole(self) -> None:
        """The event under the cursor in full, when the list has no room for it."""
        row, width = self._events.row, self._events.room
        words = ""
        if isinstance(row, EventRow):
            where = where_width(width)
            if len(row.where) > where or len(row.what) > width - where - TIME_AND_KIND:
                words = f"{row.where}: {row.what}"
        if words != self._said:
            self._said = words
            self._whole.update(words)
            self._whole.display = bool(words)

    def _choose(self, kind: str, words: str) -> None:
        self._log.choose(kind, words)
        self._follow = True
        self.show()

    def next_kind(self, step: int) -> None:
        names = list(KINDS)
        at = (names.index(self._log.kind) + step) % len(names)
        self._choose(names[at], self._log.words)

    def type_words(self) -> None:
        self._filter.open()

    def leave_words(self) -> None:
        self._filter.leave()

    def _narrow(self) -> None:
        self._choose(self._log.kind, self._filter.words)

    @on(Words.Acted, "#events-bar")
    def _bar_clicked(self, event: Words.Acted) -> None:
        if event.act == "follow":
            self._follow = True
            self.show()
        else:
            self._choose(event.act, self._log.words)

    @on(Rows.Resized, "#events-list")
    def _fit(self) -> None:
        # whether an event has room in the list is only known now
        self._show_whole()

    @on(Rows.Moved, "#events-list")
    def _hold(self, event: Rows.Moved) -> None:
        self._follow = event.index >= self._now - 1
        self._show_bar()
        self._show_whole()

    @on(Rows.Chosen, "#events-list")
    def _go_to(self, event: Rows.Chosen) -> None:
        event.stop()
        self.post_message(self.Chosen(self._log.shown[event.index]))


def draw_event(row: EventRow, now: float, width: int) -> Line:
    """The line of an event; one that is later than `now` [s] is marked."""
    later = row.time > now + 1e-9
    where = where_width(width)
    look = "muted" if later else ("warn" if row.kind in ("alarm", "refused") else "")
    return cut(
        (
            Piece(f"{text.clock(row.time):>11} ", "muted"),
            Piece(f"{'later' if later else SHORT.get(row.kind, row.kind):<7.7} ", "muted"),
            Piece(f"{text.short(row.where, where):<{where}} ", "muted" if later else ""),
            Piece(row.what, look),  # type: ignore[arg-type]
        ),
        width,
    )


def where_width(width: int) -> int:
    """Cells for who an event is about."""
    return max(min(width // 5, 28), 12)
