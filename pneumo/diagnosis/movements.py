"""Which zones moved in a stretch of a record, and whether that was part of everyday operation."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

from pneumo.circuit.action import (
    Acknowledge,
    Action,
    Command,
    ForceOutput,
    Reset,
    RideStop,
    Unforce,
)
from pneumo.circuit.circuit import Circuit
from pneumo.circuit.verbs import ALL
from pneumo.diagnosis.record import Stretch
from pneumo.diagnosis.rehearsal import Struck
from pneumo.scenario.event import RunEvent
from pneumo.zone.event import StateEntered

Movement = Literal["opening", "closing", "still", ""]
"""What a zone was asked for; "": it was not where such a movement begins."""

Stands = Literal["open", "closed", ""]


PART: dict[tuple[Struck, Movement], int] = {
    ("open", "closing"): 1, ("open", "opening"): 2, ("closed", "opening"): 1,
    ("closed", "closing"): 2,
}  # fmt: skip
"""Part of a rehearsal in which a movement comes."""


class Moved(NamedTuple):
    """What a zone, or a group of gates, did in a stretch, were nothing wrong with it."""

    movement: Movement
    stands: Stands
    """Where it stands at its end; "": that cannot be told."""


UNTOLD = Moved("", "")

_EVERYDAY = (Command, RideStop, Acknowledge, Reset, ForceOutput, Unforce)


def movements(
    circuit: Circuit, cut: Sequence[Stretch], events: Sequence[RunEvent]
) -> tuple[dict[str, Moved], ...]:
    """Of each stretch what each zone and group of gates did, "" standing for the ride: what all
    zones did, if it was the same. From something unusual on, such as a valve shut by hand, nothing
    can be told; while a valve is switched alone, nothing of that."""
    states: dict[str, str] = {name: zone.starts for name, zone in circuit.zones.items()}
    gates: dict[str, str] = {name: group.starts for name, group in circuit.gates.items()}
    found: list[dict[str, Moved]] = []
    place = 0
    usual = True
    forced: set[str] = set()
    for stretch in cut:
        while place < len(events) and events[place].time < stretch.began:
            event = events[place]
            if isinstance(event.what, StateEntered):
                states[event.subject] = event.what.entered
            place += 1
        usual = usual and all(isinstance(action, _EVERYDAY) for action in stretch.done)
        alone = switched_alone(stretch.done, forced)
        if not usual or alone:
            found.append({})
            continue
        own = {
            name: _moved(states[name], asked(stretch.done, name, zone.safe_state))
            for name, zone in circuit.zones.items()
        }
        together = set(own.values())
        for name in gates:
            own[name] = _moved(gates[name], asked(stretch.done, name, None))
            gates[name] = own[name].stands
        own[""] = together.pop() if len(together) == 1 else UNTOLD
        found.append(own)
    return tuple(found)


def switched_alone(done: Sequence[Action], forced: set[str]) -> bool:
    """Whether a valve is switched by itself in a stretch, or let go. `forced`: those that are."""
    told = bool(forced)
    for action in done:
        if isinstance(action, ForceOutput):
            told = True
            forced.add(f"{action.component}.{action.side}")
        elif isinstance(action, Unforce):
            told = True
            forced -= set(forced) if action.target == ALL else {action.target}
    return told


def states_now(circuit: Circuit, events: Sequence[RunEvent]) -> dict[str, str]:
    """What the panel says of each zone after all that happened."""
    states: dict[str, str] = {name: zone.starts for name, zone in circuit.zones.items()}
    for event in events:
        if isinstance(event.what, StateEntered):
            states[event.subject] = event.what.entered
    return states


def under_way(
    circuit: Circuit, cut: Sequence[Stretch], events: Sequence[RunEvent], time: float
) -> dict[str, float]:
    """Zones that are on their way at a time [s] -> when what moves them was done [s]."""
    began: dict[str, float] = {}
    for event in events:
        if event.time >= time:
            break
        if isinstance(event.what, StateEntered) and event.subject in circuit.zones:
            if event.what.entered in ("open", "closed", "faulted"):
                began.pop(event.subject, None)
            else:
                began.setdefault(event.subject, event.time)
    return {
        zone: max(each.began for each in cut if each.began <= left) for zone, left in began.items()
    }


def gates_now(circuit: Circuit, cut: Sequence[Stretch]) -> dict[str, str]:
    """Where each group of gates stands after all that was done, were nothing wrong with it."""
    stands: dict[str, str] = {name: group.starts for name, group in circuit.gates.items()}
    for stretch in cut:
        for name in stands:
            stands[name] = _moved(stands[name], asked(stretch.done, name, None)).stands
    return stands


def _moved(state: str, asked: str) -> Moved:
    if state == "open":
        return Moved("closing", "closed") if asked == "close" else Moved("still", "open")
    if state == "closed":
        return Moved("opening", "open") if asked == "open" else Moved("still", "closed")
    return UNTOLD


def asked(done: Sequence[Action], name: str, safe: str | None) -> str:
    """What a zone with a safe state, or a group of gates, is asked for: "open" or "close"; "":
    nothing."""
    to = ""
    for action in done:
        if isinstance(action, Command) and action.target in (name, ALL):
            if action.target == ALL and safe is None:
                continue  # gates are named
            to = action.to
        elif isinstance(action, RideStop) and safe is not None:
            to = "open" if safe == "open" else "close"
    return to
