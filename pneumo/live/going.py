"""A ride that goes on to something instead of to a time."""

from __future__ import annotations

from collections.abc import Iterable

from pneumo.live.session import Session

LOOK_AHEAD = 60.0
"""`to_next_event` runs no longer than this [s]."""


def to_next_scan(session: Session) -> None:
    """Runs to the controller's next scan."""
    period = session.circuit.ride.scan
    session.advance((int(session.now / period + 1e-6) + 1) * period)


def to_next_event(session: Session, visible: Iterable[str] = ()) -> bool:
    """Runs until something happens of one of these kinds (all when empty); True when it did,
    False when `LOOK_AHEAD` or a check was over."""
    kinds = frozenset(visible)
    end = session.now + LOOK_AHEAD
    if session.check is not None:
        end = min(end, session.check.end)
    while session.now < end:
        known = len(session.shown.plant.log.events)
        session.advance(session.now + session.circuit.ride.scan)
        if any(not kinds or e.kind in kinds for e in session.shown.plant.log.events[known:]):
            return True
    return False
