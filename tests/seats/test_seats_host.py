"""Tests of two seats on loopback: who is let in, what passes, cuts, and what must not be heard."""

from __future__ import annotations

import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from time import monotonic
from typing import Any

import numpy as np
import pytest
from seats_bench import (
    FakeSeat,
    Hosted,
    Wire,
    fault,
    hosted,
    knock,
    raw,
    until,
    whole_frame,
)
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect

from pneumo.circuit.action import FaultSpec, Power
from pneumo.errors import InputError
from pneumo.live.request import Check, Do, Hand, Pause, Run, Shelve, Undo
from pneumo.scenario.event import Commanded, FaultInjected, RunEvent, SpoolArrived
from pneumo.scenario.telling import told
from pneumo.seats import host as host_module
from pneumo.seats import join as join_module
from pneumo.seats import served as served_module
from pneumo.seats.code import MOST_OF_ALL, MOST_OF_ONE, WINDOW, Guesses, new_code, plain, same
from pneumo.seats.join import RemoteLink, join
from pneumo.seats.wire import LARGEST_ASKED, RESUME_FOR, VERSION, decode, encode
from pneumo.zone.event import AlarmRaised, Refused, StateEntered
from pneumo.zone.evidence import Clue


class Clock:
    """A clock set by hand."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def seat() -> FakeSeat:
    return FakeSeat()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def host(seat: FakeSeat, clock: Clock) -> Iterator[Hosted]:
    host = hosted(seat, clock)
    yield host
    host.stop()


@pytest.fixture
def joined(host: Hosted) -> Iterator[RemoteLink]:
    link = join("127.0.0.1", host.port, host.door.code)
    yield link
    link.close()


def said(host: Hosted) -> str:
    told = "\n".join(host.told)
    host.told.clear()
    return told


# codes


def test_a_code_has_more_than_forty_bits_and_can_be_read_out() -> None:
    codes = {new_code() for _ in range(200)}
    assert len(codes) == 200
    for code in codes:
        assert len(plain(code)) * 5 >= 40
        assert not set(plain(code)) & set("ILOU")
        assert same(plain(f" {code.lower().replace('-', ' ').replace('0', 'o')} "), plain(code))


def test_guesses_are_counted_for_each_address_and_for_all(clock: Clock) -> None:
    guesses = Guesses(clock)
    for _ in range(MOST_OF_ONE):
        assert not guesses.must_wait("one")
        guesses.wrong("one")
    assert guesses.must_wait("one") and not guesses.must_wait("two")
    for k in range(MOST_OF_ALL - MOST_OF_ONE):
        guesses.wrong(f"other {k}")
    assert guesses.must_wait("two")
    clock.now += WINDOW
    assert not guesses.must_wait("one") and not guesses.must_wait("two")


# who is let in


def test_a_trainee_joins(host: Hosted, seat: FakeSeat, joined: RemoteLink) -> None:
    assert joined.seat == "trainee" and not joined.keeps_time and joined.trouble == ""
    assert joined.plant.nets == seat.plant.nets
    assert joined.plant.circuit.scenarios == {}
    assert joined.frame == seat.frame
    assert host.door.place.present and host.door.trainee == "joined" and "joined" in said(host)


def test_a_trainee_reads_the_title_of_the_drill(host: Hosted, seat: FakeSeat) -> None:
    seat.drill = "Morning round"
    link = join("127.0.0.1", host.port, host.door.code)
    assert link.drill == "Morning round"
    link.close()


def test_a_code_is_taken_however_it_is_written(host: Hosted) -> None:
    join("localhost", host.port, f" {host.door.code.lower().replace('-', '')} ").close()


def test_a_wrong_code_is_refused(host: Hosted) -> None:
    with pytest.raises(InputError, match="code is wrong"):
        join("127.0.0.1", host.port, "000-000-000")
    assert "wrong code" in said(host)
    join("127.0.0.1", host.port, host.door.code).close()


def test_a_code_is_used_once(host: Hosted) -> None:
    code = host.door.code
    link = join("127.0.0.1", host.port, code)
    with pytest.raises(InputError, match="code is wrong"):
        join("127.0.0.1", host.port, code)
    with pytest.raises(InputError, match="Another trainee has the seat"):
        join("127.0.0.1", host.port, host.door.code)
    said(host)
    knock(host, "join", host.door.code)
    assert said(host) == "", "a code that is right is no wrong guess"
    assert host.door.code != code, "the seat is taken, and a code for the next one is kept"
    link.close()
    until(lambda: not host.door.place.present)
    with pytest.raises(InputError, match="code is wrong"):
        join("127.0.0.1", host.port, code)
    join("127.0.0.1", host.port, host.door.code).close()


def test_who_guesses_has_to_wait(host: Hosted, clock: Clock) -> None:
    for _ in range(MOST_OF_ONE):
        assert knock(host, "join", "000-000-000")[0] == "refused"
    kind, sentence = knock(host, "join", host.door.code)
    assert kind == "busy" and "wait" in str(sentence)
    with pytest.raises(InputError, match="Too many wrong codes"):
        join("127.0.0.1", host.port, host.door.code)
    assert not host.door.place.present
    clock.now += WINDOW
    assert knock(host, "join", host.door.code)[0] == "welcome"


def test_a_wrong_token_counts_as_a_guess(host: Hosted) -> None:
    for secret in ("", "x", host.door.code, "y", "z"):
        assert knock(host, "resume", secret)[0] == "refused"
    assert knock(host, "resume", "x")[0] == "busy"


def test_another_version_is_told_so(host: Hosted) -> None:
    kind, sentence = knock(host, "join", host.door.code, version=VERSION + 1)
    assert kind == "refused" and "versions" in str(sentence)


def test_a_page_in_a_browser_is_not_let_in(host: Hosted) -> None:
    with pytest.raises(InvalidStatus):
        connect(f"ws://127.0.0.1:{host.port}", origin="http://127.0.0.1:8000", proxy=None)  # type: ignore[arg-type]


def test_only_so_many_of_one_address_may_wait_at_the_door(host: Hosted) -> None:
    with ExitStack() as waiting:
        for _ in range(host_module.MOST_WAITING_OF_ONE):
            waiting.enter_context(raw(host, "127.0.0.2"))
        until(lambda: host._waiting["127.0.0.2"] == host_module.MOST_WAITING_OF_ONE)
        with raw(host, "127.0.0.2") as one_more:
            kind, sentence = decode(one_more.recv(10))
            assert kind == "busy" and "from this address" in str(sentence)
        # nobody else is kept out
        assert knock(host, "join", host.door.code)[0] == "welcome"
    until(lambda: not host._waiting)


def test_only_so_many_may_wait_at_the_door(host: Hosted, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(host_module, "MOST_WAITING", 3)
    with ExitStack() as waiting:
        for k in range(3):
            waiting.enter_context(raw(host, f"127.0.0.{k + 2}"))
        until(lambda: host._waiting.total() == 3)
        with pytest.raises(InputError, match="Too many connections are waiting"):
            join("127.0.0.1", host.port, host.door.code)
    until(lambda: not host._waiting)
    assert knock(host, "join", host.door.code)[0] == "welcome"


def test_a_trainee_comes_back_however_many_guess_from_its_address(host: Hosted) -> None:
    _, (token, *_) = knock(host, "join", host.door.code)  # type: ignore[misc]
    until(lambda: not host.door.place.present)
    for _ in range(MOST_OF_ONE):
        knock(host, "join", "000-000-000")
    assert knock(host, "resume", "x")[0] == "busy"
    assert knock(host, "resume", token)[0] == "welcome"
    assert knock(host, "join", host.door.code)[0] == "busy"


def test_who_comes_while_the_seat_is_kept_is_told_so(host: Hosted, clock: Clock) -> None:
    knock(host, "join", host.door.code)
    until(lambda: not host.door.place.present)
    clock.now += RESUME_FOR - 90.0
    kind, sentence = knock(host, "join", host.door.code)
    assert kind == "refused" and "at the latest in 2 min" in str(sentence)
    clock.now += 91.0
    assert knock(host, "join", host.door.code)[0] == "welcome"


def test_silence_at_the_door_ends(seat: FakeSeat, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(host_module, "FIRST_WORD", 0.2)
    host = hosted(seat)
    with raw(host) as silent:
        assert decode(silent.recv(10)) == ("refused", "No code came within 0.2 s.")
        with pytest.raises(ConnectionClosed):
            silent.recv(10)
    host.stop()


def test_only_a_trainees_seat_is_offered() -> None:
    with pytest.raises(ValueError, match="trainee's seat"):
        hosted(FakeSeat("trainer"))


@pytest.mark.parametrize("address", ["203.0.113.1", "no such host", "a..b"])
def test_an_address_that_is_not_ours(seat: FakeSeat, address: str) -> None:
    with pytest.raises(InputError, match="cannot be offered"):
        hosted(seat, address=address, port=8470)


def test_a_port_that_is_taken(host: Hosted, seat: FakeSeat) -> None:
    with pytest.raises(InputError, match="Give another address or port"):
        hosted(seat, port=host.port)


def test_nobody_there() -> None:
    with pytest.raises(InputError, match=r"seat at 127\.0\.0\.1, port 9: connection refused"):
        join("127.0.0.1", 9, "000-000-000")


@pytest.mark.parametrize(
    ("answer", "why"),
    [(b"HTTP/1.1 503 no\r\n\r\n", "not a trainer's terminal"), (b"", "not a trainer's terminal")],
)
def test_what_is_no_trainers_terminal(answer: bytes, why: str) -> None:
    with socket.create_server(("127.0.0.1", 0)) as door:

        def meet() -> None:
            connection, _ = door.accept()
            connection.recv(4096)
            connection.sendall(answer)
            connection.close()

        thread = threading.Thread(target=meet)
        thread.start()
        with pytest.raises(InputError, match=why):
            join("127.0.0.1", door.getsockname()[1], "000-000-000")
        thread.join()


# what passes


def test_frames_follow_the_ride(seat: FakeSeat, joined: RemoteLink) -> None:
    seat.give(time=99.0, isolated=("block_shut_off",))
    until(lambda: joined.frame.time == 99.0)
    assert joined.frame == seat.frame


def test_at_most_ten_frames_a_second_and_only_changes(host: Hosted, seat: FakeSeat) -> None:
    with raw(host) as connection:
        connection.send(encode("join", [VERSION, host.door.code, ""]))
        assert [decode(connection.recv(10))[0] for _ in range(3)] == ["welcome", "frame", "past"]
        for k in range(3):  # what is not seen changes: nothing is sent
            seat.give(pressures=tuple(float(k) for _ in seat.plant.nets))
            with pytest.raises(TimeoutError):
                connection.recv(0.15)
        start, frames = monotonic(), 0
        while monotonic() < start + 1.0:
            seat.give(time=monotonic())
            try:
                connection.recv(0.01)
                frames += 1
            except TimeoutError:
                pass
        assert 1 <= frames <= 10 * (monotonic() - start) + 1


def test_the_record_follows(seat: FakeSeat, joined: RemoteLink) -> None:
    events = [
        RunEvent(k * 0.1, "trim", Refused("close", "ride stopped", (f"step {k}",)))
        for k in range(900)
    ]
    seat.recorded(1000, *events)
    until(lambda: len(joined.past.times) == 1000 and len(joined.past.events) == 900)
    assert joined.past.events == seat.past.events
    assert np.array_equal(joined.past.values, seat.past.values, equal_nan=True)
    epoch = joined.past.epoch
    seat.recorded(10, epoch=1)
    until(lambda: joined.past.epoch != epoch)
    assert np.array_equal(joined.past.times, seat.past.times)


@pytest.mark.parametrize(
    "request_", [Do("close trim"), Hand("look", "trim_brake_1"), Shelve("trim", "a", 60.0)]
)
def test_requests_and_their_answers(seat: FakeSeat, joined: RemoteLink, request_: Any) -> None:
    number = joined.send(request_)
    answers: list[Any] = []
    until(lambda: answers.extend(joined.answers()) or answers)
    assert seat.sent == [request_]
    assert (answers[0].to, answers[0].done) == (number, True)
    assert answers[0].cautions == ("Lock out first.",)


@pytest.mark.parametrize("request_", [Undo(), Check("trim")])
def test_what_is_the_trainers_does_not_even_leave(
    seat: FakeSeat, joined: RemoteLink, request_: Any
) -> None:
    number = joined.send(request_)
    assert [(a.to, a.done) for a in joined.answers()] == [(number, False)]
    assert seat.sent == []


@pytest.mark.parametrize("request_", [Run(), Pause()])
def test_the_host_refuses_what_a_trainee_may_not(
    seat: FakeSeat, joined: RemoteLink, request_: Any
) -> None:
    number = joined.send(request_)
    answers: list[Any] = []
    until(lambda: answers.extend(joined.answers()) or answers)
    assert (answers[0].to, answers[0].done) == (number, False)
    assert "can change the time" in answers[0].text
    assert seat.sent == []


def test_a_trainee_that_keeps_time_may_run_the_ride() -> None:
    seat = FakeSeat(keeps_time=True)
    host = hosted(seat)
    link = join("127.0.0.1", host.port, host.door.code)
    assert link.keeps_time
    link.send(Run())
    until(lambda: seat.sent == [Run()])
    link.close()
    host.stop()


def test_the_end_of_the_ride_is_told(host: Hosted, joined: RemoteLink) -> None:
    host.stop()
    until(lambda: joined.trouble)
    assert joined.trouble == "The trainer has ended the ride."
    number = joined.send(Do("close trim"))
    assert [(a.to, a.done, a.text) for a in joined.answers()] == [(number, False, joined.trouble)]


def test_trouble_of_the_ride_is_told(seat: FakeSeat, joined: RemoteLink) -> None:
    seat.trouble = "trim_hose_2 leak: no step is short enough"
    until(lambda: joined.trouble)
    assert "leak" not in joined.trouble


def test_a_trainee_that_leaves_makes_room(host: Hosted) -> None:
    join("127.0.0.1", host.port, host.door.code).close()
    until(lambda: not host.door.place.present)
    until(
        lambda: "The trainee has left; the code for another one is " + host.door.code in said(host)
    )
    assert host.door.trainee == "not joined"
    join("127.0.0.1", host.port, host.door.code).close()


# what must not be heard


@pytest.mark.parametrize(
    "message",
    [
        "", "x", "[]", "{}", '["ask",[1,"undo",[]]]', '["ask",[1,"do",["close\\ntrim"]]]',
        '["join",[1,"000-000-000"]]', b"\x80\x04N.", '["ask",' + "[" * 1000,
    ],
)  # fmt: skip
def test_a_malformed_message_ends_the_connection_with_one_sentence(
    host: Hosted, seat: FakeSeat, message: str | bytes
) -> None:
    with raw(host) as connection:
        connection.send(encode("join", [VERSION, host.door.code, ""]))
        assert decode(connection.recv(10))[0] == "welcome"
        connection.send(message)
        last = ""
        with pytest.raises(ConnectionClosed):
            while True:
                last = str(connection.recv(10))
        kind, sentence = decode(last)
        assert kind == "refused" and str(sentence).endswith(".")
    until(lambda: not host.door.place.present)
    assert "sent an invalid message" in said(host)
    assert seat.sent == []


@pytest.mark.parametrize("known", [True, False])
def test_a_message_that_is_too_long_ends_the_connection(host: Hosted, known: bool) -> None:
    with raw(host) as connection:
        if known:
            connection.send(encode("join", [VERSION, host.door.code, ""]))
        connection.send("x" * (LARGEST_ASKED + 1))
        with pytest.raises(ConnectionClosed) as closed:
            while True:
                connection.recv(10)
        assert closed.value.rcvd is not None and closed.value.rcvd.code == 1009
    until(lambda: not host.door.place.present)


def test_requests_come_at_a_pace(host: Hosted, seat: FakeSeat) -> None:
    with raw(host) as connection:
        connection.send(encode("join", [VERSION, host.door.code, ""]))
        start = monotonic()
        for number in range(50):
            connection.send(encode("ask", [number, "do", ["close trim"]]))
        until(lambda: len(seat.sent) >= 10)
        assert monotonic() - start >= 9 * served_module.BREATH
        until(lambda: len(seat.sent) == 50)


def test_nothing_hidden_is_on_the_wire(
    host: Hosted, seat: FakeSeat, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every byte of a session, read as it passes: no fault, no value that is not seen."""
    plainly = partial(join_module.connect, compression=None)
    monkeypatch.setattr(join_module, "connect", plainly)
    wire = Wire(host.port)
    odd = 123456.789  # a value to search for
    seat.whole = whole_frame(
        seat.plant, odd, note="trim_hose_2 leak 7.77 mm",
        faults=(fault("trim_hose_2", "leak")._replace(sentence="trim_hose_2 leak 7.77 mm"),),
    )  # fmt: skip
    leak = FaultSpec("trim_hose_2", "leak", 0.00777, "mm")
    charged = Clue("pressure switch", "charged", True)
    seat.recorded(
        300,
        RunEvent(1.0, "trim_hose_2", FaultInjected(leak)),
        RunEvent(2.0, "trim_valve_a", SpoolArrived(0.4321)),
        RunEvent(3.0, "trim", AlarmRaised("vent time exceeded", True, (charged,))),
        RunEvent(3.5, "", Commanded(Power(False))),
    )
    link = join("127.0.0.1", wire.port, host.door.code)
    link.send(Do("close trim"))
    for step in range(5):
        seat.give(time=20.0 + step)
        until(lambda step=step: link.frame.time == 20.0 + step)
    until(lambda: len(link.past.times) == 300)
    assert [told(event.what) for event in link.past.events] == [
        "first out: vent time exceeded: pressure switch charged is ON"
    ]
    link.close()
    # what the trainee says is masked; it is what it hears that could tell something
    passed = b"".join(wire.passed)
    wire.close()
    assert b"vent time exceeded" in passed and b"trim_shut_off" in passed, "the wire can be read"
    for word in (b"leak", b"7.77", b"123456", b"0.4321", b"Power", b"sand_martin", b"noon"):
        assert word not in passed, word


