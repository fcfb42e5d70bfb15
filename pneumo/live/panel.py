"""What the panel of a ride shows to somebody who stands before it, as lines of text.

Looking at it costs nothing. It is made of the frame of the trainee's seat: what that hides is not
here either.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from pneumo.circuit.zones import component_zones, zone_feeds
from pneumo.drill.telling import bar
from pneumo.live.frame import Frame
from pneumo.live.plant import Plant
from pneumo.zone.alarm import NEEDS_ACKNOWLEDGE

_WIDTH = 79


def panel_lines(plant: Plant, frame: Frame) -> Iterator[str]:
    """Zones, alarms, gauges, switches, and what is turned off: of the whole ride."""
    if frame.stopped_by:
        yield f"RIDE STOP: {frame.stopped_by}"
    yield from _columns([line for name in plant.zones for line in _zone(plant, frame, name)])
    # the first of each zone stands beside it
    more = [f"{a.zone or 'ride'} {a.name}" for a in frame.alarms if not (a.zone and a.first_out)]
    yield from _wrapped("more alarms", more)
    waiting = (a.zone or "ride" for a in frame.alarms if a.state in NEEDS_ACKNOWLEDGE)
    yield from _wrapped("to acknowledge", dict.fromkeys(waiting))
    yield from _wrapped("gauges", _gauges(plant, frame, plant.meters))
    yield from _wrapped("inputs ON", _folded(_inputs(plant, frame, True)))
    yield from _wrapped("outputs on", _outputs(plant, frame, True))
    running = [n for n, state in zip(plant.supplies, frame.supplying, strict=True) if state]
    yield from _wrapped("running", running)
    for title, names in (
        ("turned off", (*frame.isolated, *frame.switched_off)),
        ("drains open", frame.drained),
        ("overrides held", frame.overridden),
        ("jaws blocked", frame.blocked),
    ):
        yield from _wrapped(title, names)
    yield "panel ZONE shows one zone or group of gates: what is ON, and what is OFF."


def panel_of(plant: Plant, frame: Frame, place: str) -> Iterator[str]:
    """One zone or group of gates, with all that is ON and OFF there."""
    circuit = plant.circuit
    if place in circuit.gates:
        inputs = {*circuit.gate_switches(place)}
        outputs, meters = [*circuit.gates[place].outputs], list[str]()
        yield f"{place}:"
    else:
        own = component_zones(circuit, zone_feeds(circuit))
        zone = circuit.zones[place]
        inputs = {name for name, of in own.items() if of == place} | {*zone.supply_switches}
        outputs = [*zone.outputs]
        meters = [meter for meter in plant.meters if own.get(meter) == place]
        yield from _zone(plant, frame, place)
        alarms = [f"{a.name} ({a.state})" for a in frame.alarms if a.zone == place]
        yield from _wrapped("alarms", alarms)
    yield from _wrapped("gauges", _gauges(plant, frame, meters))
    for word, on in (("ON", True), ("OFF", False)):
        yield from _wrapped(
            f"inputs {word}", [name for name in _inputs(plant, frame, on) if name in inputs]
        )
    for word, on in (("on", True), ("off", False)):
        yield from _wrapped(
            f"outputs {word}", [name for name in _outputs(plant, frame, on) if name in outputs]
        )


def _zone(plant: Plant, frame: Frame, name: str) -> Iterator[str]:
    zone = frame.zones[plant.zones.index(name)]
    first = f", {zone.first_out}" if zone.first_out else ""
    yield f"{name}: {zone.state} (command: {'charge' if zone.charge else 'vent'}{first})"


def _gauges(plant: Plant, frame: Frame, meters: Iterable[str]) -> list[str]:
    shown = dict(zip(plant.meters, frame.readings, strict=True))
    return [f"{meter} {bar(shown[meter])}" for meter in meters]


def _inputs(plant: Plant, frame: Frame, on: bool) -> list[str]:
    return [i.name for i, state in zip(plant.inputs, frame.inputs, strict=True) if state == on]


def _outputs(plant: Plant, frame: Frame, on: bool) -> list[str]:
    return [o.name for o, state in zip(plant.outputs, frame.outputs, strict=True) if state == on]


def _folded(names: Iterable[str]) -> list[str]:
    """Numbers that follow each other in one piece, as documents write them: "open_{1..4}"."""
    runs: list[tuple[str, list[int]]] = []
    for name in names:
        part = re.fullmatch(r"(.*?)([1-9][0-9]*)", name)
        stem, number = (part[1], int(part[2])) if part else (name, 0)
        if runs and part and runs[-1][0] == stem and runs[-1][1][-1] == number - 1:
            runs[-1][1].append(number)
        else:
            runs.append((stem, [number]))
    return [
        f"{stem}{{{numbers[0]}..{numbers[-1]}}}"
        if len(numbers) > 1
        else f"{stem}{numbers[0] or ''}"
        for stem, numbers in runs
    ]


def _columns(lines: list[str]) -> Iterator[str]:
    """Two beside each other where they have room."""
    while lines:
        first = lines.pop(0)
        if lines and max(len(first) + 1, 40) + len(lines[0]) <= _WIDTH:
            first = f"{first:<39} {lines.pop(0)}"
        yield first


def _wrapped(title: str, items: Iterable[str]) -> Iterator[str]:
    """Items behind a title, in as many lines as they need."""
    listed = list(items)
    line = f"{title}:"
    for i, item in enumerate(listed):
        piece = item if i == len(listed) - 1 else f"{item},"
        if len(line) + 1 + len(piece) > _WIDTH:
            yield line
            line = "   "
        line = f"{line} {piece}"
    if listed:
        yield line
