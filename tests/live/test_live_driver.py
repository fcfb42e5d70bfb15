"""A ride in its thread: requests are answered, a seat sees its own, failures are survived."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from documents import replaced

from pneumo.circuit.validate import load, load_text
from pneumo.live import seal
from pneumo.live.drill import read_drill
from pneumo.live.driver import Driver, _rescued
from pneumo.live.journal import Act
from pneumo.live.link import Past
from pneumo.live.local_seat import LocalSeat
from pneumo.live.request import (
    Answer,
    Check,
    Do,
    GoTo,
    Hand,
    Hide,
    Line,
    Newest,
    NextEvent,
    OpenCase,
    Pause,
    Redo,
    Request,
    Run,
    Save,
    Scan,
    Seat,
    Shelve,
    Speed,
    Tell,
    Undo,
)
from pneumo.live.session import Session
from pneumo.report.unsound import unsound_words, why_words
from pneumo.scenario.plant import SimulationError
from pneumo.scenario.telling import told
from pneumo.verification.campaign import Campaign
from pneumo.verification.case import Loss
from pneumo.verification.verdict import UNSOUND

CIRCUIT = Path(__file__).parents[2] / "circuits" / "01_spring_open_single.yaml"
LONG = 30.0
"""Something has gone wrong when it takes so long [s]."""


@cache
def text() -> str:
    return CIRCUIT.read_text(encoding="utf-8")


def until(what: Callable[[], object], why: str) -> None:
    end = time.monotonic() + LONG
    while not what():
        assert time.monotonic() < end, why
        time.sleep(0.005)


@contextmanager
def driving(document: str, tmp_path: Path) -> Iterator[Driver]:
    session = Session(load_text(document, CIRCUIT.stem), document)
    driver = Driver(session, rescue=tmp_path / "rescue")
    driver.start()
    try:
        yield driver
    finally:
        driver.stop()


@pytest.fixture
def driver(tmp_path: Path) -> Iterator[Driver]:
    with driving(text(), tmp_path) as driver:
        yield driver


def asked(seat: LocalSeat, request: Request) -> Answer:
    number = seat.send(request)
    found: list[Answer] = []

    def came() -> bool:
        found.extend(a for a in seat.answers() if a.to == number)
        return bool(found)

    until(came, f"no answer to {request}")
    return found[0]


def zone(seat: LocalSeat) -> str:
    return seat.plant.zones[0]


def valve(seat: LocalSeat) -> str:
    return seat.plant.outputs[0].component


def test_time_runs_and_stands_still(driver: Driver) -> None:
    seat = driver.seat("trainer")
    assert seat.frame.time == 0.0 and not seat.frame.running
    assert asked(seat, Speed(50.0)).done
    assert asked(seat, Run()).done
    until(lambda: seat.frame.time > 5.0, "the ride does not run")
    assert asked(seat, Pause()).done
    until(lambda: not seat.frame.running, "the ride does not stop")
    stands = seat.frame.time
    time.sleep(0.2)
    assert seat.frame.time == stands
    assert len(seat.past.times) > 40


def test_wrong_speeds_are_refused(driver: Driver) -> None:
    seat = driver.seat("trainer")
    for factor in (0.0, 0.05, 51.0):
        answer = asked(seat, Speed(factor))
        assert not answer.done and "0.1 to 50" in answer.text
    assert seat.frame.speed == 1.0


def test_one_scan_and_one_event(driver: Driver) -> None:
    seat = driver.seat("trainer")
    asked(seat, Scan())
    until(lambda: seat.frame.time == pytest.approx(0.02), "one scan is 20 ms")
    asked(seat, Do(f"close {zone(seat)}"))
    asked(seat, NextEvent())
    until(lambda: seat.past.events, "closing makes events")
    last = seat.past.events[-1].time
    assert seat.frame.time - last <= 0.021
    asked(seat, Do(f"open {zone(seat)}"))
    for _ in range(50):
        answer = asked(seat, NextEvent())
        if answer.text:
            break
    assert answer.text == "No event within 60 s."


def test_going_back_and_running_on_from_there(driver: Driver) -> None:
    seat = driver.seat("trainer")
    asked(seat, Do(f"close {zone(seat)}"))
    asked(seat, Speed(50.0))
    asked(seat, Run())
    until(lambda: seat.frame.time > 3.0, "the ride does not run")
    asked(seat, Pause())
    asked(seat, GoTo(1.0))
    until(lambda: seat.frame.time == 1.0, "it does not go back")
    assert seat.frame.mode == "earlier" and seat.frame.newest > 3.0
    asked(seat, Newest())
    until(lambda: seat.frame.mode == "live", "it does not come back")
    asked(seat, GoTo(1.0))
    asked(seat, Scan())
    until(lambda: seat.frame.mode == "live" and seat.frame.time < 1.1, "no branch")
    assert seat.past.times[-1] <= 1.1


def test_the_trainee_is_not_told_what_is_hidden(driver: Driver) -> None:
    trainer, trainee = driver.seat("trainer"), driver.seat("trainee")
    asked(trainer, Do(f"fault {valve(trainer)} stuck-actuated", hidden=True))
    until(lambda: trainer.frame.faults, "no fault")
    assert trainer.frame.faults[0].hidden
    assert not trainee.frame.faults
    assert all("stuck" not in told(event.what) for event in trainee.past.events)
    asked(trainer, Hide(valve(trainer), "stuck-actuated", False))
    until(lambda: trainee.frame.faults, "a fault that is shown can be seen")


def test_the_trainee_does_what_a_trainee_may(driver: Driver) -> None:
    trainee = driver.seat("trainee")
    for request in (Run(), Speed(2.0), GoTo(0.0), Undo(), Check(zone(trainee)),
                    Do(f"fault {valve(trainee)} stuck"), Do("power off"),
                    Save("scenario", "/nowhere", "x")):  # fmt: skip
        assert not asked(trainee, request).done, request
    assert asked(trainee, Do(f"close {zone(trainee)}")).done
    answer = asked(trainee, Do(f"override {trainee.plant.outputs[0].name}"))
    assert answer.done and answer.cautions
    found = asked(trainee, Hand("look", trainee.plant.brakes[0]))
    assert found.done and found.text and found.cautions
    assert not asked(trainee, Hand("look", "nothing")).done


def drill_of(driver: Driver) -> list[Act]:
    """Begins a drill at 5 s in which a valve sticks since 3 s; the acts of the trainer."""
    output = driver.session.plant.outputs[0]
    acts = [
        Act(1.0, "trainer", f"close {driver.session.plant.zones[0]}", False, 1.0),
        Act(3.0, "trainer", f"fault {output.component} stuck", True, 3.0),
    ]
    driver.session.restart(acts, 5.0, begins=5.0)
    driver.session.drill = "Morning round"
    return acts


def every_request(seat: LocalSeat) -> list[Request]:
    """One of each kind there is, and sentences that would put the fault right."""
    clear = f"clear {valve(seat)} stuck"
    sentences = (
        clear, f" {clear}", f"\t{clear}", clear.upper(), f"in 1 s: {clear}", f"in 0 s: {clear}",
        f"fault {valve(seat)} stuck", "power off", "power on", "reset all", "unforce all",
        "acknowledge all", f"open {zone(seat)}",
    )  # fmt: skip
    return [
        GoTo(0.0), *(Do(sentence) for sentence in sentences), Undo(), Redo(), Undo(),
        Hide(valve(seat), "stuck", False), OpenCase("another", (), 1.0), Check(zone(seat)),
        Save("scenario", "situation.yaml", "x"), Shelve(zone(seat), "close time exceeded", 60.0),
        Speed(10.0), GoTo(2.9), Scan(), GoTo(0.0), Run(), Pause(), GoTo(4.0), NextEvent(),
        Newest(), Hand("look", seat.plant.brakes[0]), Line("hand back"), Tell("done"),
    ]  # fmt: skip


@pytest.mark.parametrize("keeps_time", [True, False])
def test_no_request_of_a_trainee_gets_a_drill_rid_of_its_fault(
    driver: Driver, keeps_time: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    acts = drill_of(driver)
    seat = driver.seat("trainee", keeps_time=keeps_time)
    assert seat.drill == "Morning round"
    kinds = {type(request) for request in every_request(seat)}
    assert kinds == set(get_args(Request)), "a kind of request is left out"
    for request in every_request(seat):
        asked(seat, request)
        assert [a for a in driver.session.acts.journal if a.seat == "trainer"] == acts, request
        until(lambda: driver.frames["trainer"].faults, f"the fault is gone after {request}")
        assert driver.frames["trainer"].faults[0].hidden, request
        assert not seat.frame.faults, request


def test_going_back_ends_where_a_drill_begins(driver: Driver) -> None:
    drill_of(driver)
    seat = driver.seat("trainee", keeps_time=True)
    asked(seat, Speed(50.0))
    asked(seat, Run())
    until(lambda: seat.frame.time > 8.0, "the ride does not run")
    answer = asked(seat, GoTo(1.0))
    assert answer.done and "you cannot go back further" in answer.text
    until(lambda: seat.frame.time == 5.0, "it does not go back")
    assert not asked(seat, GoTo(6.0)).text
    trainer = driver.seat("trainer")
    asked(trainer, GoTo(1.0))
    until(lambda: trainer.frame.time == 1.0, "the trainer goes back as far as there is anything")
    for request in (Run(), Scan(), NextEvent(), Do("ride stop")):
        answer = asked(seat, request)
        assert not answer.done and "until the trainer continues" in answer.text


def test_undo_and_redo_say_what(driver: Driver) -> None:
    seat = driver.seat("trainer")
    assert not asked(seat, Undo()).done
    asked(seat, Do(f"fault {valve(seat)} stuck"))
    assert f"fault {valve(seat)} stuck" in asked(seat, Undo()).text
    until(lambda: not seat.frame.faults, "still there")
    assert asked(seat, Redo()).done
    until(lambda: seat.frame.faults, "not done again")


def test_a_refused_command_is_told(driver: Driver) -> None:
    seat, other = driver.seat("trainer"), driver.seat("trainee")
    asked(seat, Do(f"reset {zone(seat)}"))
    asked(seat, Scan())
    told: list[Answer] = []

    def came() -> bool:
        told.extend(other.answers())
        return bool(told)

    until(came, "nobody is told")
    assert "reset refused" in told[0].text and zone(seat) in told[0].text


def test_a_check_is_played_and_told(driver: Driver) -> None:
    seat = driver.seat("trainer")
    asked(seat, Do(f"close {zone(seat)}"))
    asked(seat, Speed(50.0))
    asked(seat, Run())
    until(lambda: seat.frame.time > 3.0, "the ride does not run")
    asked(seat, Pause())
    data = asked(seat, Check(zone(seat))).data
    assert data["zone"] == zone(seat) and data["outcomes"]
    assert data["unsound"] == [], "a sound circuit"
    assert seat.frame.mode == "check" and seat.frame.note
    told: list[Answer] = []

    def decided() -> bool:
        told.extend(a for a in seat.answers() if a.to == 0)
        return bool(told)

    until(decided, "the check is never decided")
    asked(seat, Newest())
    until(lambda: seat.frame.mode == "live", "still in the check")
    assert not seat.frame.faults and not seat.frame.stopped_by


def test_a_check_of_a_miswired_circuit_says_first_what_is_wrong_without_any_fault(
    tmp_path: Path,
) -> None:
    wrong = replaced(text(), ("2 -> valve.1", "2 -> valve.2"), ("valve.2 -> man", "valve.1 -> man"))
    (found,) = Campaign(load_text(wrong, CIRCUIT.stem)).unsound()
    assert found.cause is not None and found.cause.component == "valve"
    with driving(wrong, tmp_path) as driver:
        seat = driver.seat("trainer")
        asked(seat, Speed(50.0))
        for _ in range(2):  # it is looked for once
            answer, told = checked(seat, Check("trim", Loss("power")))
            assert answer.data["unsound"] == [(unsound_words(found), why_words(found))]
            assert answer.data["outcomes"]
            played = "Check of trim, loss of power: "
            assert told.startswith(f"{UNSOUND} {unsound_words(found)}. {played}")


def checked(seat: LocalSeat, request: Check) -> tuple[Answer, str]:
    """The answer to a check, and what the ride says of the one that is played."""
    number = seat.send(request)
    came: dict[int, Answer] = {}

    def both() -> bool:
        came.update((a.to, a) for a in seat.answers() if a.to in (0, number))
        return len(came) == 2

    until(both, "no answer, or nothing is told")
    return came[number], came[0].text


@pytest.mark.parametrize(
    ("error", "what"),
    [
        (
            SimulationError("The integration stopped at 9.500000 s near tank (a.yaml:7): no step."),
            "The integration stopped at 9.500000 s near tank (a.yaml:7): no step.",
        ),
        (ZeroDivisionError("by zero"), "The program failed (ZeroDivisionError: by zero)."),
    ],
)
def test_a_check_that_cannot_be_calculated_says_so_and_costs_the_ride_nothing(
    driver: Driver, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, error: Exception, what: str
) -> None:
    def stops(*_: object) -> None:
        raise error

    seat = driver.seat("trainer")
    asked(seat, Speed(50.0))
    asked(seat, Run())
    until(lambda: seat.frame.time > 3.0, "the ride does not run")
    asked(seat, Pause())
    asked(seat, Do("close trim"))
    before = driver.session.play.now
    monkeypatch.setattr("pneumo.live.check.Check.advance", stops)
    answer, said = checked(seat, Check("trim", Loss("power")))
    assert said == (
        f"The check of trim, loss of power, could not be calculated. {what} Nothing is known of "
        f"this loss: it does NOT count as safe. The ride is as it was, at {before:.1f} s."
    )
    until(lambda: seat.frame.mode == "live", "still in the check")
    assert not seat.frame.running and driver.session.play.now == before
    assert [act.sentence for act in driver.session.acts.journal] == ["close trim"]
    assert not (tmp_path / "rescue").exists()
    # only what is played on the screen has stopped
    assert {each["verdict"] for each in answer.data["outcomes"]} == {"safe"}


def test_losses_that_cannot_be_calculated_are_told_as_such(
    driver: Driver, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stops(*_: object) -> None:
        raise ZeroDivisionError("by zero")

    seat = driver.seat("trainer")
    monkeypatch.setattr("pneumo.live.check.Check.finish", stops)
    outcomes = asked(seat, Check("trim")).data["outcomes"]
    assert {each["verdict"] for each in outcomes} == {"not calculated"}
    failed = "The program failed (ZeroDivisionError: by zero)."
    assert {each["why"] for each in outcomes} == {failed}
    monkeypatch.setattr("pneumo.live.session.each_outcome", stops)
    answer = asked(seat, Check("trim"))
    assert not answer.done
    assert answer.text == f"The check could not be finished. {failed}"
    assert not seat.trouble, "the ride is there"


def test_a_case_is_opened(driver: Driver) -> None:
    seat = driver.seat("trainer")
    events = ((1.0, f"close {zone(seat)}"), (5.0, f"fault {valve(seat)} stuck-actuated"))
    assert asked(seat, OpenCase("stuck", events, 4.5)).done
    until(lambda: seat.frame.time == 4.5, "not at the onset")
    assert not asked(seat, OpenCase("wrong", ((1.0, "close nothing"),), 4.5)).done
    assert seat.frame.time == 4.5


def test_a_situation_is_saved(driver: Driver, tmp_path: Path) -> None:
    seat = driver.seat("trainer")
    asked(seat, Do(f"close {zone(seat)}"))
    asked(seat, Do(f"fault {valve(seat)} coil-open", hidden=True))
    path = tmp_path / "saved.yaml"
    assert asked(seat, Save("scenario", str(path), "one")).done
    assert "one" in load(path).scenarios
    drill = tmp_path / "morning.drill"
    assert asked(seat, Save("drill", str(drill), "morning")).done
    assert "coil-open" not in drill.read_text(encoding="utf-8")
    assert not asked(seat, Save("scenario", str(tmp_path / "no" / "x.yaml"), "one")).done


def test_alarms_are_shelved(driver: Driver) -> None:
    seat = driver.seat("trainer")
    asked(seat, Do(f"close {zone(seat)}"))
    asked(seat, Do(f"in 3 s: fault {seat.plant.brakes[0]} bladder-burst"))
    asked(seat, Speed(50.0))
    asked(seat, Run())
    until(lambda: seat.frame.alarms, "a burst bladder raises an alarm")
    alarm = seat.frame.alarms[0]
    assert asked(seat, Shelve(alarm.zone, alarm.name, 600.0)).done
    until(lambda: any(a.shelved_until for a in seat.frame.alarms), "not shelved")
    assert not asked(seat, Shelve(alarm.zone, "no such alarm", 600.0)).done
    assert not asked(seat, Shelve(alarm.zone, alarm.name, 1e6)).done
    assert asked(seat, Shelve(alarm.zone, alarm.name, None)).done


def test_a_failure_is_told_saved_and_survived(
    driver: Driver, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    trainer, trainee = driver.seat("trainer"), driver.seat("trainee")
    asked(trainer, Do(f"close {zone(trainer)}"))
    asked(trainer, Speed(50.0))
    asked(trainer, Run())
    until(lambda: trainer.frame.time > 5.0, "the ride does not run")
    fails = [True]
    plain = Session.advance

    def advance(self: Session, end: float) -> None:
        if fails:
            fails.clear()
            raise SimulationError("no step is short enough")
        plain(self, end)

    monkeypatch.setattr(Session, "advance", advance)
    told: list[Answer] = []

    def came() -> bool:
        told.extend(a for a in trainer.answers() if not a.done)
        return bool(told)

    until(came, "nobody is told")
    assert "no step is short enough" in told[0].text and "stopped_" in told[0].text
    (rescued,) = (tmp_path / "rescue").iterdir()
    assert "before it stopped" in load(rescued).scenarios
    assert not trainer.trouble and not trainee.answers()
    stands = trainer.frame.time
    asked(trainer, Run())
    until(lambda: trainer.frame.time > stands + 1.0, "it does not run on")


def test_what_is_saved_of_a_drill_that_stopped_is_hidden_like_the_drill(
    driver: Driver, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(seal, "COST", (16, 1, 1))
    session = driver.session
    seat = driver.seat("trainer")
    assert asked(seat, Do("fault hose_1 leak 2 mm", hidden=True)).done
    session.drill, session.seal = "It hisses", seal.new_seal("seven red kites")
    assert "Saved the drill" in _rescued(session, tmp_path / "rescue")
    (rescued,) = (tmp_path / "rescue").iterdir()
    assert b"leak 2" not in rescued.read_bytes()
    assert [a.sentence for a in read_drill(rescued, lambda: "seven red kites").acts]
    # a scenario is what the trainer asks for, and is told to be clear
    answer = asked(seat, Save("scenario", str(tmp_path / "s.yaml"), "x"))
    assert answer.done and answer.text.endswith("stands in it in clear.")
    for words, how in (("", "obscured, not encrypted"), ("seven red kites", "encrypted; keep")):
        answer = asked(seat, Save("drill", str(tmp_path / f"d{len(words)}.yaml"), "x", words))
        assert answer.done and how in answer.text


def test_a_request_that_breaks_the_simulation_is_survived(
    driver: Driver, monkeypatch: pytest.MonkeyPatch
) -> None:
    seat = driver.seat("trainer")
    monkeypatch.setattr("pneumo.live.driver.to_next_scan", _breaks)
    assert not asked(seat, Scan()).done
    assert asked(seat, Do(f"close {zone(seat)}")).done


def test_a_ride_without_frames_is_gone_and_says_so(
    driver: Driver, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    trainer, trainee = driver.seat("trainer"), driver.seat("trainee")
    monkeypatch.setattr(Session, "frame", _breaks)
    trainer.send(Run())
    until(lambda: trainer.trouble, "nobody is told")
    assert "no step is short enough" in trainer.trouble and "stopped_" in trainer.trouble
    assert trainee.trouble and "no step" not in trainee.trouble
    assert list((tmp_path / "rescue").iterdir())


def _breaks(*_: object, **__: object) -> None:
    raise SimulationError("no step is short enough")


class Kept:
    """A record that remembers what it was given last."""

    def __init__(self) -> None:
        self.past: Past | None = None

    def acts(self, journal: object) -> None: ...
    def rows(self, past: Past, reached: float) -> None:
        self.past = past

    def close(self) -> None: ...


@pytest.mark.parametrize("kept_for", ["trainer", "trainee"])
def test_a_trainees_record_holds_what_a_trainee_sees(kept_for: Seat) -> None:
    kept = Kept()
    session = Session(load_text(text(), CIRCUIT.stem), text())
    session.do("trainer", f"fault {session.plant.outputs[0].component} stuck", hidden=True)
    driver = Driver(session, record=kept, kept_for=kept_for)
    seat = driver.seat(kept_for, keeps_time=True)
    driver.start()
    try:
        asked(seat, Scan())
        assert kept.past is not None
        seen = [i for i, c in enumerate(seat.plant.channels) if not c.instrument]
        unseen = np.isnan(kept.past.values[-1][seen])
        assert unseen.all() if kept_for == "trainee" else not unseen.any()
        knows = any("stuck" in told(event.what) for event in kept.past.events)
        assert knows == (kept_for == "trainer")
    finally:
        driver.stop()


class Broken:
    """A record whose disk is full."""

    def acts(self, journal: object) -> None:
        from pneumo.errors import InputError

        raise InputError("This run is no longer recorded: the disk is full; the ride goes on.")

    def rows(self, past: object, reached: float) -> None: ...
    def close(self) -> None: ...


def test_the_ride_goes_on_without_its_record() -> None:
    driver = Driver(Session(load_text(text(), CIRCUIT.stem), text()), record=Broken())
    seat = driver.seat("trainer")
    driver.start()
    try:
        assert asked(seat, Do(f"close {zone(seat)}")).done
        told: list[Answer] = []
        asked(seat, Do("ride stop"))
        told = [a for a in seat.answers() if a.to == 0] or told
        assert asked(seat, Scan()).done
    finally:
        driver.stop()


def test_closing_the_trainers_seat_ends_the_ride(driver: Driver) -> None:
    seat = driver.seat("trainer")
    seat.close()
    assert not driver._thread.is_alive()
