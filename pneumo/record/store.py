"""One run in one SQLite file, so that nothing that was done is lost when the program is killed.

The file is held with a lock for as long as its process lives: a run that can be opened, and that
nobody closed, is one that can be continued. To continue is to replay its acts on the document kept
with it, which gives the same run again, bit for bit.

Acts are committed at once; events, recorded channels and the time reached about once a second.
Nothing is deleted when someone goes back: what came after belongs to an earlier *branch* from then
on. A disk that is full or write-protected stops the record, in one sentence, and not the ride.

The time of day is taken only here, to tell runs from each other, and never enters a simulation.
"""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import time as clock
import zlib
from collections.abc import Iterator, Sequence
from datetime import datetime
from math import inf
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from platformdirs import user_state_path

from pneumo.circuit.former import STATES, renewed_text
from pneumo.errors import InputError
from pneumo.live.journal import Act
from pneumo.live.link import Past
from pneumo.live.request import Seat
from pneumo.live.seal import seal, unseal
from pneumo.packing import PackingError, pack_one, unpack
from pneumo.scenario.event import EVENT_KINDS, Happening, Noted, RunEvent

Array = NDArray[Any]

FORMAT = 2
"""Version of the tables below; a file of another one is left alone."""

MARK = 0x706E6575
"""SQLite's application id of a run: "pneu"."""

KEPT = 50
"""Closed runs that are kept; older ones are removed when a run begins."""

FLUSH = 1.0
"""Time between two writings of events and channels [s], by the clock of the machine."""

BLOCK = 1000
"""Rows of channels in one block at most."""

AT_ONCE = 2 * BLOCK
"""Rows that are written at one time while the ride runs: after an act was undone there may be many,
and the ride must not wait for them."""

LONGEST_RUN = 1e9
"""Times in a record [s]."""

LONGEST_TEXT = 8_000_000
"""Letters of one text in it: a document that was read is not longer."""

MOST_CHANNELS = 200_000

SUFFIX = ".run"

_TABLES = """
CREATE TABLE meta (
    program TEXT, path TEXT, document TEXT, ride TEXT, channels TEXT, created TEXT, written TEXT,
    closed INTEGER, pid INTEGER, seat TEXT, reached REAL, branch INTEGER
);
CREATE TABLE branches (number INTEGER PRIMARY KEY, parent INTEGER, since REAL, made TEXT);
CREATE TABLE acts (
    number INTEGER PRIMARY KEY, branch INTEGER, gone INTEGER,
    time REAL, seat TEXT, sentence TEXT, hidden INTEGER, entered REAL
);
CREATE TABLE events (
    number INTEGER PRIMARY KEY, branch INTEGER, time REAL, subject TEXT, what TEXT
);
CREATE TABLE blocks (
    number INTEGER PRIMARY KEY, branch INTEGER, rows INTEGER, times BLOB, data BLOB
);
"""
_FORMER_EVENTS = (
    "CREATE TABLE events ( number INTEGER PRIMARY KEY, branch INTEGER, time REAL, kind TEXT, "
    "subject TEXT, text TEXT )"
)
"""Of format 1, whose events were sentences."""

_DRILL = "CREATE TABLE drill (title TEXT, begins REAL)"
"""Only in the record of a drill."""
# events.what: a record of `scenario.event`, packed
# acts.gone: branch that an act does not belong to any more; NULL: it still stands
# branches.since: of the branches before it, what lies before this time belongs to it; NULL: all


class Unfinished(NamedTuple):
    """A run that was cut off: its process is gone and nobody closed it."""

    path: Path
    ride: str
    document: str
    """Path of its document, as it was given."""
    reached: float
    """[s]"""
    created: datetime
    written: datetime
    """When something was last written."""
    seat: Seat
    """Seat it was run from; it must be continued there, or its hidden faults are shown."""


class Continuation(NamedTuple):
    """What it takes to go on with a run."""

    document: str
    """Text of the document."""
    path: str
    """Path of the document, as it was given."""
    acts: tuple[Act, ...]
    """Those that stand, in order."""
    reached: float
    """[s]"""
    seat: Seat
    """See `Unfinished.seat`."""
    drill: str = ""
    """Title of the drill that was practised; "" = none."""
    begins: float = 0.0
    """Where the drill began [s]."""


