"""Tests of the zones view: what a row says, keys, mouse, sizes, both seats."""

from __future__ import annotations

import pytest
from tui_stage import Stage
from tui_toys import FakeLink, judged, plant_of, until

from pneumo.live.frame import AlarmFrame
from pneumo.live.places import Jaws
from pneumo.live.plant import Plant
from pneumo.live.request import Do
from pneumo.zone.evidence import Clue, Obstacle
from pneumo.zone.waiting import Wait
from tui.views.zones import ZonesView
from tui.widgets.gates import draw_gate, gate_height, gate_rows
from tui.widgets.jaws import letter, picture
from tui.widgets.rows import Rows, plain
from tui.widgets.zone_details import detail_rows, fitted
from tui.widgets.zone_list import draw_zone, heights_of, zone_row

PLANT = plant_of("sand_martin")


def stage(link: FakeLink) -> Stage:
    return Stage(ZonesView(link))


def change_zone(link: FakeLink, name: str, **changes: object) -> None:
    zones = list(link.frame.zones)
    place = link.plant.zones.index(name)
    judgement = changes.pop("judgement", None)
    zones[place] = zones[place]._replace(**changes)
    if judgement is not None:
        zones[place] = judged(zones[place], **judgement)
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
        judgement={"lacking": (1, 2)}, brake="trim_brake_2", gap=0.0, force=8900.0, pressure=4.5e5,
    )  # fmt: skip


def lines_of(link: FakeLink, name: str, width: int = 120, tall: int = 4) -> list[str]:
    waiting = {alarm.zone for alarm in link.frame.alarms}
    row = zone_row(link.plant, link.frame, link.plant.zones.index(name), waiting)
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


def test_letters_of_the_switches():
    pairs = [(True, False), (False, True), (False, False), (True, True), (None, None)]
    assert [letter(Jaws(closed, wide)) for closed, wide in pairs] == list("co-!·")


# what a row says


def test_a_zone_at_rest_says_state_springs_and_that_it_is_safe(trainer):
    head, numbers, jaws, switches = lines_of(trainer, "block")
    assert " ".join(head.split()) == "· block closed 10 s spring-closed; in its safe state (closed)"
    assert "block_brake_1" in numbers and "0.00 bar" in numbers and "8.90 kN" in numbers
    assert "command: vent" in numbers and numbers.endswith("[open] [close]")
    assert jaws.count("█┃█") == 6
    assert switches.split() == ["block_charged", "OFF", "block_supply", "ON"]


def test_not_safe_stands_in_the_first_line_with_its_reason(trainer):
    stuck_trim(trainer)
    for width in (78, 118):
        head = lines_of(trainer, "trim", width)[0]
        assert (
            head.startswith("x trim")
            and "NOT SAFE, vent time exceeded: brakes 2, 3 still closed" in head
        )


def test_an_unacknowledged_alarm_marks_its_zone(trainer):
    trainer.give(alarms=(AlarmFrame("block", "low supply", "unacknowledged", True, 9.0, None),))
    assert lines_of(trainer, "block")[0].startswith("! block")
    assert lines_of(trainer, "trim")[0].startswith("· trim")


def test_a_faulted_zone_in_its_safe_state_shows_its_first_out_cause(trainer):
    change_zone(trainer, "block", state="faulted", first_out="uncommanded movement")
    for width in (78, 118):
        head = lines_of(trainer, "block", width)[0]
        assert head.startswith("x block") and "first out: uncommanded movement" in head
        assert (
            "in its safe state" if width == 78 else "spring-closed; in its safe state (closed)"
        ) in head
    assert "first out: uncommanded movement" in lines_of(trainer, "block", 78, 1)[0]
    change_zone(trainer, "block", first_out="pressure present while vented")
    head = lines_of(trainer, "block", 78)[0]
    assert head.endswith("first out: pressure present while vented"), "whole words or none"


