"""The history of drills: kept, read, forgotten; another file is left alone."""

from __future__ import annotations

import csv
import io
import sqlite3
from contextlib import closing
from datetime import datetime
from pathlib import Path

import pytest

from pneumo.drill.outcome import Debrief, Verdict
from pneumo.errors import InputError, UnfinishedError
from pneumo.record import history

NOON = datetime(2026, 5, 4, 12)


def found(verdict: Verdict = "right", title: str = "hiss") -> Debrief:
    return Debrief(
        title, "handed back", verdict, (), (), (), (), 0.0, 3000.0, 2700.0, (), (), (), (), (),
    )  # fmt: skip


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "history.db"


def test_what_was_kept_is_read(path: Path) -> None:
    history.add("A. Miller", found(), [("hose", "leak")], 2, path, NOON)
    (done,) = history.results("A. Miller", path)
    assert (done.trainee, done.drill, done.level, done.verdict) == ("A. Miller", "hiss", 2, "right")
    assert (done.spent, done.par, done.done, done.faults) == (
        3000.0, 2700.0, NOON, (("hose", "leak"),),
    )  # fmt: skip
    assert history.results("B", path) == []
    assert history.results("", path) == [done]


def test_a_trainee_can_be_forgotten_and_no_trace_is_left(path: Path) -> None:
    for name in ("A. Miller", "B. Stone", "A. Miller"):
        history.add(name, found(), [], 1, path, NOON)
    assert history.forget("A. Miller", path) == 2
    assert [done.trainee for done in history.results("", path)] == ["B. Stone"]
    assert b"Miller" not in path.read_bytes()
    assert history.forget("A. Miller", path) == 0


def test_nothing_is_there_before_the_first(path: Path) -> None:
    assert history.results("", path) == []
    assert history.forget("A", path) == 0
    assert not path.exists()


@pytest.mark.parametrize("name", ["", "   ", "x" * 61, "a\nb\x07"])
def test_what_cannot_be_a_name_is_refused(name: str, path: Path) -> None:
    with pytest.raises(InputError, match="cannot be a trainee's name"):
        history.add(name, found(), [], 1, path)


def test_what_is_played_again_is_marked_and_counts_once(path: Path) -> None:
    for trainee, title, verdict, run in (
        ("A", "hiss", "wrong", "r1"), ("A", "hiss", "right", "r2"), ("A", "bang", "right", "r3"),
        ("B", "hiss", "right", "r4"), ("B", "bang", "right", "r3"), ("C", "new", "right", ""),
        ("D", "old", "right", ""),
    ):  # fmt: skip
        history.add(trainee, found(verdict, title), [("hose", "leak")], 1, path, run=run)
    marks = [(done.trainee, done.drill, done.again) for done in history.results("", path)]
    assert [again for _, _, again in marks] == [False, True, False, False, True, False, False]
    assert [done.again for done in history.results("B", path)] == [False, True]
    of_a = history.progress(history.results("A", path))
    assert (of_a.done, of_a.right, of_a.again, of_a.weak) == (2, 1, 1, (("hose", 2, 1),))
    rows = list(csv.DictReader(io.StringIO(history.as_csv(history.results("", path)))))
    assert [row["again"] for row in rows] == ["", "yes", "", "", "yes", "", ""]
    assert history.holds("r3", path) and not history.holds("r9", path)


def test_a_drill_that_was_left_counts_as_begun_and_one_that_goes_on_takes_its_place(
    path: Path,
) -> None:
    history.begin("A", "hiss", 1, "r1", path, NOON)
    assert not history.holds("r1", path)
    history.add("A", found(), [], 1, path, run="r2")  # begun anew, with what was seen
    assert [(d.verdict, d.again) for d in history.results("", path)] == [
        ("left", False), ("right", True),
    ]  # fmt: skip
    of_a = history.progress(history.results("A", path))
    assert (of_a.done, of_a.right, of_a.again) == (1, 0, 1)
    history.add("A", found("partly right"), [], 1, path, run="r1")
    assert [(d.verdict, d.run, d.again) for d in history.results("", path)] == [
        ("partly right", "r1", False), ("right", "r2", True),
    ]  # fmt: skip
    assert history.holds("r1", path)


