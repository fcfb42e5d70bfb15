"""The file of a class: what it names comes back, whatever is wrong with it is told."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from pneumo.errors import InputError
from pneumo.record.classes import (
    KEPT,
    Kept,
    KeptRide,
    forget_class,
    interrupted,
    keep_class,
    new_class,
    read_class,
)

RIDES = (KeptRide("Zoë O'Neill", "one.run"), KeptRide("李小龙", "two.run"))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for ride in RIDES:
        (tmp_path / ride.run).touch()
    return tmp_path


def test_what_was_kept_comes_back(folder: Path) -> None:
    path = new_class(folder)
    assert not path.exists(), "a class that nobody joins leaves nothing"
    kept = Kept("/a/drill.yaml", 8, RIDES)
    keep_class(path, kept)
    assert read_class(path) == kept
    forget_class(path)
    forget_class(path)
    assert not path.exists()


def test_a_class_that_was_cut_off_is_found_by_its_drill_and_its_runs(folder: Path) -> None:
    older, newer = folder / "2026-01-01.class", folder / "2026-01-02.class"
    for path in (older, newer):
        keep_class(path, Kept("drill_1", 2, RIDES[:1]))
    keep_class(folder / "2026-01-03.class", Kept("drill_2", 2, RIDES))
    (folder / "2026-01-04.class").write_text("not one", encoding="utf-8")
    assert interrupted("drill_1", [folder / "one.run"], folder) == [newer, older]
    assert interrupted("drill_1", [folder / "two.run"], folder) == []
    assert interrupted("drill_1", [], folder / "none") == []


def test_a_run_that_is_gone_is_named(folder: Path) -> None:
    path = new_class(folder)
    keep_class(path, Kept("drill_1", 2, RIDES))
    (folder / "two.run").unlink()
    with pytest.raises(InputError, match=r"the record of 李小龙 is gone .*two\.run"):
        read_class(path)


def test_old_ones_go_when_one_begins(folder: Path) -> None:
    for number in range(KEPT + 3):
        keep_class(folder / f"2026-01-01_{number:02d}.class", Kept("drill_1", 2, RIDES))
    new_class(folder, datetime(2026, 1, 2))
    left = sorted(path.name for path in folder.glob("*.class"))
    assert len(left) == KEPT and left[0] == "2026-01-01_03.class"


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        keep_class(tmp_path / "none" / "a.class", Kept("drill_1", 2, RIDES))
