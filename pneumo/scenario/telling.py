"""The sentence of an event. Sentences are for people: no program reads one back."""

from __future__ import annotations

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
    Refused,
    RideStopped,
    RideStopReset,
    StateEntered,
)


def told(what: Happening) -> str:
    """What happened, without whom it happened to."""
    match what:
        case Commanded(action):
            return action.text
        case StateEntered(left, entered):
            return f"{left} -> {entered}"
        case AlarmRaised(name, first_out, sensed):
            return f"{'first out: ' if first_out else ''}{name}: {sensed}"
        case AlarmChanged(name, state):
            return f"{name}: {state}"
        case Refused(command, reason, of_ride_stop):
            return f"{command}{' of the ride stop' if of_ride_stop else ''} refused: {reason}"
        case RideStopped(cause):
            return f"ride stop: {cause}; every zone to its safe state"
        case RideStopReset():
            return "ride stop reset; the zones accept commands again"
        case ContactRead(on):
            return "ON" if on else "OFF"
        case SpoolArrived(position):
            return _place(position)
        case SupplyChanged(delivers):
            return "loaded" if delivers else "not delivering"
        case FaultInjected(fault):
            return " ".join(("fault:", *fault.words))
        case FaultPaused(mode):
            return f"{mode} absent until it repeats"
        case FaultCleared(mode):
            return f"{mode} cleared"
        case Unlisted(_, most):
            return f"{most} changes within 1 s; further changes are not listed"
        case Noted(_, words):
            return words


def _place(position: float) -> str:
    """Where a spool stands: 1 where coil 14 puts it, -1 where coil 12 does."""
    names = {0.0: "at rest", 1.0: "in actuated position", -1.0: "in actuated position (12)"}
    return names.get(position, f"at {position:g} of its travel")
