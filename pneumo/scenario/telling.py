"""The sentence of an event. Sentences are for people: no program reads one back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from pneumo.scenario.event import (
    Commanded,
    ContactRead,
    FaultCleared,
    FaultInjected,
    FaultPaused,
    Happening,
    Noted,
    SpoolArrived,
    SupplyChanged,
    Unlisted,
)
from pneumo.zone.event import (
    AlarmChanged,
    AlarmRaised,
    Reason,
    Refused,
    RideStopped,
    RideStopReset,
    StateEntered,
)
from pneumo.zone.evidence import Obstacle, evidence_words


def told(what: Happening) -> str:
    """What happened, without whom it happened to."""
    return _WORDS[type(what)](what)


def _raised(what: AlarmRaised) -> str:
    return f"{'first out: ' if what.first_out else ''}{what.name}: {evidence_words(what.sensed)}"


def _refused(what: Refused) -> str:
    whose = " of the ride stop" if what.of_ride_stop else ""
    about = ", ".join(what.about)
    reasons: dict[Reason, str] = {
        "no alarm": "no alarm to acknowledge",
        "not faulted": "the zone is not faulted: nothing to reset",
        "nothing to reset": "nothing to reset",
        "blocked": _blocked(what.blocked_by),
        "zone faulted": f"the zone is faulted ({about}); acknowledge and reset it first",
        "zones faulted": f"still faulted: {about}",
        "ride stopped": f"the ride is stopped ({about}); reset all first",
    }
    return f"{what.command}{whose} refused: {reasons[what.reason]}"


def _blocked(by: Sequence[Obstacle]) -> str:
    """What to do first: an alarm is acknowledged whether its condition stands or not."""
    if waiting := [each.alarm for each in by if not each.active]:
        return f"acknowledge first: {', '.join(waiting)}"
    seen = ((each.alarm, evidence_words(each.clues)) for each in by)
    return "still active: " + "; ".join(f"{name} ({why})" if why else name for name, why in seen)


def _place(position: float) -> str:
    """Where a spool stands: 1 where coil 14 puts it, -1 where coil 12 does."""
    names = {0.0: "at rest", 1.0: "in actuated position", -1.0: "in actuated position (12)"}
    return names.get(position, f"at {position:g} of its travel")


_WORDS: dict[type[Any], Callable[[Any], str]] = {
    Commanded: lambda what: what.action.text,
    StateEntered: lambda what: f"{what.left} -> {what.entered}",
    AlarmRaised: _raised,
    AlarmChanged: lambda what: f"{what.name}: {what.state}",
    Refused: _refused,
    RideStopped: lambda what: f"ride stop: {what.cause}; every zone to its safe state",
    RideStopReset: lambda what: "ride stop reset; the zones accept commands again",
    ContactRead: lambda what: "ON" if what.on else "OFF",
    SpoolArrived: lambda what: _place(what.position),
    SupplyChanged: lambda what: "loaded" if what.delivers else "not delivering",
    FaultInjected: lambda what: " ".join(("fault:", *what.fault.words)),
    FaultPaused: lambda what: f"{what.mode} absent until it repeats",
    FaultCleared: lambda what: f"{what.mode} cleared",
    Unlisted: lambda what: (
        f"{what.most} changes within 1 s; further changes are not listed"
    ),
    Noted: lambda what: what.words,
}  # fmt: skip
