"""Fixtures for view tests. The helpers themselves are in `tui_toys`, to be imported by name."""

from __future__ import annotations

import pytest
from tui_toys import FakeLink, plant_of


@pytest.fixture
def trainer() -> FakeLink:
    """The trainer's seat at the demo ride, at rest."""
    return FakeLink(plant_of("sand_martin"), "trainer")


@pytest.fixture
def trainee() -> FakeLink:
    """The trainee's seat at the demo ride, at rest."""
    return FakeLink(plant_of("sand_martin"), "trainee")
