"""Nothing of an earlier frame is left on the screen: after going back it is drawn as if the view
had been opened there."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from test_tui_snapshots import PictureLink
from tui_stage import Stage
from tui_toys import FakeLink, look

from pneumo.live.frame import FaultFrame
from pneumo.live.link import Link
from pneumo.live.request import Seat
from tui.app import DashboardApp
from tui.bar import Head, Tabs
from tui.host import Host
from tui.screens.confirm import Confirm
from tui.view import View
from tui.views.circuit import CircuitView
from tui.views.faults import _row
from tui.views.logic import LogicView
from tui.views.signals import SignalsView
from tui.views.zones import ZonesView
from tui.widgets.rows import Rows

SIZE = (120, 40)


async def drawn(make: Callable[[Link], View], seat: Seat, first: str, then: str) -> list[str]:
    """What a view shows of one situation, having shown another one before."""
    link, other = PictureLink(first, seat), PictureLink(then, seat)
    app = Stage(make(link))
    async with app.run_test(size=SIZE) as pilot:
        await pilot.pause()
        app.view.look_at("block")
        number = link.frame.number + 1
        link.frame = other.frame._replace(number=number)
        link.past = other.past._replace(epoch=1)
        app.view.show()
        await pilot.pause()
        app.view.show()
        await pilot.pause()
        return app.lines()


@pytest.mark.parametrize("seat", ["trainer", "trainee"])
@pytest.mark.parametrize("make", [ZonesView, LogicView, SignalsView])
async def test_nothing_is_left_of_what_was_shown_before(
    make: Callable[[Link], View], seat: Seat
) -> None:
    assert await drawn(make, seat, "unsafe", "rest") == await drawn(make, seat, "rest", "rest")


@pytest.mark.parametrize("seat", ["trainer", "trainee"])
def test_nothing_is_left_in_the_circuit_of_what_was_shown_before(seat: Seat) -> None:
    link, other = PictureLink("unsafe", seat), PictureLink("rest", seat)
    view, fresh = CircuitView(link), CircuitView(other)
    later = link.frame
    for frame in (later, other.frame, later, other.frame):
        link.frame = frame._replace(number=link.frame.number + 1)
        view.show()
    view.picture.update(link.frame)
    fresh.picture.update(other.frame)
    assert view.opened == fresh.opened
    assert view.picture.letters == fresh.picture.letters
    assert view.picture.inks == fresh.picture.inks


def test_branches_that_were_opened_by_hand_stay_open_when_going_back() -> None:
    link = PictureLink("rest", "trainee")
    view = CircuitView(link)
    view.opened = set(view.folds)
    link.frame = link.frame._replace(time=1.0, number=link.frame.number + 1)
    view.show()
    assert view.opened == set(view.folds)


async def test_the_tabs_fit_a_window_that_has_become_smaller_while_paused(
    trainer: FakeLink,
) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(120, 24)) as pilot:
        await look(pilot)
        assert "5 signals" in str(app.screen.query_one(Tabs).render())
        await pilot.resize_terminal(60, 24)
        await pilot.pause()
        tabs = str(app.screen.query_one(Tabs).render())
        assert "[1 zones]" in tabs and "5 signals" not in tabs and len(tabs) <= 60


async def test_the_head_fits_a_window_that_has_become_smaller_while_paused(
    trainer: FakeLink, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = DashboardApp(trainer, host=Host(invitation="pneumo join here", trainee="not joined"))
    async with app.run_test(size=(120, 24)) as pilot:
        await look(pilot)
        await pilot.press("escape")
        # whatever comes late, the head sees to itself: line 2 would be pushed out of sight
        monkeypatch.setattr(app, "on_resize", lambda: None)
        monkeypatch.setattr(app, "_draw", lambda: None)
        await pilot.resize_terminal(90, 24)
        await pilot.pause()
        lines = str(app.screen.query_one(Head).render()).splitlines()
        assert len(lines) == 2 and all(len(line) <= 88 for line in lines)
        assert "every zone is in its safe state" in lines[1]


async def test_line_two_names_a_faulted_zone_that_is_safe(trainer: FakeLink) -> None:
    first, *others = trainer.frame.zones
    trainer.give(zones=(first._replace(state="faulted", first_out="low supply"), *others))
    app = DashboardApp(trainer)
    async with app.run_test(size=(120, 24)) as pilot:
        await look(pilot)
        said = str(app.screen.query_one(Head).render())
        assert "trim is faulted (low supply)" in said and "NOT SAFE" not in said


async def test_line_two_keeps_who_says_that_a_faulted_zone_is_safe(trainee: FakeLink) -> None:
    first, *others = trainee.frame.zones
    trainee.give(zones=(first._replace(state="faulted", first_out="close time exceeded"), *others))
    app = DashboardApp(trainee)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        _, said = str(app.screen.query_one(Head).render()).splitlines()
        assert "trim is faulted; " in said and said.endswith("by its switches")


async def test_the_zone_that_was_moved_to_is_still_there_after_another_view(
    trainer: FakeLink,
) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(120, 40)) as pilot:
        await look(pilot)
        rows = app.screen.query_one("#zones-list", Rows)
        app.stage.views["circuit" if "circuit" in app.stage.views else "zones"].pick("block")
        await pilot.pause()
        await pilot.press("down", "down")
        chosen = rows.cursor
        await pilot.press("5", "1")
        await look(pilot)
        assert rows.cursor == chosen != 0


async def test_a_trainer_whose_trainee_has_joined_is_asked_before_leaving(
    trainer: FakeLink,
) -> None:
    app = DashboardApp(trainer, host=Host(record="run.pneumo", trainee="joined"))
    async with app.run_test(size=(100, 24)) as pilot:
        await look(pilot)
        await pilot.press("q")
        await pilot.pause()
        assert isinstance(app.screen, Confirm) and not trainer.closed
        await pilot.press("n")
        await pilot.pause()
        assert not trainer.closed
        await pilot.press("q", "y")
        await pilot.pause()
        assert trainer.closed


@pytest.mark.parametrize(
    ("sentence", "words"),
    [
        ("trim_hose_1 leak 2 mm over 30 s", "growing since"),
        ("trim_hose_1 leak 2 mm every 10 s for 2 s", "not present right now"),
    ],
)
def test_what_is_said_of_a_fault_that_is_not_there(
    sentence: str, words: str, trainer: FakeLink
) -> None:
    fault = FaultFrame("trim_hose_1", "leak", sentence, 1.0, False, False)
    assert words in str(_row(fault, trainer.frame))
