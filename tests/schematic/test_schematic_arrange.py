"""Tests for pneumo/schematic: every circuit is drawn whole, and clearly."""

from __future__ import annotations

from pathlib import Path

import pytest
from circuit_pieces import circuit, circuits, piece
from hypothesis import given, settings
from hypothesis import strategies as st
from schematic_checks import check, check_arrangement, shape

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.validate import load
from pneumo.schematic.arrange import Pitch, Shape, arrange
from pneumo.schematic.cells import crossings, masks
from pneumo.schematic.sheet import Box, ports_in_order, sheets

CIRCUITS = sorted((Path(__file__).parents[2] / "circuits").glob("*.yaml"))


@pytest.fixture(scope="module", params=CIRCUITS, ids=lambda path: path.stem)
def shipped(request: pytest.FixtureRequest) -> Circuit:
    return load(request.param)


@pytest.fixture(scope="module")
def sand_martin() -> Circuit:
    return load(next(path for path in CIRCUITS if path.stem == "sand_martin"))


@pytest.mark.parametrize("most", [80, 118, 1000])
def test_a_shipped_circuit_is_drawn_whole(shipped: Circuit, most: int) -> None:
    for laid in (*check(shipped, most=most), *check(shipped, (), most=most)):
        assert laid.length <= most


def test_few_lines_cross(shipped: Circuit) -> None:
    for laid in check(shipped, most=1000):
        crossed = crossings([masks(route) for route in laid.routes])
        assert len(crossed) <= len(laid.sheet.boxes) / 10 + 1


def test_the_drawing_is_the_same_every_time(shipped: Circuit) -> None:
    assert check(shipped) == check(shipped)


def test_the_order_is_the_same_however_large_a_pen_draws(shipped: Circuit) -> None:
    """Ranks and their order belong to the sheet; sizes only move what stands in them."""
    for sheet in sheets(shipped):
        orders = []
        for depth, size in ((9, 0), (30, 7)):
            shapes = [shape(box, depth, size) for box in sheet.boxes]
            found = arrange(sheet, shapes, Pitch(3, 10**6))
            places = enumerate(found.places)
            orders.append(sorted(places, key=lambda p: (p[1].along, p[1].across)))
        assert [i for i, _ in orders[0]] == [i for i, _ in orders[1]]


def test_each_zone_has_a_sheet_and_the_plant_leads_to_all(sand_martin: Circuit) -> None:
    found = sheets(sand_martin)
    assert [sheet.name for sheet in found] == [
        "", "trim", "block", "final_1", "final_2", "station", "storage", "station_gates",
    ]  # fmt: skip
    leads = [box.label for box in found[0].boxes if box.marker]
    assert sorted(leads) == sorted(sheet.name for sheet in found[1:])
    for sheet in found[1:]:
        assert [box.marker for box in sheet.boxes if box.rank == 0] == [True]


def test_a_circuit_with_one_zone_is_one_sheet() -> None:
    found = [load(path) for path in CIRCUITS]
    single = [made for made in found if len(made.zones) == 1 and not made.gates]
    assert single
    for made in single:
        assert [sheet.name for sheet in sheets(made)] == list(made.zones)


def test_air_goes_on_and_exhausts_hang_back() -> None:
    parts = {
        "supply": piece("ideal_supply"),
        "valve": piece("valve_3_2"),
        "silencer": piece("silencer"),
        "brake": piece("bladder_brake"),
        "gauge": piece("gauge"),
        "tee": piece("manifold", 3),
    }
    links = "supply.2->valve.1 valve.2->tee.1 tee.2->brake.1 tee.3->gauge.1 valve.3->silencer.1"
    (sheet,) = sheets(circuit(parts, links, zones={"z": ("brake",)}))
    rank = {box.name: box.rank for box in sheet.boxes}
    assert rank["supply"] < rank["valve"] < rank["tee"] < rank["brake"] == rank["gauge"]
    assert rank["silencer"] < rank["valve"]