def test_on_its_way_while_it_has_time(trainer):
    going = {"demanded_by": "stop", "not_safe": False}
    change_zone(trainer, "block", state="closing", since=9.9, judgement=going)
    trainer.give(stopped_by="command")
    assert "on its way to its safe state (closed)" in lines_of(trainer, "block")[0]
    change_zone(
        trainer, "block", state="faulted", since=9.95, first_out="uncommanded movement",
        judgement={"not_safe": False},
    )  # fmt: skip
    assert "NOT SAFE" not in lines_of(trainer, "block")[0]
    change_zone(trainer, "block", judgement={})
    assert "NOT SAFE, uncommanded movement" in lines_of(trainer, "block")[0]


OFF = Obstacle("", True, (Clue("open switch", "block_brake_1", False),))


def test_what_the_logic_waits_for_is_said(trainer):
    wait = Wait("open", (OFF,), 12.0, "open time exceeded")
    change_zone(trainer, "block", state="opening", waits=(wait,))
    assert "not open yet: 'open' switch of block_brake_1 is OFF" in lines_of(trainer, "block")[3]


def not_closed(*brakes: str) -> Obstacle:
    clues = tuple(Clue("closed switch", brake, False) for brake in brakes)
    return Obstacle("close time exceeded", True, clues)


LONG = not_closed(*(f"{side}_side_brake" for side in ("north", "south", "west", "upper")))


def test_what_the_logic_asks_is_not_said_as_if_it_were_done(trainer, trainee):
    for link in (trainer, trainee):
        for charge, word in ((True, "charge"), (False, "vent")):
            change_zone(link, "block", charge=charge)
            assert f" command: {word} " in lines_of(link, "block", 118)[1]
            narrow = lines_of(link, "block", 78)[1]
            assert f" cmd {word} " in narrow and "command" not in narrow


def test_what_blocks_a_reset_is_drawn_together_and_wrapped_where_lines_are_free(trainer):
    blocked_by = (
        Obstacle("close time exceeded", False, ()),
        Obstacle("vent time exceeded", False, ()),
        not_closed(*(f"block_brake_{i}" for i in range(1, 7))),
        Obstacle("vent time exceeded", True, (Clue("pressure switch", "block_charged", True),)),
    )
    change_zone(
        trainer, "block", state="faulted", first_out="vent time exceeded",
        waits=(Wait("venting", blocked_by, None, ""),),
    )  # fmt: skip
    said = (
        "reset is blocked by: alarms not acknowledged; 'closed' switch of block_brake_1…6 is OFF, "
        "pressure switch block_charged is ON"
    )
    row = zone_row(trainer.plant, trainer.frame, 1)
    assert row.wait == said
    for tall in (5, 6, 7, 8):
        lines = [plain(line).strip() for line in draw_zone(row, 118, tall)]
        whole = " ".join(lines[3:])
        assert whole.startswith(said[:100])
        if tall >= 7:
            assert whole.startswith(said) and "block_supply ON" in whole


def test_lines_that_are_left_go_to_zones_in_trouble_the_unsafe_first(trainer):
    wait = (Wait("venting", (LONG,), None, ""),)
    change_zone(trainer, "trim", state="faulted", first_out="low supply", waits=wait)
    change_zone(trainer, "block", state="faulted", since=1.0, judgement={}, waits=wait)
    rows = [zone_row(PLANT, trainer.frame, i) for i in range(6)]
    assert heights_of(rows, 12, 118) == [2] * 6
    assert heights_of(rows, 30, 118) == [5] * 6
    assert heights_of(rows, 31, 118) == [5, 6, 5, 5, 5, 5]
    heights = heights_of(rows, 60, 118)
    assert heights[0] == heights[1] > 5 and heights[2:] == [5] * 4


