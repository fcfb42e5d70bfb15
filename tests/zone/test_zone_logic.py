"""Tests for pneumo/zone/logic.py and evidence.py: one zone, told step by step."""

from __future__ import annotations

from dataclasses import asdict, replace

import pytest
from zone_toys import (
    AIR_CLOSES,
    CLOSED_CHARGED,
    CLOSED_VENTED,
    MIDWAY_CHARGED,
    MIDWAY_VENTED,
    OPEN_CHARGED,
    OPEN_VENTED,
    SPRINGS_CLOSE,
    at_rest,
)

from pneumo.scenario.telling import told
from pneumo.zone.alarm import AlarmState
from pneumo.zone.logic import Command, ZoneLogic, ZoneScan
from pneumo.zone.machine import Cause
from pneumo.zone.sensed import Sensed, Side, ZoneSettings

LOW = (False,)
BLIND = (None, None)


def started(zone: ZoneSettings, state: Side) -> ZoneLogic:
    """A zone that rests in an end state."""
    logic = ZoneLogic(replace(zone, starts=state))
    assert logic.scan(0.0, at_rest(zone, state)) == ZoneScan(state, logic.charge, "", (), ())
    return logic


def texts(scan: ZoneScan) -> list[str]:
    return [told(event.what) for event in scan.events]


def test_a_spring_open_zone_closes_and_opens() -> None:
    logic = started(AIR_CLOSES, "open")
    assert logic.scan(1.0, OPEN_VENTED, "close")[:2] == ("closing", True)
    assert logic.deadline() == pytest.approx(2.0)
    assert logic.scan(1.3, CLOSED_VENTED).state == "closing"
    assert logic.scan(1.4, CLOSED_CHARGED)[:2] == ("closed", True)
    assert logic.deadline() is None
    assert logic.scan(2.0, CLOSED_CHARGED, "open")[:2] == ("venting", False)
    assert logic.scan(2.2, OPEN_CHARGED).state == "venting"
    assert logic.scan(2.4, MIDWAY_VENTED).state == "venting"
    assert logic.scan(2.5, OPEN_VENTED)[:2] == ("open", False)


def test_a_spring_close_zone_opens_and_closes() -> None:
    logic = started(SPRINGS_CLOSE, "closed")
    assert logic.scan(1.0, CLOSED_VENTED, "open")[:2] == ("opening", True)
    assert logic.scan(1.2, OPEN_VENTED).state == "opening"
    assert logic.scan(1.4, OPEN_CHARGED)[:2] == ("open", True)
    assert logic.scan(2.0, OPEN_CHARGED, "close")[:2] == ("venting", False)
    assert logic.scan(2.7, MIDWAY_VENTED)[:2] == ("closing", False)
    assert logic.deadline() == pytest.approx(3.7), "close time counts from the end of venting"
    assert logic.scan(3.0, CLOSED_VENTED)[:2] == ("closed", False)


@pytest.mark.parametrize(
    ("zone", "rest", "commands", "states"),
    [
        (AIR_CLOSES, "open", ("close", "open", "close"), ("closing", "venting", "closing")),
        (AIR_CLOSES, "closed", ("open", "close", "open"), ("venting", "closing", "venting")),
        (SPRINGS_CLOSE, "closed", ("open", "close", "open"), ("opening", "venting", "opening")),
    ],
)
def test_a_movement_can_be_reversed(
    zone: ZoneSettings, rest: Side, commands: tuple[Command, ...], states: tuple[str, ...]
) -> None:
    logic = started(zone, rest)
    charged = rest == ("closed" if zone.spring == "open" else "open")
    halfway = MIDWAY_CHARGED if zone.spring == "open" and not charged else MIDWAY_VENTED
    seen = at_rest(zone, rest)
    for second, (command, state) in enumerate(zip(commands, states, strict=True)):
        assert logic.scan(second / 10 + 0.1, seen, command).state == state
        seen = halfway if zone.spring == "open" else MIDWAY_CHARGED


