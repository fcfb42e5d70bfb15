"""Fixtures for view tests. The helpers themselves are in `tui_toys`, to be imported by name."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from textual.pilot import Pilot
from tui_toys import FakeLink, plant_of

import tui.app
from tui.app import DashboardApp, ViewEntry


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
    """Toys in place of all views but those of faults and hands, which belong to the app."""
    entries = tuple(
        entry
        if entry.title in ("faults", "hands")
        else ViewEntry(entry.title, "tui_toys:Toy", entry.seats)
        for entry in tui.app.VIEWS
    )
    monkeypatch.setattr(tui.app, "VIEWS", entries)


@pytest.fixture(autouse=True)
def keys_at_rest(monkeypatch: pytest.MonkeyPatch) -> None:
    """A key that is pressed has done all it does before a test goes on, on a busy machine too."""
    whole = Pilot._wait_for_screen

    async def wait(self: Pilot[Any], timeout: float = 120.0) -> bool:
        app = self.app
        while isinstance(app, DashboardApp) and app.is_running and not app.keyboard.at_rest:
            await asyncio.sleep(0.001)
        return await whole(self, timeout)

    monkeypatch.setattr(Pilot, "_wait_for_screen", wait)
