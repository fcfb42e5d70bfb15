"""The word that was meant."""

from __future__ import annotations

from pneumo.circuit.spelling import near

PARTS = ("trim_valve_a", "block_valve_a", "block_valve_b", "main")


def test_of_several_that_end_alike_none_is_the_likely_one() -> None:
    assert near("valve_a", PARTS) == "Is it block_valve_a, trim_valve_a?"


def test_a_single_one_and_a_slip_of_the_pen_are_proposed() -> None:
    assert near("valve_b", PARTS) == "Did you mean 'block_valve_b'?"
    assert near("mian", PARTS) == "Did you mean 'main'?"
    assert near("", PARTS, "Name one.") == "Name one."
