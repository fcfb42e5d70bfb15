"""What a diagnostician makes of a drill, as a part of the page of its debrief."""

from __future__ import annotations

from typing import NamedTuple

from pneumo.drill.review import (
    NO_OWN_WAY,
    SURE,
    TITLE,
    Review,
    determined_told,
    terms,
    told_stages,
)
from pneumo.drill.telling import clock
from pneumo.report.traces import Level, Mark, chart

MOST_LINES = 5
"""Suspects that the chart shows: those that were most probable once."""

LEAST_PEAK = 0.05
"""What was never more probable has no line [-]."""

NO_FAULT, NONE_OF_THESE = "no fault", "none of these"


class ReviewPart(NamedTuple):
    """What the page says of a review."""

    title: str
    chart: str
    """SVG; "" = nothing was thought."""
    told: tuple[str, ...]
    """Sentences."""
    terms: tuple[tuple[str, str, str], ...]
    """Term, value of the technician, of the diagnostician."""
    remark: str
    stages: tuple[tuple[str, str, str], ...]
    """Time, what was done, what was to be thought."""


def review_part(review: Review, spent: float) -> ReviewPart:
    """The part of a page; `spent`: downtime of the drill [s]."""
    technician = terms(review.technician)
    own = dict(() if review.own is None else terms(review.own))
    return ReviewPart(
        TITLE,
        _chart(review, spent),
        tuple(determined_told(review)),
        tuple((term, value, own.get(term, "–")) for term, value in technician),
        NO_OWN_WAY if review.own is None else "",
        tuple(
            (clock(review.since(stage)), stage.line or "at first", told)
            for stage, told in told_stages(review)
        ),
    )


def _chart(review: Review, spent: float) -> str:
    """How probable the leading suspects were, over the minutes of the drill."""
    if not review.stages:
        return ""
    times = [review.since(stage) / 60.0 for stage in review.stages]
    ends = [*times[1:], max(spent / 60.0, times[-1])]
    defective = {
        each.name for stage in review.stages for each in stage.suspects
        if each.component in review.defective
    }  # fmt: skip
    isolated = review.technician.isolated
    return chart(
        [time for both in zip(times, ends, strict=True) for time in both],
        {name: [100.0 * share for share in shares for _ in range(2)]
         for name, shares in _leading(review).items()},
        title="Probability of each suspect, %, from what was seen until then (* = was defective)",
        marks=() if isolated is None else (Mark(isolated / 60.0, "last finding"),),
        levels=(Level(100.0 * SURE, "sure"),),
        names={name: f"{name} *" for name in defective},
        unit="min",
    )  # fmt: skip


def _leading(review: Review) -> dict[str, list[float]]:
    """Shares after each stage, of what was most probable once."""
    found: dict[str, list[float]] = {}
    for number, stage in enumerate(review.stages):
        shares = {each.name: each.share for each in stage.suspects}
        shares |= {NO_FAULT: stage.sound, NONE_OF_THESE: stage.none_of_these}
        for name, share in shares.items():
            found.setdefault(name, [0.0] * len(review.stages))[number] = share
    likely = sorted((name for name in found if max(found[name]) > LEAST_PEAK),
                    key=lambda name: -max(found[name]))  # fmt: skip
    return {name: found[name] for name in likely[:MOST_LINES]}
