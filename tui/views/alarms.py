"""Alarms after ISA-18.2 and the events of the run."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Hashable, Sequence
from typing import ClassVar, NamedTuple, cast

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, Vertical
from textual.widgets import Input, Static

from pneumo.live.frame import AlarmFrame, Frame
from pneumo.live.link import Link, Past
from pneumo.live.request import Do, GoTo, Shelve
from pneumo.zone.alarm import NEEDS_ACKNOWLEDGE, STANDS
from pneumo.zone.event import AlarmRaised
from tui import text
from tui.view import View
from tui.widgets.event_log import KINDS, EventLog, EventRow
from tui.widgets.rows import Line, Piece, Rows, Words, cut, spread
from tui.widgets.shelving import Shelving

SHORT = {"compressor": "air"}
"""Kinds of event that need a shorter word in the list."""

BESIDE = 150
"""Width from which the events stand beside the alarms [cells]."""

TIME_AND_KIND = 21
"""Cells of an event's time and kind, and the spaces after them and after who it is about."""


class AlarmRow(NamedTuple):
    """All that the list shows of an alarm."""

    zone: str
    """"" = the ride."""
    name: str
    state: str
    first_out: bool
    age: str
    left: str
    """How long it stays shelved; "" = it is not."""
    why: str
    """What was sensed when it was raised, as far as the events tell."""


class Heading(NamedTuple):
    """Stands over alarms of a sort."""

    words: str


