"""Tests for the scale on which the severities of every kind lie evenly."""

from __future__ import annotations

from itertools import pairwise

import pytest
from component_toys import VARIANTS, injected, variant

from pneumo.components.base import Severity
from pneumo.components.common_faults import HOLE
from pneumo.components.kinds.flow_control import SETTING
from pneumo.components.kinds.transmitter import DRIFT, GAIN
from pneumo.components.severity import graded, place_of, sides
from pneumo.components.solenoid import SLOWER

MODES = [
    pytest.param(kind, parameters, mode.name, id=f"{kind}-{i}-{mode.name}")
    for i, (kind, parameters) in enumerate(VARIANTS)
    for mode in variant(kind, parameters).fault_modes()
    if mode.severity is not None
]


def scale_of(kind: str, parameters: dict[str, str], name: str) -> Severity:
    modes = variant(kind, parameters).fault_modes()
    found = next(mode.severity for mode in modes if mode.name == name)
    assert found is not None
    return found


@pytest.mark.parametrize(("kind", "parameters", "name"), MODES)
def test_grades_go_from_weak_to_the_largest_and_every_one_is_a_fault(
    kind: str, parameters: dict[str, str], name: str
) -> None:
    severity = scale_of(kind, parameters, name)
    component = variant(kind, parameters)
    known = sides(severity)
    assert known
    for n in (1, 2, 3, 5):
        grades = graded(severity, n)
        assert severity.none not in grades
        assert all(severity.low <= grade <= severity.high for grade in grades)
        if not severity.step:
            assert len(grades) == n * len(known)
        assert all(injected(component, name, grade) != {} for grade in grades)
    for side in known:
        grades = side.graded(5)
        assert grades[-1] == side.full
        away = [abs(grade - severity.none) for grade in grades]
        assert all(a < b for a, b in pairwise(away))
        places = [side.place_of(grade) for grade in grades]
        if not severity.step:
            assert places == pytest.approx([0.0, 0.25, 0.5, 0.75, 1.0], abs=2e-3)


@pytest.mark.parametrize(("kind", "parameters", "name"), MODES)
def test_a_severity_has_a_place_and_the_place_gives_it_back(
    kind: str, parameters: dict[str, str], name: str
) -> None:
    severity = scale_of(kind, parameters, name)
    for value in (severity.default, *severity.campaign):
        side, place = place_of(severity, value)
        assert 0.0 <= place <= 1.0
        assert side.at(place) == pytest.approx(value, rel=1e-3)  # so it is not below the weakest
    for side in sides(severity):
        drawn = [side.at(i / 97) for i in range(98)]
        assert all(place_of(severity, value)[0] == side for value in drawn)
        assert [side.at(side.place_of(value)) for value in drawn] == pytest.approx(drawn, rel=2e-4)
        assert drawn == sorted(drawn, reverse=side.full < side.weak)
        assert side.at(-0.1) == side.weak and side.at(1.1) == side.full


def test_the_value_of_no_fault_has_no_place_and_a_weaker_one_than_the_weakest_the_first() -> None:
    for severity in (HOLE, SETTING, DRIFT, GAIN, SLOWER):
        with pytest.raises(ValueError, match="no severity of this fault mode"):
            place_of(severity, severity.none)
        for side in sides(severity):
            weaker = severity.none + 0.01 * (side.weak - severity.none)
            assert place_of(severity, weaker) == (side, 0.0)


def test_sizes_are_geometric_shares_linear_and_factors_geometric_on_both_sides() -> None:
    a, b, c, d = graded(HOLE, 4)
    assert (a, d) == (0.0004, 0.025)
    assert b / a == pytest.approx(c / b, rel=1e-3) == pytest.approx(d / c, rel=1e-3)
    shares = graded(Severity("", 0.0, 1.0, default=0.5, campaign=(0.5,)), 3)
    assert shares == (0.05, 0.525, 1.0)
    low, high = sides(SETTING)
    assert low.full == 0.0 and high.full == 20.0
    assert 0.0 < low.at(0.999) < low.at(0.5) < low.weak < 1.0 < high.weak < high.at(0.5)
    assert low.at(0.5) == pytest.approx(0.1, abs=0.01)
    assert high.at(0.5) == pytest.approx(5.2, abs=0.1)
    assert [side.full for side in sides(DRIFT)] == [-1e6, 1e6]
    assert [side.full for side in sides(GAIN)] == [-1.0, 1.0]
    assert [side.full for side in sides(SLOWER)] == [1000.0]


def test_springs_break_in_whole_ones() -> None:
    four = Severity("", 0.0, 1.0, default=0.25, campaign=(0.25,), step=0.25)
    assert graded(four, 3) == (0.25, 0.5, 1.0)
    assert graded(four, 9) == (0.25, 0.5, 0.75, 1.0)
    (side,) = sides(four)
    assert {side.at(i / 50) for i in range(51)} == {0.25, 0.5, 0.75, 1.0}
    one = Severity("", 0.0, 1.0, default=1.0, campaign=(1.0,), step=1.0)
    assert graded(one, 4) == (1.0,)
    (side,) = sides(one)
    assert side.place_of(1.0) == 1.0 == side.at(0.3)
