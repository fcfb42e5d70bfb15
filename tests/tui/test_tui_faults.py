"""The trainer's view of faults: the sentence it builds, what stands, losses and their return."""

from __future__ import annotations

import pytest
from textual.events import Paste
from textual.widgets import Button, Input, OptionList, Static
from tui_toys import FakeLink, look, plant_of

from pneumo.circuit.sentence import parse_action
from pneumo.live.frame import FaultFrame
from pneumo.live.request import Do, Hide
from tui.app import DashboardApp
from tui.views.faults import FaultsView, fault_sentence, grades

pytestmark = pytest.mark.usefixtures("toy_views")

STUCK = FaultFrame("trim_valve_a", "stuck", "trim_valve_a stuck", 4.0, True, True)
TO_COME = FaultFrame("block_hose_1", "leak", "block_hose_1 leak 2 mm over 3 s", 14.0, False, False)
AWAY = FaultFrame("feed_a", "lost", "feed_a lost every 10 s for 2 s", 1.0, False, True)


async def opened(pilot: object) -> FaultsView:
    """The view, opened by its key, its filter ready to type in."""
    await pilot.press("f")
    await look(pilot)
    view = pilot.app.stage.views["faults"]
    assert isinstance(view, FaultsView)
    return view


async def typed(pilot: object, words: str) -> None:
    """In one piece; keys one by one draw all anew each time."""
    assert isinstance(pilot.app.focused, Input)
    pilot.app.focused.post_message(Paste(words))
    await look(pilot)


def shown(view: FaultsView, name: str) -> str:
    return str(view.query_one(f"#{name}", Static).render())


def rows(view: FaultsView) -> list[str]:
    options = view.query_one("#standing", OptionList)
    return [str(option.prompt) for option in options.options]


# injecting


async def test_a_stuck_valve_is_injected_with_a_few_words_and_enter(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot)
        await pilot.press(*"trim", "space", *"valve", "space", *"stuck-actuated")
        await look(pilot)
        await pilot.press("enter", "enter", "enter")
        await pilot.pause()
        assert trainer.sent == [Do("fault trim_valve_a stuck-actuated", hidden=True)]


@pytest.mark.parametrize(
    ("words", "component", "mode"),
    [
        ("block valve_a coil", "block_valve_a", "coil-open"),
        ("trim valve stuck", "trim_valve_a", "stuck"),
        ("final_1 hose_3 leak", "final_1_hose_3", "leak"),
        ("shut_off block", "block_shut_off", None),
        ("silencer blocked", "trim_silencer_a", "blocked"),
        ("compressor", "compressor_1", None),
        ("storage check stuck-open", "storage_check", "stuck-open"),
    ],
)
async def test_words_name_the_component_first_and_then_its_fault(
    trainer: FakeLink, words: str, component: str, mode: str | None
) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        view = await opened(pilot)
        await typed(pilot, words)
        assert view.component == component
        assert mode == (None if view.mode is None else view.mode.name)


async def test_a_graded_fault_takes_severity_and_times(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        view = await opened(pilot)
        await typed(pilot, "trim_hose_2 leak")
        assert view.sentence.startswith("fault trim_hose_2 leak ")
        await pilot.press("enter", "enter")
        severity = view.query_one("#severity", Input)
        assert app.focused is severity
        first = severity.value
        await pilot.press("up")
        assert severity.value != first
        view.query_one("#delay", Input).value = "5 s"
        view.query_one("#over", Input).value = "3 s"
        await pilot.press("enter")
        await pilot.pause()
        assert trainer.sent == [
            Do(f"in 5 s: fault trim_hose_2 leak {severity.value} over 3 s", hidden=True)
        ]


async def test_a_fault_that_comes_and_goes_may_be_shown(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        view = await opened(pilot)
        await typed(pilot, "feed_a lost")
        view.query_one("#every", Input).value = "10 s"
        view.query_one("#lasts", Input).value = "2 s"
        await pilot.pause()
        view.query_one("#hidden", Button).press()
        await pilot.pause()
        view.query_one("#inject", Button).press()
        await pilot.pause()
        assert trainer.sent == [Do("fault feed_a lost every 10 s for 2 s", hidden=False)]


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("severity", "4 bar", "mm"),
        ("severity", "900 mm", "out of range"),
        ("over", "soon", "After over"),
        ("every", "5 s", "every and for go together"),
        ("delay", "soon", "in 5 s: close all"),
    ],
)
async def test_what_cannot_be_done_is_said_in_place(
    trainer: FakeLink, field: str, value: str, words: str
) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        view = await opened(pilot)
        await typed(pilot, "trim_hose_2 leak")
        view.query_one(f"#{field}", Input).value = value
        await pilot.pause()
        assert words in shown(view, "said")
        view.query_one("#inject", Button).press()
        await pilot.pause()
        assert trainer.sent == []
        assert words in shown(view, "said")


