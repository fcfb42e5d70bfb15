"""A real ride with a hidden fault, joined over a wire that is read byte by byte."""

from __future__ import annotations

from functools import partial

import pytest
from seats_bench import Wire, hosted, until

from pneumo.circuit.document import read_file
from pneumo.circuit.shipped import find_document
from pneumo.circuit.validate import load_text
from pneumo.live.driver import Driver
from pneumo.live.request import Do, Hand, Run, Speed
from pneumo.live.session import Session
from pneumo.scenario.telling import told
from pneumo.seats import join as join_module
from pneumo.seats.join import join

NAME = "02_spring_close_single"


def test_a_ride_with_a_hidden_fault_gives_nothing_away(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(join_module, "connect", partial(join_module.connect, compression=None))
    document = read_file(find_document(NAME))
    driver = Driver(Session(load_text(document, NAME), document))
    trainer = driver.seat("trainer")
    host = hosted(driver.seat("trainee"), document=document)
    driver.start()
    wire = Wire(host.port)
    link = join("127.0.0.1", wire.port, host.door.code)
    try:
        trainer.send(Speed(20.0))
        trainer.send(Do("fault valve stuck-actuated", hidden=True))
        trainer.send(Do("in 2 s: fault closed_1 stuck-on", hidden=True))
        trainer.send(Do("open block", hidden=True))
        trainer.send(Run())
        until(lambda: trainer.frame.faults and trainer.frame.time > 3.0)
        number = link.send(Do("close block"))
        until(lambda: any(answer.to == number for answer in link.answers()))
        until(lambda: link.frame.zones[0].state == "faulted")
        asked = link.send(Hand("look", driver.session.plant.brakes[0]))
        found = []
        until(lambda: found.extend(a for a in link.answers() if a.to == asked) or found)
        assert found[0].done
        until(lambda: len(link.past.times) > 20)
        heard = {told(event.what) for event in link.past.events}
        assert "close block" in heard and "open block" not in heard
        assert len(trainer.frame.faults) == 2 and link.frame.faults == ()
        assert {event.kind for event in trainer.past.events} >= {"fault"}
    finally:
        link.close()
        host.stop()
        driver.stop()
        wire.close()
    heard = b"".join(wire.passed)
    assert b"close block" in heard and b"faulted" in heard
    for word in (b"stuck", b"actuated", b"open block", NAME.encode(), b"scenarios"):
        assert word not in heard, word
