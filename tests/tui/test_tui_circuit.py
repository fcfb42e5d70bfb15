"""Tests for tui/views/circuit.py: choosing, finding, folding, following, any size of screen."""

from __future__ import annotations

import pytest
from textual.app import App, ComposeResult
from textual.widgets import Input, Static
from tui_toys import FakeLink, plant_of

from tui.messages import Pick
from tui.views.circuit import CircuitView
from tui.widgets.circuit_canvas import CircuitCanvas


class Screen(App[None]):
    """The view alone; notes what it picks."""

    def __init__(self, link: FakeLink) -> None:
        super().__init__()
        self.link = link
        self.picks: list[str] = []

    def compose(self) -> ComposeResult:
        yield CircuitView(self.link)

    def on_mount(self) -> None:
        self.query_one(CircuitCanvas).focus()

    def on_pick(self, event: Pick) -> None:
        self.picks.append(event.component)


def seen(app: App[None]) -> str:
    """The rows of the canvas as they are on screen."""
    canvas = app.query_one(CircuitCanvas)
    return "\n".join(canvas.render_line(y).text for y in range(canvas.size.height))


def words(app: App[None], name: str) -> str:
    return str(app.query_one(name, Static).render())


@pytest.mark.parametrize(
    ("seat", "size"),
    [
        ("trainer", (1, 1)), ("trainee", (2, 5)), ("trainer", (10, 3)), ("trainee", (40, 10)),
        ("trainer", (80, 20)), ("trainee", (120, 36)), ("trainer", (200, 56)),
    ],
)  # fmt: skip
async def test_any_size(size: tuple[int, int], seat: str) -> None:
    app = Screen(FakeLink(plant_of("sand_martin"), seat))  # type: ignore[arg-type]
    async with app.run_test(size=size) as pilot:
        for key in ("right", "down", "z", "Z", "l", "escape", "d", "d", "c", "o", "o", "home"):
            await pilot.press(key)
        app.link.give(gaps=tuple(0.001 for _ in app.link.frame.gaps))
        app.query_one(CircuitView).show()
        await pilot.resize_terminal(30, 8)
        await pilot.resize_terminal(*size)
        assert app.is_running


@pytest.mark.parametrize("name", ["01_spring_open_single", "08_pilot_supply", "10_station_gates"])
async def test_a_small_circuit_is_seen_from_its_supply_on(name: str) -> None:
    app = Screen(FakeLink(plant_of(name)))
    async with app.run_test(size=(80, 20)):
        assert "supply" in seen(app)
        assert "[▶ runs]" in seen(app)


async def test_arrows_choose_and_tell_other_views() -> None:
    app = Screen(FakeLink(plant_of("02_spring_close_single")))
    async with app.run_test(size=(100, 24)) as pilot:
        view = app.query_one(CircuitView)
        view.look_at("supply")
        await pilot.press("right")
        assert app.picks == ["main"]
        await pilot.press("right")
        await pilot.press("left")
        assert app.picks == ["main", "valve", "main"]
        assert "shut-off valve" in words(app, "#circuit-words")
        await pilot.press("escape")
        assert view.chosen is None
        assert not view.has_class("-pane")


async def test_a_click_chooses() -> None:
    app = Screen(FakeLink(plant_of("02_spring_close_single")))
    async with app.run_test(size=(100, 24)) as pilot:
        view = app.query_one(CircuitView)
        place = view.picture.layout.places[view.picture.box_of["valve"]]
        await pilot.click(CircuitCanvas, offset=(place.x + 2, place.y + 1))
        assert app.picks == ["valve"]
        assert view.chosen == "valve"


async def test_following_does_not_pick_again_and_brings_into_sight() -> None:
    app = Screen(FakeLink(plant_of("sand_martin")))
    async with app.run_test(size=(80, 20)) as pilot:
        assert "station_gates" not in seen(app)
        app.query_one(CircuitView).look_at("gate_valve")
        await pilot.pause()
        await pilot.pause()
        assert "gate_valve" in seen(app)
        assert app.picks == []
        app.query_one(CircuitView).look_at("no such thing")
        assert app.query_one(CircuitView).chosen == "gate_valve"
        app.query_one(CircuitView).look_at("trim_open_1")
        assert app.query_one(CircuitView).chosen == "trim_brake_1"


async def test_z_goes_from_zone_to_zone_and_round() -> None:
    app = Screen(FakeLink(plant_of("sand_martin")))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("z")
        assert "trim" in seen(app).splitlines()[0]
        await pilot.press("z")
        assert "block" in seen(app).splitlines()[0]
        await pilot.press("Z")
        assert "trim" in seen(app).splitlines()[0]
        await pilot.press("Z")
        assert "compressor_1" in seen(app)


async def test_the_name_of_a_zone_stays_in_sight_while_scrolling_along_it() -> None:
    app = Screen(FakeLink(plant_of("sand_martin")))
    async with app.run_test(size=(24, 20)) as pilot:
        await pilot.press("z")
        for _ in range(2):
            await pilot.press("shift+right")
            assert app.query_one(CircuitCanvas).scroll_offset.x > 0
            assert seen(app).splitlines()[0].strip().startswith("trim")


