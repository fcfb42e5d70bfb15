"""Records of earlier formats, brought to the present one before they are read."""

from __future__ import annotations

import sqlite3

from pneumo.circuit.former import STATES, renewed_text
from pneumo.record.rows import packed
from pneumo.record.tables import EVENTS, FORMAT, TABLES, check_tables
from pneumo.scenario.event import EVENT_KINDS, Noted

_EVENTS = (
    "CREATE TABLE events ( number INTEGER PRIMARY KEY, branch INTEGER, time REAL, kind TEXT, "
    "subject TEXT, text TEXT )"
)
"""Of format 1, whose events were sentences."""


def _renewed(kind: str, text: str) -> str:
    """What an earlier version has said, in today's words."""
    return STATES.get(text, text).upper() if kind == "contact" else renewed_text(text)


def renew(db: sqlite3.Connection) -> None:
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
        db.executemany(
            "INSERT INTO events (number, branch, time, subject, what) VALUES (?,?,?,?,?)", kept
        )
        db.execute(f"PRAGMA user_version = {FORMAT}")
