"""What a person does at the ride: acts, targets, cautions, and the notebook."""

from __future__ import annotations

import pytest
from textual.widgets import OptionList, Static
from tui_toys import FakeLink, look, plant_of

from pneumo.circuit.couplings import test_points as points_of
from pneumo.circuit.sentence import parse_action
from pneumo.circuit.targets import repairable
from pneumo.circuit.verbs import VERBS, row_of
from pneumo.inspection.tests import TESTS
from pneumo.live.request import Answer, Do, Hand
from tui.app import DashboardApp
from tui.physical import needs_confirming
from tui.screens.confirm import Confirm
from tui.views.hands import HandsView, acts, possible
from tui.widgets.choice import Filtered

pytestmark = pytest.mark.usefixtures("toy_views")


async def opened(pilot: object) -> HandsView:
    """The view, opened at its tests."""
    await pilot.press("t")
    await look(pilot)
    view = pilot.app.stage.views["tests"]
    assert isinstance(view, HandsView)
    return view


async def choose(pilot: object, view: HandsView, words: str) -> None:
    """Marks an act by its words."""
    place = next(i for i, act in enumerate(view._rows) if act is not None and act.words == words)
    view.query_one("#acts", OptionList).highlighted = place
    view.query_one("#acts").focus()
    await look(pilot)


def notes(view: HandsView) -> list[str]:
    return [str(option.prompt) for option in view.query_one("#notes", OptionList).options]


@pytest.mark.parametrize("seat", ["trainer", "trainee"])
async def test_both_seats_listen_and_keep_what_they_heard(seat: str) -> None:
    link = FakeLink(plant_of("sand_martin"), seat)
    app = DashboardApp(link)
    async with app.run_test(size=(80, 24)) as pilot:
        view = await opened(pilot)
        await pilot.press("down", "enter", *"trim_hose_2", "enter")
        await pilot.pause()
        assert link.sent == [Hand("listen", "trim_hose_2")]
        assert view.query_one("#where", Filtered).filter.value == "", "ready for the next test"
        link.reply(Answer(1, True, "A loud hiss.", ("Wear ear protection.",)))
        await look(pilot)
        assert app.screen is app._base
        assert len(app._notifications) == 0
        (note,) = notes(view)
        assert note.split(maxsplit=1) == ["0:10.000", "listen trim_hose_2: A loud hiss."]


@pytest.mark.parametrize("words", ["isolate", "override", "drain open", "switch off"])
async def test_cautions_come_before_an_act_by_hand(trainee: FakeLink, words: str) -> None:
    app = DashboardApp(trainee)
    async with app.run_test(size=(80, 24)) as pilot:
        view = await opened(pilot)
        await choose(pilot, view, words)
        assert str(view.query_one("#cautions", Static).render()).startswith("! ")
        await pilot.press("enter", "enter")
        assert app.screen is app._base  # nobody has chosen where
        await pilot.press("down", "enter")
        await pilot.pause()
        assert isinstance(app.screen, Confirm)
        assert app.screen.cautions
        assert trainee.sent == []
        await pilot.press("escape")
        await pilot.pause()
        assert trainee.sent == []
        view.query_one("#where").focus_filter()
        await pilot.press("enter")
        await pilot.pause()
        await pilot.press("y")
        await pilot.pause()
        (request,) = trainee.sent
        assert isinstance(request, Do)
        trainee.reply(Answer(1, True, request.sentence))
        await look(pilot)
        assert request.sentence in notes(view)[0]


async def test_a_gauge_is_fitted_only_after_the_cautions(trainee: FakeLink) -> None:
    app = DashboardApp(trainee)
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot)
        await pilot.press("enter", *"trim_check.2", "enter")
        await pilot.pause()
        assert isinstance(app.screen, Confirm)
        await pilot.press("y")
        await pilot.pause()
        assert trainee.sent == [Hand("read", "trim_check.2")]


async def test_a_ride_stop_needs_neither_place_nor_question(trainee: FakeLink) -> None:
    app = DashboardApp(trainee)
    async with app.run_test(size=(80, 24)) as pilot:
        view = await opened(pilot)
        await choose(pilot, view, "ride stop")
        await pilot.press("enter")
        await pilot.pause()
        assert trainee.sent == [Do("ride stop")]