def test_springs_on_their_way_can_be_reversed() -> None:
    logic = started(SPRINGS_CLOSE, "open")
    logic.scan(1.0, OPEN_CHARGED, "close")
    assert logic.scan(1.3, MIDWAY_VENTED).state == "closing"
    assert logic.scan(1.4, MIDWAY_VENTED, "open")[:2] == ("opening", True)


def test_a_command_for_where_the_zone_is_or_goes_does_nothing() -> None:
    logic = started(AIR_CLOSES, "open")
    assert logic.scan(0.1, OPEN_VENTED, "open").events == ()
    logic.scan(0.2, OPEN_VENTED, "close")
    assert logic.scan(0.3, OPEN_VENTED, "close").events == ()
    assert logic.deadline() == pytest.approx(1.2), "a repeated command does not restart the timer"


def test_a_timer_ends_at_its_tick_whatever_binary_fractions_make_of_it() -> None:
    logic = ZoneLogic(replace(AIR_CLOSES, close=0.2))
    logic.scan(5 * 0.02, OPEN_VENTED, "close")
    assert 5 * 0.02 + 0.2 > 15 * 0.02
    assert logic.scan(15 * 0.02, OPEN_VENTED).state == "faulted"


FIRST_OUTS = [
    # zone, rest, command at 1 s, sensed from 1 s on, faulted at, cause, evidence
    (AIR_CLOSES, "open", "close", CLOSED_VENTED, 2.0, "close time exceeded",
     "pressure switch trim_charged is OFF"),
    (AIR_CLOSES, "open", "close", CLOSED_CHARGED._replace(closed=(True, False)), 2.0,
     "close time exceeded", "'closed' switch of trim_brake_2 is OFF"),
    (SPRINGS_CLOSE, "closed", "open", MIDWAY_CHARGED, 2.2, "open time exceeded",
     "'open' switch of trim_brake_1 is OFF, 'open' switch of trim_brake_2 is OFF"),
    (AIR_CLOSES, "closed", "open", MIDWAY_VENTED, 2.2, "open time exceeded",
     "'open' switch of trim_brake_1 is OFF, 'open' switch of trim_brake_2 is OFF"),
    (AIR_CLOSES, "closed", "open", OPEN_CHARGED, 1.8, "vent time exceeded",
     "pressure switch trim_charged is ON"),
    (SPRINGS_CLOSE, "open", "close", OPEN_CHARGED, 1.8, "vent time exceeded",
     "pressure switch trim_charged is ON"),
    (SPRINGS_CLOSE, "open", "close", MIDWAY_VENTED, 2.02, "close time exceeded",
     "'closed' switch of trim_brake_1 is OFF, 'closed' switch of trim_brake_2 is OFF"),
    (AIR_CLOSES, "closed", None, CLOSED_VENTED, 1.0, "pressure lost while charged",
     "pressure switch trim_charged is OFF"),
    (SPRINGS_CLOSE, "open", None, OPEN_CHARGED._replace(low_pressure=True), 1.0,
     "pressure lost while charged", "the transmitter reads low"),
    (AIR_CLOSES, "open", None, OPEN_CHARGED, 1.0, "pressure present while vented",
     "pressure switch trim_charged is ON"),
    (SPRINGS_CLOSE, "closed", None, CLOSED_VENTED._replace(low_pressure=False), 1.0,
     "pressure present while vented", "the transmitter does not read low"),
    (AIR_CLOSES, "open", None, OPEN_VENTED._replace(open=(True, False)), 1.0,
     "uncommanded movement", "'open' switch of trim_brake_2 is OFF"),
    (SPRINGS_CLOSE, "closed", None, CLOSED_VENTED._replace(closed=(False, True)), 1.0,
     "uncommanded movement", "'closed' switch of trim_brake_1 is OFF"),
    (AIR_CLOSES, "open", None, OPEN_VENTED._replace(closed=(False, True)), 1.3,
     "switches disagree", "'open' and 'closed' switch of trim_brake_2 are both ON"),
    (SPRINGS_CLOSE, "closed", None, CLOSED_VENTED._replace(supply_ok=LOW), 1.0,
     "low supply", "supply switch trim_supply is OFF"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("zone", "rest", "command", "sensed", "when", "cause", "seen"),
    FIRST_OUTS,
    ids=[f"{row[0].name}-{row[1]}-{row[5]}" for row in FIRST_OUTS],
)
def test_each_first_out(
    zone: ZoneSettings,
    rest: Side,
    command: Command | None,
    sensed: Sensed,
    when: float,
    cause: str,
    seen: str,
) -> None:
    logic = started(zone, rest)
    scan = (
        logic.scan(1.0, sensed, None)
        if command is None
        else logic.scan(1.0, at_rest(zone, rest), command)
    )
    tick = 50
    while scan.state != "faulted" and tick < 200:
        tick += 1
        scan = logic.scan(tick * 0.02, sensed)
    assert (scan.state, scan.first_out) == ("faulted", cause)
    assert tick * 0.02 == pytest.approx(when)
    assert f"first out: {cause}: {seen}" in texts(scan)
    assert scan.charge == zone.safe_charged


def test_every_cause_has_its_first_out_told_above() -> None:
    assert {row[5] for row in FIRST_OUTS} == set(Cause)


def test_what_is_sensed_counts_before_a_command_of_the_same_scan() -> None:
    logic = started(AIR_CLOSES, "closed")
    scan = logic.scan(1.0, CLOSED_VENTED, "open")
    assert scan.first_out == "pressure lost while charged"
    assert scan.events[-1].what.kind == "refused"


def test_a_fault_latches_until_acknowledged_and_reset() -> None:
    logic = started(AIR_CLOSES, "open")
    logic.scan(1.0, OPEN_CHARGED)
    assert logic.alarms[Cause.PRESSURE_PRESENT] is AlarmState.UNACKNOWLEDGED
    logic.scan(1.1, OPEN_VENTED)
    assert logic.alarms[Cause.PRESSURE_PRESENT] is AlarmState.LATCHED_UNACKNOWLEDGED
    assert texts(logic.scan(1.2, OPEN_VENTED, "close")) == [
        "close refused: the zone is faulted (pressure present while vented); "
        "acknowledge and reset it first"
    ]
    assert texts(logic.scan(1.3, OPEN_VENTED, "reset")) == [
        "reset refused: acknowledge first: pressure present while vented"
    ]
    logic.scan(1.4, OPEN_VENTED, "acknowledge")
    scan = logic.scan(1.5, OPEN_VENTED, "reset")
    assert (scan.state, scan.first_out) == ("open", "")
    assert [row.destination for row in scan.rows] == ["venting", "open"]
    assert logic.alarms.active == ()


def test_a_reset_is_refused_while_the_cause_stands() -> None:
    logic = started(SPRINGS_CLOSE, "closed")
    low = CLOSED_VENTED._replace(supply_ok=LOW)
    logic.scan(1.0, low)
    logic.scan(1.1, low, "acknowledge")
    assert texts(logic.scan(1.2, low, "reset")) == [
        "reset refused: still active: low supply (supply switch trim_supply is OFF)"
    ]
    assert logic.state == "faulted"
    assert logic.scan(1.3, CLOSED_VENTED, "reset").state == "closed"


def test_after_a_reset_the_zone_goes_on_to_its_safe_state() -> None:
    zone = replace(SPRINGS_CLOSE, safe_state="open")
    logic = started(zone, "open")
    low = OPEN_CHARGED._replace(supply_ok=LOW)
    assert logic.scan(1.0, low).charge
    logic.scan(1.1, MIDWAY_VENTED, "acknowledge")
    assert logic.scan(1.2, MIDWAY_VENTED, "reset")[:2] == ("opening", True)
    assert logic.scan(1.5, OPEN_CHARGED).state == "open"


def test_a_later_alarm_joins_without_becoming_first_out() -> None:
    logic = started(AIR_CLOSES, "closed")
    logic.scan(1.0, CLOSED_CHARGED._replace(supply_ok=LOW))
    scan = logic.scan(1.8, CLOSED_CHARGED)
    assert "vent time exceeded: pressure switch trim_charged is ON" in texts(scan)
    assert scan.first_out == "low supply"
    logic.scan(2.2, CLOSED_CHARGED)
    assert logic.alarms.standing == ("open time exceeded", "vent time exceeded")
    logic.scan(2.3, CLOSED_CHARGED, "acknowledge")
    assert "still active" in texts(logic.scan(2.4, CLOSED_CHARGED, "reset"))[0]
    assert logic.scan(2.5, OPEN_VENTED, "reset").state == "open"


def test_a_cause_that_comes_back_needs_a_new_acknowledge() -> None:
    logic = started(SPRINGS_CLOSE, "closed")
    low = CLOSED_VENTED._replace(supply_ok=LOW)
    logic.scan(1.0, low)
    logic.scan(1.1, CLOSED_VENTED, "acknowledge")
    scan = logic.scan(1.2, low)
    assert texts(scan) == ["low supply: supply switch trim_supply is OFF"]
    assert logic.alarms.unacknowledged == ("low supply",)


def test_the_disagreement_time_is_counted_for_each_brake() -> None:
    logic = started(AIR_CLOSES, "open")
    first = OPEN_VENTED._replace(closed=(True, False))
    second = OPEN_VENTED._replace(closed=(False, True))
    logic.scan(1.0, first)
    assert logic.deadline() == pytest.approx(1.3)
    logic.scan(1.2, second)
    assert logic.scan(1.4, second).state == "open"
    assert logic.scan(1.5, second).first_out == "switches disagree"


def test_switches_that_disagree_do_not_confirm() -> None:
    logic = started(AIR_CLOSES, "open")
    logic.scan(1.0, OPEN_VENTED, "close")
    assert logic.scan(1.2, CLOSED_CHARGED._replace(open=(True, False))).state == "closing"
    logic = started(AIR_CLOSES, "closed")
    logic.scan(1.0, CLOSED_CHARGED, "open")
    assert logic.scan(1.2, OPEN_VENTED._replace(closed=(True, False))).state == "venting"


MOVED_CLOSED = CLOSED_CHARGED._replace(closed=(True, False))
MOVED_OPEN = OPEN_VENTED._replace(open=(True, False))
STANDINGS: list[tuple[ZoneSettings, Side, Side, Sensed, str, Sensed | None]] = [
    # zone, safe state, rest, sensed at the fault and at the reset, cause, sensed when it is gone
    (AIR_CLOSES, "closed", "closed", CLOSED_VENTED, "pressure lost while charged", CLOSED_CHARGED),
    (AIR_CLOSES, "open", "closed", CLOSED_VENTED, "pressure lost while charged", None),
    (SPRINGS_CLOSE, "open", "open", OPEN_VENTED, "pressure lost while charged", OPEN_CHARGED),
    (SPRINGS_CLOSE, "closed", "closed", CLOSED_CHARGED, "pressure present while vented",
     CLOSED_VENTED),
    (AIR_CLOSES, "closed", "open", OPEN_CHARGED, "pressure present while vented", None),
    (AIR_CLOSES, "closed", "closed", MOVED_CLOSED, "uncommanded movement", CLOSED_CHARGED),
    (AIR_CLOSES, "open", "open", MOVED_OPEN, "uncommanded movement", OPEN_VENTED),
    (AIR_CLOSES, "closed", "open", MOVED_OPEN, "uncommanded movement", CLOSED_CHARGED),
    (AIR_CLOSES, "open", "open", OPEN_VENTED._replace(supply_ok=LOW), "low supply", OPEN_VENTED),
    (AIR_CLOSES, "open", "open", OPEN_VENTED._replace(closed=(False, True)), "switches disagree",
     OPEN_VENTED),
]  # fmt: skip


@pytest.mark.parametrize(("zone", "safe", "rest", "sensed", "cause", "gone"), STANDINGS)
def test_what_stands_follows_from_the_safe_state(
    zone: ZoneSettings, safe: Side, rest: Side, sensed: Sensed, cause: str, gone: Sensed | None
) -> None:
    logic = started(replace(zone, safe_state=safe), rest)
    logic.scan(1.0, sensed)
    scan = logic.scan(1.3, sensed)
    assert logic.first_out == cause
    logic.scan(1.32, sensed, "acknowledge")
    scan = logic.scan(1.34, sensed, "reset")
    if gone is not None:
        assert texts(scan)[0].startswith(f"reset refused: still active: {cause} (")
        scan = logic.scan(1.36, gone, "reset")
    assert scan.rows[0].trigger == "reset"


@pytest.mark.parametrize(
    ("zone", "safe", "command", "cause"),
    [
        (AIR_CLOSES, "closed", "close", "close time exceeded"),
        (AIR_CLOSES, "open", "close", "close time exceeded"),
        (SPRINGS_CLOSE, "open", "open", "open time exceeded"),
        (SPRINGS_CLOSE, "closed", "open", "open time exceeded"),
    ],
)
def test_a_movement_that_failed_stands_only_if_it_leads_to_the_safe_state(
    zone: ZoneSettings, safe: Side, command: Command, cause: str
) -> None:
    rest: Side = "open" if command == "close" else "closed"
    logic = started(replace(zone, safe_state=safe), rest)
    logic.scan(1.0, at_rest(zone, rest), command)
    assert logic.scan(2.2, MIDWAY_CHARGED).first_out == cause
    stands = logic.alarms[cause] is AlarmState.UNACKNOWLEDGED
    assert stands == (safe != rest)


def test_the_way_to_the_safe_state_is_timed_after_a_fault() -> None:
    logic = started(SPRINGS_CLOSE, "open")
    logic.scan(1.0, OPEN_CHARGED._replace(supply_ok=LOW))
    logic.scan(1.5, MIDWAY_VENTED)
    logic.scan(1.9, MIDWAY_VENTED)
    assert logic.deadline() == pytest.approx(2.8), "venting and then closing"
    scan = logic.scan(2.8, MIDWAY_VENTED)
    assert [event.what.name for event in scan.events] == ["close time exceeded"]


def test_both_timers_of_venting_are_deadlines() -> None:
    logic = started(AIR_CLOSES, "closed")
    logic.scan(1.0, CLOSED_CHARGED, "open")
    assert logic.deadline() == pytest.approx(1.8)
    logic.scan(1.8, MIDWAY_VENTED)
    assert logic.deadline() == pytest.approx(2.2)


def test_a_ride_stop_commands_the_safe_state() -> None:
    away: Side
    for zone, away in ((AIR_CLOSES, "closed"), (SPRINGS_CLOSE, "open")):
        logic = started(zone, away)
        assert logic.scan(1.0, at_rest(zone, away), "ride stop").state == "venting"
    assert started(AIR_CLOSES, "open").scan(1.0, OPEN_VENTED, "ride stop").events == ()


# zones that sense less


def test_without_closed_switches_closed_is_believed_when_charged_and_time_is_over() -> None:
    logic = started(AIR_CLOSES, "open")
    blind = CLOSED_CHARGED._replace(closed=BLIND)
    logic.scan(1.0, OPEN_VENTED._replace(closed=BLIND), "close")
    assert logic.scan(1.5, blind).state == "closing"
    assert logic.scan(1.98, blind).state == "closing"
    assert logic.scan(2.0, blind).state == "closed"
    assert logic.scan(2.1, blind._replace(open=(False, True))).first_out == "uncommanded movement"


def test_without_closed_switches_an_open_switch_still_made_denies_closed() -> None:
    logic = started(AIR_CLOSES, "open")
    stuck = CLOSED_CHARGED._replace(closed=BLIND, open=(False, True))
    logic.scan(1.0, OPEN_VENTED._replace(closed=BLIND), "close")
    scan = logic.scan(2.0, stuck)
    assert "first out: close time exceeded: 'open' switch of trim_brake_2 is ON" in texts(scan)


def test_without_open_switches_open_is_believed_when_vented_and_time_is_over() -> None:
    logic = started(AIR_CLOSES, "closed")
    blind = OPEN_VENTED._replace(open=BLIND)
    logic.scan(1.0, CLOSED_CHARGED._replace(open=BLIND), "open")
    assert logic.scan(2.1, blind).state == "venting"
    assert logic.scan(2.2, blind).state == "open"
    assert logic.scan(2.3, blind._replace(closed=(False, True))).first_out == "uncommanded movement"


def test_without_pressure_switches_venting_takes_its_time() -> None:
    logic = ZoneLogic(replace(SPRINGS_CLOSE, pressure_switches=(), starts="open"))
    wide = OPEN_VENTED._replace(pressure_on=())
    logic.scan(1.0, wide, "close")
    assert logic.scan(1.7, wide).state == "venting"
    assert logic.scan(1.8, wide).state == "closing"
    assert logic.scan(2.0, CLOSED_VENTED._replace(pressure_on=())).state == "closed"


def test_a_transmitter_alone_tells_charged_from_vented() -> None:
    logic = ZoneLogic(replace(AIR_CLOSES, pressure_switches=()))
    vented = OPEN_VENTED._replace(pressure_on=(), low_pressure=True)
    logic.scan(1.0, vented, "close")
    shut = CLOSED_VENTED._replace(pressure_on=(), low_pressure=True)
    assert logic.scan(1.2, shut).state == "closing"
    assert logic.scan(1.4, shut._replace(low_pressure=False)).state == "closed"


def test_a_zone_that_senses_nothing_goes_by_its_timers() -> None:
    nothing = Sensed((), (), None, (None,), (None,))
    zone = replace(SPRINGS_CLOSE, brakes=("only_brake",), pressure_switches=(), supply_switches=())
    logic = ZoneLogic(zone)
    logic.scan(1.0, nothing, "open")
    assert logic.scan(2.2, nothing).state == "open"
    logic.scan(3.0, nothing, "close")
    assert logic.scan(3.8, nothing).state == "closing"
    assert logic.scan(4.8, nothing).state == "closed"


# what is refused outright


def test_commands_without_an_object_are_refused() -> None:
    logic = started(AIR_CLOSES, "open")
    assert texts(logic.scan(1.0, OPEN_VENTED, "acknowledge")) == [
        "acknowledge refused: no alarm to acknowledge"
    ]
    assert texts(logic.scan(1.0, OPEN_VENTED, "reset")) == [
        "reset refused: the zone is not faulted: nothing to reset"
    ]


def test_an_unknown_command_raises() -> None:
    with pytest.raises(ValueError, match="'shut' is not one of open, close"):
        started(AIR_CLOSES, "open").scan(1.0, OPEN_VENTED, "shut")  # type: ignore[arg-type]


@pytest.mark.parametrize("field", ["pressure_on", "supply_ok", "closed", "open"])
def test_readings_that_do_not_fit_the_zone_raise(field: str) -> None:
    with pytest.raises(ValueError, match="do not match"):
        ZoneLogic(AIR_CLOSES).scan(0.0, Sensed(**{**OPEN_VENTED._asdict(), field: (True,) * 3}))


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("spring", "none", "not open or close"),
        ("safe_state", "shut", "not open or closed"),
        ("starts", "shut", "not open or closed"),
        ("brakes", (), "list at least one"),
        ("close", 0.0, "longer than 0 s"),
        ("vent", float("inf"), "finite"),
        ("discrepancy", float("nan"), "finite"),
    ],
)
def test_settings_no_zone_can_have_raise(field: str, value: object, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        ZoneSettings(**{**asdict(AIR_CLOSES), field: value})
