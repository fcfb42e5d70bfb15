"""Tests of the zones view: what a row says, keys, mouse, sizes, both seats."""

from __future__ import annotations

import pytest
from tui_stage import Stage
from tui_toys import FakeLink, plant_of

from pneumo.live.frame import AlarmFrame, Wait
from pneumo.live.plant import Plant
from pneumo.live.request import Do
from tui.judgement import Jaws
from tui.views.zones import ZonesView, detail_rows, draw_zone, zone_row
from tui.widgets.gates import draw_gate, gate_rows
from tui.widgets.jaws import full_gap, letter, picture
from tui.widgets.rows import Rows, plain

PLANT = plant_of("sand_martin")


def stage(link: FakeLink) -> Stage:
    return Stage(ZonesView(link))


def change_zone(link: FakeLink, name: str, **changes: object) -> None:
    zones = list(link.frame.zones)
    place = link.plant.zones.index(name)
    zones[place] = zones[place]._replace(**changes)
    link.give(zones=tuple(zones))


def clamp(link: FakeLink, *brakes: str) -> None:
    gaps, forces = list(link.frame.gaps), list(link.frame.forces)
    for brake in brakes:
        place = link.plant.brakes.index(brake)
        gaps[place], forces[place] = 0.0, 8900.0
    link.give(gaps=tuple(gaps), forces=tuple(forces))


def stuck_trim(link: FakeLink) -> None:
    clamp(link, "trim_brake_2", "trim_brake_3")
    change_zone(
        link, "trim", state="faulted", first_out="vent time exceeded", since=4.0,
        in_safe_state=False, brake="trim_brake_2", gap=0.0, force=8900.0, pressure=4.5e5,
    )  # fmt: skip


def lines_of(link: FakeLink, name: str, width: int = 120, tall: int = 4) -> list[str]:
    row = zone_row(link.plant, link.frame, link.plant.zones.index(name))
    return [plain(line).rstrip() for line in draw_zone(row, width, tall)]


# jaws in characters


@pytest.mark.parametrize(
    ("gap", "drawn"),
    [
        (0.00325, "█   ┃   █"),
        (0.0, "───█┃█───"),
        (0.0001, "──▐▌┃▐▌──"),
        (0.0016, "─▐▌ ┃ ▐▌─"),
        (1.0, "█   ┃   █"),
        (None, "    ┃    "),
    ],
)
def test_jaws_are_drawn_to_the_scale_of_their_gap(gap, drawn):
    assert picture(gap, 0.00325, 3) == drawn


def test_a_gap_is_never_drawn_as_contact_nor_contact_as_a_gap():
    assert " " not in picture(0.0, 0.00325, 1)
    for gap in (6e-5, 1e-4, 1e-3):
        assert not picture(gap, 0.00325, 1).startswith("──")
        assert "█┃█" not in picture(gap, 0.00325, 1)


def test_every_picture_is_as_wide_and_an_absent_fin_is_not_drawn():
    assert {len(picture(i * 1e-5, 0.00325, 2)) for i in range(330)} == {7}
    assert picture(0.0, 0.00325, 2, fin=False) == "──█·█──"


def test_two_bladders_share_the_gap():
    brake = PLANT.circuit.components["trim_brake_1"]
    assert full_gap(brake) == pytest.approx(brake.gap / 2)
    assert full_gap(brake.model_copy(update={"bladders": 1})) == pytest.approx(brake.gap)


def test_letters_of_the_switches():
    pairs = [(True, False), (False, True), (False, False), (True, True), (None, None)]
    assert [letter(Jaws(closed, wide)) for closed, wide in pairs] == list("co-!·")


# what a row says


def test_a_zone_at_rest_says_state_springs_and_that_it_is_safe(trainer):
    head, numbers, jaws, switches = lines_of(trainer, "block")
    assert " ".join(head.split()) == "· block closed 10 s springs close, safe closed: is in it"
    assert "block_brake_1" in numbers and "0.00 bar" in numbers and "8.90 kN" in numbers
    assert "vents" in numbers and numbers.endswith("[open] [close]")
    assert jaws.count("█┃█") == 6
    assert switches.split() == ["block_made", "broken", "block_supply", "made"]


