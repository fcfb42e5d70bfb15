"""Tests for pneumo/report/traces.py."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from report_examples import case, outcome, trace

from pneumo.report.palette import EDGE
from pneumo.report.traces import HEIGHT, STYLES, WIDTH, Mark, case_charts, chart, thinned, ticks
from pneumo.verification.case import Injection, Loss

floats = st.floats(allow_nan=True, allow_infinity=True, width=32)


def _paths(svg: str, colour: str) -> list[ET.Element]:
    nodes = ET.fromstring(svg).iter()
    return [n for n in nodes if n.get("stroke") == colour and "L" in n.get("d", "")]


@settings(max_examples=60)
@given(st.lists(st.tuples(st.floats(0, 1e4), floats, floats), max_size=40))
def test_any_signal_stays_within_its_frame(rows: list[tuple[float, float, float]]) -> None:
    rows.sort(key=lambda row: row[0])
    svg = chart(
        [r[0] for r in rows],
        {"a": [r[1] for r in rows], "<b>": [r[2] for r in rows]},
        title="p & q",
        marks=[Mark(1.0, "injected")],
    )
    ET.fromstring(svg)
    for d in re.findall(r' d="M([^"HVhv]*)"', svg):
        for point in re.split("[LM]", d):
            x, y = map(float, point.split())
            assert -0.1 <= x <= WIDTH + 0.1 and -0.1 <= y <= HEIGHT + 0.1


@given(st.floats(-1e9, 1e9), st.floats(1e-6, 1e9), st.integers(2, 10))
def test_ticks_are_round_and_enclose_the_range(low: float, wide: float, about: int) -> None:
    high = low + wide
    if high - low < 1e-9 * abs(low):
        return
    found = ticks(low, high, about)
    step = found[1] - found[0]
    assert found[0] <= low + 1e-6 * step and found[-1] >= high - 1e-6 * step
    assert 2 <= len(found) <= about + 3
    mantissa = step / 10 ** math.floor(math.log10(step) + 1e-9)
    assert min(abs(mantissa - m) for m in (1, 2, 5, 10)) < 1e-3 * mantissa + 1e-6 * abs(low) / step


def test_ticks_by_example() -> None:
    assert ticks(0.0, 6.0, 4) == [0.0, 2.0, 4.0, 6.0]
    assert ticks(0.0, 11.0, 4) == [0.0, 5.0, 10.0, 15.0]


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=3000))
@settings(max_examples=40)
def test_thinning_keeps_extremes_and_ends(values: list[float]) -> None:
    kept = thinned(range(len(values)), values, 100)
    assert len(kept) <= 120
    assert kept == sorted(kept)
    assert kept[0] == (0, values[0]) and kept[-1] == (len(values) - 1, values[-1])
    assert max(v for _, v in kept) == max(values)
    assert min(v for _, v in kept) == min(values)


def test_dash_patterns_are_enough_without_colour() -> None:
    assert len({dash for _, dash in STYLES}) == len(STYLES)


def test_lines_of_zones_that_are_not_safe_stand_out() -> None:
    svg = chart([0, 1, 2], {"trim": [0, 1, 0], "block": [1, 0, 2]}, title="t", strong=["block"])
    assert ">block<" in svg and ">trim<" not in svg and "grey: safe zones" in svg
    assert len(_paths(svg, STYLES[0][0])) == 1
    assert len(_paths(svg, EDGE)) == 1


def test_a_gap_is_left_where_a_value_is_missing() -> None:
    svg = chart([0, 1, 2, 3, 4], {"a": [0, 1, math.nan, 2, 1]}, title="t")
    (line,) = _paths(svg, STYLES[0][0])
    assert line.get("d", "").count("M") == 2


def test_the_corner_of_a_level_stretch_is_kept() -> None:
    time = [0, 1, 2, 3, 4]
    (line,) = _paths(chart(time, {"a": [5, 5, 5, 5, 0]}, title="t"), STYLES[0][0])
    assert line.get("d", "").count("L") == 2


def test_unequal_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="a has 1 values for 2 times"):
        chart([0, 1], {"a": [0]}, title="t")


def test_a_case_has_three_charts_with_inject_demand_and_limit() -> None:
    bad = case(outcomes=(outcome(verdict="late", reached_after=2.0), outcome("block")))
    svgs = case_charts(bad, trace(bad))
    assert svgs.count("<svg") == 3
    for words in ("bar (gauge)", "state, mm", "state, kN", "injected", "demand", "limit"):
        assert words in svgs
    assert svgs.count(">trim_brake_2<") == 3 and ">block_brake_2<" not in svgs


@pytest.mark.parametrize(
    ("safe_state", "judged", "required"),
    [
        ("closed", "Clamping force at the brake", 6e3),
        ("open", "Least clearance at the brake", 2e-3),
    ],
)
def test_what_is_judged_comes_first_with_what_is_required_of_it(
    safe_state: str, judged: str, required: float
) -> None:
    bad = case(outcomes=(outcome(verdict="unsafe", safe_state=safe_state),))
    shown = replace(trace(bad, ("trim",)), required={"trim": required})
    first, *others = case_charts(bad, shown).split("</svg>")[:3]
    assert judged in first and ">required<" in first
    assert not any(">required<" in other for other in others)
    assert ("Remaining clamping force" in others[0]) == (safe_state == "open")


def test_nothing_is_marked_where_nothing_is_required() -> None:
    bad = case(outcomes=(outcome(verdict="unsafe"),))
    shown = replace(trace(bad, ("trim",)), required={"trim": None})
    assert ">required<" not in case_charts(bad, shown)


def test_a_long_name_keeps_its_number() -> None:
    names = {"a": "brakes_of_the_long_station_brake_12"}
    svg = chart([0, 1], {"a": [0, 1]}, title="t", names=names)
    assert ">brakes_of_…_brake_12<" in svg


def test_a_loss_that_is_its_own_demand_is_marked_once() -> None:
    bad = case(
        injection=Injection(Loss("power")), limit_from=4.0, outcomes=(outcome(verdict="unsafe"),)
    )
    svgs = case_charts(bad, trace(bad, ("trim",)))
    assert "injected" in svgs and "demand" not in svgs