class Recorded(NamedTuple):
    """What was recorded of a run, along the branch that stands."""

    names: tuple[str, ...]
    units: tuple[str, ...]
    times: Array
    """(n,) [s], ascending."""
    values: Array
    """(n, channels) float32"""
    events: list[RunEvent]


def runs_folder() -> Path:
    """Where runs are kept unless another folder is given."""
    return user_state_path("pneumo", appauthor=False) / "runs"


class Record:
    """The run that is going on. For one thread at a time.

    A call that cannot write raises InputError, once; after that every call does nothing.
    """

    def __init__(self, path: Path, db: sqlite3.Connection) -> None:
        """Use `begin` or `open_run`."""
        self.path = path
        self._db: sqlite3.Connection | None = db
        self._branch = 0
        self._journal: list[Act] = []
        self._numbers: list[int] = []
        """Of the acts of the journal, in the file."""
        self._latest: Past | None = None
        """As it was given last."""
        self._epoch: int | None = None
        self._times: Array = np.zeros(0)
        """Of the rows that are written, along the branch, as far as they are whole in the past."""
        self._values: Array = np.zeros((0, 0), dtype=np.float32)
        self._events: list[RunEvent] = []
        """Those that are written, along the branch."""
        self._whole_from = -inf
        self._reached = 0.0
        self._flushed = clock.monotonic()

    def acts(self, journal: Sequence[Act]) -> None:
        """Keeps the journal as it is now, whole: new acts are added, those that it no longer has
        are marked as of an earlier branch. Committed before this returns."""
        if self._db is None:
            return
        same = 0
        for old, new in zip(self._journal, journal, strict=False):
            if old._replace(hidden=new.hidden) != new:
                break
            same += 1
        shown = [i for i in range(same) if self._journal[i].hidden != journal[i].hidden]
        if same == len(self._journal) == len(journal) and not shown:
            return
        with self._writing() as db:
            for i in shown:
                self._journal[i] = act = journal[i]
                db.execute(
                    "UPDATE acts SET sentence = ?, hidden = ? WHERE number = ?",
                    (_stored(act), act.hidden, self._numbers[i]),
                )
            if same < len(self._journal):
                self._fork(db, inf)
                for number in self._numbers[same:]:
                    db.execute("UPDATE acts SET gone = ? WHERE number = ?", (self._branch, number))
                del self._journal[same:], self._numbers[same:]
            for act in journal[same:]:
                self._add_act(db, act)
            self._note(db)

    def _add_act(self, db: sqlite3.Connection, act: Act) -> None:
        done = db.execute(
            "INSERT INTO acts (branch, time, seat, sentence, hidden, entered) VALUES (?,?,?,?,?,?)",
            (self._branch, act.time, act.seat, _stored(act), act.hidden, act.entered),
        )
        self._journal.append(act)
        self._numbers.append(done.lastrowid or 0)

    def rows(self, past: Past, reached: float) -> None:
        """Takes what is new of the channels and events, about once a second.

        `reached`: how far the run has come [s]. When the past is another than before, because
        somebody went back and acted, what was recorded and is no longer in it belongs to an
        earlier branch from then on.
        """
        if self._db is None:
            return
        self._latest, self._reached = past, reached
        if clock.monotonic() - self._flushed >= FLUSH:
            with self._writing() as db:
                self._write_out(db, AT_ONCE)

    def flush(self) -> None:
        """Writes what has not been written yet."""
        if self._db is not None:
            with self._writing() as db:
                self._write_out(db)

    def close(self) -> None:
        """Writes the rest and marks the run as closed by its people."""
        if self._db is None:
            return
        with self._writing() as db:
            self._write_out(db)
            db.execute("UPDATE meta SET closed = 1")
        self._let_go()

    def _read(self) -> None:
        """What the file holds, as if this record had written it."""
        db = self._db
        assert db is not None
        self._branch, self._reached, channels = db.execute(
            "SELECT branch, reached, channels FROM meta"
        ).fetchone()
        standing = db.execute(f"SELECT number, {_ACT} WHERE gone IS NULL ORDER BY number")
        for number, *act in standing.fetchall():
            self._journal.append(_opened(act))
            self._numbers.append(number)
        self._times, self._values, self._events = _along_branch(
            db, self._branch, len(json.loads(channels))
        )

    @contextlib.contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction; a failure ends the record."""
        db = self._db
        assert db is not None
        try:
            db.execute("BEGIN")
            yield db
            db.execute("COMMIT")
        except (sqlite3.Error, OSError) as error:
            self._let_go()
            raise InputError(
                f"This run is no longer recorded: {_reason(error)} ({self.path}); the ride goes on."
            ) from error

    def _write_out(self, db: sqlite3.Connection, most: int | None = None) -> None:
        """New rows, up to so many, and events of the latest past, and how far the run has come."""
        self._flushed = clock.monotonic()
        past = self._latest
        if past is not None:
            # rows of long ago, thinned out by now, have been written whole
            whole = int(np.searchsorted(past.times, past.whole_from))
            times, values = past.times[whole:], past.values[whole:]
            known = int(np.searchsorted(self._times, past.whole_from))
            self._times, self._values = self._times[known:], self._values[known:]
            went_back = past.whole_from < self._whole_from
            self._whole_from = past.whole_from
            events = past.events[:]
            if past.epoch != self._epoch:
                self._epoch = past.epoch
                since = self._parting(times, values, events)
                if went_back:
                    since = min(since, past.whole_from)
                if since < inf:
                    self._fork(db, since)
                    written = int(np.searchsorted(self._times, since))
                    self._times, self._values = self._times[:written], self._values[:written]
                    self._events = [event for event in self._events if event.time < since]
            end = len(times) if most is None else min(len(times), len(self._times) + most)
            self._add_rows(db, times[:end], values[:end])
            self._add_events(db, events)
        self._note(db)

    def _parting(self, times: Array, values: Array, events: list[RunEvent]) -> float:
        """Time from which on a past differs from what is written [s]; inf: it only goes on."""
        rows = min(len(self._times), len(times))
        alike = self._times[:rows] == times[:rows]
        if rows:
            old_values, new_values = self._values[:rows], values[:rows]
            unseen = np.isnan(old_values) & np.isnan(new_values)
            alike &= np.all((old_values == new_values) | unseen, axis=1)
        first = rows if alike.all() else int(np.argmin(alike))
        found = inf
        if first < len(self._times):
            found = float(min(self._times[first], times[first] if first < len(times) else inf))
        count = 0
        for old, new in zip(self._events, events, strict=False):
            if old != new:
                break
            count += 1
        if count < len(self._events):
            found = min(found, self._events[count].time)
            found = min(found, events[count].time if count < len(events) else inf)
        return found

    def _add_rows(self, db: sqlite3.Connection, times: Array, values: Array) -> None:
        for i in range(len(self._times), len(times), BLOCK):
            end = min(i + BLOCK, len(times))
            row = (
                self._branch,
                end - i,
                zlib.compress(times[i:end].astype("<f8").tobytes(), 1),
                # channel by channel: neighbours in time are alike and pack well
                zlib.compress(values[i:end].T.astype("<f4").tobytes(), 1),
            )
            db.execute("INSERT INTO blocks (branch, rows, times, data) VALUES (?,?,?,?)", row)
        # views: what has been handed out is never written again
        self._times, self._values = times, values

    def _add_events(self, db: sqlite3.Connection, events: list[RunEvent]) -> None:
        fresh = events[len(self._events) :]
        db.executemany(
            "INSERT INTO events (branch, time, subject, what) VALUES (?,?,?,?)",
            [(self._branch, e.time, e.subject, _packed(e.what)) for e in fresh],
        )
        self._events += fresh

    def _note(self, db: sqlite3.Connection) -> None:
        now = datetime.now().isoformat()
        db.execute("UPDATE meta SET reached = ?, written = ?", (self._reached, now))

    def _fork(self, db: sqlite3.Connection, since: float) -> None:
        """From now on a new branch is written; of those before it, what lies before `since` [s]
        belongs to it."""
        made = db.execute(
            "INSERT INTO branches (parent, since, made) VALUES (?,?,?)",
            (self._branch, None if since == inf else since, datetime.now().isoformat()),
        )
        self._branch = made.lastrowid or 0
        db.execute("UPDATE meta SET branch = ?", (self._branch,))

    def _let_go(self) -> None:
        db, self._db = self._db, None
        self._latest = None
        if db is not None:
            with contextlib.suppress(sqlite3.Error):
                db.close()


def begin(
    *,
    path: str,
    document: str,
    ride: str,
    channels: Sequence[tuple[str, str]],
    program: str,
    seat: Seat = "trainer",
    acts: Sequence[Act] = (),
    drill: str = "",
    begins: float = 0.0,
    folder: Path | None = None,
    now: datetime | None = None,
    kept: int = KEPT,
) -> Record:
    """Begins the record of a run.

    Parameters
    ----------
    path, document
        Path of the document, as it was given, and its whole text.
    ride
        Name of the ride.
    channels
        Name and unit of every channel, in the order of the rows.
    program
        Version of the program.
    acts
        What was done before it begins: no run is without it, whenever it is cut off.
    drill, begins
        Title of the drill that is practised, "" = none, and where it begins [s].
    folder
        Where to keep it; None: `runs_folder()`.
    now
        Time of day; None: that of the machine.
    kept
        Closed runs that are kept beside it.

    Raises
    ------
    InputError
        When the disk refuses; the ride can go on without a record.
    """
    folder = runs_folder() if folder is None else folder
    moment = datetime.now() if now is None else now
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _prune(folder, kept)
        place = _fresh(folder, moment)
        db = _open(place, create=True)
    except (sqlite3.Error, OSError) as error:
        raise InputError(
            f"This run is not recorded: {_reason(error)} ({folder}); the ride goes on."
        ) from error
    record = Record(place, db)
    with record._writing():
        for table in _TABLES.split(";\n"):
            db.execute(table)
        db.execute(f"PRAGMA application_id = {MARK}")
        db.execute(f"PRAGMA user_version = {FORMAT}")
        db.execute(
            "INSERT INTO meta VALUES (?,?,?,?,?,?,?,?,?,?,?,?)",
            (
                program, path, document, ride, json.dumps([list(pair) for pair in channels]),
                moment.isoformat(), moment.isoformat(), 0, os.getpid(), seat, 0.0, 0,
            ),
        )  # fmt: skip
        if drill:
            db.execute(_DRILL)
            db.execute("INSERT INTO drill VALUES (?,?)", (drill, begins))
        for act in acts:
            record._add_act(db, act)
    return record


def open_run(path: Path) -> Record:
    """Goes on recording a run that was cut off, in its own file.

    Raises
    ------
    InputError
        When the file is no run, is damaged, or is open in another program.
    """
    try:
        with contextlib.closing(_checked(path)) as db:
            _check_structure(db)
        record = Record(path, _open(path, create=False))
    except (sqlite3.Error, OSError, ValueError) as error:
        raise InputError(_unusable(path, error)) from None
    try:
        record._read()
    except (sqlite3.Error, OSError, ValueError, TypeError, zlib.error) as error:
        record._let_go()
        raise InputError(_unusable(path, error)) from None
    except InputError:
        record._let_go()
        raise
    with record._writing() as db:
        db.execute("UPDATE meta SET closed = 0, pid = ?", (os.getpid(),))
    return record


def unfinished(folder: Path | None = None) -> tuple[list[Unfinished], list[str]]:
    """Runs that were cut off, newest first, and a sentence for each file that cannot be read.

    A run that is open in a living program is neither.
    """
    found: list[Unfinished] = []
    troubles: list[str] = []
    for path in _files(runs_folder() if folder is None else folder):
        try:
            with contextlib.closing(_checked(path)) as db:
                ride, document, reached, created, written, closed, seat = db.execute(
                    "SELECT ride, path, reached, created, written, closed, seat FROM meta"
                ).fetchone()
                if not closed:
                    _check_structure(db)
            if not closed:
                moments = datetime.fromisoformat(created), datetime.fromisoformat(written)
                found.append(
                    Unfinished(
                        path, str(ride), str(document), float(reached), *moments, _seat(seat)
                    )
                )
        except (sqlite3.Error, OSError, ValueError, TypeError) as error:
            if not _is_busy(error):
                troubles.append(_unusable(path, error))
    found.sort(key=lambda run: (run.written, run.created, run.path), reverse=True)
    return found, troubles


def set_aside(path: Path) -> None:
    """Marks a run as closed: nobody wants to continue it. Raises InputError like `open_run`."""
    open_run(path).close()


def continuation(path: Path) -> Continuation:
    """The document, acts and time of a run. Raises InputError like `open_run`."""
    try:
        with contextlib.closing(_checked(path)) as db:
            _check_structure(db)
            document, name, reached, seat = db.execute(
                "SELECT document, path, reached, seat FROM meta"
            ).fetchone()
            standing = db.execute(f"SELECT {_ACT} WHERE gone IS NULL ORDER BY number")
            acts = tuple(_opened(act) for act in standing.fetchall())
            drill, begins = "", 0.0
            if db.execute("SELECT 1 FROM sqlite_master WHERE name = 'drill'").fetchone():
                drill, begins = db.execute("SELECT title, begins FROM drill").fetchone()
        return Continuation(
            str(document), str(name), acts, float(reached), _seat(seat), str(drill), float(begins)
        )
    except (sqlite3.Error, OSError, ValueError, TypeError) as error:
        raise InputError(_unusable(path, error)) from None


def recorded(path: Path) -> Recorded:
    """Channels and events of a run. Raises InputError like `open_run`."""
    try:
        with contextlib.closing(_checked(path)) as db:
            _check_structure(db)
            branch, channels = db.execute("SELECT branch, channels FROM meta").fetchone()
            pairs = [(str(name), str(unit)) for name, unit in json.loads(channels)]
            times, values, events = _along_branch(db, branch, len(pairs))
    except (sqlite3.Error, OSError, ValueError, TypeError, zlib.error) as error:
        raise InputError(_unusable(path, error)) from None
    names, units = tuple(name for name, _ in pairs), tuple(unit for _, unit in pairs)
    return Recorded(names, units, times, values, events)


_ACT = "time, seat, sentence, hidden, entered FROM acts"


def _stored(act: Act) -> str:
    return seal(act.sentence) if act.hidden else act.sentence


def _opened(row: Sequence[Any]) -> Act:
    time, seat, sentence, hidden, entered = row
    text = unseal(sentence) if hidden else str(sentence)
    return Act(float(time), _seat(seat), text, bool(hidden), float(entered))


def _seat(text: str) -> Seat:
    """A seat as it was stored; what is none is the one that sees less."""
    return "trainer" if text == "trainer" else "trainee"


def _along_branch(
    db: sqlite3.Connection, branch: int, channels: int
) -> tuple[Array, Array, list[RunEvent]]:
    """Times, values and events of a branch and of those it came from."""
    parents = {
        number: (parent, since)
        for number, parent, since in db.execute("SELECT number, parent, since FROM branches")
    }
    before: dict[int, float] = {branch: inf}
    while branch in parents:
        parent, since = parents[branch]
        before[parent] = min(before[branch], inf if since is None else since)
        branch = parent
    times: list[Array] = [np.zeros(0)]
    values: list[Array] = [np.zeros((0, channels), dtype=np.float32)]
    events: list[RunEvent] = []
    for one in sorted(before):
        blocks = db.execute(
            "SELECT rows, times, data FROM blocks WHERE branch = ? ORDER BY number", (one,)
        )
        for rows, packed, data in blocks:
            moments = np.frombuffer(_unpacked(packed, 8 * rows), dtype="<f8")
            if not (np.abs(moments) <= LONGEST_RUN).all():
                raise ValueError("a time of it is none")
            keep = moments < before[one]
            times.append(moments[keep])
            table = np.frombuffer(_unpacked(data, 4 * channels * rows), dtype="<f4")
            values.append(table.reshape(channels, rows).T[keep])
        happened = db.execute(
            "SELECT time, subject, what FROM events WHERE branch = ? AND time < ? ORDER BY number",
            (one, before[one]),
        )
        events += [
            RunEvent(float(time), subject, _happening(what)) for time, subject, what in happened
        ]
    return np.concatenate(times), np.concatenate(values), events


def _packed(what: Happening) -> str:
    return json.dumps(pack_one(what, Happening), ensure_ascii=False)


def _happening(packed: str) -> Happening:
    """What happened; ValueError when it is damaged."""
    try:
        found: Happening = unpack(Happening, json.loads(packed))  # type: ignore[arg-type]
    except PackingError as error:
        raise ValueError(f"an event of it is damaged: {error}") from None
    return found


def _renewed(kind: str, text: str) -> str:
    """What an earlier version has said, in today's words."""
    return STATES.get(text, text).upper() if kind == "contact" else renewed_text(text)