def test_not_safe_stands_in_the_first_line_with_its_reason(trainer):
    stuck_trim(trainer)
    for width in (78, 118):
        head = lines_of(trainer, "trim", width)[0]
        assert head.startswith("x trim") and "NOT SAFE: jaws of trim_brake_2, 3 still" in head


def test_an_unacknowledged_alarm_marks_its_zone(trainer):
    trainer.give(alarms=(AlarmFrame("block", "low supply", "unacknowledged", True, 9.0, None),))
    assert lines_of(trainer, "block")[0].startswith("! block")
    assert lines_of(trainer, "trim")[0].startswith("· trim")


def test_on_its_way_while_it_obeys_a_ride_stop(trainer):
    change_zone(trainer, "block", state="closing", since=9.9, in_safe_state=False)
    trainer.give(stopped_by="command")
    assert "safe closed: on its way" in lines_of(trainer, "block")[0]


def test_what_the_logic_waits_for_is_said(trainer):
    wait = Wait("open", ("open switch of block_brake_1 is broken",), 12.0, "open time exceeded")
    change_zone(trainer, "block", state="opening", waits=(wait,))
    assert "for open: open switch of block_brake_1 is broken" in lines_of(trainer, "block")[3]


def test_a_trainee_sees_switches_and_no_physics(trainee):
    lines = "\n".join(lines_of(trainee, "trim", 120, 4))
    assert "1 open" in lines and "4 open" in lines
    assert "kN" not in lines and "mm" not in lines and "┃" not in lines
    details = detail_rows(trainee.plant, trainee.frame, 0, ("trim_accumulator", "trim_brake_1"))
    words = "\n".join(plain(row.line) for row in details)
    assert "┃" not in words and "–" in words, "the accumulator's pressure is a dash"


@pytest.mark.parametrize("tall", [1, 2, 3, 4, 5])
@pytest.mark.parametrize("width", [0, 1, 20, 78, 198])
def test_rows_fit_any_width_and_number_of_lines(trainer, trainee, tall, width):
    for link in (trainer, trainee):
        row = zone_row(link.plant, link.frame, 2)
        for line in draw_zone(row, width, tall):
            assert len(plain(line)) <= max(width, 0)


def test_details_name_brakes_coils_handles_and_air(trainer):
    stuck_trim(trainer)
    trainer.give(
        isolated=("trim_shut_off",), overridden=("trim_valve_a.14",), drained=("trim_accumulator",)
    )
    members = ("trim_shut_off", "trim_accumulator", "trim_made", "trim_stored")
    rows = detail_rows(trainer.plant, trainer.frame, 0, members)
    of = {row.component: plain(row.line) for row in rows if row.component}
    assert of["trim_brake_2"].strip().startswith("x trim_brake_2")
    assert " M " in of["trim_valve_a"]
    assert "out of service" in of["trim_shut_off"]
    assert "drain open" in of["trim_accumulator"] and "7.00 bar" in of["trim_accumulator"]
    words = "\n".join(plain(row.line) for row in rows)
    assert "safe state open within 1.5 s, 3 of 4 brakes, 1.5 mm clear" in words
    assert "first out: vent time exceeded" in words


def test_details_say_what_the_logic_waits_for(trainer):
    waits = (
        Wait("open", ("open switch of block_brake_1 is broken",), 12.0, ""),
        Wait("faulted", (), 12.0, "open time exceeded"),
    )
    change_zone(trainer, "block", state="opening", waits=waits)
    words = [plain(row.line).strip() for row in detail_rows(PLANT, trainer.frame, 1, ())]
    at = words.index("open by 0:12.000, once this is gone:")
    assert words[at + 1] == "open switch of block_brake_1 is broken"
    assert "faulted at 0:12.000: open time exceeded" in words
    change_zone(trainer, "block", state="faulted", waits=(Wait("venting", (), None, ""),))
    words = [plain(row.line).strip() for row in detail_rows(PLANT, trainer.frame, 1, ())]
    assert "venting after a reset" in words


