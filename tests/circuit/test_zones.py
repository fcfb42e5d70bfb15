"""Tests for pneumo/circuit/zones.py, and for which branches are drawn as one."""

from __future__ import annotations

from typing import Any

import pytest
from circuit_pieces import circuit, piece, two_zones

from pneumo.circuit.symmetry import alike, equivalents
from pneumo.circuit.zones import territories
from pneumo.schematic.sheet import sheets


@pytest.mark.parametrize("order", [1, -1])
def test_zones_and_branches_on_a_ring(order: int) -> None:
    made = two_zones(order)
    for zone in ("low", "high"):
        assert set(territories(made)[zone]) == {
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
    number = 1 if order == 1 else 3
    hoses = {"low_hose_1", "low_hose_2", "low_hose_3"}
    drawn = {box.name: set(box.members) for sheet in sheets(made) for box in sheet.boxes}
    assert drawn[f"low_hose_{number}"] == hoses
    assert not (hoses - {f"low_hose_{number}"}) & drawn.keys()


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
    made = circuit(parts, links, zones={"z": ("brake_1", "brake_2")})
    return {names[0]: names for names in equivalents(made).values()}


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
    assert alike(circuit(parts, links, zones={"z": ("brake",)})) == ()


def test_a_zone_begins_at_its_shut_off() -> None:
    parts = {
        "supply": piece("ideal_supply"),
        "line": piece("pipe"),
        "main": piece("shut_off"),
        "valve": piece("valve_3_2"),
        "brake": piece("bladder_brake"),
    }
    links = "supply.2->line.1 line.2->main.1 main.2->valve.1 valve.2->brake.1"
    zones = territories(circuit(parts, links, zones={"z": ("brake",)}))
    assert zones == {"z": ("main", "valve", "brake")}


def test_brakes_that_no_air_reaches_are_still_a_zone() -> None:
    made = circuit({"brake": piece("bladder_brake")}, "", zones={"z": ("brake",)})
    assert territories(made) == {"z": ("brake",)}


def test_a_circuit_without_zones() -> None:
    made = circuit(
        {"supply": piece("ideal_supply"), "tank": piece("receiver")},
        "supply.2->tank.1 tank.2->plug",
    )
    assert territories(made) == {}
