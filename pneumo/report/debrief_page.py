"""The debrief of a drill as one printable HTML page that needs nothing else."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pneumo.drill.entry import Done, Given
from pneumo.drill.outcome import Debrief, Took
from pneumo.drill.review import NO_REVIEW, Review
from pneumo.drill.telling import (
    alarms_told,
    clock,
    danger_told,
    finding_told,
    idle_told,
    left_told,
    minutes,
    told,
    truth_told,
    verdict_told,
)
from pneumo.harmless import harmless
from pneumo.report import palette
from pneumo.report.cautions import CAUTIONS
from pneumo.report.html import environment
from pneumo.report.review_part import review_part


@dataclass(frozen=True)
class _Row:
    """A row of the timeline: something that was done, or what was true from then on."""

    at: float
    """[s since the drill began]"""
    line: str = ""
    said: str = ""
    remark: str = ""
    unsafe: bool = False
    truth: str = ""

    @property
    def time(self) -> str:
        """As it is printed; what was so before the drill began has no time."""
        return clock(self.at) if self.at >= 0.0 else "before"


def debrief_page(
    found: Debrief,
    review: Review | str = "",
    *,
    version: str,
    trainee: str = "",
    made_on: str = "",
    cautions: Sequence[str] = CAUTIONS,
) -> str:
    """The page; the same arguments give the same text.

    `made_on`: a date to print, as it is; "" leaves it out, because only the caller has a clock.
    `review`: what a diagnostician makes of the drill, or why there is nothing; "" = nobody asks.
    Text from the drill is escaped everywhere, and letters that act are taken out.
    """
    most = max((took.seconds for took in found.minutes), default=0.0) or 1.0

    def share(took: Took) -> int:
        return round(100.0 * took.seconds / most)

    text = environment().get_template("debrief.html.j2").render(
        d=found, version=version, trainee=trainee, made_on=made_on, palette=palette,
        verdict=verdict_told(found), rows=sorted(_rows(found), key=lambda row: row.at),
        share=share, minutes=minutes, clock=clock, truth_told=truth_told,
        finding_told=finding_told, danger_told=danger_told, left_told=left_told, cautions=cautions,
        review=review_part(review, found.spent) if isinstance(review, Review) else None,
        no_review=f"{NO_REVIEW} {review}" if review and isinstance(review, str) else "",
    )  # fmt: skip
    return harmless(text, keep="\n\t")


def _rows(found: Debrief) -> Iterator[_Row]:
    for fault in found.truth:
        yield _Row(fault.since - found.began, truth=f"{fault.sentence}: injected")
        if fault.ended is not None:
            yield _Row(fault.ended - found.began, truth=f"{fault.sentence}: ended")
    for i, entry in enumerate(found.entries):
        remark = ""
        if i in found.undone:
            remark = "it does not count: the ride was set back to before it"
        elif i in found.idle:
            remark = f"it could show nothing: {idle_told(entry)}"
        elif i in found.needless:
            remark = "it ended nothing"
        plain = isinstance(entry.result, Done | Given)
        yield _Row(
            entry.at - found.began, entry.line,
            "\n".join((*(() if plain else (told(entry.result),)), *alarms_told(entry))),
            remark, entry.unsafe,
        )  # fmt: skip
