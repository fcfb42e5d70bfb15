"""Tests for when the paths of valves are open: by spool, by pressures, by the stem."""

from __future__ import annotations

import itertools

import pytest
from component_toys import (
    AMBIENT,
    ATMOSPHERE,
    Ledger,
    lowered,
    make,
    pressure_opening,
    spool_opening,
)

from pneumo.components.base import Pilot
from pneumo.components.fitting import PORT_VOLUME

BAR = 1e5


def openings(ledger: Ledger, position: float) -> dict[str, float]:
    return {label: spool_opening(path, position) for label, path in ledger.paths.items()}


def by_pressure(ledger: Ledger, **gauge: float) -> dict[str, float]:
    """Openings at gauge pressures [bar] of ports, written p1, p1a, p2; the rest is open air."""
    pressures = {ATMOSPHERE: AMBIENT}
    for port, node in ledger.ports.items():
        if node != ATMOSPHERE:
            pressures[node] = AMBIENT + BAR * gauge[f"p{port}"]
    return {
        label: pressure_opening(path, pressures)
        for label, path in ledger.paths.items()
        if path["pressure"] is not None
    }


@pytest.mark.parametrize(
    ("kind", "parameters", "position", "is_open"),
    [
        ("valve_2_2", {}, 0.0, set()),
        ("valve_2_2", {}, 1.0, {"1-2"}),
        ("valve_2_2", {"rest": "open"}, 0.0, {"1-2"}),
        ("valve_2_2", {"rest": "open"}, 1.0, set()),
        ("valve_3_2", {}, 0.0, {"2-3"}),
        ("valve_3_2", {}, 0.5, set()),
        ("valve_3_2", {}, 1.0, {"1-2"}),
        ("valve_3_2", {"rest": "open"}, 0.0, {"1-2"}),
        ("valve_3_2", {"rest": "open"}, 1.0, {"2-3"}),
        ("valve_5_2", {}, 0.0, {"1-2", "4-5"}),
        ("valve_5_2", {}, 0.5, set()),
        ("valve_5_2", {}, 1.0, {"1-4", "2-3"}),
        ("valve_5_3", {}, -1.0, {"1-2", "4-5"}),
        ("valve_5_3", {}, 0.0, set()),
        ("valve_5_3", {}, 1.0, {"1-4", "2-3"}),
        ("valve_5_3", {"centre": "exhausted"}, -1.0, {"1-2", "4-5"}),
        ("valve_5_3", {"centre": "exhausted"}, 0.0, {"2-3", "4-5"}),
        ("valve_5_3", {"centre": "exhausted"}, 1.0, {"1-4", "2-3"}),
        ("valve_5_3", {"centre": "pressurised"}, -1.0, {"1-2", "4-5"}),
        ("valve_5_3", {"centre": "pressurised"}, 0.0, {"1-2", "1-4"}),
        ("valve_5_3", {"centre": "pressurised"}, 1.0, {"1-4", "2-3"}),
        ("shut_off", {}, 0.0, {"2-3"}),
        ("shut_off", {}, 1.0, {"1-2"}),
        ("soft_start", {}, 0.0, {"2-3"}),
        ("soft_start", {}, 1.0, {"1-2 slow", "1-2 full"}),
    ],
)
def test_ways_by_spool_position(
    kind: str, parameters: dict[str, str], position: float, is_open: set[str]
) -> None:
    found = openings(lowered(make(kind, **parameters)), position)
    assert {label for label, value in found.items() if value == 1.0} == is_open
    assert all(value == 0.0 for label, value in found.items() if label not in is_open)


@pytest.mark.parametrize(
    ("kind", "parameters"),
    [
        ("valve_3_2", {}),
        ("valve_3_2", {"rest": "open"}),
        ("valve_5_2", {}),
        ("valve_5_3", {"centre": "closed"}),
        ("valve_5_3", {"centre": "exhausted"}),
        ("valve_5_3", {"centre": "pressurised"}),
        ("shut_off", {}),
        ("soft_start", {}),
    ],
)
def test_supply_never_blows_through_to_the_exhaust(kind: str, parameters: dict[str, str]) -> None:
    ledger = lowered(make(kind, **parameters))
    for step in range(-100, 101):
        found = openings(ledger, step / 100.0)
        for charge, vent in itertools.product(found, found):
            outlet = charge[2]
            if charge[0] == "1" and vent.startswith(f"{outlet}-"):
                assert min(found[charge], found[vent]) == 0.0, (step, charge, vent)


