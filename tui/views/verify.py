"""Verify: fail-safe checks of the ride as it stands, and the whole verification as a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any, ClassVar, NamedTuple, cast

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import Input, Static

from pneumo.components.iso13849_2 import SOURCE
from pneumo.errors import InputError
from pneumo.live.check import Loss, losses_by_zone, outcome_data, verified
from pneumo.live.frame import CheckFrame
from pneumo.live.link import Link
from pneumo.live.matrix_run import MatrixRun
from pneumo.live.request import Answer, Check, OpenCase, Request
from pneumo.report.matrix import matrix
from pneumo.report.saved import read_verification
from pneumo.report.unsound import unsound_words
from pneumo.verification.verdict import UNSOUND, VERDICTS, Verdict, Verification
from tui import text
from tui.judgement import first_in_trouble
from tui.screens.confirm import Confirm
from tui.screens.pick import PickOne
from tui.screens.result import FileName, WhatItDoesNotSay
from tui.sentences import problem
from tui.view import View
from tui.widgets.choice import Choice
from tui.widgets.matrix import MatrixTable, Place, event_name
from tui.widgets.rows import Line, Look, Piece, Rows

BESIDE = 108
"""Width from which check and table stand side by side [cells]."""

POLL = 0.25
"""A verification under way is looked at this often [s of wall time]."""

MARKS = {"safe": "·", "late": "!", "not calculated": "?", "unsafe": "x"}
WORDS = {"safe": "safe", "late": "LATE", "not calculated": "NOT CALC.", "unsafe": "UNSAFE"}
LOOKS: dict[str, Look] = {"safe": "", "late": "warn", "not calculated": "warn", "unsafe": "bad"}
STYLES = {
    "safe": "",
    "late": "$text-warning bold",
    "not calculated": "$text-warning bold reverse",
    "unsafe": "$text-error bold",
}

COLUMN = 14
"""Width of a verdict in the list of losses [cells]."""


class LossRow(NamedTuple):
    """All that the list shows of a loss; equal rows look the same."""

    number: int
    """In the list; the table of all zones names it by that."""
    name: str
    wide: int
    """Width of the names of all losses [cells]."""
    here: str
    """Verdict from the ride as it stood; "" = not asked for yet."""
    here_after: float | None
    quiet: bool
    """No alarm told of it."""
    healthy: str
    """Verdict of the verification; "" = there is none."""
    healthy_after: float | None


class VerifyView(View):
    """Checks at the left, the table of the verification at the right; on narrow screens one of
    them."""

    TITLE: ClassVar[str] = "verify"
    HELP: ClassVar[str] = """
## Verify
**Fail-safe check:** a loss of air or power is struck on a *copy* of the ride as it stands now,
faults and all, and played on the screen. The ride itself is not touched: `h` goes back to it.
Beside it stands what the verification says of the same loss for the ride without a fault, struck
in the same state. Below them stand all zones, the losses by their numbers in the list:
`U/S` unsafe as this ride stands, safe in the verification.

