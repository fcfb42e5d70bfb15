"""Plays rides to telling instants and keeps what a screen needs to draw them, for the pictures.

`python -m tests.tui.make_frames` writes tests/tui/frames/*.json anew, from the root of the project.
It is needed when the fields of a frame, the channels of a plant or the numbers of the simulation
have changed. The pictures are drawn from these files alone, so they are the same on every machine.
"""

from __future__ import annotations

import base64
import json
import subprocess
import sys
import zlib
from collections.abc import Callable
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

import numpy as np

from pneumo.circuit.action import Action
from pneumo.circuit.shipped import find_document
from pneumo.circuit.validate import load_text
from pneumo.live.frame import Frame
from pneumo.live.link import Past
from pneumo.live.plant import Plant, plant_of
from pneumo.packing import pack, pack_one, unpack
from pneumo.scenario.event import RunEvent
from pneumo.verification.case import Loss

FRAMES = Path(__file__).parent / "frames"
VERIFIED = "sand_martin_losses"
"""Name of the file with the result of a verification."""

DIGITS = 6
"""Significant digits of the record that are kept: more than a screen shows."""


class Situation(NamedTuple):
    """A ride at an instant, with what led there; all of the trainer's view."""

    plant: Plant
    frame: Frame
    past: Past
    hidden: frozenset[tuple[float, Action]]
    """(time, action) of the acts that the trainee is not told of."""
    outcomes: dict[str, Any]
    """What the answer to a check carries; empty when none was asked for."""


# reading


def read(name: str) -> Situation:
    """The situation of a file in `frames`.

    Raises
    ------
    PackingError, AssertionError
        When it was written for other frames or other channels: they must be made anew.
    """
    kept = json.loads((FRAMES / f"{name}.json").read_text(encoding="utf-8"))
    path = find_document(kept["circuit"])
    text = path.read_text(encoding="utf-8")
    # by its bare name: the folder of this machine belongs in no picture
    plant = plant_of(load_text(text, path.name), text)
    channels = [channel.name for channel in plant.channels]
    assert kept["channels"] == channels, "other channels: python -m tests.tui.make_frames"
    times = np.array(kept["times"])
    data = zlib.decompress(base64.b64decode(kept["values"]))
    values = np.frombuffer(data, dtype="<f4").reshape(len(channels), len(times)).T
    events = list(unpack(tuple[RunEvent, ...], kept["events"]))
    return Situation(
        plant,
        unpack(Frame, kept["frame"]),
        Past(0, times, values, events),
        frozenset((time, unpack(Action, action)) for time, action in kept["hidden"]),  # type: ignore[arg-type]
        _with_losses(kept["outcomes"], lambda loss: unpack(Loss, loss)),
    )


# making

_MAKERS: dict[str, tuple[str, Callable[[Any], dict[str, Any] | None]]] = {}
"""Name of a file -> circuit, what is done on a ride of it."""


def _situation(circuit: str) -> Callable[[Callable[[Any], dict[str, Any] | None]], None]:
    def enter(play: Callable[[Any], dict[str, Any] | None]) -> None:
        _MAKERS[play.__name__] = (circuit, play)

    return enter


@_situation("sand_martin")
def rest(ride: Any) -> None:
    """Every zone in its safe state, the receiver full."""
    ride.advance(20.0)


@_situation("sand_martin")
def moving(ride: Any) -> None:
    """The morning test: some zones open, some on their way, the gates half way."""
    ride.advance(10.0)
    for time, sentence in (
        (10.0, "close trim"),
        (11.0, "open block"),
        (11.5, "open station_gates"),
        (12.0, "open final_1"),
        (12.16, "open storage"),
    ):
        ride.advance(time)
        ride.do("trainee", sentence)
    ride.advance(12.3)


def _all_open(ride: Any) -> None:
    ride.advance(10.0)
    ride.do("trainer", "open all")
    ride.advance(14.0)
    ride.do("trainee", "close trim")
    ride.advance(18.0)


@_situation("sand_martin")
def unsafe(ride: Any) -> None:
    """Both valves of block stay actuated, so it does not close; the air is shut off all the same,
    and what is behind the check valves stays where it is."""
    _stuck(ride)


def _stuck(ride: Any) -> None:
    _all_open(ride)
    ride.do("trainer", "fault block_valve_b stuck-actuated")
    ride.do("trainer", "fault block_valve_a stuck-actuated", hidden=True)
    for time, sentence in (
        (22.0, "drain station_accumulator open"),
        (30.0, "ride stop"),
        (34.0, "isolate main_shut_off"),
        (40.0, "override trim_valve_a.14"),
        (42.0, "force final_2_closed_3 off"),
    ):
        ride.advance(time)
        ride.do("trainee", sentence)
    ride.advance(43.0)
    ride.alarms.shelve(ride.shown, "station", "low supply", 600.0)
    ride.advance(45.0)


