"""What became of every drill that somebody has begun: one SQLite file for this machine's user.

Of a person it holds a name, as that person typed it, and nothing else; `forget` takes it out.
"""

from __future__ import annotations

import contextlib
import csv
import io
import json
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Literal

from platformdirs import user_state_path

from pneumo.drill.outcome import Debrief, Verdict
from pneumo.errors import InputError, UnfinishedError
from pneumo.harmless import harmless, no_formula, quoted
from pneumo.record.file import is_refused, reason

MARK = 0x706E6468
"""SQLite's application id of a history: "pndh"."""

FORMAT = 2
"""In version 1 a result did not name its run."""

PATIENCE = 10.0
"""So long it waits for another program that writes [s]."""

LONGEST_NAME = 60
"""Letters of a trainee's name."""

TABLE = """CREATE TABLE results (
    number INTEGER PRIMARY KEY, trainee TEXT NOT NULL, drill TEXT NOT NULL, level INTEGER NOT NULL,
    done TEXT NOT NULL, verdict TEXT NOT NULL, spent REAL NOT NULL, par REAL NOT NULL,
    hints INTEGER NOT NULL, reasons TEXT NOT NULL, faults TEXT NOT NULL{}
)"""
_RUN = ", run TEXT NOT NULL DEFAULT ''"
_WRITTEN = (
    "INSERT OR REPLACE INTO results (number, trainee, drill, level, done, verdict, spent, par, "
    "hints, reasons, faults, run) VALUES (?,?,?,?,?,?,?,?,?,?,?,?)"
)


@dataclass(frozen=True)
class Done:
    """One drill that was begun, and as a rule finished."""

    trainee: str
    drill: str
    """Its title."""
    level: int
    done: datetime
    verdict: Verdict | Literal["left"]
    """left = it was begun and not brought to its end."""
    spent: float
    """Downtime [s]."""
    par: float
    """[s]; 0 = not told."""
    hints: int
    reasons: tuple[str, ...]
    """`debrief.Reason`."""
    faults: tuple[tuple[str, str], ...]
    """Kind of the part and fault mode of each fault that was there; () of a sealed drill."""
    run: str = ""
    """Name of its run that no other has; "" = it is not known."""
    again: bool = False
    """The trainee had begun a drill of this title before, or somebody this very run."""


@dataclass(frozen=True)
class Progress:
    """What the results of one trainee say."""

    done: int
    """Drills, each counted once, by the first result."""
    right: int
    again: int
    """Results that are not counted."""
    weak: tuple[tuple[str, int, int], ...]
    """Kind of part, drills with a fault there, and how many of them were right: those with fewer
    than all right, the worst first."""
    level: int
    """The level to go on with: one above the highest of which the last two drills were right."""


def history_path() -> Path:
    """Where the history is kept."""
    return user_state_path("pneumo", appauthor=False) / "history.db"


def check_trainee(name: str) -> str:
    """A name as it is stored.

    Raises
    ------
    InputError
        When it cannot be a name.
    """
    found = " ".join(name.split())
    if not found or len(found) > LONGEST_NAME or not found.isprintable():
        raise InputError(
            f"{quoted(name)} cannot be a trainee's name. Write one short line of text, up to "
            f"{LONGEST_NAME} letters."
        )
    return found


def add(
    trainee: str, found: Debrief, kinds: Sequence[tuple[str, str]], level: int,
    path: Path | None = None, now: datetime | None = None, *, run: str = "",
) -> None:  # fmt: skip
    """Keeps what became of a drill, in place of that it was begun (`begin`).

    Parameters
    ----------
    kinds
        Kind of the part and mode of each of its faults; of a sealed drill none, for whoever plays
        it next can read this file.
    run
        Name of its run that no other has; "" = it has none.

    Raises
    ------
    InputError
        When the file is something else.
    UnfinishedError
        When the disk refuses.
    """
    hints = sum(entry.work == "hint" for entry in found.entries)
    moment = datetime.now() if now is None else now
    row = (
        check_trainee(trainee), found.title, level, moment.isoformat(timespec="seconds"),
        found.verdict, found.spent, found.par, hints, json.dumps(list(found.reasons)),
        json.dumps([list(pair) for pair in kinds]), run,
    )  # fmt: skip
    with _open(history_path() if path is None else path) as db:
        begun = db.execute(
            "SELECT number FROM results WHERE verdict = 'left' AND trainee = ? AND run = ?",
            (row[0], run),
        ).fetchone()
        # in its place: what counts is in which order drills were begun
        db.execute(_WRITTEN, (None if begun is None else begun[0], *row))