**Verification:** every loss and every single fault, struck in every operating state of the zones.
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
    VerifyView #check-head, VerifyView #results-head { height: auto; }
    VerifyView #check-title { height: 1; text-style: bold; background: $panel; }
    VerifyView #losses { height: auto; max-height: 12; min-height: 2; background: transparent; }
    VerifyView #check-scroll, VerifyView #cell-scroll { height: 1fr; margin: 1 0 0 0; }
    VerifyView #cell-scroll { height: 40%; min-height: 5; max-height: 14; margin: 0; }
    VerifyView #table { height: 1fr; min-height: 3; }
    VerifyView #order { height: 1; color: $text-muted; background: $panel; }
    VerifyView #words { height: 1; display: none; }
    VerifyView #words.-open { display: block; }
    VerifyView #check-detail, VerifyView #cell { width: 1fr; height: auto; }
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
        trouble = first_in_trouble(link.plant, link.frame, link.past.events)
        self.zone = link.plant.zones[trouble or 0] if link.plant.zones else ""
        """Zone that is checked."""
        self.results: Verification | None = None
        self.source = ""
        """Where the results are from, a few words."""
        self.run: MatrixRun | None = None
        """The verification that was calculated here last, or is."""
        self.only_bad = False
        self.only_zone = ""
        self.words = ""
        self._found: dict[str, tuple[float, dict[str, Mapping[str, Any]]]] = {}
        """Zone -> (time of the ride, loss -> its outcome) of the latest check."""
        self._unsound: tuple[tuple[str, str], ...] = ()
        """What this circuit does wrong without any fault, as the latest check told it: what is
        seen, and its first cause."""
        self._asked: dict[str, float] = {}
        """Zone -> time of the ride when its check was asked for."""
        self._losses: dict[str, tuple[Loss, ...]] = {}
        self._shown: object = None
        self._page = "checks"
        self._part = ""
        """What part the verification under way calculates; "" = all."""
        self._played: CheckFrame | None = None
        """Zone and loss of the check that is played, and what is known of it."""
        self._followed = ("", "")
        """The check whose zone was chosen here last."""
        self._worst: dict[tuple[str, str, str], Verdict] = {}
        """(zone, loss, state struck in) -> worst verdict of the verification."""
        self._said_end = True
        """The end of the verification has been dealt with."""

    def compose(self) -> ComposeResult:
        with Vertical(id="check"):
            yield Static(id="check-head", markup=False)
            yield Static(id="check-title", markup=False)
            yield Rows(partial(_draw_loss), id="losses", empty="this ride has no zone to check")
            with VerticalScroll(id="check-scroll"):
                yield Static(id="check-detail", markup=False)
        with Vertical(id="results"):
            yield Static(id="results-head", markup=False)
            yield Input(
                placeholder="words, e.g. hose leak", compact=True, id="words", select_on_focus=False
            )
            yield MatrixTable(id="table")
            yield Static(id="order", markup=False)
            with VerticalScroll(id="cell-scroll"):
                yield Static(id="cell", markup=False)

    def on_mount(self) -> None:
        self._table.empty = "nothing calculated yet: v calculates, o opens a saved result"
        self.set_class(True, "-checks")
        self.every(POLL, self._look_at_run)
        self._head_of_results()
        self._say_cell(None)
        self.show()

    def on_unmount(self) -> None:
        if self.run is not None:
            self.run.close()

    def on_resize(self) -> None:
        self.set_class(self.size.width < BESIDE, "-pages")
        self._shown = None
        self._head_of_results()
        self.call_after_refresh(self.show)  # the list has its width by then

    @property
    def _table(self) -> MatrixTable:
        return self.query_one(MatrixTable)

    @property
    def _list(self) -> Rows:
        return self.query_one("#losses", Rows)

    # the check

    def show(self) -> None:
        frame = self.link.frame
        self._follow_check()
        state = self._state()
        shown = (
            self.zone, state, frame.note if frame.mode == "check" else "", self.size.width,
            self._list.size.width, self._list.cursor, id(self.results),
            len(self._found.get(self.zone, (0, ()))[1]),
            self._found.get(self.zone, (0.0,))[0], len(frame.faults),
            tuple(zone.state for zone in frame.zones), sum(map(len, self._found.values())),
            self._unsound,
        )  # fmt: skip
        if shown == self._shown:
            return
        self._shown = shown
        self._head_of_check(state)
        name_width = max(min(self._list.size.width - 1 - 2 * COLUMN, self._name_width), 8)
        names = text.short(" after a loss of", name_width)
        title = f" {names:{name_width}}{'this ride':{COLUMN}}verification"
        self.query_one("#check-title", Static).update(Content(title))
        self._list.fill(self._rows(state))
        self._say_loss()

    def _follow_check(self) -> None:
        """Shows the zone and the loss of the check that is played, once for each."""
        frame = self.link.frame
        self._played = frame.check
        if frame.check is None:
            self._followed = ("", "")
            return
        what = (frame.check.zone, frame.check.loss)
        if what != self._followed:
            self._followed, self.zone = what, frame.check.zone
            self._list.fill(self._rows(""))
            names = [loss.name for loss in self._losses_of(self.zone)]
            self._list.go(names.index(frame.check.loss) if frame.check.loss in names else 0)

    def _state(self) -> str:
        """What the logic of the zone believes; in a check, when it began."""
        if not self.zone:
            return ""
        found = self._found.get(self.zone)
        if found and self.link.frame.mode == "check":
            first = next(iter(found[1].values()), None)
            if first is not None:
                return str(first["struck_in"])
        return self.link.frame.zones[self.link.plant.zones.index(self.zone)].state

    def _head_of_check(self, state: str) -> None:
        frame = self.link.frame
        pages = "  m table" if self.has_class("-pages") else ""
        title = Content.assemble(
            ("Fail-safe check", "bold"), "  zone ", (self.zone or "–", "bold"),
            f" {state}  ", (f"z next  k play{pages}", "$text-muted"),
        )  # fmt: skip
        if frame.mode == "check":
            line = Content.assemble(
                ("CHECK on a copy of the ride", "$text-accent bold"), " (h: back)\n", frame.note
            )
        else:
            faults = len(frame.faults)
            with_faults = (
                "" if not faults else f", with its {faults} fault{'s' if faults > 1 else ''}"
            )
            line = Content.styled(
                f"On a copy of the ride as it stands{with_faults}.\nCalculated, not certified (i).",
                "$text-muted",
            )
        if self._unsound:
            line += Content.styled(
                "\n" + _unsound_line([seen for seen, _ in self._unsound]), STYLES["unsafe"]
            )
        self.query_one("#check-head", Static).update(title + "\n" + line)

    @property
    def _name_width(self) -> int:
        names = [_short(loss.name) for loss in self._losses_of(self.zone)]
        return max(map(len, names), default=0) + 5

    def _needed(self, zone: str) -> float | None:
        """Clamping force that a zone's requirement asks of each brake [N]; None: no force."""
        required = self.link.plant.circuit.zones.get(zone)
        return None if required is None else required.requirement.clamping_force

    def _losses_of(self, zone: str) -> tuple[Loss, ...]:
        if not self._losses:
            self._losses = losses_by_zone(self.link.plant.circuit)
        return self._losses.get(zone, ())

    def _rows(self, state: str) -> list[LossRow]:
        return [self._row(i, loss, state) for i, loss in enumerate(self._losses_of(self.zone), 1)]

    def _seen(self, zone: str, loss: str) -> str:
        """Verdict from the ride as it stood: the calculated one, else that of the check that is
        played, once there is one; "" = none."""
        entry = self._found.get(zone, (0.0, {}))[1].get(loss)
        if entry is not None:
            return str(entry["verdict"])
        return self._played.verdict if self._played and self._played[:2] == (zone, loss) else ""

    def _row(self, number: int, loss: Loss, state: str) -> LossRow:
        entry = self._found.get(self.zone, (0.0, {}))[1].get(loss.name)
        known = self._verified(loss.name, state if entry is None else str(entry["struck_in"]))
        return LossRow(
            number,
            _short(loss.name),
            self._name_width,
            self._seen(self.zone, loss.name),
            None if entry is None else entry["reached_after"],
            entry is not None and not entry["revealed"],
            "" if known is None else str(known["verdict"]),
            None if known is None else known["reached_after"],
        )

    def _verified(self, loss: str, state: str) -> Mapping[str, Any] | None:
        if self.results is None:
            return None
        outcome = verified(self.results, self.zone, loss, state)
        return None if outcome is None else outcome_data(loss, outcome)

    @property
    def _loss(self) -> Loss | None:
        known = self._losses_of(self.zone)
        return known[self._list.cursor] if self._list.cursor < len(known) else None

    def _say_loss(self) -> None:
        loss = self._loss
        if loss is None:
            self.query_one("#check-detail", Static).update("")
            return
        time, found = self._found.get(self.zone, (0.0, {}))
        entry = found.get(loss.name)
        state = self._state() if entry is None else str(entry["struck_in"])
        lines: list[Content] = []
        if self._unsound:
            lines.append(Content.styled(UNSOUND, STYLES["unsafe"]))
            for seen, cause in self._unsound:
                lines += [Content(seen), Content(f"  {cause}")]
            lines.append(Content(""))
        lines.append(Content.styled(loss.name, "bold"))
        played = self._played
        if entry is None and played is not None and played[:2] == (self.zone, loss.name):
            verdict = f"{played.verdict}: " if played.verdict else ""
            words = f"From the ride as it stood, played now: {verdict}{played.progress}"
            lines.append(Content(words))
            lines.append(Content("h leads back to the ride."))
        elif entry is None:
            lines.append(Content("From the ride as it stands: not calculated. k does it."))
        else:
            lines.append(Content(f"From the ride at {text.clock(time)}, zone {state}:"))
            lines += _outcome_lines(entry, self._needed(self.zone))
        known = self._verified(loss.name, state)
        lines.append(Content(""))
        if known is not None:
            lines.append(Content(f"Verification, no fault before, struck in {state}:"))
            lines += _outcome_lines(known, self._needed(self.zone))
        elif self.results is None:
            lines.append(Content("Verification: not calculated. v does it, o opens a saved one."))
        else:
            lines.append(Content(f"Verification: it has no case of this loss in {state}."))
        lines += [Content(""), Content.styled(f"What is done: {loss.about}", "$text-muted")]
        if len(self.link.plant.zones) > 1:
            lines += [Content(""), *self._all_zones()]
        self.query_one("#check-detail", Static).update(Content("\n").join(lines))

    def _all_zones(self) -> list[Content]:
        """The verdicts of every zone, from this ride and from the verification, loss by loss."""
        losses = [_kind(loss.name, self.zone) for loss in self._losses_of(self.zone)]
        wide = min(max(len(name) for name in ("zones", *self.link.plant.zones)), 14)
        numbers = "".join(f"{i:<4}" for i in range(1, len(losses) + 1))
        lines = [
            Content("All zones, this ride/verified, by number:"),
            Content.styled(f"  {'zones':{wide}} {'':8} {numbers}", "bold"),
        ]
        for zone, now in zip(self.link.plant.zones, self.link.frame.zones, strict=True):
            found = self._found.get(zone, (0.0, {}))[1]
            names = {_kind(loss.name, zone): loss.name for loss in self._losses_of(zone)}
            mark = "▸" if zone == self.zone else " "
            parts = [Content(f"{mark} {text.short(zone, wide):{wide}} {now.state:8} ")]
            for kind in losses:
                entry = found.get(names.get(kind, ""))
                state = now.state if entry is None else str(entry["struck_in"])
                here = self._seen(zone, names.get(kind, ""))
                parts += [
                    _letter(here), Content("/"),
                    _letter(self._worst.get((zone, names.get(kind, ""), state), "")), Content(" "),
                ]  # fmt: skip
            lines.append(Content("").join(parts))
        return lines

    def look_at(self, component: str) -> None:
        """Checks the zone that a component serves, or the zone of that name."""
        circuit = self.link.plant.circuit
        zone = component
        if component in circuit.components:
            zone = circuit.zone_of(component) or ""
        if zone in circuit.zones:
            self.zone = zone
            if self.is_mounted:
                self.show()

    def answered(self, request: Request, answer: Answer) -> bool:
        """Takes the outcomes of a check, whoever asked for it."""
        if not isinstance(request, Check) or not isinstance(answer.data, Mapping):
            return False
        zone = str(answer.data["zone"])
        if zone not in self.link.plant.zones:
            return False
        time = self._asked.get(zone, self.link.frame.time)
        self._found[zone] = (time, {str(e["loss"]): e for e in answer.data["outcomes"]})
        self._unsound = tuple((str(seen), str(cause)) for seen, cause in answer.data["unsound"])
        visible = self.is_on_screen and self.size.width > 0
        if visible:
            self.zone = zone
            self.show()
        return visible

    def action_check(self) -> None:
        loss = self._loss
        if loss is None:
            return
        if self.link.frame.mode == "check":
            self._asked.setdefault(self.zone, self.link.frame.time)
        else:
            self._asked[self.zone] = self.link.frame.time
        self.ask(Check(self.zone, loss.name))

    @on(Rows.Moved, "#losses")
    def _moved_in_list(self) -> None:
        self._say_loss()

    @on(Rows.Chosen, "#losses")
    def _chosen_in_list(self) -> None:
        self.action_check()

    def action_zone(self, step: int) -> None:
        zones = self.link.plant.zones
        if self._table.has_focus:
            order = ("", *zones)
            at = order.index(self.only_zone) if self.only_zone in order else 0
            self.only_zone = order[(at + step) % len(order)]
            self._narrow()
        elif zones:
            self.zone = zones[(zones.index(self.zone) + step) % len(zones)]
            self.show()

    def action_page(self) -> None:
        on_table = self._page == "table" if self.has_class("-pages") else self._table.has_focus
        self._open_page("checks" if on_table else "table")

    def _open_page(self, page: str) -> None:
        self._page = page
        self.set_class(page == "table", "-table")
        self.set_class(page == "checks", "-checks")
        (self._table if page == "table" else self._list).focus()

    def on_descendant_focus(self) -> None:
        # tab has gone round to the other pane
        if self._table.has_focus:
            self._page = "table"
        elif self._list.has_focus:
            self._page = "checks"

    # the verification

    def action_calculate(self) -> None:
        if self.run is not None and self.run.running:
            self.app.notify("A verification is under way already; c breaks it off.", markup=False)
            return
        zone = self.zone
        choices = [
            Choice("all", ((), True), "every loss and every single fault, all zones"),
            *(
                (Choice(f"zone {zone}", ((zone,), True), "its faults and what it shares"),)
                if zone else ()
            ),
            Choice("losses", ((), False), "only the losses of air and power"),
        ]  # fmt: skip
        self.app.push_screen(
            PickOne("Calculate the verification (beside the ride)", choices), self._start
        )

    def _start(self, chosen: tuple[tuple[str, ...], bool] | None) -> None:
        if chosen is None:
            return
        if self.run is not None:
            self.run.close()
        plant = self.link.plant
        zones, faults = chosen
        try:
            # the text that runs here, whatever has become of its file
            self.run = MatrixRun(plant.circuit.path, plant.document, zones, faults)
        except OSError as error:
            self.run = None
            self.app.notify(
                f"The verification could not be started: {error.strerror}.",
                severity="warning", markup=False,
            )  # fmt: skip
        self._said_end = False
        self._part = (
            ""
            if faults and not zones
            else (f"only what concerns {', '.join(zones)}" if zones else "only the losses")
        )
        self._head_of_results()

    def _look_at_run(self) -> None:
        run = self.run
        if run is None or self._said_end:
            return
        self._head_of_results()
        if run.running:
            return
        self._said_end = True
        if run.trouble:
            self.app.notify(run.trouble, severity="warning", timeout=10, markup=False)
        elif run.result is not None:
            part = f", {self._part}" if self._part else ""
            self._read(run.result, f"calculated here{part}")

    def _read(self, path: Path, source: str) -> None:
        """Reads a result aside, since a large one takes a second."""

        def read() -> None:
            try:
                found = read_verification(path)
            except InputError as error:
                self.from_thread(self._warn, str(error))
            else:
                self.from_thread(self.take, found, source)

        self.run_worker(read, thread=True, exclusive=True, group="read")

    def _warn(self, words: str) -> None:
        self.app.notify(words, severity="warning", timeout=10, markup=False)

    def take(self, results: Verification, source: str) -> None:
        """Shows a result."""
        self.results, self.source = results, source
        self._worst = {}
        for case in results.cases:
            for outcome in case.outcomes if case.kind == "loss" else ():
                key = (outcome.zone, case.event, outcome.struck_in)
                worst: Verdict = self._worst.get(key, "safe")
                self._worst[key] = max(worst, outcome.verdict, key=VERDICTS.index)
        self._table.empty = "no row is left; Escape shows all"
        self._table.load(matrix(results))
        self._narrow()
        self._shown = None
        self.show()

    def action_cancel(self) -> None:
        if self.run is not None and self.run.running:
            self.run.cancel()
        else:
            self.app.notify("No verification is under way.", markup=False)

    def action_open(self) -> None:
        def named(name: str | None) -> None:
            if name:
                self._read(Path(name), Path(name).name)

        about = "A result that pneumo verify --json or this view has written."
        self.app.push_screen(
            FileName("Open a result", about, "verification.json", new=False), named
        )

    def action_save(self) -> None:
        run = self.run
        if run is None or run.result is None:
            self.app.notify("There is nothing to save: v calculates a verification.", markup=False)
            return

        def named(name: str | None) -> None:
            if not name:
                return
            try:
                run.save(name)
            except InputError as error:
                self.app.notify(str(error), severity="warning", markup=False)
            else:
                self.app.notify(f"Saved as {name}.", markup=False)

        about = "Also pneumo verify --json writes such a file; o opens it again."
        self.app.push_screen(
            FileName("Save the result", about, "verification.json", new=True), named
        )

    def _head_of_results(self) -> None:
        title = Content.styled("Verification", "bold")
        if self.has_class("-pages"):
            title += Content.styled("  m check", "$text-muted")
        lines = [title + "  " + self._summary()]
        if self.run is not None and self.run.running:
            lines.append(_progress(self.run))
        elif self.results is not None and self.results.unsound:
            said = _unsound_line([unsound_words(each) for each in self.results.unsound])
            lines.append(Content.styled(said, STYLES["unsafe"]))
        elif self.results is not None and self.results.untested:
            number = len(self.results.untested)
            said = f"! {number} state{'s' if number > 1 else ''} never reached: nothing tried (i)"
            lines.append(Content.styled(said, "$text-warning"))
        filters = [
            *(("x: only what is not safe",) if self.only_bad else ()),
            *((f"zone {self.only_zone}",) if self.only_zone else ()),
            *((f"words: {self.words}",) if self.words else ()),
        ]
        if filters:
            lines.append(Content(f"Shown: {'; '.join(filters)}. Escape: all"))
        self.query_one("#results-head", Static).update(Content("\n").join(lines))

    def _summary(self) -> Content:
        results = self.results
        if results is None:
            return Content.styled("v calculate  o open  i what it does not say", "$text-muted")
        count = {v: sum(c.worst == v for c in results.cases) for v in VERDICTS}
        head = Content(f"{len(results.cases)} cases: {count['safe']} safe, ")
        late = Content.styled(f"{count['late']} late", STYLES["late"] if count["late"] else "")
        bad = Content.styled(
            f"{count['unsafe']} unsafe", STYLES["unsafe"] if count["unsafe"] else ""
        )
        missing = Content("")
        if not results.finished:
            said = f"{count['not calculated']} not calculated"
            missing = Content.styled(said, STYLES["not calculated"]) + ", "
        return Content.assemble(
            head, late, ", ", missing, bad, (f"  {self.source}; not certified (i)", "$text-muted")
        )

    # rows and cells

    def _narrow(self) -> None:
        self._table.narrow(bad=self.only_bad, zone=self.only_zone, words=self.words.lower().split())
        self._head_of_results()

    def action_only_bad(self) -> None:
        self.only_bad = not self.only_bad
        self._narrow()

    def action_words(self) -> None:
        if self.has_class("-pages"):
            self._open_page("table")
        line = self.query_one("#words", Input)
        line.set_class(True, "-open")
        line.focus()

    @on(Input.Changed, "#words")
    def _typed(self, event: Input.Changed) -> None:
        event.stop()
        self.words = event.value.strip()
        self._narrow()

    @on(Input.Submitted, "#words")
    def _typed_all(self, event: Input.Submitted) -> None:
        event.stop()
        event.input.set_class(False, "-open")
        self._table.focus()

    def action_all(self) -> None:
        line = self.query_one("#words", Input)
        was_typing = line.has_focus
        with self.prevent(Input.Changed):
            line.value = ""
        line.set_class(False, "-open")
        self.words, self.only_zone, self.only_bad = "", "", False
        self._narrow()
        if was_typing:
            self._table.focus()

    @on(MatrixTable.Moved)
    def _moved_in_table(self, event: MatrixTable.Moved) -> None:
        self._say_cell(self._table.place)

    def _say_cell(self, place: Place | None) -> None:
        order, cell = self.query_one("#order", Static), self.query_one("#cell", Static)
        self.query_one("#cell-scroll").scroll_home(animate=False)
        if place is None or self._table.matrix is None:
            order.update(
                Content("S safe, L late, U unsafe, N not known; small: no alarm; · not run")
            )
            cell.update("")
            return
        states = [
            f"[{state}]" if state == place.state else state
            for state in self._table.matrix.states[place.zone]
        ]
        legend = "S L U N, small: no alarm, · not run"
        order.update(Content(f"{place.zone}: {' '.join(states)}   {legend}"))
        cell.update(Content("\n").join(_cell_lines(place)))

    @on(MatrixTable.Chosen)
    def _chosen_in_table(self, event: MatrixTable.Chosen) -> None:
        assert event.place is not None
        self.open_case(event.place)

    def open_case(self, place: Place) -> None:
        """Asks whether the ride is to be started anew with a case, and does it."""
        if place.cell is None or self.results is None:
            self.app.notify("This was not run: there is nothing to open.", markup=False)
            return
        case, plant = place.cell.case, self.link.plant
        said = ""
        if self.results.ride != plant.circuit.ride.name:
            said = (
                f"The result is of the ride {self.results.ride}; here runs "
                f"{plant.circuit.ride.name}."
            )
        elif not case.events:
            said = "The result was saved without what is done in its cases; calculate it again (v)."
        else:
            said = next((p for _, s in case.events if (p := problem(s, plant))), "")
        if said:
            self.app.notify(said, severity="warning", timeout=10, markup=False)
            return
        lines = [
            f"{case.name}, onset at {text.clock(case.struck_at)}.",
            "The ride starts anew and stands still at the onset; the run so far ends here.",
            "",
            *(f"{text.clock(at)}  {sentence}" for at, sentence in case.events),
        ]
        request = OpenCase(case.name, case.events, case.struck_at)

        def decided(go: bool | None) -> None:
            if go:
                self.ask(request, sure=True)

        self.app.push_screen(Confirm("Open this case as the ride", lines, (), "Open it"), decided)

    def action_limits(self) -> None:
        self.app.push_screen(WhatItDoesNotSay(self.results, self._unsound))


