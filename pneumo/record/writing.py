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
import secrets
import sqlite3
import time as clock
from collections.abc import Iterator, Sequence
from datetime import datetime
from math import inf
from pathlib import Path

import numpy as np

from pneumo.drill.arc import OVER
from pneumo.drill.brief import Brief
from pneumo.drill.entry import Entry
from pneumo.drill.review import Review
from pneumo.errors import InputError
from pneumo.live.journal import Act
from pneumo.live.link import Past
from pneumo.live.request import Seat
from pneumo.live.seal import OBSCURED, Seal, Sealed
from pneumo.packing import pack
from pneumo.record.file import fresh, hold, prune, reading, reason, runs_folder, usable
from pneumo.record.rows import (
    Array,
    along_branch,
    digest,
    rewrite_act,
    standing_acts,
    worked,
    write_act,
    write_events,
    write_rows,
)
from pneumo.record.tables import BLOCK, BRIEF, DRILL, REVIEW, SEAL, WORK, create, has, run_of
from pneumo.scenario.event import RunEvent

KEPT = 50
"""Closed runs that are kept; older ones are removed when a run begins."""

FLUSH = 1.0
"""Time between two writings of events and channels [s], by the clock of the machine."""

DECOYS = 16
"""Where there is a passphrase the acts before a drill begins are filled up to a multiple of so many
rows."""

AT_ONCE = 2 * BLOCK
"""Rows that are written at one time while the ride runs: after an act was undone there may be many,
and the ride must not wait for them."""


