"""Runs kept on disk: what survives a kill, going back, disks that refuse, files of others."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
import zlib
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pneumo.circuit.action import Action, Block, Repair, Swap
from pneumo.circuit.validate import load_text
from pneumo.errors import InputError
from pneumo.live.journal import Act
from pneumo.live.link import Past
from pneumo.live.session import Session
from pneumo.record import writing
from pneumo.record.file import runs_folder
from pneumo.record.reading import continuation, recorded, unfinished
from pneumo.record.tables import FORMAT
from pneumo.record.writing import Record, begin, open_run, set_aside
from pneumo.scenario.event import Commanded, Noted, RunEvent
from pneumo.zone.event import AlarmRaised, Refused, StateEntered
from pneumo.zone.evidence import Clue

ROOT = Path(__file__).parents[2]
CHANNELS = (("header pressure", "Pa"), ("trim_brake_1 gap", "m"))
MORNING = datetime(2026, 3, 1, 8, 30)
CLOSE = Act(1.0, "trainer", "close trim", False, 1.0)
LEAK = Act(2.0, "trainer", "fault trim_hose_2 leak 2 mm", True, 2.0)
STOP = Act(3.0, "trainee", "ride stop", False, 3.0)


def start(folder: Path, now: datetime | None = MORNING, **others: Any) -> Record:
    settings = {
        "path": "circuits/ride.yaml",
        "document": "# ein Kreis, größer\nride: {name: Sand Martin}\n",
        "ride": "Sand Martin",
        "channels": CHANNELS,
        "program": "0.1.0",
    }
    return begin(folder=folder, now=now, **{**settings, **others})


def cut_off(record: Record) -> Path:
    """As if the process were gone: the file is let go, nothing more is written."""
    record._let_go()
    return record.path


def past(
    rows: int,
    *events: float,
    first: float = 0.0,
    step: float = 0.5,
    epoch: int = 0,
    parting: float = 1e9,
) -> Past:
    """A past of so many rows whose values and events are others from `parting` on."""
    times = first + step * np.arange(rows)
    other = (times >= parting) * np.float32(1.0)
    values = np.column_stack((1e5 + times + other, 1e-3 * times)).astype(np.float32)
    happened = [
        RunEvent(t, "trim", Refused("open", "ride stopped", (f"{'other ' * (t >= parting)}{t:g}",)))
        for t in events
    ]
    return Past(epoch, times, values, happened)


def keep(record: Record, what: Past, reached: float | None = None) -> None:
    record.rows(what, float(what.times[-1]) if reached is None else reached)
    record.flush()


def test_a_run_can_be_continued_from_what_was_recorded(tmp_path: Path) -> None:
    record = start(tmp_path)
    record.acts([CLOSE, LEAK])
    seen = past(40, 1.0, 2.0)
    keep(record, seen, 20.25)
    path = cut_off(record)
    going_on = continuation(path)
    assert going_on.document == "# ein Kreis, größer\nride: {name: Sand Martin}\n"
    assert going_on.path == "circuits/ride.yaml"
    assert going_on.acts == (CLOSE, LEAK)
    assert going_on.reached == 20.25
    assert going_on.seat == "trainer"
    kept = recorded(path)
    assert (kept.names, kept.units) == (("header pressure", "trim_brake_1 gap"), ("Pa", "m"))
    assert kept.values.dtype == np.float32
    np.testing.assert_array_equal(kept.times, seen.times)
    np.testing.assert_array_equal(kept.values, seen.values)
    assert kept.events == seen.events


KILLED = """
import sys, time
from pathlib import Path
import numpy as np
from pneumo.live.journal import Act
from pneumo.live.link import Past
from pneumo.record.writing import begin
record = begin(path="ride.yaml", document="text", ride="Sand Martin", program="0",
               channels=[("a", "Pa")], folder=Path(sys.argv[1]))
journal = []
for i in range(200):
    journal.append(Act(i / 10, "trainer", f"close trim_{i}", i % 2 == 1, i / 10))
    times = np.arange(i + 1) / 10
    record.rows(Past(0, times, np.arange(i + 1.0)[:, None], []), i / 10)
    record.acts(journal)
    print(i, flush=True)
