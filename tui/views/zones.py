"""Zones: what each believes, what its jaws do, and whether it is safe when it has to be."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from functools import lru_cache
from textwrap import wrap
from typing import ClassVar, NamedTuple, cast

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical

from pneumo.circuit.circuit import PortRef, Zone
from pneumo.circuit.zones import territories
from pneumo.live.frame import Frame, Wait, ZoneFrame
from pneumo.live.link import Link
from pneumo.live.plant import Plant
from pneumo.live.request import Do
from pneumo.scenario.event import RunEvent
from pneumo.zone.alarm import NEEDS_ACKNOWLEDGE
from tui import text
from tui.judgement import (
    TOUCHING,
    Places,
    asked,
    brake_is_safe,
    brakes_of,
    first_in_trouble,
    in_safe_state,
    jaw_switches,
    places,
    seen_at,
    trouble,
)
from tui.view import View
from tui.widgets.gates import GateRow, draw_gate, gate_height, gate_rows
from tui.widgets.jaws import letter, picture
from tui.widgets.rows import Line, Piece, Rows, Words, cut, spread

BAR = 5
"""Cells of a force bar."""

STRONG = 10_000.0
"""Force that fills the bar of a zone without a required one [N]."""

BESIDE = 140
"""Width from which the details stand beside the list [cells]."""


FULL = 5
"""Lines of a zone that has room: all that there is to say, and an empty one."""

FINE = 5
"""Gaps that round to the same hundredth of a millimetre are drawn alike [decimals of a m]."""

NOT_SEEN_TO = " is not acknowledged"
"""Ends what the logic says of an alarm that it waits for (`zone.waiting`)."""

WANTED = {
    " are both ON": " not to be ON together",
    " is ON": " to be OFF",
    " is OFF": " to be ON",
    " does not read low": " to read low",
    " reads low": " to read enough",
}
"""What stands in the way (`zone.evidence`), and what is wanted instead."""

WORDS = {"c": "closed", "o": "open", "-": "none", "!": "both", "·": "blind"}
"""What jaw switches say (`widgets.jaws.letter`)."""


class ZoneRow(NamedTuple):
    """All that the list shows of a zone; equal rows look the same."""

    name: str
    state: str
    mark: str
    lasted: str
    spring: str
    """What the springs do."""
    charge: bool
    """The logic lets air in."""
    safe: str
    trouble: str
    first_out: str
    brake: str
    values: str
    share: float
    """Of the force bar, in eighths of a cell."""
    numbers: tuple[str, ...]
    """Of its brakes."""
    gaps: tuple[float, ...]
    """Per brake, rounded [m]; () = this seat does not see them."""
    full: tuple[float, ...]
    """Gaps of open jaws [m]."""
    fin: bool
    worst: int
    """Place of the worst brake."""
    seen: str
    """What the switches say, a letter for each brake."""
    stored: str
    wait: str
    """What the logic waits for; "" = nothing."""


class DetailRow(NamedTuple):
    """A line of the details."""

    line: Line
    component: str = ""
    """What the line is about; "" = nothing to pick."""


class ZonesView(View):
    """The list of zones, and the details of one."""

    TITLE = "zones"
    HELP = """
# Zones

One entry for each brake zone. `springs open it` means that air closes the jaws; `told to charge`
and `told to vent` say what the logic asks of it now, not what it does. The numbers are those of the
brake furthest from the safe state: pressure in its bladders, gap of a lining, clamping force of one
ski. The bar is full at the force
that the zone requires (10 kN where none is required).

**NOT SAFE** stands where a zone was asked for its safe state (it is faulted, the ride is stopped,
or there is no power) and is not in it: first why, then which jaws. It has the time that its
requirement allows, counted from what asked first. A faulted zone that is in its safe state shows
its first-out cause instead.

The trainee's seat does not see the jaws. There the jaw switches speak, a word for each brake:
`closed`, `open`, `none` of its two switches is ON, `both` are, `blind` without a switch; with
little room the letters `c`, `o`, `-`, `!`, `·`.

| key | does |
|---|---|
| up, down | next zone |
| o, c | open, close the zone |
| enter | its details; there: shows the component in the other views |
| tab | from the list to the gates below it and to the details |
| escape | back to the list |

