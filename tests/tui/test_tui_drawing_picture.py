"""Tests for tui/drawing: what a frame looks like as characters and inks."""

from __future__ import annotations

from pathlib import Path

import pytest
from circuit_pieces import circuits
from hypothesis import given, settings
from hypothesis import strategies as st
from tui_toys import BAR, plant_of, resting_frame, trainee_frame

from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.circuit.symmetry import alike
from pneumo.circuit.validate import load_text
from pneumo.components import KINDS
from pneumo.components.base import kind_of
from pneumo.live.frame import FaultFrame, Frame
from pneumo.live.plant import Plant
from pneumo.live.plant import plant_of as plant_of_circuit
from pneumo.schematic.cells import AFTER, BACK, BEFORE, ON
from pneumo.schematic.sheet import sheets, twins
from tui.drawing import details
from tui.drawing.folding import Likeness
from tui.drawing.glyphs import FLOW, glyph, weight
from tui.drawing.layout import Layout, lay_out
from tui.drawing.picture import Picture
from tui.drawing.symbols import Symbols, width_of

CIRCUITS = Path(__file__).parents[2] / "circuits"

SINGLE = "02_spring_close_single"


def picture_of(plant: Plant, frame: Frame, *, folded: bool = False, width: int = 1000) -> Picture:
    found = sheets(plant.circuit, None if folded else ())
    picture = Picture(plant, Symbols(plant), resting_frame(plant), found, width)
    picture.update(frame)
    return picture


def written(picture: Picture) -> str:
    return "\n".join("".join(row).rstrip() for row in picture.letters)


def symbol(picture: Picture, name: str) -> str:
    place = picture.layout.places[picture.box_of[name]]
    return "".join(picture.letters[place.y + 1][place.x : place.x + place.width])


def with_values(values: tuple[object, ...], **changes: object) -> tuple[object, ...]:
    found = list(values)
    for i, value in changes.items():
        found[int(i[1:])] = value
    return tuple(found)


def set_pressure(plant: Plant, frame: Frame, port: str, value: float) -> Frame:
    net = plant.net_of[PortRef(*port.split("."))]
    return frame._replace(
        number=frame.number + 1, pressures=with_values(frame.pressures, **{f"i{net}": value})
    )


def set_flow(plant: Plant, frame: Frame, port: str, value: float) -> Frame:
    at = plant.ports.index(PortRef(*port.split(".")))
    return frame._replace(
        number=frame.number + 1, flows=with_values(frame.flows, **{f"i{at}": value})
    )


def test_every_weight_looks_different_without_colour() -> None:
    for mask in (BEFORE | AFTER, ON | BACK, BEFORE | ON):
        looks = [glyph(mask, weight(p, 7.0 * BAR)) for p in (0.0, 2.0 * BAR, 6.0 * BAR)]
        assert len(set(looks)) == 3
    for mask in (BEFORE | AFTER, ON | BACK):
        assert glyph(mask, "unseen") not in [glyph(mask, w) for w in ("vented", "low", "working")]


def test_every_cell_has_a_character_of_its_own_shape() -> None:
    for drawn in ("vented", "low", "working", "unseen"):
        characters = [glyph(mask, drawn) for mask in range(1, 16)]
        assert "·" not in characters
        shapes = [
            glyph(m, drawn) for m in (3, 6, 9, 12, 7, 11, 13, 14, 15, BEFORE | AFTER, ON | BACK)
        ]
        assert len(set(shapes)) == len(shapes)


def check_clear(layout: Layout) -> None:
    """Names, boxes and lines do not cover each other."""
    taken: dict[tuple[int, int], object] = {
        cell: number for number, track in enumerate(layout.tracks) for cell in track.cells
    }
    for i, (box, place) in enumerate(zip(layout.boxes, layout.places, strict=True)):
        cells = {(place.x + k, place.y) for k in range(len(box.label))}
        cells |= {(place.x + k, place.y + row)
                  for k in range(place.width) for row in range(1, place.height)}  # fmt: skip
        for cell in cells:
            assert taken.setdefault(cell, (i,)) == (i,), (cell, box.name)
        assert all(0 <= x <= layout.width and 0 <= y < layout.height for x, y in cells)
    for band in layout.bands:
        if band.name:
            assert not any((x, band.y) in taken for x in range(band.width))