def _unsound_line(found: Sequence[str]) -> str:
    """The first of what a circuit does wrong without any fault, in one line."""
    more = len(found) - 1
    return f"! WITHOUT ANY FAULT: {found[0]}{f', and {more} more' if more else ''} (i)"


def _draw_loss(row: object, width: int) -> Sequence[Line]:
    loss = cast(LossRow, row)
    name_width = max(min(width - 2 * COLUMN, loss.wide), 8)
    return [
        (
            Piece(f"{loss.number} ", "muted"),
            Piece(text.short(loss.name, name_width - 2).ljust(name_width - 2)),
            *_verdict_piece(loss.here, loss.here_after, loss.quiet),
            *_verdict_piece(loss.healthy, loss.healthy_after, False),
        )
    ]


def _verdict_piece(verdict: str, after: float | None, quiet: bool) -> Line:
    if not verdict:
        return (Piece(text.UNSEEN.ljust(COLUMN), "muted"),)
    words = f"{MARKS[verdict]} {WORDS[verdict]}"
    if after is not None and verdict != "unsafe":
        words += f" {after:.2f} s"
    words = words.lower() if quiet and verdict == "safe" else words
    return Piece(words, LOOKS[verdict]), Piece(" " * max(COLUMN - len(words), 0))


def _outcome_lines(entry: Mapping[str, Any], needed: float | None = None) -> list[Content]:
    """A verdict with its numbers, line by line; `entry`: see `outcome_data`; `needed`: force [N]
    that the zone has to clamp with."""
    verdict = str(entry["verdict"])
    after, margin = entry["reached_after"], entry["margin"]
    if verdict == "not calculated":
        return [Content.styled("? NOT CALCULATED", STYLES[verdict]), Content(f"{entry['why']}")]
    head = f"{MARKS[verdict]} {WORDS[verdict]}{'' if entry['decided'] else ' (not decided)'}"
    time = "never" if after is None else f"{after:.2f} s"
    left = "" if margin is None else f", margin {margin:+.2f} s"
    lines = [
        Content.styled(head, STYLES[verdict]) + f"  {time} of {entry['limit']:g} s{left}",
        Content(f"{entry['why']}"),
    ]
    if entry["lost_after"] is not None:
        lines.append(Content(f"lost again after {entry['lost_after']:.2f} s"))
    if entry["least_force"] is not None:
        of = f" of {text.force(needed)}" if needed else ""
        lines.append(Content(f"least force {text.force(entry['least_force'])}{of}"))
    alarm = f"alarm: {entry['alarm']}" if entry["revealed"] else "no alarm told of it"
    held = "" if after is None else f"held {entry['held']:.1f} s; "
    lines.append(Content(f"{held}{alarm}"))
    return lines