Marks: `x` not safe or faulted, `!` an alarm waits to be acknowledged, `·` normal,
`F` forced, `M` held by the manual override.

The real thing: stay clear of the jaws. A command moves them, springs move them without air, and
only a lock-out and a check of zero energy by a licensed person makes them safe to touch.
"""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("o", "command('open')", "Open"),
        Binding("c", "command('close')", "Close"),
        Binding("escape", "leave", "List", show=False),
    ]
    DEFAULT_CSS = """
    ZonesView {
        layout: vertical;
        Horizontal { height: 1fr; }
        Vertical { width: 1fr; height: 1fr; }
        #zones-list { width: 1fr; height: 1fr; }
        #gates-list { height: auto; max-height: 3; display: none; }
        &.gates-only #zones-list { display: none; }
        &.gates-only #gates-list { height: 1fr; max-height: 100%; }
        #zones-details { width: 1fr; height: 1fr; display: none; background: $panel; }
        &.beside #zones-details, &.inside #zones-details { display: block; }
        &.beside Vertical { width: 3fr; }
        &.beside #zones-details { width: 2fr; min-width: 60; }
        &.inside Vertical { display: none; }
    }
    """

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        self._members = territories(link.plant.circuit)
        self._list = Rows(
            lambda row, width: draw_zone(
                cast(ZoneRow, row), width, self._heights.get(cast(ZoneRow, row).name, 1)
            ),
            empty="This circuit has no brake zones.",
            id="zones-list",
        )
        self._details = Rows(
            lambda row, width: [cast(DetailRow, row).line],
            pickable=lambda row: bool(cast(DetailRow, row).component),
            key=lambda row: cast(DetailRow, row).component,
            id="zones-details",
        )
        self._gates = Rows(
            lambda row, width: draw_gate(row, width, self._gates.tall), away=False, id="gates-list"
        )
        self._heights: dict[str, int] = {}
        """Lines of each zone."""
        if not link.plant.zones and link.plant.circuit.gates:
            self.add_class("gates-only")
            self._list.can_focus, self._gates.display = False, True
        self._head = Words(id="zones-head")

    def compose(self) -> ComposeResult:
        yield self._head
        with Horizontal():
            with Vertical():
                yield self._list
                yield self._gates
            yield self._details

    def on_mount(self) -> None:
        self.show()
        link = self.link
        self._list.go(first_in_trouble(link.plant, link.frame, link.past.events) or 0)
        self.call_after_refresh(lambda: self._list.go(self._list.cursor))  # now it has its height

    def on_resize(self, event: events.Resize) -> None:
        beside = event.size.width >= BESIDE
        self.set_class(beside, "beside")
        if beside:
            self.remove_class("inside")
        self.show()
        self.call_after_refresh(self.show)

    def show(self) -> None:
        plant, frame, events = self.link.plant, self.link.frame, self.link.past.events
        waiting = {alarm.zone for alarm in frame.alarms if alarm.state in NEEDS_ACKNOWLEDGE}
        rows = [zone_row(plant, frame, i, events, waiting) for i in range(len(plant.zones))]
        heights = heights_of(rows, self._list.size.height, self._list.room)
        self._heights = dict(zip(plant.zones, heights, strict=True))
        self._list.fill(rows, tall=min(heights, default=1), heights=heights)
        gates = gate_rows(plant, frame)
        only = self.has_class("gates-only")
        self._gates.display = bool(gates) and (self.size.height >= 8 or only)
        tallest = max((gate_height(row) for row in gates), default=1) + (len(gates) > 1)
        room = self._gates.size.height // max(len(gates), 1)
        self._gates.fill(gates, tall=min(max(room, 1), tallest) if only else 1)
        self._show_head(rows)
        if self._details.display and rows:
            name = rows[self._list.cursor].name
            members = self._members.get(name, ())
            beside = self.has_class("beside")  # the list says there that it is not safe
            details = detail_rows(plant, frame, self._list.cursor, members, events, not beside)
            self._details.fill(fitted(details, self._details.room))

    @on(Rows.Resized)
    def _fit(self) -> None:
        # a scroll bar that came or went leaves less or more for the words
        self.show()

    def look_at(self, component: str) -> None:
        for index, name in enumerate(self.link.plant.zones):
            if component == name or component in self._members.get(name, ()):
                self._list.go(index)
                self.show()
                return

    def _show_head(self, rows: Sequence[ZoneRow]) -> None:
        faulted = sum(row.state == "faulted" for row in rows)
        words = f"{len(rows)} zone{'' if len(rows) == 1 else 's'}"
        if self.has_class("gates-only"):
            words = "no brake zones, only gates"
        if faulted:
            words += f" · {faulted} faulted"
        line: Line = (Piece(words, "bold"),)
        self._head.fill(line, (Piece("o open  c close  enter details ", "muted"),))

    # keys and mouse

    def action_command(self, verb: str) -> None:
        on_gates = self._gates.has_focus or self.has_class("gates-only")
        row = (self._gates if on_gates else self._list).row
        if isinstance(row, ZoneRow | GateRow):
            self.ask(Do(f"{verb} {row.name}"))

    def action_leave(self) -> None:
        self.remove_class("inside")
        self._list.focus()

    @on(Rows.Moved, "#zones-list")
    def _follow(self, event: Rows.Moved) -> None:
        self._details.go(0)
        self._details.scroll_to(y=0, animate=False)
        self.show()

    @on(Rows.Chosen, "#zones-list")
    def _open_details(self, event: Rows.Chosen) -> None:
        if not self.has_class("beside"):
            self.add_class("inside")
        self.show()
        self._details.focus()
        self.call_after_refresh(self.show)

    @on(Rows.Acted, "#zones-list")
    @on(Rows.Acted, "#gates-list")
    def _act(self, event: Rows.Acted) -> None:
        event.rows.focus()
        row = event.rows.row
        if isinstance(row, ZoneRow | GateRow):
            self.ask(Do(f"{event.act} {row.name}"))

    @on(Rows.Chosen, "#gates-list")
    def _pick_gate(self, event: Rows.Chosen) -> None:
        row = self._gates.row
        if isinstance(row, GateRow):
            self.pick(self.link.plant.circuit.gates[row.name].cylinders[0])

    @on(Rows.Chosen, "#zones-details")
    def _pick_component(self, event: Rows.Chosen) -> None:
        row = self._details.row
        if row is not None:
            self.pick(cast(DetailRow, row).component)


# what is shown of a zone


def zone_row(
    plant: Plant,
    frame: Frame,
    index: int,
    events: Sequence[RunEvent] | None = None,
    waiting: Collection[str] = (),
) -> ZoneRow:
    """A zone as the list shows it; `waiting`: zones with an alarm that is to be acknowledged."""
    place, now = places(plant, index), frame.zones[index]
    zone = place.zone
    wrong = trouble(plant, frame, index, events) or ""
    sees = now.gap is not None
    values = ""
    gaps: tuple[float, ...] = ()
    if sees:
        values = (
            f"{text.pressure(now.pressure):>9}{text.gap(now.gap):>9}{text.force(now.force):>10} "
        )
        gaps = tuple(
            0.0 if gap is None or gap < TOUCHING else max(round(gap, FINE), TOUCHING)
            for gap in (frame.gaps[i] for i in place.brakes)
        )
    share = (now.force or 0.0) / (zone.requirement.clamping_force or STRONG)
    return ZoneRow(
        name=zone.name,
        state=now.state,
        mark="x" if wrong or now.state == "faulted" else ("!" if zone.name in waiting else "·"),
        lasted=text.age(frame.time - now.since),
        spring=place.spring,
        charge=now.charge,
        safe=_safe_words(plant, frame, index, wrong),
        trouble=wrong,
        first_out=now.first_out if now.state == "faulted" else "",
        brake=now.brake if sees else "",
        values=values,
        share=round(min(share, 1.0) * BAR * 8) / (BAR * 8) if sees else -1.0,
        numbers=place.numbers,
        gaps=gaps,
        full=place.full,
        fin=zone.name not in frame.absent_fins,
        worst=zone.brakes.index(now.brake) if now.brake in zone.brakes else 0,
        seen="" if sees else "".join(letter(jaws) for jaws in jaw_switches(plant, frame, index)),
        stored=_instruments(place, frame),
        wait=_wait_words(now.waits, now.state == "faulted"),
    )


def heights_of(rows: Sequence[ZoneRow], height: int, width: int) -> list[int]:
    """Lines for each zone. When all have their lines, what is left goes to those in trouble, so
    that what they wait for can be read: first to those that are not safe."""
    tall = min(max(height // max(len(rows), 1), 1), FULL)
    heights = [tall] * len(rows)
    spare = height - tall * len(rows)
    if tall < FULL - 1 or spare <= 0:
        return heights
    unwell = [i for i, row in enumerate(rows) if row.mark == "x"]
    for i in sorted(unwell, key=lambda i: not rows[i].trouble):
        wanted = tall - (FULL - 1) + 3 + len(_wait_lines(rows[i], width - 2))
        more = min(max(wanted - tall, 0), spare)
        heights[i] += more
        spare -= more
    return heights


def draw_zone(row: ZoneRow, width: int, tall: int) -> list[Line]:
    """The lines of a zone, `tall` of them, most telling first."""
    cause = row.trouble or row.first_out
    head: Line = (
        Piece(f"{row.mark} ", "bad" if row.mark == "x" else ("warn" if row.mark == "!" else "")),
        Piece(f"{text.short(row.name, 14):<15}", "bold"),
        Piece(f"{row.state:<8}", "bad" if row.state == "faulted" else ""),
        Piece(" " if cause and width < 100 else f"{row.lasted:>12}  ", "muted"),
    )
    buttons: Line = (
        Piece(" "), Piece("[open]", "button", "open"),
        Piece(" "), Piece("[close]", "button", "close"), Piece(" "),
    )  # fmt: skip
    rest: Line = (Piece(f"springs {row.spring} it, ", "muted"), Piece(row.safe))
    room = width - sum(len(piece.text) for piece in head)
    if row.trouble:
        tail: Line = (Piece(f"NOT SAFE, {row.trouble}", "bad"),)
    elif cause:
        tail = (Piece(f"first out: {cause}", "bad"), Piece("  "))
        room -= sum(len(piece.text) for piece in tail) + (17 if tall == 1 else 0)
        short = row.safe.partition(": ")[2]
        short = {"yes": "in safe state", "no": "not in safe state"}.get(short, short)
        tail += _most((rest, (Piece(row.safe),), (Piece(short),)), room)
    else:
        tail = _most((rest, (Piece(row.safe),)), room) or rest
    if tall == 1:
        small = row.values.rstrip() or " ".join(row.seen)
        values = () if cause else (Piece(f"  {small}"),)
        line = (*head, *tail, *values)
        return [spread(line, buttons, width) if width >= 90 else cut(line, width)]
    numbers: Line = (Piece("  "),)
    told = f"{'told ' if width >= 90 else ''}to {'charge' if row.charge else 'vent  '}"
    air = Piece(f" {told}", "muted")
    ends = ("▕", "▏") if width >= 80 else ("", "")
    if row.share >= 0.0:
        numbers += (
            Piece(f"{text.short(row.brake, 16):<16}", "muted"),
            Piece(row.values),
            Piece(ends[0], "muted"), Piece(text.bar(row.share, BAR)), Piece(ends[1], "muted"),
            air,
        )  # fmt: skip
    elif tall < 3:
        numbers += (Piece("jaw switches ", "muted"), Piece(" ".join(row.seen)), air)
    else:
        numbers += (Piece("jaw switches" if tall >= 4 else "", "muted"), air)
    if row.trouble and width >= 110:
        numbers += (Piece(f" springs {row.spring} it", "muted"),)
    elif row.share < 0.0 and tall < 4:
        numbers += (Piece(f" {row.stored}", "muted"),)
    elif tall == 2 and row.gaps:
        worst = picture(row.gaps[row.worst], row.full[row.worst], 2, row.fin)
        numbers += (Piece(f" {worst}"),)
    lines = [cut((*head, *tail), width), spread(numbers, buttons, width)]
    if tall >= 3:
        lines.append(cut((Piece("  " + _pictures(row, width - 2)),), width))
    if tall >= 4:
        last = max(tall - (FULL - 1), 1) if row.mark == "x" else 1
        if len(_wait_lines(row, width - 2)) > last:
            last = tall - (FULL - 2)  # rather no empty line than words that are cut
        lines += [cut((Piece("  "), *line), width) for line in _last_lines(row, width - 2, last)]
    return lines[:tall]


def _most(choices: Sequence[Line], room: int) -> Line:
    """The first line that fits."""
    fits = (line for line in choices if sum(len(piece.text) for piece in line) <= room)
    return next(fits, ())


def _last_lines(row: ZoneRow, width: int, count: int) -> list[Line]:
    """What the logic waits for and what the instruments show, in so many lines."""
    if not row.wait:
        return [(Piece(row.stored, "muted"),)]
    lines = _wait_lines(row, width)
    if len(lines) > count:
        return [
            *((Piece(line),) for line in lines[: count - 1]),
            (Piece(" ".join((lines[count - 1], *(line.strip() for line in lines[count:])))),),
        ]
    found: list[Line] = [(Piece(line),) for line in lines]
    room = width - len(lines[-1]) - 2
    if len(row.stored) <= room or len(lines) == count:
        found[-1] += (Piece("  "), Piece(row.stored, "muted"))
    else:
        found.append((Piece(row.stored, "muted"),))
    return found


def _wait_lines(row: ZoneRow, width: int) -> list[str]:
    return list(_wrapped(row.wait, max(width, 20)))


@lru_cache(maxsize=256)
def _wrapped(words: str, width: int) -> tuple[str, ...]:
    return tuple(wrap(words, width, subsequent_indent="  "))


def _widest(choices: Sequence[Sequence[str]], width: int) -> str:
    """The largest pictures that fit side by side."""
    for gap in ("  ", " "):
        for pictures in reversed(choices):
            line = gap.join(pictures)
            if len(line) <= width:
                return line
    return " ".join(choices[0])


def _safe_words(plant: Plant, frame: Frame, index: int, wrong: str) -> str:
    there = in_safe_state(plant, frame, index)
    where = {True: "yes", False: "no", None: "not seen"}[there]
    if there is False and not wrong and asked(frame, index):
        where = "on its way"
    return f"safe state {places(plant, index).zone.safe_state}: {where}"


def _pictures(row: ZoneRow, width: int) -> str:
    """Every brake, as large as fits; without jaws to see, what the switches say."""
    if not row.gaps:
        seen = zip(row.numbers, row.seen, strict=True)
        return _widest([[f"{number} {WORDS[each]:<6}" for number, each in seen]], width)
    brakes = list(zip(row.numbers, row.gaps, row.full, strict=True))
    sizes = [
        [f"{number} {picture(gap, full, cells, row.fin)}" for number, gap, full in brakes]
        for cells in (1, 2, 3)
    ]
    return _widest(sizes, width)


@lru_cache(maxsize=256)
def _wait_words(waits: tuple[Wait, ...], faulted: bool) -> str:
    """What the first transition that is waited for still needs, as something to do or to see."""
    lacking = next((wait for wait in waits if wait.missing), None)
    if lacking is None:
        return ""
    parts = ["acknowledge"] if any(m.endswith(NOT_SEEN_TO) for m in lacking.missing) else []
    rest = [m.rpartition(": ")[2] for m in lacking.missing if not m.endswith(NOT_SEEN_TO)]
    clues = text.folded(
        ", ".join(dict.fromkeys(clue for each in rest for clue in each.split(", ")))
    )
    for stands, wanted in WANTED.items():
        clues = clues.replace(stands, wanted)
    parts += [clues] if clues else []
    return f"{'reset' if faulted else lacking.to} waits for: {'; '.join(parts)}"


def _instruments(place: Places, frame: Frame) -> str:
    """Stored air, as far as it is seen, and what the zone's pressure switches say."""
    parts = [f"{name} {text.state(frame.inputs[i])}" for name, i in place.switches]
    if place.transmitter is not None:
        name, i = place.transmitter
        parts.append(f"{name} {text.pressure(frame.readings[i])}")
    return "  ".join(parts)


