"""Tests for pneumo/zone/ride.py: several zones and the permissive over them."""

from __future__ import annotations

from typing import NamedTuple, cast

import pytest
from zone_toys import (
    AIR_CLOSES,
    CLOSED_CHARGED,
    CLOSED_VENTED,
    OPEN_CHARGED,
    OPEN_VENTED,
    SPRINGS_CLOSE,
)

from pneumo.scenario.telling import told
from pneumo.zone.alarm import AlarmState
from pneumo.zone.logic import Command, Event
from pneumo.zone.ride import LOW_RIDE_SUPPLY, RideCommand, RideInputs, RideLogic
from pneumo.zone.sensed import Sensed

REST = (OPEN_VENTED, CLOSED_VENTED)
AWAY = (CLOSED_CHARGED, OPEN_CHARGED)


def command(sentence: str) -> RideCommand:
    """The command in "VERB TARGET" or "ride stop"."""
    if sentence == "ride stop":
        return RideCommand("all", "ride stop")
    verb, target = sentence.split()
    return RideCommand(target, cast(Command, verb))


class ZoneNow(NamedTuple):
    """A zone after a scan."""

    state: str
    first_out: str


class RideScan(NamedTuple):
    """A ride after a scan."""

    zones: tuple[ZoneNow, ...]
    stopped: bool
    events: tuple[Event, ...]


class Panel:
    """Drives a ride of a trim (safe open) and a final brake (safe closed) by sentences."""

    def __init__(self) -> None:
        self.ride = RideLogic((AIR_CLOSES, SPRINGS_CLOSE), ("main_low",))
        self.time = 0.0

    def scan(
        self, sensed: tuple[Sensed, ...] = REST, *sentences: str, supply: bool = True
    ) -> RideScan:
        self.time += 0.02
        commands = tuple(command(sentence) for sentence in sentences)
        events = self.ride.scan(self.time, RideInputs(sensed, (supply,), commands))
        zones = tuple(ZoneNow(z.state, z.first_out) for z in self.ride.zones.values())
        return RideScan(zones, self.ride.stopped, events)

    def go_away(self) -> None:
        """Both zones out of their safe states."""
        self.scan(REST, "close trim", "open final")
        assert states(self.scan(AWAY)) == ["closed", "open"]


def states(scan: RideScan) -> list[str]:
    return [zone.state for zone in scan.zones]


def said(scan: RideScan) -> list[tuple[str, str, str]]:
    return [(event.zone, event.what.kind, told(event.what)) for event in scan.events]


def test_zones_are_commanded_one_by_one_or_together() -> None:
    panel = Panel()
    assert states(panel.scan(REST, "close trim")) == ["closing", "closed"]
    scan = panel.scan(REST, "open all")
    assert states(scan) == ["open", "opening"], "the trim never left its open switches"
    assert [event.zone for event in scan.events] == ["trim", "trim", "final"]


def test_a_ride_stop_sends_every_zone_to_its_safe_state_and_holds_it() -> None:
    panel = Panel()
    panel.go_away()
    scan = panel.scan(AWAY, "ride stop")
    assert (states(scan), scan.stopped) == (["venting", "venting"], True)
    assert ("", "ride", "ride stop: command; every zone to its safe state") in said(scan)
    panel.scan(REST)
    scan = panel.scan(REST, "close trim", "open final", "open trim")
    assert states(scan) == ["open", "closed"]
    assert said(scan) == [
        ("trim", "refused", "close refused: the ride is stopped (command); reset all first"),
        ("final", "refused", "open refused: the ride is stopped (command); reset all first"),
    ]
    scan = panel.scan(REST, "reset all", "close trim")
    assert (states(scan), scan.stopped) == (["closing", "closed"], False)


def test_low_ride_supply_stops_the_ride_until_acknowledged_and_reset() -> None:
    panel = Panel()
    panel.go_away()
    scan = panel.scan(AWAY, supply=False)
    assert (states(scan), scan.stopped) == (["venting", "venting"], True)
    assert said(scan)[0] == (
        "", "alarm", "low ride supply: supply switch main_low is OFF",
    )  # fmt: skip
    assert panel.scan(REST, supply=False).zones[0].first_out == ""
    refusals = [
        (("reset all",), False, "acknowledge first: low ride supply"),
        (("acknowledge all", "reset all"), False, "still active: low ride supply"),
    ]
    for commands, supply, reason in refusals:
        scan = panel.scan(REST, *commands, supply=supply)
        assert said(scan)[-1] == ("", "refused", f"reset of the ride stop refused: {reason}")
        assert scan.stopped
    scan = panel.scan(REST)
    assert panel.ride.alarms[LOW_RIDE_SUPPLY] is AlarmState.NORMAL
    assert said(scan) == [("", "alarm", "low ride supply: normal")]
    assert not panel.scan(REST, "reset all").stopped