class AlarmsView(View):
    """The alarms that are not normal, and below or beside them the events."""

    TITLE = "alarms"
    HELP = """
# Alarms and events

The alarms that are not normal, those that wait to be acknowledged first, in the states of ISA-18.2.
*First out* is the alarm that came while all others of its zone were normal: look there for the
cause. An alarm of a zone latches: acknowledge it, put its cause right, then reset the zone.

Shelved alarms stand apart, with the time that is left.

Below, or at the right, the events of the run. The list follows the newest (or the instant that is
shown, gone back) until you move in it; End follows again.

| key | does |
|---|---|
| enter | alarm: acknowledges its zone. Event: goes to its time |
| z | resets the zone of the alarm |
| a, r | acknowledge all, reset all |
| l | shelves the alarm for a time, or takes it off the shelf |
| tab | from the alarms to the events and back |
| e, E | next, last kind of events |
| / | filter of the events by words; escape leaves it, empty shows all |
| end | follows the newest event |

Marks: `!` waits to be acknowledged, `x` its condition stands, `·` it is gone.

Acknowledging says that you have seen it; it makes nothing safe. Before a reset on a real ride,
know the cause, and know that nobody is near the jaws: a reset lets the zone move.
"""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("z", "reset_zone", "Reset zone"),
        Binding("l", "shelve", "Shelve"),
        Binding("e", "kind(1)", "Kind of events"),
        Binding("E", "kind(-1)", "Kind of events", show=False),
        Binding("slash", "filter", "Filter"),
        Binding("escape", "leave_filter", "List", show=False),
    ]
    DEFAULT_CSS = """
    AlarmsView {
        layout: vertical;
        #alarms-parts { layout: vertical; height: 1fr; }
        #alarms-list { height: auto; max-height: 8; min-height: 2; }
        #alarms-log { height: 1fr; }
        #events-filter { height: 1; display: none; background: $panel; }
        #events-filter.open { display: block; }
        #events-list { height: 1fr; scrollbar-gutter: stable; }
        #events-whole {
            height: auto; max-height: 3; padding: 0 1; background: $panel; display: none;
        }
        &.low #alarms-list { max-height: 4; }
        &.high #alarms-list { max-height: 14; }
        &.beside #alarms-parts { layout: horizontal; }
        &.beside #alarms-list { width: 2fr; height: 1fr; max-height: 100%; }
        &.beside #alarms-log { width: 3fr; }
    }
    """

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        self._log = EventLog()
        self._follow = True
        self._now = 0
        """Shown events that are not later than the frame."""
        self._why: dict[tuple[str, str, float], str] = {}
        self._epoch: int | None = None
        self._said = ""
        """The whole event that is shown."""
        self._marked: tuple[str, str] | None = None
        """Zone and name of the alarm that a person has moved to."""
        self._head = Words(id="alarms-head")
        self._alarms = Rows(
            lambda row, width: draw_alarm(row, width, self._alarms.tall),
            empty="No alarm.",
            pickable=lambda row: isinstance(row, AlarmRow),
            key=lambda row: (row.zone, row.name) if isinstance(row, AlarmRow) else row,
            id="alarms-list",
        )
        self._bar = Words(id="events-bar")
        self._events = Rows(
            lambda row, width: [self._draw_event(cast(EventRow, row), width)],
            empty="No event.",
            id="events-list",
        )
        self._whole = Static("", id="events-whole", markup=False)
        self._filter = Input(
            placeholder="words to look for", compact=True, id="events-filter", select_on_focus=False
        )

    def compose(self) -> ComposeResult:
        yield self._head
        with Container(id="alarms-parts"):
            yield self._alarms
            with Vertical(id="alarms-log"):
                yield self._bar
                yield self._filter
                yield self._events
                yield self._whole

    def on_mount(self) -> None:
        self.show()

    def on_resize(self, event: events.Resize) -> None:
        self.set_class(event.size.width >= BESIDE, "beside")
        self.set_class(event.size.height < 14, "low")
        self.set_class(event.size.height >= 28, "high")
        self.call_after_refresh(self.show)

    def show(self) -> None:
        frame, past = self.link.frame, self.link.past
        rows = self._alarm_rows(frame, past)
        self._alarms.fill(rows, tall=self._tall(len(rows)))
        self._show_head(frame, rows)
        changed = self._log.take(past)
        now = self._log.until(frame.time)
        if now != self._now and (changed is False or now < len(self._log.shown)):
            self._events.forget()
        self._now = now
        self._events.fill(self._log.shown)
        if self._follow and self._events.size.height:
            self._events.go(now - 1)
        self._show_bar()
        self._show_whole()

    # alarms

    def _alarm_rows(self, frame: Frame, past: Past) -> list[Hashable]:
        if past.epoch != self._epoch:
            self._epoch = past.epoch
            self._why.clear()
        listed = sorted(frame.alarms, key=_rank)
        rows: list[Hashable] = [
            self._alarm_row(frame, past, alarm) for alarm in listed if alarm.shelved_until is None
        ]
        shelved = [alarm for alarm in listed if alarm.shelved_until is not None]
        if shelved:
            rows.append(Heading("Shelved"))
            rows += [self._alarm_row(frame, past, alarm) for alarm in shelved]
        return rows

    def _alarm_row(self, frame: Frame, past: Past, alarm: AlarmFrame) -> AlarmRow:
        until = alarm.shelved_until
        return AlarmRow(
            zone=alarm.zone,
            name=alarm.name,
            state=alarm.state,
            first_out=alarm.first_out,
            age=text.age(frame.time - alarm.since),
            left="" if until is None else text.age(until - frame.time),
            why=self._sensed(past, alarm),
        )

    def _sensed(self, past: Past, alarm: AlarmFrame) -> str:
        """The sentence of the event that raised an alarm, without the alarm's name."""
        key = (alarm.zone, alarm.name, alarm.since)
        if key in self._why:
            return self._why[key]
        found = past.events
        for place in range(
            bisect_left(found, alarm.since - 1e-9, key=lambda e: e.time), len(found)
        ):
            event = found[place]
            if event.time > alarm.since + 1e-9:
                break
            what = event.what
            if isinstance(what, AlarmRaised) and (event.subject, what.name) == key[:2]:
                self._why[key] = text.folded(what.sensed)
                return self._why[key]
        return ""

    def _tall(self, count: int) -> int:
        """Two lines for an alarm when they fit."""
        room = (
            self.size.height if self.has_class("beside") else (14 if self.has_class("high") else 8)
        )
        return 2 if 2 * count <= room and not self.has_class("low") else 1

    def _show_head(self, frame: Frame, rows: Sequence[Hashable]) -> None:
        open_ = [alarm for alarm in frame.alarms if alarm.shelved_until is None]
        waiting = sum(alarm.state in NEEDS_ACKNOWLEDGE for alarm in open_)
        shelved = len(frame.alarms) - len(open_)
        line: Line = (Piece(f"{len(open_)} alarm{'' if len(open_) == 1 else 's'}", "bold"),)
        if waiting:
            line += (Piece(f"  ! {waiting} to acknowledge", "warn"),)
        if shelved:
            line += (Piece(f"  {shelved} shelved"),)
        if rows and self.size.width >= 110:
            line += (Piece("    enter acknowledges the zone  z resets it  l shelves", "muted"),)
        buttons: Line = (
            Piece("[acknowledge all]", "button", "acknowledge all"), Piece(" "),
            Piece("[reset all]", "button", "reset all"), Piece(" "),
        )  # fmt: skip
        self._head.fill(line, buttons)

    def _selected(self) -> AlarmRow | None:
        row = self._alarms.row
        return row if isinstance(row, AlarmRow) else None

    def action_acknowledge_zone(self) -> None:
        row = self._selected()
        if row is not None:
            self.ask(Do(f"acknowledge {row.zone or 'all'}"))

    def action_reset_zone(self) -> None:
        row = self._selected()
        if row is not None:
            self.ask(Do(f"reset {row.zone or 'all'}"))

    def action_shelve(self) -> None:
        row = self._selected()
        if row is None:
            return
        if row.left:
            self.ask(Shelve(row.zone, row.name, None))
            return

        def chosen(seconds: float | None) -> None:
            if seconds is not None:
                self.ask(Shelve(row.zone, row.name, seconds))

        self.app.push_screen(Shelving(f"{row.zone or 'ride'}: {row.name}"), chosen)

    @on(Words.Acted, "#alarms-head")
    def _all(self, event: Words.Acted) -> None:
        self.ask(Do(event.act))

    @on(Rows.Moved, "#alarms-list")
    def _mark(self, event: Rows.Moved) -> None:
        row = self._selected()
        self._marked = None if row is None else (row.zone, row.name)

    @on(Rows.Chosen, "#alarms-list")
    def _acknowledge(self, event: Rows.Chosen) -> None:
        row = self._selected()
        if row is not None and self._marked == (row.zone, row.name):
            self.action_acknowledge_zone()
        else:  # it has come under the cursor by itself, perhaps unread
            self.notify("Up or down marks an alarm; Enter then acknowledges its zone.", timeout=4)

    @on(Rows.Acted, "#alarms-list")
    def _act(self, event: Rows.Acted) -> None:
        acts = {
            "acknowledge": self.action_acknowledge_zone,
            "reset": self.action_reset_zone,
            "shelve": self.action_shelve,
        }
        acts[event.act]()

    # events

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
            where = _where_width(width)
            if len(row.where) > where or len(row.what) > width - where - TIME_AND_KIND:
                words = f"{row.where}: {row.what}"
        if words != self._said:
            self._said = words
            self._whole.update(words)
            self._whole.display = bool(words)

    def _draw_event(self, row: EventRow, width: int) -> Line:
        later = row.time > self.link.frame.time + 1e-9
        where = _where_width(width)
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

    def _choose(self, kind: str, words: str) -> None:
        self._log.choose(kind, words)
        self._follow = True
        self.show()

    def action_kind(self, step: int) -> None:
        names = list(KINDS)
        at = (names.index(self._log.kind) + step) % len(names)
        self._choose(names[at], self._log.words)

    def action_filter(self) -> None:
        self._filter.add_class("open")
        self._filter.focus()

    def action_leave_filter(self) -> None:
        self._filter.set_class(bool(self._filter.value), "open")
        self._events.focus()

    @on(Input.Changed, "#events-filter")
    def _narrow(self, event: Input.Changed) -> None:
        event.stop()
        self._choose(self._log.kind, event.value)

    @on(Input.Submitted, "#events-filter")
    def _narrowed(self, event: Input.Submitted) -> None:
        event.stop()
        self.action_leave_filter()

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
        row = self._log.shown[event.index]
        if self.link.keeps_time:
            self.ask(GoTo(row.time))
        else:
            self.app.notify("Only the seat that keeps the time can go back.", timeout=4)