def test_brakes_on_their_way_are_not_marked_as_unsafe(trainer):
    clamp(trainer, "trim_brake_2", "trim_brake_3")
    trainer.give(stopped_by="command")
    for since, mark in ((9.9, "trim_brake_2"), (5.0, "x trim_brake_2")):
        change_zone(trainer, "trim", state="venting", since=since, in_safe_state=False)
        rows = detail_rows(PLANT, trainer.frame, 0, ())
        line = next(plain(row.line) for row in rows if row.component == "trim_brake_2")
        assert line.strip().startswith(mark)


# keys, mouse, sizes


async def test_keys_move_and_command_the_selected_zone(trainer):
    app = stage(trainer)
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("o", "down", "c", "up", "c", "end", "o")
        await pilot.pause()
        assert app.asked == [Do("open trim"), Do("close block"), Do("close trim"),
                             Do("open storage")]  # fmt: skip


async def test_words_in_a_row_command_its_zone(trainer):
    app = stage(trainer)
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.pause()
        lines = app.lines()
        y = next(i for i, line in enumerate(lines) if "station_brake_1" in line)
        await pilot.click(offset=(lines[y].index("[close]") + 2, y))
        await pilot.pause()
        await pilot.click(offset=(lines[y].index("[open]") + 2, y))
        await pilot.pause()
        assert app.asked == [Do("close station"), Do("open station")]
        assert app.query_one("#zones-list", Rows).cursor == PLANT.zones.index("station")


async def test_details_open_pick_a_component_and_close(trainer):
    app = stage(trainer)
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("down", "enter")
        await pilot.pause()
        assert app.query_one("#zones-list").region.area == 0
        assert any("block_brake_6" in line for line in app.lines())
        await pilot.press("down", "enter")
        await pilot.pause()
        assert app.picked == ["block_brake_2"]
        await pilot.press("c", "escape")
        await pilot.pause()
        assert app.asked == [Do("close block")]
        assert app.query_one("#zones-list").region.area > 0
        assert not app.query_one("#zones-details").display


async def test_a_click_picks_a_zone_and_two_open_it(trainer):
    app = stage(trainer)
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.pause()
        y = next(i for i, line in enumerate(app.lines()) if " final_1 " in line)
        await pilot.click(offset=(5, y))
        assert app.query_one("#zones-list", Rows).cursor == 2
        assert app.query_one("#zones-list").region.area > 0
        await pilot.click(offset=(5, y), times=2)
        await pilot.pause()
        assert app.query_one("#zones-details").display


async def test_the_cursor_stays_with_its_component_while_lines_come_and_go(trainer):
    app = stage(trainer)
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("down", "enter", "down", "down")
        waits = (Wait("open", ("open switch of block_brake_1 is broken",) * 3, 12.0, ""),)
        change_zone(trainer, "block", state="opening", waits=waits)
        app.view.show()
        await pilot.press("enter")
        await pilot.pause()
        assert app.picked == ["block_brake_3"]


async def test_details_stand_beside_the_list_when_there_is_room(trainer):
    app = stage(trainer)
    async with app.run_test(size=(160, 40)) as pilot:
        await pilot.press("down")
        await pilot.pause()
        text = "\n".join(app.lines())
        assert "trim_brake_1" in text and "Coils and valves" in text and "block_valve_a.14" in text


async def test_another_view_may_point_at_a_component(trainer):
    app = stage(trainer)
    async with app.run_test(size=(80, 20)):
        app.view.look_at("station_hose_1")
        assert app.query_one("#zones-list", Rows).cursor == PLANT.zones.index("station")
        app.view.look_at("compressor_1")
        assert app.query_one("#zones-list", Rows).cursor == PLANT.zones.index("station")


