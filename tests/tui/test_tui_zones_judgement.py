"""Tests of tui.judgement: when a zone counts as not safe, for each seat, and what is said."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tui_toys import FakeLink, plant_of, resting_frame, trainee_frame

from pneumo.circuit.action import Power
from pneumo.live.plant import plant_of as made_plant
from pneumo.scenario.event import Commanded, RunEvent
from pneumo.zone.event import RideStopped, RideStopReset, StateEntered
from tui.judgement import (
    LAG,
    Jaws,
    _numbers,
    asked,
    brakes_of,
    first_in_trouble,
    in_safe_state,
    jaw_switches,
    places,
    seen_at,
    trouble,
)

PLANT = plant_of("sand_martin")
TRIM, BLOCK = PLANT.zones.index("trim"), PLANT.zones.index("block")


def with_zone(frame, index, **changes):
    zones = list(frame.zones)
    zones[index] = zones[index]._replace(**changes)
    return frame._replace(zones=tuple(zones))


def with_brakes(frame, zone, gaps, forces):
    all_gaps, all_forces = list(frame.gaps), list(frame.forces)
    for i, gap, force in zip(brakes_of(PLANT, zone), gaps, forces, strict=True):
        all_gaps[i], all_forces[i] = gap, force
    return frame._replace(gaps=tuple(all_gaps), forces=tuple(all_forces))


def with_contacts(frame, **says):
    names = [contact.name for contact in PLANT.inputs]
    inputs = list(frame.inputs)
    for name, made in says.items():
        inputs[names.index(name)] = made
    return frame._replace(inputs=tuple(inputs))


def clamped_trim(frame, count):
    """So many of trim's four brakes closed; three have to be open."""
    gaps = [0.0] * count + [0.00325] * (4 - count)
    forces = [8900.0] * count + [0.0] * (4 - count)
    frame = with_brakes(frame, TRIM, gaps, forces)
    return with_zone(frame, TRIM, in_safe_state=count < 2, brake="trim_brake_1")


@pytest.mark.parametrize("frame", [resting_frame(PLANT), trainee_frame(PLANT)])
def test_nothing_is_wrong_with_a_ride_at_rest(frame):
    assert [trouble(PLANT, frame, i) for i in range(len(PLANT.zones))] == [None] * 6


def test_a_zone_that_nothing_asked_may_be_anywhere():
    frame = clamped_trim(resting_frame(PLANT), 4)
    assert asked(frame, TRIM) == ""
    assert trouble(PLANT, frame, TRIM) is None


@pytest.mark.parametrize(
    ("zone", "ride", "why"),
    [
        ({"state": "faulted", "first_out": "vent time exceeded"}, {},
         "vent time exceeded"),
        ({"state": "faulted"}, {}, "faulted"),
        ({"state": "closed"}, {"power": False}, "no power"),
        ({"state": "venting"}, {"stopped_by": "command"}, "ride stop (command)"),
    ],
)  # fmt: skip
def test_what_asks_for_the_safe_state(zone, ride, why):
    frame = with_zone(clamped_trim(resting_frame(PLANT), 4), TRIM, since=1.0, **zone)
    said = trouble(PLANT, frame._replace(**ride), TRIM)
    assert said == f"{why}: jaws 1…4 still closed"


def test_a_zone_with_enough_brakes_in_place_is_no_trouble():
    frame = with_zone(clamped_trim(resting_frame(PLANT), 1), TRIM, state="faulted")
    assert trouble(PLANT, frame, TRIM) is None


def test_without_a_record_the_time_runs_from_the_state():
    frame = with_zone(clamped_trim(resting_frame(PLANT), 4), TRIM, state="venting", since=9.0)
    for asks in ({"stopped_by": "command"}, {"power": False}):
        assert trouble(PLANT, frame._replace(time=10.4, **asks), TRIM) is None
        assert trouble(PLANT, frame._replace(time=10.6, **asks), TRIM) is not None


def power(time, on):
    return RunEvent(time, "", Commanded(Power(on)))


def faulted(time, left):
    return RunEvent(time, "trim", StateEntered(left, "faulted"))


OFF, STOP = power(9.0, False), RunEvent(9.0, "", RideStopped("command"))
FAULT = faulted(9.0, "closed")


