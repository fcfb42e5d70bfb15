"""Keys typed faster than the screen can follow: letters never operate the ride, order is kept."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable

import pytest
from textual import events
from textual.pilot import Pilot
from textual.widgets import Input, OptionList
from tui_toys import FakeLink, look, until

from pneumo.live.request import Check, Do, Hand, Save
from tui.app import DashboardApp
from tui.keyboard import LOST
from tui.screens.command import CommandLine
from tui.screens.confirm import Confirm
from tui.screens.help import Help
from tui.screens.pick import PickOne
from tui.screens.save import SaveSituation
from tui.views.faults import FaultsView
from tui.widgets.choice import Filtered

SIZES = [(80, 24), (120, 40)]
NAMED = {
    "\n": "enter",
    " ": "space",
    "/": "slash",
    ":": "colon",
    "\x1b": "escape",
    "\t": "tab",
    "?": "question_mark",
}


def at_once(app: DashboardApp, keys: Iterable[str]) -> None:
    """All keys are there before the app has looked at the first."""
    for key in keys:
        app.post_message(events.Key(NAMED.get(key, key), key if len(key) == 1 else None))


async def typed(pilot: Pilot[None], keys: Iterable[str]) -> DashboardApp:
    app = pilot.app
    assert isinstance(app, DashboardApp)
    at_once(app, keys)
    await pilot.pause()
    await until(pilot, lambda: app.keyboard.at_rest)
    await pilot.pause()
    return app


@pytest.mark.usefixtures("toy_views")
@pytest.mark.parametrize("size", SIZES)
async def test_what_follows_f_goes_to_the_line_of_the_faults(
    trainer: FakeLink, size: tuple[int, int]
) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=size) as pilot:
        await look(pilot)
        await typed(pilot, "fstorage")
        assert trainer.sent == []
        assert app.stage.current == "faults"
        faults = app.stage.views["faults"]
        assert isinstance(faults, FaultsView)
        assert faults.query_one("#component", Filtered).filter.value == "storage"
        assert "storage" in faults.component


@pytest.mark.usefixtures("toy_views")
async def test_a_fault_is_injected_as_fast_as_a_script_types(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        for before in ("", "\x1b9", "\x1bt", "\x1b2", "\x1bftrim\x1b"):
            await typed(pilot, f"{before}ftrim valve b stuck-act\n\n\n")
            assert trainer.sent == [Do("fault trim_valve_b stuck-actuated", hidden=True)]
            trainer.sent.clear()


@pytest.mark.usefixtures("toy_views")
async def test_every_dialog_gets_what_is_typed_after_its_key(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await typed(pilot, ":close all\n:ride stop\n")
        assert trainer.sent == [Do("close all"), Do("ride stop")]
        trainer.sent.clear()
        await typed(pilot, ":sars")
        assert isinstance(app.screen, CommandLine)
        await typed(pilot, "\x1bksars nothing\n")
        assert isinstance(app.screen, PickOne)
        await typed(pilot, "\x1bwsars")
        assert isinstance(app.screen, SaveSituation)
        await typed(pilot, "\x1b?sars")
        assert isinstance(app.screen, Help)
        assert trainer.sent == []
        await typed(pilot, ["escape", "ctrl+p", *"ride stop"])
        assert trainer.sent == []
        await typed(pilot, ["escape", "w", *"xx", "tab", *"noon", "ctrl+d"])
        assert [type(request) for request in trainer.sent] == []  # xx is no name of a file
        assert isinstance(app.screen, SaveSituation)
        await typed(pilot, ["shift+tab", "end", *".yaml", "ctrl+d"])
        (saved,) = trainer.sent
        assert isinstance(saved, Save) and saved.path.endswith("xx.yaml")


@pytest.mark.usefixtures("toy_views")
async def test_keys_after_a_question_answer_it(trainer: FakeLink) -> None:
    trainer.give(faults=(), stopped_by="command")
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await typed(pilot, "Nn")
        assert trainer.sent == [] and app.screen is app._base
        await typed(pilot, "N\x1bN")
        assert trainer.sent == [] and isinstance(app.screen, Confirm)
        await typed(pilot, "y")
        assert trainer.sent[0] == Do("reset all")


@pytest.mark.parametrize("view", ["circuit", "trends", "alarms", "signals", "verify"])
async def test_what_follows_a_slash_goes_to_the_line_of_a_view(
    trainer: FakeLink, view: str
) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await typed(pilot, f"{app.stage.titles.index(view) + 1}/sarfs")
        assert trainer.sent == [] and app.stage.current == view
        assert isinstance(app.focused, Input) and app.focused.value == "sarfs"


@pytest.mark.usefixtures("toy_views")
async def test_a_click_that_opens_a_line_is_waited_for_as_well(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        for kind in (events.MouseDown, events.MouseUp):
            app.post_message(
                kind(None, 1, 23, 0, 0, 1, False, False, False, screen_x=1, screen_y=23)
            )
        await typed(pilot, "storage")
        assert trainer.sent == [] and app.stage.current == "faults"
        faults = app.stage.views["faults"]
        assert isinstance(faults, FaultsView)
        assert faults.query_one("#component", Filtered).filter.value == "storage"


@pytest.mark.usefixtures("toy_views")
async def test_letters_keep_their_order_with_arrows_between_them(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await typed(pilot, [":", *"clase", "left", "left", "backspace", "o", "end", *" all"])
        assert isinstance(app.screen, CommandLine)
        assert app.screen.query_one(Input).value == "close all"
        await typed(pilot, "\nsasa")
        stop, answer = Do("ride stop"), Do("acknowledge all")
        assert trainer.sent == [Do("close all"), stop, answer, stop, answer]


@pytest.mark.usefixtures("toy_views")
async def test_a_key_that_never_comes_back_does_not_hold_the_others_for_ever(
    trainer: FakeLink, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        with monkeypatch.context() as patch:
            patch.setattr(app.keyboard, "_send", lambda target=None: None)
            at_once(app, "sa")
            # not until the keyboard is at rest, which it never is here
            while not trainer.sent:
                await asyncio.sleep(0.001)
            for _ in range(50):
                await asyncio.sleep(0.0)
            assert trainer.sent == [Do("ride stop")]
        for _ in range(LOST + 1):
            app.keyboard.look()
        await typed(pilot, "")
        assert trainer.sent == [Do("ride stop"), Do("acknowledge all")]


# nothing that nobody chose


@pytest.mark.usefixtures("toy_views")
async def test_enter_alone_does_nothing(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        for keys in ("f", "8", "9", "t", "k", "x", "ftrm no such thing", "kno such thing"):
            await typed(pilot, f"\x1b{keys}" + "\n" * 5)
            assert trainer.sent == [], keys
            await typed(pilot, "\x1b")


@pytest.mark.usefixtures("toy_views")
async def test_a_component_picked_elsewhere_is_not_what_the_next_fault_is_for(
    trainer: FakeLink,
) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await typed(pilot, "ftrim valve b stuck-act\n\n")
        app.stage.picked = "storage_regulator"
        await typed(pilot, "\x1b1f\n\n\n\n")
        assert trainer.sent == []
        faults = app.stage.views["faults"]
        assert isinstance(faults, FaultsView)
        assert faults.component == "" and faults.sentence == ""
        await typed(pilot, "storage")
        assert "storage" in faults.component
        assert faults.query_one("#component", Filtered).filter.value == "storage"


@pytest.mark.usefixtures("toy_views")
async def test_a_mode_is_chosen_by_its_words_or_by_moving_to_it(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await typed(pilot, "ftrim valve b\n\n\n\n")
        faults = app.stage.views["faults"]
        assert isinstance(faults, FaultsView)
        assert trainer.sent == []
        assert faults.component == "trim_valve_b" and faults.mode is None
        await typed(pilot, ["down", "enter"])
        assert faults.mode is not None and trainer.sent == []


@pytest.mark.usefixtures("toy_views")
async def test_a_target_that_moves_in_the_list_stays_the_one_that_was_chosen(
    trainer: FakeLink,
) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        zones = trainer.plant.zones
        await typed(pilot, ["9", "enter", *zones[1]])
        where = app.stage.views["tests"].query_one("#where", Filtered)
        assert where.choice is not None and where.choice.value == zones[1]
        # the words that say how the zones stand find other rows now
        states = [zone._replace(state=zones[1]) for zone in trainer.frame.zones]
        trainer.give(zones=tuple(states))
        await look(pilot)
        assert where.choice is not None and where.choice.value == zones[1]
        await typed(pilot, "\n")
        assert trainer.sent == [Do(f"open {zones[1]}")]
        assert not any(isinstance(request, Check | Hand) for request in trainer.sent)


@pytest.mark.usefixtures("toy_views")
async def test_the_row_that_fast_words_mark_is_in_sight(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await typed(pilot, "ftrim valve_a coil")
        await pilot.pause()
        faults = app.stage.views["faults"]
        assert isinstance(faults, FaultsView)
        assert faults.mode is not None and "coil" in faults.mode.name
        modes = faults.query_one("#modes", OptionList)
        assert modes.highlighted is not None and modes.highlighted >= modes.size.height
        assert 0 <= modes.highlighted - modes.scroll_offset.y < modes.size.height