def _renew(db: sqlite3.Connection) -> None:
    """Brings a record of format 1, whose events were sentences, to the present one."""
    ours = _tables()
    now = next(table for table in ours if table.startswith("CREATE TABLE events"))
    _check_tables(db, ours - {now} | {_FORMER_EVENTS})
    events = db.execute("SELECT number, branch, time, kind, subject, text FROM events").fetchall()
    kept = [
        (number, branch, time, subject, _packed(Noted(kind, _renewed(kind, text))))
        for number, branch, time, kind, subject, text in events
        if kind in EVENT_KINDS and isinstance(text, str)
    ]
    with db:
        db.execute("BEGIN")
        db.execute("DROP TABLE events")
        db.execute(now)
        db.executemany(
            "INSERT INTO events (number, branch, time, subject, what) VALUES (?,?,?,?,?)", kept
        )
        db.execute(f"PRAGMA user_version = {FORMAT}")


def _unpacked(packed: bytes, size: int) -> bytes:
    """So many bytes that were packed; ValueError for more or less, before they take up room."""
    unpacker = zlib.decompressobj()
    data = unpacker.decompress(packed, size + 1)
    if len(data) != size or not unpacker.eof or unpacker.unused_data:
        raise ValueError("a block of it is damaged")
    return data


def _check_structure(db: sqlite3.Connection) -> None:
    """Raises ValueError for a record that this program cannot have written.

    What is read later is then a text where a text belongs, and of a size that can be kept; a branch
    comes from an earlier one, so that who follows them comes to an end.
    """
    _check_tables(db, _tables())
    for wrong, where in _WRONG:
        if db.execute(f"SELECT 1 FROM {wrong} LIMIT 1").fetchone():
            raise ValueError(f"{where} is damaged")
    channels = json.loads(db.execute("SELECT channels FROM meta").fetchone()[0])
    if not isinstance(channels, list) or len(channels) > MOST_CHANNELS:
        raise ValueError("its list of channels is damaged")
    for pair in channels:
        match pair:
            case [str(), str()]:
                continue
        raise ValueError("its list of channels is damaged")