def draw_alarm(row: Hashable, width: int, tall: int) -> Sequence[Line]:
    """The lines of an alarm, or of a heading."""
    if isinstance(row, Heading):
        heading: Line = (Piece(row.words, "bold"),)
        return [heading] if tall == 1 else [(), heading]
    assert isinstance(row, AlarmRow)
    waits, stands = row.state in NEEDS_ACKNOWLEDGE, row.state in STANDS
    mark = "!" if waits else ("x" if stands else "·")
    look = "bad" if waits and stands else ("warn" if waits or stands else "")
    if row.left:
        mark, look = "s", ""
    state = f"{row.left} left, {row.state}" if row.left else row.state
    next_act = "acknowledge" if waits else "reset"
    buttons: Line = (
        Piece(f"[{next_act}]", "button", next_act), Piece(" "),
        Piece("[unshelve]" if row.left else "[shelve]", "button", "shelve"), Piece(" "),
    )  # fmt: skip
    first: Line = (
        Piece(f"{mark} ", look),  # type: ignore[arg-type]
        Piece(f"{text.short(row.zone or 'ride', 12):<13}", "bold"),
        Piece(row.name, look),  # type: ignore[arg-type]
    )
    first_out = (Piece("FIRST OUT  ", "bold"),) if row.first_out else ()
    if tall == 1:
        first = (*first, Piece("  "), *first_out, Piece(state))
        return [spread(first, (Piece(f"  {row.age} ", "muted"),), width)]
    second: Line = (
        Piece(f"  {row.age:>11}  ", "muted"), *first_out, Piece(state),
        Piece(f"  {row.why}", "muted"),
    )  # fmt: skip
    return [spread(first, buttons, width), cut(second, width)]


def _where_width(width: int) -> int:
    """Cells for who an event is about."""
    return max(min(width // 5, 28), 12)


def _rank(alarm: AlarmFrame) -> tuple[bool, bool, float]:
    """Those that wait first, first outs before what followed them, then the newest."""
    return alarm.state not in NEEDS_ACKNOWLEDGE, not alarm.first_out, -alarm.since
