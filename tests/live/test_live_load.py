"""A ride in its own thread under load: two seats hand over much at once, and read meanwhile."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from random import Random

import numpy as np
import pytest

from pneumo.circuit.validate import load_text
from pneumo.live.driver import Driver
from pneumo.live.going import to_next_event, to_next_scan
from pneumo.live.local_seat import LocalSeat
from pneumo.live.request import (
    Check,
    Do,
    GoTo,
    Hand,
    Hide,
    Newest,
    NextEvent,
    Pause,
    Redo,
    Request,
    Run,
    Scan,
    Seat,
    Speed,
    Undo,
)
from pneumo.live.seat import UNSEEN
from pneumo.live.session import Session
from pneumo.scenario.telling import told

CIRCUIT = Path(__file__).parents[2] / "circuits" / "02_spring_close_single.yaml"

LONG = 60.0
"""Something has gone wrong when it takes so long [s]."""

HANDED_OVER = 150
"""Requests of each seat."""


@cache
def text() -> str:
    return CIRCUIT.read_text(encoding="utf-8")


def session() -> Session:
    return Session(load_text(text(), CIRCUIT.stem), text())


@pytest.fixture
def driver() -> Iterator[Driver]:
    driver = Driver(session())
    driver.start()
    yield driver
    driver.stop()


def requests(seat: LocalSeat, chance: Random) -> Iterator[Request]:
    """What a busy person asks for, without end."""
    plant = seat.plant
    zone, coil, contact = plant.zones[0], plant.outputs[0].name, plant.inputs[0].name
    valve = plant.outputs[0].component
    acts = ["close all", "open all", "ride stop", "acknowledge all", "reset all",
            f"override {coil}", f"release {coil}", f"force {coil} on", f"force {contact} on",
            "unforce all"]  # fmt: skip
    hidden = [f"fault {valve} stuck", f"fault {valve} stuck-actuated", "power off"]
    while True:
        kinds: list[Request] = [
            Do(chance.choice(acts)), Do(chance.choice(acts)), Do(f"in 1 s: {chance.choice(acts)}"),
            Hand("look", plant.brakes[0]), Run(), Run(), Pause(), Speed(50.0), Scan(), NextEvent(),
            GoTo(seat.frame.time * chance.random()), Newest(), Undo(), Redo(), Check(zone),
            Do(chance.choice(hidden), hidden=True), Do("power on"),
            Do(f"clear {valve} stuck"), Hide(valve, "stuck", True),
        ]  # fmt: skip
        yield chance.choice(kinds)


def same(a: Session, b: Session) -> None:
    """Bit for bit."""
    assert a.play.now == b.play.now
    np.testing.assert_array_equal(a.play.plant.state(), b.play.plant.state())
    assert a.play.plant.log.events == b.play.plant.log.events


@pytest.mark.parametrize("seed", [1, 2])
def test_two_busy_seats_break_nothing(driver: Driver, seed: int) -> None:
    seats = driver.seat("trainer"), driver.seat("trainee")
    sent = {seat.seat: 0 for seat in seats}
    answered: dict[Seat, list[int]] = {seat.seat: [] for seat in seats}
    wrong: list[str] = []

    def work(seat: LocalSeat) -> None:
        for request in requests(seat, Random(f"{seed} {seat.seat}")):
            if sent[seat.seat] >= HANDED_OVER:
                return
            seat.send(request)
            sent[seat.seat] += 1
            frame, past = seat.frame, seat.past
            if len(past.times) != len(past.values) or (np.diff(past.times) <= 0.0).any():
                wrong.append("a record that does not fit")
            if seat.seat == "trainee" and any(set(getattr(frame, f)) != {None} for f in UNSEEN
                                              if getattr(frame, f)):  # fmt: skip
                wrong.append("the trainee sees what is hidden")
            collect(seat)
            time.sleep(0.002)

    def collect(seat: LocalSeat) -> None:
        for answer in seat.answers():
            answered[seat.seat].append(answer.to)
            if "The simulation stopped" in answer.text:
                wrong.append(answer.text)

    threads = [threading.Thread(target=work, args=(seat,)) for seat in seats]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(LONG)
    last = [seat.send(Hand("look", seat.plant.brakes[0])) for seat in seats]
    end = time.monotonic() + LONG
    for seat, number in zip(seats, last, strict=True):
        while number not in answered[seat.seat]:
            assert time.monotonic() < end, "a seat is answered no more"
            collect(seat)
            time.sleep(0.01)
    assert not wrong
    driver.stop()

    ride = driver.session
    ride.go_to_newest()
    again = session()
    again.restart(ride.acts.journal, ride.now)
    same(again, ride)


def test_nothing_waits_for_more_than_a_check_has() -> None:
    ride = session()
    ride.advance(1.0)
    ride.begin_check(ride.plant.zones[0], None)
    assert ride.check is not None
    end = ride.check.end
    ride.advance(end + 100.0)
    assert ride.now == end
    to_next_scan(ride)
    assert not to_next_event(ride, ("no such kind",))
    assert ride.now == end
    ride.go_to_newest()
    assert ride.now == 1.0


def test_what_cannot_be_done_at_its_time_is_left_out_and_told_once() -> None:
    ride, plain = session(), session()
    valve = ride.plant.outputs[0].component
    driver = Driver(ride)
    trainer, trainee = driver.seat("trainer"), driver.seat("trainee")
    ride.do("trainer", f"in 2 s: clear {valve} stuck")
    ride.do("trainer", "in 2 s: close all")
    plain.do("trainer", "in 2 s: close all")
    for each in (ride, plain):
        each.advance(4.0)
    assert [told(e.what) for e in ride.play.plant.log.events] == [
        told(e.what) for e in plain.play.plant.log.events
    ]
    driver._publish()
    (answer,) = trainer.answers()
    assert f"2.000 s: {valve} has no fault stuck to clear" in answer.text and not answer.done
    assert not trainee.answers()

    # whatever is replayed goes over it in the same way
    kept = ride.play.plant.state()
    ride.go_to(3.0)
    ride.go_to_newest()
    np.testing.assert_array_equal(ride.play.plant.state(), kept)
    again = session()
    again.restart(ride.acts.journal, 4.0)
    np.testing.assert_array_equal(again.play.plant.state(), kept)
    ride.do("trainer", "ride stop")
    ride.undo()
    again.advance(ride.now)
    same(again, ride)
    driver._publish()
    assert not trainer.answers()
    ride.begin_check(ride.plant.zones[0], None)
    ride.advance(6.0)
