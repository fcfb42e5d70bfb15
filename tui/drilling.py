"""What a drill that is worked on changes for its screens: what is refused, and its clock."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pneumo.live.link import Link
    from pneumo.live.request import Request
    from pneumo.live.work import Work


def under_way(link: Link) -> Work | None:
    """The drill that is worked on and not over; None: there is none."""
    work = link.work
    return work if work is not None and work.debrief is None else None


def judged(link: Link) -> bool:
    """Whether a drill was worked on and is over."""
    return link.work is not None and link.work.debrief is not None


def refused(link: Link, request: Request) -> str:
    """Why a request cannot be had in the drill of a seat; "" = it can, or there is no drill."""
    if link.work is None:
        return ""
    from pneumo.live.work import refusal  # not before the first screen stands

    return refusal(link.work.state, link.seat, request)


def time_told(work: Work, time: float) -> str:
    """ "0:12:30 of 45 min": what has been spent at an instant [s of the ride]."""
    from pneumo.drill.telling import clock, minutes

    spent = clock(max(time - work.began, 0.0))
    return f"{spent} of {minutes(work.brief.par)}" if work.brief.par else spent
