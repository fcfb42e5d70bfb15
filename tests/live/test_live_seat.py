"""Tests of what the trainee's seat may see and say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from live_frames import fault, plant_of, whole_frame, whole_past

from pneumo.circuit.action import Action, Command, Power, Repair, Turn
from pneumo.live.frame import Frame, ZoneFrame
from pneumo.live.seat import (
    UNSEEN,
    SeenPast,
    allowed,
    seen,
    seen_events,
)
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

_SAYS = {
    "trainee": ("open trim", "close all", "ride stop", "acknowledge trim", "reset all",
                "isolate trim_shut_off", "restore trim_shut_off", "drain receiver open",
                "override trim_valve_a.14", "release trim_valve_a.14", "force trim_charged on",
                "unforce all", "switch off compressor_1", "  close   trim", "replace trim_hose_2",
                "reconnect trim_valve_a.14", "block trim_brake_1", "unblock trim",
                "swap trim_valve_a.14 trim_valve_b.14"),
    "trainer": ("fault trim_hose_2 leak 2 mm", "clear trim_hose_2 leak", "power off",
                "fin trim absent", "", " ", "Close trim", "close\0 trim", "faultclose trim"),
}  # fmt: skip


@pytest.mark.parametrize("sentence", _SAYS["trainee"])
def test_what_both_may_say(sentence: str) -> None:
    assert allowed(sentence, "trainee") and allowed(sentence, "trainer")


@pytest.mark.parametrize("sentence", _SAYS["trainer"])
def test_what_the_trainer_alone_may_say(sentence: str) -> None:
    assert not allowed(sentence, "trainee")
    assert allowed(sentence, "trainer")