def _tables() -> set[str]:
    return {" ".join(table.split()).removesuffix(";") for table in _TABLES.split(";\n")} - {""}


def _check_tables(db: sqlite3.Connection, ours: set[str]) -> None:
    """By its very words: no view, trigger or column of others is ever carried out."""
    made = {" ".join(sql.split()) for (sql,) in db.execute("SELECT sql FROM sqlite_master")}
    if made - {_DRILL} != ours:
        raise ValueError("its tables are not those of this program")


def _no_text(most: int, *columns: str) -> str:
    return " OR ".join(f"typeof({c}) != 'text' OR length({c}) > {most}" for c in columns)


def _no_time(*columns: str) -> str:
    return " OR ".join(
        f"typeof({c}) NOT IN ('real', 'integer') OR NOT abs({c}) <= {LONGEST_RUN}" for c in columns
    )


_WRONG = (
    (f"meta WHERE {_no_text(LONGEST_TEXT, 'document', 'channels')} OR {_no_time('reached')} "
     f"OR {_no_text(4000, 'path', 'ride', 'created', 'written', 'seat')} "
     "OR typeof(branch) != 'integer' OR typeof(closed) != 'integer' "
     "OR branch != 0 AND branch NOT IN (SELECT number FROM branches)", "what it says of the ride"),
    ("branches WHERE typeof(parent) != 'integer' OR parent < 0 OR parent >= number "
     "OR parent != 0 AND parent NOT IN (SELECT number FROM branches) "
     "OR typeof(since) NOT IN ('real', 'null')", "the order of its branches"),
    (f"acts WHERE {_no_time('time', 'entered')} OR {_no_text(4000, 'seat')} "
     f"OR {_no_text(LONGEST_TEXT, 'sentence')} OR typeof(hidden) != 'integer' "
     "OR typeof(gone) NOT IN ('integer', 'null')", "an act of it"),
    (f"events WHERE {_no_time('time')} OR {_no_text(8000, 'subject', 'what')} "
     "OR NOT json_valid(what)",
     "an event of it"),
    (f"blocks WHERE typeof(rows) != 'integer' OR NOT rows BETWEEN 0 AND {BLOCK} "
     "OR typeof(times) != 'blob' OR typeof(data) != 'blob'", "a block of it"),
)  # fmt: skip
"""What must not be found: a table with a condition, and where the damage is."""


