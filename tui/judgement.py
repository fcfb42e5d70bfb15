"""Whether a zone that was asked for its safe state is in it, as far as a seat can tell.

The trainer's seat is told what the jaws do. The trainee's seat is not: there the jaw switches
speak, as the controller reads them, and a brake that no switch watches counts for neither.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal, NamedTuple

from pneumo.circuit.action import Power
from pneumo.scenario.event import Commanded
from pneumo.zone.event import RideStopped, RideStopReset, StateEntered
from tui import text

if TYPE_CHECKING:
    from pneumo.circuit.circuit import Zone
    from pneumo.live.frame import Frame, ZoneFrame
    from pneumo.live.plant import Plant
    from pneumo.scenario.event import RunEvent

Side = Literal["open", "closed"]

ENGAGED = 100.0
"""Clamping force from which a brake without a required force counts as clamped [N]; the verdict
(`pneumo.network.compile`) counts the same way."""

TOUCHING = 5e-5
"""Gap below which a lining is said to touch [m]; shown it would read 0.0 mm."""

MOMENT = 1e-6
"""Sums of scans fall so much short of the time they stand for [s]."""

LAG = 0.5
"""For so long an event may come after the frame that shows it, in a seat that has joined from
another terminal [s]."""


class Jaws(NamedTuple):
    """What the two jaw switches of a brake say; None: the brake has no such switch."""

    closed: bool | None
    open: bool | None


class Places(NamedTuple):
    """Where everything of a zone stands in a frame; looked up once for a plant."""

    zone: Zone
    brakes: range
    """Places in `plant.brakes`, `frame.gaps` and `frame.forces`."""
    numbers: tuple[str, ...]
    """What tells its brakes apart in little room: the numbers that their names end in, else their
    places in the zone."""
    spring: str
    """What its springs do: "open" or "close"."""
    full: tuple[float, ...]
    """Per brake: gap when fully open [m]."""
    jaws: tuple[tuple[int | None, int | None], ...]
    """Per brake: places of its switches for closed and for open in `plant.inputs`."""
    switches: tuple[tuple[str, int], ...]
    """Its pressure switches: name, place in `plant.inputs`."""
    transmitter: tuple[str, int] | None
    """What is watched for low pressure: name, place in `plant.meters`."""


def places(plant: Plant, zone_index: int) -> Places:
    """Where everything of a zone stands."""
    found = next((table for known, table in _KNOWN if known is plant), None)
    if found is None:
        found = _all_places(plant)
        _KNOWN.append((plant, found))
        del _KNOWN[:-8]
    return found[zone_index]


_KNOWN: list[tuple[Plant, tuple[Places, ...]]] = []
"""Plants that were asked for, the latest last. A process shows one or two."""


def trouble(
    plant: Plant, frame: Frame, zone_index: int, events: Sequence[RunEvent] | None = None
) -> str | None:
    """Why a zone is not safe, in one line, the cause first; None: nothing asks for its safe state,
    it is in it, it still has time, or the seat cannot tell.

    A zone has the time of its requirement from the instant at which it was first asked, by a
    ride stop, a loss of power or its own fault, whichever came first. `events`, those of the
    record, tell when that was; without them it is the instant at which its state was entered.
    """
    now = frame.zones[zone_index]
    why = asked(frame, zone_index)
    if not why or in_safe_state(plant, frame, zone_index) is not False:
        return None
    zone = places(plant, zone_index).zone
    if still_has_time(zone, frame, now, events):
        return None
    return f"{why}: {_what_is_wrong(plant, frame, zone_index)}"


def still_has_time(
    zone: Zone, frame: Frame, now: ZoneFrame, events: Sequence[RunEvent] | None
) -> bool:
    """Whether a zone that is asked for its safe state may still be on its way."""
    within = zone.requirement.within + MOMENT
    if events is None:
        return frame.time - now.since <= within
    if now.in_safe_state is None and frame.time - now.since < LAG:
        return True
    return asked_within(zone.name, frame, now, events, within)


def asked_within(
    zone: str, frame: Frame, now: ZoneFrame, events: Sequence[RunEvent], span: float
) -> bool:
    """Whether what asks a zone for its safe state began less than `span` seconds ago.

    Goes back through the record from what stands now. What began while something else asked
    already does not start the time anew (so counts the verification, too).
    """
    stop, power_off, fault = bool(frame.stopped_by), frame.power is False, now.state == "faulted"
    for event in reversed(events):
        if event.time > frame.time + MOMENT:
            continue
        if event.time < frame.time - span:
            return False
        match event.what:
            case RideStopReset():
                stop = True
            case RideStopped():
                stop = False
            case Commanded(Power(on)):
                power_off = on
            case StateEntered(_, "faulted") if event.subject == zone:
                fault = False
            case StateEntered("faulted", _) if event.subject == zone:
                fault = True
            case _:
                continue
        if not (stop or power_off or fault):
            return True
    return frame.time <= span


def asked(frame: Frame, zone_index: int) -> str:
    """What asks a zone for its safe state; "" = nothing."""
    zone = frame.zones[zone_index]
    if zone.state == "faulted":
        return zone.first_out or "faulted"
    if frame.power is False:
        return "no power"
    if frame.stopped_by:
        return f"ride stop ({frame.stopped_by})"
    return ""


def in_safe_state(plant: Plant, frame: Frame, zone_index: int) -> bool | None:
    """Whether enough brakes of a zone are in its safe state; None: the seat cannot tell."""
    known = frame.zones[zone_index].in_safe_state
    if known is not None:
        return known
    zone = places(plant, zone_index).zone
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
    made = frame.inputs
    return tuple(
        Jaws(None if closed is None else made[closed], None if wide is None else made[wide])
        for closed, wide in places(plant, zone_index).jaws
    )


def brakes_of(plant: Plant, zone_index: int) -> range:
    """Places of a zone's brakes in `plant.brakes`, `frame.gaps` and `frame.forces`."""
    return places(plant, zone_index).brakes


