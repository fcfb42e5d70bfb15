"""Tests of what the trainee's seat may see and do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from live_frames import fault, plant_of, whole_frame, whole_past

from pneumo.circuit.action import Action, Command, Power, Repair, Turn
from pneumo.live.driver import Driver
from pneumo.live.frame import Frame, ZoneFrame
from pneumo.live.request import Do, Seat
from pneumo.live.seat import UNSEEN, SeenPast, seen, seen_events
from pneumo.live.session import Session
from pneumo.scenario.event import (
    EVENT_KINDS,
    Commanded,
    EventKind,
    FaultCleared,
    RunEvent,
    Unlisted,
)

PLANT = plant_of()

EVERY_FAULT = [
    (name, mode.name)
    for name, component in PLANT.circuit.components.items()
    for mode in component.fault_modes()
]


# frames


def test_every_field_of_a_frame_is_either_seen_or_not() -> None:
    """A field that is added to a frame has to be decided on, here and in `seen`."""
    kept = {
        "number", "time", "newest", "mode", "running", "speed", "pace", "stopped_by", "readings",
        "supplying", "inputs", "forced_inputs", "outputs", "forced_outputs", "isolated", "drained",
        "blocked", "swapped",
        "overridden", "switched_off", "absent_fins", "alarms",
    }  # fmt: skip
    reduced = {"note", "check", "power", "zones", "trapped", "faults", *UNSEEN}
    assert set(Frame._fields) == kept | reduced
    whole = whole_frame(PLANT)
    small = seen(whole, PLANT)
    assert {name for name in kept if getattr(small, name) != getattr(whole, name)} == set()


def test_every_field_of_a_zone_is_either_seen_or_not() -> None:
    kept = {"state", "since", "first_out", "charge", "waits", "confirmed"}
    reduced = {"pressure", "gap", "force", "brake", "judged"}
    assert set(ZoneFrame._fields) == kept | reduced
    for zone in seen(whole_frame(PLANT), PLANT).zones:
        assert (zone.pressure, zone.gap, zone.force) == (None,) * 3
        assert zone.judged == zone.confirmed
        assert zone.brake == "" and zone.state == "closed" and zone.waits


def test_what_no_instrument_shows_is_none_and_keeps_its_place() -> None:
    whole = whole_frame(PLANT)
    small = seen(whole, PLANT)
    for name in UNSEEN:
        assert getattr(small, name) == (None,) * len(getattr(whole, name)), name
    assert small.power is None and small.trapped == ()


def test_a_frame_is_reduced_once_and_for_all() -> None:
    small = seen(whole_frame(PLANT, faults=(fault("trim_hose_2", "leak", hidden=False),)), PLANT)
    assert seen(small, PLANT) == small


@given(
    st.floats(-1e6, 1e6, allow_nan=False), st.floats(-1e6, 1e6, allow_nan=False),
    st.lists(st.sampled_from(EVERY_FAULT), max_size=4),
)  # fmt: skip
def test_frames_that_differ_in_what_is_not_seen_are_the_same_to_a_trainee(
    one: float, other: float, injected: list[tuple[str, str]]
) -> None:
    hidden = tuple(fault(*where) for where in injected)
    assert seen(whole_frame(PLANT, one, faults=hidden), PLANT) == seen(
        whole_frame(PLANT, other), PLANT
    )


def test_no_hidden_fault_is_named() -> None:
    healthy = repr(seen(whole_frame(PLANT), PLANT))
    for component, mode in EVERY_FAULT:
        note = f"The ride stands still: {component} {mode}."
        whole = whole_frame(PLANT, faults=(fault(component, mode),), note=note)
        assert mode in repr(whole)
        assert repr(seen(whole, PLANT)) == healthy, (component, mode)


def test_a_fault_that_is_shown_is_a_demonstration() -> None:
    shown, hidden = fault("trim_hose_2", "leak", hidden=False), fault("trim_check", "burst")
    assert seen(whole_frame(PLANT, faults=(hidden, shown)), PLANT).faults == (shown,)


@pytest.mark.parametrize("mode", ["live", "earlier", "check"])
def test_the_note_tells_no_more_than_the_mode(mode: str) -> None:
    notes = {
        seen(whole_frame(PLANT, note=note, mode=mode), PLANT).note
        for note in ("", "Check of trim: loss of air", "trim_hose_2 leak 2 mm")
    }
    assert len(notes) == 1


# events


def event(kind: EventKind) -> RunEvent:
    return RunEvent(1.0, "trim", Unlisted(kind, 3))


def done(time: float, action: Action) -> RunEvent:
    return RunEvent(time, "trim", Commanded(action))


def test_kinds_of_events() -> None:
    unseen: tuple[EventKind, ...] = ("valve", "compressor", "fault")
    assert seen_events([event(kind) for kind in unseen]) == []
    every = [event(kind) for kind in EVENT_KINDS if kind not in unseen]
    assert seen_events(every) == every


def test_hidden_acts_are_no_events() -> None:
    isolated = Turn("trim_shut_off", False)
    acts = [done(1.0, isolated), done(2.0, Command("trim", "close")), done(3.0, isolated)]
    assert seen_events(acts, {(1.0, isolated)}) == acts[1:]


def test_a_repair_is_seen_and_not_whether_it_ended_anything() -> None:
    repaired = done(1.0, Repair("replace", "trim_hose_2"))
    ended = RunEvent(1.0, "trim_hose_2", FaultCleared("leak"))
    assert seen_events([repaired, ended]) == seen_events([repaired]) == [repaired]


def test_the_power_is_not_seen() -> None:
    assert seen_events([done(1.0, Power(False)), done(1.0, Power(True))]) == []


# the record


def test_only_channels_with_an_instrument_are_recorded() -> None:
    past = whole_past(PLANT, 20, event("fault"), event("state"))
    small = SeenPast(PLANT)(past)
    assert np.array_equal(small.times, past.times)
    instrument = [channel.instrument for channel in PLANT.channels]
    assert True in instrument and False in instrument
    for column, shown in enumerate(instrument):
        if shown:
            assert np.array_equal(small.values[:, column], past.values[:, column])
        else:
            assert np.isnan(small.values[:, column]).all()
    assert small.events == [event("state")]
    assert not np.isnan(past.values).any(), "the whole record is left as it was"


@given(st.lists(st.tuples(st.integers(0, 40), st.booleans()), max_size=12))
def test_a_record_read_in_pieces_is_the_whole_record(steps: list[tuple[int, bool]]) -> None:
    keeper, epoch, rows = SeenPast(PLANT), 0, 0
    handed = []
    for more, anew in steps:
        epoch, rows = (epoch + 1, more) if anew else (epoch, rows + more)
        events = [replace(event("state"), time=k * 0.1) for k in range(rows)]
        events.append(event("fault"))
        past = whole_past(PLANT, rows, *events, epoch=epoch)
        past = past._replace(values=past.values + epoch)
        small = keeper(past)
        assert small.epoch == epoch
        assert np.array_equal(small.times, past.times)
        expected = SeenPast(PLANT)(past).values
        assert np.array_equal(small.values[-1:], expected[-1:], equal_nan=True)
        handed.append((small.values, small.values.copy()))
    for values, before in handed:
        assert np.array_equal(values, before, equal_nan=True), "what was handed out stays"


# sentences

_BOTH = (
    "open trim", "close all", "ride stop", "acknowledge trim", "reset all", "isolate main",
    "restore main", "override valve.14", "release valve.14", "force charged on", "unforce all",
    "switch off supply", "  close   trim", "block brake_1", "unblock trim", "in 5 s: close trim",
)  # fmt: skip
_TRAINER = (
    "fault hose_2 leak 2 mm", "power off", "fin trim absent",
    "in 5 s: fault hose_2 leak 2 mm", "  in 0 s:   power off", "in 1 min: fin trim absent",
)  # fmt: skip
_NOBODY = (
    "", " ", "Close trim", "close\0 trim", "faultclose trim", "IN 5 s: power off", "POWER off",
    "in 5 s: in 5 s: power off", "close trim; power off", "close trim: power off",
    "close trim\npower off", "in\t5 s: power off", "in 5 s:", "in 5 s power off", ": power off",
    "close in 5 s: power off", "unforce all power off", "open fault", "ride stop power off",
)  # fmt: skip
SMALL = plant_of("01_spring_open_single").circuit


def done_by(sentence: str, seat: Seat) -> list[str]:
    """What a seat has done to the ride by saying something; [] = it was refused."""
    ride = Session(SMALL, "")
    driver = Driver(ride)
    link = driver.seat(seat)
    driver.hand_over(link, Do(sentence))
    driver._obey()
    assert [answer.done for answer in link.answers()] == [bool(ride.acts.journal)]
    return [act.sentence for act in ride.acts.journal]


@pytest.mark.parametrize("sentence", _BOTH)
def test_what_both_may_do_however_it_is_said(sentence: str) -> None:
    assert done_by(sentence, "trainee") == done_by(sentence, "trainer") != []


@pytest.mark.parametrize("sentence", _TRAINER)
def test_what_the_trainer_alone_may_do_however_it_is_said(sentence: str) -> None:
    assert done_by(sentence, "trainee") == []
    assert len(done_by(sentence, "trainer")) == 1


@pytest.mark.parametrize("sentence", _NOBODY)
def test_what_is_no_sentence_does_nothing_from_either_seat(sentence: str) -> None:
    assert done_by(sentence, "trainee") == done_by(sentence, "trainer") == []