# files


def _open(path: Path, *, create: bool) -> sqlite3.Connection:
    """A connection that holds the file for as long as it lives."""
    mode = "rwc" if create else "rw"
    db = sqlite3.connect(
        f"{path.resolve().as_uri()}?mode={mode}",
        uri=True,
        timeout=0.0,
        isolation_level=None,
        check_same_thread=False,
    )
    try:
        # in this order: the lock is then one of the file itself, and goes with the process
        db.execute("PRAGMA locking_mode = EXCLUSIVE")
        db.execute("PRAGMA journal_mode = WAL")
        # what is committed outlives the program; a power cut may cost the last second
        db.execute("PRAGMA synchronous = NORMAL")
        db.execute("PRAGMA user_version").fetchone()
    except BaseException:
        db.close()
        raise
    return db


def _checked(path: Path) -> sqlite3.Connection:
    """A connection for reading a run; raises sqlite3.Error, or ValueError for a foreign file."""
    db = sqlite3.connect(f"{path.resolve().as_uri()}?mode=rw", uri=True, timeout=0.0)
    try:
        mark = db.execute("PRAGMA application_id").fetchone()[0]
        version = db.execute("PRAGMA user_version").fetchone()[0]
        if mark != MARK:
            raise ValueError("it is not a recorded run")
        if version == 1:
            _renew(db)
        elif version != FORMAT:
            raise ValueError(f"it has format {version}, and this program knows {FORMAT}")
        if db.execute("SELECT count(*) FROM meta").fetchone()[0] != 1:
            raise ValueError("it does not say of which ride it is")
    except BaseException:
        db.close()
        raise
    return db


