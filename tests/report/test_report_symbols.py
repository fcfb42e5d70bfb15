"""Tests for pneumo/report/symbols.py."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest
from report_examples import PORTS, piece

from pneumo.circuit.validate import KINDS
from pneumo.report.symbols import GRID, SPREAD_KINDS, drawn_kinds, spread, symbol

VARIANTS = [
    *((kind, {}) for kind in PORTS),
    ("valve_2_2", {"rest": "open"}),
    ("valve_3_2", {"rest": "open", "operation": "pilot", "pilot_supply": "external"}),
    ("valve_3_2", {"memory": "bistable"}),
    ("valve_5_2", {"operation": "pilot"}),
    ("valve_5_3", {"centre": "exhausted"}),
    ("valve_5_3", {"centre": "pressurised"}),
    ("check_valve", {"cracking": 5e3}),
    ("flow_control", {"bypass_C": 1e-8}),
    ("bladder_brake", {"spring": "close"}),
    ("bladder_brake", {"bladders": 1}),
    ("cylinder", {"starts": "extended"}),
]


def test_every_kind_has_its_own_symbol() -> None:
    assert set(KINDS) == set(drawn_kinds()) == set(PORTS)


@pytest.mark.parametrize(("kind", "parameters"), VARIANTS)
def test_a_symbol_has_exactly_its_ports_on_its_edges(kind: str, parameters: dict) -> None:
    component = piece(kind, **parameters)
    drawn = symbol(component)
    assert set(drawn.ports) == {port.name for port in component.ports()}
    for anchor in drawn.ports.values():
        assert 0 <= anchor.x <= drawn.width
        assert anchor.x % (GRID / 2) == 0
        assert anchor.y == (0 if anchor.side == "top" else drawn.height)
    places = [(anchor.x, anchor.y) for anchor in drawn.ports.values()]
    assert len(set(places)) == len(places)
    ET.fromstring(f"<g>{drawn.body}</g>")


@pytest.mark.parametrize(("kind", "parameters"), [v for v in VARIANTS if v[1]])
def test_what_changes_the_function_changes_the_symbol(kind: str, parameters: dict) -> None:
    assert symbol(piece(kind, **parameters)).body != symbol(piece(kind)).body


def test_symbols_differ_from_kind_to_kind() -> None:
    bodies = {kind: symbol(piece(kind)).body for kind in PORTS}
    assert len(set(bodies.values())) == len(PORTS)


@pytest.mark.parametrize("kind", sorted(SPREAD_KINDS))
def test_a_manifold_or_vessel_takes_ports_where_it_is_told(kind: str) -> None:
    drawn = spread(piece(kind, 4), {"1": 20, "3": 140}, {"2": 60, "4": 80})
    assert drawn.width >= 150
    assert {p: (a.x, a.side) for p, a in drawn.ports.items()} == {
        "1": (20, "top"),
        "3": (140, "top"),
        "2": (60, "bottom"),
        "4": (80, "bottom"),
    }


def test_an_unknown_kind_is_a_box_with_its_ports() -> None:
    component = piece("valve_5_2").model_copy(update={"kind": "future_kind"})
    assert set(symbol(component).ports) == {"1", "2", "3", "4", "5"}
