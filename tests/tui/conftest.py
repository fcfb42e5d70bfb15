"""Fixtures for view tests. The helpers themselves are in `tui_toys`, to be imported by name."""

from __future__ import annotations

import pytest
from tui_toys import FakeLink, plant_of

import tui.app
from tui.app import ViewEntry


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
