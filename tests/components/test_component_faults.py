"""Tests for the fault modes of every kind, and their agreement with the list in the standard."""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path

import pytest
from component_toys import EXAMPLES, VARIANTS, injected, make, variant

from pneumo import air
from pneumo.components import KINDS
from pneumo.components.base import FaultMode
from pneumo.components.common_faults import hole_conductance
from pneumo.components.iso13849_2 import SOURCE
from pneumo.units import parse_severity

ROWS = Path(__file__).parents[1] / "reference" / "faults_to_consider.csv"
GRADED = [
    pytest.param(kind, parameters, mode.name, id=f"{kind}-{i}-{mode.name}")
    for i, (kind, parameters) in enumerate(VARIANTS)
    for mode in variant(kind, parameters).fault_modes()
    if mode.severity is not None
]

NAMES = [f"{kind}-{i}" for i, (kind, _) in enumerate(VARIANTS)]

MODES = [
    pytest.param(kind, parameters, mode.name, id=f"{kind}-{i}-{mode.name}")
    for i, (kind, parameters) in enumerate(VARIANTS)
    for mode in variant(kind, parameters).fault_modes()
]

GROWS = "the same act as a leak or an internal leak that grows over time"
SETTING = "the same act as a changed setting"
NO_KIND = "no such kind"
UNUSED = {
    "A.5-3": "jaws that are seized or dragging",
    "A.5-4": "a broken spring, all of its force lost",
    "A.5-5": "the same act as a weak spring",
    "B.3-5": GROWS,
    "B.3-7": NO_KIND,
    "B.4-1": "a stuck or partly opening valve bounds it",
    "B.4-6": GROWS,
    "B.5-2": "a blocked flow control valve",
    "B.5-3": NO_KIND,
    "B.5-5": SETTING,
    "B.6-4": NO_KIND,
    "B.6-6": SETTING,
    "B.6-8": GROWS,
    "B.9-3": "the line or valve next to the connector, blocked",
    "B.11-2": "dirt is not modelled",
    "B.11-3": NO_KIND,
    "B.12-1": NO_KIND,
    "B.12-2": NO_KIND,
    "B.12-3": NO_KIND,
    "B.12-4": NO_KIND,
    "B.16-1": "as B.3, B.4, B.5",
    "B.17-1": NO_KIND,
    "B.17-2": NO_KIND,
    "B.17-3": NO_KIND,
    "B.18-1": "a pressure switch is taken as a sensor, B.15",
    "B.18-2": "a pressure switch is taken as a sensor, B.15",
    "B.18-3": "a pressure switch is taken as a transmitter, B.10",
}
"""Numbers of the rows that no fault mode names, and why."""


def mode_of(kind: str, parameters: dict[str, str], name: str) -> FaultMode:
    return next(m for m in variant(kind, parameters).fault_modes() if m.name == name)


def standard_rows() -> set[str]:
    lines = [line for line in ROWS.read_text().splitlines() if not line.startswith("#")]
    return {f"{row['row']} {row['fault']}" for row in csv.DictReader(lines)}


@pytest.mark.parametrize(("kind", "parameters", "name"), MODES)
def test_a_fault_changes_the_plant(kind: str, parameters: dict[str, str], name: str) -> None:
    component = variant(kind, parameters)
    assert injected(component, name) != {}
    severity = mode_of(kind, parameters, name).severity
    for grade in severity.campaign if severity is not None else ():
        assert injected(component, name, grade) != {}


@pytest.mark.parametrize(("kind", "parameters", "name"), GRADED)
def test_severity_none_is_no_fault(kind: str, parameters: dict[str, str], name: str) -> None:
    severity = mode_of(kind, parameters, name).severity
    assert severity is not None
    assert injected(variant(kind, parameters), name, severity.none) == {}


@pytest.mark.parametrize(("kind", "parameters", "name"), GRADED)
def test_the_ends_of_the_scale_can_be_injected(
    kind: str, parameters: dict[str, str], name: str
) -> None:
    severity = mode_of(kind, parameters, name).severity
    assert severity is not None
    component = variant(kind, parameters)
    assert severity.low <= severity.none <= severity.high
    for value in (severity.default, *severity.campaign):
        assert severity.low <= value <= severity.high
    injected(component, name, severity.low)
    assert injected(component, name, severity.high) != {}
    assert 1 <= len(severity.campaign) <= 2
    parse_severity(f"1 {severity.unit}", severity.unit)


@pytest.mark.parametrize(("kind", "parameters"), VARIANTS, ids=NAMES)
def test_names_are_unique_hyphenated_words(kind: str, parameters: dict[str, str]) -> None:
    modes = variant(kind, parameters).fault_modes()
    names = [mode.name for mode in modes]
    assert names
    assert len(set(names)) == len(names)
    for mode in modes:
        assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", mode.name)
        assert re.fullmatch(r"[A-Z].*\.", mode.effect)


@pytest.mark.parametrize(("kind", "parameters"), VARIANTS, ids=NAMES)
def test_whatever_holds_air_can_leak_and_burst(kind: str, parameters: dict[str, str]) -> None:
    component = variant(kind, parameters)
    names = {mode.name for mode in component.fault_modes()}
    assert ({"leak", "burst"} <= names) == bool(component.ports())


def test_rows_of_the_standard_are_named_rightly_and_the_rest_has_a_reason() -> None:
    named = {
        mode.standard
        for kind, parameters in VARIANTS
        for mode in variant(kind, parameters).fault_modes()
        if mode.standard
    }
    rows = standard_rows()
    assert named <= rows
    assert {row.split()[0] for row in rows - named} == set(UNUSED)