async def test_nothing_fits_and_nothing_is_injected(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        view = await opened(pilot)
        await typed(pilot, "no such thing")
        await pilot.press("enter")
        view.query_one("#inject", Button).press()
        await pilot.pause()
        assert trainer.sent == []
        assert "Choose a component" in shown(view, "said")


@pytest.mark.parametrize("ride", ["sand_martin", "07_quick_exhaust", "11_dual_pressure"])
def test_every_fault_at_every_grade_makes_a_sentence_that_is_understood(ride: str) -> None:
    circuit = plant_of(ride).circuit
    count = 0
    for name, component in circuit.components.items():
        for mode in component.fault_modes():
            for grade in grades(mode.severity) if mode.severity else ("",):
                said = fault_sentence(name, mode.name, grade, "", "", "10 s", "2 s")
                action = parse_action(said, circuit.components, circuit.zones, circuit.gates)
                assert action.fault.mode == mode.name
                count += 1
    assert count > 50


# what stands


async def test_standing_faults_are_listed_cleared_and_hidden(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        view = await opened(pilot)
        await pilot.press("escape")
        assert shown(view, "none") == "none: nothing is defective"
        trainer.give(faults=(STUCK, TO_COME, AWAY))
        await look(pilot)
        first, second, third = rows(view)
        assert first.startswith("x trim_valve_a stuck ") and "hidden" in first
        assert "comes at 0:14.000" in second and "shown" in second
        assert "not present right now" in third
        view.query_one("#standing").focus()
        await pilot.press("down", "v", "c")
        await pilot.pause()
        assert trainer.sent == [
            Hide("block_hose_1", "leak", True), Do("clear block_hose_1 leak")
        ]  # fmt: skip


async def test_a_fault_to_come_is_shown_as_present_once_it_has_come(trainer: FakeLink) -> None:
    trainer.give(faults=(TO_COME,))
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        view = await opened(pilot)
        assert rows(view)[0].startswith("· ")
        trainer.give(faults=(TO_COME._replace(present=True),), time=14.5, newest=14.5)
        await look(pilot)
        assert rows(view)[0].startswith("x ")
        assert "since 0:14.000" in rows(view)[0]


async def test_clearing_and_hiding_nothing_says_so(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        await opened(pilot)
        await pilot.press("escape", "c", "v")
        await pilot.pause()
        assert trainer.sent == []
        assert len(app._notifications) == 2


# losses


async def test_losses_cut_and_come_back(trainer: FakeLink) -> None:
    off = [Do(f"switch off {name}") for name in trainer.plant.supplies]
    on = [Do(f"switch on {name}") for name in trainer.plant.supplies]
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot)
        await pilot.press("escape", "A")
        await pilot.pause()
        assert trainer.sent == off
        await pilot.press("B")
        await pilot.pause()
        assert trainer.sent == [*off, *off, Do("power off")]
        trainer.sent.clear()
        trainer.give(switched_off=trainer.plant.supplies, power=False)
        await look(pilot)
        await pilot.press("A", "P")
        await pilot.pause()
        assert trainer.sent == []
        await pilot.press("G")
        await pilot.pause()
        assert trainer.sent == [*on, Do("power on")]


async def test_losses_can_be_clicked(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot)
        await pilot.click("#lose-power")
        await pilot.pause()
        assert trainer.sent == [Do("power off")]


# places


@pytest.mark.parametrize(
    ("ride", "size"),
    [
        ("01_spring_open_single", (80, 24)),
        ("10_station_gates", (120, 40)),
        ("01_spring_open_single", (200, 60)),
        ("10_station_gates", (20, 6)),
        ("01_spring_open_single", (1, 1)),
    ],
)
async def test_small_rides_and_any_size(ride: str, size: tuple[int, int]) -> None:
    link = FakeLink(plant_of(ride))
    app = DashboardApp(link)
    async with app.run_test(size=size) as pilot:
        view = await opened(pilot)
        name = next(iter(link.plant.circuit.components))
        link.give(faults=(FaultFrame(name, "leak", f"{name} leak", 1.0, True, True),))
        await look(pilot)
        assert len(rows(view)) == 1


async def test_all_controls_are_in_sight(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        view = await opened(pilot)
        await typed(pilot, "trim_valve_a stuck")
        for size in ((80, 24), (80, 20), (120, 40), (200, 60)):
            await pilot.resize_terminal(*size)
            await look(pilot)
            assert app.size == size
            for name in ("severity", "delay", "over", "every", "lasts", "inject", "hidden", "said"):
                region = view.query_one(f"#{name}").region
                assert region.height > 0 and view.region.contains_region(region), (size, name)
