"""Tests of tui.widgets.event_log: rows, filter, cost of what is new."""

from __future__ import annotations

import numpy as np

from pneumo.circuit.action import Command
from pneumo.live.link import Past
from pneumo.scenario.event import Commanded, ContactRead, FaultCleared, RunEvent, SpoolArrived
from pneumo.zone.event import AlarmRaised, RideStopReset, StateEntered
from pneumo.zone.evidence import Clue
from tui.widgets.event_log import EventLog, EventRow


def past_of(events: list[RunEvent], epoch: int = 0) -> Past:
    return Past(epoch, np.zeros(0), np.zeros((0, 0), dtype=np.float32), events)


def contact(time: float, name: str, on: bool = True) -> RunEvent:
    return RunEvent(time, name, ContactRead(on))


def test_contacts_of_one_scan_that_say_the_same_share_a_row():
    log = EventLog()
    log.take(past_of([
        contact(1.0, "trim_open_2"), contact(1.0, "trim_open_10"), contact(1.0, "trim_open_1"),
        contact(1.0, "trim_charged"), contact(1.02, "trim_open_3"),
        RunEvent(1.02, "trim", StateEntered("closing", "closed")),
        RunEvent(1.02, "", RideStopReset()),
    ]))  # fmt: skip
    assert [row.where for row in log.shown] == [
        "trim_open_1, trim_open_2, trim_open_10", "trim_charged", "trim_open_3", "trim", "ride",
    ]  # fmt: skip


def test_events_that_are_not_contacts_keep_a_row_each():
    log = EventLog()
    log.take(past_of([RunEvent(1.0, "hose_1", FaultCleared("leak")),
                      RunEvent(1.0, "hose_2", FaultCleared("leak"))]))  # fmt: skip
    assert len(log.shown) == 2


def test_taken_in_pieces_it_is_the_same_as_taken_at_once():
    events = [contact(0.1 * (i // 5), f"s_{i % 5}", bool(i % 3))
              for i in range(200)]  # fmt: skip
    whole = EventLog()
    whole.choose("contacts", "OFF")
    whole.take(past_of(events))
    pieces = EventLog()
    pieces.choose("contacts", "OFF")
    growing: list[RunEvent] = []
    for event in events:
        growing.append(event)
        pieces.take(past_of(growing))
    assert pieces.shown == whole.shown
    assert pieces.total == whole.total
    assert 0 < len(whole.shown) < whole.total


LOW = Clue("supply switch", "s", False)


def test_a_filter_can_be_set_widened_and_taken_away():
    log = EventLog()
    log.take(past_of([
        RunEvent(1.0, "trim", AlarmRaised("low supply", False, (LOW,))),
        contact(2.0, "trim_charged"),
        RunEvent(3.0, "block", Commanded(Command("block", "close"))),
        RunEvent(4.0, "v", SpoolArrived(1.0)),
    ]))  # fmt: skip
    log.choose("alarms", "")
    assert [row.what for row in log.shown] == ["low supply: supply switch s is OFF"]
    log.choose("all", "TRIM charged")
    assert [row.where for row in log.shown] == ["trim_charged"]
    log.choose("acts", "")
    assert [row.where for row in log.shown] == ["block"]
    log.choose("all", "")
    assert len(log.shown) == log.total == 4


def test_another_epoch_starts_anew():
    log = EventLog()
    log.take(past_of([contact(1.0, "a"), contact(2.0, "b")]))
    assert not log.take(past_of([contact(1.0, "a"), contact(2.0, "b")]))
    assert log.take(past_of([contact(1.0, "c"), contact(2.0, "d")], epoch=1))
    assert [row.where for row in log.shown] == ["c", "d"]


def test_a_row_is_found_by_its_time():
    log = EventLog()
    log.take(past_of([contact(t, "a") for t in (1.0, 2.0, 3.0)]))
    assert [log.until(t) for t in (0.5, 1.0, 2.5, 9.0)] == [0, 1, 2, 3]
    assert log.shown[0] == EventRow(1.0, "contact", "a", "ON")


def test_what_is_new_costs_no_more_in_a_long_run(monkeypatch):
    events = [contact(0.01 * i, f"s_{i}") for i in range(10_000)]
    log = EventLog()
    log.take(past_of(events))
    sifted = []
    sift = log._sift
    monkeypatch.setattr(log, "_sift", lambda first: sifted.append(log.total - first) or sift(first))
    for i in range(100):
        events.append(contact(200.0 + i, "late"))
        log.take(past_of(events))
    assert log.total == 10_100
    assert len(sifted) == 100 and max(sifted) <= 2


def test_switches_alike_are_drawn_together_in_an_alarm():
    log = EventLog()
    said = tuple(Clue("open switch", f"trim_brake_{n}", False) for n in (1, 2, 3))
    log.take(past_of([RunEvent(1.0, "trim", AlarmRaised("open time exceeded", True, said))]))
    (row,) = log.shown
    assert row.what == "first out: open time exceeded: 'open' switch of trim_brake_1…3 is OFF"
