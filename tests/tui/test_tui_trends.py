"""Trends: which channels are drawn, by keys, by search, by zone and by what was picked."""

from __future__ import annotations

import numpy as np
import pytest
from textual.app import App, ComposeResult
from textual.widgets import Input, Static
from tui_toys import FakeLink, plant_of

from pneumo.live.link import Past
from pneumo.live.request import GoTo
from tui.messages import Ask, Pick
from tui.views.trends import TrendsView, _head
from tui.widgets.plot import Plot


class Host(App[None]):
    """The view on its own; notes what it tells."""

    def __init__(self, link: FakeLink) -> None:
        super().__init__()
        self.link = link
        self.told: list[object] = []

    def compose(self) -> ComposeResult:
        yield TrendsView(self.link)

    def on_mount(self) -> None:
        self.view.plot.focus()

    @property
    def view(self) -> TrendsView:
        return self.query_one(TrendsView)

    @property
    def names(self) -> list[str]:
        return [channel.name for channel in self.view.chosen]

    def on_ask(self, message: Ask) -> None:
        self.told.append(message.request)

    def on_pick(self, message: Pick) -> None:
        self.told.append(message.component)


def swinging(link: FakeLink) -> None:
    """The fake ride's record, with the pressure of one vessel rising 0.1 bar each second."""
    past = link.past
    values = past.values.copy()
    names = [channel.name for channel in link.plant.channels]
    values[:, names.index("trim_accumulator pressure")] = 4e5 + 1e4 * past.times
    link.past = Past(past.epoch, past.times, values, past.events)


def rows(view: TrendsView) -> list[str]:
    """The list as text: "[a] accumulator pressure"."""
    return ["".join(piece.text for piece in view._lines(row, 40)[0]) for row in view.channels.rows]


async def test_it_opens_with_the_usual_channels_of_the_first_zone(trainer: FakeLink) -> None:
    app = Host(trainer)
    async with app.run_test(size=(140, 40)):
        assert {"trim_accumulator pressure", "trim_brake_1 gap", "trim_brake_1 force",
                "trim_pressure reading", "trim_charged contact", "trim_closed_1 contact",
                "trim_valve_a.14 coil"} <= {*app.names}  # fmt: skip
        assert "trim_closed_2 contact" not in app.names
        assert "trim" in app.view.plot.rows[0]
        assert "brake_1" in "\n".join(app.view.plot.rows)
        labels = [curve.name for curve in app.view.plot.curves]
        assert {"brake_1", "brake_1 gap", "brake_1 force", "charged"} <= {*labels}
        assert len({*labels}) == len(labels)


async def test_a_trainee_is_offered_instruments_only(trainee: FakeLink) -> None:
    app = Host(trainee)
    async with app.run_test(size=(140, 40)) as pilot:
        offered = [n for numbers in app.view._groups.values() for n in numbers]
        assert offered and all(trainee.plant.channels[n].instrument for n in offered)
        assert {c.quantity for c in app.view.chosen} == {"reading", "contact", "coil"}
        before = app.names
        app.view.look_at("trim_accumulator")
        await pilot.pause()
        assert app.names == before  # no instrument shows it
        app.view.look_at("trim_brake_2")
        assert app.names == ["trim_open_2 contact", "trim_closed_2 contact"]


async def test_p_goes_through_the_zones_and_the_ride(trainer: FakeLink) -> None:
    app = Host(trainer)
    async with app.run_test(size=(140, 40)) as pilot:
        seen = []
        for _ in range(len(trainer.plant.zones) + 1):
            await pilot.press("p")
            seen.append(app.names[0])
        assert any(name.startswith("storage") for name in seen)
        assert "receiver_gauge reading" in seen
        assert app.names[0].startswith("trim")
        await pilot.press("P")
        assert "header_gauge reading" in app.names


