"""What a zone's logic waits for in its present state, with the instruments that are against it.

Made from the table, the guards and the timers themselves: nothing here decides anything.
"""

from __future__ import annotations

from collections.abc import Mapping
from sys import float_info
from typing import NamedTuple

from pneumo.zone import guard
from pneumo.zone.evidence import Obstacle, clues
from pneumo.zone.logic import ZoneLogic
from pneumo.zone.machine import Cause, Guard, Row
from pneumo.zone.sensed import Sensed, Side

_END_OF_TIME = float_info.max
"""[s] Every timer that runs is over by then; one that does not run (infinity) is not."""

AGAINST: Mapping[Guard, tuple[Side, tuple[Cause, ...]]] = {
    guard.closed_by_air: (
        "closed",
        (Cause.UNCOMMANDED, Cause.SWITCHES_DISAGREE, Cause.PRESSURE_LOST),
    ),
    guard.closed_by_springs: ("closed", (Cause.UNCOMMANDED, Cause.SWITCHES_DISAGREE)),
    guard.open_by_air: (
        "open",
        (Cause.UNCOMMANDED, Cause.SWITCHES_DISAGREE, Cause.PRESSURE_LOST),
    ),
    guard.open_by_springs: (
        "open",
        (Cause.UNCOMMANDED, Cause.SWITCHES_DISAGREE, Cause.PRESSURE_PRESENT),
    ),
    guard.no_pressure: ("closed", (Cause.PRESSURE_PRESENT,)),
}
"""Guard of an arrival -> the end it wants, and the causes whose evidence speaks against it.

What would be a fault once the zone is there is what keeps it from getting there.
"""


class Wait(NamedTuple):
    """A transition that the zone would make by itself, or by a reset."""

    to: str
    """State it leads to."""
    blocked_by: tuple[Obstacle, ...]
    """What keeps the zone from it; () = nothing but time."""
    limit: float | None
    """When the time for it is over [s], or when it comes by time alone; None: no limit runs."""
    cause: str
    """First-out cause of a fault; "" for an arrival and for a reset."""


def waiting(zone: ZoneLogic, sensed: Sensed, time: float) -> tuple[Wait, ...]:
    """What a zone waits for at `time` [s], if what its last scan `sensed` stays as it is.

    Arrivals come first, then the faults whose time limit runs, both in the order of the table.
    A faulted zone waits for its reset: with nothing that blocks it, one would be obeyed now.
    """
    if zone.state == "faulted":
        return _reset(zone, sensed, time)
    faults = [
        (row, limit)
        for row in zone.sensed_rows
        if row.cause is not None and (limit := _comes(row, zone, sensed, time)) is not None
    ]
    over = min((limit for _, limit in faults), default=None)
    arrivals = [
        (row, _comes(row, zone, sensed, time))
        for row in zone.sensed_rows
        if row.trigger == "arrive"
    ]
    waits = [
        Wait(row.destination, _against(row, zone, sensed), over if by_time is None else by_time, "")
        for row, by_time in arrivals
    ]
    # an arrival comes before a time limit that ends at the same instant
    first = min((by_time for _, by_time in arrivals if by_time is not None), default=float("inf"))
    waits += [
        Wait(row.destination, (), limit, str(row.cause)) for row, limit in faults if limit < first
    ]
    return tuple(waits)


def _reset(zone: ZoneLogic, sensed: Sensed, time: float) -> tuple[Wait, ...]:
    row = zone.command_row("reset", time, sensed)
    if row is None:
        return ()
    return (Wait(row.destination, zone.reset_blocked_by(sensed), None, ""),)


def _comes(row: Row, zone: ZoneLogic, sensed: Sensed, time: float) -> float | None:
    """When the row's guard holds, from `time` on [s]; None: not while `sensed` stays."""
    for at in (time, *(limit for limit in zone.limits() if limit > time)):
        if row.guard(sensed, zone.settings, zone.timers(at)):
            return at
    return None


def _against(row: Row, zone: ZoneLogic, sensed: Sensed) -> tuple[Obstacle, ...]:
    if row.guard(sensed, zone.settings, zone.timers(_END_OF_TIME)):
        return ()
    end, causes = AGAINST[row.guard]
    return tuple(
        Obstacle("", True, (clue,))
        for cause in causes
        for clue in clues(cause, end, sensed, zone.settings)
    )
