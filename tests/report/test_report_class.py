"""The results of a class: everything is on the sheet, and text stays text."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

from test_report_debrief import ENTRIES, FOUND, Words

from pneumo.drill.entry import Answered, Entry, Found, Stated
from pneumo.drill.job import Suspect
from pneumo.inspection.evidence import Reading
from pneumo.report.cautions import CAUTIONS
from pneumo.report.class_page import Member, class_csv, class_page

FINDING = Stated(((Suspect("hose_1", "leak"), Suspect("hose_2", "leak")),))
AT_WORK = (
    Entry(10.0, 40.0, "trainee", "begin", "", Answered("operator", ()), (), "at work"),
    Entry(40.0, 70.0, "trainee", "read hose_1.2", "read",
          Found(Reading("hose_1.2", 1e5, False, False)), (), "at work"),
    Entry(70.0, 100.0, "trainer", "hint", "hint", Answered("hint", ("Listen.",)), (), "at work"),
    Entry(100.0, 130.0, "trainee", "finding", "", FINDING, (), "finding stated"),
)  # fmt: skip
RIGHT = replace(FOUND, verdict="right", state="handed back", reasons=(), unsafe=(), entries=())
MEMBERS = (
    Member("Ann Sorley", "stopped", 10.0, 2990.0, ENTRIES, FOUND),
    Member("Bo <b>", "finding stated", 10.0, 120.0, AT_WORK),
    Member("Cem", "handed back", 10.0, 600.0, (), RIGHT),
    Member("Dan", "", 0.0, 0.0),
)


def page(*members: Member) -> str:
    return class_page("A <hiss>", "Sand Martin", 2700.0, members, version="1", made_on="today")


def test_what_is_counted() -> None:
    of = MEMBERS[1]
    assert (of.tests, of.hints, of.unsafe) == (1, 1, ())
    assert of.finding == "hose_1 leak, or hose_2 leak."
    assert (of.verdict, of.result) == ("", "finding stated")
    assert (MEMBERS[0].verdict, len(MEMBERS[0].unsafe)) == ("WRONG", 2)


def test_everything_is_on_the_sheet() -> None:
    words = Words(page(*MEMBERS))
    text = " ".join(words.text.split())
    for part in (
        "A <hiss>", "Sand Martin", "par 45 min", "today", "Ann Sorley", "WRONG: somebody would",
        "0:49:50", "Bo <b>", "not over: finding stated", "0:02:00", "hose_1 leak, or hose_2 leak.",
        "RIGHT.", "not over: the ride is not open yet", "hose_1 leak 3 mm", "replace hose_1",
        "4.50 bar", "Nobody had proved", *CAUTIONS[:2],
    ):  # fmt: skip
        assert part in text, part
    assert text.count("Bo <b>") == 1, "nothing unsafe is told of those who were safe"
    assert not words.tags & {"script", "link", "img", "hiss"}


def test_what_was_wrong_is_told_once_somebody_is_through() -> None:
    assert "hose_1 leak 3 mm" not in page(MEMBERS[1])
    later = replace(RIGHT.truth[0], component="hose_2", sentence="hose_2 leak 9 mm", since=900.0)
    other = replace(RIGHT, truth=(*RIGHT.truth, later))
    both = page(MEMBERS[2], Member("Eve", "handed back", 10.0, 1.0, (), other))
    assert both.count("hose_1 leak 3 mm") == both.count("hose_2 leak 9 mm") == 1


def test_a_sheet_without_anybody() -> None:
    assert "Nobody has joined." in page()


def test_the_table_holds_a_row_a_trainee_and_no_formula() -> None:
    odd = Member("=1+2", "handed back", 10.0, 90.0, AT_WORK, RIGHT)
    rows = list(csv.reader(io.StringIO(class_csv("@SUM(A1)", (*MEMBERS, odd)))))
    assert len(rows) == 6 and len({len(row) for row in rows}) == 1
    assert rows[1][:5] == ["Ann Sorley", "'@SUM(A1)", "stopped", "wrong", "49.8"]
    assert rows[1][-1] == "hurt; unsafe"
    assert rows[2][3:9] == ["", "2.0", "1", "1", "0", "hose_1 leak, or hose_2 leak."]
    assert rows[5][0] == "'=1+2"
    assert class_csv("x", MEMBERS).count("\r\n") == 5