def _cell_lines(place: Place) -> list[Content]:
    """All about one cell, line by line."""
    head = Content.styled(f"{event_name(place.row)}, {place.zone} {place.state}", "bold")
    if place.cell is None:
        return [head, Content("Not run: nothing struck while this zone was in this state.")]
    case, outcome = place.cell.case, place.cell.outcome
    lines = [head, *_outcome_lines(outcome_data(case.name, outcome))]
    if place.cell.unrevealed:
        lines.append(Content.styled("! nothing revealed it", "$text-warning"))
    if outcome.false_belief:
        said = "! the logic believed the zone closed while its jaws were not"
        lines.append(Content.styled(said, "$text-warning"))
    if case.effect:
        lines.append(Content(f"Effect: {case.effect}"))
    if case.standard:
        lines.append(Content(f"Fault to consider: {case.standard} ({SOURCE})"))
    if len(case.stands_for) > 1:
        lines.append(Content(f"Stands for {', '.join(case.stands_for)}, alike by symmetry."))
    lines.append(Content.styled(f"Enter opens it. Replay: {case.replay}", "$text-muted"))
    return lines


def _progress(run: MatrixRun) -> Content:
    if not run.total:
        return Content(f"Calculating beside the ride: {run.remark}")
    share = run.done / run.total
    return Content.assemble(
        (text.bar(share, 20), "$text-accent"),
        f" {run.done} of {run.total} ({share:.0%})  c breaks it off",
    )


def _kind(loss: str, zone: str) -> str:
    """A loss without the name of the zone whose feed it cuts: alike for all zones."""
    return loss.replace(f" {zone} ", " … ")


def _letter(verdict: str) -> Content:
    """A verdict in one character; "" = there is none."""
    return Content.styled(verdict[0].upper(), STYLES[verdict]) if verdict else Content(text.UNSEEN)


def _short(name: str) -> str:
    return name.removeprefix("loss of ")
