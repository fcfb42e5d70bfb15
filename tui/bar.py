"""What frames every view: the head, the bar of time, tabs, keys, the zones and the latest events.

Each of them is a widget whose `show(frame)` draws a frame; a line that does not fit loses what
matters least. Their sizes do not depend on what they say, so nothing is laid out anew for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from textwrap import wrap
from typing import ClassVar, NamedTuple

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.content import Content
from textual.strip import Strip
from textual.style import Style as MarkupStyle
from textual.widget import Widget
from textual.widgets import Static

from pneumo.circuit.action import RideStop
from pneumo.live.frame import AlarmFrame, Frame
from pneumo.live.link import Link, Past
from pneumo.live.request import GoTo, Newest
from pneumo.scenario.event import (
    Commanded,
    FaultCleared,
    FaultInjected,
    FaultPaused,
    RunEvent,
)
from pneumo.zone.alarm import NEEDS_ACKNOWLEDGE, AlarmState
from pneumo.zone.event import AlarmRaised
from tui import text
from tui.drilling import time_told, under_way
from tui.judgement import trouble
from tui.messages import Ask
from tui.widgets.event_log import EventLog, EventRow

WAITING = frozenset(str(state) for state in NEEDS_ACKNOWLEDGE)
SEATS = {"trainer": "trainer's seat", "trainee": "trainee's seat"}


class Part(NamedTuple):
    """A piece of a line; of pieces that do not fit, the highest `rank` goes first."""

    rank: int
    content: Content


def fitted(parts: Iterable[Part], width: int, gap: str = "  ") -> Content:
    """As many of the pieces as fit in one line, in their order."""
    kept = list(parts)
    while len(kept) > 1 and _length(kept, gap) > width:
        kept.remove(max(kept, key=lambda part: part.rank))
    return Content(gap).join([part.content for part in kept])


def _length(parts: Sequence[Part], gap: str) -> int:
    return sum(part.content.cell_length for part in parts) + len(gap) * (len(parts) - 1)


def linked(words: str, action: str, style: str = "") -> Content:
    """Words that do an action of the app when they are clicked, see `Line`."""
    content = Content.styled(words, style) if style else Content(words)
    return content.stylize(clicked(action))


def clicked(action: str) -> MarkupStyle:
    """The style of what does an action of the app when it is clicked."""
    return MarkupStyle.from_meta({"act": action})


class Line(Static):
    """Text with parts that can be clicked.

    Not links of the toolkit: those have one colour, here a part keeps the one that it has.
    """

    async def on_click(self, event: events.Click) -> None:
        if action := event.style.meta.get("act"):
            await self.app.run_action(str(action), self.app)


def not_safe(link: Link, frame: Frame) -> tuple[tuple[str, str], ...]:
    """Zones that are not safe, each with why."""
    found = ((zone, trouble(link.plant, frame, i)) for i, zone in enumerate(link.plant.zones))
    return tuple((zone, why) for zone, why in found if why is not None)


def announced(frame: Frame) -> tuple[AlarmFrame, ...]:
    """Alarms to be told of: those that are not on the shelf."""
    return tuple(
        alarm
        for alarm in frame.alarms
        if alarm.state != AlarmState.NORMAL
        and (alarm.shelved_until is None or alarm.shelved_until <= frame.time)
    )


class Head(Line):
    """Two lines: how the ride runs, and which zone is not safe."""

    def __init__(self, link: Link) -> None:
        super().__init__(id="head")
        self.link = link
        self.trainee = ""
        """Whether a trainee has joined, in words; "" = nobody can."""
        self._begins = link.frame.newest
        """The newest instant of the ride when it was opened [s]."""
        self._begun = False
        """The ride has run since."""
        self.returning: tuple[str, ...] | None = None
        """What a way back to normal waits for; None: none is under way."""

    def on_resize(self) -> None:
        # a line too long for it would push the other one out of sight
        self.show(self.link.frame)

    def show(self, frame: Frame) -> None:
        """Draws a frame."""
        width = max(self.size.width, 1)
        brief = width < 110
        left, right = _both_sides(self._run(frame, brief), self._counts(frame, brief), width)
        space = max(width - left.cell_length - right.cell_length, 0)
        first = Content.assemble(left, " " * space, right)
        self.update(Content("\n").join([first, self._safety(frame, width)]), layout=False)

    def _run(self, frame: Frame, brief: bool) -> Iterable[Part]:
        plant = self.link.plant
        yield Part(9, Content.styled(plant.circuit.ride.name, "bold"))
        yield Part(6, Content.styled(SEATS[self.link.seat], "$text-muted"))
        drill = under_way(self.link)
        if self.link.drill:
            title = text.short(self.link.drill, max(self.size.width // 3, 12))
            yield Part(3, Content.styled(f"{'' if drill else 'drill: '}{title}", "bold"))
        mark = "▶ running" if frame.running else "■ paused"
        if self.link.trouble:
            yield Part(2, Content.styled("x cut off", "$error bold"))
        elif drill is not None and drill.state == "briefing":
            yield Part(2, Content.styled("■ not begun", "$accent"))
        elif self.link.keeps_time:
            yield Part(2, linked(f"{mark:9}", "ask('run')", "" if frame.running else "$accent"))
            self._begun |= frame.running or frame.newest > self._begins + 1e-3
            if not self._begun and drill is None:
                yield Part(2, linked("space starts it", "ask('run')", "$accent"))
        else:
            yield Part(2, Content(f"{mark:9}"))
        told = text.clock(frame.time) if drill is None else f"drill: {time_told(drill, frame.time)}"
        yield Part(0, Content.styled(told, "bold"))
        yield Part(7, Content(_speed(frame, brief)))
        if frame.mode == "earlier":
            words = "◀ HISTORY" if brief else f"◀ HISTORY (live is {text.clock(frame.newest)})"
            yield Part(1, linked(words, "ask('newest')", "$accent reverse"))
        elif frame.mode == "check":
            words = "◆ CHECK" if brief else "◆ CHECK beside the ride"
            yield Part(1, linked(words, "ask('newest')", "$accent reverse"))

    def _counts(self, frame: Frame, brief: bool) -> Iterable[Part]:
        if self.trainee:
            yield Part(8, linked(f"trainee: {self.trainee}", "offer('invite')", "$text-muted"))
        if frame.stopped_by:
            yield Part(5, Content.styled("■ stop" if brief else "■ ride stop", "$warning"))
        if frame.power is False:
            yield Part(5, Content.styled("x no power", "$warning"))
        forced = sum(frame.forced_inputs) + sum(frame.forced_outputs)
        if forced:
            words = f"{forced} forced" if brief else f"F {forced} forced"
            yield Part(3, linked(words, "open_view('signals')", "$warning"))
        if frame.faults and self.link.seat == "trainer":
            count = len(frame.faults)
            words = f"x {count} fault{'s' * (count > 1)}"
            yield Part(4, linked(words, "open_view('faults')"))
        alarms = announced(frame)
        waiting = sum(alarm.state in WAITING for alarm in alarms)
        if waiting:
            words = f"! {waiting} alarm{'s' * (waiting > 1)}"
            yield Part(0, linked(words, "open_view('alarms')", "$error bold"))
        elif alarms:
            words = f"{len(alarms)} alarm{'s' * (len(alarms) > 1)}"
            words = words if brief else f"{words} acknowledged"
            yield Part(1, linked(words, "open_view('alarms')", "$warning"))

    def _safety(self, frame: Frame, width: int) -> Content:
        if self.link.trouble:
            return Content.styled(text.short(f"x {self.link.trouble}", width), "$error bold")
        zones = not_safe(self.link, frame)
        if zones:
            name, why = zones[0]
            more = f"  (+{len(zones) - 1}: {', '.join(z for z, _ in zones[1:])})"
            line = f"x {name} NOT SAFE, {why}" + (more if len(zones) > 1 else "")
            # reversed, so that it is a bar of its own in sixteen colours and in none as well
            return linked(text.short(line, width), "open_view('zones')", "$error bold reverse")
        line = f"· {self._when_well(frame)}"
        if len(line) > width:  # the causes stand in the view; who says that it is safe does not
            line = f"· {self._when_well(frame, causes=False)}"
        if self.returning is not None:
            what = "; ".join(self.returning) or "the zones to get where they belong"
            line = f"· back to normal: waits for {what}"
        if frame.note:
            line += f"   {frame.note}"
        return Content.styled(text.short(line, width), "$text-muted")

    def _when_well(self, frame: Frame, causes: bool = True) -> str:
        """How many zones are in their safe state, as far as the seat can tell; none is unsafe.
        `causes`: also of what a zone is faulted."""
        zones, trainee = self.link.plant.zones, self.link.seat == "trainee"
        if not zones:
            return "this circuit has no brake zones"
        safe = [zone.judged.safe for zone in frame.zones]
        words = [
            f"{name} is faulted" + (f" ({zone.first_out})" if zone.first_out and causes else "")
            for name, zone in zip(zones, frame.zones, strict=True)
            if zone.state == "faulted"
        ]
        if all(safe):
            words.append(f"every zone is in its safe state{' by its switches' * trainee}")
            return "; ".join(words)
        going = [zones[i] for i in range(len(zones)) if frame.zones[i].judged.on_its_way]
        if going:
            them = "every zone" if len(going) == len(zones) > 1 else ", ".join(going)
            words.append(f"{them} on the way to the safe state, still in time")
        else:
            words.append(_nothing_unsafe(frame, trainee))
        seen = ", as far as switches tell" * trainee
        words.append(f"{safe.count(True)} of {len(zones)} in their safe state{seen}")
        return "; ".join(words)


def _nothing_unsafe(frame: Frame, trainee: bool) -> str:
    """What stands when every zone is where it may be."""
    if announced(frame):
        return "no zone is unsafe, alarms are active"
    if trainee:
        return "no alarm"
    return "no zone is unsafe, no alarm" if frame.faults else "all zones normal"


def _both_sides(left: Iterable[Part], right: Iterable[Part], width: int) -> tuple[Content, Content]:
    """Two ends of a line; what matters least goes first, on whichever side it stands."""
    sides = [list(left), list(right)]
    while sum(map(len, sides)) > 1 and _length(sides[0] + sides[1], "  ") > width:
        side = max((side for side in sides if side), key=lambda side: max(p.rank for p in side))
        side.remove(max(side, key=lambda part: part.rank))
    start, end = ([part.content for part in side] for side in sides)
    return Content("  ").join(start), Content("  ").join(end)


def _speed(frame: Frame, brief: bool) -> str:
    asked = f"{frame.speed:g}x"
    if not frame.running or frame.pace >= 0.95 * frame.speed:
        return asked
    return f"{asked} ({'' if brief else 'reached '}{frame.pace:.2g}x)"


class TimeBar(Widget):
    """From the first instant recorded to the newest, with marks; a click goes back there."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "time--track", "time--ahead", "time--now", "time--alarm", "time--act",
    }  # fmt: skip

    def __init__(self, link: Link) -> None:
        super().__init__(id="time")
        self.link = link
        self._frame = link.frame
        self._marks: list[tuple[float, str]] = []
        self._epoch = -1
        self._read = 0

    def show(self, frame: Frame) -> None:
        """Draws a frame."""
        self._frame = frame
        self._read_events(self.link.past)
        self.refresh()

    def _read_events(self, past: Past) -> None:
        if past.epoch != self._epoch or len(past.events) < self._read:
            self._epoch, self._read, self._marks = past.epoch, 0, []
        for event in past.events[self._read :]:
            if mark := _mark_of(event):
                self._marks.append((event.time, mark))
        self._read = len(past.events)

    def _track(self) -> tuple[int, int]:
        """First column of the track and its length."""
        left, right = len(text.clock(0.0)), len(text.clock(self._frame.newest))
        if self.size.width < left + right + 12:
            return 0, self.size.width
        return left + 1, self.size.width - left - right - 2

    def column(self, time: float) -> int:
        """Column of an instant [s]."""
        start, length = self._track()
        share = time / self._frame.newest if self._frame.newest > 0.0 else 1.0
        return start + round(min(max(share, 0.0), 1.0) * max(length - 1, 0))

    def time_at(self, column: int) -> float | None:
        """Instant of a column [s]; None: at or beyond the newest."""
        start, length = self._track()
        if column >= start + length - 1:
            return None
        return max(column - start, 0) / max(length - 1, 1) * self._frame.newest

    def render_line(self, y: int) -> Strip:
        width = self.size.width
        if y > 0 or width < 1:
            return Strip.blank(width)
        start, length = self._track()
        styles = {name: self.get_component_rich_style(f"time--{name}") for name in _NAMES}
        now = self.column(self._frame.time)
        cells: list[tuple[str, Style]] = []
        for place in range(start, start + length):
            name = "track" if place <= now else "ahead"
            cells.append(("━" if place <= now else "╌", styles[name]))
        for time, mark in self._marks:
            at = self.column(time) - start
            if cells[at][0] != "!":
                cells[at] = (mark, styles["alarm" if mark == "!" else "act"])
        cells[now - start] = ("▼", styles["now"])
        segments = [Segment(character, style) for character, style in cells]
        if start:
            plain = styles["ahead"]
            segments.insert(0, Segment(f"{text.clock(0.0)} ", plain))
            segments.append(Segment(f" {text.clock(self._frame.newest)}", plain))
        # runs of one style: as single cells the bar would be most of what is written
        return Strip(segments).simplify().adjust_cell_length(width)

    def on_click(self, event: events.Click) -> None:
        instant = self.time_at(event.x)
        self.post_message(Ask(Newest() if instant is None else GoTo(instant)))


