"""Where everything of a zone stands in a frame."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    from pneumo.circuit.circuit import Zone
    from pneumo.live.plant import Plant


class Jaws(NamedTuple):
    """What the two jaw switches of a brake say; None: the brake has no such switch."""

    closed: bool | None
    open: bool | None

    def tells(self, side: Literal["open", "closed"]) -> bool | None:
        """Whether they say that the brake is there; None: they do not tell."""
        there, away = (self.closed, self.open) if side == "closed" else (self.open, self.closed)
        if there is None:
            return False if away else None
        return there and not away


class Places(NamedTuple):
    """The places of one zone."""

    zone: Zone
    brakes: range
    """In `plant.brakes`, `frame.gaps` and `frame.forces`."""
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

    def jaws_read(self, inputs: Sequence[bool]) -> tuple[Jaws, ...]:
        """What the controller reads from the jaw switches, brake by brake; `inputs` of a frame."""
        return tuple(
            Jaws(None if closed is None else inputs[closed], None if wide is None else inputs[wide])
            for closed, wide in self.jaws
        )


def full_gap(brake: object) -> float:
    """Distance of a lining from the fin when the jaws of a `bladder_brake` are fully open [m]:
    two bladders share the gap, a single one covers all of it."""
    gap = float(getattr(brake, "gap", 0.0))
    return gap / 2.0 if getattr(brake, "bladders", 2) == 2 else gap


def places_of(plant: Plant) -> tuple[Places, ...]:
    """Of every zone, in the order of `plant.zones`."""
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
                numbers=numbered(zone.brakes),
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


def numbered(brakes: Collection[str]) -> tuple[str, ...]:
    """What tells brakes apart in little room, see `Places.numbers`."""
    parts = [re.fullmatch(r"(.*?)([0-9]+)", brake) for brake in brakes]
    if len({part[1] for part in parts if part}) == 1 and all(parts):
        return tuple(part[2] for part in parts if part)
    return tuple(str(i) for i in range(1, len(brakes) + 1))
