"""Verify: fail-safe checks of the ride as it stands, and the whole verification as a table."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import Static

from pneumo.live.link import Link
from pneumo.live.request import Answer, Check, Request
from pneumo.verification.case import Loss
from tui import text
from tui.judgement import first_in_trouble
from tui.screens.result import WhatItDoesNotSay
from tui.view import View
from tui.widgets.checks import Checks
from tui.widgets.results import Results
from tui.widgets.rows import Rows
from tui.widgets.verdicts import COLUMN, draw_loss

BESIDE = 108
"""Width from which check and table stand side by side [cells]."""


class VerifyView(View):
    """Checks at the left, the table of the verification at the right; on narrow screens one of
    them."""

    TITLE: ClassVar[str] = "verify"
    HELP: ClassVar[str] = """
## Verify
**Fail-safe check:** a loss of air or power is injected on a *copy* of the ride as it stands now,
faults and all, and played on the screen. The ride itself is not touched: `h` goes back to it.
Beside it stands what the verification says of the same loss for the ride without a fault, injected
in the same state. Below them stand all zones, the losses by their numbers in the list:
`U/S` unsafe as this ride stands, safe in the verification.

**Verification:** every loss and every single fault, injected in every operating state of the zones.
It is calculated beside the ride, in a process of its own.

Letters: `S` safe, `L` late, `U` unsafe, `N` not calculated; a small letter: no alarm
told of it; `·` not run. One letter for each state, in the order that the line below the table
gives.

| key | what it does |
|---|---|
| `k` | play the chosen loss on the chosen zone |
| `z` `Z` | next, previous zone (in the table: only that zone, then all) |
| `m` | check or table, on narrow screens; tab goes round |
| `v` `c` | calculate the verification; break it off |
| `o` `e` | open a saved result; save this one |
| `x` | only what is not safe |
| `/` | only rows with these words; Escape: all |
| Enter | open the case as the ride, at its onset |
| `i` | what a result does not say: assumptions, limits, cautions |

