"""Tests for tui/drawing/boxes.py and layout.py: every circuit is drawn whole, and clearly."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from drawing_checks import check, check_drawing, drawn
from hypothesis import given, settings
from hypothesis import strategies as st

from pneumo.circuit.circuit import Circuit, Connection, PortRef
from pneumo.circuit.validate import load
from pneumo.components import KINDS
from pneumo.live.plant import plant_of
from tui.drawing.boxes import diagram, folds
from tui.drawing.layout import arrange

CIRCUITS = sorted((Path(__file__).parents[2] / "circuits").glob("*.yaml"))


@pytest.fixture(scope="module", params=CIRCUITS, ids=lambda path: path.stem)
def circuit(request: pytest.FixtureRequest) -> Circuit:
    return load(request.param)


def test_a_shipped_circuit_is_drawn_whole(circuit: Circuit) -> None:
    check(circuit)


def test_a_shipped_circuit_is_drawn_whole_when_folded(circuit: Circuit) -> None:
    layout = check(circuit, folds(circuit))
    assert len(layout.bridges) <= 2


def test_few_lines_cross(circuit: Circuit) -> None:
    assert len(drawn(circuit)[2].bridges) <= len(circuit.components) / 25 + 1


def test_the_drawing_is_the_same_every_time(circuit: Circuit) -> None:
    first, second = drawn(circuit), drawn(circuit)
    assert first[2] == second[2]
    assert first[1].boxes == second[1].boxes


def test_zones_stand_under_each_other_in_the_order_of_the_main() -> None:
    sand_martin = load(next(p for p in CIRCUITS if p.stem == "sand_martin"))
    _, boxes, layout = drawn(sand_martin, folds(sand_martin))
    tops = {boxes.groups[group]: y for group, (_, y) in layout.headings.items()}
    assert sorted(tops, key=lambda name: tops[name]) == [
        "trim", "block", "final_1", "final_2", "station", "station_gates", "storage",
    ]  # fmt: skip
    for group, (_, y, _, height) in layout.bands.items():
        for other, (_, y2, _, height2) in layout.bands.items():
            if 1 < group < other:
                assert y + height <= y2 or y2 + height2 <= y


def test_air_goes_from_left_to_right() -> None:
    simple = load(next(p for p in CIRCUITS if p.stem.startswith("03")))
    _, boxes, layout = drawn(simple)
    x = {box.name: place.x for box, place in zip(boxes.boxes, layout.places, strict=True)}
    way = ("supply", "main", "valve_a", "valve_b", "manifold", "hose_1", "brake_1")
    assert [x[name] for name in way] == sorted(x[name] for name in way)


def test_what_takes_air_back_is_turned_round() -> None:
    looped = load(next(p for p in CIRCUITS if p.stem.startswith("12")))
    _, boxes, _ = drawn(looped)
    vent_check = next(box for box in boxes.boxes if box.name == "vent_check")
    assert (vent_check.left, vent_check.right) == (["2"], ["1"])


FIELDS: dict[str, dict[str, object]] = {
    "hose": {"bore": "10 mm", "length": "1 m"},
    "check_valve": {"C": "10 L/(s·bar)", "b": 0.4},
    "valve_3_2": {"C": "10 L/(s·bar)", "b": 0.3, "operation": "pilot", "pilot_supply": "external"},
    "shuttle": {"C": "10 L/(s·bar)", "b": 0.3},
    "gauge": {},
    "ideal_supply": {"pressure": "6 bar"},
    "silencer": {"C": "10 L/(s·bar)", "b": 0.4},
    "manifold": {"ports": 4},
    "receiver": {"ports": 2, "volume": "10 L"},
}


@st.composite
def circuits(draw: st.DrawFn) -> tuple[Circuit, list[int]]:
    """Anything joined to anything: loops, rings, pieces without supply; and a group for each."""
    kinds = draw(st.lists(st.sampled_from(sorted(FIELDS)), min_size=1, max_size=16))
    parts = {
        f"p{i}": KINDS[kind].model_validate(
            {"kind": kind, **FIELDS[kind]}, context={"ambient_pressure": 101_300.0}
        )
        for i, kind in enumerate(kinds)
    }
    ports = [PortRef(name, port.name) for name, part in parts.items() for port in part.ports()]
    order = draw(st.permutations(ports))
    joined = draw(st.integers(0, len(order) // 2))
    base = load(CIRCUITS[0])
    circuit = replace(
        base, components=parts, zones={}, gates={},
        connections=tuple(Connection(order[2 * i], order[2 * i + 1]) for i in range(joined)),
    )  # fmt: skip
    return circuit, draw(st.lists(st.sampled_from([0, 0, 2, 3, 4]), min_size=16, max_size=16))


@settings(max_examples=200, derandomize=True)
@given(circuits())
def test_any_circuit_is_drawn_whole(made: tuple[Circuit, list[int]]) -> None:
    circuit, groups = made
    check(circuit)
    plant = plant_of(circuit)
    boxes = diagram(circuit, plant.net_of)
    for box, group in zip(boxes.boxes, groups, strict=False):
        box.group = group
    boxes.groups = ("", "", "a", "b", "c")
    check_drawing(circuit, plant, boxes, arrange(boxes, [9] * len(boxes.boxes)))