_NAMES = ("track", "ahead", "now", "alarm", "act")


def _mark_of(event: RunEvent) -> str:
    match event.what:
        case AlarmRaised(_, first_out) if first_out or not event.subject:
            return "!"
        case FaultInjected() | FaultPaused() | FaultCleared():
            return "x"
        case Commanded(RideStop()):
            return "s"
    return ""


class Tabs(Line):
    """The views with their digits, the open one marked."""

    def __init__(self, titles: Sequence[str], lowest: int = 1) -> None:
        """`lowest`: digit of the first."""
        super().__init__(id="tabs")
        self.titles = tuple(titles)
        self._lowest = lowest
        self._open = ""

    def on_resize(self) -> None:
        self.show_open(self._open)

    def show_open(self, current: str) -> None:
        """Draws the line with one view open."""
        self._open = current
        whole = [f"{n} {title}" for n, title in enumerate(self.titles, self._lowest)]
        short = [
            word if title == current else str(n)
            for n, (title, word) in enumerate(zip(self.titles, whole, strict=True), self._lowest)
        ]
        # between two of them at least the column where the brackets of the open one stand
        room = self.size.width - sum(map(len, whole)) - len(whole)
        fits, gap = room >= 0, " " * (2 if room >= len(whole) else 1)
        line, before = Content(""), ""
        for title, word in zip(self.titles, whole if fits else short, strict=True):
            here = title == current
            # brackets as well: a monochrome screen may show no reverse
            words = f"{before[1:]}[{word}]" if here else before + word
            before = gap[1:] if here else gap
            line += linked(words, f"open_view('{title}')", "bold reverse" if here else "")
        self.update(line, layout=False)


