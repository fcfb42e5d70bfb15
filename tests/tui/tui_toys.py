"""A ride for view tests: the plant of a shipped circuit, frames by hand, a link that notes acts.

Nothing is simulated here. The values are made up, and only plausible enough to be drawn.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
from textual.pilot import Pilot

from pneumo.circuit.shipped import find_document
from pneumo.circuit.validate import load
from pneumo.live.frame import Frame, Judged, ZoneFrame
from pneumo.live.link import Past
from pneumo.live.plant import Plant
from pneumo.live.plant import plant_of as plant_of_circuit
from pneumo.live.request import Answer, Request, Seat
from pneumo.live.work import Work
from pneumo.scenario.event import RunEvent
from tui.app import DashboardApp
from tui.view import View

BAR = 1e5
CHARGED = 4.5 * BAR
SUPPLY = 7.0 * BAR


@cache
def plant_of(name: str) -> Plant:
    """The plant of a circuit that comes with pneumo: "sand_martin", "01_spring_open_single"."""
    return plant_of_circuit(load(find_document(name)))


def resting_frame(plant: Plant, **changes: object) -> Frame:
    """Every zone at rest in its safe state, air everywhere else, no alarm and no fault."""
    circuit = plant.circuit
    zones, gaps, forces = [], [], []
    for name in plant.zones:
        zone = circuit.zones[name]
        charge = (zone.safe_state == "closed") == (circuit.zone_spring(name) == "open")
        closed = zone.safe_state == "closed"
        gap, force = (0.0, 8900.0) if closed else (0.00325, 0.0)
        zones.append(
            ZoneFrame(
                state=zone.safe_state, since=0.0, first_out="", charge=charge, waits=(),
                pressure=CHARGED if charge else 0.0, gap=gap, force=force, brake=zone.brakes[0],
                judged=Judged(True, ()), confirmed=Judged(True, ()),
            )
        )  # fmt: skip
        gaps += [gap] * len(zone.brakes)
        forces += [force] * len(zone.brakes)
    state = dict(zip(plant.zones, zones, strict=True))
    of_brake = {b: z for z in plant.zones for b in circuit.zones[z].brakes}
    pressures = []
    for net in plant.nets:
        brake = next((p.component for p in net.ports if p.component in of_brake), None)
        if net.outside:
            pressures.append(0.0)
        elif brake is not None:
            pressures.append(state[of_brake[brake]].pressure)
        else:
            pressures.append(SUPPLY)
    inputs = []
    for contact in plant.inputs:
        zone_frame = state.get(contact.zone)
        if contact.reads == "supply present":
            inputs.append(True)
        elif contact.reads == "charged":
            inputs.append(zone_frame is not None and zone_frame.charge)
        elif contact.kind == "jaw switch" and zone_frame is not None:
            inputs.append(contact.reads == zone_frame.state)
        else:
            inputs.append(contact.reads in ("closed", "extended"))
    outputs = [
        (state[o.zone].charge if o.zone in state else False) == (o.when == "charge")
        for o in plant.outputs
    ]
    frame = Frame(
        number=1, time=10.0, newest=10.0, mode="live", running=False, speed=1.0, pace=1.0,
        note="", stopped_by="", power=True, zones=tuple(zones), pressures=tuple(pressures),
        trapped=(), flows=(0.0,) * len(plant.ports),
        positions=tuple(
            1.0 if circuit.components[v].traits & {"turnable", "switchable"} else 0.0
            for v in plant.valves
        ),
        gaps=tuple(gaps), forces=tuple(forces), travels=(0.0,) * len(plant.cylinders),
        readings=(SUPPLY,) * len(plant.meters), supplying=(True,) * len(plant.supplies),
        inputs=tuple(inputs), forced_inputs=(False,) * len(inputs),
        outputs=tuple(outputs), forced_outputs=(False,) * len(outputs),
        isolated=(), drained=(), blocked=(), swapped=(), overridden=(),
        switched_off=(), absent_fins=(),
        alarms=(), faults=(),
    )  # fmt: skip
    return frame._replace(**changes)


def judged(zone: ZoneFrame, safe: bool | None = False, **changes: Any) -> ZoneFrame:
    """A zone judged otherwise, in both seats alike; see `Judged`. When it is faulted and nothing
    else is said, it should have been in its safe state by now, and no brake is."""
    found = Judged(safe, () if safe else (0,))
    if zone.state == "faulted":
        found = found._replace(demanded_by="fault", since=zone.since, not_safe=safe is False)
    found = found._replace(**changes)
    return zone._replace(judged=found, confirmed=found)


def trainee_frame(plant: Plant, **changes: object) -> Frame:
    """The resting frame as the trainee's seat gets it: what no instrument shows is None."""
    frame = resting_frame(plant)
    unseen = {
        name: (None,) * len(getattr(frame, name))
        for name in ("pressures", "flows", "positions", "gaps", "forces", "travels")
    }
    zones = tuple(z._replace(pressure=None, gap=None, force=None, brake="") for z in frame.zones)
    return frame._replace(zones=zones, power=None, **unseen)._replace(**changes)