record.flush()
record.rows(Past(0, np.arange(201) / 10, np.arange(201.0)[:, None], []), 20.0)
print("ready", flush=True)
time.sleep(60)
"""


def test_what_was_committed_survives_a_kill(tmp_path: Path) -> None:
    child = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(tmp_path)], stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    while child.stdout.readline().strip() != "ready":
        assert child.poll() is None
    assert unfinished(tmp_path) == ([], [])  # it is still at work
    (path,) = tmp_path.glob("*.run")
    with pytest.raises(InputError, match="open in another program"):
        continuation(path)
    child.send_signal(signal.SIGKILL)
    child.wait()
    child.stdout.close()
    (run,), troubles = unfinished(tmp_path)
    assert troubles == []
    assert (run.ride, run.document, run.path) == ("Sand Martin", "ride.yaml", path)
    assert run.reached == 19.9
    going_on = continuation(run.path)
    assert len(going_on.acts) == 200
    assert going_on.acts[199] == (19.9, "trainer", "close trim_199", True, 19.9)
    kept = recorded(run.path)
    np.testing.assert_array_equal(kept.values[:, 0], np.arange(200, dtype=np.float32))
    np.testing.assert_array_equal(kept.times, np.arange(200) / 10)


def test_a_run_that_was_closed_is_not_offered_again(tmp_path: Path) -> None:
    record = start(tmp_path)
    record.acts([CLOSE])
    assert unfinished(tmp_path) == ([], [])
    record.close()
    assert unfinished(tmp_path) == ([], [])
    assert len(continuation(record.path).acts) == 1
    record.acts([CLOSE, STOP])  # closed: does nothing
    assert len(continuation(record.path).acts) == 1


def test_unfinished_runs_come_newest_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    paths = [cut_off(start(tmp_path, MORNING + timedelta(days=d), ride=f"r{d}")) for d in (1, 3, 2)]
    runs, _ = unfinished(tmp_path)
    assert [run.ride for run in runs] == ["r3", "r2", "r1"]
    assert runs[0].created == MORNING + timedelta(days=3)
    set_aside(paths[1])
    assert [run.ride for run in unfinished(tmp_path)[0]] == ["r2", "r1"]


def test_a_run_that_goes_on_keeps_one_file(tmp_path: Path) -> None:
    record = start(tmp_path)
    record.acts([CLOSE, LEAK])
    keep(record, past(20, 1.0))
    again = open_run(cut_off(record))
    assert unfinished(tmp_path) == ([], [])
    # the replay records everything from the beginning, and then more
    again.acts([CLOSE, LEAK])
    again.rows(past(20, 1.0, epoch=5), 9.5)
    again.acts([CLOSE, LEAK, STOP])
    keep(again, past(50, 1.0, 11.0, epoch=5))
    again.close()
    assert continuation(again.path).acts == (CLOSE, LEAK, STOP)
    kept = recorded(again.path)
    np.testing.assert_array_equal(kept.values, past(50).values)
    assert kept.events == past(0, 1.0, 11.0).events
    assert len(list(tmp_path.glob("*.run"))) == 1
    with closing(sqlite3.connect(again.path)) as db:
        assert db.execute("SELECT sum(rows) FROM blocks").fetchone()[0] == 50
        assert db.execute("SELECT count(*) FROM branches").fetchone()[0] == 0


def all_acts(path: Path) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(path)) as db:
        return db.execute("SELECT time, branch, gone FROM acts ORDER BY number").fetchall()


def test_acts_after_going_back_are_marked_and_not_deleted(tmp_path: Path) -> None:
    record = start(tmp_path)
    record.acts([CLOSE, LEAK, STOP])
    other = Act(1.5, "trainer", "open trim", False, 1.5)
    record.acts([CLOSE, other])
    path = cut_off(record)
    assert continuation(path).acts == (CLOSE, other)
    rows = all_acts(path)
    assert [row[0] for row in rows] == [1.0, 0.0, 3.0, 1.5]  # of what is hidden not even when
    assert [row[2] is None for row in rows] == [True, False, False, True]
    assert rows[3][1] == rows[1][2] > rows[0][1]


def test_undo_and_redo(tmp_path: Path) -> None:
    record = start(tmp_path)
    record.acts([CLOSE, STOP])
    record.acts([CLOSE])
    record.acts([CLOSE, STOP])
    path = cut_off(record)
    assert continuation(path).acts == (CLOSE, STOP)
    assert [row[2] is None for row in all_acts(path)] == [True, False, True]


def follows(path: Path, what: Past) -> None:
    kept = recorded(path)
    np.testing.assert_array_equal(kept.times, what.times)
    np.testing.assert_array_equal(kept.values, what.values)
    assert kept.events == what.events


def test_channels_and_events_follow_the_branch_that_stands(tmp_path: Path) -> None:
    record = start(tmp_path)
    keep(record, past(100, 1.0, 2.0, 40.0))
    after = past(30, 1.0, 2.0, 5.1, epoch=1, parting=5.0)
    keep(record, after)
    keep(record, past(31, 1.0, 2.0, 5.1, 15.0, epoch=1, parting=5.0))
    record.close()
    follows(record.path, past(31, 1.0, 2.0, 5.1, 15.0, parting=5.0))
    with closing(sqlite3.connect(record.path)) as db:
        assert db.execute("SELECT sum(rows) FROM blocks").fetchone()[0] == 100 + 21
        assert db.execute("SELECT count(*) FROM events").fetchone()[0] == 3 + 2


@pytest.mark.parametrize(
    ("first", "second"),
    [
        # rows differ before events do, and the other way round
        (past(40, 1.0, 9.0, 12.0), past(40, 1.0, 9.0, 12.0, epoch=1, parting=10.0)),
        (past(40, 1.0, 9.0, 12.0), past(40, 1.0, 8.9, epoch=1, parting=15.0)),
        (past(40, 1.0, 9.0), past(20, 1.0, 9.0, epoch=1)),
        (past(40, 1.0, 9.0), past(4, epoch=1)),
        (past(40, 1.0, 9.0), past(40, 1.0, 9.0, 9.0, epoch=1)),
        (past(40, 9.0, 9.0), past(40, 9.0, epoch=1)),
        (past(0), past(3, 1.0, epoch=1)),
    ],
)
def test_whatever_changes_in_the_past_is_read_as_it_is(
    tmp_path: Path, first: Past, second: Past
) -> None:
    record = start(tmp_path)
    keep(record, first, 1.0)
    record.acts([CLOSE])
    keep(record, second, 1.0)
    record.acts([])
    keep(record, past(50, 1.0, epoch=2, parting=3.0))
    keep(record, second._replace(epoch=3), 1.0)
    record.close()
    follows(record.path, second)
    # an earlier branch is not lost: every row ever written is in the file
    with closing(sqlite3.connect(record.path)) as db:
        rows = db.execute("SELECT sum(rows) FROM blocks").fetchone()[0]
    assert rows >= max(len(first.times), len(second.times), 50)


def test_undoing_an_act_does_not_cut_what_stays_the_same(tmp_path: Path) -> None:
    record = start(tmp_path)
    late = Act(5.0, "trainer", "close trim", False, 5.0)
    record.acts([CLOSE, late])
    keep(record, past(20, 1.0))
    record.acts([CLOSE])
    # the plant takes no notice before 7 s
    keep(record, past(20, 1.0, epoch=1, parting=7.0))
    record.close()
    follows(record.path, past(20, 1.0, parting=7.0))


def test_hidden_acts_are_sealed_in_the_file(tmp_path: Path) -> None:
    record = start(tmp_path)
    record.acts([CLOSE, LEAK])
    record.close()
    data = record.path.read_bytes()
    assert b"close trim" in data and b"leak" not in data and b"trim_hose_2" not in data


def test_a_fault_that_is_shown_later_changes_no_branch(tmp_path: Path) -> None:
    record = start(tmp_path)
    keep(record, past(10))
    record.acts([CLOSE, LEAK])
    branch = record._branch
    record.acts([CLOSE, LEAK._replace(hidden=False)])
    assert record._branch == branch
    record.close()
    assert continuation(record.path).acts[1] == LEAK._replace(hidden=False)


def test_long_stretches_are_cut_into_blocks(tmp_path: Path) -> None:
    record = start(tmp_path)
    keep(record, past(2500))
    record.close()
    with closing(sqlite3.connect(record.path)) as db:
        rows = db.execute("SELECT rows FROM blocks").fetchall()
    assert [count for (count,) in rows] == [1000, 1000, 500]
    follows(record.path, past(2500))


def test_rows_wait_for_about_a_second(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seconds = [100.0]
    monkeypatch.setattr(writing.clock, "monotonic", lambda: seconds[0])
    record = start(tmp_path)
    writes: list[str] = []
    assert record._db is not None
    record._db.set_trace_callback(writes.append)
    record.rows(past(5, 0.1), 0.25)
    assert writes == []
    seconds[0] += 1.0
    record.rows(past(6, 0.1), 0.3)
    assert writes[0] == "BEGIN" and writes[-1] == "COMMIT"
    assert cut_off(record).exists() and len(recorded(record.path).times) == 6
    assert continuation(record.path).reached == 0.3


def test_many_rows_are_written_little_by_little(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seconds = [100.0]
    monkeypatch.setattr(writing.clock, "monotonic", lambda: seconds[0])
    record = start(tmp_path)
    whole = past(5000, 1.0)
    written = []
    for _ in range(4):
        seconds[0] += 1.0
        record.rows(whole, 1.0)
        written.append(len(record._times))
    assert written == [2000, 4000, 5000, 5000]
    # another past comes while the last one is being written
    keep(record, past(5000, 1.0, epoch=1, parting=100.0))
    seconds[0] += 1.0
    record.rows(past(5000, 1.0, epoch=2, parting=50.0), 1.0)
    record.close()
    follows(record.path, past(5000, 1.0, parting=50.0))


def test_a_folder_that_cannot_be_made_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(InputError) as caught:
        start(tmp_path / "file" / "runs")
    message = str(caught.value)
    assert message.startswith("This run is not recorded: ")
    assert message.endswith("the ride goes on.") and "\n" not in message
    assert unfinished(tmp_path / "file" / "runs") == ([], [])


@pytest.mark.parametrize(
    ("pragma", "word"),
    [("PRAGMA max_page_count = 1", "full"), ("PRAGMA query_only = 1", "write-protected")],
)
def test_a_disk_that_refuses_ends_the_record_in_one_sentence(
    tmp_path: Path, pragma: str, word: str
) -> None:
    record = start(tmp_path)
    record.acts([CLOSE])
    assert record._db is not None
    record._db.execute(pragma)
    journal = [CLOSE]
    with pytest.raises(InputError) as caught:
        for _ in range(2000):
            journal.append(Act(2.0, "trainer", "x" * 200, False, 2.0))
            record.acts(journal)
    message = str(caught.value)
    assert word in message and str(record.path) in message and message.endswith("goes on.")
    # nothing is asked of the disk any more, and what was committed before is whole
    record.acts([CLOSE, STOP])
    record.rows(past(3), 1.0)
    record.flush()
    record.close()
    assert continuation(record.path).acts == tuple(journal[:-1])


def damaged(folder: Path) -> Path:
    record = start(folder)
    record.acts([CLOSE])
    record.close()
    data = bytearray(record.path.read_bytes())
    data[100:] = b"\x55" * (len(data) - 100)
    record.path.write_bytes(bytes(data))
    return record.path


def foreign(folder: Path) -> Path:
    path = folder / "other.run"
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE meta (closed INTEGER)")
        db.commit()
    return path


def text_file(folder: Path) -> Path:
    path = folder / "notes.run"
    path.write_text("not a database at all, but rather long: " * 100)
    return path


def empty_file(folder: Path) -> Path:
    path = folder / "empty.run"
    path.touch()
    return path


def newer(folder: Path) -> Path:
    path = cut_off(start(folder))
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA user_version = 99")
    return path


def without_rows(folder: Path) -> Path:
    path = cut_off(start(folder))
    with closing(sqlite3.connect(path)) as db:
        db.execute("DELETE FROM meta")
        db.commit()
    return path


def bad_date(folder: Path) -> Path:
    path = cut_off(start(folder))
    with closing(sqlite3.connect(path)) as db:
        db.execute("UPDATE meta SET written = 'yesterday', reached = NULL")
        db.commit()
    return path


@pytest.mark.parametrize(
    "make", [damaged, foreign, text_file, empty_file, newer, without_rows, bad_date]
)
def test_a_file_that_is_no_run_is_reported_and_skipped(tmp_path: Path, make: Any) -> None:
    good = cut_off(start(tmp_path, MORNING + timedelta(days=1)))
    path = make(tmp_path)
    runs, (trouble,) = unfinished(tmp_path)
    assert [run.path for run in runs] == [good]
    assert str(path) in trouble and trouble.endswith("it is left out.") and "\n" not in trouble
    with pytest.raises(InputError):
        continuation(path)
    assert path.exists()
    # a new run begins beside it
    start(tmp_path).close()


@pytest.mark.parametrize("use", [continuation, open_run, recorded])
def test_a_missing_run_is_one_sentence(tmp_path: Path, use: Any) -> None:
    with pytest.raises(InputError, match="there is no such recorded run"):
        use(tmp_path / "none.run")
    assert list(tmp_path.iterdir()) == []


def test_a_torn_block_or_seal_is_one_sentence(tmp_path: Path) -> None:
    record = start(tmp_path)
    record.acts([LEAK])
    keep(record, past(10))
    record.close()
    with closing(sqlite3.connect(record.path)) as db:
        db.execute("UPDATE blocks SET data = x'00'")
        db.execute("UPDATE acts SET sentence = 'zzzz'")
        db.commit()
    for use in (continuation, open_run, recorded):
        with pytest.raises(InputError) as caught:
            use(record.path)
        assert "\n" not in str(caught.value)
    assert unfinished(tmp_path) == ([], [])  # no lock is left behind by those that failed


LONG = "x" * 8_000_001
FOREIGN = zlib.compress(b"\0" * 400)


@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE branches SET parent = number",
        "UPDATE branches SET parent = 2 - (number = 2)",  # each other's
        "UPDATE branches SET parent = 77 WHERE number = 1",
        "UPDATE branches SET parent = -1",
        "UPDATE branches SET since = 'noon'",
        "UPDATE meta SET branch = 99",
        "UPDATE meta SET branch = 'main'",
        "UPDATE meta SET document = NULL",
        "UPDATE meta SET document = x'0102'",
        f"UPDATE meta SET document = '{LONG}'",
        "UPDATE meta SET reached = 9e999",
        "UPDATE meta SET reached = 'far'",
        "UPDATE meta SET channels = '{}'",
        "UPDATE meta SET channels = '[[1, 2]]'",
        "UPDATE meta SET channels = '['",
        "UPDATE acts SET sentence = NULL",
        "UPDATE acts SET sentence = x'00', hidden = 0",
        f"UPDATE acts SET sentence = '{LONG}'",
        "UPDATE acts SET time = 1e300",
        "UPDATE acts SET entered = NULL",
        "UPDATE events SET what = NULL",
        "UPDATE events SET what = 'open -> closing'",
        "UPDATE events SET time = 'noon'",
        "UPDATE blocks SET rows = 1000000000",
        "UPDATE blocks SET rows = -1",
        "UPDATE blocks SET times = 'text'",
        "DROP TABLE events",
        "ALTER TABLE acts ADD COLUMN more TEXT",
        "CREATE TRIGGER t AFTER UPDATE ON meta BEGIN DELETE FROM acts; END",
        "ALTER TABLE events RENAME TO past; CREATE VIEW events AS WITH RECURSIVE r(n) AS "
        "(SELECT 1 UNION ALL SELECT n + 1 FROM r) SELECT n AS number, 0 AS branch, 0.0 AS time, "
        "'b' AS subject, 'c' AS what FROM r",
    ],
)
def test_a_record_of_a_damaged_structure_is_refused_and_not_followed(
    tmp_path: Path, damage: str
) -> None:
    record = start(tmp_path)
    record.acts([CLOSE, LEAK])
    keep(record, past(40, 1.0, 2.0))
    for number in (1, 2):
        record.acts([CLOSE])
        keep(record, past(30 + number, 1.0, 5.0, epoch=number, parting=4.0 + number))
    path = cut_off(record)
    assert recorded(path).events
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("SELECT count(*) FROM branches").fetchone()[0] >= 2
        db.executescript(damage)
    for use in (continuation, open_run, recorded):
        with pytest.raises(InputError) as caught:
            use(path)
        assert str(path) in str(caught.value) and str(caught.value).endswith("it is left out.")
        assert "\n" not in str(caught.value) and len(str(caught.value)) < 400
    runs, (trouble,) = unfinished(tmp_path)
    assert runs == [] and str(path) in trouble
    start(tmp_path).close()


@pytest.mark.parametrize("column", ["times", "data"])
@pytest.mark.parametrize(
    "blob", [b"", b"\0" * 50, FOREIGN, FOREIGN[:-3], zlib.compress(b"\0" * 50_000_000, 9)]
)
def test_a_block_of_another_size_than_it_says_is_refused(
    tmp_path: Path, column: str, blob: bytes
) -> None:
    record = start(tmp_path)
    keep(record, past(40))
    path = cut_off(record)
    with closing(sqlite3.connect(path)) as db:
        db.execute(f"UPDATE blocks SET {column} = ?", (blob,))
        db.commit()
    for use in (open_run, recorded):
        with pytest.raises(InputError, match="it is left out"):
            use(path)


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.9])
def test_a_record_that_is_cut_short_is_one_sentence(tmp_path: Path, share: float) -> None:
    record = start(tmp_path)
    keep(record, past(4000, 1.0))
    record.close()
    data = record.path.read_bytes()
    record.path.write_bytes(data[: int(share * len(data))])
    for use in (continuation, open_run, recorded):
        try:
            use(record.path)  # what was cut off may not be what is read
        except InputError as error:
            assert "\n" not in str(error) and str(record.path) in str(error)
        else:
            assert use is not recorded


def test_old_closed_runs_are_removed_and_unfinished_ones_are_not(tmp_path: Path) -> None:
    for day in range(4):
        start(tmp_path, MORNING + timedelta(days=day)).close()
    left = cut_off(start(tmp_path, MORNING - timedelta(days=400), kept=50))
    alive = start(tmp_path, MORNING - timedelta(days=500), kept=50)
    last = start(tmp_path, MORNING + timedelta(days=9), kept=2)
    days = sorted(path.name[:10] for path in tmp_path.glob("*.run"))
    assert days == ["2024-10-17", "2025-01-25", "2026-03-03", "2026-03-04", "2026-03-10"]
    assert left.exists() and alive.path.exists() and last.path.exists()


def test_runs_that_begin_in_one_second_have_files_of_their_own(tmp_path: Path) -> None:
    assert len({start(tmp_path).path for _ in range(3)}) == 3


def test_runs_lie_in_the_folder_for_the_state_of_programs() -> None:
    assert runs_folder().parts[-2:] == ("pneumo", "runs")


def test_a_trainees_run_is_offered_to_the_trainees_seat(tmp_path: Path) -> None:
    path = cut_off(start(tmp_path, seat="trainee"))
    (run,), _ = unfinished(tmp_path)
    assert run.seat == continuation(path).seat == "trainee"


def test_a_ride_goes_on_exactly_where_it_was_cut_off(tmp_path: Path) -> None:
    document = (ROOT / "circuits" / "01_spring_open_single.yaml").read_text(encoding="utf-8")
    ride = Session(load_text(document, "single"), document)
    channels = [(channel.name, channel.unit) for channel in ride.plant.channels]
    record = start(tmp_path, document=document, channels=channels)
    for moment, sentence in (
        (1.0, "close trim"),
        (2.0, "fault hose_1 leak 2 mm"),
        (3.0, "ride stop"),
    ):
        ride.advance(moment)
        ride.do("trainer", sentence, hidden=sentence.startswith("fault"))
        record.acts(ride.acts.journal)
        record.rows(ride.recorder.past, ride.newest)
    ride.advance(4.0)
    keep(record, ride.recorder.past, ride.newest)
    ride.go_to(2.5)
    ride.do("trainer", "open trim")
    record.acts(ride.acts.journal)
    ride.advance(5.0)
    keep(record, ride.recorder.past, ride.newest)
    cut_off(record)
    follows(record.path, ride.recorder.past)

    going_on = continuation(record.path)
    again = Session(load_text(going_on.document, going_on.path), going_on.document)
    again.restart(going_on.acts, going_on.reached)
    np.testing.assert_array_equal(again.play.plant.state(), ride.play.plant.state())
    assert again.acts.journal == ride.acts.journal and again.acts.hidden == ride.acts.hidden
    record = open_run(record.path)
    record.acts(again.acts.journal)
    again.advance(6.0)
    keep(record, again.recorder.past, again.newest)
    record.close()
    follows(record.path, again.recorder.past)


# drills


def test_the_record_of_a_drill_is_never_without_its_fault(tmp_path: Path) -> None:
    """Cut off at once, before anything else is written."""
    path = cut_off(
        start(tmp_path, seat="trainee", acts=[CLOSE, LEAK], drill="Morning round", begins=4.0)
    )
    going_on = continuation(path)
    assert going_on.acts == (CLOSE, LEAK)
    assert (going_on.drill, going_on.begins, going_on.seat) == ("Morning round", 4.0, "trainee")
    record = open_run(path)
    record.acts([CLOSE, LEAK, STOP])
    record.close()
    assert continuation(path).acts == (CLOSE, LEAK, STOP)


def test_work_at_the_machine_is_kept_as_it_was_done(tmp_path: Path) -> None:
    work: tuple[Action, ...] = (
        Repair("replace", "valve", "14"), Repair("clean", "silencer"), Block("brake_1", True),
        Swap("valve.14", "other.14"),
    )  # fmt: skip
    acts = tuple(Act(2.0, "trainee", action.text, False, 2.0) for action in work)
    events = [RunEvent(2.0, "valve", Commanded(action)) for action in work]
    record = start(tmp_path)
    record.acts(acts)
    keep(record, past(40)._replace(events=events))
    path = cut_off(record)
    assert continuation(path).acts == acts
    assert recorded(path).events == events


def test_a_run_without_a_drill_has_none(tmp_path: Path) -> None:
    going_on = continuation(cut_off(start(tmp_path)))
    assert (going_on.drill, going_on.begins) == ("", 0.0)


def test_an_event_that_is_none_is_not_shown(tmp_path: Path) -> None:
    record = start(tmp_path)
    keep(record, past(40, 1.0))
    path = cut_off(record)
    with closing(sqlite3.connect(path)) as db:
        db.execute("UPDATE events SET what = ?", ('["StateEntered", ["open", "half open"]]',))
        db.commit()
    assert continuation(path).acts == (), "what was done is read all the same"
    for use in (open_run, recorded):
        with pytest.raises(InputError, match="an event of it is damaged"):
            use(path)


def test_a_record_whose_events_were_sentences_is_read_and_continued(tmp_path: Path) -> None:
    """As earlier versions wrote it: their sentences are shown, and nothing is read from them."""
    record = start(tmp_path)
    record.acts([CLOSE])
    keep(record, past(40, 1.0, 2.0))
    path = cut_off(record)
    with closing(sqlite3.connect(path)) as db:
        db.executescript(
            "DROP TABLE events; CREATE TABLE events (\n    number INTEGER PRIMARY KEY, branch "
            "INTEGER, time REAL, kind TEXT, subject TEXT, text TEXT\n); PRAGMA user_version = 1; "
            "INSERT INTO events (branch, time, kind, subject, text) VALUES "
            "(0, 1.0, 'contact', 'trim_open', 'broken'), "
            "(0, 2.0, 'state', 'trim', 'open -> closing'), "
            "(0, 3.0, 'jaw', 'trim', 'of no kind that there is');"
        )
    (run,), troubles = unfinished(tmp_path)
    assert run.path == path and troubles == []
    assert continuation(path).acts == (CLOSE,)
    assert recorded(path).events == [
        RunEvent(1.0, "trim_open", Noted("contact", "OFF")),
        RunEvent(2.0, "trim", Noted("state", "open -> closing")),
    ]
    record = open_run(path)
    keep(record, past(60, 1.0, 2.0, 29.0, epoch=1))
    record.close()
    assert [event.time for event in recorded(path).events] == [1.0, 2.0, 29.0]
    assert recorded(path).events[-1].what == Refused("open", "ride stopped", ("29",))


def test_a_record_whose_reasons_were_clauses_is_read_and_continued(tmp_path: Path) -> None:
    """As format 2 had them: they are shown as they were, all other events are what they were."""
    record = start(tmp_path)
    record.acts([CLOSE])
    keep(record, past(40, 1.0, 2.0))
    path = cut_off(record)
    with closing(sqlite3.connect(path)) as db:
        db.executescript(
            "DELETE FROM events; PRAGMA user_version = 2; "
            "INSERT INTO events (branch, time, subject, what) VALUES "
            """(0, 1.0, 'trim', '["AlarmRaised", ["low supply", true, "p is OFF: so, q"]]'), """
            """(0, 1.0, '', '["AlarmRaised", ["low ride supply", false, "s is OFF"]]'), """
            """(0, 2.0, '', '["Refused", ["reset", "still faulted: trim", true]]'), """
            """(0, 3.0, 'trim', '["Refused", ["open", "the zone is faulted", false]]'), """
            """(0, 4.0, 'trim', '["StateEntered", ["open", "closing"]]');"""
        )
    assert continuation(path).acts == (CLOSE,)
    kept = [
        RunEvent(1.0, "trim", Noted("alarm", "first out: low supply: p is OFF: so, q")),
        RunEvent(1.0, "", Noted("alarm", "low ride supply: s is OFF")),
        RunEvent(2.0, "", Noted("refused", "reset of the ride stop refused: still faulted: trim")),
        RunEvent(3.0, "trim", Noted("refused", "open refused: the zone is faulted")),
        RunEvent(4.0, "trim", StateEntered("open", "closing")),
    ]
    assert recorded(path).events == kept
    record = open_run(path)
    keep(record, past(60, 29.0, epoch=1))
    record.close()
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (FORMAT,)
    assert [event.time for event in recorded(path).events] == [29.0]


def test_a_damaged_event_of_format_2_is_told(tmp_path: Path) -> None:
    record = start(tmp_path)
    keep(record, past(40, 1.0))
    path = cut_off(record)
    for what in ('["AlarmRaised", ["low supply", 1, "p"]]', '["Refused", ', b"[]"):
        with closing(sqlite3.connect(path)) as db:
            db.execute("UPDATE events SET what = ?", (what,))
            db.execute("PRAGMA user_version = 2")
            db.commit()
        with pytest.raises(InputError, match="an event of it is damaged"):
            recorded(path)


def test_an_alarm_of_a_long_zone_is_kept_with_every_switch(tmp_path: Path) -> None:
    record = start(tmp_path)
    clues = tuple(Clue("closed switch", f"storage_brake_{n}", False) for n in range(400))
    raised = RunEvent(1.0, "storage", AlarmRaised("close time exceeded", True, clues))
    keep(record, past(4)._replace(events=[raised]))
    record.close()
    assert recorded(record.path).events == [raised]


def test_a_foreign_table_is_not_renewed(tmp_path: Path) -> None:
    path = cut_off(start(tmp_path))
    with closing(sqlite3.connect(path)) as db:
        db.executescript(
            "DROP TABLE events; CREATE VIEW events AS SELECT 1 AS number, 0 AS branch, 0.0 AS "
            "time, 'state' AS kind, 'b' AS subject, 'c' AS text; PRAGMA user_version = 1"
        )
    with pytest.raises(InputError, match="not those of this program"):
        recorded(path)