class Key(NamedTuple):
    """A key worth knowing; the highest `rank` is dropped first."""

    rank: int
    key: str
    words: str
    action: str
    brief: str = ""
    """Words on a narrow screen; "" = the same."""


BRIEF = 110
"""Width below which keys have their brief words."""


class Keys(Line):
    """The most needed keys, one line; they can be clicked."""

    def __init__(self, keys: Sequence[Key]) -> None:
        super().__init__(id="keys")
        self.keys = tuple(keys)

    def show(self, keys: Sequence[Key]) -> None:
        """Other keys; nothing when they are the same."""
        if tuple(keys) != self.keys:
            self.keys = tuple(keys)
            self.on_resize()

    def on_resize(self) -> None:
        brief = self.size.width < BRIEF
        parts = [
            Part(
                key.rank,
                Content.assemble(
                    (key.key, "bold $accent"), f" {(brief and key.brief) or key.words}"
                ).stylize(clicked(key.action)),
            )
            for key in self.keys
        ]
        self.update(fitted(parts, self.size.width), layout=False)


class ZoneStrip(Line):
    """Every zone in a few words, beside the view."""

    def __init__(self, link: Link) -> None:
        super().__init__(id="strip")
        self.link = link
        self._drawn: object = None

    def on_resize(self) -> None:
        self.show(self.link.frame)

    def show(self, frame: Frame) -> None:
        """Draws a frame; nothing when what it draws is as before."""
        width = max(self.size.width - 1, 1)
        tall = self.size.height >= 3 * len(frame.zones)
        unsafe = dict(not_safe(self.link, frame))
        waiting = {alarm.zone for alarm in announced(frame) if alarm.state in WAITING}
        lines: list[Content] = []
        for name, zone in zip(self.link.plant.zones, frame.zones, strict=True):
            wrong = name in unsafe or zone.state == "faulted"
            mark = "x" if wrong else "!" if name in waiting else "·"
            style = "$error bold" if wrong else "$warning" if name in waiting else ""
            state = "NOT SAFE" if name in unsafe else zone.state
            room = max(width - len(state) - 3, 1)
            words = f"{mark} {text.short(name, room):{room}} {state}"
            lines.append(linked(text.short(words, width), "open_view('zones')", style))
            if tall and zone.pressure is not None:
                values = f"  {text.pressure(zone.pressure):>9} {_jaws(zone.gap, zone.force):>9}"
                lines.append(Content.styled(text.short(values, width), "$text-muted"))
            if tall:
                why = f"  {zone.first_out}" if zone.first_out else ""
                lines.append(Content.styled(text.short(why, width), style))
        drawn = [line.markup for line in lines]
        if drawn != self._drawn:
            self._drawn = drawn
            self.update(Content("\n").join(lines), layout=False)


