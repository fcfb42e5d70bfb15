"""Tests of the alarms view: order, words, keys, mouse, the event list, sizes, both seats."""

from __future__ import annotations

import pytest
from tui_stage import Stage
from tui_toys import FakeLink, plant_of

from pneumo.circuit.action import Command
from pneumo.live.frame import AlarmFrame
from pneumo.live.request import Do, GoTo, Shelve
from pneumo.scenario.event import Commanded, ContactRead, RunEvent
from pneumo.zone.event import AlarmRaised, StateEntered
from pneumo.zone.evidence import Clue
from tui.views.alarms import AlarmRow, AlarmsView, Heading, draw_alarm
from tui.widgets.rows import Rows, plain

PLANT = plant_of("sand_martin")
VENT = AlarmFrame("trim", "vent time exceeded", "unacknowledged", True, 60.0, None)
OPEN = AlarmFrame("trim", "open time exceeded", "latched, acknowledged", False, 61.0, None)
RIDE = AlarmFrame("", "low ride supply", "returned to normal, unacknowledged", True, 30.0, None)
SHELVED = AlarmFrame("station", "switches disagree", "unacknowledged", True, 12.0, 375.0)


@pytest.fixture
def link() -> FakeLink:
    """A trainer's seat with alarms of every sort and a few events."""
    link = FakeLink(PLANT)
    link.give(time=75.0, newest=75.0, alarms=(SHELVED, OPEN, VENT, RIDE))
    for event in (
        RunEvent(
            30.0, "",
            AlarmRaised("low ride supply", False, (Clue("supply switch", "main_low", False),)),
        ),
        RunEvent(58.0, "trim", Commanded(Command("trim", "open"))),
        RunEvent(60.0, "trim", StateEntered("venting", "faulted")),
        RunEvent(
            60.0, "trim",
            AlarmRaised(
                "vent time exceeded", True, (Clue("pressure switch", "trim_charged", True),)
            ),
        ),
        RunEvent(
            61.0, "trim",
            AlarmRaised("open time exceeded", False, (Clue("open switch", "b", False),)),
        ),
        RunEvent(70.0, "trim_charged", ContactRead(False)),
    ):  # fmt: skip
        link.happen(event)
    return link


def rows_of(app: Stage) -> list[object]:
    return list(app.query_one("#alarms-list", Rows).rows)


def events_of(app: Stage) -> Rows:
    return app.query_one("#events-list", Rows)


# the alarms


async def test_those_that_wait_come_first_and_shelved_ones_stand_apart(link):
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.pause()
        rows = rows_of(app)
        assert [(r.zone, r.name) if isinstance(r, AlarmRow) else r.words for r in rows] == [
            ("trim", "vent time exceeded"), ("", "low ride supply"),
            ("trim", "open time exceeded"), "Shelved", ("station", "switches disagree"),
        ]  # fmt: skip
        head = app.lines()[0]
        assert "3 alarms" in head and "! 2 to acknowledge" in head and "1 shelved" in head


async def test_a_row_says_mark_state_age_first_out_and_what_was_sensed(link):
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(200, 56)) as pilot:
        await pilot.pause()
        x, y = app.place("vent time exceeded", "trim")
        first, second = app.lines()[y], app.lines()[y + 1]
        assert first.split()[:2] == ["▸!", "trim"] and x > 0
        assert "FIRST OUT" in second and "unacknowledged" in second and "15 s" in second
        assert "pressure switch trim_charged is ON" in second


@pytest.mark.parametrize(
    ("state", "mark"),
    [
        ("unacknowledged", "!"),
        ("returned to normal, unacknowledged", "!"),
        ("latched, unacknowledged", "!"),
        ("acknowledged", "x"),
        ("latched, acknowledged", "·"),
    ],
)
@pytest.mark.parametrize("tall", [1, 2])
def test_every_state_has_a_mark_and_its_words(state, mark, tall):
    lines = draw_alarm(AlarmRow("trim", "low supply", state, False, "3 s", "", ""), 100, tall)
    assert plain(lines[0]).startswith(f"{mark} trim")
    assert state in " ".join(plain(line) for line in lines)