# the details


def detail_rows(
    plant: Plant,
    frame: Frame,
    index: int,
    members: Sequence[str],
    events: Sequence[RunEvent] | None = None,
    tell: bool = True,
) -> list[DetailRow]:
    """A zone in full: what is required, what it waits for, its brakes, valves, air and switches.

    `tell`: also that it is not safe.
    """
    zone, now = plant.circuit.zones[plant.zones[index]], frame.zones[index]
    wrong = trouble(plant, frame, index, events)
    rows = [_plain(f" {zone.name}", "bold"), _plain(f" {_required(zone)}", "muted")]
    if zone.about:
        rows.insert(1, _plain(f" {zone.about}", "muted"))
    if wrong and tell:
        rows.append(_plain(f" x NOT SAFE, {wrong}", "bad"))
    rows.append(_plain(f" {now.state} since {text.clock(now.since)}"))
    if now.first_out:
        rows.append(_plain(f" first out: {now.first_out}", "warn"))
    rows += _wait_rows(now)
    rows += [_plain(""), *_brake_rows(plant, frame, index, bool(wrong))]
    rows += _valve_rows(plant, frame, zone, members)
    rows += _air_rows(plant, frame, zone, members)
    return rows


def fitted(rows: Sequence[DetailRow], width: int) -> list[DetailRow]:
    """The rows in that width: sentences are wrapped, the rest is cut."""
    found: list[DetailRow] = []
    for row in rows:
        words, look, _ = row.line[0]
        if len(row.line) > 1 or row.component or len(words) <= width or width < 20:
            line = row.line
            if line[-1].text == "▏" and sum(len(piece.text) for piece in line) > width:
                line = line[:-3]  # the bar says what the force says
            found.append(row._replace(line=cut(line, width)))
            continue
        indent = " " * (len(words) - len(words.lstrip()))
        lines = wrap(words.strip(), width - len(indent) - 2)
        found += [
            DetailRow(cut((Piece(f"{indent}{'  ' if i else ''}{line}", look),), width))
            for i, line in enumerate(lines)
        ]
    return found


