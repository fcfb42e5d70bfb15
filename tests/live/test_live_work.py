"""A drill at a ride that runs by itself: lines are answered in order, and nothing gives an edge."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from drill_rides import BACK, SAFE, practice

from pneumo.circuit.validate import load_text
from pneumo.drill.brief import Brief, Saying
from pneumo.drill.entry import Answered, Repaired, SetBack
from pneumo.drill.practice import Practice
from pneumo.live.driver import Driver
from pneumo.live.local_seat import LocalSeat
from pneumo.live.request import (
    Answer,
    Do,
    GoTo,
    Hand,
    Line,
    NextEvent,
    Pause,
    Redo,
    Request,
    Run,
    Speed,
    Tell,
    Undo,
)
from pneumo.live.session import Session
from pneumo.live.work import Work, refusal
from pneumo.live.working import Working
from pneumo.record.reading import continuation
from pneumo.record.writing import begin
from pneumo.scenario.plant import SimulationError

LONG = 60.0
"""Something has gone wrong when it takes so long [s]."""

BRIEF = Brief(
    level=2,
    par=1200.0,
    complaint="The brake closes late.",
    answers=(Saying("noise", "It hisses at the second hose."),),
    log_book=("Mon: hose moved",),
    hints=("Listen beside the hoses.",),
)


def until(what: Callable[[], object], why: str) -> None:
    end = time.monotonic() + LONG
    while not what():
        assert time.monotonic() < end, why
        time.sleep(0.005)


@contextmanager
def driving(at: Practice) -> Iterator[Driver]:
    assert not isinstance(at.ride, type)
    driver = Driver(at.ride, working=Working(at.ride, at, "Late"))  # type: ignore[arg-type]
    driver.start()
    try:
        yield driver
    finally:
        driver.stop()


@pytest.fixture
def driver() -> Iterator[Driver]:
    with driving(practice("fault hose_1 leak 3 mm", brief=BRIEF, began=False)) as driver:
        yield driver


def answers(seat: LocalSeat, count: int) -> list[Answer]:
    """The next answers to requests, in the order in which they come."""
    found: list[Answer] = []

    def came() -> bool:
        found.extend(a for a in seat.answers() if a.to)
        return len(found) >= count

    until(came, f"{len(found)} of {count} answers: {found}")
    assert len(found) == count
    return found


def asked(seat: LocalSeat, request: Request) -> Answer:
    number = seat.send(request)
    (answer,) = answers(seat, 1)
    assert answer.to == number
    return answer


def work(seat: LocalSeat) -> Work:
    assert seat.work is not None
    return seat.work


SOLVED = (
    "begin", "close trim", "listen hose_1", "open trim", "finding hose_1 leak", *SAFE,
    "prove hose_1", "refit hose_1", *BACK, "function test", "hand back",
)  # fmt: skip


def test_nothing_runs_before_the_trainee_begins(driver: Driver) -> None:
    seat = driver.seat("trainee", keeps_time=True)
    began = seat.frame.time
    assert work(seat).state == "briefing"
    assert not asked(seat, Run()).done
    assert "Begin" in asked(seat, Hand("listen", "hose_1")).text
    assert seat.frame.time == began and not seat.frame.running
    assert asked(seat, Line("begin")).done
    until(lambda: seat.frame.time > began, "the clock does not run")
    assert work(seat).state == "at work"


def test_lines_said_at_once_are_answered_each_and_in_order(driver: Driver) -> None:
    """As fast as a script can, among them some that are refused; and the drill is solved."""
    seat = driver.seat("trainee", keeps_time=True)
    lines = [*SOLVED[:3], "listen hose_9", "lock main", *SOLVED[3:], "listen hose_1", "sing"]
    numbers = [seat.send(Line(line)) for line in lines]
    came = answers(seat, len(lines))
    assert [answer.to for answer in came] == numbers
    refused = [line for line, answer in zip(lines, came, strict=True) if not answer.done]
    assert refused == ["listen hose_9", "lock main", "listen hose_1", "sing"]
    until(lambda: work(seat).debrief is not None, "no debrief")
    found = work(seat)
    assert found.debrief is not None
    assert (found.debrief.verdict, found.state) == ("right", "handed back")
    assert [entry.line for entry in found.entries] == list(SOLVED)
    assert (found.doing, found.waiting) == ("", 0)
    assert not seat.frame.running


def test_what_is_done_in_any_view_is_a_line_of_the_drill(driver: Driver) -> None:
    seat = driver.seat("trainee", keeps_time=True)
    assert asked(seat, Line("begin")).done
    assert asked(seat, Do("close trim")).done
    assert asked(seat, Hand("listen", "hose_1")).done
    assert [e.line for e in work(seat).entries] == ["begin", "close trim", "listen hose_1"]


def test_frames_come_while_a_part_is_replaced(driver: Driver) -> None:
    """The screen lives while an hour passes, and shows what is under way and what waits."""
    seat = driver.seat("trainee", keeps_time=True)
    assert asked(seat, Line("begin")).done
    seat.send(Line("wait 60 min"))
    seat.send(Line("listen hose_1"))
    seen: list[tuple[float, Work]] = []

    def look() -> bool:
        seen.append((seat.frame.time, work(seat)))
        return len(work(seat).entries) == 3

    until(look, "the work does not end")
    under_way = [(time, each) for time, each in seen if each.doing == "wait 60 min"]
    assert len({time for time, _ in under_way}) > 5
    assert any(each.waiting == 1 for _, each in under_way)
    begun = work(seat).entries[1].began
    assert {each.until for _, each in under_way if each.until > begun} == {begun + 3600.0}


def test_work_in_pieces_records_no_more_than_in_one() -> None:
    one, pieces = practice(), practice()
    one.ride.pass_time(one.play.now + 600.0)  # type: ignore[attr-defined]
    working = Working(pieces.ride, pieces, "")  # type: ignore[arg-type]
    working.say("key", "wait 600 s", "trainee")
    while working.turn(5.0) is None:
        pass
    rows = [len(each.ride.recorder.past.times) for each in (one, pieces)]  # type: ignore[attr-defined]
    assert rows[1] <= 1.2 * rows[0]


@pytest.mark.parametrize("request_", [GoTo(1.0), Undo(), Redo()])
def test_no_seat_goes_back(driver: Driver, request_: Request) -> None:
    for seat in (driver.seat("trainee", keeps_time=True), driver.seat("trainer")):
        answer = asked(seat, request_)
        assert not answer.done and "does not go back" in answer.text


@pytest.mark.parametrize("request_", [Pause(), NextEvent(), Speed(0.5)])
def test_a_trainee_does_not_stop_the_clock(driver: Driver, request_: Request) -> None:
    seat = driver.seat("trainee", keeps_time=True)
    assert asked(seat, Line("begin")).done
    assert "clock" in asked(seat, request_).text
    assert driver.running
    assert asked(seat, Speed(2.0)).done


def test_the_trainer_stops_the_clock_and_sends_notes_and_hints(driver: Driver) -> None:
    trainer, trainee = driver.seat("trainer"), driver.seat("trainee")
    assert work(trainee).hints == 1
    assert not asked(trainer, Line("listen hose_1")).done
    assert asked(trainee, Line("begin")).done
    assert asked(trainer, Tell("Look at the hoses.")).done
    until(lambda: work(trainee).notes, "the note does not come")
    assert work(trainee).notes[0].text == "Look at the hoses."
    assert asked(trainer, Line("hint")).text == "Listen beside the hoses."
    result = work(trainee).entries[-1].result
    assert isinstance(result, Answered) and result.by == "hint"
    assert work(trainee).hints == 0
    assert not asked(trainer, Line("hint")).done

    trainee.send(Line("wait 60 min"))
    until(lambda: work(trainee).doing and trainee.frame.time > 200.0, "the work does not begin")
    assert asked(trainer, Pause()).done
    stood = driver.session.now
    assert "stopped the clock" in asked(trainee, Line("listen hose_1")).text
    assert driver.session.now == stood
    assert asked(trainer, Run()).done
    assert answers(trainee, 1)[0].done
    assert not asked(trainee, Tell("Thanks")).done


def test_a_screen_knows_nothing_that_has_to_be_asked_for(driver: Driver) -> None:
    for seat in (driver.seat("trainee"), driver.seat("trainer")):
        brief = work(seat).brief
        assert (brief.answers, brief.log_book, brief.hints) == ((), (), ())
        assert (brief.complaint, brief.par) == (BRIEF.complaint, BRIEF.par)


def test_an_accident_stops_the_drill_and_answers_what_waits(driver: Driver) -> None:
    seat = driver.seat("trainee", keeps_time=True)
    lines = ("begin", "close trim", "finding hose_1 leak", "replace hose_1", "hand back", "hint")
    for line in lines:
        seat.send(Line(line))
    came = answers(seat, len(lines))
    assert [answer.done for answer in came] == [True, True, True, False, False, False]
    assert "UNSAFE" in came[3].text and "over" in came[4].text
    until(lambda: work(seat).debrief is not None, "no debrief")
    assert work(seat).state == "stopped"
    assert not any(isinstance(entry.result, Repaired) for entry in work(seat).entries)


def test_a_simulation_that_fails_drops_what_is_under_way(
    driver: Driver, monkeypatch: pytest.MonkeyPatch
) -> None:
    seat = driver.seat("trainee", keeps_time=True)
    assert asked(seat, Line("begin")).done
    passes = driver.session.pass_time

    def fails(until: float, since: float | None = None) -> None:
        raise SimulationError("no step is small enough")

    monkeypatch.setattr(driver.session, "pass_time", fails)
    numbers = [seat.send(Line("listen hose_1")), seat.send(Line("listen hose_2"))]
    came = answers(seat, 2)
    assert [answer.to for answer in came] == numbers
    assert not any(answer.done for answer in came)
    monkeypatch.setattr(driver.session, "pass_time", passes)
    assert isinstance(work(seat).entries[-1].result, SetBack), "what is gone is told"
    assert work(seat).state == "at work"
    assert asked(seat, Line("listen hose_1")).done, "the clock goes on with the next line"


def test_left_while_something_is_under_way(tmp_path: Path) -> None:
    with driving(practice()) as driver:
        seat = driver.seat("trainee", keeps_time=True)
        seat.send(Line("wait 200 min"))
        until(lambda: work(seat).doing, "it does not begin")
        seat.close()
        assert not driver._thread.is_alive()


def test_over_means_over() -> None:
    assert refusal("handed back", "trainee", Line("listen hose_1"))
    assert refusal("handed back", "trainer", GoTo(1.0)) == ""
    assert refusal("at work", "trainee", Line("listen hose_1")) == ""


def test_a_run_that_was_killed_goes_on_with_all_but_the_line_under_way(tmp_path: Path) -> None:
    """Nothing is closed or flushed: what is in the file then is all that is left."""
    at = practice("fault hose_1 leak 3 mm", brief=BRIEF, began=False)
    ride = at.ride
    record = begin(
        path="ride.yaml", document=ride.document, ride="ride",  # type: ignore[attr-defined]
        channels=[(c.name, c.unit) for c in ride.plant.channels],  # type: ignore[attr-defined]
        program="test", seat="trainee", acts=ride.acts.journal, drill="Late",  # type: ignore[attr-defined]
        begins=at.began, brief=BRIEF, folder=tmp_path,
    )  # fmt: skip
    driver = Driver(ride, record, working=Working(ride, at, "Late"))  # type: ignore[arg-type]
    driver.start()
    seat = driver.seat("trainee", keeps_time=True)
    lines = ("begin", "close trim", "listen hose_1", "open trim", "isolate main", "lock main")
    for line in lines:
        seat.send(Line(line))
    answers(seat, len(lines))
    seat.send(Line("wait 200 min"))
    until(lambda: work(seat).doing == "wait 200 min", "it does not begin")
    killed = tmp_path / "killed.ride"
    for end in ("", "-wal"):  # what lies on the disk, as a kill would leave it
        shutil.copyfile(f"{record.path}{end}", f"{killed}{end}")
    driver.stop()

    kept = continuation(killed)
    assert kept.brief is not None
    assert [entry.line for entry in kept.entries] == list(lines)
    session = Session(load_text(kept.document, "ride"), kept.document)
    session.restart(kept.acts, kept.reached, begins=kept.begins)
    again = Practice(session, kept.brief)
    again.resume(kept.entries, kept.begins)
    assert again.arc.state == "at work"
    assert list(again.site.locked) == ["main"]
    assert again.spent >= kept.entries[-1].ended - kept.begins - 1e-6
    with driving(again) as driver:
        seat = driver.seat("trainee", keeps_time=True)
        assert not seat.frame.running
        assert [entry.line for entry in work(seat).entries] == list(lines)
        for line in ("unlock main", "finding hose_1 leak", "hand back"):
            assert asked(seat, Line(line)).done
        assert work(seat).state == "handed back"