@pytest.mark.parametrize("tall", [1, 2])
@pytest.mark.parametrize("width", [0, 1, 30, 79, 200])
def test_rows_fit_any_width(width, tall):
    row = AlarmRow("trim", "low supply", "unacknowledged", True, "3 s", "4 s", "why " * 30)
    for line in draw_alarm(row, width, tall):
        assert len(plain(line)) <= max(width, 0)
    assert draw_alarm(Heading("Shelved"), 80, tall)


async def test_enter_acknowledges_the_zone_and_z_resets_it(link):
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("enter")  # nobody has moved to an alarm yet
        await pilot.pause()
        assert app.asked == []
        await pilot.press("up", "enter", "z", "down", "enter", "z")
        await pilot.pause()
        assert app.asked == [
            Do("acknowledge trim"), Do("reset trim"), Do("acknowledge all"), Do("reset all"),
        ]  # fmt: skip


async def test_words_can_be_clicked(link):
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(200, 56)) as pilot:
        await pilot.pause()
        for words, line in (
            ("[acknowledge all]", ""), ("[reset all]", ""), ("[acknowledge]", "low ride supply"),
            ("[reset]", "open time exceeded"), ("[unshelve]", "station"),
        ):  # fmt: skip
            await pilot.click(offset=app.place(words, line))
            await pilot.pause()
        assert app.asked == [
            Do("acknowledge all"), Do("reset all"), Do("acknowledge all"), Do("reset trim"),
            Shelve("station", "switches disagree", None),
        ]  # fmt: skip


@pytest.mark.parametrize(("key", "seconds"), [("1", 300.0), ("2", 900.0), ("3", 3600.0)])
async def test_an_alarm_is_shelved_for_a_time_by_a_key(link, key, seconds):
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("l")
        await pilot.pause()
        assert "changes nothing on the ride" in " ".join(app.lines())
        await pilot.press(key)
        await pilot.pause()
        assert app.asked == [Shelve("trim", "vent time exceeded", seconds)]


async def test_another_time_is_typed_and_a_wrong_one_is_refused(link):
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("l", "o", *"soon", "enter")
        await pilot.pause()
        assert app.asked == []
        assert "soon" in " ".join(app.lines())
        await pilot.press(*["backspace"] * 4, *"90 s", "enter")
        await pilot.pause()
        assert app.asked == [Shelve("trim", "vent time exceeded", 90.0)]


async def test_shelving_can_be_left_and_undone(link):
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("l", "escape")
        await pilot.pause()
        assert app.asked == []
        await pilot.press("end", "l")
        await pilot.pause()
        assert app.asked == [Shelve("station", "switches disagree", None)]


async def test_the_cursor_stays_with_its_alarm_when_others_come(link):
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("up")
        newer = AlarmFrame("block", "low supply", "unacknowledged", True, 74.0, None)
        link.give(alarms=(*link.frame.alarms, newer))
        app.view.show()
        assert rows_of(app)[0].zone == "block"
        await pilot.press("enter")
        await pilot.pause()
        assert app.asked == [Do("acknowledge trim")]


async def test_a_quiet_ride_says_so_and_keys_ask_nothing(trainer):
    app = Stage(AlarmsView(trainer))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("enter", "z", "l")
        await pilot.pause()
        assert "No alarm." in " ".join(app.lines())
        assert app.asked == []


# the events


