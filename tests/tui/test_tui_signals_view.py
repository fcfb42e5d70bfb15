"""Tests of the signals view: what it says of a signal, forcing with its cautions, filter, sizes."""

from __future__ import annotations

import numpy as np
import pytest
from tui_stage import Stage
from tui_toys import FakeLink, judged, plant_of

from pneumo.live.request import Do
from tui.views.signals import (
    FORCING,
    RECENT,
    Heading,
    SignalRow,
    SignalsView,
    _columns,
    changed,
    draw_signal,
    matching,
    signal_rows,
)
from tui.widgets.rows import Rows, plain

PLANT = plant_of("sand_martin")
INPUTS = [contact.name for contact in PLANT.inputs]
OUTPUTS = [output.name for output in PLANT.outputs]


def force(link: FakeLink, *names: str) -> None:
    link.give(
        forced_inputs=tuple(name in names for name in INPUTS),
        forced_outputs=tuple(name in names for name in OUTPUTS),
    )


def rows_of(link: FakeLink) -> dict[str, SignalRow]:
    rows = signal_rows(PLANT, link.frame, [False] * (len(INPUTS) + len(OUTPUTS)))
    return {row.name: row for row in rows if isinstance(row, SignalRow) and not row.first}


def select(app: Stage, name: str) -> None:
    rows = app.query_one("#signals-list", Rows)
    place = next(i for i, r in enumerate(rows.rows) if isinstance(r, SignalRow) and r.name == name)
    rows.go(place)


# what is said


def test_every_input_and_output_stands_under_its_zone_once(trainer):
    rows = signal_rows(PLANT, trainer.frame, [False] * (len(INPUTS) + len(OUTPUTS)))
    names = [row.name for row in rows if isinstance(row, SignalRow)]
    assert sorted(names) == sorted(INPUTS + OUTPUTS)
    headings = [row.words for row in rows if isinstance(row, Heading)]
    assert headings[:7] == ["Sand Martin", *PLANT.zones]
    trim = rows[rows.index(Heading("trim")) + 1]
    assert isinstance(trim, SignalRow) and trim.name == "trim_charged"


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("trim_charged", "□ OFF ON: zone charged"),
        ("trim_supply", "■ ON ON: supply present"),
        ("trim_open_2", "■ ON ON: trim_brake_2 open"),
        ("storage_pressure", "□ OFF ON: pressure is low"),
        ("storage_valve_a.14", "□ OFF ON: vent storage"),
        ("trim_valve_b.14", "□ OFF ON: charge trim"),
    ],
)
def test_a_line_says_the_value_and_what_it_means(trainer, name, words):
    line = plain(draw_signal(rows_of(trainer)[name], 120))
    assert " ".join(line.split()) == f"{name} {words}"


def test_a_forced_one_is_marked_in_words(trainer):
    force(trainer, "trim_charged", "trim_valve_a.14")
    for name in ("trim_charged", "trim_valve_a.14"):
        line = plain(draw_signal(rows_of(trainer)[name], 80))
        assert line.startswith("F") and " forced " in line
    assert not plain(draw_signal(rows_of(trainer)["trim_supply"], 80)).startswith("F")


def test_what_is_forced_stands_at_the_top_with_its_zone_and_under_it(trainer):
    force(trainer, "trim_charged", "station_valve_a.14")
    rows = signal_rows(PLANT, trainer.frame, [False] * (len(INPUTS) + len(OUTPUTS)))
    top = [plain(draw_signal(row, 100)).split() for row in rows[:3]]
    assert top[0] == ["forced"]
    assert top[1][:2] == ["F", "trim_charged"] and top[1][-1] == "(trim)"
    assert top[2][:2] == ["F", "station_valve_a.14"] and top[2][-1] == "(station)"
    assert rows[3] == Heading("Sand Martin")
    names = [row.name for row in rows[3:] if isinstance(row, SignalRow)]
    assert sorted(names) == sorted(INPUTS + OUTPUTS)


@pytest.mark.parametrize("width", [0, 1, 10, 79, 200])
def test_lines_are_as_wide_as_asked(trainer, width):
    row = rows_of(trainer)["trim_valve_a.14"]
    assert len(plain(draw_signal(row, width))) == width
    assert len(plain(draw_signal(Heading("trim"), width))) == width


def test_words_are_looked_for_in_all_that_is_said(trainer):
    force(trainer, "block_charged")
    rows = signal_rows(PLANT, trainer.frame, [False] * (len(INPUTS) + len(OUTPUTS)))

    def found(words: str) -> list[str]:
        return [r.name for r in matching(rows, words) if isinstance(r, SignalRow)]

    assert found("trim output") == ["trim_valve_a.14", "trim_valve_b.14"]
    assert found("FORCED") == ["block_charged"]
    assert found("brake_2 closed trim") == ["trim_closed_2"]
    assert found("changed") == []
    assert matching(rows, "forced") == [Heading("block"), rows_of(trainer)["block_charged"]]


