"""Tests of tui.judgement: when a zone counts as not safe, for each seat, and what is said."""

from __future__ import annotations

import pytest
from tui_toys import FakeLink, plant_of, resting_frame, trainee_frame

from tui.judgement import (
    Jaws,
    asked,
    brakes_of,
    in_safe_state,
    jaw_switches,
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
         "faulted: vent time exceeded"),
        ({"state": "closed"}, {"power": False}, "no power"),
        ({"state": "venting"}, {"stopped_by": "command"}, "ride stop: command"),
    ],
)  # fmt: skip
def test_what_asks_for_the_safe_state(zone, ride, why):
    frame = with_zone(clamped_trim(resting_frame(PLANT), 4), TRIM, since=1.0, **zone)
    said = trouble(PLANT, frame._replace(**ride), TRIM)
    assert said == f"jaws of trim_brake_1…4 still closed; {why}"


def test_a_zone_with_enough_brakes_in_place_is_no_trouble():
    frame = with_zone(clamped_trim(resting_frame(PLANT), 1), TRIM, state="faulted")
    assert trouble(PLANT, frame, TRIM) is None


def test_a_zone_that_obeys_a_ride_stop_has_the_time_of_its_requirement():
    frame = with_zone(clamped_trim(resting_frame(PLANT), 4), TRIM, state="venting", since=9.0)
    stopped = frame._replace(stopped_by="command", time=10.4)
    assert trouble(PLANT, stopped, TRIM) is None
    assert trouble(PLANT, stopped._replace(time=10.6), TRIM) is not None
    assert trouble(PLANT, stopped._replace(power=False), TRIM) is not None
    assert trouble(PLANT, with_zone(stopped, TRIM, state="faulted"), TRIM) is not None


def test_a_lining_that_is_not_clear_enough_is_measured():
    frame = with_brakes(resting_frame(PLANT), TRIM, [0.0008, 0.0012, 0.003, 0.003], [0.0] * 4)
    frame = with_zone(frame, TRIM, state="faulted", in_safe_state=False)
    said = trouble(PLANT, frame, TRIM)
    assert said == "jaws of trim_brake_1, 2 only 0.8 mm clear; faulted"


def test_a_brake_that_clamps_too_weakly_is_measured():
    gaps, forces = [0.0] * 6, [8900.0, 5000.0, 3200.0, 8900.0, 8900.0, 8900.0]
    frame = with_brakes(resting_frame(PLANT), BLOCK, gaps, forces)
    frame = with_zone(frame, BLOCK, in_safe_state=False)._replace(power=False)
    said = trouble(PLANT, frame, BLOCK)
    assert said == "jaws of block_brake_2, 3 clamp with 3.20 of 6.00 kN; no power"


def test_open_jaws_are_named_before_weak_ones():
    gaps, forces = [0.002] + [0.0] * 5, [0.0, 5000.0] + [8900.0] * 4
    frame = with_brakes(resting_frame(PLANT), BLOCK, gaps, forces)
    frame = with_zone(frame, BLOCK, in_safe_state=False)._replace(power=False)
    assert trouble(PLANT, frame, BLOCK) == "jaws of block_brake_1 still open; no power"


def test_the_judgement_of_the_physics_counts_more_than_thresholds_of_the_screen():
    frame = with_zone(resting_frame(PLANT), BLOCK, in_safe_state=False, state="faulted")
    said = trouble(PLANT, frame, BLOCK)
    assert said == "jaws of block_brake_1 not in the safe state; faulted"


def test_a_trainee_goes_by_the_switches():
    frame = with_zone(trainee_frame(PLANT), TRIM, state="faulted", first_out="open time exceeded")
    assert in_safe_state(PLANT, frame, TRIM) is True
    one = with_contacts(frame, trim_open_2=False)
    assert in_safe_state(PLANT, one, TRIM) is True, "three of four are enough"
    two = with_contacts(one, trim_open_3=False)
    assert in_safe_state(PLANT, two, TRIM) is False
    said = trouble(PLANT, two, TRIM)
    assert said == "trim_brake_2, 3 not seen open; faulted: open time exceeded"


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