def test_exhaust_conductance_applies_to_exhaust_paths_only() -> None:
    paths = lowered(make("valve_5_2", exhaust_C="9 L/(s·bar)")).paths
    assert {label: path["C"] for label, path in paths.items()} == pytest.approx(
        {"1-2": 4.5e-8, "2-3": 9e-8, "1-4": 4.5e-8, "4-5": 9e-8}
    )


def test_coils_memory_and_pilot_of_solenoid_valves() -> None:
    single = lowered(make("valve_3_2")).spools[0]
    assert (single["rest"], single["at_14"], single["at_12"], single["memory"]) == (
        0.0, 1.0, None, False,
    )  # fmt: skip
    assert single["pilot"] is None
    bistable = make("valve_5_2", memory="bistable")
    assert bistable.coils() == ("14", "12")
    spool = lowered(bistable).spools[0]
    assert (spool["at_14"], spool["at_12"], spool["memory"]) == (1.0, 0.0, True)
    centred = make("valve_5_3")
    assert centred.coils() == ("14", "12")
    spool = lowered(centred).spools[0]
    assert (spool["at_14"], spool["at_12"], spool["memory"]) == (1.0, -1.0, False)


def test_pilot_air_comes_from_port_1_or_from_port_14() -> None:
    inside = lowered(make("valve_3_2", operation="pilot", minimum_pilot="2 bar"))
    assert inside.spools[0]["pilot"] == Pilot(inside.ports["1"], pytest.approx(2e5), 6e5)
    outside = lowered(make("valve_3_2", operation="pilot", pilot_supply="external"))
    assert outside.spools[0]["pilot"] == Pilot(outside.ports["14"], pytest.approx(2.5e5), 6e5)
    assert outside.volumes[outside.ports["14"]] == PORT_VOLUME


def test_soft_start_switches_through_at_a_fraction_of_the_gauge_pressure() -> None:
    ledger = lowered(make("soft_start", full_at="50 %"))
    assert ledger.spools[0]["standing"] is True
    assert by_pressure(ledger, p1=0.0, p2=0.0) == {"1-2 full": 0.0}
    assert by_pressure(ledger, p1=6.0, p2=2.99) == {"1-2 full": 0.0}
    assert by_pressure(ledger, p1=6.0, p2=3.1) == {"1-2 full": pytest.approx(0.5)}
    assert by_pressure(ledger, p1=6.0, p2=3.3) == {"1-2 full": 1.0}
    early = lowered(make("soft_start", full_at="30 %"))
    assert by_pressure(early, p1=6.0, p2=1.9) == {"1-2 full": pytest.approx(0.5)}
    assert ledger.paths["1-2 slow"]["C"] == pytest.approx(0.5e-8)


def test_check_valve_passes_one_way() -> None:
    ledger = lowered(make("check_valve", cracking="0.05 bar", full_open_after="0.1 bar"))
    assert by_pressure(ledger, p1=5.0, p2=6.0) == {"1-2": 0.0}
    assert by_pressure(ledger, p1=5.05, p2=5.0) == {"1-2": pytest.approx(0.0, abs=1e-9)}
    assert by_pressure(ledger, p1=5.1, p2=5.0) == {"1-2": pytest.approx(0.5)}
    assert by_pressure(ledger, p1=5.2, p2=5.0) == {"1-2": 1.0}


def test_quick_exhaust_feeds_then_vents() -> None:
    ledger = lowered(make("quick_exhaust", opens_at="0.1 bar"))
    assert by_pressure(ledger, p1=6.0, p2=0.0) == {"1-2": 1.0, "2-3": 0.0}
    assert by_pressure(ledger, p1=6.0, p2=6.0) == {"1-2": 0.0, "2-3": 0.0}
    assert by_pressure(ledger, p1=0.0, p2=6.0) == {"1-2": 0.0, "2-3": 1.0}
    assert by_pressure(ledger, p1=0.0, p2=0.09) == {"1-2": 0.0, "2-3": 0.0}
    assert ledger.paths["2-3"]["C"] == pytest.approx(9e-8)


def test_relief_valve_opens_above_its_setting() -> None:
    ledger = lowered(make("relief_valve", set_pressure="11 bar", accumulation="0.5 bar"))
    assert by_pressure(ledger, p1=10.9) == {"1-3": 0.0}
    assert by_pressure(ledger, p1=11.25) == {"1-3": pytest.approx(0.5)}
    assert by_pressure(ledger, p1=12.0) == {"1-3": 1.0}


def test_flow_control_is_free_from_2_to_1_only() -> None:
    ledger = lowered(make("flow_control"))
    assert ledger.paths["1-2"]["pressure"] is None
    assert by_pressure(ledger, p1=6.0, p2=0.0) == {"2-1": 0.0}
    assert by_pressure(ledger, p1=0.0, p2=6.0) == {"2-1": 1.0}