def _plain(words: str, look: str = "") -> DetailRow:
    return DetailRow((Piece(words, look),))  # type: ignore[arg-type]


def _required(zone: Zone) -> str:
    """The requirement in one line."""
    required, all_of = zone.requirement, len(zone.brakes)
    words = f"safe state {zone.safe_state} within {text.age(required.within)}, "
    words += f"{zone.brakes_needed} of {all_of} brakes"
    if zone.safe_state == "closed" and required.clamping_force:
        words += f", {text.force(required.clamping_force)} each"
    if zone.safe_state == "open" and required.clearance:
        words += f", {text.gap(required.clearance)} clear"
    return words


def _wait_rows(now: ZoneFrame) -> list[DetailRow]:
    """What the logic waits for, each thing that is missing on a line of its own."""
    rows: list[DetailRow] = []
    for wait in now.waits:
        time = "" if wait.limit is None else text.clock(wait.limit)
        if wait.cause:
            rows.append(_plain(f" {wait.to} at {time}: {wait.cause}", "muted"))
            continue
        words = f" {wait.to}{' after a reset' if now.state == 'faulted' else ''}"
        if time:
            words += f" {'by' if wait.missing else 'at'} {time}"
        rows.append(_plain(words + (", once this is gone:" if wait.missing else "")))
        rows += [_plain(f"   {text.folded(each)}", "muted") for each in wait.missing]
    return rows