All of it is calculated from a description of the circuit. It certifies nothing.
"""
    DEFAULT_CSS = """
    VerifyView { layout: horizontal; }
    VerifyView #check { width: 54; padding: 0 1 0 0; }
    VerifyView #results { width: 1fr; border-left: vkey $panel; padding: 0 0 0 1; }
    VerifyView.-pages #check, VerifyView.-pages #results { width: 1fr; padding: 0; border: none; }
    VerifyView.-pages.-table #check { display: none; }
    VerifyView.-pages.-checks #results { display: none; }
    VerifyView #check-head { height: auto; }
    VerifyView #check-title { height: 1; text-style: bold; background: $panel; }
    VerifyView #losses { height: auto; max-height: 12; min-height: 2; background: transparent; }
    VerifyView #check-scroll { height: 1fr; margin: 1 0 0 0; }
    VerifyView #check-detail { width: 1fr; height: auto; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("k", "check", "check", show=False),
        Binding("z", "zone(1)", "next zone", show=False),
        Binding("Z", "zone(-1)", "previous zone", show=False),
        Binding("m", "page", "check or table", show=False),
        Binding("v", "calculate", "calculate the verification", show=False),
        Binding("c", "cancel", "break it off", show=False),
        Binding("o", "open", "open a saved result", show=False),
        Binding("e", "save", "save the result", show=False),
        Binding("x", "only_bad", "only what is not safe", show=False),
        Binding("slash", "words", "only rows with these words", show=False),
        Binding("i", "limits", "what a result does not say", show=False),
        Binding("escape", "all", "all rows", show=False),
    ]

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        trouble = first_in_trouble(link.plant, link.frame)
        self.checks = Checks(link, link.plant.zones[trouble or 0] if link.plant.zones else "")
        self.results = Results(link)
        self._shown: object = None
        self._page = "checks"
        self._followed: tuple[str, Loss | None] = ("", None)
        """The check whose zone was chosen here last."""
        self._list = Rows(partial(draw_loss), id="losses", empty="this ride has no zone to check")

    def compose(self) -> ComposeResult:
        with Vertical(id="check"):
            yield Static(id="check-head", markup=False)
            yield Static(id="check-title", markup=False)
            yield self._list
            with VerticalScroll(id="check-scroll"):
                yield Static(id="check-detail", markup=False)
        yield self.results

    def on_mount(self) -> None:
        self.set_class(True, "-checks")
        self.show()

    def on_resize(self) -> None:
        self.set_class(self.size.width < BESIDE, "-pages")
        self._shown = None
        self.results.turn(self.has_class("-pages"))
        self.call_after_refresh(self.show)  # the list has its width by then

    # the check

    def show(self) -> None:
        frame, checks = self.link.frame, self.checks
        self._follow_check()
        shown = (
            checks.known, frame.note if frame.mode == "check" else "", self.size.width,
            self._list.size.width, self._list.cursor, len(frame.faults),
            tuple(zone.state for zone in frame.zones),
        )  # fmt: skip
        if shown == self._shown:
            return
        self._shown = shown
        self.query_one("#check-head", Static).update(checks.head(self.has_class("-pages")))
        name_width = max(min(self._list.size.width - 1 - 2 * COLUMN, checks.name_width), 8)
        names = text.short(" after a loss of", name_width)
        title = f" {names:{name_width}}{'this ride':{COLUMN}}verification"
        self.query_one("#check-title", Static).update(Content(title))
        self._list.fill(checks.rows())
        self._say_loss()

    def _follow_check(self) -> None:
        """Shows the zone and the loss of the check that is played, once for each."""
        played, checks = self.link.frame.check, self.checks
        if played is None:
            self._followed = ("", None)
        elif self._followed != (played.zone, played.loss):
            self._followed, checks.zone = (played.zone, played.loss), played.zone
            self._list.fill(checks.rows())
            losses = checks.losses_of(checks.zone)
            self._list.go(losses.index(played.loss) if played.loss in losses else 0)

    @property
    def _loss(self) -> Loss | None:
        known = self.checks.losses_of(self.checks.zone)
        return known[self._list.cursor] if self._list.cursor < len(known) else None

    def _say_loss(self) -> None:
        loss = self._loss
        words = Content("") if loss is None else self.checks.detail(loss)
        self.query_one("#check-detail", Static).update(words)

    def look_at(self, component: str) -> None:
        """Checks the zone that a component serves, or the zone of that name."""
        circuit = self.link.plant.circuit
        zone = component
        if component in circuit.components:
            zone = circuit.zone_of(component) or ""
        if zone in circuit.zones:
            self.checks.zone = zone
            if self.is_mounted:
                self.show()

    def answered(self, request: Request, answer: Answer) -> bool:
        """Takes the outcomes of a check, whoever asked for it."""
        if not isinstance(request, Check) or not isinstance(answer.data, Mapping):
            return False
        zone = self.checks.told(answer.data)
        visible = zone != "" and self.is_on_screen and self.size.width > 0
        if visible:
            self.checks.zone = zone
            self.show()
        return visible

    def action_check(self) -> None:
        loss = self._loss
        if loss is not None:
            self.checks.asked()
            self.ask(Check(self.checks.zone, loss))

    @on(Rows.Moved, "#losses")
    def _moved_in_list(self) -> None:
        self._say_loss()

    @on(Rows.Chosen, "#losses")
    def _chosen_in_list(self) -> None:
        self.action_check()

    @on(Results.Taken)
    def _stands_beside(self, event: Results.Taken) -> None:
        self.checks.beside(event.results)
        self.show()

    # pages

    def action_zone(self, step: int) -> None:
        zones = self.link.plant.zones
        if self.results.table.has_focus:
            self.results.next_zone(step)
        elif zones:
            self.checks.zone = zones[(zones.index(self.checks.zone) + step) % len(zones)]
            self.show()

    def action_page(self) -> None:
        table = self.results.table
        on_table = self._page == "table" if self.has_class("-pages") else table.has_focus
        self._open_page("checks" if on_table else "table")

    def _open_page(self, page: str) -> None:
        self._page = page
        self.set_class(page == "table", "-table")
        self.set_class(page == "checks", "-checks")
        (self.results.table if page == "table" else self._list).focus()

    def on_descendant_focus(self) -> None:
        # tab has gone round to the other pane
        if self.results.table.has_focus:
            self._page = "table"
        elif self._list.has_focus:
            self._page = "checks"

    # keys of the verification, wherever the focus is

    def action_calculate(self) -> None:
        self.results.calculate(self.checks.zone)

    def action_cancel(self) -> None:
        self.results.cancel()

    def action_open(self) -> None:
        self.results.open()

    def action_save(self) -> None:
        self.results.save()

    def action_only_bad(self) -> None:
        self.results.toggle_bad()

    def action_words(self) -> None:
        if self.has_class("-pages"):
            self._open_page("table")
        self.results.type_words()

    def action_all(self) -> None:
        self.results.show_all()

    def action_limits(self) -> None:
        self.app.push_screen(WhatItDoesNotSay(self.results.results, self.checks.unsound))