@pytest.mark.parametrize("folded", [True, False])
@pytest.mark.parametrize("width", [40, 80, 119, 199])
def test_names_boxes_and_lines_do_not_cover_each_other(width: int, folded: bool) -> None:
    plant = plant_of("sand_martin")
    layout = picture_of(plant, resting_frame(plant), folded=folded, width=width).layout
    check_clear(layout)
    assert layout.width <= max(width, 60)


@settings(max_examples=60, derandomize=True)
@given(circuits(), st.sampled_from([40, 120]))
def test_any_circuit_is_drawn_clearly(made: Circuit, width: int) -> None:
    found = sheets(made)
    layout = lay_out(found, lambda box: 9, width)
    check_clear(layout)
    assert len(layout.tracks) == sum(len(sheet.lines) for sheet in found)


def test_boxes_stand_in_the_order_of_the_schematic() -> None:
    plant = plant_of("sand_martin")
    layout = picture_of(plant, resting_frame(plant), folded=True).layout
    first = 0
    for sheet in sheets(plant.circuit):
        for rank in sheet.grid.ranks:
            boxes = [sheet.grid.seats[s].box for s in rank if sheet.grid.seats[s].box >= 0]
            places = [layout.places[first + box] for box in boxes]
            assert len({place.x for place in places}) <= 1
            assert [place.y for place in places] == sorted(place.y for place in places)
        first += len(sheet.boxes)


def test_a_pressure_is_written_once_for_each_net() -> None:
    plant = plant_of(SINGLE)
    frame = resting_frame(plant)
    for number in range(len(plant.nets)):
        frame = frame._replace(pressures=with_values(
            frame.pressures, **{f"i{number}": (1.11 + number / 10) * BAR}))  # fmt: skip
    words = written(picture_of(plant, frame))
    counts = [
        words.count(f"{1.11 + number / 10:.2f}")
        for number, net in enumerate(plant.nets)
        if not net.outside and len(net.ports) > 1
    ]
    assert max(counts) == 1
    # where there is no room the number is left out; the weight of the line still tells
    assert sum(counts) >= 0.8 * len(counts)


def test_an_arrowhead_shows_where_air_goes_and_none_stands_at_rest() -> None:
    plant = plant_of(SINGLE)
    rest = resting_frame(plant)
    picture = picture_of(plant, rest)
    place = picture.layout.places[picture.box_of["main"]]
    beside = picture.letters[place.y + 1]
    assert beside[place.x - 1] not in "▸◂"
    picture.update(set_flow(plant, rest, "main.1", 2 * FLOW))
    assert beside[place.x - 1] == "▸"
    picture.update(set_flow(plant, rest, "main.1", -2 * FLOW)._replace(number=9))
    assert beside[place.x - 1] == "◂"
    picture.update(set_flow(plant, rest, "main.1", FLOW / 2)._replace(number=10))
    assert beside[place.x - 1] not in "▸◂"


def test_trapped_air_is_marked_in_the_line_and_the_vessel() -> None:
    plant = plant_of(SINGLE)
    net = plant.net_of[PortRef("manifold", "1")]
    picture = picture_of(plant, resting_frame(plant, trapped=(net,)))
    assert symbol(picture, "manifold").startswith("(~")
    assert "~" in written(picture).replace("(~", "")


@pytest.mark.parametrize(
    ("position", "output", "expected"),
    [(0.0, False, "□ 2▸3"), (1.0, True, "■ 1▸2"), (0.4, True, "■ ···"), (None, True, "■ ?")],
)
def test_a_valve_tells_its_coil_and_its_way(
    position: float | None, output: bool, expected: str
) -> None:
    plant = plant_of(SINGLE)
    frame = resting_frame(plant)
    positions = with_values(frame.positions, **{f"i{plant.valves.index('valve')}": position})
    picture = picture_of(
        plant,
        frame._replace(positions=positions, outputs=(output,) * len(plant.outputs)),
    )
    assert expected in symbol(picture, "valve")


def test_override_forcing_isolation_drain_and_fault_are_marked() -> None:
    plant = plant_of("sand_martin")
    forced = tuple(coil.component == "block_valve_a" for coil in plant.outputs)
    frame = resting_frame(
        plant, overridden=("trim_valve_a.14",), forced_outputs=forced,
        isolated=("trim_shut_off",), drained=("trim_accumulator",),
        faults=(FaultFrame("receiver", "leak", "receiver leak 2 mm", 1.0, True, False),
                FaultFrame("header", "leak", "header leak 2 mm", 99.0, False, False)),
    )  # fmt: skip
    picture = picture_of(plant, frame)
    assert "M□" in symbol(picture, "trim_valve_a")
    assert "F□" in symbol(picture, "block_valve_a")
    assert "CLOSED" in symbol(picture, "trim_shut_off")
    assert "(Av" in symbol(picture, "trim_accumulator")
    assert "x receiver" in written(picture)
    assert "x header" not in written(picture)