async def test_the_zone_preset_takes_the_brake_furthest_from_the_safe_state(
    trainer: FakeLink,
) -> None:
    zones = list(trainer.frame.zones)
    zones[1] = zones[1]._replace(brake="block_brake_4")
    trainer.give(zones=tuple(zones))
    app = Host(trainer)
    async with app.run_test(size=(140, 40)) as pilot:
        await pilot.press("p")
        assert "block_brake_4 force" in app.names and "block_brake_1 force" not in app.names


async def test_space_draws_and_takes_away(trainer: FakeLink) -> None:
    app = Host(trainer)
    async with app.run_test(size=(140, 40)) as pilot:
        await pilot.press("l")
        assert app.view.channels.has_focus
        first = app.names[0]
        assert rows(app.view)[1] == "[a] accumulator pressure"
        await pilot.press("space")
        assert first not in app.names and rows(app.view)[1] == "[ ] accumulator pressure"
        await pilot.press("enter")
        assert app.names[-1] == first
        await pilot.press("l")
        assert app.view.plot.has_focus
        await pilot.press("backspace")
        assert app.names == []
        assert "No channel is chosen." in "\n".join(app.view.plot.rows)


async def test_the_list_is_searched_by_words_in_any_order(trainer: FakeLink) -> None:
    app = Host(trainer)
    async with app.run_test(size=(140, 40)) as pilot:
        await pilot.press("slash")
        assert app.query_one("#search", Input).has_focus
        await pilot.press(*"gap fin")
        found = rows(app.view)
        assert found[0] == "final_1" and "final_2" in found
        assert all("gap" in row for row in found if row.startswith("["))
        await pilot.press("enter")
        assert app.view.channels.has_focus
        await pilot.press("space", "escape")
        assert app.view.plot.has_focus
        assert app.names[-1] == "final_1_brake_1 gap"
        await pilot.press("slash", *"zzz")
        assert rows(app.view) == []
        await pilot.press("escape")
        assert app.view.channels.has_focus


async def test_curves_of_several_zones_keep_their_full_names(trainer: FakeLink) -> None:
    app = Host(trainer)
    async with app.run_test(size=(190, 40)) as pilot:
        names = [channel.name for channel in trainer.plant.channels]
        app.view._choose(
            [names.index("trim_accumulator pressure"), names.index("block_accumulator pressure")]
        )
        await pilot.pause()
        text = "\n".join(app.view.plot.rows)
        assert "trim_accumulator" in text and "block_accumulator" in text


async def test_what_is_picked_elsewhere_is_drawn_once(trainer: FakeLink) -> None:
    app = Host(trainer)
    async with app.run_test(size=(140, 40)) as pilot:
        app.view.look_at("trim_brake_3")
        assert {"trim_brake_3 pressure", "trim_brake_3 gap", "trim_brake_3 force",
                "trim_open_3 contact", "trim_closed_3 contact"} == {*app.names}  # fmt: skip
        await pilot.press("p")
        chosen = app.names
        app.view.look_at("trim_brake_3")  # the view is only opened again
        assert app.names == chosen
        app.view.look_at("trim_valve_b")
        assert app.names == ["trim_valve_b.14 coil"]
        app.view.look_at("storage")
        assert "storage_accumulator pressure" in app.names
        app.view.look_at("trim_hose_1")  # nothing of it is recorded
        assert "storage_accumulator pressure" in app.names


async def test_o_shows_the_component_elsewhere(trainer: FakeLink) -> None:
    app = Host(trainer)
    async with app.run_test(size=(140, 40)) as pilot:
        await pilot.press("o")
        assert app.told == []
        await pilot.press("l", "down", "o")
        assert app.told == ["trim_stored"]
        app.view.channels.go(rows(app.view).index("[*] valve_a.14 coil"))
        await pilot.press("o")
        assert app.told[-1] == "trim_valve_a"