@pytest.mark.parametrize(("size", "zones"), [((93, 35), 1), ((121, 55), 2)])
async def test_whole_zones_are_seen_without_scrolling(size: tuple[int, int], zones: int) -> None:
    """At 120 by 40 and at 200 by 60, less what frames the view there, events and zones."""
    app = Screen(FakeLink(plant_of("sand_martin")))
    async with app.run_test(size=size) as pilot:
        canvas, view = app.query_one(CircuitCanvas), app.query_one(CircuitView)
        bands = view.picture.layout.bands
        for at in range(1, len(bands) - zones + 1):
            await pilot.press("z")
            top = canvas.scroll_offset.y
            last = bands[at + zones - 1]
            assert top <= bands[at].y and last.y + last.height <= top + canvas.size.height
            assert last.width <= canvas.size.width


async def test_choosing_does_not_lay_the_drawing_out_anew() -> None:
    app = Screen(FakeLink(plant_of("sand_martin")))
    async with app.run_test(size=(200, 56)) as pilot:
        view = app.query_one(CircuitView)
        before = view.picture
        await pilot.press("right")
        await pilot.press("escape")
        assert view.picture is before


async def test_the_first_arrow_chooses_what_is_in_sight() -> None:
    app = Screen(FakeLink(plant_of("sand_martin")))
    async with app.run_test(size=(120, 36)) as pilot:
        await pilot.press("z", "right")
        assert app.picks[0].startswith("trim_")
        assert app.query_one(CircuitView).picture.layout.bands[1].name in seen(app)


async def test_a_click_on_a_marker_goes_on_to_where_it_leads() -> None:
    app = Screen(FakeLink(plant_of("sand_martin")))
    async with app.run_test(size=(120, 36)) as pilot:
        view, canvas = app.query_one(CircuitView), app.query_one(CircuitCanvas)
        await pilot.press("z")
        marker = next(i for i, box in enumerate(view.picture.boxes) if box.label == "ring_trim"
                      and box.marker)  # fmt: skip
        place = view.picture.layout.places[marker]
        offset = (place.x - canvas.scroll_offset.x + 1, place.y - canvas.scroll_offset.y + 1)
        await pilot.click(CircuitCanvas, offset=offset)
        assert app.picks == ["ring_trim"]
        assert "ring_trim" in seen(app)
        assert view.picture.boxes[canvas.chosen or 0].name == "ring_trim"


async def test_finding_by_a_part_of_a_name() -> None:
    app = Screen(FakeLink(plant_of("sand_martin")))
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("slash", *"valve_b")
        assert app.query_one(CircuitView).chosen == "trim_valve_b"
        assert "1 of 6" in words(app, "#circuit-hits")
        await pilot.press("enter")
        assert app.query_one(CircuitView).chosen == "block_valve_b"
        assert app.picks[-1] == "block_valve_b"
        app.query_one("#circuit-part", Input).value = "nowhere"
        await pilot.pause()
        assert "no component" in words(app, "#circuit-hits")
        await pilot.press("escape")
        assert app.focused is app.query_one(CircuitCanvas)


async def test_branches_open_out_when_one_differs_and_stay_so_until_asked() -> None:
    link = FakeLink(plant_of("02_spring_close_single"))
    app = Screen(link)
    async with app.run_test(size=(120, 30)) as pilot:
        view = app.query_one(CircuitView)
        assert "brake_1…2 ×2" in seen(app)
        rest = link.frame.gaps
        link.give(gaps=(0.002, *rest[1:]))
        view.show()
        await pilot.pause()
        assert "×2" not in seen(app)
        assert "2.0" in seen(app)
        link.give(gaps=rest)
        view.show()
        await pilot.pause()
        assert "×2" not in seen(app)
        await pilot.press("o")
        assert "brake_1…2 ×2" in seen(app)
        await pilot.press("o")
        assert "×2" not in seen(app)


async def test_a_change_reaches_the_screen() -> None:
    link = FakeLink(plant_of("02_spring_close_single"))
    app = Screen(link)
    async with app.run_test(size=(120, 30)) as pilot:
        before = seen(app)
        link.give(pressures=tuple(2.21e5 for _ in link.frame.pressures))
        app.query_one(CircuitView).show()
        await pilot.pause()
        assert "2.21" not in before
        assert "2.21" in seen(app)
        assert "━" in seen(app)


async def test_what_is_in_sight_stays_in_place_when_branches_open_out() -> None:
    link = FakeLink(plant_of("sand_martin"))
    app = Screen(link)
    async with app.run_test(size=(100, 30)) as pilot:
        view, canvas = app.query_one(CircuitView), app.query_one(CircuitCanvas)
        view.look_at("final_2_valve_a")
        await pilot.pause()
        await pilot.pause()
        before = canvas.held()
        gap = list(link.frame.gaps)
        gap[0] = 0.001
        link.give(gaps=tuple(gap))
        view.show()
        await pilot.pause()
        assert view.opened
        assert canvas.held() == before


async def test_the_marks_name_the_pressures_of_this_circuit() -> None:
    app = Screen(FakeLink(plant_of("sand_martin")))
    async with app.run_test(size=(160, 40)) as pilot:
        await pilot.press("l")
        assert "4.10 bar or more" in words(app, "#circuit-words")
        assert "trapped pressure" in words(app, "#circuit-words")
