"""The first screen: what is being prepared, keys that do nothing yet, and what comes after it."""

from __future__ import annotations

from collections.abc import Callable
from threading import Event

import pytest
from textual.pilot import Pilot
from tui_toys import FakeLink, plant_of

from pneumo.live.preparation import LeftError, Preparation
from tui.app import DashboardApp
from tui.host import Host
from tui.opening import Opening

PATIENCE = 60.0
"""Far more than it takes, for a machine that is busy [s]."""


class Slow:
    """A preparation that goes on when it is told to."""

    def __init__(self, end: Callable[[], FakeLink]) -> None:
        self.goes_on = Event()
        self.says = Event()
        self.preparation = Preparation("sand_martin", self._work)
        self._end = end

    def _work(self, preparation: Preparation[FakeLink]) -> FakeLink:
        preparation.say("reading and checking the circuit")
        preparation.name = "Sand Martin"
        preparation.say("compiling the solver")
        preparation.count("12 of 85 parts")
        self.says.set()
        self.goes_on.wait(PATIENCE)
        preparation.say("drawing the screen")
        return self._end()

    async def until_ended(self, pilot: Pilot[None]) -> None:
        self.goes_on.set()
        assert self.preparation.wait(PATIENCE)
        app = pilot.app
        assert isinstance(app, DashboardApp)
        await until(pilot, lambda: app.opened)


async def until(pilot: Pilot[None], holds: Callable[[], bool]) -> None:
    for _ in range(1200):
        if holds():
            return
        await pilot.pause(0.05)
    raise AssertionError("it does not come to that")


@pytest.fixture
def slow(trainer: FakeLink) -> Slow:
    return Slow(lambda: trainer)


def words(app: DashboardApp) -> str:
    assert isinstance(app.screen, Opening)
    return str(app.screen._words())


async def test_it_says_what_is_prepared_and_how_far_it_is(slow: Slow) -> None:
    app = DashboardApp(preparation=slow.preparation)
    async with app.run_test() as pilot:
        await until(pilot, slow.says.is_set)
        first, _, read, compiled, _, leaves = words(app).splitlines()
        assert first == "Sand Martin: getting ready"
        assert read.startswith("  reading and checking the circuit: ") and read.endswith(" s")
        assert compiled.startswith("▸ compiling the solver … ")
        assert compiled.endswith(" s, 12 of 85 parts")
        assert leaves == "q leaves"
        await slow.until_ended(pilot)


async def test_the_work_begins_once_it_is_drawn(slow: Slow) -> None:
    app = DashboardApp(preparation=slow.preparation)
    assert not slow.preparation.steps and slow.preparation.wait(0.0)
    async with app.run_test() as pilot:
        await until(pilot, slow.says.is_set)
        await slow.until_ended(pilot)


async def test_keys_of_the_ride_do_nothing_yet(slow: Slow, trainer: FakeLink) -> None:
    app = DashboardApp(preparation=slow.preparation)
    async with app.run_test() as pilot:
        await until(pilot, slow.says.is_set)
        keys = ["s", "space", "a", "r", "f", "9", "N", "colon", "question_mark", "ctrl+p", "w"]
        await pilot.press(*keys, "enter", "escape", "tab")
        await pilot.click()
        await pilot.resize_terminal(140, 50)
        assert isinstance(app.screen, Opening) and len(app.screen_stack) == 2
        await slow.until_ended(pilot)
        assert app.stage.current == "zones" and not trainer.sent
        await pilot.press("s")
        assert [request.sentence for request in trainer.sent] == ["ride stop"]


async def test_what_comes_after_it_is_what_comes_without_it(slow: Slow, trainer: FakeLink) -> None:
    async with DashboardApp(trainer).run_test(size=(120, 40)) as pilot:
        await pilot.pause()
        straight = drawn(pilot)
    async with DashboardApp(preparation=slow.preparation).run_test(size=(80, 24)) as pilot:
        await until(pilot, slow.says.is_set)
        await pilot.resize_terminal(120, 40)
        await slow.until_ended(pilot)
        await until(pilot, lambda: drawn(pilot) == straight)
        assert pilot.app.focused is not None


async def test_what_the_work_finds_is_asked_for_after_it(trainer: FakeLink) -> None:
    def opened() -> FakeLink:
        app.host = Host(invitation="pneumo join 127.0.0.1:8470", code="ABC-DEF-GHJ")
        app.unfinished.runs = (("Sand Martin, 40 s", "a run"),)
        return trainer

    slow = Slow(opened)
    app = DashboardApp(preparation=slow.preparation)
    async with app.run_test() as pilot:
        slow.goes_on.set()
        await until(pilot, lambda: "PickOne" in type(app.screen).__name__)
        await pilot.press("escape")
        await until(pilot, lambda: "Invitation" in type(app.screen).__name__)


async def test_a_trainee_finds_only_the_views_of_that_seat() -> None:
    slow = Slow(lambda: FakeLink(plant_of("sand_martin"), "trainee"))
    app = DashboardApp(preparation=slow.preparation)
    async with app.run_test() as pilot:
        await slow.until_ended(pilot)
        assert "faults" not in app.stage.titles and "zones" in app.stage.titles


@pytest.mark.parametrize("key", ["q", "ctrl+q", "ctrl+c"])
async def test_it_can_be_left(key: str, slow: Slow) -> None:
    app = DashboardApp(preparation=slow.preparation)
    async with app.run_test() as pilot:
        await until(pilot, slow.says.is_set)
        await pilot.press(key)
        await until(pilot, lambda: not app.is_running)
    slow.goes_on.set()
    assert slow.preparation.wait(PATIENCE)
    assert isinstance(slow.preparation.error, LeftError) and slow.preparation.made is None


async def test_work_that_fails_ends_the_screen() -> None:
    def fails() -> FakeLink:
        raise KeyError("left out")

    slow = Slow(fails)
    app = DashboardApp(preparation=slow.preparation)
    async with app.run_test() as pilot:
        slow.goes_on.set()
        await until(pilot, lambda: not app.is_running)
    assert isinstance(slow.preparation.error, KeyError)


def drawn(pilot: Pilot[None]) -> list[str]:
    """The letters on the screen."""
    screen = pilot.app.screen
    return ["".join(part.text for part in line) for line in screen._compositor.render_strips()]
