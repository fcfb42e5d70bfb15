"""What recorded runs hold: those that can be continued, and what was recorded of one."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from pneumo.drill.brief import Brief
from pneumo.drill.entry import Entry
from pneumo.drill.review import Review
from pneumo.errors import InputError, UnfinishedError
from pneumo.live.journal import Act
from pneumo.live.request import Seat
from pneumo.live.seal import OBSCURED, Ask, Lock, Seal, read_lock
from pneumo.packing import PackingError
from pneumo.record.file import WRONG, files, is_busy, look_into, reading, runs_folder, unusable
from pneumo.record.rows import Array, along_branch, digest, reviewed, seat_of, standing_acts, worked
from pneumo.record.tables import check_structure, has, run_of
from pneumo.scenario.event import RunEvent


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
    brief: Brief | None = None
    """What is told of it; None: nobody worked on a drill."""
    entries: tuple[Entry, ...] = ()
    """What was done in it."""
    seal: Seal = OBSCURED
    """How what is hidden in it is hidden."""
    run: str = ""
    """Name of the run of a drill that no other has."""
    review: Review | None = None
    """What a diagnostician made of a drill that is over; None: that is not kept."""


class Recorded(NamedTuple):
    """What was recorded of a run, along the branch that stands."""

    names: tuple[str, ...]
    units: tuple[str, ...]
    times: Array
    """(n,) [s], ascending."""
    values: Array
    """(n, channels) float32"""
    events: list[RunEvent]


def unfinished(folder: Path | None = None) -> tuple[list[Unfinished], list[str]]:
    """Runs that were cut off, newest first, and a sentence for each file that cannot be read.

    A run that is open in a living program is neither.
    """
    found: list[Unfinished] = []
    troubles: list[str] = []
    for path in files(runs_folder() if folder is None else folder):
        try:
            with contextlib.closing(look_into(path)) as db:
                ride, document, reached, created, written, closed, seat = db.execute(
                    "SELECT ride, path, reached, created, written, closed, seat FROM meta"
                ).fetchone()
                if not closed:
                    check_structure(db)
            if not closed:
                moments = datetime.fromisoformat(created), datetime.fromisoformat(written)
                found.append(
                    Unfinished(
                        path, str(ride), str(document), float(reached), *moments, seat_of(seat)
                    )
                )
        except WRONG as error:
            if not is_busy(error):
                troubles.append(unusable(path, error))
    found.sort(key=lambda run: (run.written, run.created, run.path), reverse=True)
    return found, troubles


def is_sealed(path: Path) -> bool:
    """Whether it takes a passphrase to go on with a run. Raises InputError like `open_run`."""
    with reading(path) as db:
        return _lock(db) is not None


def continuation(path: Path, ask: Ask | None = None) -> Continuation:
    """The document, acts and time of a run. `ask`: called for the passphrase of a drill that is
    sealed. Raises InputError like `open_run`, and when the passphrase is wrong."""
    with reading(path) as db:
        document, name, reached, seat = db.execute(
            "SELECT document, path, reached, seat FROM meta"
        ).fetchone()
        drill, begins = "", 0.0
        if has(db, "drill"):
            drill, begins = db.execute("SELECT title, begins FROM drill").fetchone()
        run = run_of(db)
        try:
            seal = _seal(db, ask)
            bound = seal.bound(run)
            acts = tuple(standing_acts(db, bound).values())
            brief, entries = worked(db, bound)
            review = reviewed(db, bound)
            if run:
                _check_state(db, bound, float(reached))
        except (PackingError, RecursionError) as error:
            raise ValueError(f"what was done in it is damaged ({error})") from None
        except UnfinishedError:
            raise
        except InputError as error:
            raise InputError(f"{path}: {error}") from None
        return Continuation(
            str(document), str(name), acts, float(reached), seat_of(seat), str(drill),
            float(begins), brief, entries, seal, run, review,
        )  # fmt: skip


def _lock(db: sqlite3.Connection) -> Lock | None:
    """How the key of a sealed drill is made; None: it is not sealed."""
    if not has(db, "seal"):
        return None
    (text,) = db.execute("SELECT lock FROM seal").fetchone()
    fields = json.loads(text) if text else {}
    if not isinstance(fields, dict):
        raise ValueError("how it is sealed is damaged")
    return read_lock(fields) if fields else None


def _seal(db: sqlite3.Connection, ask: Ask | None) -> Seal:
    lock = _lock(db)
    if lock is None:
        return OBSCURED
    if ask is None:
        raise InputError("The drill of this run is sealed; it takes its passphrase to go on.")
    return lock.opened(ask())


def _check_state(db: sqlite3.Connection, seal: Seal, reached: float) -> None:
    """Raises InputError when rows were changed by something else than this program."""
    (state,) = db.execute("SELECT state FROM seal").fetchone()
    if json.loads(seal.unseal(state)) != [digest(db), reached]:
        raise InputError(
            "This record of a drill was edited after it was written; it is not continued."
        )


def recorded(path: Path) -> Recorded:
    """Channels and events of a run. Raises InputError like `open_run`."""
    with reading(path) as db:
        branch, channels = db.execute("SELECT branch, channels FROM meta").fetchone()
        pairs = [(str(name), str(unit)) for name, unit in json.loads(channels)]
        times, values, events = along_branch(db, branch, len(pairs))
    names, units = tuple(name for name, _ in pairs), tuple(unit for _, unit in pairs)
    return Recorded(names, units, times, values, events)
