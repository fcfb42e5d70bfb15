"""A drill in a record: what was done outlives the program."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from drill_rides import BACK, SAFE, play, practice

from pneumo.drill.brief import Brief, Saying
from pneumo.drill.debrief import debrief
from pneumo.drill.entry import Entry
from pneumo.drill.practice import Practice
from pneumo.errors import InputError
from pneumo.live.session import Session
from pneumo.packing import pack, unpack
from pneumo.record.reading import continuation
from pneumo.record.writing import begin

BRIEF = Brief(complaint="It hisses.", answers=(Saying("noise", "Yes."),), hints=("Use your ears.",))
LINES = (
    "close trim", "listen hose_1", "soap hose_1", "look brake_1", "callipers brake_1",
    "pull brake_1", "voltage valve.14", "card valve.14", "resistance valve.14", "cycle valve.14",
    "ask", "log book", "hint", "open trim", "finding hose_1 leak or hose_2 leak", *SAFE, "permit",
    "prove hose_1", "fit gauge hose_1.2", "decay hose_1.2 for 10 s", "refit hose_1",
    "block brake_1", "unblock brake_1", *BACK, "function test", "hand back",
)  # fmt: skip


def test_every_sort_of_entry_comes_back_as_it_was() -> None:
    at = play(practice("fault hose_1 leak 3 mm", brief=BRIEF), *LINES)
    kinds = {type(entry.result).__name__ for entry in at.entries}
    assert len(kinds) >= 11, kinds
    for entry in at.entries:
        assert unpack(Entry, pack(entry)) == entry


def recorded(at: Practice, path: Path, lines: tuple[str, ...]) -> Path:
    """The record of a drill in which some lines were said, cut off after the last."""
    session = at.ride
    assert isinstance(session, Session)
    record = begin(
        path="x", document=session.document, ride="x", channels=[], program="1", seat="trainee",
        acts=session.acts.journal, drill="A hiss", begins=at.began, brief=BRIEF, folder=path,
    )  # fmt: skip
    for line in lines:
        entry = at.do(line)
        record.acts(session.acts.journal)
        record.rows(session.recorder.past, session.newest)
        record.work(entry)
    record._let_go()
    return record.path


def test_a_drill_that_was_cut_off_goes_on_and_ends_alike(tmp_path: Path) -> None:
    hidden = "fault hose_1 leak 3 mm"
    whole = play(practice(hidden, brief=BRIEF, began=False), "begin", *LINES)
    at = practice(hidden, brief=BRIEF, began=False)
    kept = continuation(recorded(at, tmp_path, ("begin", *LINES[:17])))
    assert kept.brief == BRIEF and kept.entries == tuple(at.entries)
    session = Session(at.ride.circuit, kept.document)
    session.restart(kept.acts, kept.reached, begins=kept.begins)
    session.advance(at.play.now)
    again = Practice(session, kept.brief)
    again.resume(kept.entries, kept.begins)
    assert (again.arc.state, again.site, again.hints) == (at.arc.state, at.site, at.hints)
    play(again, *LINES[17:])
    one, two = debrief(whole), debrief(again)
    assert [e.line for e in one.entries] == [e.line for e in two.entries]
    assert (one.verdict, one.reasons, one.needless, one.left) == (
        two.verdict, two.reasons, two.needless, two.left,
    )  # fmt: skip


def test_hints_cannot_be_read_in_the_file(tmp_path: Path) -> None:
    path = recorded(practice(began=False), tmp_path, ("begin",))
    raw = b"".join(part.read_bytes() for part in tmp_path.iterdir())
    assert path.exists() and b"Use your ears" not in raw


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE work SET entry = '[1]'",
        "UPDATE work SET entry = 'no json'",
        "UPDATE brief SET brief = 'no seal'",
        "DELETE FROM brief",
    ],
)
def test_a_damaged_drill_is_told_in_a_sentence_and_left_alone(sql: str, tmp_path: Path) -> None:
    path = recorded(practice(began=False), tmp_path, ("begin",))
    with sqlite3.connect(path) as db:
        db.execute(sql)
    before = path.read_bytes()
    with pytest.raises(InputError) as error:
        continuation(path)
    assert "\n" not in str(error.value) and path.name in str(error.value)
    assert path.read_bytes() == before
