"""Zone logic on screen: the drawing against the zone table, and what is said beside it."""

from __future__ import annotations

from typing import get_args

import pytest
from textual.app import App, ComposeResult
from tui_toys import FakeLink, plant_of

from pneumo.live.frame import Judged
from pneumo.scenario.event import RunEvent
from pneumo.zone.event import StateEntered
from pneumo.zone.evidence import Clue, Obstacle
from pneumo.zone.machine import TABLE, ZONE_MACHINE
from pneumo.zone.sensed import Side, Spring
from pneumo.zone.waiting import Wait
from tui.messages import Pick
from tui.views.logic import LogicView
from tui.widgets.canvas import Canvas
from tui.widgets.state_diagram import (
    HEIGHT,
    LAST,
    PLACES,
    ROUTES,
    WAITS,
    WIDTH,
    draw,
    edges,
    reset_to,
    words_of,
)  # fmt: skip
from tui.widgets.zone_sheet import ZoneSheet, shape

SPRINGS: tuple[Spring, ...] = get_args(Spring)
SIDES: tuple[Side, ...] = get_args(Side)

CLOSING = {
    "state": "closing",
    "since": 8.2,
    "waits": (
        Wait(
            "closed",
            (
                Obstacle("", True, (Clue("closed switch", "trim_brake_2", False),)),
                Obstacle("", True, (Clue("pressure switch", "trim_charged", False),)),
            ),
            11.2,
            "",
        ),
        Wait("faulted", (), 11.2, "close time exceeded"),
    ),
}


class Host(App[None]):
    """The view on its own."""

    def __init__(self, link: FakeLink) -> None:
        super().__init__()
        self.link = link
        self.picked: list[str] = []

    def compose(self) -> ComposeResult:
        yield LogicView(self.link)

    def on_mount(self) -> None:
        self.sheet.focus()

    @property
    def view(self) -> LogicView:
        return self.query_one(LogicView)

    @property
    def sheet(self) -> ZoneSheet:
        return self.query_one(ZoneSheet)

    @property
    def text(self) -> str:
        return "\n".join(self.sheet.rows)

    def on_pick(self, message: Pick) -> None:
        self.picked.append(message.component)


def with_zone(link: FakeLink, place: int, **changes: object) -> FakeLink:
    """The link with one zone's frame changed."""
    zones = list(link.frame.zones)
    zones[place] = zones[place]._replace(**changes)
    link.give(zones=tuple(zones))
    return link


def drawing(
    spring: Spring, state: str, last: tuple[str, str] | None = None, waits: tuple[str, ...] = ()
) -> Canvas:
    canvas = Canvas(WIDTH, HEIGHT)
    draw(canvas, (0, 0), spring, "open", state, last, waits)
    return canvas


def text_of(canvas: Canvas) -> str:
    return "\n".join(canvas.row(y) for y in range(canvas.height))


# the drawing against the table


@pytest.mark.parametrize("spring", SPRINGS)
def test_every_way_of_the_table_is_drawn_and_no_other(spring: Spring) -> None:
    rows = [r for r in TABLE if r.spring in (spring, "any") and r.trigger not in ("fault", "reset")]
    ways = {
        (source, row.destination)
        for row in rows
        for source in row.sources
        if source in PLACES[spring]
    }
    assert ways == {*ROUTES[spring]} == {(e.source, e.destination) for e in edges(spring)}
    reached = {row.destination for row in TABLE if row.spring in (spring, "any")}
    assert reached == {*PLACES[spring]}


@pytest.mark.parametrize("spring", SPRINGS)
def test_a_way_leaves_its_source_and_its_arrow_meets_its_destination(spring: Spring) -> None:
    def touches(place: tuple[int, int], point: tuple[int, int]) -> bool:
        x, y = place
        return x - 2 <= point[0] <= x + 13 and y - 1 <= point[1] <= y + 3

    for (source, destination), route in ROUTES[spring].items():
        assert touches(PLACES[spring][source], route.points[0]), (source, destination)
        assert touches(PLACES[spring][destination], route.points[-1]), (source, destination)
        canvas = drawing(spring, "open")
        x, y = route.points[-1]
        assert canvas.row(y)[x] in "▶◀▲▼"


@pytest.mark.parametrize("spring", SPRINGS)
def test_words_of_every_way_can_be_read(spring: Spring) -> None:
    text = text_of(drawing(spring, "open"))
    for edge in edges(spring):
        assert all(word in text for word in edge.words.split()), edge
    for state in PLACES[spring]:
        assert state in text


