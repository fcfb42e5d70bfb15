"""Frames and records of a ride by hand, with all that a trainer could see."""

from __future__ import annotations

from functools import cache

import numpy as np

from pneumo.circuit.shipped import find_document
from pneumo.circuit.validate import load
from pneumo.live.frame import AlarmFrame, Crossed, FaultFrame, Frame, Judged, ZoneFrame
from pneumo.live.link import Past
from pneumo.live.plant import Plant
from pneumo.live.plant import plant_of as plant_of_circuit
from pneumo.scenario.event import RunEvent
from pneumo.zone.evidence import Clue, Obstacle
from pneumo.zone.waiting import Wait

RIDE = "sand_martin"


@cache
def plant_of(name: str = RIDE) -> Plant:
    """The plant of a circuit that comes with pneumo."""
    return plant_of_circuit(load(find_document(name)))


def whole_frame(plant: Plant, unseen: float = 1.0, **changes: object) -> Frame:
    """A frame in which all that a trainee does not see is made of one number."""
    zone = ZoneFrame(
        state="closed", since=2.5, first_out="", charge=True,
        waits=(Wait("open", (Obstacle("low supply", True, (Clue("supply switch", "trim_supply",
               False),)),), 7.5, ""),),
        pressure=4e5 * unseen, gap=0.003 * unseen, force=9e3 * unseen,
        brake=plant.brakes[int(unseen) % len(plant.brakes)],
        judged=Judged(unseen > 0.0, (), "power", unseen, "late"),
        confirmed=Judged(None, (1,), "stop", 2.5),
    )  # fmt: skip
    return Frame(
        number=7, time=12.34, newest=12.34, mode="live", running=True, speed=1.0, pace=0.998,
        note=f"tried with {unseen}", stopped_by="", power=unseen > 0.0,
        zones=(zone,) * len(plant.zones),
        pressures=(unseen,) * len(plant.nets), trapped=(int(unseen) % len(plant.nets),),
        flows=(unseen,) * len(plant.ports), positions=(unseen,) * len(plant.valves),
        gaps=(unseen,) * len(plant.brakes), forces=(unseen,) * len(plant.brakes),
        travels=(unseen,) * len(plant.cylinders),
        readings=tuple(7e5 + k / 3 for k in range(len(plant.meters))),
        supplying=(True,) * len(plant.supplies), inputs=(True,) * len(plant.inputs),
        forced_inputs=(False,) * len(plant.inputs), outputs=(False,) * len(plant.outputs),
        forced_outputs=(True,) * len(plant.outputs), isolated=("trim_shut_off",),
        drained=("receiver",), blocked=("trim_brake_1",),
        swapped=(Crossed("trim_valve_a.14", "trim_valve_b.14"),),
        overridden=("trim_valve_a.14",), switched_off=("compressor_2",),
        absent_fins=("trim",),
        alarms=(AlarmFrame("trim", "vent time exceeded", "unacknowledged", True, 9.0, None),),
        faults=(),
    )._replace(**changes)  # fmt: skip


def fault(component: str, mode: str, *, hidden: bool = True) -> FaultFrame:
    """A fault that stands."""
    return FaultFrame(component, mode, f"{component} {mode}", 3.0, True, hidden)


def whole_past(plant: Plant, rows: int, *events: RunEvent, epoch: int = 0) -> Past:
    """A record whose values are all different, unseen channels included."""
    shape = (rows, len(plant.channels))
    values = np.arange(shape[0] * shape[1], dtype=np.float32).reshape(shape)
    return Past(epoch, np.arange(rows) * 0.05, values, list(events))