async def test_places_tell_how_they_stand_and_follow_the_ride(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(120, 40)) as pilot:
        view = await opened(pilot)
        await choose(pilot, view, "restore")
        where = view.query_one("#where").options

        def row(name: str) -> str:
            rows = [str(option.prompt) for option in where.options]
            return next(row for row in rows if row.startswith(name))

        assert row("block_shut_off").endswith("in service")
        where.highlighted = 2
        trainer.give(isolated=("block_shut_off",))
        await look(pilot)
        assert row("block_shut_off").endswith("out of service")
        assert where.highlighted == 2


async def test_the_notebook_collects_while_another_view_is_open(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        app.request(Hand("look", "trim_brake_1"))
        trainer.reply(Answer(1, True, "The jaws are open.", ("Stay clear.",)))
        await look(pilot)
        await pilot.press("escape")
        view = await opened(pilot)
        assert "look trim_brake_1: The jaws are open." in notes(view)[0]
        app.request(Hand("look", "trim_brake_2"))
        trainer.reply(Answer(2, False, "There is no such brake."))
        await look(pilot)
        assert len(notes(view)) == 2


async def test_lists_are_reached_by_arrows(trainee: FakeLink) -> None:
    app = DashboardApp(trainee)
    async with app.run_test(size=(80, 24)) as pilot:
        view = await opened(pilot)
        await pilot.press("right")
        assert app.focused is view.query_one("#where").options
        await pilot.press("left")
        assert app.focused is view.query_one("#acts")


@pytest.mark.parametrize("ride", ["sand_martin", "10_station_gates", "02_spring_close_single"])
def test_every_act_on_every_place_is_understood_and_allowed(ride: str) -> None:
    link = FakeLink(plant_of(ride), "trainee")
    circuit = link.plant.circuit
    for act in acts():
        for name, _ in act.targets(link.plant, link.frame):
            request = act.request(name)
            if isinstance(request, Do):
                action = parse_action(
                    request.sentence, circuit.components, circuit.zones, circuit.gates
                )
                assert row_of(action).is_for("trainee")
            touches = isinstance(request, Hand) and TESTS[request.test].touches
            assert needs_confirming(request) == (act.group == "by hand" or touches)


def test_acts_without_a_place_are_left_out() -> None:
    link = FakeLink(plant_of("10_station_gates"))
    offered = [act.words for act in possible(link.plant, link.frame)]
    assert "look closely" in offered
    assert not {"callipers", "pry a jaw", "reline", "block"} & set(offered)
    link = FakeLink(plant_of("sand_martin"))
    words = [act.words for act in possible(link.plant, link.frame)]
    assert words == [act.words for act in acts()]


def test_every_test_and_every_act_by_hand_is_offered() -> None:
    link = FakeLink(plant_of("sand_martin"), "trainee")
    requests = [
        act.request(next(iter(act.targets(link.plant, link.frame)))[0])
        for act in possible(link.plant, link.frame)
    ]
    assert {request.test for request in requests if isinstance(request, Hand)} == set(TESTS)
    said = {request.sentence.split()[0] for request in requests if isinstance(request, Do)}
    # two places are typed
    assert said == {row.word for row in VERBS.values() if row.by in ("desk", "hand")} - {"swap"}


def test_a_repair_is_offered_only_where_it_can_end_a_fault() -> None:
    link = FakeLink(plant_of("sand_martin"), "trainee")
    parts = link.plant.circuit.components
    for act in acts():
        if act.words not in VERBS or "how" not in VERBS[act.words].fixed:
            continue
        names = [name for name, _ in act.targets(link.plant, link.frame)]
        assert names == list(repairable(parts, act.words))  # type: ignore[arg-type]
        if act.words != "replace":
            assert 0 < len(names) < len(parts)


def test_test_points_come_first() -> None:
    link = FakeLink(plant_of("sand_martin"), "trainee")
    read = next(act for act in acts() if act.words == "read a pressure")
    found = list(read.targets(link.plant, link.frame))
    marked = ["test point" in about for _, about in found]
    assert marked == sorted(marked, reverse=True)
    assert 0 < sum(marked) < len(marked)
    fits = {str(port) for port in points_of(link.plant.circuit)}
    assert all((name in fits) == ("test point" in about) for name, about in found)


@pytest.mark.parametrize("seat", ["trainer", "trainee"])
@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60), (20, 6), (1, 1)])
async def test_any_size(seat: str, size: tuple[int, int]) -> None:
    link = FakeLink(plant_of("sand_martin"), seat)
    app = DashboardApp(link)
    async with app.run_test(size=size) as pilot:
        view = await opened(pilot)
        app.request(Hand("look", "trim_brake_1"))
        link.reply(Answer(1, True, "The jaws are open."))
        await look(pilot)
        assert len(notes(view)) == 1