def _jaws(gap: float | None, force: float | None) -> str:
    return text.force(force) if force else text.gap(gap)


def _wrapped(row: EventRow, width: int) -> list[Content]:
    """A row of the latest events, its words below each other when they are long."""
    words = f"{row.where}: {row.what}"
    said = wrap(words, max(width - 12, 8), max_lines=3, placeholder=" …")
    first = Content.assemble((f"{text.clock(row.time):>9} ", "$text-muted"), said[0])
    return [first, *(Content(" " * 12 + line) for line in said[1:])]


class Latest(Static):
    """The latest events up to the instant that is shown, the newest at the bottom."""

    def __init__(self, link: Link) -> None:
        super().__init__(id="latest")
        self.link = link
        self._log = EventLog()
        self._drawn: object = None

    def on_resize(self) -> None:
        self.show(self.link.frame)

    def show(self, frame: Frame) -> None:
        """Draws a frame; nothing when no event has come or gone."""
        width, height = max(self.size.width - 1, 1), max(self.size.height - 1, 1)
        self._log.take(self.link.past)
        end = self._log.until(frame.time)
        rows = self._log.shown[max(end - height, 0) : end]
        if (rows, width, height) == self._drawn:
            return
        self._drawn = (rows, width, height)
        lines = [line for row in rows for line in _wrapped(row, width)][-height:]
        lines.insert(0, Content.styled("latest events", "bold"))
        self.update(Content("\n").join(lines), layout=False)
