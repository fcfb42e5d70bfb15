"""Fixtures for view tests. The helpers themselves are in `tui_toys`, to be imported by name."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
import textual.app
import textual.pilot
from textual._context import active_app
from textual.app import App
from textual.pilot import Pilot
from textual.timer import Timer
from tui_toys import FakeLink, plant_of

import tui.stage
from tui.app import DashboardApp


@pytest.fixture
def trainer() -> FakeLink:
    """The trainer's seat at the demo ride, at rest."""
    return FakeLink(plant_of("sand_martin"), "trainer")


@pytest.fixture
def trainee() -> FakeLink:
    """The trainee's seat at the demo ride, at rest."""
    return FakeLink(plant_of("sand_martin"), "trainee")


@pytest.fixture
def toy_views(monkeypatch: pytest.MonkeyPatch) -> None:
    """Toys in place of all views but those of faults and tests, which belong to the app."""
    entries = tuple(
        entry if entry.title in ("faults", "tests") else entry._replace(place="tui_toys:Toy")
        for entry in tui.stage.VIEWS
    )
    monkeypatch.setattr(tui.stage, "VIEWS", entries)


QUIET = 3
"""Looks without anything waiting, after which an app is asked whether it is at rest."""


SOON = 0.25
"""What is to happen later is not waited for [s]; a pressed button springs back within it."""


def is_waiting(app: App[Any]) -> bool:
    """Whether a message, a callback or a key is still to be dealt with."""
    if isinstance(app, DashboardApp) and not app.keyboard.at_rest:
        return True
    nodes = (app, *app.screen.walk_children(with_self=True))
    return any(
        node._message_queue.qsize() or node._next_callbacks or any(map(is_soon, node._timers))
        for node in nodes
    )


def is_soon(timer: Timer) -> bool:
    """Whether a timer calls back once and soon: a new size is taken over so."""
    running = timer._task is not None and not timer._task.done()
    return running and timer._repeat == 0 and timer._interval <= SOON


@pytest.fixture(autouse=True)
def at_rest(monkeypatch: pytest.MonkeyPatch) -> None:
    """A key has done all that it does before a test goes on, and a test goes on as soon as it has.

    The toolkit's own waits look at the processor's time instead: they sleep 20 ms at least twice a
    key, up to a second each where an app draws all the time, and know nothing on a busy machine.
    """
    whole = Pilot._wait_for_screen

    async def wait(self: Pilot[Any], timeout: float = 120.0) -> bool:
        app = self.app
        while isinstance(app, DashboardApp) and app.is_running and not app.keyboard.at_rest:
            await asyncio.sleep(0.001)
        return await whole(self, timeout)

    async def rest(min_sleep: float = 0.0, max_sleep: float = 1.0) -> None:
        app = active_app.get()
        while app.is_running:
            quiet = 0
            while app.is_running and quiet < QUIET:
                await asyncio.sleep(0.0 if quiet else 0.001)
                quiet = 0 if is_waiting(app) else quiet + 1
            # a widget may be in the middle of something without anything waiting for it
            await wait(Pilot(app))
            app.screen._on_timer_update()
            if not is_waiting(app):
                return

    monkeypatch.setattr(Pilot, "_wait_for_screen", wait)
    monkeypatch.setattr(textual.app, "wait_for_idle", rest)
    monkeypatch.setattr(textual.pilot, "wait_for_idle", rest)
