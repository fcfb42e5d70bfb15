"""The verification: calculated beside the ride or opened from a file, its table and one cell."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content
from textual.message import Message
from textual.widgets import Static

from pneumo.errors import InputError
from pneumo.live.link import Link
from pneumo.live.matrix_run import MatrixRun
from pneumo.live.request import OpenCase
from pneumo.report.matrix import matrix
from pneumo.report.saved import read_verification
from pneumo.report.unsound import unsound_words
from pneumo.verification.verdict import VERDICTS, Verification
from pneumo.verification.wording import case_words
from tui import text
from tui.late import LateWidget
from tui.messages import Ask
from tui.screens.confirm import Confirm
from tui.screens.pick import PickOne
from tui.screens.result import FileName
from tui.sentences import problem
from tui.widgets.choice import Choice
from tui.widgets.filter_line import FilterLine
from tui.widgets.matrix import MatrixTable, Place
from tui.widgets.verdicts import STYLES, cell_lines, unsound_line

POLL = 0.25
"""A verification under way is looked at this often [s of wall time]."""


class Results(LateWidget):
    """The result that is shown, the run that calculates another, and which rows are left."""

    DEFAULT_CSS: ClassVar[str] = """
    Results { layout: vertical; height: 1fr; }
    Results #results-head { height: auto; }
    Results #cell-scroll { height: 40%; min-height: 5; max-height: 14; margin: 0; }
    Results #table { height: 1fr; min-height: 3; }
    Results #order { height: 1; color: $text-muted; background: $panel; }
    Results #cell { width: 1fr; height: auto; }
    """

    class Taken(Message):
        """Another result is shown."""

        def __init__(self, results: Verification) -> None:
            self.results = results
            super().__init__()

    def __init__(self, link: Link) -> None:
        super().__init__(id="results")
        self.link = link
        self.results: Verification | None = None
        self.source = ""
        """Where the results are from, a few words."""
        self.run: MatrixRun | None = None
        """The verification that was calculated here last, or is."""
        self.only_bad = False
        self.only_zone = ""
        self._part = ""
        """What part the verification under way calculates; "" = all."""
        self._said_end = True
        """The end of the verification has been dealt with."""
        self._pages = False
        """The checks are a page of their own."""
        self.table = MatrixTable(id="table")
        self._line = FilterLine(
            self._narrow, list=self.table, id="words", placeholder="words, e.g. hose leak",
            stays=False,
        )  # fmt: skip

    def compose(self) -> ComposeResult:
        yield Static(id="results-head", markup=False)
        yield self._line
        yield self.table
        yield Static(id="order", markup=False)
        with VerticalScroll(id="cell-scroll"):
            yield Static(id="cell", markup=False)

    def on_mount(self) -> None:
        self.table.empty = "nothing calculated yet: v calculates, o opens a saved result"
        self.every(POLL, self._look_at_run)
        self._show_head()
        self._say_cell(None)

    def on_unmount(self) -> None:
        if self.run is not None:
            self.run.close()

    def _warn(self, words: str, seconds: float | None = 10) -> None:
        self.app.notify(words, severity="warning", timeout=seconds, markup=False)

    # calculating

    def calculate(self, zone: str) -> None:
        if self.run is not None and self.run.running:
            self.app.notify("A verification is under way already; c breaks it off.", markup=False)
            return
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
            self._warn(f"The verification could not be started: {error.strerror}.", None)
        self._said_end = False
        self._part = (
            ""
            if faults and not zones
            else (f"only what concerns {', '.join(zones)}" if zones else "only the losses")
        )
        self._show_head()

    def _look_at_run(self) -> None:
        run = self.run
        if run is None or self._said_end:
            return
        self._show_head()
        if run.running:
            return
        self._said_end = True
        if run.trouble:
            self._warn(run.trouble)
        elif run.result is not None:
            part = f", {self._part}" if self._part else ""
            self._read(run.result, f"calculated here{part}")

    def _read(self, path: Path, source: str) -> None:
        """Reads a result aside, since a large one takes a second."""

        def read() -> None:
            try:
                found = read_verification(path, partial(self.from_thread, self._remark))
            except InputError as error:
                self.from_thread(self._warn, str(error))
            else:
                self.from_thread(self.take, found, source)

        self.run_worker(read, thread=True, exclusive=True, group="read")

    def _remark(self, said: str) -> None:
        self.app.notify(said, markup=False)

    # files

    def take(self, results: Verification, source: str) -> None:
        """Shows a result."""
        self.results, self.source = results, source
        self.table.empty = "no row is left; Escape shows all"
        self.table.load(matrix(results))
        self._narrow()
        self.post_message(self.Taken(results))

    def cancel(self) -> None:
        if self.run is not None and self.run.running:
            self.run.cancel()
        else:
            self.app.notify("No verification is under way.", markup=False)

    def open(self) -> None:
        def named(name: str | None) -> None:
            if name:
                self._read(Path(name), Path(name).name)

        about = "A result that pneumo verify --json or this view has written."
        self.app.push_screen(
            FileName("Open a result", about, "verification.json", new=False), named
        )

    def save(self) -> None:
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
                self._warn(str(error), None)
            else:
                self.app.notify(f"Saved as {name}.", markup=False)

        about = "Also pneumo verify --json writes such a file; o opens it again."
        self.app.push_screen(
            FileName("Save the result", about, "verification.json", new=True), named
        )

    # what it says

    def turn(self, pages: bool) -> None:
        """`pages`: the checks are a page of their own."""
        self._pages = pages
        self._show_head()

    def _show_head(self) -> None:
        title = Content.styled("Verification", "bold")
        if self._pages:
            title += Content.styled("  m check", "$text-muted")
        lines = [title + "  " + self._summary()]
        if self.run is not None and self.run.running:
            lines.append(_progress(self.run))
        elif self.results is not None and self.results.unsound:
            said = unsound_line([unsound_words(each) for each in self.results.unsound])
            lines.append(Content.styled(said, STYLES["unsafe"]))
        elif self.results is not None and self.results.untested:
            number = len(self.results.untested)
            said = f"! {number} state{'s' if number > 1 else ''} never reached: nothing tried (i)"
            lines.append(Content.styled(said, "$text-warning"))
        filters = [
            *(("x: only what is not safe",) if self.only_bad else ()),
            *((f"zone {self.only_zone}",) if self.only_zone else ()),
            *((f"words: {self._line.words}",) if self._line.words else ()),
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
        self.table.narrow(
            bad=self.only_bad, zone=self.only_zone, words=self._line.words.lower().split()
        )
        self._show_head()

    def toggle_bad(self) -> None:
        self.only_bad = not self.only_bad
        self._narrow()

    def type_words(self) -> None:
        self._line.open()

    def show_all(self) -> None:
        self.only_zone, self.only_bad = "", False
        self._line.empty()
        self._narrow()

    def next_zone(self, step: int) -> None:
        """Only the columns of the next zone; after the last, all."""
        order = ("", *self.link.plant.zones)
        at = order.index(self.only_zone) if self.only_zone in order else 0
        self.only_zone = order[(at + step) % len(order)]
        self._narrow()

    @on(MatrixTable.Moved)
    def _moved_in_table(self, event: MatrixTable.Moved) -> None:
        self._say_cell(self.table.place)

    def _say_cell(self, place: Place | None) -> None:
        order, cell = self.query_one("#order", Static), self.query_one("#cell", Static)
        self.query_one("#cell-scroll").scroll_home(animate=False)
        if place is None or self.table.matrix is None:
            order.update(
                Content("S safe, L late, U unsafe, N not known; small: no alarm; · not run")
            )
            cell.update("")
            return
        states = [
            f"[{state}]" if state == place.state else state
            for state in self.table.matrix.states[place.zone]
        ]
        legend = "S L U N, small: no alarm, · not run"
        order.update(Content(f"{place.zone}: {' '.join(states)}   {legend}"))
        cell.update(Content("\n").join(cell_lines(place)))

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
            self._warn(said)
            return
        lines = [
            f"{case_words(case)}, onset at {text.clock(case.injected_at)}.",
            "The ride starts anew and stands still at the onset; the run so far ends here.",
            "",
            *(f"{text.clock(at)}  {sentence}" for at, sentence in case.events),
        ]
        request = OpenCase(case_words(case), case.events, case.injected_at)

        def decided(go: bool | None) -> None:
            if go:
                self.post_message(Ask(request, sure=True))

        self.app.push_screen(Confirm("Open this case as the ride", lines, (), "Open it"), decided)


def _progress(run: MatrixRun) -> Content:
    if not run.total:
        return Content(f"Calculating beside the ride: {run.remark}")
    share = run.done / run.total
    return Content.assemble(
        (text.bar(share, 20), "$text-accent"),
        f" {run.done} of {run.total} ({share:.0%})  c breaks it off",
    )
