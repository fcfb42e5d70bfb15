"""What became of every drill that somebody has finished: one SQLite file for this machine's user.

Of a person it holds a name, as that person typed it, and nothing else; `forget` takes it out.
"""

from __future__ import annotations

import contextlib
import csv
import io
import json
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from platformdirs import user_state_path

from pneumo.drill.outcome import Debrief, Verdict
from pneumo.errors import InputError
from pneumo.harmless import harmless, no_formula, quoted
from pneumo.record.file import reason

MARK = 0x706E6468
"""SQLite's application id of a history: "pndh"."""

FORMAT = 1

LONGEST_NAME = 60
"""Letters of a trainee's name."""

TABLE = """CREATE TABLE results (
    number INTEGER PRIMARY KEY, trainee TEXT NOT NULL, drill TEXT NOT NULL, level INTEGER NOT NULL,
    done TEXT NOT NULL, verdict TEXT NOT NULL, spent REAL NOT NULL, par REAL NOT NULL,
    hints INTEGER NOT NULL, reasons TEXT NOT NULL, faults TEXT NOT NULL
)"""


@dataclass(frozen=True)
class Done:
    """One drill that was finished."""

    trainee: str
    drill: str
    """Its title."""
    level: int
    done: datetime
    verdict: Verdict
    spent: float
    """Downtime [s]."""
    par: float
    """[s]; 0 = not told."""
    hints: int
    reasons: tuple[str, ...]
    """`debrief.Reason`."""
    faults: tuple[tuple[str, str], ...]
    """Kind of the part and fault mode of each fault that was there."""


@dataclass(frozen=True)
class Progress:
    """What the results of one trainee say."""

    done: int
    right: int
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
    path: Path | None = None, now: datetime | None = None,
) -> None:  # fmt: skip
    """Keeps what became of a drill. `kinds`: kind of the part and mode of each of its faults.

    Raises
    ------
    InputError
        When the disk refuses, or the file is something else.
    """
    hints = sum(entry.work == "hint" for entry in found.entries)
    moment = datetime.now() if now is None else now
    with _open(history_path() if path is None else path) as db:
        db.execute(
            "INSERT INTO results (trainee, drill, level, done, verdict, spent, par, hints, "
            "reasons, faults) VALUES (?,?,?,?,?,?,?,?,?,?)",
            (
                check_trainee(trainee), found.title, level, moment.isoformat(timespec="seconds"),
                found.verdict, found.spent, found.par, hints, json.dumps(list(found.reasons)),
                json.dumps([list(pair) for pair in kinds]),
            ),
        )  # fmt: skip


def results(trainee: str = "", path: Path | None = None) -> list[Done]:
    """Everything that was finished, the earliest first; of one trainee, or of all ("").

    Raises
    ------
    InputError
        As `add`.
    """
    where = history_path() if path is None else path
    if not where.exists():
        return []
    with _open(where) as db:
        rows = db.execute(
            "SELECT trainee, drill, level, done, verdict, spent, par, hints, reasons, faults "
            "FROM results WHERE ? IN ('', trainee) ORDER BY number",
            (trainee,),
        ).fetchall()
    return [_row(where, row) for row in rows]


def forget(trainee: str, path: Path | None = None) -> int:
    """Takes a trainee out; how many results that were. Raises InputError as `add`."""
    where = history_path() if path is None else path
    if not where.exists():
        return 0
    with _open(where) as db:
        count = db.execute("DELETE FROM results WHERE trainee = ?", (trainee,)).rowcount
    with _open(where, begin=False) as db:
        db.execute("VACUUM")  # what was deleted is not left in the file
    return count


def progress(of_one: Sequence[Done]) -> Progress:
    """What the results of one trainee say."""
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
    return Progress(len(of_one), right, tuple(weak), level)


def as_csv(found: Sequence[Done]) -> str:
    """All of it as CSV (RFC 4180): a row a drill, minutes with one decimal."""
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\r\n")
    write.writerow(
        ("trainee", "drill", "level", "done", "verdict", "minutes", "par_minutes", "hints",
         "reasons", "faults")
    )  # fmt: skip
    for done in found:
        write.writerow(
            (
                no_formula(done.trainee), no_formula(done.drill), done.level or "",
                done.done.isoformat(),
                done.verdict, f"{done.spent / 60.0:.1f}",
                f"{done.par / 60.0:.1f}" if done.par else "", done.hints, "; ".join(done.reasons),
                "; ".join(" ".join(pair) for pair in done.faults),
            )
        )  # fmt: skip
    return out.getvalue()


def _row(path: Path, row: Sequence[object]) -> Done:
    try:
        trainee, drill, level, done, verdict, spent, par, hints, reasons, faults = row
        if verdict not in ("right", "partly right", "wrong"):
            raise ValueError("a verdict is none")
        return Done(
            harmless(str(trainee)), harmless(str(drill)), int(str(level)),
            datetime.fromisoformat(str(done)), verdict, float(str(spent)), float(str(par)),
            int(str(hints)), tuple(map(str, json.loads(str(reasons)))),
            tuple((str(kind), str(mode)) for kind, mode in json.loads(str(faults))),
        )  # fmt: skip
    except (ValueError, TypeError) as error:
        raise InputError(f"{path}: a result in it is damaged ({error}). {_KEEP}") from None


_KEEP = "Move the file away to begin a new history; nothing in it was changed."


@contextlib.contextmanager
def _open(path: Path, *, begin: bool = True) -> Iterator[sqlite3.Connection]:
    """The history, in one transaction; made when there is none."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        new = not path.exists() or path.stat().st_size == 0
        with contextlib.closing(sqlite3.connect(path, timeout=10.0, isolation_level=None)) as db:
            if new:
                db.execute("BEGIN IMMEDIATE")
                if not db.execute("SELECT 1 FROM sqlite_master").fetchone():
                    db.execute(TABLE)
                    db.execute(f"PRAGMA application_id = {MARK}")
                    db.execute(f"PRAGMA user_version = {FORMAT}")
                db.execute("COMMIT")
            _check(db)
            if begin:
                db.execute("BEGIN IMMEDIATE")
            yield db
            if begin:
                db.execute("COMMIT")
    except (sqlite3.Error, OSError, ValueError) as error:
        why = str(error) if isinstance(error, ValueError) else reason(error)
        raise InputError(f"{path}: the history cannot be used: {why}. {_KEEP}") from None


def _check(db: sqlite3.Connection) -> None:
    if db.execute("PRAGMA application_id").fetchone()[0] != MARK:
        raise ValueError("it is something else")
    version = db.execute("PRAGMA user_version").fetchone()[0]
    if version != FORMAT:
        raise ValueError(f"it has format {version}, and this program knows {FORMAT}")
    made = {" ".join(sql.split()) for (sql,) in db.execute("SELECT sql FROM sqlite_master")}
    if made != {" ".join(TABLE.split())}:
        raise ValueError("its tables are not those of this program")