def _brake_rows(plant: Plant, frame: Frame, index: int, late: bool) -> list[DetailRow]:
    zone, wholly = places(plant, index).zone, places(plant, index).full
    scale = zone.requirement.clamping_force or STRONG
    states = jaw_switches(plant, frame, index)
    wide = min(max(len(brake) for brake in zone.brakes), 20)
    sees = frame.zones[index].gap is not None
    heads = f"{'':<9}{'pressure':>8}{'gap':>7}{'force':>10} " if sees else ""
    rows = [DetailRow((Piece(f" {'Brakes':<{wide + 2}}", "bold"), Piece(f" {heads}seen", "muted")))]
    own = zip(brakes_of(plant, index), zone.brakes, states, wholly, strict=True)
    for i, brake, jaws, full in own:
        gap, force = frame.gaps[i], frame.forces[i]
        name, says = f" {text.short(brake, wide):<{wide}} ", WORDS[letter(jaws)]
        if gap is None or force is None:
            mark = {True: "·", False: " ", None: "?"}[seen_at(jaws, zone.safe_state)]
            rows.append(DetailRow((Piece(f" {mark}{name}"), Piece(says)), brake))
            continue
        pressure = frame.pressures[plant.net_of[PortRef(brake, "1")]]
        safe = brake_is_safe(zone, gap, force)
        bad = late and not safe
        line: Line = (
            Piece(" "),
            Piece("x" if bad else ("·" if safe else " "), "bad" if bad else ""),
            Piece(name + picture(gap, full, 2, zone.name not in frame.absent_fins)),
            Piece(f"{text.pressure(pressure):>10}{text.gap(gap):>7}{text.force(force):>10} "),
            Piece(f"{says:<6} ", "muted"),
            Piece("▕", "muted"), Piece(text.bar(force / scale, BAR)), Piece("▏", "muted"),
        )  # fmt: skip
        rows.append(DetailRow(line, brake))
    return rows