def test_what_takes_air_back_is_turned_round() -> None:
    looped = load(next(p for p in CIRCUITS if p.stem.startswith("12")))
    (sheet,) = sheets(looped)
    vent_check = next(box for box in sheet.boxes if box.name == "vent_check")
    assert (vent_check.low, vent_check.high, vent_check.turned) == (("2",), ("1",), True)


def test_a_pilot_line_is_told_from_a_working_line() -> None:
    parts = {
        "supply": piece("ideal_supply"),
        "tee": piece("valve_3_2"),
        "brake": piece("bladder_brake"),
        "valve": piece("valve_3_2", operation="pilot", pilot_supply="external"),
    }
    links = "supply.2->valve.1 tee.2->valve.14 valve.2->brake.1"
    (sheet,) = sheets(circuit(parts, links, zones={"z": ("brake",)}))
    assert [line.pilot for line in sheet.lines] == [False, True, False]


def test_switches_are_drawn_in_what_they_watch_and_branches_alike_once() -> None:
    parts = {
        "supply": piece("ideal_supply"),
        "tee": piece("manifold", 3),
        **{f"hose_{i}": piece("hose") for i in (1, 2)},
        **{f"brake_{i}": piece("bladder_brake") for i in (1, 2)},
        **{f"seen_{i}": piece("jaw_switch", of=f"brake_{i}", reads="open") for i in (1, 2)},
    }
    links = (
        "supply.2->tee.1 tee.2->hose_1.1 tee.3->hose_2.1 hose_1.2->brake_1.1 hose_2.2->brake_2.1"
    )
    made = circuit(parts, links, zones={"z": ("brake_1", "brake_2")})
    (once,) = sheets(made)
    brake = next(box for box in once.boxes if box.name == "brake_1")
    assert brake.members == ("brake_1", "brake_2")
    assert brake.riders == (("seen_1", "seen_2"),)
    (apart,) = sheets(made, ())
    assert [box.riders for box in apart.boxes if box.name.startswith("brake")] == [
        (("seen_1",),), (("seen_2",),),
    ]  # fmt: skip


def test_a_wide_circuit_is_arranged() -> None:
    count = 60
    parts = {"supply": piece("ideal_supply"), "header": piece("manifold", count + 1)}
    links = "supply.2->header.1"
    for i in range(count):
        parts[f"hose_{i}"] = piece("hose", length=1.0 + i)  # no two are alike
        parts[f"brake_{i}"] = piece("bladder_brake")
        links += f" header.{i + 2}->hose_{i}.1 hose_{i}.2->brake_{i}.1"
    brakes = tuple(f"brake_{i}" for i in range(count))
    (laid,) = check(circuit(parts, links, zones={"z": brakes}))
    assert len(laid.places) == 2 * count + 2


@settings(max_examples=150, derandomize=True)
@given(circuits(), st.sampled_from([25, 60, 1000]))
def test_any_circuit_is_drawn_whole(made: Circuit, most: int) -> None:
    check(made, most=most)


@settings(max_examples=60, derandomize=True)
@given(circuits(), st.data())
def test_boxes_of_any_size_lie_apart(made: Circuit, data: st.DataObject) -> None:
    for sheet in sheets(made, ()):
        shapes = []
        for box in sheet.boxes:
            low, high = (
                sorted(data.draw(st.sets(st.integers(0, 9), min_size=len(n), max_size=len(n))))
                for n in (box.low, box.high)
            )
            size = max([0, *low, *high]) + data.draw(st.integers(1, 9))
            low_at = dict(zip(box.low, low, strict=True))
            high_at = dict(zip(box.high, high, strict=True))
            shapes.append(Shape(data.draw(st.integers(1, 12)), size, low_at, high_at))
        check_arrangement(arrange(sheet, shapes, Pitch(2, 40)), shapes)


def test_both_sides_of_a_box_follow_its_ports() -> None:
    def sides(box: Box, made: Circuit) -> None:
        if box.vessel or box.marker:
            return
        order = ports_in_order(made.components[box.name])
        order = order[::-1] if box.turned else order
        for side in (box.low, box.high):
            assert list(side) == sorted(side, key=order.index)

    for path in CIRCUITS:
        made = load(path)
        for sheet in sheets(made):
            for box in sheet.boxes:
                sides(box, made)
