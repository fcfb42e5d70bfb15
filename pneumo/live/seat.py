"""What the trainee's seat may see.

It sees what instruments, eyes and ears give: contacts, gauges, coils, alarms, handles, a compressor
that can be heard. It does not see the air, the jaws or a fault that the trainer hides. The
reduction is made where the ride runs, before anything leaves for that seat.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

import numpy as np

from pneumo.circuit.action import Action, Power
from pneumo.live.frame import Frame, ZoneFrame
from pneumo.live.link import Past
from pneumo.live.plant import Plant
from pneumo.network.network import Array
from pneumo.scenario.event import Commanded, RunEvent

UNSEEN = ("pressures", "flows", "positions", "gaps", "forces", "travels")
"""Fields of a frame in which everything is None for a trainee."""

SEEN_EVENTS = frozenset({"command", "state", "alarm", "refused", "ride", "contact", "fin"})
"""Kinds of events a trainee sees."""

TOLD_EVENTS = ("state", "alarm", "refused", "ride")
"""Those of them that say something by themselves."""

_NOTES = {
    "live": "",
    "earlier": "An earlier instant is shown.",
    "check": "A check is running on a copy of the ride.",
}
"""The note of a frame may name a fault; a trainee is told what the mode alone says."""


def seen(frame: Frame, plant: Plant) -> Frame:
    """A frame as the trainee sees it; one that has been reduced before comes back equal."""
    nothing: dict[str, Any] = {name: (None,) * len(getattr(frame, name)) for name in UNSEEN}
    switchable = plant.circuit.having("switchable")
    return frame._replace(
        note=_NOTES[frame.mode],
        check=None,
        power=None,
        trapped=(),
        zones=tuple(_seen_zone(zone) for zone in frame.zones),
        switched_off=tuple(n for n in frame.switched_off if n in switchable),
        faults=tuple(fault for fault in frame.faults if not fault.hidden),
        **nothing,
    )


def _seen_zone(zone: ZoneFrame) -> ZoneFrame:
    return zone._replace(pressure=None, gap=None, force=None, brake="", judged=zone.confirmed)


def seen_events(
    events: Iterable[RunEvent], hidden: Collection[tuple[float, Action]] = ()
) -> list[RunEvent]:
    """The events a trainee sees.

    Parameters
    ----------
    events
        In order of time.
    hidden
        Acts of the trainer that are kept from the trainee: time [s] and action of each.
    """
    return [event for event in events if event.kind in SEEN_EVENTS and _is_seen(event, hidden)]


def _is_seen(event: RunEvent, hidden: Collection[tuple[float, Action]]) -> bool:
    match event.what:
        case Commanded(Power()):
            # nobody in the trainee's seat does it, and nothing in the frame shows it
            return False
        case Commanded(action):
            return (event.time, action) not in hidden
    return True


class SeenPast:
    """Keeps the record that a trainee sees beside the whole one; copies only what is new.

    Columns of channels that no instrument shows are NaN.
    """

    def __init__(self, plant: Plant) -> None:
        self._unseen = [k for k, channel in enumerate(plant.channels) if not channel.instrument]
        self._epoch: int | None = None
        self._thinned = 0
        self._values: Array = np.zeros((0, len(plant.channels)), dtype=np.float32)
        self._rows = 0
        self._read = 0
        self._events: list[RunEvent] = []

    def __call__(self, past: Past, hidden: Collection[tuple[float, Action]] = ()) -> Past:
        """The record as the trainee sees it now."""
        rows, number = len(past.times), len(past.events)
        anew = past.epoch != self._epoch or rows < self._rows or number < self._read
        if anew:
            self._epoch, self._read, self._events = past.epoch, 0, []
        if anew or past.thinned != self._thinned:
            self._thinned, self._rows = past.thinned, 0
            # what was handed out before keeps its own array
            self._values = np.zeros((0, self._values.shape[1]), dtype=np.float32)
        if rows > len(self._values):
            grown = np.full((max(256, 2 * rows), self._values.shape[1]), np.nan, dtype=np.float32)
            grown[: self._rows] = self._values[: self._rows]
            self._values = grown
        fresh = self._values[self._rows : rows]
        fresh[:] = past.values[self._rows : rows]
        fresh[:, self._unseen] = np.nan
        self._events += seen_events(past.events[self._read : number], hidden)
        self._rows, self._read = rows, number
        return past._replace(
            times=past.times[:rows], values=self._values[:rows], events=self._events
        )
