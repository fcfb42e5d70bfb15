"""Alarms after ISA-18.2 and the events of the run."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Hashable, Sequence
from typing import ClassVar, NamedTuple

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from pneumo.live.frame import AlarmFrame, Frame
from pneumo.live.link import Link, Past
from pneumo.live.request import Do, GoTo, Shelve
from pneumo.zone.alarm import NEEDS_ACKNOWLEDGE, STANDS
from pneumo.zone.event import AlarmRaised
from pneumo.zone.evidence import evidence_words
from tui import text
from tui.requests import refusal
from tui.view import View
from tui.widgets.events import Events
from tui.widgets.rows import Line, Piece, Rows, Words, cut, spread
from tui.widgets.shelving import Shelving


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

Below them, the events of the run. The list follows the newest (or the instant that is
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

Marks: `!` waits to be acknowledged, `x` is still active, `·` has returned to normal.

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
        #alarms-list { height: auto; max-height: 8; min-height: 2; }
        &.low #alarms-list { max-height: 4; }
        &.high #alarms-list { max-height: 14; }
    }
    """

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        self._why: dict[tuple[str, str, float], str] = {}
        self._epoch: int | None = None
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
        self._events = Events(link)

    def compose(self) -> ComposeResult:
        yield self._head
        yield self._alarms
        yield self._events

    def on_mount(self) -> None:
        self.show()

    def on_resize(self, event: events.Resize) -> None:
        self.set_class(event.size.height < 14, "low")
        self.set_class(event.size.height >= 28, "high")
        self.call_after_refresh(self.show)

    def show(self) -> None:
        frame, past = self.link.frame, self.link.past
        rows = self._alarm_rows(frame, past)
        self._alarms.fill(rows, tall=self._tall(len(rows)))
        self._show_head(frame, rows)
        self._events.show()

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
        """What an alarm was raised for, in short words."""
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
                self._why[key] = evidence_words(text.together(what.sensed))
                return self._why[key]
        return ""

    def _tall(self, count: int) -> int:
        """Two lines for an alarm when they fit."""
        room = 14 if self.has_class("high") else 8
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

    def action_kind(self, step: int) -> None:
        self._events.next_kind(step)

    def action_filter(self) -> None:
        self._events.type_words()

    def action_leave_filter(self) -> None:
        self._events.leave_words()

    @on(Events.Chosen)
    def _go_to(self, event: Events.Chosen) -> None:
        if why := refusal(self.link, "time"):
            self.app.notify(why, timeout=4)
        else:
            self.ask(GoTo(event.row.time))


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


def _rank(alarm: AlarmFrame) -> tuple[bool, bool, float]:
    """Those that wait first, first outs before what followed them, then the newest."""
    return alarm.state not in NEEDS_ACKNOWLEDGE, not alarm.first_out, -alarm.since
