"""A way back to normal that is under way: what is answered next, what it waits for, how it ends."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from pneumo.live.request import Do
from tui.drilling import under_way
from tui.normal import ACKNOWLEDGE, RESET, RESET_ONLY, nothing_left, still_stands, way_back
from tui.physical import cautions_for
from tui.requests import Pending

if TYPE_CHECKING:
    from pneumo.live.frame import Frame
    from pneumo.live.link import Link

PATIENCE = 60.0
"""Time a way back to normal may take before the screen says what is still active [s of the run]."""


class Plan(NamedTuple):
    """What leads back to normal, to be confirmed."""

    steps: tuple[str, ...]
    """Sentences; () = nothing does, and the line says why."""
    lines: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    starts: bool = False
    """The run is to go on after them."""


class End(NamedTuple):
    """How it has ended."""

    back: bool
    """False: before everything was normal."""
    words: str
    """To be told; "" = nothing."""


class Returning:
    """What is left of a way back is answered once it can be; it ends when nothing is."""

    def __init__(self, link: Link, pending: Pending) -> None:
        self._link, self._pending = link, pending
        self._until: float | None = None
        """When patience ends [s of the run]; None: no way back is under way."""
        self._answered_at = -1.0

    @property
    def under_way(self) -> bool:
        return self._until is not None

    def plan(self) -> Plan:
        """The way back from the frame that is shown."""
        frame, seat = self._link.frame, self._link.seat
        if seat == "trainee" and under_way(self._link) is not None:
            return Plan((), ("In a drill you put back yourself what you have changed.",))
        steps = way_back(self._link.plant, frame, seat)
        if not steps:
            return Plan((), (nothing_left(frame, seat),))
        starts = self._link.keeps_time and not frame.running
        lines = [f"{number}. {step}" for number, step in enumerate(steps, 1)]
        if starts:
            lines.append("Then the run goes on, so that the zones can get there.")
        if seat == "trainee":
            lines.append("A fault that stands stays: it is found and mended, not reset.")
        cautions = dict.fromkeys(c for step in steps for c in cautions_for(Do(step)))
        return Plan(steps, tuple(lines), tuple(cautions), starts)

    def begin(self, steps: Sequence[str]) -> None:
        """Says its first steps."""
        self._say(steps)
        self._until = self._answered_at + PATIENCE

    def _say(self, steps: Sequence[str]) -> None:
        for step in steps:
            self._pending.send(Do(step), sure=True, quiet=True)
        self._answered_at = self._link.frame.time

    def waits_for(self, frame: Frame) -> tuple[str, ...] | None:
        """What it waits for; None: none is under way."""
        if self._until is None:
            return None
        return still_stands(frame) or tuple(
            f"{name} to be at rest"
            for name, zone in zip(self._link.plant.zones, frame.zones, strict=True)
            if not _at_rest(zone.state)
        )

    def go_on(self, frame: Frame) -> End | None:
        """Answers what a new frame lets be answered; None: it has not ended."""
        if self._until is None:
            return None
        steps = way_back(self._link.plant, frame, self._link.seat)
        stands = still_stands(frame)
        if frame.time > self._until:
            self._until = None
            what = "; ".join(stands) or "; ".join(steps)
            words = f"Not back to normal yet. Still active: {what}. N tries again."
            return End(False, words if what else "")
        if frame.time < self._answered_at + 1.0:  # a second for the last answers to be read
            return None
        if not (steps or stands) and all(_at_rest(zone.state) for zone in frame.zones):
            self._until = None
            whole = "Back to normal: no fault, no alarm, every zone where it belongs."
            return End(True, RESET_ONLY if self._link.seat == "trainee" else whole)
        if steps and not stands and set(steps) <= {ACKNOWLEDGE, RESET}:
            self._say(steps)
        return None


def _at_rest(state: str) -> bool:
    return state in ("open", "closed")