@pytest.mark.parametrize("spring", SPRINGS)
def test_state_last_way_and_waiting_way_are_told_apart_without_colour(spring: Spring) -> None:
    still = text_of(drawing(spring, "closed"))
    assert "● closed" in still and "┏" in still and "━━━▶" not in still and "╌" not in still
    for (source, destination), route in ROUTES[spring].items():
        heavy = drawing(spring, destination, last=(source, destination))
        dashed = drawing(spring, source, waits=(destination,))
        (x0, y0), (x1, y1) = route.points[:2]
        x, y = (x0 + x1) // 2, (y0 + y1) // 2
        assert heavy.row(y)[x] in "━┃" and heavy.looks[y, x] == LAST
        assert dashed.row(y)[x] in "╌╎" and dashed.looks[y, x] == WAITS
    faulted = text_of(drawing(spring, "faulted", last=("closed", "faulted")))
    assert "● faulted" in faulted and "━━━▶" in faulted


@pytest.mark.parametrize("spring", SPRINGS)
@pytest.mark.parametrize("safe", SIDES)
def test_a_reset_leads_where_the_table_says(spring: Spring, safe: Side) -> None:
    to = reset_to(spring, safe)
    rows = ZONE_MACHINE.command_rows(spring)["reset", "faulted"]
    assert [r.destination for r in rows if words_of(r) == "reset" and safe in r.guard.__name__] == [
        to
    ]


@pytest.mark.parametrize(
    ("size", "wanted"),
    [((200, 56), "beside"), ((120, 36), "beside"), ((90, 36), "below"), ((80, 20), "list"),
     ((74, 30), "below"), ((113, 16), "beside"), ((112, 16), "list")],
)  # fmt: skip
def test_where_the_words_are(size: tuple[int, int], wanted: str) -> None:
    assert shape(*size) == wanted


# the sheet


@pytest.mark.parametrize("size", [(80, 20), (90, 36), (120, 36), (200, 56)])
async def test_why_a_zone_waits_is_said_instrument_by_instrument(
    trainer: FakeLink, size: tuple[int, int]
) -> None:
    app = Host(with_zone(trainer, 0, **CLOSING))
    async with app.run_test(size=size):
        for words in (
            "trim: spring-opened, safe state open",
            "● closing for 1.8 s",
            "→ not closed yet:",
            "'closed' switch of trim_brake_2 is OFF",
            "pressure switch trim_charged is OFF",
            "→ faulted: close time exceeded",
            "1.2 s left",
        ):
            assert words in app.text
        drawn = "closed by air" in app.text
        assert drawn == (size != (80, 20))
        if not drawn:
            assert "→ venting on open" in app.text


async def test_the_bar_runs_out_with_the_time(trainer: FakeLink) -> None:
    app = Host(with_zone(trainer, 0, **CLOSING))
    async with app.run_test(size=(120, 36)) as pilot:
        bars = [app.text.count("█")]
        for time in (10.7, 11.1, 11.2):
            trainer.give(time=time, newest=time)
            app.view.show()
            await pilot.pause()
            bars.append(app.text.count("█"))
        assert bars[0] > bars[1] >= bars[2] and bars[3] == 0
        assert "0.0 s left" in app.text


async def test_a_disagreement_is_measured_against_its_own_limit(trainer: FakeLink) -> None:
    limit = trainer.plant.circuit.zones["trim"].limits.discrepancy
    wait = Wait("faulted", (), 10.0 + limit, "switches disagree")
    app = Host(with_zone(trainer, 0, since=0.0, waits=(wait,)))
    async with app.run_test(size=(120, 36)):
        assert app.text.count("█") == 10  # all of it is left


async def test_the_last_transition_is_the_last_until_the_instant_shown(trainer: FakeLink) -> None:
    trainer.happen(RunEvent(2.0, "trim", StateEntered("open", "closing")))
    trainer.happen(RunEvent(3.0, "trim", StateEntered("closing", "closed")))
    trainer.happen(RunEvent(4.0, "block", StateEntered("closed", "opening")))
    app = Host(with_zone(trainer, 0, state="closed", since=3.0))
    async with app.run_test(size=(120, 36)) as pilot:
        assert "last: closing → closed at 0:03.000" in app.text
        with_zone(trainer, 0, state="closing", since=2.0)
        trainer.give(time=2.5, mode="earlier")
        app.view.show()
        await pilot.pause()
        assert "last: open → closing at 0:02.000" in app.text


async def test_a_faulted_zone_says_first_out_and_what_a_reset_needs(trainer: FakeLink) -> None:
    name, charged = "vent time exceeded", Clue("pressure switch", "trim_charged", True)
    blocked_by = (Obstacle(name, False, ()), Obstacle(name, True, (charged,)))
    waits = (Wait("venting", blocked_by, None, ""),)
    with_zone(trainer, 0, state="faulted", first_out="vent time exceeded", waits=waits,
              judged=Judged(False, (0,)))  # fmt: skip
    app = Host(trainer)
    async with app.run_test(size=(100, 40)) as pilot:
        flat = " ".join(app.text.split())
        assert "trim x" in app.sheet.rows[0]
        assert "first out: vent time exceeded" in flat
        assert "reset (to venting) is blocked by:" in flat
        assert "- 'vent time exceeded' is not acknowledged" in flat
        assert "'vent time exceeded' is still active: pressure switch trim_charged is ON" in flat
        assert "x the zone is NOT in the safe state (open, 3 of 4 brakes needed)" in flat
        assert "furthest from it: trim_brake_1" in flat
        with_zone(trainer, 0, waits=(Wait("venting", (), None, ""),))
        app.view.show()
        await pilot.pause()
        flat = " ".join(app.text.split())
        assert "nothing blocks a reset" in flat