def begin(
    trainee: str, title: str, level: int, run: str, path: Path | None = None,
    now: datetime | None = None,
) -> None:  # fmt: skip
    """Keeps that a drill was begun: whoever leaves it has seen some of it. Raises as `add`."""
    moment = (datetime.now() if now is None else now).isoformat(timespec="seconds")
    row = (check_trainee(trainee), title, level, moment, "left", 0.0, 0.0, 0, "[]", "[]", run)
    with _open(history_path() if path is None else path) as db:
        db.execute(_WRITTEN, (None, *row))


def check(path: Path | None = None) -> None:
    """That a result could be kept: before a drill is begun. Raises as `add`."""
    with _open(history_path() if path is None else path):
        pass


def results(trainee: str = "", path: Path | None = None) -> list[Done]:
    """Everything that was begun, the earliest first; of one trainee, or of all ("").

    Raises
    ------
    InputError, UnfinishedError
        As `add`.
    """
    where = history_path() if path is None else path
    if _is_none(where):
        return []
    with _open(where, write=False) as db:
        run = "run" if _version(db) == FORMAT else "''"
        rows = db.execute(
            "SELECT trainee, drill, level, done, verdict, spent, par, hints, reasons, faults, "
            f"{run} FROM results ORDER BY number"
        ).fetchall()
    found = _marked(_row(where, row) for row in rows)
    return [done for done in found if trainee in ("", done.trainee)]


def _marked(found: Iterable[Done]) -> Iterator[Done]:
    """Results in order, those marked that were had before."""
    known: set[tuple[str, str]] = set()
    for done in found:
        names = {(done.trainee, done.drill), *([("", done.run)] if done.run else ())}
        yield replace(done, again=bool(names & known))
        known |= names


def holds(run: str, path: Path | None = None) -> bool:
    """Whether there is a result of a run. Raises as `add`."""
    return any(done.run == run and done.verdict != "left" for done in results("", path))


def forget(trainee: str, path: Path | None = None) -> int:
    """Takes a trainee out; how many results that were. Raises as `add`."""
    where = history_path() if path is None else path
    if _is_none(where):
        return 0
    with _open(where) as db:
        count = db.execute("DELETE FROM results WHERE trainee = ?", (trainee,)).rowcount
        db.execute("COMMIT")
        db.execute("VACUUM")  # what was deleted is not left in the file
        db.execute("BEGIN")
    return count


def progress(of_one: Sequence[Done]) -> Progress:
    """What the results of one trainee say: of what was played again the first."""
    again = sum(done.again for done in of_one)
    of_one = [done for done in of_one if not done.again]
    tried: dict[str, list[bool]] = {}
    for done in of_one:
        for kind in dict.fromkeys(kind for kind, _ in done.faults):
            tried.setdefault(kind, []).append(done.verdict == "right")
    weak = [(kind, len(right), sum(right)) for kind, right in tried.items() if not all(right)]
    weak.sort(key=lambda each: (each[2] / each[1], -each[1], each[0]))
    level = 1
    for wanted in range(1, 6):
        last = [done.verdict == "right" for done in of_one if done.level == wanted][-2:]
        if last == [True, True]:
            level = min(wanted + 1, 5)
    right = sum(done.verdict == "right" for done in of_one)
    return Progress(len(of_one), right, again, tuple(weak), level)