async def test_the_list_follows_the_newest_until_somebody_moves_in_it(link):
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("tab")
        await pilot.pause()
        assert events_of(app).cursor == 5
        link.happen(RunEvent(72.0, "block_charged", ContactRead(True)))
        app.view.show()
        assert events_of(app).cursor == 6
        await pilot.press("up", "up")
        link.happen(RunEvent(73.0, "block_charged", ContactRead(False)))
        app.view.show()
        await pilot.pause()
        assert events_of(app).cursor == 4
        assert "held, 3 newer" in "\n".join(app.lines())
        await pilot.press("end")
        link.happen(RunEvent(74.0, "block_charged", ContactRead(True)))
        app.view.show()
        assert events_of(app).cursor == 8


async def test_following_can_be_clicked(link):
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(120, 24)) as pilot:
        await pilot.press("tab", "home")
        await pilot.pause()
        await pilot.click(offset=app.place("[follow]"))
        await pilot.pause()
        assert events_of(app).cursor == 5


async def test_enter_on_an_event_goes_to_its_time(link):
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("tab", "home", "down", "enter")
        await pilot.pause()
        assert app.asked == [GoTo(58.0)]


async def test_a_seat_that_does_not_keep_the_time_cannot_go_back(link):
    link.keeps_time = False
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("tab", "home", "enter")
        await pilot.pause()
        assert app.asked == []
        assert any("can change the time" in note.message for note in app._notifications)


async def test_gone_back_the_later_events_are_marked(link):
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.pause()
        link.give(time=59.0, mode="earlier")
        app.view.show()
        await pilot.pause()
        assert events_of(app).cursor == 1
        shown = "\n".join(app.lines())
        assert shown.count(" later ") == 4
        link.give(time=75.0, mode="live")
        app.view.show()
        await pilot.pause()
        assert " later " not in "\n".join(app.lines())


async def test_kinds_are_stepped_through_and_clicked(link):
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("e")
        await pilot.pause()
        assert {row.kind for row in events_of(app).rows} == {"alarm"}
        await pilot.press("E", "E")
        await pilot.pause()
        assert "[plant]" in "\n".join(app.lines())
        await pilot.click(offset=app.place("contacts"))
        await pilot.pause()
        assert [row.where for row in events_of(app).rows] == ["trim_charged"]
        assert "1 of 6" in "\n".join(app.lines())


async def test_words_filter_and_escape_leaves_them_standing(link):
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("slash", *"time exceeded", "enter")
        await pilot.pause()
        assert len(events_of(app).rows) == 2
        assert app.focused is events_of(app)
        assert "with “time exceeded”" in "\n".join(app.lines())
        await pilot.press("slash", *["backspace"] * 13, "escape")
        await pilot.pause()
        assert len(events_of(app).rows) == 6
        assert not app.query_one("#events-filter").display


async def test_an_event_without_room_is_written_in_full_below(link):
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("tab", "up", "up")
        await pilot.pause()
        assert "trim_charged is ON" in "\n".join(app.lines()[-3:])
        await pilot.press("end")
        await pilot.pause()
        assert not app.query_one("#events-whole").display


async def test_ten_thousand_events(link):
    for i in range(10_000):
        link.happen(RunEvent(71.0 + i * 1e-4, "trim_charged", ContactRead(True)))
        link.happen(RunEvent(71.0 + i * 1e-4, "block_charged", ContactRead(True)))
    app = Stage(AlarmsView(link))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("tab", "pageup", "home", "end")
        await pilot.pause()
        assert "block_charged" in "\n".join(app.lines()[-2:])


@pytest.mark.parametrize("size", [(1, 1), (3, 2), (40, 8), (80, 20), (150, 30), (200, 56)])
@pytest.mark.parametrize("seat", ["trainer", "trainee"])
async def test_any_size(link, size, seat):
    link.seat = seat
    app = Stage(AlarmsView(link))
    async with app.run_test(size=size) as pilot:
        await pilot.press("down", "tab", "up", "e", "slash", "a", "escape")
        await pilot.resize_terminal(80, 20)
        await pilot.pause()
        assert "3 alarms" in app.lines()[0]
