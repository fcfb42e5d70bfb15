"""The way back to a ride at rest: which acts are needed, in which order."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from pneumo.zone.alarm import NEEDS_ACKNOWLEDGE, STANDS, AlarmState

if TYPE_CHECKING:
    from pneumo.live.frame import Frame
    from pneumo.live.plant import Plant
    from pneumo.live.request import Seat

ACKNOWLEDGE, RESET = "acknowledge all", "reset all"

RESET_ONLY = "Alarms are reset; whether the cause is gone, only a test shows."
"""For the trainee's seat, where nobody can know that there is no fault."""


def way_back(plant: Plant, frame: Frame, seat: Seat) -> tuple[str, ...]:
    """Sentences that lead back to normal, in order; () = everything is normal.

    What is defective is mended first, then the controller and every valve is left to itself, then
    vessels are shut before air comes back, then power; the operator answers last. Only the
    trainer can clear faults, put power back and call a train.
    """
    return tuple(_steps(plant, frame, seat))


def still_stands(frame: Frame) -> tuple[str, ...]:
    """Alarms whose condition is abnormal, which a reset will not answer: "trim: low supply"."""
    return tuple(
        f"{alarm.zone or 'ride'}: {alarm.name}"
        for alarm in frame.alarms
        if AlarmState(alarm.state) in STANDS
    )


def nothing_left(frame: Frame, seat: Seat) -> str:
    """What is said when no act leads any further, in a sentence."""
    if stands := still_stands(frame):
        return f"Nothing is left to do here; still active: {'; '.join(stands)}."
    if seat == "trainee":
        return "There is no alarm to reset; whether there is a fault, only a test shows."
    return "Everything is normal: nothing to put right."


def _steps(plant: Plant, frame: Frame, seat: Seat) -> Iterator[str]:
    trainer = seat == "trainer"
    if trainer:
        for fault in frame.faults:
            yield f"clear {fault.component} {fault.mode}"
    if any(frame.forced_inputs) or any(frame.forced_outputs):
        yield "unforce all"
    for coil in frame.overridden:
        yield f"release {coil}"
    yield from _plugs(frame)
    for brake in frame.blocked:
        yield f"unblock {brake}"
    for vessel in frame.drained:
        yield f"drain {vessel} closed"
    yield from _handles(plant, frame)
    for name in frame.switched_off:
        yield f"switch on {name}"
    if trainer:
        if frame.power is False:
            yield "power on"
        for zone in frame.absent_fins:
            yield f"fin {zone} present"
    if any(AlarmState(alarm.state) in NEEDS_ACKNOWLEDGE for alarm in frame.alarms):
        yield ACKNOWLEDGE
    if frame.stopped_by or any(zone.state == "faulted" for zone in frame.zones):
        yield RESET


def _plugs(frame: Frame) -> Iterator[str]:
    """Swapped plugs back on their own coils, one swap after the other."""
    on = {crossed.coil: crossed.output for crossed in frame.swapped}
    for coil in on:
        if (output := on[coil]) != coil:
            where = next(other for other, plug in on.items() if plug == coil)
            yield f"swap {coil} {where}"
            on[coil], on[where] = coil, output


def _handles(plant: Plant, frame: Frame) -> Iterator[str]:
    """Shut-off valves that do not stand as they do at the start of the document."""
    for name, valve in plant.circuit.having("turnable").items():
        starts_closed = getattr(valve, "starts", "open") == "closed"
        if starts_closed and name not in frame.isolated:
            yield f"isolate {name}"
        elif not starts_closed and name in frame.isolated:
            yield f"restore {name}"
