"""Tests of tui.judgement: what is said of a zone that the frame calls not safe, in each seat."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tui_toys import judged, plant_of, resting_frame, trainee_frame

from tui.judgement import first_in_trouble, trouble

PLANT = plant_of("sand_martin")
TRIM, BLOCK = PLANT.zones.index("trim"), PLANT.zones.index("block")


def with_zone(frame, index, judgement=None, **changes):
    zones = list(frame.zones)
    zones[index] = zones[index]._replace(**changes)
    if judgement is not None:
        zones[index] = judged(zones[index], **judgement)
    return frame._replace(zones=tuple(zones))


def with_brakes(frame, zone, gaps, forces):
    all_gaps, all_forces = list(frame.gaps), list(frame.forces)
    for i, gap, force in zip(PLANT.places[zone].brakes, gaps, forces, strict=True):
        all_gaps[i], all_forces[i] = gap, force
    return frame._replace(gaps=tuple(all_gaps), forces=tuple(all_forces))


def no_power(*lacking):
    return {"demanded_by": "power", "not_safe": True, "lacking": lacking}


def clamped_trim(**judgement):
    """All four brakes of trim closed; three have to be open."""
    frame = with_brakes(resting_frame(PLANT), TRIM, [0.0] * 4, [8900.0] * 4)
    return with_zone(frame, TRIM, {"lacking": (0, 1, 2, 3), **judgement})


@pytest.mark.parametrize("frame", [resting_frame(PLANT), trainee_frame(PLANT)])
def test_nothing_is_wrong_with_a_ride_at_rest(frame):
    assert [trouble(PLANT, frame, i) for i in range(len(PLANT.zones))] == [None] * 6


@pytest.mark.parametrize(
    ("by", "zone", "ride", "why"),
    [
        ("fault", {"first_out": "vent time exceeded"}, {}, "vent time exceeded"),
        ("fault", {}, {}, "faulted"),
        ("power", {}, {}, "no power"),
        ("stop", {}, {"stopped_by": "command"}, "ride stop (command)"),
        ("stop", {}, {}, "ride stop"),
    ],
)
def test_what_demands_the_safe_state_comes_first(by, zone, ride, why):
    frame = with_zone(clamped_trim(demanded_by=by, not_safe=True), TRIM, **zone)
    assert trouble(PLANT, frame._replace(**ride), TRIM) == f"{why}: brakes 1–4 still closed"


def test_what_nobody_demands_or_has_time_is_no_trouble():
    assert trouble(PLANT, clamped_trim(), TRIM) is None
    assert trouble(PLANT, clamped_trim(demanded_by="stop"), TRIM) is None


def test_a_lining_that_is_not_clear_enough_is_measured():
    frame = with_brakes(resting_frame(PLANT), TRIM, [0.0008, 0.0012, 0.003, 0.003], [0.0] * 4)
    frame = with_zone(frame, TRIM, no_power(0, 1))
    assert trouble(PLANT, frame, TRIM) == "no power: brakes 1, 2 only 0.8 mm clear"


def test_a_brake_that_clamps_too_weakly_is_measured():
    gaps, forces = [0.0] * 6, [8900.0, 5000.0, 3200.0, 8900.0, 8900.0, 8900.0]
    frame = with_brakes(resting_frame(PLANT), BLOCK, gaps, forces)
    frame = with_zone(frame, BLOCK, no_power(1, 2))
    assert trouble(PLANT, frame, BLOCK) == "no power: brakes 2, 3 at 3.20 of 6.00 kN"


def test_open_jaws_are_named_before_weak_ones():
    gaps, forces = [0.002] + [0.0] * 5, [0.0, 5000.0] + [8900.0] * 4
    frame = with_brakes(resting_frame(PLANT), BLOCK, gaps, forces)
    assert trouble(PLANT, with_zone(frame, BLOCK, no_power(0, 1)), BLOCK) == (
        "no power: brake 1 still open"
    )


def test_a_trainee_goes_by_the_switches():
    frame = with_zone(trainee_frame(PLANT), TRIM, state="faulted", first_out="open time exceeded")
    frame = with_zone(frame, TRIM, {"lacking": (1, 2)})
    assert trouble(PLANT, frame, TRIM) == "open time exceeded: brakes 2, 3 not confirmed open"


def test_a_zone_of_one_brake_has_no_numbers():
    zone = PLANT.circuit.zones["trim"]
    one = zone.model_copy(update={"brakes": zone.brakes[:1], "brakes_needed": 1})
    zones = {"trim": one}
    plant = replace(PLANT, circuit=replace(PLANT.circuit, zones=zones), zones=("trim",),
                    brakes=one.brakes)  # fmt: skip
    frame = with_brakes(resting_frame(PLANT), TRIM, [0.0] * 4, [8900.0] * 4)
    frame = with_zone(frame, 0, no_power(0))
    assert trouble(plant, frame, 0) == "no power: brake still closed"


def test_a_view_opens_with_the_first_zone_that_is_not_safe_else_faulted():
    frame = resting_frame(PLANT)
    assert first_in_trouble(PLANT, frame) is None
    faulted = with_zone(frame, BLOCK, state="faulted")
    assert first_in_trouble(PLANT, faulted) == BLOCK
    assert first_in_trouble(PLANT, with_zone(faulted, 4, {}, state="faulted")) == 4