@pytest.mark.parametrize("first", [OFF, STOP, FAULT])
def test_a_zone_has_the_time_of_its_requirement_from_what_asked_first(first):
    asks = {OFF: {"power": False}, STOP: {"stopped_by": "command"}}.get(first, {})
    late_fault = {"state": "faulted", "since": 9.9}
    frame = clamped_trim(resting_frame(PLANT), 4)
    events = [power(1.0, False), power(2.0, True), first, faulted(9.9, "venting")]
    if first is FAULT:
        del events[-1]
    within = PLANT.circuit.zones["trim"].requirement.within
    for time, late in ((9.0, False), (9.9, False), (9.0 + within, False), (9.01 + within, True)):
        is_faulted = time >= 9.9 or not asks
        state = late_fault if is_faulted else {"state": "venting", "since": 9.0}
        now = with_zone(frame, TRIM, **state)._replace(time=time, **asks)
        assert (trouble(PLANT, now, TRIM, events) is not None) == late, time


def test_what_was_taken_back_gives_the_time_anew():
    frame = with_zone(clamped_trim(resting_frame(PLANT), 4), TRIM, state="venting", since=9.9)
    frame = frame._replace(stopped_by="command", power=True, time=10.3)
    old, reset = replace(STOP, time=2.0), RunEvent(9.5, "", RideStopReset())
    again = replace(STOP, time=9.9)
    assert trouble(PLANT, frame, TRIM, [old]) is not None
    assert trouble(PLANT, frame, TRIM, [old, reset, again]) is None
    cut = [old, power(9.6, False), power(9.8, True)]
    assert trouble(PLANT, frame, TRIM, cut) is not None, "the stop stood all the time"


def test_gone_back_what_came_later_does_not_count():
    frame = with_zone(clamped_trim(resting_frame(PLANT), 4), TRIM, state="faulted", since=2.0)
    events = [faulted(2.0, "closed"), replace(STOP, time=20.0)]
    assert trouble(PLANT, frame._replace(time=3.0, newest=21.0), TRIM, events) is None
    assert trouble(PLANT, frame._replace(time=9.0, newest=21.0), TRIM, events) is not None


def test_the_record_of_a_trainee_may_come_a_moment_after_the_frame():
    frame = with_zone(trainee_frame(PLANT), TRIM, state="venting", since=10.0)
    frame = with_contacts(frame, trim_open_2=False, trim_open_3=False)
    stopped = frame._replace(stopped_by="command")
    assert trouble(PLANT, stopped._replace(time=10.0 + LAG / 2), TRIM, []) is None
    assert trouble(PLANT, stopped._replace(time=10.0 + 2 * LAG), TRIM, []) is not None


def test_a_lining_that_is_not_clear_enough_is_measured():
    frame = with_brakes(resting_frame(PLANT), TRIM, [0.0008, 0.0012, 0.003, 0.003], [0.0] * 4)
    frame = with_zone(frame, TRIM, state="faulted", in_safe_state=False)
    said = trouble(PLANT, frame, TRIM)
    assert said == "faulted: jaws 1, 2 only 0.8 mm clear"


def test_a_brake_that_clamps_too_weakly_is_measured():
    gaps, forces = [0.0] * 6, [8900.0, 5000.0, 3200.0, 8900.0, 8900.0, 8900.0]
    frame = with_brakes(resting_frame(PLANT), BLOCK, gaps, forces)
    frame = with_zone(frame, BLOCK, in_safe_state=False)._replace(power=False)
    said = trouble(PLANT, frame, BLOCK)
    assert said == "no power: jaws 2, 3 clamp with 3.20 of 6.00 kN"


def test_open_jaws_are_named_before_weak_ones():
    gaps, forces = [0.002] + [0.0] * 5, [0.0, 5000.0] + [8900.0] * 4
    frame = with_brakes(resting_frame(PLANT), BLOCK, gaps, forces)
    frame = with_zone(frame, BLOCK, in_safe_state=False)._replace(power=False)
    assert trouble(PLANT, frame, BLOCK) == "no power: jaws 1 still open"


