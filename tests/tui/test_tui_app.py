"""The frame around the views: what its lines say, what its keys send, at any size."""

from __future__ import annotations

from dataclasses import replace

import pytest
import tui_toys
from textual.command import CommandList
from textual.widgets import Input, Static
from tui_toys import FakeLink, judged, look, plant_of, resting_frame, until

from pneumo.circuit.action import Command, FaultSpec, RideStop
from pneumo.errors import InputError
from pneumo.live.frame import AlarmFrame, FaultFrame
from pneumo.live.request import (
    Answer,
    Check,
    Do,
    GoTo,
    Hand,
    Newest,
    NextEvent,
    Pause,
    Redo,
    Run,
    Save,
    Scan,
    Speed,
    Undo,
)
from pneumo.scenario.event import Commanded, ContactRead, FaultInjected, RunEvent
from pneumo.verification.case import Loss
from pneumo.verification.verdict import UNSOUND
from pneumo.zone.event import AlarmRaised, Refused
from pneumo.zone.evidence import Clue, clue_words
from tui.app import DashboardApp
from tui.bar import Head, Keys, Latest, Tabs, TimeBar, ZoneStrip
from tui.host import Host
from tui.screens.command import CommandLine
from tui.screens.confirm import Confirm, Invitation, Message
from tui.screens.help import Help, drawn
from tui.screens.outcomes import Outcomes
from tui.screens.pick import PickOne
from tui.screens.save import SaveSituation
from tui.unfinished import Unfinished
from tui.widgets.choice import Filtered

pytestmark = pytest.mark.usefixtures("toy_views")


def words_of(app: DashboardApp, kind: type[Static]) -> str:
    return str(app._base.query_one(kind).render())


def alarm(zone: str = "trim", state: str = "unacknowledged") -> AlarmFrame:
    return AlarmFrame(zone, "vent time exceeded", state, True, 9.0, None)


def unsafe_trim(link: FakeLink) -> dict[str, object]:
    """Changes after which zone trim is faulted with its jaws still closed."""
    frame, plant = link.frame, link.plant
    count = len(plant.circuit.zones["trim"].brakes)
    zone = frame.zones[0]._replace(state="faulted", first_out="vent time exceeded")
    zone = judged(zone, lacking=tuple(range(count)))
    return {
        "zones": (zone, *frame.zones[1:]),
        "gaps": (0.0,) * count + frame.gaps[count:],
        "forces": (8900.0,) * count + frame.forces[count:],
        "alarms": (alarm(),),
    }


# what the lines say


