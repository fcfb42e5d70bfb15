"""Records of earlier formats, brought to the present one before they are read."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from pneumo.circuit.former import STATES, renewed_text
from pneumo.record.rows import packed
from pneumo.record.tables import EVENTS, FORMAT, TABLES, check_tables, has
from pneumo.scenario.event import EVENT_KINDS, EventKind, Noted

_EVENTS = (
    "CREATE TABLE events ( number INTEGER PRIMARY KEY, branch INTEGER, time REAL, kind TEXT, "
    "subject TEXT, text TEXT )"
)
"""Of format 1, whose events were sentences."""


def _renewed(kind: str, text: str) -> str:
    """What an earlier version has said, in today's words."""
    return STATES.get(text, text).upper() if kind == "contact" else renewed_text(text)


def _from_sentences(db: sqlite3.Connection) -> None:
    """Brings a record of format 1, whose events were sentences, to the present one."""
    check_tables(db, tuple(_EVENTS if table == EVENTS else table for table in TABLES))
    events = db.execute("SELECT number, branch, time, kind, subject, text FROM events").fetchall()
    kept = [
        (number, branch, time, subject, packed(Noted(kind, _renewed(kind, text))))
        for number, branch, time, kind, subject, text in events
        if kind in EVENT_KINDS and isinstance(text, str)
    ]
    with db:
        db.execute("BEGIN")
        db.execute("DROP TABLE events")
        db.execute(EVENTS)
        _renew(
            db,
            "INSERT INTO events (number, branch, time, subject, what) VALUES (?,?,?,?,?)",
            kept,
        )


def _from_clauses(db: sqlite3.Connection) -> None:
    """Brings a record of format 2 to the present one: in it what an alarm was raised for, and why
    a command was refused, were clauses."""
    check_tables(db)
    rows = db.execute(
        """SELECT number, what FROM events
        WHERE what LIKE '["AlarmRaised"%' OR what LIKE '["Refused"%'"""
    ).fetchall()
    kept = [(packed(noted), number) for number, what in rows if (noted := _noted(what)) is not None]
    with db:
        db.execute("BEGIN")
        _renew(db, "UPDATE events SET what = ? WHERE number = ?", kept)


def _noted(what: object) -> Noted | None:
    """An event of format 2 as the sentence that was shown of it; None: it is damaged, and found to
    be so when it is read."""
    kind: EventKind
    try:
        event = json.loads(what) if isinstance(what, str) else None
    except (ValueError, RecursionError):
        return None
    match event:
        case ["AlarmRaised", [str(name), bool(first_out), str(sensed)]]:
            kind, text = "alarm", f"{'first out: ' if first_out else ''}{name}: {sensed}"
        case ["Refused", [str(command), str(reason), bool(of_ride_stop)]]:
            whose = " of the ride stop" if of_ride_stop else ""
            kind, text = "refused", f"{command}{whose} refused: {reason}"
        case _:
            return None
    return Noted(kind, text)


def _renew(db: sqlite3.Connection, how: str, rows: Iterable[tuple[Any, ...]]) -> None:
    """Writes the rows of a record and, in the same step, that it has the present format."""
    db.executemany(how, rows)
    db.execute(f"PRAGMA user_version = {FORMAT}")


def _from_plain_times(db: sqlite3.Connection) -> None:
    """Brings a record of format 3 to the present one: of what is hidden in it the sentence is, and
    not the time, which is read as well; what was done in a drill is without the alarms that were
    raised meanwhile."""
    check_tables(db)
    rows = db.execute("SELECT number, entry FROM work").fetchall() if has(db, "work") else []
    kept = [(more, number) for number, entry in rows if (more := _without_alarms(entry))]
    with db:
        db.execute("BEGIN")
        if kept:
            db.executemany("UPDATE work SET entry = ? WHERE number = ?", kept)
        _renew(db, "UPDATE acts SET sentence = ? WHERE number = ?", ())


def _without_alarms(entry: object) -> str:
    """What was done in a drill of format 3, with the alarms that were raised: none are known. "" =
    it is damaged, and found to be so when it is read."""
    try:
        parts = json.loads(entry) if isinstance(entry, str) else None
    except (ValueError, RecursionError):
        return ""
    return json.dumps([*parts, []]) if isinstance(parts, list) and len(parts) == 8 else ""


def _from_unreviewed(db: sqlite3.Connection) -> None:
    """Brings a record of format 4 to the present one: of its drill no review is kept."""
    check_tables(db)
    with db:
        db.execute("BEGIN")
        _renew(db, "UPDATE meta SET closed = ?", ())


FORMER: Mapping[int, Callable[[sqlite3.Connection], None]] = {
    1: _from_sentences,
    2: _from_clauses,
    3: _from_plain_times,
    4: _from_unreviewed,
}
"""Earlier format -> what brings a record of it to the present one."""