def _files(folder: Path) -> list[Path]:
    try:
        return sorted(path for path in folder.glob(f"*{SUFFIX}") if path.is_file())
    except OSError:
        return []


def _fresh(folder: Path, moment: datetime) -> Path:
    stem = f"{moment:%Y-%m-%d_%H-%M-%S}_{os.getpid()}"
    number, path = 1, folder / f"{stem}{SUFFIX}"
    while path.exists():
        number += 1
        path = folder / f"{stem}_{number}{SUFFIX}"
    return path


def _prune(folder: Path, kept: int) -> None:
    """Removes closed runs but the newest `kept`; leaves what it cannot read alone."""
    closed: list[tuple[str, Path]] = []
    for path in _files(folder):
        try:
            with contextlib.closing(_checked(path)) as db:
                created, done = db.execute("SELECT created, closed FROM meta").fetchone()
        except (sqlite3.Error, OSError, ValueError):
            continue
        if done:
            closed.append((str(created), path))
    closed.sort(reverse=True)
    for _, path in closed[kept:]:
        for name in (path, path.with_name(path.name + "-wal"), path.with_name(path.name + "-shm")):
            with contextlib.suppress(OSError):
                name.unlink()


def _is_busy(error: Exception) -> bool:
    """True when a living program holds the file."""
    return getattr(error, "sqlite_errorcode", 0) & 0xFF in (
        sqlite3.SQLITE_BUSY,
        sqlite3.SQLITE_LOCKED,
    )


def _unusable(path: Path, error: Exception) -> str:
    if _is_busy(error):
        return f"{path}: this run is open in another program; close it there first."
    if not os.path.exists(path):
        return f"{path}: there is no such recorded run."
    return f"{path}: this is not a recorded run that can be read, {_reason(error)}; it is left out."


def _reason(error: Exception) -> str:
    """Why a file cannot be used, as part of a sentence."""
    if isinstance(error, OSError) and error.strerror:
        return error.strerror.lower()
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    known = {
        sqlite3.SQLITE_FULL: "the disk is full",
        sqlite3.SQLITE_READONLY: "the file is write-protected",
        sqlite3.SQLITE_CANTOPEN: "the file cannot be opened",
        sqlite3.SQLITE_PERM: "the file may not be used by you",
        sqlite3.SQLITE_CORRUPT: "it is damaged",
        sqlite3.SQLITE_NOTADB: "it is something else, or damaged",
        sqlite3.SQLITE_IOERR: "the disk cannot be read or written",
    }
    return known.get(code, str(error))
