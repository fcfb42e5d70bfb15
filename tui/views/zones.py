"""Zones: what each believes, what its jaws do, and whether it is safe when it has to be."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, cast

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical

from pneumo.circuit.zones import territories
from pneumo.live.link import Link
from pneumo.live.request import Do
from pneumo.zone.alarm import NEEDS_ACKNOWLEDGE
from tui.judgement import first_in_trouble
from tui.view import View
from tui.widgets.gates import GateRow, draw_gate, gate_height, gate_rows
from tui.widgets.rows import Line, Piece, Rows, Words
from tui.widgets.zone_details import DetailRow, detail_rows, fitted
from tui.widgets.zone_list import ZoneRow, draw_zone, heights_of, zone_row

BESIDE = 140
"""Width from which the details stand beside the list [cells]."""


class ZonesView(View):
    """The list of zones, and the details of one."""

    TITLE = "zones"
    HELP = """
# Zones

One entry for each brake zone. `spring-opened` means that air closes the jaws; `command: charge`
and `command: vent` (with little room `cmd`) are what the logic commands now, not what the zone
does. The numbers are those of the brake furthest from the safe state: pressure in its bladders,
gap of a lining, clamping force of one ski. The bar is full at the force that the zone requires
(10 kN where none is required).

**NOT SAFE**: the safe state is demanded (the zone is faulted, the ride is stopped, or there is no
power) and not reached in time: first why, then which brakes. The time is that of the requirement,
counted from the first demand. A faulted zone that is in its safe state shows
its first-out cause instead.

The trainee's seat does not see the jaws. There only the jaw switches are shown, a word each:
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
        self._list.go(first_in_trouble(link.plant, link.frame) or 0)
        self.call_after_refresh(lambda: self._list.go(self._list.cursor))  # now it has its height

    def on_resize(self, event: events.Resize) -> None:
        beside = event.size.width >= BESIDE
        self.set_class(beside, "beside")
        if beside:
            self.remove_class("inside")
        self.show()
        self.call_after_refresh(self.show)

    def show(self) -> None:
        plant, frame = self.link.plant, self.link.frame
        waiting = {alarm.zone for alarm in frame.alarms if alarm.state in NEEDS_ACKNOWLEDGE}
        rows = [zone_row(plant, frame, i, waiting) for i in range(len(plant.zones))]
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
            details = detail_rows(plant, frame, self._list.cursor, members, not beside)
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
