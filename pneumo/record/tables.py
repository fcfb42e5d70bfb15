"""The tables of a recorded run, and how a file that this program cannot have written is told.

events.what is a record of `scenario.event`, packed. acts.gone is the branch from which on an act
does not belong to the run any more; NULL: it still stands. branches.since: of the branches before
it, what lies before this time belongs to it; NULL: all.
"""

from __future__ import annotations

import json
import sqlite3

FORMAT = 5
"""Version of the tables below; a file of another one is left alone."""

MARK = 0x706E6575
"""SQLite's application id of a run: "pneu"."""

BLOCK = 1000
"""Rows of channels in one block at most."""

LONGEST_RUN = 1e9
"""Times in a record [s]."""

LONGEST_TEXT = 8_000_000
"""Letters of one text in it: a document that was read is not longer."""

LONGEST_EVENT = 1_000_000
"""Letters of one event: an alarm names every switch that it was raised for."""

MOST_CHANNELS = 200_000

EVENTS = """CREATE TABLE events (
    number INTEGER PRIMARY KEY, branch INTEGER, time REAL, subject TEXT, what TEXT
)"""
TABLES = (
    """CREATE TABLE meta (
    program TEXT, path TEXT, document TEXT, ride TEXT, channels TEXT, created TEXT, written TEXT,
    closed INTEGER, pid INTEGER, seat TEXT, reached REAL, branch INTEGER
)""",
    "CREATE TABLE branches (number INTEGER PRIMARY KEY, parent INTEGER, since REAL, made TEXT)",
    """CREATE TABLE acts (
    number INTEGER PRIMARY KEY, branch INTEGER, gone INTEGER,
    time REAL, seat TEXT, sentence TEXT, hidden INTEGER, entered REAL
)""",
    EVENTS,
    """CREATE TABLE blocks (
    number INTEGER PRIMARY KEY, branch INTEGER, rows INTEGER, times BLOB, data BLOB
)""",
)
DRILL = "CREATE TABLE drill (title TEXT, begins REAL)"
WORK = "CREATE TABLE work (number INTEGER PRIMARY KEY, entry TEXT)"
BRIEF = "CREATE TABLE brief (brief TEXT)"
SEAL = "CREATE TABLE seal (run TEXT, lock TEXT, state TEXT)"
REVIEW = "CREATE TABLE review (review TEXT)"
"""These only in the record of a drill: its title, each entry of what was done, and what is told of
it (packed and hidden, for it holds hints); a name of the run that no other has, how the key is made
from the passphrase ("" = there is none, and what is hidden is obscured), and hidden a digest of the
rows and how far the run has come, which tells rows that were changed. The last only when the drill
is over: what a diagnostician makes of it (packed and hidden, for it holds the answer)."""

OF_DRILLS = (DRILL, WORK, BRIEF, SEAL, REVIEW)


def create(db: sqlite3.Connection) -> None:
    """Makes the tables of a run in an empty file."""
    for table in TABLES:
        db.execute(table)
    db.execute(f"PRAGMA application_id = {MARK}")
    db.execute(f"PRAGMA user_version = {FORMAT}")


def has(db: sqlite3.Connection, table: str) -> bool:
    """Whether there is a table of that name."""
    found = db.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (table,)).fetchone()
    return found is not None


def run_of(db: sqlite3.Connection) -> str:
    """The name of the run of a drill that no other has; "" = it has none."""
    return str(db.execute("SELECT run FROM seal").fetchone()[0]) if has(db, "seal") else ""


def check_structure(db: sqlite3.Connection) -> None:
    """Raises ValueError for a record that this program cannot have written.

    What is read later is then a text where a text belongs, and of a size that can be kept; a branch
    comes from an earlier one, so that who follows them comes to an end.
    """
    check_tables(db)
    of_drills = (_WRONG_OF_DRILLS[table] for table in _WRONG_OF_DRILLS if has(db, table))
    for wrong, where in (*_WRONG, *of_drills):
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


def check_tables(db: sqlite3.Connection, ours: tuple[str, ...] = TABLES) -> None:
    """By its very words: no view, trigger or column of others is ever carried out."""
    made = {" ".join(sql.split()) for (sql,) in db.execute("SELECT sql FROM sqlite_master")}
    if made - set(OF_DRILLS) != {" ".join(table.split()) for table in ours}:
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
     "OR typeof(gone) NOT IN ('integer', 'null')", "an action of it"),
    (f"events WHERE {_no_time('time')} OR {_no_text(8000, 'subject')} "
     f"OR {_no_text(LONGEST_EVENT, 'what')} OR NOT json_valid(what)",
     "an event of it"),
    (f"blocks WHERE typeof(rows) != 'integer' OR NOT rows BETWEEN 0 AND {BLOCK} "
     "OR typeof(times) != 'blob' OR typeof(data) != 'blob'", "a block of it"),
)  # fmt: skip
"""What must not be found: a table with a condition, and where the damage is."""

_WRONG_OF_DRILLS = {
    "seal": (f"seal WHERE {_no_text(LONGEST_TEXT, 'run', 'lock', 'state')}",
             "how its drill is hidden"),
    "review": (f"review WHERE {_no_text(LONGEST_TEXT, 'review')}", "the review of its drill"),
}  # fmt: skip
"""The same, of tables that not every record has."""
