"""Frames agree with the plant they are read from."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from pneumo.circuit.validate import load_text
from pneumo.live.frame import Frame
from pneumo.live.plant import plant_of
from pneumo.live.session import Session
from pneumo.scenario.signal import signals

CIRCUITS = Path(__file__).parents[2] / "circuits"
NAMES = tuple(sorted(path.stem for path in CIRCUITS.glob("*.yaml")))


@cache
def text(name: str) -> str:
    return (CIRCUITS / f"{name}.yaml").read_text(encoding="utf-8")


def session(name: str) -> Session:
    return Session(load_text(text(name), name), text(name))


def frame(ride: Session) -> Frame:
    return ride.frame(1, running=True, speed=1.0, pace=1.0)


@pytest.mark.parametrize("name", NAMES)
def test_every_tuple_has_the_length_of_its_plant(name: str) -> None:
    ride = session(name)
    ride.do("trainee", "close all")
    ride.advance(3.0)
    seen, plant = frame(ride), ride.plant
    lengths = {
        "zones": plant.zones, "pressures": plant.nets, "flows": plant.ports,
        "positions": plant.valves, "gaps": plant.brakes, "forces": plant.brakes,
        "travels": plant.cylinders, "readings": plant.meters, "supplying": plant.supplies,
        "inputs": plant.inputs, "forced_inputs": plant.inputs, "outputs": plant.outputs,
        "forced_outputs": plant.outputs,
    }  # fmt: skip
    for field, order in lengths.items():
        assert len(getattr(seen, field)) == len(order), field
    assert set(plant.net_of) == set(plant.ports)


@pytest.mark.parametrize("name", ("01_spring_open_single", "sand_martin"))
def test_channels_are_the_signals_of_a_recorded_run(name: str) -> None:
    ride = session(name)
    ride.do("trainee", "close all")
    ride.play.plant.record(0.5, 3.0)
    ride.advance(3.0)
    past = ride.recorder.past
    named = {c.name: past.values[:, i] for i, c in enumerate(ride.plant.channels)}
    at = [int(np.argmin(abs(past.times - t))) for t in ride.play.plant.samples.times(ride.play.now)]
    compared = 0
    for signal in signals(ride.play):
        if signal.name in named:
            size = {"Pa": 1e5, "m": 1e-3, "N": 1e3}[signal.unit]
            np.testing.assert_allclose(
                named[signal.name][at] / size, signal.values / size, atol=0.02
            )
            compared += 1
    assert compared > 3


def test_what_flows_into_a_joint_flows_out_of_it() -> None:
    """In a leak that has settled the same air passes every port on its way."""
    ride = session("01_spring_open_single")
    zone = ride.plant.zones[0]
    ride.do("trainee", f"close {zone}")
    ride.do("trainer", f"fault {ride.plant.brakes[0]} leak 2 mm")
    ride.advance(30.0)
    seen, plant = frame(ride), ride.plant
    passing = [
        (port, flow)
        for port, flow in zip(plant.ports, seen.flows, strict=True)
        if flow is not None and abs(flow) > 1e-5
    ]
    into = {p.component: f for p, f in passing if f > 0.0}
    out = {p.component: f for p, f in passing if f < 0.0}
    through = set(into) & set(out)
    assert len(through) >= 2
    for name in through:
        assert into[name] == pytest.approx(-out[name], rel=0.02)


def test_air_behind_a_check_valve_is_trapped_once_the_main_is_shut() -> None:
    ride = session("sand_martin")
    ride.advance(2.0)
    assert not frame(ride).trapped
    ride.do("trainee", "isolate main_shut_off")
    ride.advance(20.0)
    held = {ride.plant.nets[i].name for i in frame(ride).trapped}
    assert {f"{zone}_accumulator" for zone in ride.plant.zones} <= held
    assert "header" not in held  # it was vented
    ride.do("trainee", "drain trim_accumulator open")
    ride.advance(20.0)
    ride.advance(60.0)
    left = {ride.plant.nets[i].name for i in frame(ride).trapped}
    assert "trim_accumulator" not in left and "block_accumulator" in left


def test_the_worst_brake_is_the_one_that_stays_behind() -> None:
    ride = session("sand_martin")
    ride.advance(1.0)
    ride.do("trainee", "close trim")
    ride.advance(5.0)
    ride.do("trainer", "fault trim_brake_3 jaw-seized")
    ride.do("trainer", "fault trim_brake_4 jaw-seized")
    ride.do("trainee", "open trim")
    ride.advance(9.0)
    trim = frame(ride).zones[ride.plant.zones.index("trim")]
    assert trim.brake in ("trim_brake_3", "trim_brake_4")
    assert trim.judged.safe is False and {2, 3} <= set(trim.judged.lacking)
    assert trim.force is not None and trim.force > 1000.0


def test_the_fixed_side_needs_no_simulator() -> None:
    plant = plant_of(load_text(text("10_station_gates"), "gates"))
    assert plant.cylinders and all(net.ports for net in plant.nets)
    assert sum(net.outside for net in plant.nets) == 1