def test_the_judgement_of_the_physics_counts_more_than_thresholds_of_the_screen():
    frame = with_zone(resting_frame(PLANT), BLOCK, in_safe_state=False, state="faulted")
    said = trouble(PLANT, frame, BLOCK)
    assert said == "faulted: jaws 1 not in the safe state"


def test_a_trainee_goes_by_the_switches():
    frame = with_zone(trainee_frame(PLANT), TRIM, state="faulted", first_out="open time exceeded")
    assert in_safe_state(PLANT, frame, TRIM) is True
    one = with_contacts(frame, trim_open_2=False)
    assert in_safe_state(PLANT, one, TRIM) is True, "three of four are enough"
    two = with_contacts(one, trim_open_3=False)
    assert in_safe_state(PLANT, two, TRIM) is False
    said = trouble(PLANT, two, TRIM)
    assert said == "open time exceeded: jaws 2, 3 not seen open"


def test_a_trainee_without_switches_is_told_nothing():
    plant = plant_of("sand_martin")
    bare = FakeLink(plant, "trainee").frame
    stripped = type(plant)(**{**plant.__dict__, "inputs": ()})
    frame = with_zone(bare._replace(inputs=(), forced_inputs=()), TRIM, state="faulted")
    assert in_safe_state(stripped, frame, TRIM) is None
    assert trouble(stripped, frame, TRIM) is None


@pytest.mark.parametrize(
    ("jaws", "side", "seen"),
    [
        (Jaws(closed=True, open=False), "closed", True),
        (Jaws(closed=True, open=True), "closed", False),
        (Jaws(closed=False, open=False), "open", False),
        (Jaws(closed=None, open=True), "closed", False),
        (Jaws(closed=None, open=False), "closed", None),
        (Jaws(closed=None, open=None), "open", None),
    ],
)
def test_what_two_switches_say(jaws, side, seen):
    assert seen_at(jaws, side) is seen


def test_switches_and_brakes_are_found_zone_by_zone():
    frame = with_contacts(resting_frame(PLANT), block_open_3=True)
    jaws = jaw_switches(PLANT, frame, BLOCK)
    assert jaws[2] == Jaws(closed=True, open=True)
    assert jaws[0] == Jaws(closed=True, open=False)
    assert [PLANT.brakes[i] for i in brakes_of(PLANT, BLOCK)] == [
        f"block_brake_{n}" for n in range(1, 7)
    ]


def test_brakes_are_told_apart_by_the_numbers_of_their_names_else_by_their_place():
    assert places(PLANT, BLOCK).numbers == ("1", "2", "3", "4", "5", "6")
    assert _numbers(("left", "right_7")) == ("1", "2")
    assert _numbers(("jaw_7", "jaw_9")) == ("7", "9")


def test_a_zone_of_one_brake_has_no_numbers():
    zone = PLANT.circuit.zones["trim"]
    one = zone.model_copy(update={"brakes": zone.brakes[:1], "brakes_needed": 1})
    zones = {"trim": one}
    plant = replace(PLANT, circuit=replace(PLANT.circuit, zones=zones), zones=("trim",),
                    brakes=one.brakes)  # fmt: skip
    frame = with_brakes_first(resting_frame(PLANT))
    frame = with_zone(frame, 0, in_safe_state=False, state="faulted", first_out="low supply")
    assert trouble(plant, frame, 0) == "low supply: jaws still closed"


def with_brakes_first(frame):
    return frame._replace(gaps=(0.0, *frame.gaps[1:]), forces=(8900.0, *frame.forces[1:]))


def test_each_plant_has_its_own_places():
    twin = made_plant(PLANT.circuit)
    assert twin is not PLANT and places(twin, TRIM) == places(PLANT, TRIM)
    single = plant_of("01_spring_open_single")
    assert places(single, 0).zone.brakes != places(PLANT, 0).zone.brakes


def test_a_view_opens_with_the_first_zone_that_is_not_safe_else_faulted():
    frame = resting_frame(PLANT)
    assert first_in_trouble(PLANT, frame) is None
    faulted = with_zone(frame, BLOCK, state="faulted")
    assert first_in_trouble(PLANT, faulted) == BLOCK
    unsafe = with_zone(faulted, 4, state="faulted", in_safe_state=False)
    assert first_in_trouble(PLANT, unsafe) == 4
