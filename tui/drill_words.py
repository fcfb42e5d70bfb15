"""What the page of a drill says: how it stands, its briefing, and a row of its list."""

from __future__ import annotations

from collections.abc import Iterable

from textual.content import Content

from pneumo.drill.entry import Entry, Stated, suspects
from pneumo.drill.review import review_lines
from pneumo.drill.telling import (
    clock,
    debrief_lines,
    entry_lines,
    finding_told,
    minutes,
    suspect_told,
)
from pneumo.live.request import Seat
from pneumo.live.work import Note, Work
from tui.drilling import time_told

HOW = """\
How it goes: look for the fault with tests; state your finding; make the ride safe (switch off, \
isolate, lock, prove zero, block jaws); repair; put everything back; function test; hand back.
Each act costs the minutes it would take, and the ride goes on meanwhile. Nothing can be undone."""


def title_row(work: Work) -> str:
    """Before a drill and after it."""
    level = f"   level {work.brief.level} of 5" if work.brief.level else ""
    par = f"   par {minutes(work.brief.par)}" if work.brief.par else ""
    return f"DRILL: {work.title}{level}{par}"


def state_rows(work: Work, time: float, stopped: str) -> Iterable[str]:
    """How a drill at work stands at an instant [s of the ride], in three lines or four; `stopped`:
    that its clock is, "" = it is not."""
    doing = "nothing under way"
    if work.doing:
        doing = f"now: {work.doing}, until {clock(max(work.until - work.began, 0.0))}"
    waits = f"   {work.waiting} waiting" if work.waiting else ""
    yield "   ".join((time_told(work, time), work.state, stopped or doing)) + waits
    yield (
        f"locked: {', '.join(work.locked) or 'nothing'}   proved dead: "
        f"{', '.join(work.proved) or 'nothing'}   live permit: {'yes' if work.live else 'no'}"
    )
    stated = last_finding(work)
    yield f"finding: {'not stated yet' if stated is None else finding_told(stated.faults)}"
    if among := suspects(work.entries):
        yield f"suspects: {', '.join(map(suspect_told, among))}"


def last_finding(work: Work) -> Stated | None:
    """The last one stated; None: none was."""
    stated = (e.result for e in reversed(work.entries) if isinstance(e.result, Stated))
    return next(stated, None)


def briefing(work: Work, seat: Seat) -> str:
    """The complaint, and what goes with it."""
    brief = work.brief
    named = (
        ("Complaint", brief.complaint),
        ("Normal", brief.normal),
        ("At hand", brief.at_hand),
    )
    told = [f"{title}: {said}" for title, said in named if said]
    if not told:
        told = ["This drill has no briefing: something may be wrong with the ride. Find it."]
    hints = f"{hints_left(work)}; each costs minutes." if work.has_hint else ""
    end = "The clock starts when the trainee begins." if seat == "trainer" else ""
    return "\n\n".join(words for words in (*told, HOW, hints, end) if words)


def debriefing(work: Work) -> str:
    """What came of the drill, and the review as soon as there is one, or why there is none; "" = it
    is not over."""
    if work.debrief is None:
        return ""
    reviewed: Iterable[str] = ()
    if work.review is not None:
        reviewed = ("", *review_lines(work.review))
    elif work.no_review:
        reviewed = ("", work.no_review)
    return "\n".join((*debrief_lines(work.debrief), *reviewed))


def hints_left(work: Work) -> str:
    """How many hints there are, and what follows them."""
    if not work.brief.test_hints:
        return f"Hints that are left: {work.hints}"
    if not work.hints:
        return "A hint names the test that tells most next"
    return f"Hints that are left: {work.hints}; after them a hint names the test that tells most"


def row(of: Entry | Note, began: float) -> Content:
    """A row of the list; what was unsafe says so in a word. `began`: where the drill begins [s]."""
    if isinstance(of, Note):
        when, line, said = of.time, "note from the trainer", [of.text]
    else:
        by = " (by the trainer)" if of.seat == "trainer" else ""
        when, line, said = of.at, f"{of.line}{by}", list(entry_lines(of))
    parts = [(f"{clock(when - began)}  ", "$text-muted"), (line, "bold")]
    for i, words in enumerate(said):
        unsafe = words.startswith("UNSAFE")
        parts.append((": " if i == 0 and not unsafe else "\n  ", ""))
        parts.append((words, "bold $error" if unsafe else ""))
    return Content.assemble(*parts)
