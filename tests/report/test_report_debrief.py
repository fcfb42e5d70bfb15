"""The page of a debrief: everything is there, and text stays text."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

from pneumo.drill.danger import Danger
from pneumo.drill.entry import Done, Entry, Repaired
from pneumo.drill.job import Suspect
from pneumo.drill.outcome import Debrief, Took, Truth
from pneumo.drill.review import NO_OWN_WAY, NO_REVIEW, TITLE, Measured, Review, Stage, Suspected
from pneumo.report.cautions import CAUTIONS
from pneumo.report.debrief_page import debrief_page

ENTRIES = (
    Entry(10.0, 40.0, "trainee", "close trim", "command", Done(), (), "at work"),
    Entry(40.0, 1240.0, "trainee", "clean silencer", "clean", Repaired("clean", "silencer", ""),
          (Danger("not proved", "silencer"),), "repaired"),
    Entry(1240.0, 3000.0, "trainee", "replace hose_1", "replace", Done(),
          (Danger("pressure", "hose_1", 4.5e5),), "stopped"),
)  # fmt: skip
FOUND = Debrief(
    "A <hiss>", "stopped", "wrong", ("hurt", "unsafe"),
    (Truth("hose_1", "leak", "hose_1 leak 3 mm", 4.0, None, "named", 32.0,
           "Air escapes at a joint."),),
    ((Suspect("hose_1", "leak"),),), ENTRIES, 10.0, 2990.0, 2700.0,
    (Took("repairs", 2960.0), Took("commands", 30.0)), (1,), (), (1, 2), (),
)  # fmt: skip


class Words(HTMLParser):
    """The text of a page, and its tags."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.text, self.tags = "", set[str]()
        self.feed(page)

    def handle_data(self, data: str) -> None:
        self.text += data

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)


def test_everything_is_on_the_page() -> None:
    words = Words(debrief_page(FOUND, version="1", trainee="A. Miller", made_on="today"))
    text = " ".join(words.text.split())
    for part in (
        "A <hiss>", "A. Miller", "today", "WRONG", "hose_1 leak 3 mm", "close trim",
        "clean silencer", "it ended nothing", "4.50 bar", "Nobody had proved", "50 min",
        *CAUTIONS[:2],
    ):  # fmt: skip
        assert part in text, part
    assert not words.tags & {"script", "link", "img", "hiss"}


STAGES = (
    Stage(10.0, "", (), 0.9, 0.1),
    Stage(40.0, "close trim", (Suspected("valve", "valve.14", 0.7), Suspected("hose_1", "hose_1",
          0.2)), 0.1, 0.0),
    Stage(1240.0, "soap <hose_1>", (Suspected("hose_1", "hose_1", 0.98),), 0.02, 0.0),
)  # fmt: skip
REVIEW = Review(10.0, ("hose_1",), STAGES, Measured(30.0, 1800.0, 1, 0, 1800.0, 2),
                Measured(0.0, 600.0, 1, 0, 600.0, 3))  # fmt: skip


def test_a_review_is_a_part_of_the_page() -> None:
    page = debrief_page(FOUND, REVIEW, version="1")
    words = Words(page)
    text = " ".join(words.text.split())
    for part in (
        TITLE, "From 0:20:30 on, after soap <hose_1>, hose_1 was sure enough",
        "stated 10 min later", "valve.14 70 %, hose_1 20 %", "nothing wrong has shown itself",
        "detection time30 s0 s", "isolation time30 min10 min",
        "isolation accuracy100 % (0 classification errors)100 %", "cost30 min of downtime10",
        "hose_1 *", "last finding", "no fault",
    ):  # fmt: skip
        assert part in text, part
    assert "svg" in words.tags and not words.tags & {"hose_1", "script", "img"}
    assert NO_REVIEW not in text
    assert page == debrief_page(FOUND, REVIEW, version="1")
    # the line of a suspect goes up where it comes up, and down where it goes out
    (line,) = re.findall(r'd="M([^"]*)" fill="none" stroke="#000000"', page)
    heights = [float(point.split()[1]) for point in line.split("L")]
    low, high = max(heights), min(heights)
    assert heights == [low, low, high, high, low, low] and low > high


def test_a_page_says_why_there_is_no_review() -> None:
    text = " ".join(Words(debrief_page(FOUND, "It was <not> awaited.", version="1")).text.split())
    assert f"{NO_REVIEW} It was <not> awaited." in text and TITLE not in text
    text = " ".join(Words(debrief_page(FOUND, version="1")).text.split())
    assert NO_REVIEW not in text
    bare = replace(REVIEW, stages=(), own=None)
    text = " ".join(Words(debrief_page(FOUND, bare, version="1")).text.split())
    assert NO_OWN_WAY in text and "never made one answer sure" in text


def test_what_was_before_the_drill_comes_first() -> None:
    page = debrief_page(FOUND, version="1")
    assert page.index("hose_1 leak 3 mm: injected") < page.index("<code>close trim</code>")


def test_the_same_debrief_gives_the_same_page() -> None:
    assert debrief_page(FOUND, version="1") == debrief_page(replace(FOUND), version="1")
    assert "20" not in debrief_page(FOUND, version="1").split("</h1>")[1].split("</p>")[0]