def test_a_check_valve_is_open_by_its_flow() -> None:
    plant = plant_of("sand_martin")
    rest = resting_frame(plant)
    assert symbol(picture_of(plant, rest), "trim_check") == "[ ▷│]"
    flowing = set_flow(plant, rest, "trim_check.1", 1e-2)
    assert symbol(picture_of(plant, flowing), "trim_check") == "[─▷─]"
    back = set_flow(plant, rest, "trim_vent_check.1", 1e-2)
    assert symbol(picture_of(plant, back), "trim_vent_check") == "[─◁─]"


def test_jaws_close_on_the_fin() -> None:
    plant = plant_of(SINGLE)
    frame = resting_frame(plant)
    looks = [
        symbol(picture_of(plant, frame._replace(gaps=(gap,) * len(plant.brakes))), "brake_1")
        for gap in (0.00325, 0.0015, 0.0)
    ]
    assert ["▐  │  ▌" in looks[0], "▐ │ ▌" in looks[1], "▐│▌" in looks[2]] == [True] * 3
    assert ["3.2" in looks[0], "1.5" in looks[1], "0.0" in looks[2]] == [True] * 3


def test_a_trainee_sees_no_number_of_an_unseen_net() -> None:
    plant = plant_of("sand_martin")
    frame = trainee_frame(plant, readings=tuple(7.77 * BAR for _ in plant.meters))
    picture = picture_of(plant, frame)
    inks = {
        ink: {"".join(picture.letters[y][x]) for y, row in enumerate(picture.inks)
              for x, found in enumerate(row) if found == ink}
        for ink in ("number", "working", "low", "vented", "unseen", "trapped", "flow")
    }  # fmt: skip
    assert not inks["number"] & set("0123456789")
    assert not inks["working"] | inks["low"] | inks["vented"] | inks["trapped"]
    assert inks["flow"] <= {" "}
    assert inks["unseen"]
    assert written(picture).count("7.77") == len(plant.meters)


def test_only_rows_that_change_are_drawn_again() -> None:
    plant = plant_of("sand_martin")
    rest = resting_frame(plant)
    picture = picture_of(plant, rest)
    assert picture.update(rest._replace(number=2)) == set()
    changed = picture.update(set_pressure(plant, rest._replace(number=7), "trim_hose_1.2", BAR))
    assert 0 < len(changed) < 8


def test_a_picture_brought_up_to_date_is_the_picture_drawn_anew() -> None:
    plant = plant_of("sand_martin")
    rest = resting_frame(plant)
    lively = rest._replace(
        number=2,
        pressures=tuple(BAR * (i % 8) for i in range(len(plant.nets))),
        flows=tuple((i % 3 - 1) * 1e-3 for i in range(len(plant.ports))),
        gaps=tuple(1e-3 * (i % 4) for i in range(len(plant.brakes))),
        trapped=tuple(range(0, len(plant.nets), 5)),
        faults=(FaultFrame("receiver", "leak", "receiver leak 2 mm", 1.0, True, False),),
    )
    moved = picture_of(plant, rest)
    moved.update(lively)
    anew = picture_of(plant, lively)
    assert (moved.letters, moved.inks) == (anew.letters, anew.inks)
    moved.update(rest._replace(number=3))
    back = picture_of(plant, rest)
    assert (moved.letters, moved.inks) == (back.letters, back.inks)


def test_symbols_keep_their_width() -> None:
    """A symbol that grew would run over what is beside it."""
    plant = plant_of("sand_martin")
    extreme = resting_frame(
        plant, pressures=tuple(12.345 * BAR for _ in plant.nets),
        positions=tuple(None for _ in plant.valves), gaps=tuple(0.0123 for _ in plant.brakes),
        travels=tuple(0.4 for _ in plant.cylinders), readings=tuple(15.9 * BAR for _ in
                                                                    plant.meters),
        switched_off=tuple(plant.circuit.components),
    )  # fmt: skip
    flowing = [
        resting_frame(plant, flows=tuple(1e-2 * sign for _ in plant.ports),
                      positions=tuple(place for _ in plant.valves))
        for sign, place in ((1, 1.0), (-1, 0.0), (1, -1.0), (0, 0.5))
    ]  # fmt: skip
    symbols = Symbols(plant)
    picture = picture_of(plant, resting_frame(plant))
    for box in picture.boxes:
        draw = symbols.drawer(box)
        widths = {
            width_of(draw(symbols.facts(frame)))
            for frame in (extreme, trainee_frame(plant), resting_frame(plant), *flowing)
        }
        assert len(widths) == 1, box.name


