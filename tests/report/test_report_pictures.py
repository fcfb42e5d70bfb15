"""Tests for pneumo/report/pictures.py and valves.py."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest
from circuit_pieces import PORTS, piece

from pneumo.components import KINDS
from pneumo.components.symbol import Symbol
from pneumo.report.picture import GRID
from pneumo.report.pictures import PICTURES, picture
from pneumo.schematic.sheet import ports_in_order, side_of

VARIANTS = [
    *((kind, {}) for kind in PORTS),
    ("valve_2_2", {"rest": "open"}),
    ("valve_3_2", {"rest": "open", "operation": "pilot", "pilot_supply": "external"}),
    ("valve_3_2", {"memory": "bistable"}),
    ("valve_5_2", {"operation": "pilot"}),
    ("valve_5_3", {"centre": "exhausted"}),
    ("valve_5_3", {"centre": "pressurised"}),
    ("check_valve", {"cracking": 0.0}),
    ("flow_control", {"bypass_C": 1e-8}),
    ("bladder_brake", {"spring": "close"}),
    ("bladder_brake", {"bladders": 1}),
    ("cylinder", {"starts": "extended"}),
]


def test_every_kind_has_a_picture_and_no_picture_is_left_over() -> None:
    assert {kind.symbol.picture for kind in KINDS.values()} == set(PICTURES)
    assert set(KINDS) == set(PORTS)


@pytest.mark.parametrize(("kind", "parameters"), VARIANTS)
def test_a_picture_has_exactly_its_ports_on_its_edges(kind: str, parameters: dict) -> None:
    component = piece(kind, **parameters)
    drawn = picture(component)
    for side, ports in (("low", drawn.low), ("high", drawn.high)):
        if component.merged_ports():
            assert list(ports) == [""]
        else:
            order = [p for p in ports_in_order(component) if side_of(component, p) == side]
            assert sorted(ports, key=lambda port: ports[port]) == order
        assert all(0 <= x <= drawn.width and x % (GRID / 2) == 0 for x in ports.values())
        # the ports of one edge lie on one grid, wherever that begins
        assert len({x % GRID for x in (*drawn.low.values(), *drawn.high.values())}) <= 1
    ET.fromstring(f"<g>{drawn.body}</g>")


@pytest.mark.parametrize(("kind", "parameters"), [v for v in VARIANTS if v[1]])
def test_what_changes_the_function_changes_the_symbol(kind: str, parameters: dict) -> None:
    assert picture(piece(kind, **parameters)).body != picture(piece(kind)).body


def test_pictures_differ_from_kind_to_kind() -> None:
    bodies = {kind: picture(piece(kind)).body for kind in PORTS}
    assert len(set(bodies.values())) == len(PORTS)


def test_a_picture_upside_down_has_its_ports_on_the_other_edge() -> None:
    drawn = picture(piece("shuttle"))
    turned = drawn.upside_down()
    assert (turned.low, turned.high) == ({"2": 30}, {"1a": 50, "1b": 10})
    assert turned.upside_down().low == drawn.low


def test_a_picture_we_do_not_have_is_a_box_with_its_ports(monkeypatch: pytest.MonkeyPatch) -> None:
    component = piece("valve_5_2")
    monkeypatch.setattr(type(component), "symbol", Symbol("something new"))
    drawn = picture(component)
    assert set(drawn.low) | set(drawn.high) == {"1", "2", "3", "4", "5"}