@_situation("sand_martin")
def earlier(ride: Any) -> None:
    """Gone back to the moment in which the other zones closed and block did not."""
    _stuck(ride)
    ride.go_to(30.2)


@_situation("sand_martin")
def check(ride: Any) -> dict[str, Any]:
    """A check valve that no longer shuts: nothing shows it until the ring main is vented. Then
    stored air closes the brakes, leaves through the valve, and the brakes let go."""
    _all_open(ride)
    ride.do("trainer", "fault storage_check stuck-open")
    ride.advance(22.0)
    ride.begin_check("storage", Loss("header vented"))
    found = list(ride.outcomes("storage"))[-1]
    while not ride.check.decided:
        ride.advance(ride.now + 0.5)
    return found


@_situation("02_spring_close_single")
def spring_stuck(ride: Any) -> None:
    """One valve alone decides: stuck, it keeps the brakes open."""
    ride.advance(1.0)
    ride.do("trainee", "open block")
    ride.advance(4.0)
    ride.do("trainer", "fault valve stuck-actuated")
    ride.advance(5.0)
    ride.do("trainee", "close block")
    ride.advance(12.0)


@_situation("02_spring_close_single")
def spring_moving(ride: Any) -> None:
    """The bladders fill, the jaws draw back."""
    ride.advance(1.0)
    ride.do("trainee", "open block")
    ride.advance(1.2)


@_situation("10_station_gates")
def gates_moving(ride: Any) -> None:
    """The gates of the station on their way: a ride without any brake zone."""
    ride.advance(1.0)
    ride.do("trainee", "open station_gates")
    ride.advance(1.6)


def make(name: str) -> str:
    """The text of a file in `frames`."""
    # here, so that whoever only reads needs no simulator
    from pneumo.live.session import Session

    circuit, play = _MAKERS[name]
    text = find_document(circuit).read_text(encoding="utf-8")
    ride = Session(load_text(text, circuit), text)
    outcomes = play(ride)
    frame = ride.frame(1, running=False, speed=1.0, pace=1.0)
    if name.endswith("moving"):
        frame = frame._replace(running=True)
    past = ride.recorder.past
    values = np.ascontiguousarray(past.values.T, dtype="<f4")
    size = np.where(values == 0.0, 1.0, np.abs(values))
    grain = 10.0 ** (np.ceil(np.log10(size)) - DIGITS)
    kept = (np.round(values / grain) * grain).astype("<f4")
    return json.dumps(
        {
            "circuit": circuit,
            "frame": _short(pack(frame)),
            "channels": [channel.name for channel in ride.plant.channels],
            "times": _short(past.times.tolist()),
            "values": base64.b64encode(zlib.compress(kept.tobytes(), 9)).decode("ascii"),
            "events": _short([pack(event) for event in past.events]),
            "hidden": sorted(
                _short([time, pack_one(action, Action)])
                for time, action in ride.acts.hidden_actions()
            ),
            "outcomes": _short(_with_losses(outcomes or {}, pack)),
        },
        ensure_ascii=False,
        indent=0,
        separators=(",", ":"),
    )


def _with_losses(data: dict[str, Any], made: Callable[[Any], Any]) -> dict[str, Any]:
    """What an answer carries, with its losses as records or as plain data."""
    if not data:
        return data
    entries = [entry | {"loss": made(entry["loss"])} for entry in data["outcomes"]]
    return data | {"loss": made(data["loss"]), "outcomes": entries}


def _short(value: Any) -> Any:
    """Plain data with numbers of 9 digits: enough for times that are compared."""
    if isinstance(value, dict):
        return {key: _short(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_short(item) for item in value]
    return float(f"{value:.9g}") if isinstance(value, float) else value


def verify(circuit: str) -> str:
    """The result of a verification of the losses of air and power, without its traces."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "result.json"
        command = [sys.executable, "-m", "pneumo", "verify", circuit, "--no-faults", "--json", path]
        subprocess.run(command, stdout=subprocess.DEVNULL, check=False)
        result = json.loads(path.read_text(encoding="utf-8"))
    result["traces"] = []
    return json.dumps(result, ensure_ascii=False, separators=(",", ":"))


if __name__ == "__main__":
    FRAMES.mkdir(exist_ok=True)
    texts = {each: partial(make, each) for each in _MAKERS}
    texts[VERIFIED] = partial(verify, "sand_martin")
    for name, text_of in texts.items():
        path = FRAMES / f"{name}.json"
        path.write_text(text_of() + "\n", encoding="utf-8")
        print(f"{path.name}: {path.stat().st_size / 1000:.0f} kB")