def first_in_trouble(
    plant: Plant, frame: Frame, events: Sequence[RunEvent] | None = None
) -> int | None:
    """The first zone that is not safe, else the first that is faulted; None: there is none."""
    zones = range(len(plant.zones))
    unsafe = (i for i in zones if trouble(plant, frame, i, events))
    faulted = (i for i in zones if frame.zones[i].state == "faulted")
    return next(unsafe, next(faulted, None))


def full_gap(brake: object) -> float:
    """Distance of a lining from the fin when the jaws of a `bladder_brake` are fully open [m]:
    two bladders share the gap, a single one covers all of it."""
    gap = float(getattr(brake, "gap", 0.0))
    return gap / 2.0 if getattr(brake, "bladders", 2) == 2 else gap


def brake_is_safe(zone: Zone, gap: float, force: float) -> bool:
    """Whether one brake does what its zone's requirement asks of it; [m], [N]."""
    if zone.safe_state == "open":
        return gap >= (zone.requirement.clearance or 0.0) - 1e-6
    return force >= max(zone.requirement.clamping_force or 0.0, ENGAGED) * (1.0 - 1e-6)


def _what_is_wrong(plant: Plant, frame: Frame, index: int) -> str:
    place, now = places(plant, index), frame.zones[index]
    zone = place.zone

    def jaws_of(numbers: Sequence[str]) -> str:
        return f"jaws {text.listed(numbers)}" if len(zone.brakes) > 1 else "jaws"

    if now.in_safe_state is None:
        states = zip(place.numbers, jaw_switches(plant, frame, index), strict=True)
        unseen = [number for number, jaws in states if seen_at(jaws, zone.safe_state) is False]
        return f"{jaws_of(unseen)} not seen {zone.safe_state}"
    still: list[str] = []
    short: list[tuple[str, float, float]] = []
    for i, number in zip(place.brakes, place.numbers, strict=True):
        gap, force = frame.gaps[i], frame.forces[i]
        if gap is None or force is None or brake_is_safe(zone, gap, force):
            continue
        touching = gap < TOUCHING
        if touching == (zone.safe_state == "open"):
            still.append(number)
        else:
            short.append((number, gap, force))
    if still:
        return f"{jaws_of(still)} still {'closed' if zone.safe_state == 'open' else 'open'}"
    if not short:
        worst = [n for n, b in zip(place.numbers, zone.brakes, strict=True) if b == now.brake]
        return f"{jaws_of(worst)} not in the safe state" if worst else "not in the safe state"
    names = jaws_of([number for number, _, _ in short])
    if zone.safe_state == "open":
        return f"{names} only {text.gap(min(gap for _, gap, _ in short))} clear"
    weakest = text.force(min(force for _, _, force in short), unit=False)
    wanted = text.force(max(zone.requirement.clamping_force or 0.0, ENGAGED))
    return f"{names} clamp with {weakest} of {wanted}"


def _all_places(plant: Plant) -> tuple[Places, ...]:
    circuit = plant.circuit
    inputs = {contact.name: i for i, contact in enumerate(plant.inputs)}
    meters = {name: i for i, name in enumerate(plant.meters)}
    jaw_switch: dict[tuple[str, str], int] = {}
    for i, contact in enumerate(plant.inputs):
        if contact.kind == "jaw switch":
            brake = str(getattr(circuit.components[contact.name], "of", ""))
            jaw_switch[brake, contact.reads] = i
    found: list[Places] = []
    first = 0
    for name in plant.zones:
        zone = circuit.zones[name]
        names = dict.fromkeys((*zone.pressure_switches, *zone.supply_switches))
        low = zone.low_pressure
        found.append(
            Places(
                zone=zone,
                brakes=range(first, first + len(zone.brakes)),
                numbers=_numbers(zone.brakes),
                spring=circuit.zone_spring(name),
                full=tuple(full_gap(circuit.components[brake]) for brake in zone.brakes),
                jaws=tuple(
                    (jaw_switch.get((brake, "closed")), jaw_switch.get((brake, "open")))
                    for brake in zone.brakes
                ),
                switches=tuple((each, inputs[each]) for each in names if each in inputs),
                transmitter=(
                    (low.transmitter, meters[low.transmitter])
                    if low is not None and low.transmitter in meters
                    else None
                ),
            )
        )
        first += len(zone.brakes)
    return tuple(found)


def _numbers(brakes: Sequence[str]) -> tuple[str, ...]:
    parts = [re.fullmatch(r"(.*?)([0-9]+)", brake) for brake in brakes]
    if len({part[1] for part in parts if part}) == 1 and all(parts):
        return tuple(part[2] for part in parts if part)
    return tuple(str(i) for i in range(1, len(brakes) + 1))