# what has changed


def record(link: FakeLink, name: str, since: float) -> None:
    """Lets a signal be what it is not in the frame, before a time of the record."""
    past = link.past
    values = past.values.copy()
    column = _columns(PLANT)[(INPUTS + OUTPUTS).index(name)]
    now = values[-1, column]
    values[past.times < since - 1e-9, column] = 1.0 - now
    link.past = past._replace(values=values)


def marks(link: FakeLink) -> list[str]:
    found = changed(link.past, link.frame, _columns(PLANT))
    return [name for name, each in zip(INPUTS + OUTPUTS, found, strict=True) if each]


def test_a_change_is_marked_for_a_while(trainer):
    assert marks(trainer) == []
    record(trainer, "trim_valve_a.14", 8.0)
    record(trainer, "trim_charged", 3.0)
    assert marks(trainer) == ["trim_valve_a.14"]
    outputs = list(trainer.frame.outputs)
    outputs[OUTPUTS.index("trim_valve_a.14")] ^= True
    trainer.give(time=5.0, outputs=tuple(outputs))
    assert marks(trainer) == ["trim_charged"], "gone back, the mark goes back too"
    inputs = list(trainer.frame.inputs)
    inputs[INPUTS.index("trim_charged")] ^= True
    trainer.give(time=2.9, inputs=tuple(inputs))
    assert marks(trainer) == [], "what came later is not marked"


def test_a_change_since_the_last_recorded_row_is_marked(trainer):
    inputs = list(trainer.frame.inputs)
    inputs[INPUTS.index("block_charged")] ^= True
    trainer.give(inputs=tuple(inputs), time=10.05)
    assert marks(trainer) == ["block_charged"]


def test_nothing_is_marked_without_a_record_or_where_the_seat_does_not_see(trainer):
    trainer.past = trainer.past._replace(times=np.zeros(0), values=np.zeros((0, 1), np.float32))
    assert marks(trainer) == []
    blind = FakeLink(PLANT)
    blind.past = blind.past._replace(values=np.full_like(blind.past.values, np.nan))
    assert marks(blind) == []
    assert RECENT > 0.0


# forcing


@pytest.mark.parametrize(
    ("name", "key", "sentence"),
    [
        ("trim_charged", "plus", "force trim_charged on"),
        ("trim_charged", "minus", "force trim_charged off"),
        ("trim_valve_a.14", "plus", "force trim_valve_a.14 on"),
        ("trim_valve_a.14", "minus", "force trim_valve_a.14 off"),
    ],
)
@pytest.mark.parametrize("seat", ["trainer", "trainee"])
async def test_a_force_is_done_after_its_cautions(name, key, sentence, seat):
    app = Stage(SignalsView(FakeLink(PLANT, seat)))
    async with app.run_test(size=(100, 40)) as pilot:
        select(app, name)
        await pilot.press(key)
        await pilot.pause()
        assert app.asked == []
        shown = " ".join(" ".join(app.lines()).replace("│", " ").split())
        assert FORCING[1][:40] in shown and "licensed person" in shown
        await pilot.press("y")
        await pilot.pause()
        assert app.asked == [Do(sentence)]
        assert app.sure == [True], "the app need not ask again"


async def test_a_force_that_is_not_confirmed_is_not_done(trainer):
    app = Stage(SignalsView(trainer))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("plus", "escape", "minus", "n")
        await pilot.pause()
        assert app.asked == []


async def test_one_force_or_all_are_taken_out(trainer):
    force(trainer, "trim_charged", "trim_valve_a.14")
    app = Stage(SignalsView(trainer))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "F 2 forced" in app.lines()[0]
        select(app, "trim_charged")
        await pilot.press("d", "y")
        await pilot.press("D")
        await pilot.pause()
        assert "trim_charged, trim_valve_a.14" in " ".join(app.lines())
        await pilot.press("y")
        await pilot.pause()
        assert app.asked == [Do("unforce trim_charged"), Do("unforce all")]


async def test_without_a_force_there_is_nothing_to_take_out(trainer):
    app = Stage(SignalsView(trainer))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.pause()
        assert "nothing forced" in app.lines()[0]
        await pilot.press("d", "D")
        await pilot.pause()
        assert app.asked == [] and len(app.screen_stack) == 1
        assert [note.message for note in app._notifications] == [
            "main_low is not forced.", "Nothing is forced.",
        ]  # fmt: skip


