"""What a zone waits for, against the guards and against the scans that follow."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_zone_properties import readings, zone_settings
from zone_toys import (
    AIR_CLOSES,
    CLOSED_CHARGED,
    MIDWAY_CHARGED,
    MIDWAY_VENTED,
    OPEN_CHARGED,
    OPEN_VENTED,
    SPRINGS_CLOSE,
    ZONES,
    at_rest,
    play,
)

from pneumo.zone.evidence import Clue, Obstacle, obstacle_words
from pneumo.zone.logic import ZoneLogic, ZoneMemory
from pneumo.zone.machine import TABLE, WORKING, Cause
from pneumo.zone.sensed import Sensed, ZoneSettings
from pneumo.zone.waiting import AGAINST, Wait, waiting

LATER = 1000.0
"""[s] Longer than any limit of the tests."""


def scanned(zone: ZoneSettings, *scans: tuple[float, Sensed, str | None]) -> ZoneLogic:
    """A zone after some scans: time, what is sensed, command."""
    logic = ZoneLogic(zone)
    for time, sensed, command in scans:
        logic.scan(time, sensed, command)  # type: ignore[arg-type]
    return logic


def test_each_instrument_that_keeps_a_movement_from_its_end_has_an_entry() -> None:
    logic = scanned(AIR_CLOSES, (0.0, OPEN_VENTED, None), (1.0, OPEN_VENTED, "close"))
    sensed = OPEN_VENTED._replace(closed=(True, False), open=(False, False))
    logic.scan(1.2, sensed)
    arrival, fault = waiting(logic, sensed, 1.2)
    assert arrival == Wait(
        "closed",
        (
            Obstacle("", True, (Clue("closed switch", "trim_brake_2", False),)),
            Obstacle("", True, (Clue("pressure switch", "trim_charged", False),)),
        ),
        2.0,
        "",
    )
    assert fault == Wait("faulted", (), 2.0, "close time exceeded")


def test_venting_has_two_clocks_until_the_pressure_is_gone() -> None:
    logic = scanned(replace(AIR_CLOSES, starts="closed"), (0.0, CLOSED_CHARGED, None))
    logic.scan(1.0, CLOSED_CHARGED, "open")
    assert [(w.cause, w.limit) for w in waiting(logic, CLOSED_CHARGED, 1.0)] == [
        ("", 1.8),
        ("vent time exceeded", 1.8),
        ("open time exceeded", 2.2),
    ]
    logic.scan(1.5, MIDWAY_VENTED)
    arrival, fault = waiting(logic, MIDWAY_VENTED, 1.5)
    assert arrival.limit == fault.limit == 2.2
    assert [obstacle_words(each) for each in arrival.blocked_by] == [
        "'open' switch of trim_brake_1 is OFF",
        "'open' switch of trim_brake_2 is OFF",
    ]
    assert fault.cause == "open time exceeded"


def test_a_spring_close_zone_vents_before_it_closes() -> None:
    logic = scanned(SPRINGS_CLOSE, (0.0, at_rest(SPRINGS_CLOSE, "closed"), "open"))
    logic.scan(0.5, OPEN_CHARGED)
    logic.scan(1.0, OPEN_CHARGED, "close")
    arrival, _ = waiting(logic, OPEN_CHARGED, 1.0)
    assert arrival.to == "closing"
    assert [obstacle_words(each) for each in arrival.blocked_by] == [
        "pressure switch trim_charged is ON"
    ]


def test_a_brake_without_a_switch_arrives_by_time_and_not_by_a_fault() -> None:
    blind = OPEN_VENTED._replace(closed=(True, None), open=(False, False), pressure_on=(True,))
    logic = scanned(AIR_CLOSES, (0.0, OPEN_VENTED, None), (1.0, OPEN_VENTED, "close"))
    logic.scan(1.1, blind)
    assert waiting(logic, blind, 1.1) == (Wait("closed", (), 2.0, ""),)
    logic.scan(2.0, blind)
    assert logic.state == "closed"


def test_at_rest_nothing_is_waited_for_but_a_disagreement_that_runs() -> None:
    logic = scanned(AIR_CLOSES, (0.0, OPEN_VENTED, None))
    assert waiting(logic, OPEN_VENTED, 0.0) == ()
    both = OPEN_VENTED._replace(closed=(True, False))
    logic.scan(4.0, both)
    assert waiting(logic, both, 4.0) == (Wait("faulted", (), 4.3, "switches disagree"),)


def test_a_reset_waits_for_acknowledge_and_for_what_stands() -> None:
    low = OPEN_VENTED._replace(supply_ok=(False,))
    logic = scanned(AIR_CLOSES, (1.0, low, None))
    assert waiting(logic, low, 1.0) == (
        Wait(
            "venting",
            (
                Obstacle("low supply", False, ()),
                Obstacle("low supply", True, (Clue("supply switch", "trim_supply", False),)),
            ),
            None,
            "",
        ),
    )
    logic.scan(2.0, OPEN_VENTED, "acknowledge")
    assert waiting(logic, OPEN_VENTED, 2.0) == (Wait("venting", (), None, ""),)


def test_every_arrival_of_the_table_can_say_what_speaks_against_it() -> None:
    assert {row.guard for row in TABLE if row.trigger == "arrive"} == set(AGAINST)


@st.composite
def moments(draw: st.DrawFn) -> tuple[ZoneLogic, Sensed, float]:
    """Any zone in any working state, with timers that fit what it senses."""
    zone = draw(zone_settings())
    sensed = draw(draw(readings(zone)))
    logic = ZoneLogic(zone)
    states = {row.destination for row in TABLE if row.spring in (zone.spring, "any")} & {*WORKING}
    entered, stayed = draw(st.floats(0.0, 10.0)), draw(st.floats(0.0, 1.0))
    both = tuple(
        draw(st.floats(0.0, entered + stayed)) if shut and wide else None
        for shut, wide in zip(sensed.closed, sensed.open, strict=True)
    )
    state = draw(st.sampled_from(sorted(states)))
    logic.restore(ZoneMemory(state, entered, both, None, logic.alarms.snapshot()))
    return logic, sensed, entered + stayed


@given(moments())
@settings(max_examples=400)
def test_nothing_is_missing_exactly_when_the_guard_holds_or_only_waits_for_time(
    moment: tuple[ZoneLogic, Sensed, float],
) -> None:
    logic, sensed, time = moment
    waits = waiting(logic, sensed, time)
    rows = [row for row in logic.sensed_rows if row.trigger == "arrive"]
    arrivals = [wait for wait in waits if not wait.cause]
    assert [wait.to for wait in arrivals] == [row.destination for row in rows]
    for row, wait in zip(rows, arrivals, strict=True):
        now, later = (
            row.guard(sensed, logic.settings, logic.timers(at)) for at in (time, time + LATER)
        )
        assert (wait.blocked_by == ()) == (now or later)
    for wait in waits[len(arrivals) :]:
        (row,) = [row for row in logic.sensed_rows if row.cause == wait.cause]
        assert wait.blocked_by == () and wait.to == row.destination
        assert row.guard(sensed, logic.settings, logic.timers(time + LATER))


@pytest.mark.parametrize("zone", ZONES, ids=lambda z: f"{z.spring}-{z.safe_state}")
def test_what_is_waited_for_is_what_comes_when_nothing_changes(zone: ZoneSettings) -> None:
    """At every scan of random lives: let time alone pass, and see which row is taken when."""
    seen: set[str] = set()
    for seed in range(6):
        logic = ZoneLogic(zone)
        for time, sensed, _, _ in play(logic, seed, 20):
            seen |= what_comes(logic, sensed, time)
    assert seen > {"", str(Cause.SWITCHES_DISAGREE)}  # a time limit too


def what_comes(logic: ZoneLogic, sensed: Sensed, time: float) -> set[str]:
    """Checks one instant on a twin; "" for an arrival or a reset, the cause for a fault."""
    waits = waiting(logic, sensed, time)
    twin = ZoneLogic(logic.settings)
    twin.restore(logic.snapshot())
    if logic.state == "faulted":
        (reset,) = waits
        taken = [row.destination for row in twin.scan(time, sensed, "reset").rows]
        assert bool(taken) == (reset.blocked_by == ())
        assert not taken or taken[0] == reset.to
        return {""} if taken else set()
    due = [wait for wait in waits if wait.blocked_by == ()]
    if not due:
        assert not twin.scan(time + LATER, sensed).rows
        return set()
    first = min(due, key=lambda wait: wait.limit or 0.0)
    assert first.limit is not None and first.limit > time
    assert not twin.scan(first.limit - 1e-6, sensed).rows
    row = twin.scan(first.limit, sensed).rows[0]
    assert (row.destination, row.cause or "") == (first.to, first.cause)
    return {first.cause}


@given(st.sampled_from(ZONES), st.integers(0, 1000))
@settings(max_examples=20)
def test_looking_changes_nothing(zone: ZoneSettings, seed: int) -> None:
    watched, alone = ZoneLogic(zone), ZoneLogic(zone)
    pairs = zip(play(watched, seed, 6), play(alone, seed, 6), strict=True)
    for (time, sensed, _, scan), (_, _, _, other) in pairs:
        waiting(watched, sensed, time)
        assert scan == other
        assert watched.snapshot() == alone.snapshot()


def test_a_cause_has_evidence_of_its_own_when_two_stand() -> None:
    """Air that stays in the jaws of a faulted zone keeps it from opening: both are named."""
    zone = replace(AIR_CLOSES, starts="closed")
    logic = scanned(zone, (0.0, CLOSED_CHARGED, None), (1.0, CLOSED_CHARGED, "open"))
    logic.scan(1.8, MIDWAY_CHARGED)
    assert logic.first_out == Cause.VENT_TIME
    logic.scan(3.1, MIDWAY_CHARGED, "acknowledge")
    (reset,) = waiting(logic, MIDWAY_CHARGED, 3.1)
    assert obstacle_words(reset.blocked_by[0]) == (
        "'open time exceeded' is still active: 'open' switch of trim_brake_1 is OFF, "
        "'open' switch of trim_brake_2 is OFF, pressure switch trim_charged is ON"
    )
    assert obstacle_words(reset.blocked_by[1]) == (
        "'vent time exceeded' is still active: pressure switch trim_charged is ON"
    )
