"""Tests for pneumo/report/drawing.py."""

from __future__ import annotations

import re
import time
import xml.etree.ElementTree as ET
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from report_examples import PORTS, circuit, piece, two_zones

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.validate import load
from pneumo.components.base import Component
from pneumo.report.drawing import draw, draw_zones
from pneumo.report.label import describe, span
from pneumo.report.symbols import SPREAD_KINDS, symbol

CIRCUITS = sorted((Path(__file__).parents[2] / "circuits").glob("*.yaml"))
SVG = "{http://www.w3.org/2000/svg}"


def _shown(svg: str) -> dict[str, tuple[float, float]]:
    """Drawn component -> where its picture starts on the page."""
    places: dict[str, tuple[float, float]] = {}

    def walk(node: ET.Element, x: float, y: float) -> None:
        move = re.match(r"translate\((\S+) (\S+)\)", node.get("transform", ""))
        if move:
            x, y = x + float(move[1]), y + float(move[2])
        name = node.get("data-component")
        if name is not None:
            inner = node.find(f"{SVG}g")
            assert inner is not None
            shift = re.match(r"translate\((\S+) (\S+)\)", inner.get("transform", ""))
            assert shift and name not in places
            places[name] = x + float(shift[1]), y + float(shift[2])
        for child in node:
            walk(child, x, y)

    walk(ET.fromstring(svg), 0.0, 0.0)
    return places


def _stands_for(svg: str) -> list[str]:
    names: list[str] = []
    for node in ET.fromstring(svg).iter(f"{SVG}g"):
        if node.get("data-component"):
            names += (node.get("data-stands-for") or node.get("data-component") or "").split()
    return names


@pytest.fixture(params=CIRCUITS, ids=lambda path: path.stem)
def shipped(request: pytest.FixtureRequest) -> Circuit:
    return load(request.param)


def test_shipped_circuits_show_every_component_once(shipped: Circuit) -> None:
    svg = draw(shipped)
    assert sorted(_stands_for(svg)) == sorted(shipped.components)
    assert svg == draw(shipped)
    assert "http" not in svg.replace("http://www.w3.org/2000/svg", "")


def test_no_symbols_of_shipped_circuits_overlap(shipped: Circuit) -> None:
    svg = draw(shipped)
    page = ET.fromstring(svg)
    areas = []
    for name, (x, y) in _shown(svg).items():
        component = shipped.components[name]
        drawn = symbol(component)
        if component.kind in SPREAD_KINDS:  # type: ignore[attr-defined]
            areas.append((name, x, y, 30.0, drawn.height))
        elif name.startswith("ring_pipe"):
            areas.append((name, x, y, drawn.height, drawn.width))
        else:
            areas.append((name, x, y, drawn.width, drawn.height))
    for a, b in combinations(areas, 2):
        assert (
            a[1] + a[3] <= b[1] or b[1] + b[3] <= a[1] or a[2] + a[4] <= b[2] or b[2] + b[4] <= a[2]
        ), (a, b)
    for _, x, y, w, h in areas:
        assert x >= 0 and x + w <= float(page.get("width", 0))
        assert y >= 0 and y + h <= float(page.get("height", 0))


def test_zone_sheets_cover_the_zones(shipped: Circuit) -> None:
    sheets = draw_zones(shipped)
    assert set(sheets) >= set(shipped.zones)
    for zone in shipped.zones.values():
        names = _stands_for(sheets[zone.name])
        assert set(zone.brakes) <= set(names)
        assert set(names) <= set(_stands_for(draw(shipped)))


@pytest.mark.parametrize("order", [1, -1])
def test_a_ring_is_drawn_as_a_row_under_its_zones(order: int) -> None:
    svg = draw(two_zones(order))
    places = _shown(svg)
    assert len({places[name][1] for name in ("tee_0", "tee_1", "tee_2")}) == 1
    assert places["supply"][1] > places["tee_0"][1] > places["low_valve"][1]
    assert svg.count("× 3") == 4
    assert 'data-stands-for="low_hose_1 low_hose_2 low_hose_3"' in svg or order == -1


def test_air_rises_and_exhausts_hang_below() -> None:
    parts = {
        "supply": piece("ideal_supply"),
        "valve": piece("valve_3_2"),
        "silencer": piece("silencer"),
        "brake": piece("bladder_brake"),
        "gauge": piece("gauge"),
        "tee": piece("manifold", 3),
    }
    links = "supply.2->valve.1 valve.2->tee.1 tee.2->brake.1 tee.3->gauge.1 valve.3->silencer.1"
    places = _shown(draw(circuit(parts, links, zones={"z": ("brake",)})))
    assert places["supply"][1] > places["valve"][1] > places["tee"][1] > places["brake"][1]
    assert places["silencer"][1] > places["valve"][1]


def test_pilot_lines_are_dashed_and_working_lines_are_not() -> None:
    parts = {
        "supply": piece("ideal_supply"),
        "tee": piece("manifold", 3),
        "brake": piece("bladder_brake"),
        "valve": piece("valve_3_2", operation="pilot", pilot_supply="external"),
    }
    links = "supply.2->tee.1 tee.2->valve.1 tee.3->valve.14 valve.2->brake.1"
    svg = draw(circuit(parts, links, zones={"z": ("brake",)}))
    lines = re.findall(r'<path [^>]*data-line="(\w+)"/>', svg)
    assert lines.count("pilot") == 1
    pilots = re.findall(r'<path [^>]*data-line="pilot"/>', svg)
    workings = re.findall(r'<path [^>]*data-line="working"/>', svg)
    assert all("stroke-dasharray" in line for line in pilots)
    assert workings and not any("stroke-dasharray" in line for line in workings)
    assert "pilot line" in svg