async def test_rows_of_different_height_are_found_by_click_and_cursor(trainer):
    wait = (Wait("venting", (LONG,), None, ""),)
    change_zone(trainer, "block", state="faulted", since=1.0, waits=wait)
    app = stage(trainer)
    async with app.run_test(size=(120, 36)) as pilot:
        await pilot.pause()
        rows = app.query_one("#zones-list", Rows)
        assert rows.cursor == PLANT.zones.index("block"), "opens with the zone in trouble"
        lines = app.lines()
        at = [next(i for i, line in enumerate(lines) if f" {z}_brake_1" in line)
              for z in PLANT.zones]  # fmt: skip
        assert at[2] - at[1] > at[1] - at[0] == at[4] - at[3]
        for zone, y in zip(PLANT.zones, at, strict=True):
            await pilot.click(offset=(5, y))
            assert rows.cursor == PLANT.zones.index(zone)
        await pilot.resize_terminal(120, 12)
        await pilot.press("home", "end")
        await pilot.pause()
        assert any(" storage " in line for line in app.lines())


def test_a_trainee_sees_switches_and_no_physics(trainee):
    lines = "\n".join(lines_of(trainee, "trim", 120, 4))
    assert "1 open" in lines and "4 open" in lines
    assert "kN" not in lines and " mm" not in lines and "┃" not in lines
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
    members = ("trim_shut_off", "trim_accumulator", "trim_charged", "trim_stored")
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
        Wait("open", (OFF,), 12.0, ""),
        Wait("faulted", (), 12.0, "open time exceeded"),
    )
    change_zone(trainer, "block", state="opening", waits=waits)
    words = [plain(row.line).strip() for row in detail_rows(PLANT, trainer.frame, 1, ())]
    at = words.index("open by 0:12.000, blocked by:")
    assert words[at + 1] == "'open' switch of block_brake_1 is OFF"
    assert "faulted at 0:12.000: open time exceeded" in words
    change_zone(trainer, "block", state="faulted", waits=(Wait("venting", (), None, ""),))
    words = [plain(row.line).strip() for row in detail_rows(PLANT, trainer.frame, 1, ())]
    assert "venting after a reset" in words


def test_brakes_on_their_way_are_not_marked_as_unsafe(trainer):
    clamp(trainer, "trim_brake_2", "trim_brake_3")
    trainer.give(stopped_by="command")
    for late, mark in ((False, "trim_brake_2"), (True, "x trim_brake_2")):
        judgement = {"demanded_by": "stop", "not_safe": late, "lacking": (1, 2)}
        change_zone(trainer, "trim", state="venting", judgement=judgement)
        rows = detail_rows(PLANT, trainer.frame, 0, ())
        line = next(plain(row.line) for row in rows if row.component == "trim_brake_2")
        assert line.strip().startswith(mark)


def test_sentences_of_the_details_are_wrapped_and_the_switches_are_seen_whole(trainer):
    change_zone(
        trainer, "block", state="faulted", first_out="close time exceeded", since=1.0,
        waits=(
            Wait("venting", (not_closed(*(f"block_brake_{i}" for i in (1, 2, 3, 4, 5, 8))),),
                 None, ""),
        ),
    )  # fmt: skip
    rows = fitted(detail_rows(PLANT, trainer.frame, 1, ()), 59)
    lines = [plain(row.line) for row in rows]
    assert {len(line) for line in lines} == {59}
    said = " ".join(" ".join(lines).split())
    assert "'closed' switch of block_brake_1…5, 8 is OFF" in said
    assert "5 of 6 brakes, 6.00 kN each" in said
    brake = next(plain(row.line) for row in rows if row.component == "block_brake_1")
    assert " closed " in brake and "8.90 kN" in brake
    for width in (0, 1, 19, 20, 40):
        narrow = fitted(detail_rows(PLANT, trainer.frame, 1, ()), width)
        assert all(len(plain(row.line)) <= width for row in narrow)


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
        waits = (Wait("open", (OFF,) * 3, 12.0, ""),)
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
        assert app.lines()[0].startswith(" 6 zones · 1 faulted ")
        assert "NOT SAFE" in app.lines()[1]


@pytest.mark.parametrize("size", [(1, 1), (2, 3), (40, 10), (80, 20), (120, 30), (200, 56)])
@pytest.mark.parametrize("seat", ["trainer", "trainee"])
async def test_any_size(size, seat):
    link = FakeLink(PLANT, seat)
    app = stage(link)
    async with app.run_test(size=size) as pilot:
        await pilot.press("down", "enter", "escape")
        await pilot.resize_terminal(100, 24)
        await until(pilot, lambda: any("storage" in line for line in app.lines()))


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


