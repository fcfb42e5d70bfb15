"""What the panel of a ride shows to somebody who stands before it, as lines of text.

Looking at it costs nothing. It is made of the frame of the trainee's seat: what that hides is not
here either.
"""

from __future__ import annotations

from collections.abc import Iterator

from pneumo.drill.telling import bar
from pneumo.live.frame import Frame
from pneumo.live.plant import Plant


def panel_lines(plant: Plant, frame: Frame) -> Iterator[str]:
    """Zones, alarms, gauges, switches, and what is turned off."""
    if frame.stopped_by:
        yield f"RIDE STOP: {frame.stopped_by}"
    for name, zone in zip(plant.zones, frame.zones, strict=True):
        first = f", {zone.first_out}" if zone.first_out else ""
        command = "charge" if zone.charge else "vent"
        yield f"{name}: {zone.state} (command: {command}{first})"
    for alarm in frame.alarms:
        yield f"alarm {alarm.zone or 'ride'}: {alarm.name}, {alarm.state}"
    shown = [
        f"{meter} {bar(reading)}"
        for meter, reading in zip(plant.meters, frame.readings, strict=True)
    ]
    yield from _wrapped("gauges", shown)
    on = [i.name for i, state in zip(plant.inputs, frame.inputs, strict=True) if state]
    yield from _wrapped("inputs ON", on)
    coils = [o.name for o, state in zip(plant.outputs, frame.outputs, strict=True) if state]
    yield from _wrapped("outputs on", coils)
    running = [n for n, state in zip(plant.supplies, frame.supplying, strict=True) if state]
    yield from _wrapped("running", running)
    for title, names in (
        ("turned off", (*frame.isolated, *frame.switched_off)),
        ("drains open", frame.drained),
        ("overrides held", frame.overridden),
        ("jaws blocked", frame.blocked),
    ):
        yield from _wrapped(title, list(names))


def _wrapped(title: str, items: list[str], width: int = 76) -> Iterator[str]:
    """Items behind a title, in as many lines as they need."""
    line = f"{title}:"
    for i, item in enumerate(items):
        piece = item if i == len(items) - 1 else f"{item},"
        if len(line) + 1 + len(piece) > width:
            yield line
            line = "   "
        line = f"{line} {piece}"
    if items:
        yield line
