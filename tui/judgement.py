"""Whether a zone that was asked for its safe state is in it, as far as a seat can tell.

The trainer's seat is told what the jaws do. The trainee's seat is not: there the jaw switches
speak, as the controller reads them, and a brake that no switch watches counts for neither.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from pneumo.circuit.circuit import Zone
from pneumo.live.frame import Frame, ZoneFrame
from pneumo.live.plant import Plant
from tui import text

Side = Literal["open", "closed"]

ENGAGED = 100.0
"""Clamping force from which a brake without a required force counts as clamped [N]; the verdict
(`pneumo.network.compile`) counts the same way."""

TOUCHING = 5e-5
"""Gap below which a lining is said to touch [m]; shown it would read 0.0 mm."""


class Jaws(NamedTuple):
    """What the two jaw switches of a brake say; None: the brake has no such switch."""

    closed: bool | None
    open: bool | None


def trouble(plant: Plant, frame: Frame, zone_index: int) -> str | None:
    """Why a zone is not safe, in one line; None: nothing asks for its safe state, it is in it, or
    the seat cannot tell.

    After a ride stop a zone that obeys is given the time of its requirement, counted from when its
    state was entered. A faulted zone and one without power are given none: something is wrong.
    """
    now = frame.zones[zone_index]
    why = asked(frame, zone_index)
    if not why or in_safe_state(plant, frame, zone_index) is not False:
        return None
    zone = plant.circuit.zones[plant.zones[zone_index]]
    obeying = now.state != "faulted" and frame.power is not False
    if obeying and frame.time - now.since <= zone.requirement.within:
        return None
    return f"{_what_is_wrong(plant, frame, zone, now)}; {why}"


def asked(frame: Frame, zone_index: int) -> str:
    """What asks a zone for its safe state; "" = nothing."""
    zone = frame.zones[zone_index]
    if zone.state == "faulted":
        return f"faulted: {zone.first_out}" if zone.first_out else "faulted"
    if frame.power is False:
        return "no power"
    if frame.stopped_by:
        return f"ride stop: {frame.stopped_by}"
    return ""


def in_safe_state(plant: Plant, frame: Frame, zone_index: int) -> bool | None:
    """Whether enough brakes of a zone are in its safe state; None: the seat cannot tell."""
    known = frame.zones[zone_index].in_safe_state
    if known is not None:
        return known
    zone = plant.circuit.zones[plant.zones[zone_index]]
    seen = [seen_at(jaws, zone.safe_state) for jaws in jaw_switches(plant, frame, zone_index)]
    if seen.count(True) >= zone.brakes_needed:
        return True
    return False if len(seen) - seen.count(False) < zone.brakes_needed else None


def seen_at(jaws: Jaws, side: Side) -> bool | None:
    """Whether the switches of a brake say that it is there; None: they do not tell."""
    there, away = (jaws.closed, jaws.open) if side == "closed" else (jaws.open, jaws.closed)
    if there is None:
        return False if away else None
    return there and not away


def jaw_switches(plant: Plant, frame: Frame, zone_index: int) -> tuple[Jaws, ...]:
    """What the controller reads from the jaw switches of a zone, brake by brake."""
    zone = plant.circuit.zones[plant.zones[zone_index]]
    made: dict[tuple[str, str], bool] = {}
    for contact, says in zip(plant.inputs, frame.inputs, strict=True):
        if contact.zone == zone.name and contact.kind == "jaw switch":
            brake = str(getattr(plant.circuit.components[contact.name], "of", ""))
            made[brake, contact.reads] = says
    return tuple(
        Jaws(made.get((brake, "closed")), made.get((brake, "open"))) for brake in zone.brakes
    )


def brakes_of(plant: Plant, zone_index: int) -> range:
    """Places of a zone's brakes in `plant.brakes`, `frame.gaps` and `frame.forces`."""
    zones = [plant.circuit.zones[name] for name in plant.zones]
    first = sum(len(zone.brakes) for zone in zones[:zone_index])
    return range(first, first + len(zones[zone_index].brakes))


def brake_is_safe(zone: Zone, gap: float, force: float) -> bool:
    """Whether one brake does what its zone's requirement asks of it; [m], [N]."""
    if zone.safe_state == "open":
        return gap >= (zone.requirement.clearance or 0.0) - 1e-6
    return force >= max(zone.requirement.clamping_force or 0.0, ENGAGED) * (1.0 - 1e-6)


def _what_is_wrong(plant: Plant, frame: Frame, zone: Zone, now: ZoneFrame) -> str:
    index = plant.zones.index(zone.name)
    if now.in_safe_state is None:
        states = zip(zone.brakes, jaw_switches(plant, frame, index), strict=True)
        unseen = [brake for brake, jaws in states if seen_at(jaws, zone.safe_state) is False]
        return f"{text.listed(unseen)} not seen {zone.safe_state}"
    still: list[str] = []
    short: list[tuple[str, float, float]] = []
    for i in brakes_of(plant, index):
        gap, force = frame.gaps[i], frame.forces[i]
        if gap is None or force is None or brake_is_safe(zone, gap, force):
            continue
        touching = gap < TOUCHING
        if touching == (zone.safe_state == "open"):
            still.append(plant.brakes[i])
        else:
            short.append((plant.brakes[i], gap, force))
    if still:
        other = "closed" if zone.safe_state == "open" else "open"
        return f"jaws of {text.listed(still)} still {other}"
    if not short:
        return f"jaws of {now.brake or zone.name} not in the safe state"
    names = text.listed([name for name, _, _ in short])
    if zone.safe_state == "open":
        return f"jaws of {names} only {text.gap(min(gap for _, gap, _ in short))} clear"
    weakest = text.force(min(force for _, _, force in short), unit=False)
    wanted = text.force(max(zone.requirement.clamping_force or 0.0, ENGAGED))
    return f"jaws of {names} clamp with {weakest} of {wanted}"