def test_branches_are_alike_until_one_differs() -> None:
    plant = plant_of("sand_martin")
    rest = resting_frame(plant)
    fold = next(f for f in alike(plant.circuit) if any("trim_brake_1" in r for r in twins(f)))
    like = Likeness(plant, fold)
    brake = plant.brakes.index("trim_brake_3")
    switch = next(i for i, c in enumerate(plant.inputs) if c.name == "trim_open_2")
    assert like.alike(rest)
    assert like.alike(trainee_frame(plant))
    assert not like.alike(rest._replace(gaps=with_values(rest.gaps, **{f"i{brake}": 0.001})))
    assert not like.alike(rest._replace(inputs=with_values(rest.inputs, **{f"i{switch}": False})))
    assert not like.alike(set_pressure(plant, rest, "trim_hose_4.2", 2.0 * BAR))
    assert not like.alike(set_flow(plant, rest, "trim_hose_4.2", 1e-2))
    fault = FaultFrame("trim_hose_2", "kinked", "trim_hose_2 kinked", 1.0, True, False)
    assert not like.alike(rest._replace(faults=(fault,)))


def test_the_seat_is_not_told_of_a_branch_that_only_physics_tells_apart() -> None:
    plant = plant_of("sand_martin")
    fold = alike(plant.circuit)[0]
    assert Likeness(plant, fold).alike(trainee_frame(plant))


def test_details_tell_kind_values_ports_and_parameters() -> None:
    plant = plant_of("sand_martin")
    frame = resting_frame(plant, overridden=("trim_valve_a.14",))
    assert details.heading(plant, ("trim_valve_a",)) == (
        "trim_valve_a · 3/2 solenoid valve, zone trim"
    )
    now = dict(details.now(plant, frame, "trim_valve_a"))
    assert now["position"] == "at rest"
    assert "M held by its manual override" in now["coil 14 (charge)"]
    assert "7.00 bar" in dict(details.ports(plant, frame, "trim_valve_a"))["port 1"]
    assert dict(details.parameters(plant, "trim_regulator"))["set pressure"] == "4.5 bar"


def test_a_curve_is_told_point_by_point_and_what_it_replaces_is_not() -> None:
    text = (CIRCUITS / "01_spring_open_single.yaml").read_text(encoding="utf-8")
    curve = "area_curve: {0 mm: 250 cm2, 5 mm: 246.5 cm2, 25 mm: 220 cm2}"
    plant = plant_of_circuit(load_text(text.replace("area: 250 cm2", curve), "curve.yaml"))
    rows = dict(details.parameters(plant, "brake_1"))
    assert rows["area curve"] == "0 mm: 250 cm2, 5 mm: 246.5 cm2, 25 mm: 220 cm2"
    assert not {"area", "area loss", "full stroke"} & set(rows)


def test_details_of_what_a_trainee_does_not_see_are_dashes() -> None:
    plant = plant_of("sand_martin")
    frame = trainee_frame(plant)
    for name in plant.circuit.components:
        rows = dict(details.now(plant, frame, name) + details.ports(plant, frame, name))
        assert rows.get("position", "not seen") == "not seen"
        for what, words in rows.items():
            if what.startswith("port "):
                assert words.startswith("–")


def test_every_kind_has_a_drawing_of_its_own() -> None:
    """The shipped circuits hold every kind; none falls back to its title."""
    seen = set()
    for name in ("sand_martin", "04_stored_air_behind_check", "11_dual_pressure", SINGLE,
                 "07_quick_exhaust", "09_two_supplies_shuttle", "08_pilot_supply"):  # fmt: skip
        plant = plant_of(name)
        picture = picture_of(plant, resting_frame(plant))
        for box in picture.boxes:
            if box.marker:
                continue
            component = plant.circuit.components[box.name]
            seen.add(kind_of(component))
            assert component.title not in symbol(picture, box.name)
    assert set(KINDS) - seen <= {"valve_2_2", "valve_5_3", "jaw_switch"}
