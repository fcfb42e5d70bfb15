"""What was done, what happened and what was recorded: as rows of the tables, and back."""

from __future__ import annotations

import json
import sqlite3
import zlib
from collections.abc import Sequence
from hashlib import sha256
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pneumo.drill.brief import Brief
from pneumo.drill.entry import Entry
from pneumo.drill.review import Review
from pneumo.live.journal import Act
from pneumo.live.request import Seat
from pneumo.live.seal import Seal
from pneumo.packing import PackingError, pack_one, unpack
from pneumo.record.tables import BLOCK, LONGEST_RUN, has
from pneumo.scenario.event import Happening, RunEvent

Array = NDArray[Any]

BEFORE_TEST_HINTS = 8
"""Fields of a briefing in records made before hints could name tests."""

MOST_ENTRIES = 20_000
"""Entries of a drill that are read."""


def write_act(db: sqlite3.Connection, branch: int, act: Act | None, seal: Seal) -> int:
    """Adds an act; returns its number in the file. None: a row that says nothing."""
    time, seat, sentence, hidden, entered = _worded(act, seal)
    done = db.execute(
        "INSERT INTO acts (branch, time, seat, sentence, hidden, entered) VALUES (?,?,?,?,?,?)",
        (branch, time, seat, sentence, hidden, entered),
    )
    return done.lastrowid or 0


def rewrite_act(db: sqlite3.Connection, number: int, act: Act, seal: Seal) -> None:
    """An act that is hidden from now on, or no longer."""
    db.execute(
        "UPDATE acts SET time = ?, seat = ?, sentence = ?, hidden = ?, entered = ? "
        "WHERE number = ?",
        (*_worded(act, seal), number),
    )


def _worded(act: Act | None, seal: Seal) -> Act:
    """An act as it is written. Of one that is hidden nothing stands in clear; where there is a
    passphrase, of none: how many are hidden tells whether there is a fault at all."""
    if act is not None and not (act.hidden or seal.encrypts):
        return act
    return Act(0.0, "trainer", seal.seal(json.dumps(act)), True, 0.0)


def standing_acts(db: sqlite3.Connection, seal: Seal) -> dict[int, Act]:
    """The acts that belong to the run, in order, by their numbers in the file."""
    found = {}
    for number, time, seat, sentence, hidden, entered in db.execute(
        "SELECT number, time, seat, sentence, hidden, entered FROM acts WHERE gone IS NULL "
        "ORDER BY number"
    ):
        if not hidden:
            found[number] = Act(float(time), seat_of(seat), str(sentence), False, float(entered))
            continue
        text = seal.unseal(sentence)
        if text.startswith("["):
            found[number] = act = unpack(Act, json.loads(text))
            if not max(abs(act.time), abs(act.entered)) <= LONGEST_RUN:
                raise ValueError("a time of it is none")
        elif text != "null":
            # until format 3 the sentence alone was hidden
            found[number] = Act(float(time), seat_of(seat), text, True, float(entered))
    return found


def digest(db: sqlite3.Connection) -> str:
    """Of all that a drill goes on from, its ride, its acts and its entries, and of its review."""
    made = sha256()
    for rows in (
        "path, document, ride, seat FROM meta", "title, begins FROM drill", "run, lock FROM seal",
        "brief FROM brief", "* FROM acts ORDER BY number", "* FROM work ORDER BY number",
        *(("review FROM review",) if has(db, "review") else ()),
    ):  # fmt: skip
        for row in db.execute(f"SELECT {rows}"):
            made.update(json.dumps(row).encode("utf-8"))
    return made.hexdigest()


def worked(db: sqlite3.Connection, seal: Seal) -> tuple[Brief | None, tuple[Entry, ...]]:
    """What is told of a drill, and what was done in it. Raises ValueError when it is damaged."""
    if not has(db, "brief"):
        return None, ()
    try:
        (text,) = db.execute("SELECT brief FROM brief").fetchone()
        told = json.loads(seal.unseal(text))
        if isinstance(told, list) and len(told) == BEFORE_TEST_HINTS:
            told = [*told, False]
        brief = unpack(Brief, told)
        rows = db.execute("SELECT entry FROM work ORDER BY number LIMIT ?", (MOST_ENTRIES,))
        texts = (seal.unseal(row) if seal.encrypts else row for (row,) in rows)
        return brief, tuple(unpack(Entry, json.loads(text)) for text in texts)
    except (PackingError, TypeError, RecursionError) as error:
        raise ValueError(f"what was done in its drill is damaged ({error})") from None


def reviewed(db: sqlite3.Connection, seal: Seal) -> Review | None:
    """What a diagnostician made of a drill that is over; None: that is not kept. Raises ValueError
    when it is damaged."""
    row = db.execute("SELECT review FROM review").fetchone() if has(db, "review") else None
    if row is None:
        return None
    try:
        return unpack(Review, json.loads(seal.unseal(row[0])))
    except (PackingError, TypeError, RecursionError) as error:
        raise ValueError(f"the review of its drill is damaged ({error})") from None


def seat_of(text: str) -> Seat:
    """A seat as it was stored; what is none is the one that sees less."""
    return "trainer" if text == "trainer" else "trainee"


def write_rows(db: sqlite3.Connection, branch: int, times: Array, values: Array) -> None:
    """Adds rows of channels: times (n,), values (n, channels)."""
    for i in range(0, len(times), BLOCK):
        some = times[i : i + BLOCK]
        row = (
            branch,
            len(some),
            zlib.compress(some.astype("<f8").tobytes(), 1),
            # channel by channel: neighbours in time are alike and pack well
            zlib.compress(values[i : i + BLOCK].T.astype("<f4").tobytes(), 1),
        )
        db.execute("INSERT INTO blocks (branch, rows, times, data) VALUES (?,?,?,?)", row)


def write_events(db: sqlite3.Connection, branch: int, events: Sequence[RunEvent]) -> None:
    db.executemany(
        "INSERT INTO events (branch, time, subject, what) VALUES (?,?,?,?)",
        [(branch, event.time, event.subject, packed(event.what)) for event in events],
    )


def packed(what: Happening) -> str:
    """What happened, as it stands in the table."""
    return json.dumps(pack_one(what, Happening), ensure_ascii=False)


def _happened(stored: str) -> Happening:
    """What happened; ValueError when it is damaged."""
    try:
        found: Happening = unpack(Happening, json.loads(stored))  # type: ignore[arg-type]
    except PackingError as error:
        raise ValueError(f"an event of it is damaged: {error}") from None
    return found


def along_branch(
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
        for rows, moments_packed, data in blocks:
            moments = np.frombuffer(_unpacked(moments_packed, 8 * rows), dtype="<f8")
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
            RunEvent(float(time), subject, _happened(what)) for time, subject, what in happened
        ]
    return np.concatenate(times), np.concatenate(values), events


def _unpacked(packed: bytes, size: int) -> bytes:
    """So many bytes that were packed; ValueError for more or less, before they take up room."""
    unpacker = zlib.decompressobj()
    data = unpacker.decompress(packed, size + 1)
    if len(data) != size or not unpacker.eof or unpacker.unused_data:
        raise ValueError("a block of it is damaged")
    return data