def test_rows_of_the_standard_have_a_number_and_the_edition_is_said() -> None:
    rows = [row.split()[0] for row in standard_rows()]
    assert len(set(rows)) == len(rows) == 64
    assert all(re.fullmatch(r"[AB]\.[0-9]{1,2}-[0-9]", row) for row in rows)
    comment = ROWS.read_text().split("row,component")[0]
    for words in ("our own words", "second-hand transcription", "2003", "superseded by 2012"):
        assert words in comment
    assert "2003" in SOURCE and "superseded by 2012" in SOURCE


def test_expected_words_are_there() -> None:
    words = {
        "bladder_brake": "spring-broken spring-weak bladder-burst bladder-pinhole jaw-seized "
        "jaw-dragging lining-worn",
        "check_valve": "blocked stuck-open stuck-closed",
        "compressor": "stopped weak never-unloads",
        "cylinder": "seized dragging piston-seal-leak",
        "dual_pressure": "blocked stuck-open stuck-closed",
        "electrical_feed": "lost",
        "filter": "blocked",
        "flow_control": "blocked setting-changed",
        "hose": "blocked kinked",
        "ideal_supply": "lost",
        "jaw_switch": "stuck-on stuck-off",
        "pipe": "blocked",
        "pressure_switch": "stuck-on stuck-off drift",
        "quick_exhaust": "blocked stuck-open stuck-closed exhaust-stuck-open exhaust-stuck-closed",
        "regulator": "blocked drift-high drift-low stuck-open stuck-closed",
        "relief_valve": "blocked drift-high drift-low stuck-open stuck-closed",
        "shut_off": "blocked stuck closed-by-mistake",
        "shuttle": "blocked stuck-open stuck-closed",
        "silencer": "blocked",
        "soft_start": "stuck stuck-midway slow uncommanded-return internal-leak coil-open",
        "transmitter": "drift gain frozen signal-lost",
        "tube": "blocked kinked",
        "valve_2_2": "stuck stuck-rest stuck-actuated stuck-midway slow uncommanded-actuation",
        "valve_3_2": "uncommanded-return internal-leak coil-open output-stuck-on output-stuck-off",
        "valve_5_2": "blocked stuck",
        "valve_5_3": "coil-14-open coil-12-open output-14-stuck-on output-12-stuck-off",
    }
    assert set(words) | {"accumulator", "gauge", "manifold", "receiver"} == set(KINDS)
    for kind, expected in words.items():
        assert set(expected.split()) <= {mode.name for mode in make(kind).fault_modes()}, kind


def test_pilot_lost_only_where_there_is_a_pilot() -> None:
    assert "pilot-lost" not in {mode.name for mode in make("valve_3_2").fault_modes()}
    assert injected(make("valve_3_2", operation="pilot"), "pilot-lost") == {"pilot": "lost"}


def test_a_leak_is_a_sharp_edged_hole() -> None:
    # C of a 2 mm hole: Cd A 0.6847 / (rho0 sqrt(R T0)), 0.6847 = psi_max of air
    expected = 0.65 * math.pi * 1e-6 * 0.68473 / (1.185 * math.sqrt(287.05 * 293.15))
    assert hole_conductance(0.002) == pytest.approx(expected, rel=1e-4)
    assert injected(make("receiver"), "leak") == {"leak 1": hole_conductance(0.002)}


def test_a_line_bursts_to_its_bore_and_a_valve_to_twice_its_conductance() -> None:
    bore = math.pi / 4.0 * 0.009**2
    assert injected(make("hose"), "burst")["leak 2"] == air.orifice_conductance(bore, 0.65)
    assert injected(make("check_valve"), "burst")["leak 2"] == pytest.approx(9e-8)


def test_a_kink_is_in_the_middle_and_a_blockage_at_one_end() -> None:
    tube = make("tube", segments="5")
    assert list(injected(tube, "kinked")) == ["opening segment 3"]
    assert list(injected(tube, "blocked", 0.5)) == ["opening segment 1"]


def test_a_setting_can_change_both_ways() -> None:
    valve = make("flow_control")
    assert injected(valve, "setting-changed", 0.25) == {"opening 1-2": 0.25}
    assert injected(valve, "setting-changed", 3.0) == {"opening 1-2": 3.0}


def test_drift_has_the_sign_its_name_says() -> None:
    assert injected(make("regulator"), "drift-high", 5e4) == {"setting": 5e4}
    assert injected(make("regulator"), "drift-low", 5e4) == {"setting": -5e4}
    assert injected(make("relief_valve"), "drift-high", 5e4) == {"threshold 1-3": 5e4}
    assert injected(make("relief_valve"), "drift-low", 5e4) == {"threshold 1-3": -5e4}


def test_one_of_n_springs() -> None:
    assert injected(make("bladder_brake", springs="5"), "spring-broken") == {"spring": 0.8}
    assert injected(make("bladder_brake", springs="1"), "spring-broken") == {"spring": 0.0}


def test_one_moving_ski_makes_up_for_both_worn_linings() -> None:
    two, one = make("bladder_brake"), make("bladder_brake", bladders="1")
    assert injected(two, "lining-worn", 0.001) == {"wear": 0.001}
    assert injected(one, "lining-worn", 0.001) == {"wear": 0.002}


def test_a_campaign_stays_small() -> None:
    for kind in EXAMPLES:
        runs = sum(
            len(mode.severity.campaign) if mode.severity is not None else 1
            for mode in make(kind).fault_modes()
        )
        assert runs <= 20, kind