def _valve_rows(plant: Plant, frame: Frame, zone: Zone, members: Sequence[str]) -> list[DetailRow]:
    """Valves that the zone's coils shift, then the other spools among its components."""
    at = dict(zip(plant.valves, frame.positions, strict=True))
    rows: list[DetailRow] = []
    for output, on_, forced in zip(plant.outputs, frame.outputs, frame.forced_outputs, strict=True):
        if output.zone != zone.name:
            continue
        held = output.name in frame.overridden
        line = (
            Piece(f"   {output.name:<20}"),
            Piece(" F" if forced else "  ", "warn"),
            Piece("M" if held else " ", "warn"),
            Piece(f" {'on ' if on_ else 'off'} {output.when if on_ else '':<7}"),
            Piece(f" {_place(at.get(output.component))}"),
        )
        rows.append(DetailRow(line, output.component))
    if rows:
        rows.insert(0, _plain(" Coils and valves", "bold"))
        rows.insert(0, _plain(""))
    shown = {row.component for row in rows}
    hands = [
        DetailRow((
            Piece(f"   {name:<20}    "),
            Piece("out of service", "warn") if name in frame.isolated
            else Piece(_place(at[name]) if "turnable" not in plant.circuit.components[name].traits
                       else "in service"),
        ), name)
        for name in members if name in at and name not in shown
    ]  # fmt: skip
    if hands:
        rows += [_plain(""), _plain(" Shut-off and other valves", "bold"), *hands]
    return rows