def resting_past(plant: Plant, frame: Frame, seconds: float = 10.0, period: float = 0.1) -> Past:
    """A record in which nothing moved, of the channels that can be read off a frame."""
    times = np.arange(0.0, seconds + period / 2, period)
    values = np.full((len(times), len(plant.channels)), np.nan, dtype=np.float32)
    of = {
        "reading": dict(zip(plant.meters, frame.readings, strict=True)),
        "gap": dict(zip(plant.brakes, frame.gaps, strict=True)),
        "force": dict(zip(plant.brakes, frame.forces, strict=True)),
        "travel": dict(zip(plant.cylinders, frame.travels, strict=True)),
        "contact": {i.name: v for i, v in zip(plant.inputs, frame.inputs, strict=True)},
        "coil": {o.name: v for o, v in zip(plant.outputs, frame.outputs, strict=True)},
        "pressure": {
            p.component: v
            for net, v in zip(plant.nets, frame.pressures, strict=True)
            for p in net.ports
        },
    }
    for column, channel in enumerate(plant.channels):
        value = of[channel.quantity].get(channel.component)
        if value is not None:
            values[:, column] = value
    return Past(epoch=0, times=times, values=values, events=[])


class FakeLink:
    """A seat at no ride: it shows the frame it was given and notes what was asked of it."""

    def __init__(
        self,
        plant: Plant,
        seat: Seat = "trainer",
        frame: Frame | None = None,
        keeps_time: bool | None = None,
    ) -> None:
        self.plant = plant
        self.seat: Seat = seat
        self.keeps_time = seat == "trainer" if keeps_time is None else keeps_time
        made = resting_frame(plant) if seat == "trainer" else trainee_frame(plant)
        self.frame = made if frame is None else frame
        self.past = resting_past(plant, self.frame)
        self.trouble = ""
        self.thought: tuple[str, ...] = ()
        self.drill = ""
        self.work: Work | None = None
        self.sent: list[Request] = []
        """Requests, in order."""
        self.closed = False
        self._answers: deque[Answer] = deque()

    def give(self, **changes: object) -> None:
        """The next frame: as the last, but with these changes."""
        self.frame = self.frame._replace(number=self.frame.number + 1, **changes)

    def happen(self, event: RunEvent) -> None:
        """Adds an event to the record."""
        self.past.events.append(event)

    def reply(self, answer: Answer) -> None:
        """What the next `answers` brings."""
        self._answers.append(answer)

    def send(self, request: Request) -> int:
        self.sent.append(request)
        return len(self.sent)

    def answers(self) -> list[Answer]:
        came = list(self._answers)
        self._answers.clear()
        return came

    def close(self) -> None:
        self.closed = True


async def look(pilot: Pilot[None]) -> None:
    """Has the app look at its link and draw, as its timer does, which may be late: a wait of so
    many periods tells nothing on a busy machine."""
    await pilot.pause()
    app = pilot.app
    assert isinstance(app, DashboardApp)
    app.tick()
    await pilot.pause()


async def until(pilot: Pilot[None], true: Callable[[], object], seconds: float = 300.0) -> None:
    """Waits for what comes of a thread or a delay of the toolkit's."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end
        await pilot.pause(0.02)


class Toy(View):
    """A view that counts how often it was drawn; stands in for those that are tested elsewhere."""

    HELP = "## A toy view"
    can_focus = True

    def __init__(self, link: FakeLink) -> None:
        super().__init__(link)
        self.drawn: list[int] = []
        self.looked_at: list[str] = []

    def show(self) -> None:
        self.drawn.append(self.link.frame.number)

    def look_at(self, component: str) -> None:
        self.looked_at.append(component)