async def test_words_below_the_list_can_be_clicked(trainer):
    force(trainer, "main_low")
    app = Stage(SignalsView(trainer))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        words = ("[+ force ON]", "[- force OFF]", "[d unforce]", "[D unforce all]")
        for place in [app.place(each) for each in words]:
            await pilot.click(offset=place)
            await pilot.pause()
            await pilot.press("y")
            await pilot.pause()
        assert app.asked == [
            Do("force main_low on"), Do("force main_low off"), Do("unforce main_low"),
            Do("unforce all"),
        ]  # fmt: skip
        await pilot.click(offset=app.place("[/ filter]"))
        await pilot.pause()
        assert app.focused is app.query_one("#signals-filter")


# list and filter


async def test_the_list_has_the_focus_and_enter_picks_the_component(trainer):
    app = Stage(SignalsView(trainer))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.pause()
        assert app.focused is app.query_one("#signals-list")
        select(app, "trim_valve_a.14")
        await pilot.press("enter")
        await pilot.pause()
        assert app.picked == ["trim_valve_a"]
        app.view.look_at("block_charged")
        row = app.query_one("#signals-list", Rows).row
        assert isinstance(row, SignalRow) and row.name == "block_charged"


def in_trouble(link: FakeLink, name: str) -> None:
    place = PLANT.zones.index(name)
    zones = list(link.frame.zones)
    zones[place] = judged(zones[place]._replace(state="faulted", since=1.0))
    link.give(zones=tuple(zones))


async def test_it_opens_with_the_zone_in_trouble_or_with_what_is_forced(trainer):
    in_trouble(trainer, "station")
    app = Stage(SignalsView(trainer))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.pause()
        row = app.query_one("#signals-list", Rows).row
        assert isinstance(row, SignalRow) and row.zone == "station"
        assert app.lines()[1].strip() == "station", "its heading is seen"
        assert app.lines()[2].startswith("▸")
    force(trainer, "storage_charged")
    app = Stage(SignalsView(trainer))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.pause()
        assert app.lines()[1].strip() == "forced" and "storage_charged" in app.lines()[2]


async def test_a_force_does_not_take_the_cursor_away(trainer):
    app = Stage(SignalsView(trainer))
    async with app.run_test(size=(80, 20)) as pilot:
        select(app, "storage_charged")
        await pilot.pause()
        force(trainer, "storage_charged", "trim_charged", "block_charged")
        app.view.show()
        await pilot.pause()
        row = app.query_one("#signals-list", Rows).row
        assert isinstance(row, SignalRow) and row.name == "storage_charged" and not row.first
        assert any("storage_charged" in line for line in app.lines()), "it is still on the screen"


async def test_the_cursor_steps_over_headings_and_the_first_can_be_seen(trainer):
    app = Stage(SignalsView(trainer))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("down")
        row = app.query_one("#signals-list", Rows).row
        assert isinstance(row, SignalRow) and row.name == "trim_charged"
        await pilot.press("end", "home")
        await pilot.pause()
        assert "Sand Martin" in app.lines()[1]


async def test_filter_by_words(trainer):
    app = Stage(SignalsView(trainer))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("slash", *"station output", "enter")
        await pilot.pause()
        assert f"3 of {len(INPUTS) + len(OUTPUTS)}" in app.lines()[0], "the gates' is one of them"
        await pilot.press("plus", "y")
        await pilot.pause()
        assert app.asked == [Do("force station_valve_a.14 on")]
        await pilot.press("slash", *"xyz", "escape")
        await pilot.pause()
        assert "No input or output fits." in "\n".join(app.lines())
        await pilot.press("plus", "d")
        await pilot.pause()
        assert len(app.asked) == 1


async def test_a_new_value_is_drawn(trainer):
    app = Stage(SignalsView(trainer))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.pause()
        _, y = app.place("main_low")
        assert "■ ON" in app.lines()[y]
        inputs = list(trainer.frame.inputs)
        inputs[INPUTS.index("main_low")] = False
        trainer.give(inputs=tuple(inputs))
        app.view.show()
        await pilot.pause()
        assert "□ OFF" in app.lines()[y] and "*" in app.lines()[y]


@pytest.mark.parametrize("size", [(1, 1), (3, 2), (40, 8), (80, 20), (200, 56)])
async def test_any_size(trainee, size):
    app = Stage(SignalsView(trainee))
    async with app.run_test(size=size) as pilot:
        await pilot.press("down", "end", "slash", "a", "escape", "plus", "escape")
        await pilot.resize_terminal(80, 20)
        await pilot.pause()
        assert "nothing forced" in app.lines()[0]
