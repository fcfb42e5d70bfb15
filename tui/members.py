"""What the board of a class says of its trainees: a row of each, and more of the one chosen."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from rich.cells import cell_len, set_cell_size
from textual.content import Content

from pneumo.drill.arc import WORKING
from pneumo.drill.entry import Entry
from pneumo.drill.telling import clock
from pneumo.report.class_page import Member
from tui.drill_words import debriefing, state_rows
from tui.drill_words import row as row_of

if TYPE_CHECKING:
    from pneumo.live.work import Note, Work
    from pneumo.seats.door import Place

STOPPED = "‖"
"""Beside the time: the clock is stopped."""

FAILED = "!"
"""Before the name: the ride could not go on, or is lost."""

COLUMNS = (
    ("trainee", 16), ("seat", 7), ("step", 14), ("spent", 9), ("tests", 5), ("unsafe", 6),
)  # fmt: skip
"""Words and cells of each; what remains of a row is the finding's."""


def member(place: Place) -> Member:
    """How the trainee of a place stands."""
    work = work_of(place)
    if work is None:
        return Member(place.name, "", 0.0, 0.0)
    spent = 0.0
    if work.debrief is not None:
        spent = work.debrief.spent
    elif work.state != "briefing" and place.trainer is not None:
        spent = max(place.trainer.frame.time - work.began, 0.0)
    return Member(place.name, work.state, work.began, spent, work.entries, work.debrief)


def work_of(place: Place) -> Work | None:
    """The drill at a place; None: its ride is not open yet."""
    return None if place.trainer is None else place.trainer.work


def is_working(place: Place) -> bool:
    """Whether somebody is at work there, and the drill has a clock."""
    work = work_of(place)
    return work is not None and work.state in WORKING


def is_stopped(place: Place) -> bool:
    """Whether the clock of somebody at work is stopped."""
    return is_working(place) and place.trainer is not None and not place.trainer.frame.running


def heading(width: int) -> Content:
    """Above the rows."""
    return _line([(words, "$text-muted") for words in (*dict(COLUMNS), "finding")], width)


def row(place: Place, failed: bool, width: int) -> Content:
    """A trainee's row. What needs attention has a word or a mark, and a colour besides."""
    of, stopped = member(place), is_stopped(place)
    lost = place.trainer is not None and bool(place.trainer.trouble)
    failed = failed or lost
    return _line(
        [
            (f"{FAILED} {of.name}" if failed else of.name, "bold $error" if failed else "bold"),
            (place.trainee, "") if place.present
            else (place.trainee if place.was_taken else "–", "$warning"),
            ("RIDE LOST", "bold $error") if lost
            else (of.verdict or of.state or "opening", "bold" if of.verdict else ""),
            (f"{clock(of.spent)} {STOPPED}", "$accent") if stopped else (clock(of.spent), ""),
            (str(of.tests), ""),
            (str(len(of.unsafe)), "bold $error") if of.unsafe else ("–", ""),
            (of.finding or "–", ""),
        ],
        width,
    )  # fmt: skip


def summary(places: tuple[Place, ...], size: int) -> Content:
    """The row that stands for all of them."""
    over = sum(bool(member(place).verdict) for place in places)
    here = sum(place.present for place in places)
    text = f"{len(places)} of {size} rides, {here} joined, {over} over"
    return Content.assemble((cell("ALL", COLUMNS[0][1]), "bold"), " ", text)


def details(place: Place, failure: str) -> Iterator[str]:
    """How one trainee stands, in a few lines."""
    of, work = member(place), work_of(place)
    if place.trainer is not None and place.trainer.trouble:
        yield place.trainer.trouble
    elif failure:
        yield failure
    if work is None or place.trainer is None:
        yield "The ride is being opened."
    elif of.debrief is not None:
        yield of.result
    elif work.state == "briefing":
        yield "Reads the briefing; the clock has not started."
    else:
        stopped = "CLOCK STOPPED" if is_stopped(place) else ""
        yield from state_rows(work, place.trainer.frame.time, stopped)
        yield from (f"diagnostician: {short}" for short in place.trainer.thought[:1])


def story(place: Place) -> Content:
    """All that was done, with its notes; when it is over, the debrief."""
    work = work_of(place)
    if work is None:
        return Content("")
    if work.debrief is not None:
        return Content(debriefing(work))
    return Content("\n").join([row_of(each, work.began) for each in _told(work)])


def latest(place: Place, width: int, rows: int) -> Content:
    """The last of what was done, in so many cells and lines."""
    work = work_of(place)
    if work is None or rows <= 0:
        return Content("")
    told = [row_of(each, work.began) for each in _told(work)[-rows:]]
    return Content("\n").join(Content("\n").join(told).wrap(width)[-rows:])


def cell(text: str, width: int) -> str:
    """Text in so many cells, cut with a mark where it is too long."""
    if cell_len(text) > width:
        return set_cell_size(set_cell_size(text, max(width - 1, 0)) + "…", width)
    return set_cell_size(text, width)


def _line(cells: list[tuple[str, str]], width: int) -> Content:
    """Texts, each with its style, below each other's columns."""
    fixed = [size for _, size in COLUMNS]
    sizes = [*fixed, max(width - sum(fixed) - len(fixed), 8)]
    parts = [
        Content.styled(cell(text, size), style)
        for (text, style), size in zip(cells, sizes, strict=True)
    ]
    return Content(" ").join(parts)


def _told(work: Work) -> list[Entry | Note]:
    """What was done and sent, in order of time."""
    return sorted(
        (*work.entries, *work.notes),
        key=lambda each: each.ended if isinstance(each, Entry) else each.time,
    )