def test_a_history_of_format_1_is_read_as_it_is_and_renewed_when_it_is_written(path: Path) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute(history.TABLE.format(""))
        db.execute(f"PRAGMA application_id = {history.MARK}")
        db.execute("PRAGMA user_version = 1")
        db.execute(
            "INSERT INTO results VALUES (1,'A','hiss',2,'2026-05-04T12:00:00','right',1.0,1.0,0,"
            "'[]','[]')"
        )
    before = path.read_bytes()
    (done,) = history.results("A", path)
    assert (done.drill, done.run) == ("hiss", "") and path.read_bytes() == before
    history.add("A", found(), [], 2, path, run="r1")
    assert [(d.run, d.again) for d in history.results("A", path)] == [("", False), ("r1", True)]


def test_reading_changes_nothing_and_a_disk_that_refuses_is_no_bad_file(path: Path) -> None:
    path.write_bytes(b"")
    assert history.results("", path) == [] and path.read_bytes() == b""
    history.add("A", found(), [], 1, path)
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("BEGIN EXCLUSIVE")
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(history, "PATIENCE", 0.0)
            with pytest.raises(UnfinishedError, match="cannot be used"):
                history.add("A", found(), [], 1, path)
    with pytest.raises(UnfinishedError):
        history.check(path / "below a file")
    assert len(history.results("", path)) == 1


def damage_text(path: Path) -> None:
    path.write_text("not a database, but long enough to be looked at as one" * 40)


def damage_mark(path: Path) -> None:
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE results (x)")


def damage_version(path: Path) -> None:
    history.add("A", found(), [], 1, path)
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version = 9")


def damage_tables(path: Path) -> None:
    history.add("A", found(), [], 1, path)
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE more (x)")


def damage_row(path: Path) -> None:
    history.add("A", found(), [], 1, path)
    with sqlite3.connect(path) as db:
        db.execute("UPDATE results SET verdict = 'won'")


def damage_number(path: Path) -> None:
    history.add("A", found(), [], 1, path)
    with sqlite3.connect(path) as db:
        db.execute("UPDATE results SET level = 9e300")


def damage_letters(path: Path) -> None:
    history.add("A", found(), [], 1, path)
    with sqlite3.connect(path) as db:
        db.execute("UPDATE results SET drill = CAST(x'fffe' AS TEXT)")


@pytest.mark.parametrize(
    "damage",
    [
        damage_text,
        damage_mark,
        damage_version,
        damage_tables,
        damage_row,
        damage_number,
        damage_letters,
    ],
)
def test_another_or_a_damaged_file_is_told_and_kept(damage: object, path: Path) -> None:
    damage(path)  # type: ignore[operator]
    before = path.read_bytes()
    with pytest.raises(InputError) as error:
        history.results("", path)
    assert not isinstance(error.value, UnfinishedError)
    assert str(path) in str(error.value) and "\n" not in str(error.value)
    assert path.read_bytes() == before


def test_progress_says_what_is_weak_and_what_comes_next() -> None:
    def done(level: int, verdict: Verdict, kind: str) -> history.Done:
        return history.Done("A", "x", level, NOON, verdict, 1.0, 1.0, 0, (), ((kind, "leak"),))

    all_right = history.progress([done(1, "right", "hose"), done(1, "right", "hose")])
    assert (all_right.level, all_right.weak, all_right.right) == (2, (), 2)
    mixed = history.progress(
        [done(1, "right", "hose"), done(1, "wrong", "hose"), done(1, "wrong", "valve_3_2")]
    )
    assert mixed.level == 1
    assert mixed.weak == (("valve_3_2", 1, 0), ("hose", 2, 1))


def test_a_table_program_reads_the_csv_and_takes_no_name_for_a_formula(path: Path) -> None:
    history.add("=1+1", found(title='a, "b"'), [("hose", "leak")], 2, path, NOON)
    (row,) = csv.DictReader(io.StringIO(history.as_csv(history.results("", path))))
    assert row["trainee"] == "'=1+1"
    assert row["drill"] == 'a, "b"'
    assert (row["minutes"], row["par_minutes"], row["faults"]) == ("50.0", "45.0", "hose leak")
