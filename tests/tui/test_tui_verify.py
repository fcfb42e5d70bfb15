"""Tests of the verify view and its table, with verdicts by hand."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from textual.app import App, ComposeResult
from textual.pilot import Pilot
from textual.widgets import Input, Static
from tui_toys import FakeLink, judged, plant_of, resting_frame, until

from pneumo.circuit.action import FaultSpec
from pneumo.live.check import outcome_data
from pneumo.live.frame import CheckFrame, FaultFrame
from pneumo.live.link import Link
from pneumo.live.request import Answer, Check, Do, OpenCase, Request
from pneumo.report.json_report import json_text, verification_document
from pneumo.report.matrix import matrix
from pneumo.report.saved import read_verification
from pneumo.report.unsound import unsound_words, why_words
from pneumo.verification.case import Condition, Injection, Loss
from pneumo.verification.verdict import UNSOUND, Basis, Case, Cause, Outcome, Unsound, Verification
from pneumo.verification.wording import case_words
from tui.messages import Ask
from tui.screens.confirm import Confirm
from tui.screens.pick import PickOne
from tui.screens.result import FileName, WhatItDoesNotSay
from tui.views.verify import VerifyView
from tui.widgets.matrix import MatrixTable
from tui.widgets.rows import Rows, plain
from tui.widgets.verdicts import outcome_lines

LOSS, VENTED = Loss("power"), Loss("header vented")


class Bench(App[None]):
    """The view alone; notes what it asks for and what it tells."""

    CSS_PATH = Path(__file__).parents[2] / "tui" / "tui.tcss"

    def __init__(self, link: Link) -> None:
        super().__init__()
        self.link = link
        self.asked: list[Request] = []
        self.told: list[str] = []

    def compose(self) -> ComposeResult:
        yield VerifyView(self.link)

    def on_ask(self, message: Ask) -> None:
        self.asked.append(message.request)

    def notify(self, message: str, **options: Any) -> None:  # type: ignore[override]
        self.told.append(message)
        super().notify(message, **options)

    @property
    def view(self) -> VerifyView:
        return self.query_one(VerifyView)

    @property
    def table(self) -> MatrixTable:
        return self.query_one(MatrixTable)

    def shown(self, name: str) -> str:
        """The text of a part of the view."""
        return str(self.query_one(name, Static).content)


# verdicts by hand


def outcome(zone: str, state: str, **changes: Any) -> Outcome:
    values: dict[str, Any] = {
        "zone": zone, "injected_during": state, "safe_state": "open", "demanded_at": 22.0,
        "verdict": "safe", "decided": True, "detected": True, "alarm": "low supply",
        "reached_after": 0.26, "limit": 1.5, "lost_after": None, "held": 60.0,
        "least_force": None, "indicated": "open", "false_indication": False,
        "basis": Basis(4, 4, None, 60.0, 62.0, "run"),
    }  # fmt: skip
    return Outcome(**(values | changes))


UNSAFE: dict[str, Any] = {
    "verdict": "unsafe", "reached_after": None, "held": 0.0,
    "basis": Basis(3, 4, None, 60.0, 62.0, "run"),
}  # fmt: skip
LATE: dict[str, Any] = {"verdict": "late", "reached_after": 2.0}
QUIET: dict[str, Any] = {"detected": False, "alarm": ""}


def case(what: Loss | str, state: Condition, *outcomes: Outcome, **changes: Any) -> Case:
    """A loss, or "COMPONENT MODE"."""
    lost = isinstance(what, Loss)
    component, _, mode = ("", "", "") if lost else what.partition(" ")
    done = "power off" if lost else f"fault {what}"
    values: dict[str, Any] = {
        "injection": Injection(what) if lost else Injection(faults=(FaultSpec(component, mode),)),
        "effect": "" if lost else "The spool stays where it is.",
        "standard": "" if lost else "B.3-2 does not switch",
        "injected_during": state, "state": "", "injected_at": 20.0, "demand_at": 22.0,
        "limit_from": 22.0,
        "represents": () if lost else (component,), "outcomes": outcomes,
        "replay": f'pneumo run sand_martin --do "at 20 s: {done}"',
        "events": ((0.0, f"{'close' if state == 'closed' else 'open'} all"), (20.0, done),
                   (22.0, "ride stop")),
    }  # fmt: skip
    return Case(**(values | changes))


def results(**changes: Any) -> Verification:
    """A few cases of two zones of the demo ride."""
    cases = (
        case(LOSS, "open", outcome("trim", "open"), outcome("block", "open", **LATE)),
        case(LOSS, "closed", outcome("trim", "closed"), outcome("block", "closed")),
        case("trim_valve_a stuck-actuated", "closed", outcome("trim", "closed", **UNSAFE),
             outcome("block", "closed")),
        case("trim_valve_a stuck-actuated", "open", outcome("trim", "open", **UNSAFE, **QUIET),
             outcome("block", "open", **QUIET)),
        case("block_hose_1 kinked", "open", outcome("trim", "open", **QUIET),
             outcome("block", "open", **QUIET),
             represents=("block_hose_1", "block_hose_2")),
    )  # fmt: skip
    made = Verification(
        "sand_martin", "Sand Martin", "Millbeck Pier", cases, (), (),
        ("The plant is at rest.",), "0.1.0",
    )  # fmt: skip
    return replace(made, **changes)


def answer_to(
    zone: str, losses: dict[Loss, dict[str, Any]], unsound: Iterable[tuple[str, str]] = ()
) -> Answer:
    """The answer of a check."""
    entries = []
    for name, changes in losses.items():
        entry = outcome(zone, "closed", **changes)
        entries.append(outcome_data(name, entry))
    data = {"zone": zone, "loss": LOSS, "unsound": list(unsound), "outcomes": entries}
    return Answer(1, True, "", data=data)


@pytest.fixture
def bench(trainer: FakeLink) -> Bench:
    return Bench(trainer)


async def with_results(pilot: Pilot[None], found: Verification | None = None) -> None:
    app = pilot.app
    assert isinstance(app, Bench)
    app.view.results.take(results() if found is None else found, "by hand")
    await pilot.pause()


# the check


async def test_k_plays_the_chosen_loss_on_the_chosen_zone(bench: Bench) -> None:
    async with bench.run_test(size=(80, 20)) as pilot:
        bench.query_one(Rows).focus()
        await pilot.press("k")
        first = bench.view.checks.losses_of("trim")[0]
        assert bench.asked == [Check("trim", first)]
        await pilot.press("down", "down", "enter")
        assert bench.asked[-1] == Check("trim", Loss("feed cut", "trim"))
        await pilot.press("z", "k")
        assert bench.asked[-1] == Check("block", Loss("feed cut", "block"))
        await pilot.press("Z", "Z", "k")
        last = bench.link.plant.zones[-1]
        assert bench.asked[-1] == Check(last, Loss("feed cut", last))
        assert "What is done: fault" in bench.shown("#check-detail")


async def test_a_component_that_is_picked_elsewhere_picks_its_zone(bench: Bench) -> None:
    async with bench.run_test(size=(80, 20)):
        for component, zone in (
            ("block_brake_2", "block"), ("station_valve_a", "station"), ("receiver", "station"),
            ("trim", "trim"), ("nothing", "trim"),
        ):  # fmt: skip
            bench.view.look_at(component)
            assert bench.view.checks.zone == zone
        assert "zone trim" in bench.shown("#check-head")


async def test_the_outcomes_stand_beside_what_the_verification_says(bench: Bench) -> None:
    async with bench.run_test(size=(120, 36)) as pilot:
        view = bench.view
        assert "not calculated" in bench.shown("#check-detail")
        await with_results(pilot)
        answer = answer_to("trim", {LOSS: UNSAFE | QUIET, Loss("air and power"): LATE})
        assert view.answered(Check("trim", LOSS), answer)
        rows = bench.query_one(Rows)
        place = view.checks.losses_of("trim").index(LOSS)
        (line,) = rows._draw(rows.rows[place], 60)
        words = plain(line)
        assert "x UNSAFE" in words and "· safe 0.26 s" in words
        assert words.index("UNSAFE") < words.index("safe 0.26")
        (other,) = rows._draw(rows.rows[place + 1], 60)
        assert "! LATE 2.00 s" in plain(other) and plain(other).rstrip().endswith("–")
        rows.go(place)
        view._say_loss()
        said = bench.shown("#check-detail")
        assert "never of 1.5 s" in said and "not reached (limit 1.5 s, watched for 11.5 s)" in said
        assert "undetected: no alarm" in said and "alarm: low supply" in said
        assert "margin +1.24 s" in said and "injected in closed" in said


WRONG = ("trim: unsafe: seen at 23.500 s", "First cause: trim_valve_a (line 19): look there.")
"""What is seen of a circuit that is miswired, and its first cause; made by
`pneumo.report.unsound`."""


async def test_what_is_wrong_without_any_fault_comes_before_the_verdicts_of_a_check(
    bench: Bench,
) -> None:
    async with bench.run_test(size=(120, 36)) as pilot:
        view = bench.view
        assert view.answered(Check("trim", LOSS), answer_to("trim", {LOSS: {}}))
        assert "WITHOUT ANY FAULT" not in bench.shown("#check-head") + bench.shown("#check-detail")
        more = ("ride: continuous loss of air", "No single part stands out as the first cause.")
        answer = answer_to("trim", {LOSS: {}}, [WRONG, more])
        assert view.answered(Check("trim", LOSS), answer)
        head = bench.shown("#check-head")
        assert head.endswith(f"! WITHOUT ANY FAULT: {WRONG[0]}, and 1 more (i)")
        names = view.checks.losses_of("trim")
        for zone in ("trim", "block"):  # it is the circuit that is wrong, whatever zone is shown
            view.checks.zone = zone
            view.show()
            bench.query_one(Rows).go(names.index(LOSS))
            view._say_loss()
            said = bench.shown("#check-detail")
            places = [said.index(words) for words in (UNSOUND, *WRONG, *more, "loss of power")]
            assert places == sorted(places), said
        await pilot.press("i")
        dialog = bench.screen
        assert isinstance(dialog, WhatItDoesNotSay)
        assert dialog.parts[UNSOUND] == (". ".join(WRONG), ". ".join(more))


async def test_what_a_check_and_the_verification_both_found_wrong_is_told_once() -> None:
    cause = Cause("trim_valve_a", 19, "trapped", "2", "1", 5e5, 5e5, True, 0.0, False, "")
    found = Unsound("trim", "late", "", 23.5, "open", cause)
    told = (unsound_words(found), why_words(found))
    both = WhatItDoesNotSay(results(unsound=(found,)), [told])
    assert both.parts[UNSOUND] == (". ".join(told),)
    assert WhatItDoesNotSay(results(unsound=(found,))).parts[UNSOUND] == both.parts[UNSOUND]
    assert UNSOUND not in WhatItDoesNotSay(results()).parts


async def test_an_answer_of_something_else_is_left_to_the_app(bench: Bench) -> None:
    async with bench.run_test(size=(80, 20)):
        view = bench.view
        assert not view.answered(Do("close trim"), Answer(1, True, "done"))
        assert not view.answered(Check("trim"), Answer(1, False, "There is no such loss."))
        assert not view.answered(Check("x"), answer_to("x", {}))


def play(link: FakeLink, zone: str, loss: Loss, progress: str, verdict: str = "") -> None:
    """Plays a check."""
    check = CheckFrame(zone, loss, verdict, progress)
    link.give(mode="check", note=check.note, check=check)


async def test_a_check_that_is_played_is_named_in_words(trainer: FakeLink) -> None:
    app = Bench(trainer)
    async with app.run_test(size=(80, 20)) as pilot:
        assert "copy of the ride" in app.shown("#check-head")
        assert "not certified" in app.shown("#check-head")
        play(trainer, "trim", LOSS, "ride stop in 1.2 s")
        app.view.show()
        await pilot.pause()
        head = app.shown("#check-head")
        assert "CHECK on a copy" in head and "ride stop in 1.2 s" in head and "h: back" in head
        fault = FaultFrame("trim_valve_a", "stuck", "trim_valve_a stuck", 3.0, True, False)
        trainer.give(mode="live", note="", check=None, faults=(fault,))
        app.view.show()
        assert "with its 1 fault" in app.shown("#check-head")


# the table


def text_of(table: MatrixTable) -> list[str]:
    return [table.render_line(y).text for y in range(table.size.height)]


async def test_it_opens_at_the_zone_in_trouble_and_follows_the_check(trainer: FakeLink) -> None:
    zones = list(trainer.frame.zones)
    place = trainer.plant.zones.index("block")
    zones[place] = judged(zones[place]._replace(state="faulted", since=1.0))
    trainer.give(zones=tuple(zones))
    app = Bench(trainer)
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause()
        assert app.view.checks.zone == "block"
        loss = VENTED
        play(trainer, "storage", loss, "not closed yet after 0.5 s (limit 1.5 s)")
        app.view.show()
        losses = app.query_one("#losses", Rows)
        assert app.view.checks.zone == "storage"
        row = losses.row
        assert row is not None and row.name == "air: header vented" and row.here == ""  # type: ignore[attr-defined]
        assert "played now: not closed yet after 0.5 s" in app.shown("#check-detail")
        play(trainer, "storage", loss, "never closed", "unsafe")
        app.view.show()
        assert losses.row.here == "unsafe"  # type: ignore[union-attr]
        await pilot.press("z")
        app.view.show()
        assert app.view.checks.zone == "trim", "a person may look at another zone meanwhile"
        play(trainer, "final_1", LOSS, "ride stop in 2.0 s")
        app.view.show()
        assert app.view.checks.zone == "final_1"


@pytest.mark.parametrize("width", [60, 92, 120, 174])
async def test_the_heading_stands_over_its_column(trainer: FakeLink, width: int) -> None:
    play(trainer, "storage", VENTED, "never", "unsafe")
    app = Bench(trainer)
    async with app.run_test(size=(width, 40)) as pilot:
        await pilot.pause()
        app.view.show()
        await pilot.pause()
        losses = app.query_one("#losses", Rows)
        cells = "".join(piece.text for piece in losses.render_line(1))
        assert app.shown("#check-title").index("this ride") == cells.index("x UNSAFE")


async def test_all_zones_stand_below_with_both_verdicts(bench: Bench) -> None:
    async with bench.run_test(size=(120, 40)) as pilot:
        await with_results(pilot)
        bench.view.answered(Check("block", LOSS), answer_to("block", {LOSS: UNSAFE}))
        await pilot.pause()
        lines = bench.shown("#check-detail").splitlines()
        at = next(i for i, line in enumerate(lines) if "this ride/verified" in line)
        at += 1
        table = {line[2:].split()[0]: line for line in lines[at + 1 :]}
        assert list(table) == list(bench.link.plant.zones)
        number = bench.view.checks.losses_of("block").index(LOSS)
        column = lines[at].index(f" {number + 1} ") + 1
        assert table["block"][column : column + 3] == "U/S", "injected during closed"
        assert table["trim"][column : column + 3] == "–/S"
        assert table["block"].startswith("▸") and table["trim"].startswith(" ")


async def test_the_table_says_everything_in_letters(bench: Bench) -> None:
    async with bench.run_test(size=(180, 36)) as pilot:
        assert "nothing calculated yet" in text_of(bench.table)[0]
        await with_results(pilot)
        lines = text_of(bench.table)
        assert lines[0].split() == ["what", "happened", "(3)", "trim", "block"]
        assert lines[1].split() == ["▸loss", "of", "power", "SS", "LS"]
        # without an alarm of its own zone: small; safe while another zone is told: not
        assert lines[2].split() == ["trim_valve_a", "stuck-actuated", "uU", "sS"]
        assert lines[3].split() == ["block_hose_1", "kinked", "s·", "s·"]
        head = bench.shown("#results-head")
        assert "5 cases: 2 safe, 1 late, 2 unsafe" in head and "not certified" in head
        assert "trim: [open] closed" in bench.shown("#order")


async def test_the_cursor_goes_everywhere_and_tells_all_of_a_cell(bench: Bench) -> None:
    async with bench.run_test(size=(120, 36)) as pilot:
        await with_results(pilot)
        bench.table.focus()
        await pilot.press("down", "right")
        said = bench.shown("#cell")
        assert said.startswith("trim_valve_a stuck-actuated, trim closed\nx UNSAFE  never of 1.5 s")
        for words in (
            "not reached (limit",
            "Effect: The spool",
            "Fault to consider: B.3-2 does not switch (ISO 13849-2:2003, superseded by 2012)",
            "Replay: pneumo",
        ):
            assert words in said
        await pilot.press("right")
        assert "block" in bench.shown("#cell") and "safe  0.26 s" in bench.shown("#cell")
        await pilot.press("left", "left", "down", "right")
        assert "Not run" in bench.shown("#cell")
        await pilot.press("left")
        assert "Represents block_hose_1, block_hose_2" in bench.shown("#cell")
        assert "undetected: no alarm" in bench.shown("#cell")
        await pilot.press("home")
        assert bench.table.row == 0
        await pilot.press("end", "pageup", "pagedown", "down", "up")
        assert bench.table.row == 1


async def test_the_mouse_picks_a_cell_and_two_clicks_open_it(bench: Bench) -> None:
    async with bench.run_test(size=(120, 36)) as pilot:
        await with_results(pilot)
        line = text_of(bench.table)[2]
        await pilot.click(MatrixTable, offset=(line.index("uU") + 1, 2))
        place = bench.table.place
        assert place is not None and (place.zone, place.state) == ("trim", "closed")
        await pilot.click(MatrixTable, offset=(3, 0))
        assert bench.table.place == place  # the heading picks nothing
        await pilot.click(MatrixTable, offset=(line.index("uU") + 1, 2), times=2)
        assert isinstance(bench.screen, Confirm)


async def test_filters(bench: Bench) -> None:
    async with bench.run_test(size=(120, 36)) as pilot:
        await with_results(pilot)
        table = bench.table
        table.focus()
        await pilot.press("down", "x")
        assert [row.label for row in table.rows] == ["loss of power", "stuck-actuated"]
        assert table.row == 1  # it stays on its row
        assert "only what is not safe" in bench.shown("#results-head")
        await pilot.press("z")
        assert text_of(table)[0].split() == ["what", "happened", "(1)", "trim"]
        await pilot.press("z")
        assert bench.view.results.only_zone == "block"
        assert [row.label for row in table.rows] == ["loss of power"]
        await pilot.press("escape")
        assert len(table.rows) == 3 and not bench.view.results.only_bad
        await pilot.press("slash", *"hose_2")
        assert [row.component for row in table.rows] == ["block_hose_1"]  # it stands for it
        await pilot.press("enter")
        assert table.has_focus and len(table.rows) == 1
        assert "words: hose_2" in bench.shown("#results-head")
        await pilot.press("slash", *"zzz")
        assert "Escape shows all" in text_of(table)[0] and bench.shown("#cell") == ""
        await pilot.press("escape")
        assert len(table.rows) == 3 and table.has_focus
        assert not bench.query_one("#words", Input).display


async def test_enter_opens_a_case_at_its_onset(bench: Bench) -> None:
    async with bench.run_test(size=(120, 36)) as pilot:
        await with_results(pilot)
        bench.table.focus()
        await pilot.press("down", "right", "enter")
        assert isinstance(bench.screen, Confirm)
        assert "0:20.000  fault trim_valve_a stuck-actuated" in bench.screen.lines
        await pilot.press("n")
        assert bench.asked == []
        await pilot.press("enter", "y")
        await pilot.pause()
        case = results().cases[2]
        assert bench.asked == [OpenCase(case_words(case), case.events, 20.0)]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"ride": "Heron"}, "The result is of the ride Heron; here runs Sand Martin."),
        ({"cases": (replace(results().cases[0], events=()),)}, "calculate it again"),
        ({"cases": (replace(results().cases[0], events=((1.0, "fault pump stuck"),)),)}, "pump"),
    ],
)
async def test_a_case_of_another_ride_is_not_opened(
    bench: Bench, changes: dict[str, Any], said: str
) -> None:
    async with bench.run_test(size=(120, 36)) as pilot:
        await with_results(pilot, results(**changes))
        bench.table.focus()
        await pilot.press("enter")
        assert not isinstance(bench.screen, Confirm)
        assert said in bench.told[-1]


async def test_a_cell_that_was_not_run_opens_nothing(bench: Bench) -> None:
    async with bench.run_test(size=(120, 36)) as pilot:
        bench.table.focus()
        await pilot.press("enter")  # nothing there at all
        await with_results(pilot)
        await pilot.press("end", "right", "enter")
        assert "not run" in bench.told[-1] and bench.asked == []


async def test_limits_and_cautions_are_one_key_away(bench: Bench) -> None:
    async with bench.run_test(size=(80, 24)) as pilot:
        await with_results(pilot, results(untested=("Zone trim never opened.",)))
        assert "never reached" in bench.shown("#results-head")
        await pilot.press("i")
        assert isinstance(bench.screen, WhatItDoesNotSay)
        await pilot.pause()
        said = "\n".join(str(line.content) for line in bench.screen.query(Static))
        for words in ("lock out", "certify", "Zone trim never opened.", "The plant is at rest.",
                      "ideal gas"):  # fmt: skip
            assert words in said
        await pilot.press("pagedown", "down")
        assert bench.screen.query_one("#body").scroll_offset.y == 11
        await pilot.press("i")
        assert not isinstance(bench.screen, WhatItDoesNotSay)


def test_help_names_every_key() -> None:
    for binding in VerifyView.BINDINGS:
        key = {"slash": "/", "escape": "Escape"}.get(binding.key, binding.key)  # type: ignore[union-attr]
        assert f"`{key}`" in VerifyView.HELP or key in ("Escape",)


# files


async def test_a_saved_result_is_opened(bench: Bench, tmp_path: Path) -> None:
    path = tmp_path / "saved.json"
    path.write_text(json_text(verification_document(results())), encoding="utf-8")
    async with bench.run_test(size=(120, 36)) as pilot:
        await pilot.press("o")
        assert isinstance(bench.screen, FileName)
        name = bench.screen.query_one("#file-name", Input)
        name.value = str(tmp_path / "none.json")
        await pilot.press("enter")
        assert "There is no file" in str(bench.screen.query_one("#problem", Static).content)
        name.value = str(path)
        await pilot.press("enter")
        await until(pilot, lambda: bench.view.results.results is not None)
        assert bench.view.results.results == results()
        assert "saved.json" in bench.shown("#results-head")
        (tmp_path / "other.json").write_text("{}")
        await pilot.press("o")
        bench.screen.query_one("#file-name", Input).value = str(tmp_path / "other.json")
        await pilot.press("enter")
        await until(pilot, lambda: bench.told)
        assert "not the result of a verification" in bench.told[-1]
        assert bench.view.results.results == results()  # what was there stays


# a verification beside the ride


async def test_it_calculates_shows_saves_and_breaks_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = Bench(FakeLink(plant_of("02_spring_close_single")))
    async with app.run_test(size=(120, 36)) as pilot:
        await pilot.press("e")
        assert "nothing to save" in app.told[-1]
        await pilot.press("c")
        assert "No verification is under way" in app.told[-1]
        await pilot.press("v")
        assert isinstance(app.screen, PickOne)
        await pilot.press(*"losses", "enter")
        await until(pilot, lambda: app.view.results.results is not None)
        assert app.view.results.results is not None
        assert {c.injection.kind for c in app.view.results.results.cases} == {"none", "loss"}
        assert "calculated here, only the losses" in app.shown("#results-head")
        path = tmp_path / "kept.json"
        await pilot.press("e")
        app.screen.query_one("#file-name", Input).value = str(path)
        await pilot.press("enter")
        await pilot.pause()
        assert read_verification(path) == app.view.results.results
        assert json.loads(path.read_text())["document"] == app.link.plant.circuit.path
        await pilot.press("e")
        app.screen.query_one("#file-name", Input).value = str(path)
        await pilot.press("enter")
        assert "exists already" in str(app.screen.query_one("#problem", Static).content)
        await pilot.press("escape", "v", "down", "enter")
        run = app.view.results.run
        assert run is not None
        await pilot.press("v")
        assert "under way already" in app.told[-1]
        await pilot.press("c")
        await until(pilot, lambda: not run.running)
        await until(pilot, lambda: "was stopped" in app.told[-1])
        assert app.view.results.results.cases  # the result of before stays
    assert not run._folder.exists()


# any size


@pytest.mark.parametrize("size", [(1, 1), (20, 5), (80, 20), (107, 30), (108, 30), (200, 56)])
async def test_any_size(bench: Bench, size: tuple[int, int]) -> None:
    async with bench.run_test(size=size) as pilot:
        await with_results(pilot)
        await pilot.press(
            "m", "x", "down", "right", "m", "z", "i", "escape", "slash", "a", "escape"
        )
        await pilot.resize_terminal(90, 20)
        await pilot.resize_terminal(*size)
        await pilot.pause()


async def test_narrow_screens_show_one_of_both(bench: Bench) -> None:
    async with bench.run_test(size=(80, 20)) as pilot:
        await pilot.pause()
        check, table = bench.query_one("#check"), bench.query_one("#results")
        assert check.display and not table.display
        assert "m table" in bench.shown("#check-head")
        await pilot.press("m")
        assert table.display and not check.display and bench.table.has_focus
        assert "m check" in bench.shown("#results-head")
        await pilot.press("m")
        assert check.display and bench.query_one(Rows).has_focus
        await pilot.resize_terminal(120, 36)
        await pilot.pause()
        assert check.display and table.display


async def test_a_thousand_rows_are_drawn_at_once(bench: Bench) -> None:
    """Only what is on screen is drawn, whatever there is."""
    many = tuple(
        case(f"hose_{i} kinked", "open", outcome("trim", "open"), outcome("block", "open"))
        for i in range(1500)
    )
    async with bench.run_test(size=(120, 36)) as pilot:
        await with_results(pilot, results(cases=many))
        assert len(matrix(results(cases=many)).rows) == len(bench.table.rows) == 1500
        drawn = []
        real = bench.table._line
        bench.table._line = lambda i, base: drawn.append(i) or real(i, base)  # type: ignore[func-returns-value, method-assign]
        bench.table.focus()
        await pilot.press("end")
        await pilot.pause()
        assert "hose_1499" in "\n".join(text_of(bench.table))
        assert len(set(drawn)) < 150


async def test_a_ride_without_zones(trainer: FakeLink) -> None:
    plant = plant_of("10_station_gates")
    app = Bench(FakeLink(plant, frame=resting_frame(plant)))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("k", "z", "m", "v", "escape")
        assert app.asked == []


def test_the_least_force_stands_beside_the_force_that_is_needed() -> None:
    entry = {
        "verdict": "safe", "decided": True, "reached_after": 0.4, "margin": 1.1, "limit": 1.5,
        "why": "closed", "lost_after": None, "least_force": 8600.0, "detected": False,
        "alarm": "", "held": 60.0,
    }  # fmt: skip
    assert "least force 8.60 kN of 6.00 kN" in [line.plain for line in outcome_lines(entry, 6e3)]
    assert "least force 8.60 kN" in [line.plain for line in outcome_lines(entry)]