async def test_forced_inputs_of_the_zone_and_a_ride_stop_are_marked(trainer: FakeLink) -> None:
    forced = tuple(i.name in ("trim_charged", "block_charged") for i in trainer.plant.inputs)
    trainer.give(forced_inputs=forced, stopped_by="command")
    app = Host(trainer)
    async with app.run_test(size=(140, 36)):
        assert "F forced: trim_charged OFF" in app.text
        assert "block_charged" not in app.text
        assert "ride stop (command)" in app.text


async def test_a_trainee_is_not_told_what_the_jaws_do(trainee: FakeLink) -> None:
    app = Host(with_zone(trainee, 0, **CLOSING))
    async with app.run_test(size=(120, 36)):
        assert "The jaws" not in app.text and "brakes needed" not in app.text
        assert "'closed' switch of trim_brake_2 is OFF" in app.text


async def test_limits_and_watched_faults_are_those_of_the_zone(trainer: FakeLink) -> None:
    app = Host(trainer)
    async with app.run_test(size=(140, 40)) as pilot:
        limits = trainer.plant.circuit.zones["trim"].limits
        assert f"close {limits.close:g} s, open {limits.open:g} s" in app.text
        for row in ZONE_MACHINE.sensed_rows("open")["open"]:
            assert row.cause is not None and f"- {row.cause} [{words_of(row)}]" in app.text
        await pilot.press("down")
        assert "pressure present while vented" in app.text


async def test_zones_are_chosen_by_keys_clicks_and_picks(trainer: FakeLink) -> None:
    app = Host(trainer)
    async with app.run_test(size=(120, 36)) as pilot:
        sheet = app.sheet
        for key, zone in (
            ("down", "block"), ("right", "final_1"), ("left", "block"), ("up", "trim"),
            ("up", "storage"), ("home", "trim"), ("end", "storage"), ("down", "trim"),
        ):  # fmt: skip
            await pilot.press(key)
            assert sheet.name_of_zone == zone
            assert f"{zone}: spring-" in app.text
        await pilot.click(ZoneSheet, offset=(sheet.rows[0].index("station") + 1, 0))
        assert sheet.name_of_zone == "station"
        await pilot.press("enter")
        assert app.picked == ["station"]
        for component, zone in (
            ("block_brake_2", "block"), ("final_2_charged", "final_2"), ("trim", "trim"),
            ("receiver", "trim"),
        ):  # fmt: skip
            app.view.look_at(component)
            assert sheet.name_of_zone == zone


async def test_words_that_do_not_fit_are_scrolled(trainer: FakeLink) -> None:
    app = Host(with_zone(trainer, 0, **CLOSING))
    async with app.run_test(size=(60, 10)) as pilot:
        assert "▼" in app.sheet.rows[-1] and "Limits" not in app.text
        await pilot.press("pagedown", "pagedown", "pagedown", "pagedown", "pagedown", "pagedown")
        assert "Faults watched" in app.text and "▲" in app.text
        await pilot.press(*["pageup"] * 8)
        assert "● closing" in app.text


async def test_the_chosen_zone_stays_among_the_tabs_of_a_narrow_window(trainer: FakeLink) -> None:
    app = Host(trainer)
    async with app.run_test(size=(30, 12)) as pilot:
        await pilot.press("end")
        assert " storage" in app.sheet.rows[0] and app.sheet.rows[0][0] == "‹"
        await pilot.press("home")
        assert " trim " in app.sheet.rows[0] and "›" in app.sheet.rows[0]


async def test_nothing_is_drawn_when_nothing_on_the_sheet_has_changed(trainer: FakeLink) -> None:
    app = Host(trainer)
    async with app.run_test(size=(120, 36)) as pilot:
        await pilot.pause()
        strips = list(app.sheet._strips)
        trainer.give()
        app.view.show()
        assert all(a is b for a, b in zip(strips, app.sheet._strips, strict=True))
        trainer.give(time=12.0, newest=12.0)
        app.view.show()
        changed = [a is not b for a, b in zip(strips, app.sheet._strips, strict=True)]
        assert 0 < sum(changed) < 5


@pytest.mark.parametrize("size", [(1, 1), (3, 2), (20, 5), (80, 20), (200, 56)])
async def test_any_size_any_circuit(size: tuple[int, int]) -> None:
    for name in ("01_spring_open_single", "02_spring_close_single", "sand_martin"):
        app = Host(FakeLink(plant_of(name)))
        async with app.run_test(size=size) as pilot:
            await pilot.press("down", "pagedown", "pageup", "end", "enter")
            assert all(len(row) == size[0] for row in app.sheet.rows)