# cuts


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(join_module, "DELAYS", (0.05,))


def test_a_trainee_comes_back_after_a_cut(host: Hosted, seat: FakeSeat, quick: None) -> None:
    wire = Wire(host.port)
    seat.recorded(50, RunEvent(1.0, "trim", StateEntered("open", "closing")))
    link = join("127.0.0.1", wire.port, host.door.code)
    until(lambda: len(link.past.times) == 50)
    epoch = link.past.epoch
    wire.cut()
    until(lambda: link.trouble)
    assert link.trouble == join_module.CUT
    until(lambda: not host.door.place.present)
    assert "may come back" in said(host) and host.door.trainee == "cut off"
    number = link.send(Do("close trim"))
    assert [(a.to, a.done) for a in link.answers()] == [(number, False)]
    seat.recorded(60, RunEvent(1.0, "trim", StateEntered("open", "closing")))
    seat.give(time=50.0)
    wire.mend()
    until(lambda: not link.trouble and link.frame.time == 50.0)
    until(lambda: len(link.past.times) == 60)
    assert link.past.epoch != epoch, "it is read anew"
    assert len(link.past.events) == 1
    assert "is back" in said(host)
    number = link.send(Do("open trim"))
    answers: list[Any] = []
    until(lambda: answers.extend(link.answers()) or answers)
    assert (answers[0].to, answers[0].done) == (number, True)
    assert seat.sent == [Do("open trim")]
    link.close()
    wire.close()


