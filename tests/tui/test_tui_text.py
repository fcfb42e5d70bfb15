"""Tests of tui.text: what a screen writes for a value."""

from __future__ import annotations

import pytest

from pneumo.zone.evidence import Clue, evidence_words
from tui import text


def test_one_unit_and_fixed_decimals_per_quantity():
    assert text.pressure(450_000.0) == "4.50 bar"
    assert text.gap(0.00321) == "3.2 mm"
    assert text.force(9_874.0) == "9.87 kN"
    assert text.force(40.0) == "0.04 kN"
    assert text.pressure(450_000.0, unit=False) == "4.50"


def test_what_a_seat_does_not_see_is_a_dash():
    assert text.pressure(None) == text.gap(None) == text.force(None) == text.UNSEEN
    assert text.quantity(None, "") == text.UNSEEN


def test_zero_has_no_sign_and_vacuum_has():
    assert text.pressure(-10.0) == "0.00 bar"
    assert text.pressure(-20_000.0) == "-0.20 bar"


@pytest.mark.parametrize(
    ("value", "unit", "written"),
    [(4.5e5, "Pa", "4.50 bar"), (0.0065, "m", "6.5 mm"), (8900.0, "N", "8.90 kN"), (1.0, "", "1")],
)
def test_channels(value, unit, written):
    assert text.quantity(value, unit) == written


@pytest.mark.parametrize(
    ("time", "written"),
    [
        (0.0, "0:00.000"),
        (3.1, "0:03.100"),
        (59.9996, "1:00.000"),
        (75.02, "1:15.020"),
        (3661.5, "1:01:01.500"),
        (-0.1, "0:00.000"),
    ],
)
def test_clock(time, written):
    assert text.clock(time) == written


@pytest.mark.parametrize(
    ("seconds", "written"),
    [
        (0.49, "0.4 s"),
        (0.3, "0.3 s"),
        (9.99, "9.9 s"),
        (12.9, "12 s"),
        (125.0, "2 min 05 s"),
        (3720.0, "1 h 02 min"),
        (-1.0, "0.0 s"),
    ],
)
def test_ages_are_rounded_down(seconds, written):
    assert text.age(seconds) == written


def test_a_bar_is_as_wide_as_asked_and_tells_something_from_nothing():
    assert text.bar(0.0, 4) == "    "
    assert text.bar(1e-6, 4) == "▏   "
    assert text.bar(0.5, 4) == "██  "
    assert text.bar(0.999, 4) == "███▉"
    assert text.bar(1.0, 4) == text.bar(7.0, 4) == "████"
    assert text.bar(0.5, 0) == ""
    assert all(len(text.bar(i / 97, 9)) == 9 for i in range(98))


def test_a_cut_is_marked():
    assert text.short("trim_brake_2", 12) == "trim_brake_2"
    assert text.short("trim_brake_2", 6) == "trim_…"
    assert text.short("trim", 0) == ""


def test_names_that_differ_in_their_number_are_drawn_together():
    assert text.listed([]) == ""
    assert text.listed(["brake"]) == "brake"
    assert text.listed(["brake_1", "brake_2"]) == "brake_1, 2"
    assert text.listed(["brake_1", "brake_2", "brake_3", "brake_5"]) == "brake_1…3, 5"
    assert text.listed(["left", "brake_2"]) == "left, brake_2"
    assert text.listed(["a_1", "b_2"]) == "a_1, b_2"


def clues(names: str, instrument: str = "open switch", *, on: bool = False) -> list[Clue]:
    return [Clue(instrument, name, on) for name in names.split()]


@pytest.mark.parametrize(
    ("found", "drawn"),
    [
        ([], ""),
        (clues("a_1", "supply switch"), "supply switch a_1 is OFF"),
        (clues("b_1 b_2"), "'open' switch of b_1, 2 is OFF"),
        (clues("b_1 b_2 b_3 p"), "'open' switch of b_1…3 is OFF, 'open' switch of p is OFF"),
        (clues("b_1 b_2", "both switches"), "'open' and 'closed' switch of b_1, 2 are both ON"),
        (clues("s_1", "pressure switch") + clues("s_2", "pressure switch", on=True),
         "pressure switch s_1 is OFF, pressure switch s_2 is ON"),
        (clues("b_1") + clues("b_2", "closed switch"),
         "'open' switch of b_1 is OFF, 'closed' switch of b_2 is OFF"),
        (clues("b p c p"), "'open' switch of b is OFF, 'open' switch of p is OFF, "
         "'open' switch of c is OFF, 'open' switch of p is OFF"),
    ],
)  # fmt: skip
def test_neighbours_that_differ_by_a_number_are_drawn_together(found, drawn):
    assert evidence_words(text.together(found)) == drawn
