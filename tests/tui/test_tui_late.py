"""Callbacks that come when the screen is gone do nothing: leaving is no way to die."""

from __future__ import annotations

import inspect
import threading
from collections.abc import Callable
from typing import Any

import pytest
from textual.message_pump import MessagePump
from tui_toys import FakeLink, look, until

from tui.app import DashboardApp
from tui.screens.help import Help
from tui.views.verify import VerifyView

Late = tuple[MessagePump, Callable[[], Any]]


@pytest.fixture
def late(monkeypatch: pytest.MonkeyPatch) -> list[Late]:
    """Whatever of ours has been put off till later, ready to be called."""
    found: list[Late] = []

    def noted(name: str, place: int) -> None:
        whole = getattr(MessagePump, name)

        def note(self: MessagePump, *arguments: Any, **named: Any) -> Any:
            callback = arguments[place] if len(arguments) > place else named.get("callback")
            if str(getattr(callback, "__module__", "")).startswith("tui."):
                rest = arguments[place + 1 :] if name.startswith("call") else ()
                found.append((self, lambda: callback(*rest)))
            return whole(self, *arguments, **named)

        monkeypatch.setattr(MessagePump, name, note)

    for name, place in (
        ("call_after_refresh", 0), ("call_later", 0), ("call_next", 0), ("set_interval", 1),
        ("set_timer", 1),
    ):  # fmt: skip
        noted(name, place)
    return found


async def test_what_comes_after_the_screen_is_gone_does_nothing(
    trainer: FakeLink, late: list[Late]
) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        for title in app.stage.titles:
            await app.action_open_view(title)
            await pilot.pause()
        await pilot.press("slash", "escape", "question_mark")
        assert isinstance(app.screen, Help)
        trainer.trouble = "gone"
        await look(pilot)
    owners = {type(owner).__name__ for owner, _ in late}
    assert {"DashboardApp", "VerifyView", "ZonesView", "AlarmsView", "SignalsView"} <= owners
    with app._context():
        for owner, callback in late:
            try:
                done = callback()
                if inspect.isawaitable(done):
                    await done
            except Exception as error:
                raise AssertionError(f"{owner} {callback}") from error
        app.tick()
        app._draw()
    assert app._exception is None


async def test_a_result_that_is_read_when_the_screen_is_gone_is_dropped(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    taken: list[object] = []
    async with app.run_test(size=(80, 24)) as pilot:
        await app.action_open_view("verify")
        view = app.stage.views["verify"]
        assert isinstance(view, VerifyView)
        there = threading.Thread(target=view.from_thread, args=(taken.append, "in time"))
        there.start()
        await until(pilot, lambda: taken)
    late = threading.Thread(target=view.from_thread, args=(taken.append, "late"))
    late.start()
    late.join(30.0)
    assert not late.is_alive() and taken == ["in time"]