def as_csv(found: Sequence[Done]) -> str:
    """All of it as CSV (RFC 4180): a row a drill, minutes with one decimal."""
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\r\n")
    write.writerow(
        ("trainee", "drill", "level", "done", "verdict", "minutes", "par_minutes", "hints",
         "reasons", "faults", "again")
    )  # fmt: skip
    for done in found:
        write.writerow(
            (
                no_formula(done.trainee), no_formula(done.drill), done.level or "",
                done.done.isoformat(),
                done.verdict, f"{done.spent / 60.0:.1f}",
                f"{done.par / 60.0:.1f}" if done.par else "", done.hints, "; ".join(done.reasons),
                "; ".join(" ".join(pair) for pair in done.faults), "yes" if done.again else "",
            )
        )  # fmt: skip
    return out.getvalue()


def _row(path: Path, row: Sequence[object]) -> Done:
    try:
        trainee, drill, level, done, verdict, spent, par, hints, reasons, faults, run = row
        if verdict not in ("right", "partly right", "wrong", "left"):
            raise ValueError("a verdict is none")
        return Done(
            harmless(str(trainee)), harmless(str(drill)), int(str(level)),
            datetime.fromisoformat(str(done)), verdict, float(str(spent)), float(str(par)),
            int(str(hints)), tuple(map(str, json.loads(str(reasons)))),
            tuple((str(kind), str(mode)) for kind, mode in json.loads(str(faults))), str(run),
        )  # fmt: skip
    except (ValueError, TypeError, OverflowError, RecursionError) as error:
        raise InputError(f"{path}: a result in it is damaged ({error}). {_KEEP}") from None


_KEEP = "Move the file away to begin a new history; nothing in it was changed."


def _is_none(path: Path) -> bool:
    """Whether there is no history yet; a file that is empty is none."""
    return not path.exists() or (path.is_file() and path.stat().st_size == 0)


@contextlib.contextmanager
def _open(path: Path, *, write: bool = True) -> Iterator[sqlite3.Connection]:
    """The history, in one transaction. `write`: it is made when there is none, and brought to the
    present format."""
    try:
        if write:
            path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists() and not path.is_file():  # a pipe would be waited for
            raise ValueError("it is no regular file")
        new = _is_none(path)
        opened = sqlite3.connect(path, timeout=PATIENCE, isolation_level=None)
        with contextlib.closing(opened) as db:
            db.execute("BEGIN IMMEDIATE" if write else "BEGIN")
            if new and not db.execute("SELECT 1 FROM sqlite_master").fetchone():
                db.execute(TABLE.format(_RUN))
                db.execute(f"PRAGMA application_id = {MARK}")
                db.execute(f"PRAGMA user_version = {FORMAT}")
            _check(db)
            if write and _version(db) == 1:
                db.execute(f"ALTER TABLE results ADD COLUMN {_RUN.removeprefix(', ')}")
                db.execute(f"PRAGMA user_version = {FORMAT}")
            yield db
            db.execute("COMMIT")
    except (sqlite3.Error, OSError, ValueError) as error:
        why = str(error) if isinstance(error, ValueError) else reason(error)
        what = f"{path}: the history cannot be used: {why}."
        if is_refused(error):
            raise UnfinishedError(f"{what} Nothing in it was changed.") from None
        raise InputError(f"{what} {_KEEP}") from None


def _version(db: sqlite3.Connection) -> int:
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def _check(db: sqlite3.Connection) -> None:
    if db.execute("PRAGMA application_id").fetchone()[0] != MARK:
        raise ValueError("it is something else")
    version = _version(db)
    if version not in (1, FORMAT):
        raise ValueError(f"it has format {version}, and this program knows {FORMAT}")
    # a column that was added stands after another space
    made = {"".join(sql.split()) for (sql,) in db.execute("SELECT sql FROM sqlite_master")}
    if made != {"".join(TABLE.format(_RUN if version == FORMAT else "").split())}:
        raise ValueError("its tables are not those of this program")