def gate_outputs(link: FakeLink, on: bool) -> None:
    link.give(outputs=tuple(on and o.zone == "station_gates" for o in PLANT.outputs))


def gate_switches(link: FakeLink, retracted: bool, extended: bool) -> None:
    says = {"retracted": retracted, "extended": extended}
    link.give(
        inputs=tuple(
            says[contact.reads] if contact.zone == "station_gates" else made
            for contact, made in zip(PLANT.inputs, link.frame.inputs, strict=True)
        )
    )


def gate_state(link: FakeLink) -> str:
    (row,) = gate_rows(PLANT, link.frame)
    return row.state


def test_gates_say_where_they_are_and_what_is_seen(trainer):
    gate_outputs(trainer, False)
    gate_switches(trainer, True, False)
    (row,) = gate_rows(PLANT, trainer.frame)
    line = plain(draw_gate(row, 79)[0])
    assert line.startswith("· station_gates  closed")
    assert "0.0 mm" in line and "retracted 4/4  extended 0/4 " in line, "whole at 80 columns"
    assert len(draw_gate(row, 79)) == 1


def test_gates_move_until_all_of_them_are_there(trainer):
    gate_outputs(trainer, True)
    assert gate_state(trainer) == "opening", "they have not left"
    trainer.give(travels=(0.0, 0.2, 0.4, 0.4))
    (row,) = gate_rows(PLANT, trainer.frame)
    assert row.state == "opening" and row.travel == "0.0 to 400.0 mm"
    trainer.give(travels=(0.4,) * 4)
    assert gate_state(trainer) == "open"
    gate_outputs(trainer, False)
    assert gate_state(trainer) == "closing"
    trainer.give(travels=(0.0,) * 4)
    assert gate_state(trainer) == "closed"


def test_a_trainee_goes_by_the_switches_of_the_gates(trainee):
    (row,) = gate_rows(PLANT, trainee.frame)
    assert row.travel == "" and all(gate.share is None for gate in row.gates)
    assert not any("mm" in plain(line) for line in draw_gate(row, 100, 5))
    gate_outputs(trainee, True)
    for retracted, extended, state in (
        (True, False, "opening"), (False, False, "opening"), (False, True, "open"),
        (True, True, "opening"),
    ):  # fmt: skip
        gate_switches(trainee, retracted, extended)
        assert gate_state(trainee) == state
    alone = plant_of("10_station_gates")
    link = FakeLink(alone, "trainee")
    link.give(outputs=(True,), inputs=(False, False))
    (row,) = gate_rows(alone, link.frame)
    assert row.state == "command: open", "no switch says that they are open"
    link.give(inputs=(True, False))
    assert gate_rows(alone, link.frame)[0].state == "opening"


async def test_a_ride_of_gates_alone_has_them_at_the_top_each_with_its_travel():
    link = FakeLink(plant_of("10_station_gates"))
    link.give(travels=(0.1, 0.4), outputs=(True,), inputs=(False, False))
    app = stage(link)
    async with app.run_test(size=(120, 30)) as pilot:
        await pilot.pause()
        lines = app.lines()
        assert "only gates" in lines[0] and "station_gates  opening" in lines[1]
        assert "gate_1 ▕█████ " in lines[2] and "100.0 mm  retracted OFF" in lines[2]
        assert "gate_2 ▕████████████████████▏  400.0 mm" in lines[3]
        await pilot.press("o")
        await pilot.pause()
        assert app.asked == [Do("open station_gates")]
        await pilot.resize_terminal(80, 4)
        await pilot.pause()
        assert "station_gates" in app.lines()[1]
        assert gate_height(gate_rows(link.plant, link.frame)[0]) == 3


@pytest.mark.parametrize("width", [0, 1, 30, 59, 60, 198])
def test_gates_fit_any_width(trainer, width):
    (row,) = gate_rows(PLANT, trainer.frame)
    assert [len(plain(line)) for line in draw_gate(row, width, 5)] == [width] * 5


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
