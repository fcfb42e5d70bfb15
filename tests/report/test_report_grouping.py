"""Tests for pneumo/report/grouping.py."""

from __future__ import annotations

from typing import Any

import pytest
from report_examples import circuit, piece, two_zones

from pneumo.report.grouping import group


@pytest.mark.parametrize("order", [1, -1])
def test_zones_main_and_branches_of_a_ring(order: int) -> None:
    groups = group(two_zones(order))
    assert groups.ring
    assert sorted(groups.main) == ["ring_1", "ring_2", "ring_3", "tee_0", "tee_1", "tee_2"]
    assert groups.main[0] == "tee_0"
    for zone in ("low", "high"):
        assert set(groups.zones[zone]) == {
            f"{zone}_{part}"
            for part in (
                "valve",
                "manifold",
                "switch",
                "hose_1",
                "hose_2",
                "hose_3",
                "brake_1",
                "brake_2",
                "brake_3",
            )
        }
    drawn = {names[0]: set(names) for names in groups.alike.values()}
    number = 1 if order == 1 else 3
    assert drawn[f"low_hose_{number}"] == {"low_hose_1", "low_hose_2", "low_hose_3"}
    assert len(groups.hidden()) == 8


def test_the_order_along_the_main_follows_the_zones() -> None:
    groups = group(two_zones())
    assert groups.main == ("tee_0", "ring_1", "tee_1", "ring_2", "tee_2", "ring_3")


def _branches(**second: Any) -> dict[str, tuple[str, ...]]:
    parts = {
        "supply": piece("ideal_supply"),
        "valve": piece("valve_3_2"),
        "manifold": piece("manifold", 3),
        "hose_1": piece("hose", length=1.0),
        "hose_2": piece("hose", length=1.0, **second),
        "brake_1": piece("bladder_brake"),
        "brake_2": piece("bladder_brake"),
        "seen_1": piece("jaw_switch", of="brake_1"),
    }
    if not second.get("unseen"):
        parts["seen_2"] = piece("jaw_switch", of="brake_2")
    links = (
        "supply.2->valve.1 valve.2->manifold.1 manifold.2->hose_1.1 manifold.3->hose_2.1 "
        "hose_1.2->brake_1.1 hose_2.2->brake_2.1"
    )
    return group(circuit(parts, links, zones={"z": ("brake_1", "brake_2")})).alike


def test_alike_branches_share_a_drawing_with_their_switches() -> None:
    assert _branches() == {
        "hose_1": ("hose_1", "hose_2"),
        "brake_1": ("brake_1", "brake_2"),
        "seen_1": ("seen_1", "seen_2"),
    }
    assert _branches(about="replaced last spring") == _branches()


def test_a_different_parameter_or_switch_parts_them() -> None:
    assert _branches(bore=9e-3) == {}
    assert _branches(unseen=True) == {}


def test_redundant_valves_are_never_drawn_as_one() -> None:
    parts = {
        "supply": piece("ideal_supply"),
        "in": piece("manifold", 3),
        "out": piece("manifold", 3),
        "valve_a": piece("valve_3_2"),
        "valve_b": piece("valve_3_2"),
        "brake": piece("bladder_brake"),
    }
    links = (
        "supply.2->in.1 in.2->valve_a.1 in.3->valve_b.1 valve_a.2->out.1 valve_b.2->out.2 "
        "out.3->brake.1"
    )
    assert group(circuit(parts, links, zones={"z": ("brake",)})).alike == {}


def test_a_zone_begins_at_its_shut_off() -> None:
    parts = {
        "supply": piece("ideal_supply"),
        "line": piece("pipe"),
        "main": piece("shut_off"),
        "valve": piece("valve_3_2"),
        "brake": piece("bladder_brake"),
    }
    links = "supply.2->line.1 line.2->main.1 main.2->valve.1 valve.2->brake.1"
    zones = group(circuit(parts, links, zones={"z": ("brake",)})).zones
    assert zones == {"z": ("main", "valve", "brake")}


def test_brakes_that_no_air_reaches_are_still_a_zone() -> None:
    made = circuit({"brake": piece("bladder_brake")}, "", zones={"z": ("brake",)})
    assert group(made).zones == {"z": ("brake",)}
    assert group(made).main == ()


def test_a_circuit_without_zones() -> None:
    made = circuit(
        {"supply": piece("ideal_supply"), "tank": piece("receiver")},
        "supply.2->tank.1 tank.2->plug",
    )
    assert group(made).zones == {}