def test_a_main_that_is_no_row_is_still_drawn() -> None:
    parts = {
        "supply": piece("ideal_supply"),
        "in": piece("manifold", 4),
        **{f"line_{i}": piece("pipe") for i in (1, 2, 3)},
        "a": piece("manifold", 3),
        "b": piece("manifold", 3),
        "c": piece("manifold", 3),
        "ab": piece("pipe"),
        **{f"brake_{i}": piece("bladder_brake") for i in (1, 2, 3)},
    }
    links = (
        "supply.2->in.1 in.2->line_1.1 in.3->line_2.1 in.4->line_3.1 line_1.2->a.1 line_2.2->b.1 "
        "line_3.2->c.1 a.2->ab.1 ab.2->b.2 a.3->brake_1.1 b.3->brake_2.1 c.3->brake_3.1 c.2->plug"
    )
    made = circuit(parts, links, zones={f"z{i}": (f"brake_{i}",) for i in (1, 2, 3)})
    assert sorted(_stands_for(draw(made))) == sorted(parts)


def test_loose_parts_and_loops_do_not_stop_the_drawing() -> None:
    parts = {
        "supply": piece("ideal_supply"),
        "lonely": piece("filter"),
        "feed": piece("electrical_feed"),
        "a": piece("pipe"),
        "b": piece("pipe"),
        "self": piece("manifold", 3),
    }
    made = circuit(parts, "a.2->b.1 b.2->a.1 self.1->self.2 self.3->atmosphere supply.2->plug")
    assert sorted(_stands_for(draw(made))) == sorted(parts)


def test_hostile_names_are_escaped() -> None:
    parts = {
        'x"<script>': piece("ideal_supply"),
        "brake": piece("bladder_brake", feed="<i>"),
    }
    made = circuit(parts, 'x"<script>.2->brake.1', ride="<b>&\"'", zones={"<z>": ("brake",)})
    svg = draw(made)
    ET.fromstring(svg)
    assert "<script" not in svg and "<b>" not in svg and "<z>" not in svg and "<i>" not in svg
    assert 'x"<script>' in _stands_for(svg)


@pytest.mark.parametrize(
    ("names", "text"),
    [
        (("hose_1", "hose_2", "hose_3"), "hose_1…3"),
        (("a_1_x", "a_2_x"), "a_1_x…a_2_x"),
        (("hose_1", "hose_3"), "hose_1, hose_3"),
        (("left", "right"), "left, right"),
        (("one",), "one"),
        ((), ""),
        (("a", "a"), "a, a"),
        (("a1b1", "a2b2"), "a1b1, a2b2"),
    ],
)
def test_spans_of_names(names: tuple[str, ...], text: str) -> None:
    assert span(names) == text


def test_values_beside_symbols_are_in_workshop_units() -> None:
    ambient = 101_300.0
    assert describe(piece("regulator", set_pressure=601_300.0), ambient) == "5 bar"
    assert describe(piece("receiver", volume=0.5), ambient) == "500 L"
    assert describe(piece("hose", bore=9e-3, length=1.5), ambient) == "⌀9 mm × 1.5 m"
    assert describe(piece("valve_3_2", feed="feed_a"), ambient) == "fed by feed_a"
    assert describe(piece("check_valve"), ambient) == ""


@st.composite
def circuits(draw_: st.DrawFn) -> Circuit:
    """Components of any kind joined at random, some of them brakes of one of two zones."""
    kinds = draw_(st.lists(st.sampled_from(sorted(PORTS)), min_size=1, max_size=14))
    parts = {f"c{i}": piece(kind) for i, kind in enumerate(kinds)}
    free = [f"{name}.{port.name}" for name, part in parts.items() for port in part.ports()]
    free = draw_(st.permutations(free))
    joined = draw_(st.integers(0, len(free) // 2))
    links = [f"{free[2 * i]}->{free[2 * i + 1]}" for i in range(joined)]
    links += [
        f"{end}->{draw_(st.sampled_from(['plug', 'atmosphere']))}"
        for end in free[2 * joined : 2 * joined + 2]
    ]
    movers = [name for name, part in parts.items() if part.kind == "bladder_brake"]
    zones = {"a": tuple(movers[::2]), "b": tuple(movers[1::2])}
    return circuit(parts, " ".join(links), zones={z: m for z, m in zones.items() if m})


@settings(max_examples=60)
@given(circuits())
def test_any_circuit_is_drawn_whole(made: Circuit) -> None:
    svg = draw(made)
    assert sorted(_stands_for(svg)) == sorted(made.components)
    for sheet in draw_zones(made).values():
        ET.fromstring(sheet)


def test_a_wide_circuit_is_drawn_in_seconds() -> None:
    count = 120
    parts: dict[str, Component] = {
        "supply": piece("ideal_supply"),
        "header": piece("manifold", count + 1),
    }
    links = "supply.2->header.1"
    for i in range(count):
        # no two hoses are alike
        parts[f"hose_{i}"] = piece("hose", length=1.0 + i)
        parts[f"brake_{i}"] = piece("bladder_brake")
        links += f" header.{i + 2}->hose_{i}.1 hose_{i}.2->brake_{i}.1"
    started = time.perf_counter()
    svg = draw(circuit(parts, links, zones={"z": tuple(f"brake_{i}" for i in range(count))}))
    assert time.perf_counter() - started < 20
    assert len(_stands_for(svg)) == 2 * count + 2