class Record:
    """The run that is going on. For one thread at a time.

    A call that cannot write raises InputError, once; after that every call does nothing.
    """

    def __init__(self, path: Path, db: sqlite3.Connection, seal: Seal, run: str = "") -> None:
        """Use `begin` or `open_run`."""
        self.path = path
        self.run = run
        """Name of the run of a drill that no other has."""
        self._db: sqlite3.Connection | None = db
        self._seal = seal
        """For what is hidden in this run."""
        self._digest = ""
        """Of what a drill goes on from; "" = nobody works on one."""
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
                self._journal[i] = journal[i]
                rewrite_act(db, self._numbers[i], journal[i], self._seal)
            if same < len(self._journal):
                self._fork(db, inf)
                for number in self._numbers[same:]:
                    db.execute("UPDATE acts SET gone = ? WHERE number = ?", (self._branch, number))
                del self._journal[same:], self._numbers[same:]
            self._add_acts(db, journal[same:])
            self._note(db, anew=True)

    def _begin_work(self, db: sqlite3.Connection, brief: Brief, run: str, seal: Seal) -> None:
        """What a drill needs that is worked on."""
        for table in (WORK, BRIEF, SEAL):
            db.execute(table)
        db.execute("INSERT INTO brief VALUES (?)", (self._seal.seal(json.dumps(pack(brief))),))
        lock = json.dumps(seal.lock.fields()) if isinstance(seal, Sealed) else ""
        db.execute("INSERT INTO seal VALUES (?,?,?)", (run, lock, ""))
        if seal.encrypts:
            for _ in range(DECOYS - len(self._journal) % DECOYS):
                write_act(db, self._branch, None, self._seal)
        self._digest = digest(db)
        self._note(db)

    def _add_acts(self, db: sqlite3.Connection, acts: Sequence[Act]) -> None:
        self._numbers += [write_act(db, self._branch, act, self._seal) for act in acts]
        self._journal += acts

    def work(self, entry: Entry) -> None:
        """Keeps what somebody has done in a drill. Committed before this returns, with the channels
        and how far the run has come. When the drill is over with it the record is closed: what is
        done to the ride afterwards changes nothing that was judged."""
        if self._db is not None:
            # rows come about once a second: what was spent must not be less than what was done
            self._reached = max(self._reached, entry.ended)
            with self._writing() as db:
                self._write_out(db, AT_ONCE)
                text = json.dumps(pack(entry))
                if self._seal.encrypts:
                    text = self._seal.seal(text)
                db.execute("INSERT INTO work (entry) VALUES (?)", (text,))
                self._note(db, anew=True)
            if entry.state in OVER:
                self.close()

    def review(self, review: Review) -> None:
        """Keeps what a diagnostician makes of the drill, which is over: it is worked out when the
        record is closed, and nothing else of it changes."""
        self._db = _held(self.path)
        with self._writing() as db:
            if not has(db, "review"):
                db.execute(REVIEW)
            db.execute("DELETE FROM review")
            text = self._seal.seal(json.dumps(pack(review)))
            db.execute("INSERT INTO review VALUES (?)", (text,))
            self._note(db, anew=True)
        self._let_go()

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

    def leave(self) -> None:
        """Writes the rest and lets go of the file, which can be continued."""
        self.flush()
        self._let_go()

    def close(self) -> None:
        """Writes the rest and marks the run as closed by its people."""
        if self._db is None:
            return
        with self._writing() as db:
            self._write_out(db)
            db.execute("UPDATE meta SET closed = 1")
        self._let_go()

    def _read(self) -> bool:
        """What the file holds, as if this record had written it; whether its drill is over."""
        db = self._db
        assert db is not None
        self._branch, self._reached, channels = db.execute(
            "SELECT branch, reached, channels FROM meta"
        ).fetchone()
        standing = standing_acts(db, self._seal)
        self._numbers, self._journal = list(standing), list(standing.values())
        self._times, self._values, self._events = along_branch(
            db, self._branch, len(json.loads(channels))
        )
        if has(db, "seal"):
            self._digest = digest(db)
        _, entries = worked(db, self._seal)
        return bool(entries) and entries[-1].state in OVER

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
                f"This run is no longer recorded: {reason(error)} ({self.path}); the ride goes on."
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
            known = len(self._times)
            write_rows(db, self._branch, times[known:end], values[known:end])
            # views: what has been handed out is never written again
            self._times, self._values = times[:end], values[:end]
            fresh = events[len(self._events) :]
            write_events(db, self._branch, fresh)
            self._events += fresh
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

    def _note(self, db: sqlite3.Connection, *, anew: bool = False) -> None:
        """How far it has come. `anew`: rows that a drill goes on from have changed."""
        now = datetime.now().isoformat()
        db.execute("UPDATE meta SET reached = ?, written = ?", (self._reached, now))
        if self._digest:
            self._digest = digest(db) if anew else self._digest
            state = self._seal.seal(json.dumps([self._digest, self._reached]))
            db.execute("UPDATE seal SET state = ?", (state,))

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
    brief: Brief | None = None,
    seal: Seal = OBSCURED,
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
    brief
        What is told of it; None: nobody works on a drill.
    seal
        How what is hidden in it is hidden in the record.
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
        prune(folder, kept)
        place = fresh(folder, moment)
        db = hold(place, create=True)
    except (sqlite3.Error, OSError) as error:
        raise InputError(
            f"This run is not recorded: {reason(error)} ({folder}); the ride goes on."
        ) from error
    run = secrets.token_hex(8)
    record = Record(place, db, seal.bound(run), run)
    with record._writing():
        create(db)
        db.execute(
            "INSERT INTO meta VALUES (?,?,?,?,?,?,?,?,?,?,?,?)",
            (
                program, path, document, ride, json.dumps([list(pair) for pair in channels]),
                moment.isoformat(), moment.isoformat(), 0, os.getpid(), seat, 0.0, 0,
            ),
        )  # fmt: skip
        if drill or brief is not None:
            db.execute(DRILL)
            db.execute("INSERT INTO drill VALUES (?,?)", (drill, begins))
        record._add_acts(db, acts)
        if brief is not None:
            record._begin_work(db, brief, run, seal)
    return record


def open_run(path: Path, seal: Seal = OBSCURED) -> Record:
    """Goes on recording a run that was cut off, in its own file; of a drill that is over nothing is
    recorded any more. `seal`: see `begin`.

    Raises
    ------
    InputError
        When the file is no run, is damaged, or is open in another program.
    """
    with reading(path) as db:
        run = run_of(db)
    record = Record(path, _held(path), seal.bound(run), run)
    try:
        with usable(path):
            over = record._read()
    except InputError:
        record._let_go()
        raise
    if over:
        record._let_go()
        return record
    with record._writing() as db:
        db.execute("UPDATE meta SET closed = 0, pid = ?", (os.getpid(),))
    return record


def set_aside(path: Path) -> None:
    """Marks a run as closed: nobody wants to continue it. Raises InputError like `open_run`."""
    with reading(path):
        pass
    record = Record(path, _held(path), OBSCURED)
    with record._writing() as db:
        db.execute("UPDATE meta SET closed = 1")
    record._let_go()


def _held(path: Path) -> sqlite3.Connection:
    """A run that is known to be sound, held."""
    with usable(path):
        return hold(path, create=False)
