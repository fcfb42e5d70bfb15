"""Zones: what each believes, what its jaws do, and whether it is safe when it has to be."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, NamedTuple, cast

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical

from pneumo.circuit.circuit import PortRef, Zone
from pneumo.circuit.sentence import kind_of
from pneumo.live.frame import Frame, ZoneFrame
from pneumo.live.link import Link
from pneumo.live.plant import Plant
from pneumo.live.request import Do
from pneumo.report.grouping import group
from pneumo.zone.alarm import NEEDS_ACKNOWLEDGE
from tui import text
from tui.judgement import (
    asked,
    brake_is_safe,
    brakes_of,
    in_safe_state,
    jaw_switches,
    seen_at,
    trouble,
)
from tui.view import View
from tui.widgets.gates import GateRow, draw_gate, gate_rows
from tui.widgets.jaws import full_gap, letter, picture
from tui.widgets.rows import Line, Piece, Rows, Words, cut, spread

BAR = 5
"""Cells of a force bar."""

STRONG = 10_000.0
"""Force that fills the bar of a zone without a required one [N]."""

BESIDE = 140
"""Width from which the details stand beside the list [cells]."""


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
    brake: str
    values: str
    share: float
    """Of the force bar, in eighths of a cell."""
    jaws: tuple[tuple[str, ...], ...]
    """Pictures of the jaws, brake by brake, from the smallest to the largest; for a seat that does
    not see them: what the switches say."""
    small: str
    """The worst brake, or a letter for each."""
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

One entry for each brake zone. `springs open` means that air closes the jaws; `charges` and `vents`
say what the logic does now. The numbers are those of the brake furthest from the safe state:
pressure in its bladders, gap of a lining, clamping force of one ski. The bar is full at the force
that the zone requires (10 kN where none is required).

**NOT SAFE** stands where a zone was asked for its safe state (it is faulted, the ride is stopped,
or there is no power) and is not in it. After a ride stop a zone that obeys has the time that it is
allowed before it counts as not safe.

The trainee's seat does not see the jaws. There the jaw switches speak, one letter for each brake:
`c` closed, `o` open, `-` none of its two switches, `!` both, `·` no switch at all ("blind").

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
        #zones-details { width: 1fr; height: 1fr; display: none; background: $panel; }
        &.beside #zones-details, &.inside #zones-details { display: block; }
        &.beside Vertical { width: 3fr; }
        &.beside #zones-details { width: 2fr; min-width: 60; }
        &.inside Vertical { display: none; }
    }
    """

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        self._members = group(link.plant.circuit).zones
        self._list = Rows(
            lambda row, width: draw_zone(cast(ZoneRow, row), width, self._list.tall),
            empty="This circuit has no brake zones.",
            id="zones-list",
        )
        self._details = Rows(
            lambda row, width: [cast(DetailRow, row).line],
            pickable=lambda row: bool(cast(DetailRow, row).component),
            key=lambda row: cast(DetailRow, row).component,
            id="zones-details",
        )
        self._gates = Rows(lambda row, width: [draw_gate(row, width)], away=False, id="gates-list")
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

    def on_resize(self, event: events.Resize) -> None:
        beside = event.size.width >= BESIDE
        self.set_class(beside, "beside")
        if beside:
            self.remove_class("inside")
        self.show()
        self.call_after_refresh(self.show)

    def show(self) -> None:
        plant, frame = self.link.plant, self.link.frame
        rows = [zone_row(plant, frame, i) for i in range(len(plant.zones))]
        height = self._list.size.height
        self._list.fill(rows, tall=min(max(height // max(len(rows), 1), 1), 5))
        gates = gate_rows(plant, frame)
        self._gates.display = bool(gates) and self.size.height >= 8
        self._gates.fill(gates)
        self._show_head(rows)
        if self._details.display and rows:
            name = rows[self._list.cursor].name
            details = detail_rows(plant, frame, self._list.cursor, self._members.get(name, ()))
            self._details.fill([d._replace(line=cut(d.line, self._details.room))
                                for d in details])  # fmt: skip

    def look_at(self, component: str) -> None:
        for index, name in enumerate(self.link.plant.zones):
            if component == name or component in self._members.get(name, ()):
                self._list.go(index)
                self.show()
                return

    def _show_head(self, rows: Sequence[ZoneRow]) -> None:
        bad = [row.name for row in rows if row.trouble]
        faulted = sum(row.state == "faulted" for row in rows)
        words = f"{len(rows)} zone{'' if len(rows) == 1 else 's'}"
        if faulted:
            words += f" · {faulted} faulted"
        line: Line = (Piece(words, "bold"),)
        if bad:
            line += (Piece("  "), Piece(f"x NOT SAFE: {text.listed(bad)}", "bad"))
        self._head.fill(line, (Piece("o open  c close  enter details ", "muted"),))

    # keys and mouse

    def action_command(self, verb: str) -> None:
        row = (self._gates if self._gates.has_focus else self._list).row
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


def zone_row(plant: Plant, frame: Frame, index: int) -> ZoneRow:
    """A zone as the list shows it."""
    zone, now = plant.circuit.zones[plant.zones[index]], frame.zones[index]
    wrong = trouble(plant, frame, index) or ""
    waiting = any(
        alarm.zone == zone.name and alarm.state in NEEDS_ACKNOWLEDGE for alarm in frame.alarms
    )
    sees = now.gap is not None
    jaws, small = _pictures(plant, frame, index)
    if sees:
        values = (
            f"{text.pressure(now.pressure):>9}{text.gap(now.gap):>9}{text.force(now.force):>10} "
        )
    else:
        values = ""
    share = (now.force or 0.0) / (zone.requirement.clamping_force or STRONG)
    return ZoneRow(
        name=zone.name,
        state=now.state,
        mark="x" if wrong or now.state == "faulted" else ("!" if waiting else "·"),
        lasted=text.age(frame.time - now.since),
        spring=plant.circuit.zone_spring(zone.name),
        charge=now.charge,
        safe=_safe_words(plant, frame, index),
        trouble=wrong,
        brake=now.brake if sees else "",
        values=values,
        share=round(min(share, 1.0) * BAR * 8) / (BAR * 8) if sees else -1.0,
        jaws=jaws,
        small=small,
        stored=_instruments(plant, frame, zone),
        wait=_wait_words(now),
    )


def draw_zone(row: ZoneRow, width: int, tall: int) -> list[Line]:
    """The lines of a zone, `tall` of them, most telling first."""
    head: Line = (
        Piece(f"{row.mark} ", "bad" if row.mark == "x" else ("warn" if row.mark == "!" else "")),
        Piece(f"{text.short(row.name, 14):<15}", "bold"),
        Piece(f"{row.state:<8}", "bad" if row.state == "faulted" else ""),
        Piece(" " if row.trouble and width < 100 else f"{row.lasted:>12}  ", "muted"),
    )
    buttons: Line = (
        Piece(" "), Piece("[open]", "button", "open"),
        Piece(" "), Piece("[close]", "button", "close"), Piece(" "),
    )  # fmt: skip
    tail: Line = (
        (Piece(f"NOT SAFE: {row.trouble}", "bad"),)
        if row.trouble
        else (Piece(f"springs {row.spring}, ", "muted"), Piece(row.safe))
    )
    if tall == 1:
        values = () if row.trouble else (Piece(f"  {row.values.rstrip() or row.small}"),)
        line = (*head, *tail, *values)
        return [spread(line, buttons, width) if width >= 90 else cut(line, width)]
    numbers: Line = (Piece("  "),)
    air = Piece(" charges " if row.charge else " vents   ", "muted")
    if row.share >= 0.0:
        numbers += (
            Piece(f"{text.short(row.brake, 16):<16}", "muted"),
            Piece(row.values),
            Piece("▕", "muted"), Piece(text.bar(row.share, BAR)), Piece("▏", "muted"),
            air,
        )  # fmt: skip
    elif tall < 3:
        numbers += (Piece("jaw switches ", "muted"), Piece(row.small), air)
    else:
        numbers += (Piece("jaw switches" if tall >= 4 else "", "muted"), air)
    if row.trouble and width >= 100:
        numbers += (Piece(f" {row.safe}"),)
    elif row.share < 0.0 and tall < 4:
        numbers += (Piece(row.stored, "muted"),)
    elif tall == 2:
        numbers += (Piece(f" {row.small}"),)
    lines = [cut((*head, *tail), width), spread(numbers, buttons, width)]
    if tall >= 3:
        lines.append(cut((Piece("  " + _widest(row.jaws, width - 2)),), width))
    if tall >= 4:
        wait = (Piece(row.wait + "  "),) if row.wait else ()
        lines.append(cut((Piece("  "), *wait, Piece(row.stored, "muted")), width))
    return lines[:tall]


def _widest(choices: Sequence[Sequence[str]], width: int) -> str:
    """The largest pictures that fit side by side."""
    for gap in ("  ", " "):
        for pictures in reversed(choices):
            line = gap.join(pictures)
            if len(line) <= width:
                return line
    return " ".join(choices[0])


def _safe_words(plant: Plant, frame: Frame, index: int) -> str:
    zone = plant.circuit.zones[plant.zones[index]]
    there = in_safe_state(plant, frame, index)
    where = {True: "is in it", False: "not in it", None: "not seen"}[there]
    if there is False and asked(frame, index) and trouble(plant, frame, index) is None:
        where = "on its way"
    return f"safe {zone.safe_state}: {where}"


def _pictures(plant: Plant, frame: Frame, index: int) -> tuple[tuple[tuple[str, ...], ...], str]:
    """Of every brake in several sizes; and in little room."""
    zone = plant.circuit.zones[plant.zones[index]]
    gaps = [frame.gaps[i] for i in brakes_of(plant, index)]
    if None in gaps:
        jaws = jaw_switches(plant, frame, index)
        words = tuple(f"{i} {WORDS[letter(each)]:<6}" for i, each in enumerate(jaws, 1))
        return (words,), " ".join(letter(each) for each in jaws)
    fin = zone.name not in frame.absent_fins
    full = [full_gap(plant.circuit.components[brake]) for brake in zone.brakes]
    sizes = tuple(
        tuple(
            f"{i} {picture(gap, most, cells, fin)}"
            for i, (gap, most) in enumerate(zip(gaps, full, strict=True), 1)
        )
        for cells in (1, 2, 3)
    )
    worst = zone.brakes.index(frame.zones[index].brake) if frame.zones[index].brake else 0
    return sizes, picture(gaps[worst], full[worst], 2, fin)


def _wait_words(now: ZoneFrame) -> str:
    """What the first transition that is waited for still lacks."""
    lacking = [wait for wait in now.waits if wait.missing]
    return f"for {lacking[0].to}: {'; '.join(lacking[0].missing)}" if lacking else ""


def _instruments(plant: Plant, frame: Frame, zone: Zone) -> str:
    """Stored air, as far as it is seen, and what the zone's pressure switches say."""
    says = dict(zip((i.name for i in plant.inputs), frame.inputs, strict=True))
    parts = [
        f"{name} {'made' if says[name] else 'broken'}"
        for name in (*zone.pressure_switches, *zone.supply_switches)
    ]
    if zone.low_pressure is not None:
        shown = dict(zip(plant.meters, frame.readings, strict=True))
        name = zone.low_pressure.transmitter
        parts.append(f"{name} {text.pressure(shown[name])}")
    return "  ".join(parts)


# the details


def detail_rows(plant: Plant, frame: Frame, index: int, members: Sequence[str]) -> list[DetailRow]:
    """A zone in full: what is required, what it waits for, its brakes, valves, air and switches."""
    zone, now = plant.circuit.zones[plant.zones[index]], frame.zones[index]
    wrong = trouble(plant, frame, index)
    rows = [_plain(f" {zone.name}", "bold"), _plain(f" {_required(zone)}", "muted")]
    if zone.about:
        rows.insert(1, _plain(f" {zone.about}", "muted"))
    if wrong:
        rows.append(_plain(f" x NOT SAFE: {wrong}", "bad"))
    rows.append(_plain(f" {now.state} since {text.clock(now.since)}"))
    if now.first_out:
        rows.append(_plain(f" first out: {now.first_out}", "warn"))
    rows += _wait_rows(now)
    rows += [_plain(""), *_brake_rows(plant, frame, index, zone)]
    rows += _valve_rows(plant, frame, zone, members)
    rows += _air_rows(plant, frame, zone, members)
    return rows


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
        rows += [_plain(f"   {sentence}", "muted") for sentence in wait.missing]
    return rows


def _brake_rows(plant: Plant, frame: Frame, index: int, zone: Zone) -> list[DetailRow]:
    scale = zone.requirement.clamping_force or STRONG
    states = jaw_switches(plant, frame, index)
    wide = min(max(len(brake) for brake in zone.brakes), 20)
    sees = frame.zones[index].gap is not None
    late = trouble(plant, frame, index) is not None
    heads = f"{'':<10}{'pressure':>8}{'gap':>8}{'force':>10}  " if sees else ""
    rows = [DetailRow((Piece(f" {'Brakes':<{wide + 2}}", "bold"), Piece(f" {heads}seen", "muted")))]
    for i, brake, jaws in zip(brakes_of(plant, index), zone.brakes, states, strict=True):
        gap, force = frame.gaps[i], frame.forces[i]
        name, says = f" {text.short(brake, wide):<{wide}} ", WORDS[letter(jaws)]
        if gap is None or force is None:
            mark = {True: "·", False: " ", None: "?"}[seen_at(jaws, zone.safe_state)]
            rows.append(DetailRow((Piece(f" {mark}{name}"), Piece(says)), brake))
            continue
        pressure = frame.pressures[plant.net_of[PortRef(brake, "1")]]
        full = full_gap(plant.circuit.components[brake])
        safe = brake_is_safe(zone, gap, force)
        bad = late and not safe
        line: Line = (
            Piece(" "),
            Piece("x" if bad else ("·" if safe else " "), "bad" if bad else ""),
            Piece(name + picture(gap, full, 2, zone.name not in frame.absent_fins)),
            Piece(f"{text.pressure(pressure):>11}{text.gap(gap):>8}{text.force(force):>10}  "),
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
            else Piece(_place(at[name]) if kind_of(plant.circuit.components[name]) != "shut_off"
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
        contact.name: (made, forced)
        for contact, made, forced in zip(
            plant.inputs, frame.inputs, frame.forced_inputs, strict=True
        )
    }
    rows: list[DetailRow] = []
    for name in members:
        kind = kind_of(plant.circuit.components[name])
        words = ""
        if kind in ("accumulator", "receiver"):
            port = plant.circuit.components[name].ports()[0].name
            net = plant.net_of[PortRef(name, port)]
            words = f"{text.pressure(frame.pressures[net]):>9} stored"
            words += "  ~ trapped" if net in frame.trapped else ""
            words += "  drain open" if name in frame.drained else ""
        elif name in shown:
            words = f"{text.pressure(shown[name]):>9} shown"
        elif kind == "pressure_switch" and name in says:
            made, forced = says[name]
            words = f"{'made' if made else 'broken':>9}{'  F' if forced else ''}"
        if words:
            rows.append(DetailRow((Piece(f"   {name:<20} {words}"),), name))
    if not rows:
        return []
    return [_plain(""), _plain(" Air", "bold"), *rows]