async def test_the_safety_line_names_the_zone_and_the_reason(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        await look(pilot)
        assert "· every zone is in its safe state" in words_of(app, Head)
        trainer.give(**unsafe_trim(trainer))
        await look(pilot)
        said = words_of(app, Head)
        assert "x trim NOT SAFE, vent time exceeded: brakes 1–4 still closed" in said
        assert "vent time exceeded" in said
        assert "! 1 alarm" in said


async def test_a_zone_that_still_has_time_is_on_the_way_and_not_unsafe(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(120, 30)) as pilot:
        trainer.give(**unsafe_trim(trainer))
        late, *others = trainer.frame.zones
        trainer.give(zones=(judged(late, not_safe=False), *others))
        await look(pilot)
        said = words_of(app, Head)
        assert "; trim on the way to the safe state, still in time; 5 of 6 in" in said
        trainer.give(zones=(late, *others))
        await look(pilot)
        assert "x trim NOT SAFE" in words_of(app, Head)


@pytest.mark.parametrize("seat", ["trainer", "trainee"])
async def test_the_head_tells_seat_time_speed_and_marks(seat: str) -> None:
    link = FakeLink(plant_of("sand_martin"), seat)
    forced = (True, *link.frame.forced_inputs[1:])
    link.give(running=True, speed=5.0, pace=3.2, time=65.5, newest=65.5, forced_inputs=forced)
    app = DashboardApp(link)
    async with app.run_test(size=(120, 30)) as pilot:
        await look(pilot)
        said = words_of(app, Head)
    for words in (f"{seat}'s seat", "running", "1:05.500", "5x (reached 3.2x)", "F 1 forced"):
        assert words in said


async def test_a_trainee_sees_no_count_of_faults(trainee: FakeLink) -> None:
    shown = FaultFrame("trim_valve_a", "stuck", "trim_valve_a stuck", 1.0, True, False)
    trainee.give(faults=(shown,))
    app = DashboardApp(trainee)
    async with app.run_test(size=(140, 30)) as pilot:
        await look(pilot)
        assert "fault" not in words_of(app, Head)


async def test_gone_back_and_check_are_said(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(120, 30)) as pilot:
        trainer.give(mode="earlier", time=4.0)
        await look(pilot)
        assert "HISTORY (live is 0:10.000)" in words_of(app, Head)
        trainer.give(mode="check", note="loss of power at trim")
        await look(pilot)
        assert "CHECK beside the ride" in words_of(app, Head)
        assert "loss of power at trim" in words_of(app, Head)


async def test_nothing_is_drawn_while_the_number_stays(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        view = app.stage.views["zones"]
        before = len(view.drawn)
        for _ in range(3):
            await look(pilot)
        assert len(view.drawn) == before
        trainer.give(time=11.0)
        await look(pilot)
        assert len(view.drawn) == before + 1


async def test_a_lost_ride_is_told_and_the_screen_stays(trainer: FakeLink) -> None:
    app = DashboardApp(trainer, host=Host(record="run.pneumo"))
    async with app.run_test(size=(100, 30)) as pilot:
        trainer.trouble = "The ride is gone: the host has left."
        await look(pilot)
        assert isinstance(app.screen, Message)
        assert any("run.pneumo" in line for line in app.screen.lines)
        await pilot.press("enter")
        assert "x The ride is gone: the host has left." in words_of(app, Head)
        await pilot.press("2")
        await look(pilot)
        assert app.stage.current == "circuit"


# keys


@pytest.mark.parametrize(
    ("key", "request_"),
    [
        ("space", Run()),
        ("full_stop", Scan()),
        ("n", NextEvent()),
        ("ctrl+left", GoTo(9.0)),
        ("less_than_sign", GoTo(0.0)),
        ("ctrl+shift+left", GoTo(0.0)),
        ("ctrl+right", Newest()),
        ("greater_than_sign", Newest()),
        ("h", Newest()),
        ("left_square_bracket", Speed(0.5)),
        ("right_square_bracket", Speed(2.0)),
        ("s", Do("ride stop")),
        ("a", Do("acknowledge all")),
        ("r", Do("reset all")),
        ("u", Undo()),
        ("U", Redo()),
    ],
)
async def test_a_key_sends_its_request(trainer: FakeLink, key: str, request_: object) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press(key)
        await pilot.pause()
        assert trainer.sent == [request_]


async def test_space_pauses_what_runs_and_speed_stays_in_its_range(trainer: FakeLink) -> None:
    trainer.give(running=True, speed=50.0)
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press("space", "right_square_bracket")
        assert trainer.sent == [Pause(), Speed(50.0)]
        trainer.give(speed=0.1)
        await pilot.press("left_square_bracket")
        assert trainer.sent[-1] == Speed(0.1)


@pytest.mark.parametrize(
    "key", ["space", "n", "full_stop", "h", "ctrl+left", "f", "u", "U", "k", "w", "x"]
)
async def test_a_trainee_is_told_what_is_the_trainers(trainee: FakeLink, key: str) -> None:
    app = DashboardApp(trainee)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press(key)
        await pilot.pause()
        assert trainee.sent == []
        told = [notification.message for notification in app._notifications]
        assert any("trainer" in message for message in told)


@pytest.mark.parametrize("seat", ["trainer", "trainee"])
async def test_digits_open_every_view_of_the_seat(seat: str) -> None:
    app = DashboardApp(FakeLink(plant_of("sand_martin"), seat))
    wanted = ["zones", "circuit", "trends", "alarms", "signals", "logic"]
    wanted += ["verify", "faults", "tests"] if seat == "trainer" else ["tests"]
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        for number, title in enumerate(wanted, 1):
            await pilot.press(str(number))
            await look(pilot)
            assert app.stage.current == title
            assert f"[{number} {title}]" in words_of(app, Tabs)
            assert [name for name, view in app.stage.views.items() if view.display] == [title]
        await pilot.press("9")
        await look(pilot)
        assert app.stage.current == "tests"


async def test_tabs_and_keys_can_be_clicked(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        tabs = words_of(app, Tabs)
        await pilot.click(Tabs, offset=(tabs.index("4 alarms") + 3, 0))
        await look(pilot)
        assert app.stage.current == "alarms"
        keys = words_of(app, Keys)
        await pilot.click(Keys, offset=(keys.index("STOP") + 2, 0))
        await pilot.pause()
        assert trainer.sent == [Do("ride stop")]


async def test_the_most_needed_keys_are_always_in_sight() -> None:
    for seat, needed in (
        ("trainer", ("f fault", "s STOP", "a ack", "r reset", "N normal", "^← back", "? help")),
        ("trainee", ("t tests", "s STOP", "a ack", "r reset", "N normal", "? help")),
    ):
        app = DashboardApp(FakeLink(plant_of("sand_martin"), seat))
        async with app.run_test(size=(80, 24)) as pilot:
            await look(pilot)
            for word in (*needed, "q leave", "^p acts"):
                assert word in words_of(app, Keys)
            await pilot.resize_terminal(120, 40)
            await look(pilot)
            whole = ("s RIDE STOP", "a acknowledge", "N back to normal", "^p all acts", "q leave")
            for word in (*whole, *(("^← back",) if seat == "trainer" else ())):
                assert word in words_of(app, Keys)


async def test_the_keys_are_those_that_work_now(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press("f")
        await look(pilot)
        assert "Type to filter" in words_of(app, Keys)
        assert "Esc closes" in words_of(app, Keys)
        assert "STOP" not in words_of(app, Keys)
        await pilot.press("1", "c", "escape")
        await look(pilot)
        assert "s STOP" in words_of(app, Keys)
        await pilot.press("f")
        await look(pilot)
        assert app.stage.views["faults"].query_one(Filtered).filter.value == ""
        await pilot.press("escape")
        trainer.give(mode="earlier", time=4.0)
        await look(pilot)
        assert words_of(app, Keys).startswith("h newest")


async def test_a_line_for_a_ride_that_is_well_tells_the_truth(
    trainer: FakeLink, trainee: FakeLink
) -> None:
    for link, all_safe, some in (
        (trainer, "every zone is in its safe state", "5 of 6 in their safe state"),
        (trainee, "every zone is in its safe state by its switches", "as far as switches tell"),
    ):
        app = DashboardApp(link)
        async with app.run_test(size=(120, 30)) as pilot:
            await look(pilot)
            assert all_safe in words_of(app, Head)
            first, *others = link.frame.zones
            if link is trainee:
                link.give(zones=tuple(judged(zone) for zone in link.frame.zones))
            else:
                link.give(zones=(judged(first), *others))
            await look(pilot)
            assert all_safe not in words_of(app, Head)
            said = "no alarm; 0 of 6" if link is trainee else "all zones normal; 5 of 6"
            assert said in words_of(app, Head)
            assert some in words_of(app, Head)
            if link is trainer:
                stuck = FaultFrame(
                    "trim_valve_b", "stuck-actuated", "trim_valve_b stuck-actuated", 4.0, True, True
                )
                link.give(faults=(stuck,))
                await look(pilot)
                assert "no zone is unsafe, no alarm; 5 of 6" in words_of(app, Head)
                assert "normal" not in words_of(app, Head).splitlines()[1]


async def test_an_alarm_that_is_normal_again_is_not_counted(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        for shelved_until in (None, 1.0, trainer.frame.time + 60.0):
            normal = alarm(state="normal")._replace(shelved_until=shelved_until)
            trainer.give(alarms=(normal,))
            await look(pilot)
            assert "alarm" not in words_of(app, Head)


async def test_an_answer_that_is_only_asked_for_does_not_sound_done(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        await look(pilot)
        await pilot.press("r")
        trainer.reply(Answer(1, True, "reset all"))
        await look(pilot)
        assert list(app._notifications) == []
        words = "trim: reset refused: still active: vent time exceeded"
        trainer.reply(Answer(0, True, words, refused="reset"))
        await look(pilot)
        (note,) = app._notifications
        assert "reset refused" in note.message and note.severity == "warning"


async def test_nothing_to_come_is_said(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        await look(pilot)
        await pilot.press("n")
        trainer.reply(Answer(1, True, "No event within 60 s."))
        await look(pilot)
        assert [n.message for n in app._notifications] == ["No event within 60 s."]


async def test_a_fault_that_is_typed_says_who_sees_it(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        await look(pilot)
        await pilot.press("colon", *"fault trim_valve_a stuck", "enter")
        await look(pilot)
        assert trainer.sent == [Do("fault trim_valve_a stuck", hidden=True)]
        trainer.reply(Answer(1, True, "fault trim_valve_a stuck"))
        app.request(Do("fault trim_valve_b stuck"))
        trainer.reply(Answer(2, True, "fault trim_valve_b stuck"))
        await look(pilot)
        told = [n.message for n in app._notifications]
        assert "hidden from the trainee" in told[0] and "shown to the trainee" in told[1]


async def test_notes_are_few(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        await look(pilot)
        for words in ("first", "second", "third", "third"):
            app.tell(words)
            await look(pilot)
        assert [n.message for n in app._notifications] == ["second", "third"]


async def test_a_seat_that_is_cut_off_says_so_and_q_leaves_at_once(trainee: FakeLink) -> None:
    app = DashboardApp(trainee)
    async with app.run_test(size=(100, 30)) as pilot:
        trainee.give(running=True)
        trainee.trouble = "The seat is no longer kept; ask the trainer for a new code."
        await look(pilot)
        assert "cut off" in words_of(app, Head) and "running" not in words_of(app, Head)
        await pilot.press("q")
        await pilot.pause()
        assert trainee.closed


async def test_the_only_completion_is_taken_and_a_trainee_is_told_what_may_be_said(
    trainer: FakeLink, trainee: FakeLink
) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        await look(pilot)
        await pilot.press("colon", *"acknowledge tr", "enter")
        await look(pilot)
        assert trainer.sent == [Do("acknowledge trim")]
        await pilot.press("colon", *"isolate trim_v", "enter")
        assert "Tab" not in str(app.screen.query_one("#problem", Static).render())
    app = DashboardApp(trainee)
    async with app.run_test(size=(100, 30)) as pilot:
        await look(pilot)
        await pilot.press("colon")
        assert "fault" not in app.screen.query_one("#sentence", Input).placeholder
        for words in ("fault trim_valve_a stuck", "nonsense"):
            app.screen.query_one("#sentence", Input).value = words
            await pilot.press("enter")
            said = str(app.screen.query_one("#problem", Static).render())
            assert "This seat may say: open, close" in said and "fin" not in said


# the bar of time


async def test_a_click_on_the_bar_of_time_goes_back(trainer: FakeLink) -> None:
    trainer.happen(RunEvent(5.0, "trim_valve_a", FaultInjected(FaultSpec("trim_valve_a", "stuck"))))
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        await look(pilot)
        bar = app._base.query_one(TimeBar)
        line = bar.render_line(0).text
        assert line.index("x") == bar.column(5.0)
        await pilot.click(TimeBar, offset=(bar.column(5.0), 0))
        await pilot.pause()
        (request,) = trainer.sent
        assert isinstance(request, GoTo)
        assert request.time == pytest.approx(5.0, abs=0.1)
        await pilot.click(TimeBar, offset=(bar.size.width - 1, 0))
        await pilot.pause()
        assert trainer.sent[-1] == Newest()


async def test_the_bar_of_time_comes_when_gone_back_on_a_low_screen(trainer: FakeLink) -> None:
    trainer.happen(RunEvent(5.0, "", Commanded(RideStop())))
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        bar = app._base.query_one(TimeBar)
        assert not bar.display
        trainer.give(mode="earlier", time=4.0)
        await look(pilot)
        assert bar.display
        assert "s" in bar.render_line(0).text
        assert bar.render_line(0).text.index("▼") == bar.column(4.0)


async def test_a_seat_without_time_has_no_bar_of_it(trainee: FakeLink) -> None:
    app = DashboardApp(trainee)
    async with app.run_test(size=(120, 40)) as pilot:
        await look(pilot)
        assert not app._base.query_one(TimeBar).display


# acts that are asked about first


async def test_a_physical_act_shows_its_cautions_first(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        app.request(Do("isolate trim_shut_off"))
        await pilot.pause()
        assert isinstance(app.screen, Confirm)
        assert len(app.screen.cautions) > 2
        await pilot.press("enter")  # Enter alone does nothing: the cautions are to be read
        assert trainer.sent == []
        app.request(Do("isolate trim_shut_off"))
        await pilot.pause()
        await pilot.press("n")
        assert trainer.sent == []
        app.request(Do("isolate trim_shut_off"))
        await pilot.pause()
        await pilot.press("y")
        assert trainer.sent == [Do("isolate trim_shut_off")]


async def test_acting_in_the_past_asks_before_the_future_goes(trainer: FakeLink) -> None:
    trainer.give(mode="earlier", time=4.0)
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press("space")
        assert isinstance(app.screen, Confirm)
        assert any("dropped" in line for line in app.screen.lines)
        await pilot.press("escape")
        assert trainer.sent == []
        await pilot.press("s")
        await pilot.press("y")
        assert trainer.sent == [Do("ride stop")]


# answers


async def test_answers_become_notes_or_dialogs(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        await look(pilot)
        await pilot.press("s")
        trainer.reply(Answer(1, True, "ride stop"))
        await look(pilot)
        assert [n.message for n in app._notifications] == ["ride stop"]
        await pilot.press("r")
        trainer.reply(Answer(2, False, "reset refused: [vent] time exceeded"))
        await look(pilot)
        assert [n.severity for n in app._notifications] == ["information", "warning"]
        app.request(Hand("listen", "trim_hose_1"))
        trainer.reply(Answer(3, True, "A hiss.", ("Wear ear protection.",)))
        await look(pilot)
        assert isinstance(app.screen, Message)
        assert app.screen.cautions == ("Wear ear protection.",)
        await pilot.press("escape")
        trainer.reply(Answer(0, False, "The simulation stopped. Saved as rescue.yaml."))
        await look(pilot)
        assert isinstance(app.screen, Message)


def outcome(loss: Loss, verdict: str) -> dict[str, object]:
    return {
        "loss": loss, "verdict": verdict, "safe_state": "open", "reached_after": 1.5,
        "limit": 2.0, "why": "", "detected": True,
    }  # fmt: skip


async def test_a_check_is_chosen_and_its_verdicts_come_one_by_one(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        await look(pilot)
        await pilot.press("k")
        assert isinstance(app.screen, PickOne)
        await pilot.press(*"block", "space", *"power", "enter")
        await pilot.pause()
        assert trainer.sent == [Check("block", Loss("power"))]
        first, second = outcome(Loss("power"), "safe"), outcome(Loss("header vented"), "unsafe")
        data = {"zone": "block", "loss": Loss("power"), "unsound": [], "outcomes": [first]}
        trainer.reply(Answer(1, True, "", data=data))
        await look(pilot)
        dialog = app.screen
        assert isinstance(dialog, Outcomes)
        trainer.reply(Answer(1, True, "", data=data | {"outcomes": [first, second]}))
        await look(pilot)
        assert app.screen is dialog
        said = str(dialog.query_one("#verdicts", Static).render())
        assert "· SAFE    loss of power: open after 1.50 s (limit 2 s)" in said
        assert "x UNSAFE  loss of air: header vented" in said
        assert "WITHOUT ANY FAULT" not in said
        wrong = [("block: late", "First cause: block_valve.")]
        trainer.reply(Answer(1, True, "", data=data | {"unsound": wrong}))
        await look(pilot)
        said = str(dialog.query_one("#verdicts", Static).render())
        places = [said.index(words) for words in (UNSOUND, *wrong[0], "SAFE    loss of power")]
        assert places == sorted(places)
        await pilot.press("escape")
        trainer.reply(Answer(1, True, "", data=data))
        await look(pilot)
        assert app.screen is app._base


# dialogs


@pytest.mark.parametrize("key", ["question_mark", "f1"])
async def test_help_is_of_the_open_view_and_of_the_seat(trainer: FakeLink, key: str) -> None:
    app = DashboardApp(trainer, host=Host(invitation="pneumo join here 1234"))
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press("escape")  # the invitation
        await pilot.press(key)
        assert isinstance(app.screen, Help)
        assert "## A toy view" in app.screen.texts
        assert any("pneumo join here 1234" in text for text in app.screen.texts)
        await pilot.press("down", "pagedown", "up", "pageup")
        await pilot.press("escape")
        assert app.screen is app._base


def test_help_is_one_text() -> None:
    rows = "| key | does |\n|---|---|\n| `enter` | takes it |\n| z | **resets** |"
    said = str(drawn(f"## Keys\n\n{rows}\n\nOne\nline."))
    assert said == "Keys\n\n key    does\n enter  takes it\n z      resets\n\nOne line."


async def test_a_sentence_is_completed_checked_and_sent(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press("colon")
        assert isinstance(app.screen, CommandLine)
        line = app.screen.query_one("#sentence", Input)
        await pilot.press(*"clo", "tab")
        assert line.value == "close "
        await pilot.press(*"trix", "enter")
        problem = app.screen.query_one("#problem", Static)
        assert "Did you mean 'trim'" in str(problem.render())
        assert trainer.sent == []
        await pilot.press("backspace", *"m", "enter")
        await pilot.pause()
        assert trainer.sent == [Do("close trim")]
        await pilot.press("colon", "up")
        assert app.screen.query_one("#sentence", Input).value == "close trim"
        await pilot.press("escape")
        assert len(trainer.sent) == 1


async def test_a_delayed_sentence_is_checked_too(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press("colon")
        app.screen.query_one("#sentence", Input).value = "in 5 s: fault trim_valve_a stuck"
        await pilot.press("enter")
        await pilot.pause()
        assert trainer.sent == [Do("in 5 s: fault trim_valve_a stuck", hidden=True)]


async def test_the_palette_finds_acts_and_sentences(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)

    def found(words: str) -> bool:
        """The palette's first line is marked, and is about these words."""
        hits = app.screen.query_one(CommandList)
        return hits.highlighted == 0 and words in str(hits.get_option_at_index(0).prompt)

    async with app.run_test(size=(100, 30)) as pilot:
        await look(pilot)
        await pilot.press("ctrl+p")
        await pilot.press(*"close block")
        await until(pilot, lambda: found("close block"))
        await pilot.press("enter")
        await until(pilot, lambda: trainer.sent)
        assert trainer.sent == [Do("close block")]
        await pilot.press("ctrl+p")
        await pilot.press(*"show alarms")
        await until(pilot, lambda: found("show alarms"))
        await pilot.press("enter")
        await until(pilot, lambda: app.stage.current == "alarms")
        assert app.stage.current == "alarms"


async def test_a_situation_is_saved_under_a_name_that_tells_nothing(
    trainer: FakeLink, tmp_path: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    broken = FaultFrame("trim_valve_a", "stuck", "trim_valve_a stuck", 1.0, True, True)
    trainer.give(faults=(broken,))
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press("w")
        dialog = app.screen
        assert isinstance(dialog, SaveSituation)
        path = dialog.query_one("#path", Input)
        assert "trim" not in path.value + dialog.query_one("#name", Input).value
        path.value = "nowhere/x.yaml"
        await pilot.press("ctrl+s")
        assert "There is no folder nowhere" in str(dialog.query_one("#problem", Static).render())
        path.value = "x.txt"
        await pilot.press("ctrl+s")
        assert "does not end in .yaml" in str(dialog.query_one("#problem", Static).render())
        path.value = "x.yaml"
        await pilot.press("ctrl+d")
        await pilot.pause()
        assert trainer.sent == [Save("drill", "x.yaml", "situation 1")]


async def test_a_drill_is_encrypted_by_a_passphrase_that_is_typed_twice(
    trainer: FakeLink, tmp_path: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press("w", "enter", "enter", *"short", "enter", *"sh0rt", "ctrl+d")
        dialog = app.screen
        problem = dialog.query_one("#problem", Static)
        assert "passphrases differ" in str(problem.render())
        one, two = (dialog.query_one(name, Input) for name in ("#passphrase", "#again"))
        assert (one.value, two.value) == ("short", "sh0rt") and one.password and two.password
        two.value = "short"
        await pilot.press("ctrl+d")
        assert "too short" in str(problem.render())
        one.value = two.value = "seven red kites"
        await pilot.press("ctrl+s")
        assert "A scenario is not encrypted" in str(problem.render())
        await pilot.press("ctrl+d")
        await pilot.pause()
        (saved,) = trainer.sent
        assert saved == Save("drill", "situation_1.yaml", "situation 1", "seven red kites")
        assert "kites" not in repr(saved)


async def test_an_unfinished_run_is_offered_once(trainer: FakeLink) -> None:
    taken: list[object] = []
    runs = [("Sand Martin, 12 s", "a.run"), ("Sand Martin, 90 s", "b.run")]
    app = DashboardApp(trainer, unfinished=Unfinished(runs, take_up=taken.append))
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        assert isinstance(app.screen, PickOne)
        await pilot.press("enter")  # nobody has moved to one yet
        assert taken == [] and isinstance(app.screen, PickOne)
        await pilot.press("down", "down", "enter")
        await app.workers.wait_for_complete()
        assert taken == ["b.run"]
        assert app.screen is app._base


async def test_a_run_is_forgotten_only_on_purpose(trainer: FakeLink) -> None:
    forgotten: list[object] = []
    runs = [("first", "a.run"), ("second", "b.run")]
    app = DashboardApp(trainer, unfinished=Unfinished(runs, forget=forgotten.append))
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.click("#forget")
        await look(pilot)
        await until(pilot, lambda: app.focused is not None and app.focused.id == "forget")
        assert forgotten == []  # none is marked
        await pilot.press("shift+tab", "shift+tab", "down")
        await until(pilot, lambda: app.screen.query_one(Filtered).choice is not None)
        await pilot.click("#forget")
        await until(pilot, lambda: forgotten == ["a.run"])
        assert isinstance(app.screen, PickOne)
        await pilot.press("escape")
        assert forgotten == ["a.run"]


async def test_a_run_that_cannot_be_continued_is_said(trainer: FakeLink) -> None:
    def refuse(value: object) -> None:
        raise InputError("The record is of another ride.")

    app = DashboardApp(trainer, unfinished=Unfinished([("a run", 1)], take_up=refuse))
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press("down", "enter")
        await app.workers.wait_for_complete()
        await pilot.pause()
        assert [n.message for n in app._notifications] == ["The record is of another ride."]


async def test_starting_anew_takes_nothing_up(trainer: FakeLink) -> None:
    taken: list[object] = []
    app = DashboardApp(trainer, unfinished=Unfinished([("a run", 1)], take_up=taken.append))
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press("escape")
        await pilot.pause()
        assert taken == []
        assert app.screen is app._base


# leaving


@pytest.mark.parametrize("host", [None, Host(record="run.pneumo")])
async def test_leaving_asks_nothing_when_nothing_is_lost(
    trainer: FakeLink, host: Host | None
) -> None:
    app = DashboardApp(trainer, host=host)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press("q")
        await pilot.pause()
        assert trainer.closed
        assert not app.is_running or app._exit


async def test_an_invitation_is_shown_at_the_start_and_on_its_key(trainer: FakeLink) -> None:
    host = Host(invitation="pneumo join 127.0.0.1:8470", code="8FQ-YTQ", trainee="not joined")
    app = DashboardApp(trainer, host=host, unfinished=Unfinished([("a run", 1)]))
    async with app.run_test(size=(140, 30)) as pilot:
        await look(pilot)
        await pilot.press("escape")
        await look(pilot)
        assert isinstance(app.screen, Message)
        said = " ".join(app.screen.lines)
        assert "pneumo join 127.0.0.1:8470" in said and "8FQ-YTQ" in said
        assert "Only from this machine" in said
        await pilot.press("escape")
        await look(pilot)
        assert "trainee: not joined" in words_of(app, Head)
        app.host = replace(host, code="", trainee="joined", only_here=False)
        await look(pilot)
        assert "trainee: joined" in words_of(app, Head)
        await pilot.press("I")
        assert isinstance(app.screen, Message)
        assert "on the network" in " ".join(app.screen.lines)


async def test_every_dialog_gives_the_focus_back(trainer: FakeLink) -> None:
    app = DashboardApp(trainer, unfinished=Unfinished([("a run", 1)]))
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press("escape")
        await look(pilot)
        assert app.focused is app.stage.views["zones"]
        for key in ("question_mark", "colon", "k", "w", "ctrl+p"):
            await pilot.press(key)
            await look(pilot)
            assert app.screen is not app._base
            await pilot.press("escape")
            await look(pilot)
            assert app.screen is app._base
            assert app.focused is app.stage.views["zones"]


async def test_shelved_alarms_are_not_announced(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        shelved = alarm()._replace(shelved_until=trainer.frame.time + 60.0)
        trainer.give(alarms=(shelved,))
        await look(pilot)
        assert "alarm" not in words_of(app, Head)
        trainer.give(alarms=(shelved._replace(shelved_until=1.0),))
        await look(pilot)
        assert "! 1 alarm" in words_of(app, Head)


async def test_leaving_a_run_that_is_not_kept_asks(trainer: FakeLink) -> None:
    app = DashboardApp(trainer, host=Host())
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press("q")
        assert isinstance(app.screen, Confirm)
        await pilot.press("n")
        assert not trainer.closed
        await pilot.press("q")
        await pilot.press("y")
        await pilot.pause()
        assert trainer.closed


# sizes


@pytest.mark.parametrize(
    ("ride", "size"),
    [
        ("01_spring_open_single", (80, 24)),
        ("10_station_gates", (120, 40)),
        ("sand_martin", (200, 60)),
        ("sand_martin", (20, 6)),
        ("10_station_gates", (1, 1)),
    ],
)
async def test_every_size_draws(ride: str, size: tuple[int, int]) -> None:
    link = FakeLink(plant_of(ride))
    app = DashboardApp(link)
    async with app.run_test(size=size) as pilot:
        await look(pilot)
        link.give(mode="earlier", time=3.0, alarms=(alarm((*link.plant.zones, "")[0]),))
        await look(pilot)
        for key in ("8", "9", "question_mark", "escape", "N", "escape", "colon", "escape"):
            await pilot.press(key)
            await pilot.pause()
        assert app.screen is app._base


@pytest.mark.parametrize(("width", "strip", "events"), [(119, 0, 0), (120, 1, 0), (200, 1, 1)])
async def test_wide_screens_keep_zones_and_events_in_sight(
    trainer: FakeLink, width: int, strip: int, events: int
) -> None:
    trainer.happen(RunEvent(5.0, "", Commanded(Command("trim", "close"))))
    app = DashboardApp(trainer)
    async with app.run_test(size=(width, 40)) as pilot:
        await look(pilot)
        await pilot.press("3")
        await look(pilot)
        assert app._base.query_one("#strip").display == bool(strip)
        assert app._base.query_one("#latest").display == bool(events)
        if strip:
            assert "· trim" in words_of(app, ZoneStrip)
        if events:
            latest = str(app._base.query_one("#latest", Static).render())
            assert "0:05.000 ride: close trim" in latest


async def test_the_screen_may_be_resized_while_it_runs(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(200, 60)) as pilot:
        await look(pilot)
        await pilot.press("8")
        for width, height in ((80, 24), (20, 6), (1, 1), (120, 40), (3, 50), (200, 60)):
            await pilot.resize_terminal(width, height)
            trainer.give(time=trainer.frame.time + 1.0, newest=trainer.frame.newest + 1.0)
            await look(pilot)
        assert "Sand Martin" in words_of(app, Head)


async def test_colours_can_be_changed_and_left_out(
    trainer: FakeLink, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        trainer.give(**unsafe_trim(trainer))
        await look(pilot)
        assert app.no_color
        assert "x trim NOT SAFE" in words_of(app, Head)
        await app.run_action("other_theme")
        await look(pilot)
        assert app.theme == "paper"


# picking


async def test_a_pick_is_followed_by_the_other_views(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press("2")
        await look(pilot)
        app.stage.views["circuit"].pick("trim_valve_b")
        await look(pilot)
        assert app.stage.views["zones"].looked_at == ["trim_valve_b"]
        await pilot.press("x")
        await look(pilot)
        assert app.stage.current == "faults"
        assert app.stage.views["faults"].component == "trim_valve_b"
        assert app.focused is app.stage.views["faults"].query_one("#modes")


# the toys themselves


@pytest.mark.parametrize("name", ["sand_martin", "10_station_gates", "11_dual_pressure"])
def test_toy_frames_have_the_sizes_of_the_plant(name: str) -> None:
    plant = plant_of(name)
    frame = resting_frame(plant)
    pairs = (
        ("zones", plant.zones), ("pressures", plant.nets), ("flows", plant.ports),
        ("positions", plant.valves), ("gaps", plant.brakes), ("travels", plant.cylinders),
        ("readings", plant.meters), ("supplying", plant.supplies), ("inputs", plant.inputs),
        ("outputs", plant.outputs),
    )  # fmt: skip
    for field, owners in pairs:
        assert len(getattr(frame, field)) == len(owners)
    assert tui_toys.resting_past(plant, frame).values.shape[1] == len(plant.channels)


async def test_latest_events_share_a_row_and_wrap(trainer: FakeLink) -> None:
    for number in range(1, 5):
        trainer.happen(RunEvent(9.0, f"trim_open_{number}", ContactRead(False)))
    charged = Clue("pressure switch", "trim_charged", True)
    trainer.happen(RunEvent(9.5, "trim", AlarmRaised("vent time exceeded", True, (charged,))))
    trainer.happen(RunEvent(11.0, "trim", Refused("close", "ride stopped", ("later",))))
    app = DashboardApp(trainer)
    async with app.run_test(size=(200, 40)) as pilot:
        await look(pilot)
        said = words_of(app, Latest)
        assert "trim_open_1…4: OFF" in said
        assert " ".join(said.split()).endswith(
            f"0:09.500 trim: first out: vent time exceeded: {clue_words(charged)}"
        )
        trainer.give(time=9.2)
        await look(pilot)
        assert "vent time" not in words_of(app, Latest)


async def test_an_outcome_that_is_lost_again_says_so(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        found = outcome(Loss("power"), "unsafe") | {"lost_after": 2.33}
        data = {"zone": "trim", "loss": found["loss"], "unsound": [], "outcomes": [found]}
        app.push_screen(Outcomes(Answer(1, True, "", data=data)))
        await pilot.pause()
        verdicts = str(app.screen.query_one("#verdicts", Static).render())
        assert "UNSAFE" in verdicts and "lost again after 2.33 s" in verdicts


async def test_an_invitation_closes_when_it_is_taken_up_and_notes_wait_for_that() -> None:
    link = FakeLink(plant_of("sand_martin"))
    host = Host(invitation="pneumo join 127.0.0.1:8470", code="8FQ-YTQ-6HT", trainee="not joined")
    app = DashboardApp(link, host=host)
    async with app.run_test(size=(120, 40)) as pilot:
        await look(pilot)
        assert isinstance(app.screen, Invitation)
        link.reply(Answer(0, True, "A trainee has joined."))
        await look(pilot)
        assert isinstance(app.screen, Invitation) and not app._notifications
        app.host = replace(host, code="", trainee="joined")
        await look(pilot)
        await look(pilot)
        assert app.screen is app._base
        assert [note.message for note in app._notifications] == ["A trainee has joined."]


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_the_title_of_a_drill_is_shown(trainee: FakeLink, size: tuple[int, int]) -> None:
    trainee.drill = "Second round, with the block brake that answered late on Friday"
    app = DashboardApp(trainee)
    async with app.run_test(size=size) as pilot:
        await look(pilot)
        assert "drill: Second round, with" in str(app.query_one(Head).render())
        await pilot.press("question_mark")
        assert isinstance(app.screen, Help)
        assert app.screen.texts[0] == f"## Drill: {trainee.drill}"