@pytest.mark.parametrize("kind", ["shuttle", "dual_pressure"])
def test_two_inlets_together_always_pass_the_whole_conductance(kind: str) -> None:
    # whatever the pressures, the outlet can empty: nothing is trapped between two closed seats
    ledger = lowered(make(kind))
    for a, b, out in itertools.product((0.0, 0.01, 0.03, 0.05, 3.0, 6.0), repeat=3):
        found = by_pressure(ledger, p1a=a, p1b=b, p2=out)
        assert sum(found.values()) == pytest.approx(1.0)


def test_shuttle_passes_the_higher_and_empties_the_way_it_was_filled() -> None:
    ledger = lowered(make("shuttle"))
    assert by_pressure(ledger, p1a=6.0, p1b=0.0, p2=0.0) == {"1a-2": 1.0, "1b-2": 0.0}
    assert by_pressure(ledger, p1a=0.0, p1b=6.0, p2=0.0) == {"1a-2": 0.0, "1b-2": 1.0}
    # fed by a, a now vented through a valve that holds a little back; b at zero
    assert by_pressure(ledger, p1a=0.3, p1b=0.0, p2=5.0) == {"1a-2": 1.0, "1b-2": 0.0}
    assert by_pressure(ledger, p1a=0.0, p1b=0.0, p2=5.0) == {"1a-2": 1.0, "1b-2": 0.0}
    # fed by b, b now vented
    assert by_pressure(ledger, p1a=0.0, p1b=0.3, p2=5.0) == {"1a-2": 0.0, "1b-2": 1.0}


def test_dual_pressure_passes_the_lower_only() -> None:
    ledger = lowered(make("dual_pressure"))
    assert by_pressure(ledger, p1a=6.0, p1b=0.0, p2=0.0) == {"1a-2": 0.0, "1b-2": 1.0}
    assert by_pressure(ledger, p1a=0.0, p1b=6.0, p2=0.0) == {"1a-2": 1.0, "1b-2": 0.0}
    assert by_pressure(ledger, p1a=6.0, p1b=4.0, p2=2.0) == {"1a-2": 0.0, "1b-2": 1.0}
    # both charged, b vented: the outlet empties through b
    assert by_pressure(ledger, p1a=6.0, p1b=0.0, p2=6.0) == {"1a-2": 0.0, "1b-2": 1.0}


def test_regulator_opens_over_its_droop_and_relieves_above_its_offset() -> None:
    regulator = make(
        "regulator", set_pressure="6 bar", droop="0.4 bar", hysteresis="0.1 bar",
        relief_offset="0.1 bar",
    )  # fmt: skip
    ledger = lowered(regulator)
    (stem,) = ledger.stems
    assert stem["node"] == ledger.ports["2"]
    assert stem["setting"] == pytest.approx(AMBIENT + 6 * BAR)
    assert stem["dead_band"] == pytest.approx(0.125)

    def at(gauge: float) -> dict[str, float]:
        """Openings when the stem has settled at an outlet pressure [bar], play left out."""
        z = (stem["setting"] - (AMBIENT + gauge * BAR)) / stem["band"]
        laws = {label: path["stem"] for label, path in ledger.paths.items() if path["stem"]}
        return {
            label: min(1.0, max(0.0, (z - law.closed) / (law.open - law.closed)))
            for label, law in laws.items()
        }

    assert at(5.6) == pytest.approx({"1-2": 1.0, "2-3": 0.0})
    assert at(5.8) == pytest.approx({"1-2": 0.5, "2-3": 0.0})
    assert at(6.05) == pytest.approx({"1-2": 0.0, "2-3": 0.0})
    assert at(6.3) == pytest.approx({"1-2": 0.0, "2-3": 0.5})
    assert at(6.5) == pytest.approx({"1-2": 0.0, "2-3": 1.0})


def test_regulator_lets_air_back_only_when_told_so() -> None:
    ledger = lowered(make("regulator"))
    back = ledger.paths["2-1"]["pressure"]
    assert (back.hi, back.lo) == (ledger.ports["2"], ledger.ports["1"])
    assert back.threshold > 0.0
    assert "2-1" not in lowered(make("regulator", reverse_flow="no")).paths


def test_regulator_without_relief_has_no_exhaust() -> None:
    plain = make("regulator", relieving="no", reverse_flow="no")
    assert [port.name for port in plain.ports()] == ["1", "2"]
    assert list(lowered(plain).paths) == ["1-2"]