async def test_the_table_reads_both_cursors_their_difference_and_slope(
    trainer: FakeLink,
) -> None:
    swinging(trainer)
    app = Host(trainer)
    async with app.run_test(size=(140, 40)) as pilot:
        view = app.view
        assert not view.has_class("-cursors")
        view.plot._put(0, 2.0)
        view.plot._put(1, 6.0)
        await pilot.pause()
        table = str(view.query_one("#table", Static).render())
        assert "0:02.000" in table and "0:06.000" in table and "+4.000 s" in table
        line = next(row for row in table.splitlines() if "accumulator" in row)
        assert line.split()[2:] == ["4.20", "bar", "4.60", "bar", "0.40", "bar", "0.10", "bar/s"]
        assert any("supply" in row and "ON" in row for row in table.splitlines()) or (
            "more" in table
        )
        await pilot.press("d")
        assert not view.has_class("-cursors")


async def test_g_goes_to_the_cursor_where_this_seat_keeps_time(
    trainer: FakeLink, trainee: FakeLink
) -> None:
    for link, wanted in ((trainer, [GoTo(4.0)]), (trainee, [])):
        app = Host(link)
        async with app.run_test(size=(140, 40)) as pilot:
            await pilot.press("g")
            assert app.told == []
            app.view.plot._put(0, 4.0)
            await pilot.press("g")
            assert app.told == wanted


async def test_a_new_frame_and_a_new_epoch_are_drawn(trainer: FakeLink) -> None:
    app = Host(trainer)
    async with app.run_test(size=(140, 40)) as pilot:
        before = "\n".join(app.view.plot.rows)
        swinging(trainer)
        trainer.past = trainer.past._replace(epoch=1)
        trainer.give(time=10.0)
        app.view.show()
        await pilot.pause()
        assert "\n".join(app.view.plot.rows) != before
        assert "5.00 accumulator" in "\n".join(app.view.plot.rows)
        trainer.give(time=5.0, mode="earlier")
        app.view.show()
        await pilot.pause()
        assert "4.50 accumulator" in "\n".join(app.view.plot.rows)
        assert "shown 0:05.000" in app.view.plot.rows[0]


async def test_narrow_windows_have_pages(trainer: FakeLink) -> None:
    app = Host(trainer)
    async with app.run_test(size=(80, 20)) as pilot:
        view = app.view
        await pilot.pause()
        assert view.plot.size.width == 80 and view.channels.size.width == 0
        await pilot.press("l")
        await pilot.pause()
        assert view.channels.size.width > 60 and view.channels.has_focus
        await pilot.press("l")
        await pilot.pause()
        assert view.plot.size.width == 80 and view.plot.has_focus


@pytest.mark.parametrize("size", [(1, 1), (20, 5), (80, 20), (120, 36), (200, 56)])
async def test_any_size_any_circuit(size: tuple[int, int]) -> None:
    for name in ("01_spring_open_single", "sand_martin"):
        app = Host(FakeLink(plant_of(name)))
        async with app.run_test(size=size) as pilot:
            await pilot.press("p", "l", "space", "l", "left", "c", "z")
            assert len(app.query_one(Plot).curves) > 0


async def test_a_ride_that_has_recorded_nothing_yet(trainer: FakeLink) -> None:
    count = len(trainer.plant.channels)
    trainer.past = Past(0, np.zeros(0), np.zeros((0, count), dtype=np.float32), [])
    app = Host(trainer)
    async with app.run_test(size=(120, 36)) as pilot:
        await pilot.press("left", "c", "p")
        assert "–" in "\n".join(app.view.plot.rows)


def test_the_line_of_the_cursors_names_their_keys() -> None:
    assert "c: cursor B" in _head(1.0, None, 0, 14) and "c: cursor A" in _head(None, 1.0, 1, 14)
    both = _head(1.0, 2.0, 0, 14)
    assert "per second" in both and "c: the other" in both and "d: none" in both
    assert both.index("per second") < 78 < both.index("d: none"), "cut last when there is no room"