def _place(position: float | None) -> str:
    """A spool's position in words."""
    if position is None:
        return ""
    if abs(position) < 0.01:
        return "at rest"
    if position > 0.99:
        return "shifted"
    return "at the other end" if position < -0.99 else f"{abs(position) * 100:.0f} % on its way"


def _air_rows(plant: Plant, frame: Frame, zone: Zone, members: Sequence[str]) -> list[DetailRow]:
    """Stored air, what the meters show, what the pressure switches say."""
    shown = dict(zip(plant.meters, frame.readings, strict=True))
    says = {
        contact.name: (is_on, forced)
        for contact, is_on, forced in zip(
            plant.inputs, frame.inputs, frame.forced_inputs, strict=True
        )
    }
    rows: list[DetailRow] = []
    for name in members:
        traits = plant.circuit.components[name].traits
        words = ""
        if "store" in traits:
            port = plant.circuit.components[name].ports()[0].name
            net = plant.net_of[PortRef(name, port)]
            words = f"{text.pressure(frame.pressures[net]):>9} stored"
            words += "  ~ trapped" if net in frame.trapped else ""
            words += "  drain open" if name in frame.drained else ""
        elif name in shown:
            words = f"{text.pressure(shown[name]):>9} shown"
        elif "pressure contact" in traits and name in says:
            is_on, forced = says[name]
            words = f"{text.state(is_on):>9}{'  F' if forced else ''}"
        if words:
            rows.append(DetailRow((Piece(f"   {name:<20} {words}"),), name))
    if not rows:
        return []
    return [_plain(""), _plain(" Air", "bold"), *rows]
