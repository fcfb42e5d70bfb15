"""Tests for pneumo/report/drawing.py, label.py and palette.py."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from circuit_pieces import circuit, circuits, piece
from hypothesis import given, settings

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.symmetry import span
from pneumo.circuit.validate import load
from pneumo.report import palette
from pneumo.report.drawing import PAGE, drawings, legend
from pneumo.report.label import describe
from pneumo.schematic.sheet import sheets

CIRCUITS = sorted((Path(__file__).parents[2] / "circuits").glob("*.yaml"))
SVG = "{http://www.w3.org/2000/svg}"


def _stands_for(svg: str) -> list[str]:
    names: list[str] = []
    for node in ET.fromstring(svg).iter(f"{SVG}g"):
        if node.get("data-component"):
            names += (node.get("data-stands-for") or node.get("data-component") or "").split()
    return names


def _places(svg: str) -> dict[str, tuple[float, float]]:
    """Drawn component -> the upper left corner of its box on the page."""
    places: dict[str, tuple[float, float]] = {}

    def walk(node: ET.Element, x: float, y: float) -> None:
        move = re.match(r"translate\((\S+) (\S+)\)", node.get("transform", ""))
        if move:
            x, y = x + float(move[1]), y + float(move[2])
        name = node.get("data-component")
        if name is not None:
            assert places.setdefault(name, (x, y)) == (x, y)
        for child in node:
            walk(child, x, y)

    walk(ET.fromstring(svg), 0.0, 0.0)
    return places


@pytest.fixture(params=CIRCUITS, ids=lambda path: path.stem)
def shipped(request: pytest.FixtureRequest) -> Circuit:
    return load(request.param)


def test_every_component_is_drawn_once_in_all_drawings(shipped: Circuit) -> None:
    found = drawings(shipped)
    names = [name for drawing in found for name in _stands_for(drawing.svg)]
    assert sorted(names) == sorted(shipped.components)
    assert found == drawings(shipped)
    for drawing in found:
        assert "http" not in drawing.svg.replace("http://www.w3.org/2000/svg", "")


def test_every_line_is_drawn(shipped: Circuit) -> None:
    lines = sum(drawing.svg.count("data-line=") for drawing in drawings(shipped))
    assert lines == sum(len(sheet.lines) for sheet in sheets(shipped))


def test_zones_come_first_and_the_ride_last(shipped: Circuit) -> None:
    zones = [drawing.zone for drawing in drawings(shipped)]
    assert set(zones) >= set(shipped.zones)
    assert "" not in zones[:-1]


def test_a_drawing_can_be_read_on_a_page(shipped: Circuit) -> None:
    """Letters of 11 units stay above 7 when a drawing is brought onto an A4 page. What eight zones
    share is wider than a page."""
    found = drawings(shipped)
    for drawing in found if len(shipped.zones) < 8 else found[:-1]:
        page = ET.fromstring(drawing.svg)
        wide, tall = float(page.get("width", 0)), float(page.get("height", 0))
        assert min(PAGE[0] / wide, PAGE[1] / tall) > 7 / 11, drawing.title


def test_both_pens_give_the_order_of_the_schematic(shipped: Circuit) -> None:
    """Across a rank, the boxes follow each other as the sheet says."""
    found = drawings(shipped)
    for sheet, drawing in (
        (sheet, drawing)
        for sheet in sheets(shipped)
        for drawing in found
        if drawing.zone == sheet.name
    ):
        places = _places(drawing.svg)
        for rank in sheet.grid.ranks:
            names = [sheet.boxes[sheet.grid.seats[s].box] for s in rank
                     if sheet.grid.seats[s].box >= 0]  # fmt: skip
            xs = [places[box.name][0] for box in names if not box.marker]
            assert xs == sorted(xs)


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
    (drawing,) = drawings(circuit(parts, links, zones={"z": ("brake",)}))
    places = _places(drawing.svg)
    assert places["supply"][1] > places["valve"][1] > places["tee"][1] > places["brake"][1]
    assert places["silencer"][1] > places["valve"][1]


def test_pilot_lines_are_dashed_and_working_lines_are_not() -> None:
    parts = {
        "supply": piece("ideal_supply"),
        "tee": piece("valve_3_2"),
        "brake": piece("bladder_brake"),
        "valve": piece("valve_3_2", operation="pilot", pilot_supply="external"),
    }
    made = circuit(
        parts, "supply.2->valve.1 tee.2->valve.14 valve.2->brake.1", zones={"z": ("brake",)}
    )
    (drawing,) = drawings(made)
    lines = re.findall(r'<path [^>]*data-line="\w+"/>', drawing.svg)
    pilots = [line for line in lines if 'data-line="pilot"' in line]
    assert len(pilots) == 1 and "stroke-dasharray" in pilots[0]
    assert not any("stroke-dasharray" in line for line in lines if line not in pilots)
    assert "pilot line" in legend(made)


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
    (drawing,) = drawings(made)
    assert sorted(_stands_for(drawing.svg)) == sorted(parts)


@settings(max_examples=40, derandomize=True)
@given(circuits())
def test_any_circuit_is_drawn_whole(made: Circuit) -> None:
    found = drawings(made)
    names = [name for drawing in found for name in _stands_for(drawing.svg)]
    assert sorted(names) == sorted(made.components)


def _luminance(colour: str) -> float:
    """Relative luminance of "#rrggbb" (WCAG 2.1)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("ink", ["INK", "SOFT"])
@pytest.mark.parametrize("ground", ["PAPER", "PALE", "FILL"])
def test_text_stands_out_from_its_ground(ink: str, ground: str) -> None:
    """At least 4.5 to 1, the contrast that WCAG 2.1 asks of text (criterion 1.4.3, level AA)."""
    dark, light = sorted(_luminance(getattr(palette, name)) for name in (ink, ground))
    assert (light + 0.05) / (dark + 0.05) >= 4.5


def test_hostile_names_are_escaped() -> None:
    parts = {
        'x"<script>': piece("ideal_supply"),
        "valve": piece("valve_3_2", feed="<i>"),
        "brake": piece("bladder_brake"),
    }
    made = circuit(
        parts, 'x"<script>.2->valve.1 valve.2->brake.1', ride="<b>&\"'", zones={"<z>": ("brake",)}
    )
    svg = "".join(drawing.svg for drawing in drawings(made))
    for drawing in drawings(made):
        ET.fromstring(drawing.svg)
    assert "<script" not in svg and "<b>" not in svg and "<z>" not in svg and "<i>" not in svg
    assert 'x"<script>' in [n for drawing in drawings(made) for n in _stands_for(drawing.svg)]


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
