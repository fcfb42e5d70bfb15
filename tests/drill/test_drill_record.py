"""A drill in a record: what was done outlives the program."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from drill_rides import BACK, SAFE, play, practice

from pneumo.drill.brief import Brief, Saying
from pneumo.drill.debrief import debrief
from pneumo.drill.entry import Entry
from pneumo.drill.practice import Practice
from pneumo.drill.review import Measured, Review, Stage, Suspected
from pneumo.errors import InputError
from pneumo.live.journal import Act
from pneumo.live.seal import OBSCURED, Seal, Sealed, new_seal
from pneumo.live.session import Session
from pneumo.packing import pack, unpack
from pneumo.record.reading import continuation, is_sealed
from pneumo.record.rows import worked
from pneumo.record.tables import BRIEF as BRIEF_TABLE
from pneumo.record.tables import FORMAT, WORK
from pneumo.record.writing import begin, open_run

BRIEF = Brief(complaint="It hisses.", answers=(Saying("noise", "Yes."),), hints=("Use your ears.",))
LINES = (
    "close trim", "listen hose_1", "soap hose_1", "look brake_1", "block brake_1",
    "callipers brake_1", "pull brake_1", "voltage valve.14", "card valve.14",
    "resistance valve.14", "cycle valve.14", "ask", "log book", "hint", "open trim",
    "finding hose_1 leak or hose_2 leak", *SAFE, "permit",
    "prove hose_1", "fit gauge hose_1.2", "decay hose_1.2 for 10 s", "refit hose_1",
    "unblock brake_1", *BACK, "function test", "hand back",
)  # fmt: skip


def test_every_sort_of_entry_comes_back_as_it_was() -> None:
    at = play(practice("fault hose_1 leak 3 mm", brief=BRIEF), *LINES)
    kinds = {type(entry.result).__name__ for entry in at.entries}
    assert len(kinds) >= 11, kinds
    for entry in at.entries:
        assert unpack(Entry, pack(entry)) == entry


WORDS = "seven red kites"
KEY = new_seal(WORDS, (16, 1, 1))


def recorded(
    at: Practice, path: Path, lines: tuple[str, ...], seal: Seal = OBSCURED, brief: Brief = BRIEF
) -> Path:
    """The record of a drill in which some lines were said, cut off after the last."""
    session = at.ride
    assert isinstance(session, Session)
    record = begin(
        path="x", document=session.document, ride="x", program="1", seat="trainee",
        channels=[(channel.name, channel.unit) for channel in session.plant.channels],
        acts=session.acts.journal, drill="A hiss", begins=at.began, brief=brief, folder=path,
        seal=seal,
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


def test_a_record_of_a_sealed_drill_holds_nothing_of_it_in_clear(tmp_path: Path) -> None:
    lines = ("begin", "close trim", "listen hose_1", "hint", "ask")
    rows = []
    for name, faults in (("one", ("fault hose_1 leak 3 mm",)), ("none", ())):
        at = practice(*faults, brief=BRIEF, began=False)
        path = recorded(at, tmp_path / name, lines, KEY)
        assert is_sealed(path)
        kept = continuation(path, lambda: WORDS)
        session = at.ride
        assert isinstance(session, Session)
        assert kept.acts == tuple(session.acts.journal) and kept.brief == BRIEF
        assert kept.entries == tuple(at.entries)
        assert isinstance(kept.seal, Sealed) and kept.seal.key == KEY.key
        raw = b"".join(part.read_bytes() for part in path.parent.iterdir())
        for told in (b"leak 3", b"your ears", b"It hisses.", OBSCURED.seal("fault")[:8].encode()):
            assert told not in raw
        with sqlite3.connect(path) as db:
            of_acts = "time, seat, hidden, entered, length(sentence) FROM acts ORDER BY number"
            rows.append(db.execute(f"SELECT {of_acts}").fetchall())
    # nor whether there is any fault
    assert rows[0][:16] == rows[1][:16] and len(rows[0]) > 16


def test_a_record_of_a_sealed_drill_asks_for_the_same_passphrase(tmp_path: Path) -> None:
    path = recorded(practice(began=False), tmp_path, ("begin",), KEY)
    before = path.read_bytes()
    with pytest.raises(InputError, match="takes its passphrase"):
        continuation(path)
    with pytest.raises(InputError, match="passphrase is wrong") as caught:
        continuation(path, lambda: "seven red kite")
    assert str(caught.value).startswith(f"{path}:") and "\n" not in str(caught.value)
    assert path.read_bytes() == before
    # and goes on under it
    kept = continuation(path, lambda: WORDS)
    record = open_run(path, kept.seal)
    record.acts((*kept.acts, Act(9.0, "trainee", "close trim", False, 9.0)))
    record._let_go()
    again = continuation(path, lambda: WORDS)
    assert len(again.acts) == len(kept.acts) + 1 and again.run == kept.run


def test_what_is_sealed_in_one_record_is_not_taken_in_another(tmp_path: Path) -> None:
    solved = recorded(practice(began=False), tmp_path / "a", ("begin", "listen hose_1"), KEY)
    fresh = recorded(practice(began=False), tmp_path / "b", ("begin",), KEY)
    with sqlite3.connect(solved) as db:
        rows = db.execute("SELECT entry FROM work").fetchall()
    with sqlite3.connect(fresh) as db:
        db.execute("DELETE FROM work")
        db.executemany("INSERT INTO work (entry) VALUES (?)", rows)
    with pytest.raises(InputError, match="edited or damaged"):
        continuation(fresh, lambda: WORDS)


EDITS = (
    "UPDATE meta SET reached = reached - 1",
    "DELETE FROM work WHERE number = 2",
    "UPDATE work SET entry = (SELECT entry FROM work WHERE number = 1)",
    "DELETE FROM acts WHERE number = (SELECT max(number) FROM acts)",
    "DELETE FROM acts WHERE number = 1",
    "UPDATE acts SET gone = 0 WHERE number = 1",
    "UPDATE drill SET begins = begins + 60",
    "UPDATE meta SET document = document || '# x'",
    "UPDATE meta SET seat = 'trainer'",
)


@pytest.mark.parametrize("seal", [OBSCURED, KEY], ids=["obscured", "sealed"])
def test_a_record_of_a_drill_that_was_edited_is_not_continued(seal: Seal, tmp_path: Path) -> None:
    at = practice("fault hose_1 leak 3 mm", began=False)
    path = recorded(at, tmp_path, ("begin", "close trim", "listen hose_1"), seal)
    assert len(continuation(path, lambda: WORDS).entries) == 3
    whole = path.read_bytes()
    for sql in EDITS:
        path.write_bytes(whole)
        with closing(sqlite3.connect(path, isolation_level=None)) as db:
            db.execute(sql)
        with pytest.raises(InputError, match="was edited after it was written") as caught:
            continuation(path, lambda: WORDS)
        assert str(caught.value).startswith(f"{path}:") and "\n" not in str(caught.value)


@pytest.mark.parametrize("seal", [OBSCURED, KEY], ids=["obscured", "sealed"])
def test_what_is_done_after_the_end_changes_nothing_that_was_judged(
    seal: Seal, tmp_path: Path
) -> None:
    at = practice("fault hose_1 leak 3 mm", began=False)
    path = recorded(at, tmp_path, ("begin", "finding hose_1 leak", "hand back"), seal)
    kept = continuation(path, lambda: WORDS)
    before = path.read_bytes()
    session = at.ride
    assert isinstance(session, Session)
    session.do("trainee", "refit hose_1")  # the answer is known by now
    again = open_run(path, kept.seal)
    again.acts(session.acts.journal)
    again.rows(session.recorder.past, session.newest)
    again.close()
    assert path.read_bytes() == before
    assert continuation(path, lambda: WORDS) == kept


@pytest.mark.parametrize("seal", [OBSCURED, KEY], ids=["obscured", "sealed"])
def test_a_record_with_a_wrong_bit_is_refused_or_goes_on_as_it_was(
    seal: Seal, tmp_path: Path
) -> None:
    at = practice("fault hose_1 leak 3 mm", began=False)
    path = recorded(at, tmp_path, ("begin", "close trim", "listen hose_1"), seal)
    kept, whole = continuation(path, lambda: WORDS), path.read_bytes()
    chance, refused = Random(3), 0
    for _ in range(120):
        data = bytearray(whole)
        for _ in range(chance.randint(1, 4)):
            data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        path.write_bytes(data)
        try:
            found = continuation(path, lambda: WORDS)
        except InputError as error:
            assert "\n" not in str(error) and path.name in str(error)
            refused += 1
        else:
            assert found == kept
    assert 20 < refused < 120


def test_a_record_of_format_3_is_read(tmp_path: Path) -> None:
    at = practice("fault hose_1 leak 3 mm", began=False)
    path = recorded(at, tmp_path, ("begin", "listen hose_1"))
    hidden = OBSCURED.seal("fault hose_1 leak 3 mm")
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("DROP TABLE seal")
        for number, entry in db.execute("SELECT number, entry FROM work").fetchall():
            short = json.dumps(json.loads(entry)[:-1])  # without alarms
            db.execute("UPDATE work SET entry = ? WHERE number = ?", (short, number))
        db.execute(
            "UPDATE acts SET sentence = ?, time = 4.0, entered = 4.0 WHERE hidden", (hidden,)
        )
        db.execute("PRAGMA user_version = 3")
    kept = continuation(path)
    assert kept.acts[0] == Act(4.0, "trainer", "fault hose_1 leak 3 mm", True, 4.0)
    assert kept.entries == tuple(at.entries) and kept.run == ""
    record = open_run(path)
    record.acts((*kept.acts, Act(9.0, "trainee", "close trim", False, 9.0)))
    record.close()
    assert len(continuation(path).acts) == len(kept.acts) + 1


REVIEW = Review(
    2.0, ("hose_1",), (Stage(9.0, "listen", (Suspected("hose_1", "hose_1", 0.97),), 0.03, 0.0),),
    Measured(1.0, 2.0, 1, 0, 3.0, 4), None,
)  # fmt: skip


def reviewed(path: Path, seal: Seal = OBSCURED) -> Path:
    """The record of a drill that is over, with a review."""
    session = (at := practice("fault hose_1 leak 3 mm", began=False)).ride
    assert isinstance(session, Session)
    record = begin(
        path="x", document=session.document, ride="x", program="1", seat="trainee", channels=[],
        acts=session.acts.journal, drill="A hiss", begins=at.began, brief=BRIEF, folder=path,
        seal=seal,
    )  # fmt: skip
    for line in ("begin", "give up"):
        record.work(at.do(line))
    closed = record.path.read_bytes()
    for stages in (REVIEW.stages * 2, REVIEW.stages):
        record.review(replace(REVIEW, stages=stages))
    assert record.path.read_bytes() != closed
    # and nothing else of it changes any more
    record.acts((*session.acts.journal, Act(9.0, "trainee", "close trim", False, 9.0)))
    assert continuation(record.path, lambda: WORDS).acts == tuple(session.acts.journal)
    return record.path


@pytest.mark.parametrize("seal", [OBSCURED, KEY])
def test_a_review_is_kept_after_the_record_of_its_drill_is_closed(
    tmp_path: Path, seal: Seal
) -> None:
    path = reviewed(tmp_path, seal)
    kept = continuation(path, lambda: WORDS)
    assert kept.review == REVIEW and [e.line for e in kept.entries] == ["begin", "give up"]
    # it holds the answer
    assert b'hose_1"' not in path.read_bytes().split(b"CREATE TABLE review")[0]
    with closing(sqlite3.connect(path)) as db:
        ((text,),) = db.execute("SELECT review FROM review").fetchall()
        assert db.execute("SELECT closed FROM meta").fetchone() == (1,)
    assert "hose" not in text


def test_a_review_that_was_edited_or_is_damaged_is_told(tmp_path: Path) -> None:
    path = reviewed(tmp_path)
    before = path.read_bytes()
    other = OBSCURED.seal(json.dumps(pack(replace(REVIEW, defective=("valve",)))))
    for how, told in (
        (f"UPDATE review SET review = '{other}'", "was edited"),
        ("DELETE FROM review", "was edited"),
        ("DROP TABLE review", "was edited"),
        ("UPDATE review SET review = x'00'", "the review of its drill is damaged"),
        (f"UPDATE review SET review = '{OBSCURED.seal('[1]')}'", "the review of its drill is dam"),
    ):
        path.write_bytes(before)
        with closing(sqlite3.connect(path)) as db:
            db.execute(how)
            db.commit()
        with pytest.raises(InputError, match=told) as caught:
            continuation(path)
        assert "\n" not in str(caught.value)


def test_a_record_of_format_4_is_read(tmp_path: Path) -> None:
    at = practice("fault hose_1 leak 3 mm", began=False)
    path = recorded(at, tmp_path, ("begin", "listen hose_1"))
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA user_version = 4")
    kept = continuation(path)
    assert kept.entries == tuple(at.entries) and kept.review is None
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (FORMAT,)


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
        "DELETE FROM seal",
        "UPDATE seal SET lock = '[1]'",
        "UPDATE seal SET lock = 'x'",
        "UPDATE seal SET state = 'x'",
        "UPDATE seal SET state = NULL",
        "UPDATE seal SET run = NULL, lock = NULL",
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


def test_a_briefing_kept_before_hints_could_name_tests_is_read() -> None:
    db = sqlite3.connect(":memory:")
    for table in (WORK, BRIEF_TABLE):
        db.execute(table)
    before = list(pack(BRIEF))[:-1]
    db.execute("INSERT INTO brief VALUES (?)", (OBSCURED.seal(json.dumps(before)),))
    assert worked(db, OBSCURED) == (BRIEF, ())