def test_a_request_under_way_at_a_cut_is_answered(
    seat: FakeSeat, host: Hosted, quick: None
) -> None:
    wire = Wire(host.port)
    link = join("127.0.0.1", wire.port, host.door.code)
    seat.answers = list  # type: ignore[method-assign]
    number = link.send(Do("close trim"))
    until(lambda: seat.sent)
    wire.cut()
    until(lambda: link.trouble)
    (answer,) = link.answers()
    assert (answer.to, answer.done) == (number, False) and "cut" in answer.text
    link.close()
    wire.close()


def test_a_seat_is_free_again_when_nobody_comes_back(
    host: Hosted, clock: Clock, quick: None
) -> None:
    wire = Wire(host.port)
    link = join("127.0.0.1", wire.port, host.door.code)
    wire.cut()
    until(lambda: not host.door.place.present)
    clock.now += RESUME_FOR + 1.0
    until(lambda: "has not come back" in said(host))
    wire.mend()
    until(lambda: "ask the trainer for a new code" in link.trouble)
    join("127.0.0.1", host.port, host.door.code).close()
    link.close()
    wire.close()


def test_a_newer_connection_takes_the_place_of_an_old_one(host: Hosted, seat: FakeSeat) -> None:
    with raw(host) as old:
        old.send(encode("join", [VERSION, host.door.code, ""]))
        token = decode(old.recv(10))[1][0]
        with raw(host) as new:
            new.send(encode("resume", [VERSION, token]))
            assert decode(new.recv(10)) == ("welcome", [token, False, "", "", None])
            with pytest.raises(ConnectionClosed):
                while True:
                    old.recv(10)
            assert host.door.place.present
            new.send(encode("ask", [5, "do", ["close trim"]]))
            until(lambda: seat.sent == [Do("close trim")])


# what a seat that joins loads


def test_joining_needs_no_simulator() -> None:
    probe = (
        "import pneumo.seats.join, sys\n"
        "print(*(m for m in sys.modules if m.startswith(('pneumo.simulation', "
        "'pneumo.network.compile', 'pneumo.scenario.play', 'numba', 'llvmlite', 'textual'))))"
    )
    done = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, check=True,
        cwd=Path(__file__).parents[2],
    )  # fmt: skip
    assert done.stdout.strip() == ""
