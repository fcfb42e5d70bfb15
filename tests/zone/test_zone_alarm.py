"""Tests for pneumo/zone/alarm.py against the state diagram of ANSI/ISA-18.2 and IEC 62682.

The states and the transitions between them were seen in a description of the standard; letters
as in its diagram, from memory: A normal, B unacknowledged, C acknowledged, D returned to normal
unacknowledged, E latched unacknowledged, F latched acknowledged.
"""

from __future__ import annotations

import pytest

from pneumo.zone.alarm import AlarmGroup, AlarmState, Input, next_state

STATES = dict(zip("ABCDEF", AlarmState, strict=True))
INPUTS: tuple[Input, ...] = ("abnormal", "normal", "acknowledge", "reset")
FLEETING = {"A": "BAAA", "B": "BDCB", "C": "CACC", "D": "BDAD"}
LATCHING = {"A": "BAAA", "B": "BECB", "C": "CFCC", "E": "BEFE", "F": "BFFA"}
"""Per state, the state after each of INPUTS."""


@pytest.mark.parametrize(("latching", "expected"), [(False, FLEETING), (True, LATCHING)])
def test_every_input_in_every_state(latching: bool, expected: dict[str, str]) -> None:
    for letter, after in expected.items():
        for given, then in zip(INPUTS, after, strict=True):
            got = next_state(STATES[letter], given, latching)
            assert got is STATES[then], f"{letter} on {given}"


def test_the_first_alarm_stays_first_out_until_all_are_normal() -> None:
    group = AlarmGroup(("a", "b"), latching=True)
    assert group.give("b", "abnormal") is AlarmState.UNACKNOWLEDGED
    group.give("a", "abnormal")
    assert group.first_out == "b"
    group.give("b", "normal")
    group.give_all("acknowledge")
    assert group.give_all("reset") == (("b", AlarmState.NORMAL),)
    assert (group.first_out, group.active, group.standing) == ("b", ("a",), ("a",))
    group.give("a", "normal")
    group.give_all("reset")
    assert (group.first_out, group.active) == ("", ())
    assert group.give_all("reset") == ()


def test_a_group_goes_back_to_a_snapshot() -> None:
    group = AlarmGroup(("a", "b"), latching=False)
    group.give("a", "abnormal")
    kept = group.snapshot()
    group.give("a", "acknowledge")
    group.give("b", "abnormal")
    group.restore(kept)
    assert group.snapshot() == kept
    assert (group.unacknowledged, group.first_out) == (("a",), "a")