def test_low_ride_supply_counts_before_a_command_of_the_same_scan() -> None:
    scan = Panel().scan(REST, "close trim", supply=False)
    assert states(scan) == ["open", "closed"]
    assert scan.events[-1].what.kind == "refused"


def test_what_stopped_the_ride_first_stays_named() -> None:
    panel = Panel()
    panel.scan(REST, "ride stop")
    panel.scan(REST, supply=False)
    assert panel.ride.stopped_by == "command"


def test_a_supply_that_dips_leaves_its_alarm_to_be_acknowledged() -> None:
    panel = Panel()
    panel.scan(supply=False)
    panel.scan(supply=True)
    assert panel.ride.alarms[LOW_RIDE_SUPPLY] is AlarmState.RETURNED_UNACKNOWLEDGED
    assert panel.scan(REST, "reset all").stopped
    assert not panel.scan(REST, "acknowledge all", "reset all").stopped


def test_the_ride_stop_stays_while_a_zone_is_faulted() -> None:
    panel = Panel()
    panel.scan(REST, "ride stop")
    leaking = (OPEN_CHARGED, CLOSED_VENTED)
    assert states(panel.scan(leaking)) == ["faulted", "closed"]
    scan = panel.scan(leaking, "acknowledge all", "reset all")
    assert said(scan)[-1][2] == "reset of the ride stop refused: still faulted: trim"
    scan = panel.scan(REST, "reset all")
    assert (states(scan), scan.stopped) == (["open", "closed"], False)


def test_one_zone_is_reset_alone_and_goes_to_its_safe_state_under_a_ride_stop() -> None:
    panel = Panel()
    panel.go_away()
    panel.scan(AWAY, "ride stop")
    low = (CLOSED_CHARGED._replace(supply_ok=(False,)), OPEN_CHARGED)
    assert panel.scan(low).zones[0].first_out == "low supply"
    scan = panel.scan(AWAY, "acknowledge trim", "reset trim")
    assert (scan.zones[0].state, scan.stopped) == ("venting", True)


def test_all_with_nothing_to_do_says_so() -> None:
    panel = Panel()
    assert said(panel.scan(REST, "reset all", "acknowledge all")) == [
        ("", "refused", "reset refused: nothing to reset"),
        ("", "refused", "acknowledge refused: no alarm to acknowledge"),
    ]


def test_reset_all_without_a_ride_stop_resets_the_zones() -> None:
    panel = Panel()
    panel.scan((OPEN_CHARGED, CLOSED_VENTED))
    scan = panel.scan(REST, "acknowledge all", "reset all")
    assert states(scan) == ["open", "closed"]
    assert all(kind != "refused" for _, kind, _ in said(scan))


def test_the_deadline_is_the_earliest_of_the_zones() -> None:
    panel = Panel()
    assert panel.ride.deadline() is None
    panel.scan(REST, "open final")
    panel.scan(REST, "close trim")
    assert panel.ride.deadline() == pytest.approx(0.04 + AIR_CLOSES.close)


@pytest.mark.parametrize(
    ("inputs", "message"),
    [
        (RideInputs(REST[:1], (True,)), "readings of 1 zones for 2 zones"),
        (RideInputs(REST, ()), "0 supply readings"),
        (RideInputs(REST, (True,), (command("open trom"),)), "zones are trim, final"),
        (RideInputs(REST, (True,), (RideCommand("trim", "ride stop"),)), "for all zones"),
        (RideInputs(REST, (True,), (command("shut trim"),)), "'shut' is not one of"),
    ],
)
def test_inputs_that_do_not_fit_raise(inputs: RideInputs, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Panel().ride.scan(0.0, inputs)


def test_zone_names_must_tell_zones_apart() -> None:
    with pytest.raises(ValueError, match="must differ"):
        RideLogic((AIR_CLOSES, AIR_CLOSES))