async def test_the_head_counts_what_is_not_safe_and_follows_the_frames(trainer):
    app = stage(trainer)
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.pause()
        assert app.lines()[0].startswith(" 6 zones ") and "NOT SAFE" not in app.lines()[0]
        stuck_trim(trainer)
        app.view.show()
        await pilot.pause()
        assert app.lines()[0].startswith(" 6 zones · 1 faulted  x NOT SAFE: trim")
        assert "NOT SAFE" in app.lines()[1]


@pytest.mark.parametrize("size", [(1, 1), (2, 3), (40, 10), (80, 20), (120, 30), (200, 56)])
@pytest.mark.parametrize("seat", ["trainer", "trainee"])
async def test_any_size(size, seat):
    link = FakeLink(PLANT, seat)
    app = stage(link)
    async with app.run_test(size=size) as pilot:
        await pilot.press("down", "enter", "escape")
        await pilot.resize_terminal(100, 24)
        await pilot.pause()
        assert any("storage" in line for line in app.lines())


async def test_fifty_zones_scroll_one_line_each():
    link = FakeLink(many_zones(50))
    app = stage(link)
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("end")
        await pilot.pause()
        lines = app.lines()
        assert "zone_50" in lines[-1] and "50 zones" in lines[0]
        await pilot.press("o")
        await pilot.pause()
        assert app.asked == [Do("open zone_50")]


async def test_a_circuit_without_zones_says_so():
    link = FakeLink(many_zones(0))
    app = stage(link)
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("o", "enter", "down")
        await pilot.pause()
        assert "no brake zones" in "\n".join(app.lines())
        assert app.asked == []


def many_zones(count: int) -> Plant:
    """A plant of so many copies of the one-brake zone's names; only good for drawing."""
    from dataclasses import replace

    plant = plant_of("01_spring_open_single")
    first = next(iter(plant.circuit.zones.values()))
    zones = {
        f"zone_{i}": first.model_copy(update={"name": f"zone_{i}"}) for i in range(1, count + 1)
    }
    circuit = replace(plant.circuit, zones=zones)
    return replace(
        plant,
        circuit=circuit,
        zones=tuple(zones),
        brakes=tuple(b for zone in zones.values() for b in zone.brakes),
    )


# gates


def test_gates_say_what_is_commanded_where_they_are_and_what_is_seen(trainer):
    trainer.give(outputs=(False,) * len(PLANT.outputs))
    (row,) = gate_rows(PLANT, trainer.frame)
    line = plain(draw_gate(row, 100))
    assert line.startswith("· station_gates  gates closed")
    assert "0.0 mm" in line and "0 of 4 retracted, 4 of 4 extended" in line
    outputs = [output.zone == "station_gates" for output in PLANT.outputs]
    trainer.give(outputs=tuple(outputs), travels=(0.0, 0.2, 0.4, 0.4))
    (row,) = gate_rows(PLANT, trainer.frame)
    assert row.commanded == "open" and row.travel == "0.0 to 400.0 mm"


def test_a_trainee_does_not_see_the_travel_of_gates(trainee):
    (row,) = gate_rows(PLANT, trainee.frame)
    assert row.travel == "" and "mm" not in plain(draw_gate(row, 100))


@pytest.mark.parametrize("width", [0, 1, 30, 59, 60, 198])
def test_gates_fit_any_width(trainer, width):
    (row,) = gate_rows(PLANT, trainer.frame)
    assert len(plain(draw_gate(row, width))) == width


async def test_gates_are_commanded_by_keys_and_mouse(trainer):
    app = stage(trainer)
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("tab", "o")
        await pilot.pause()
        assert app.asked == [Do("open station_gates")]
        lines = app.lines()
        await pilot.click(offset=(lines[-1].index("[close]") + 2, 19))
        await pilot.pause()
        assert app.asked[1:] == [Do("close station_gates")]
        await pilot.press("enter")
        await pilot.pause()
        assert app.picked == ["gate_1"]


async def test_a_ride_without_gates_has_no_line_for_them():
    app = stage(FakeLink(plant_of("01_spring_open_single")))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.pause()
        assert not app.query_one("#gates-list").display
