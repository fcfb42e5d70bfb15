"""The file of a recorded run: where it lies, who holds it, and why it cannot be used."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import zlib
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from platformdirs import user_state_path

from pneumo.errors import InputError
from pneumo.record.former import FORMER
from pneumo.record.tables import FORMAT, MARK, check_structure

SUFFIX = ".run"


def runs_folder() -> Path:
    """Where runs are kept unless another folder is given."""
    return user_state_path("pneumo", appauthor=False) / "runs"


def hold(path: Path, *, create: bool) -> sqlite3.Connection:
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


def look_into(path: Path) -> sqlite3.Connection:
    """A connection for reading a run; raises sqlite3.Error, or ValueError for a foreign file."""
    if path.exists() and not path.is_file():  # a pipe would be waited for
        raise ValueError("it is no regular file")
    db = sqlite3.connect(f"{path.resolve().as_uri()}?mode=rw", uri=True, timeout=0.0)
    try:
        mark = db.execute("PRAGMA application_id").fetchone()[0]
        version = db.execute("PRAGMA user_version").fetchone()[0]
        if mark != MARK:
            raise ValueError("it is not a recorded run")
        if version in FORMER:
            FORMER[version](db)
        elif version != FORMAT:
            raise ValueError(f"it has format {version}, and this program knows {FORMAT}")
        if db.execute("SELECT count(*) FROM meta").fetchone()[0] != 1:
            raise ValueError("it does not name its ride")
    except BaseException:
        db.close()
        raise
    return db


@contextlib.contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """A run to read from, whose structure is sound; what is wrong with it is an InputError."""
    with usable(path), contextlib.closing(look_into(path)) as db:
        check_structure(db)
        yield db


@contextlib.contextmanager
def usable(path: Path) -> Iterator[None]:
    """Whatever a file is no run for becomes an InputError."""
    try:
        yield
    except WRONG as error:
        raise InputError(unusable(path, error)) from None


WRONG = (sqlite3.Error, OSError, ValueError, TypeError, zlib.error)
"""What reading a file that is no run ends with."""


def files(folder: Path) -> list[Path]:
    try:
        return sorted(path for path in folder.glob(f"*{SUFFIX}") if path.is_file())
    except OSError:
        return []


def fresh(folder: Path, moment: datetime) -> Path:
    stem = f"{moment:%Y-%m-%d_%H-%M-%S}_{os.getpid()}"
    number, path = 1, folder / f"{stem}{SUFFIX}"
    while path.exists():
        number += 1
        path = folder / f"{stem}_{number}{SUFFIX}"
    return path


def prune(folder: Path, kept: int) -> None:
    """Removes closed runs but the newest `kept`; leaves what it cannot read alone."""
    closed: list[tuple[str, Path]] = []
    for path in files(folder):
        try:
            with contextlib.closing(look_into(path)) as db:
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


def is_busy(error: Exception) -> bool:
    """True when a living program holds the file."""
    return getattr(error, "sqlite_errorcode", 0) & 0xFF in (
        sqlite3.SQLITE_BUSY,
        sqlite3.SQLITE_LOCKED,
    )


def is_refused(error: Exception) -> bool:
    """True when the disk or another program is why a file cannot be used, not what it holds."""
    return isinstance(error, OSError) or getattr(error, "sqlite_errorcode", 0) & 0xFF in (
        sqlite3.SQLITE_BUSY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_NOMEM, sqlite3.SQLITE_PERM, sqlite3.SQLITE_READONLY,
    )  # fmt: skip


def unusable(path: Path, error: Exception) -> str:
    if is_busy(error):
        return f"{path}: this run is open in another program; close it there first."
    if not os.path.exists(path):
        return f"{path}: there is no such recorded run."
    return f"{path}: this is not a recorded run that can be read, {reason(error)}; it is left out."


def reason(error: Exception) -> str:
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
        sqlite3.SQLITE_NOTADB: "it is another kind of file, or damaged",
        sqlite3.SQLITE_IOERR: "the disk cannot be read or written",
    }
    if isinstance(error, sqlite3.Error) and not code:
        return "it is damaged"  # e.g. its letters are none
    return known.get(code, str(error))
