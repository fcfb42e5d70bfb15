"""A drill in the dashboard, played by keys to its end, in both seats, at 80 × 24."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace

import pytest
from drill_rides import BACK, SAFE, practice
from textual.pilot import Pilot
from textual.widgets import Input

from pneumo.circuit.verbs import VERBS
from pneumo.drill.brief import Brief
from pneumo.drill.job import OWN_WORDS
from pneumo.inspection.tests import TESTS
from pneumo.live.driver import Driver
from pneumo.live.request import Line, Seat, Tell
from pneumo.live.working import Working
from tui import lines
from tui.app import DashboardApp
from tui.drill_words import briefing
from tui.drilling import judged
from tui.host import Host
from tui.screens.confirm import Confirm
from tui.views.drill import DrillView

BRIEF = Brief(
    level=2,
    par=2700.0,
    complaint="The brake closes, but it hisses.",
    normal="Nothing is heard.",
    at_hand="A test gauge and sealing tape.",
    hints=("Listen beside the hoses.",),
)

SIZE = (80, 24)


class Played:
    """A drill on the small ride, at which somebody sits; the ride goes on by `turn` only."""

    def __init__(self, seat: Seat = "trainee") -> None:
        at = practice("fault hose_1 leak 3 mm", brief=BRIEF, began=False)
        at.ride.drill = "It hisses"  # type: ignore[attr-defined]
        self.practice = at
        self.driver = Driver(at.ride, working=Working(at.ride, at, "It hisses"))  # type: ignore[arg-type]
        self.link = self.driver.seat(seat, keeps_time=True)
        self.other = self.driver.seat("trainee" if seat == "trainer" else "trainer")
        self.app = DashboardApp(self.link)
        self.pilot: Pilot[None]

    @asynccontextmanager
    async def open(self, size: tuple[int, int] = SIZE) -> AsyncIterator[Played]:
        async with self.app.run_test(size=size) as self.pilot:
            await self.pilot.pause()
            yield self

    async def turn(self, passed: float = 0.0) -> None:
        """The ride takes what was said, and works until nothing is under way."""
        self.driver._turn(passed)
        while self.driver._busy:
            self.driver._turn(0.0)
        self.app.tick()
        await self.pilot.pause()

    async def press(self, *keys: str) -> None:
        await self.pilot.press(*keys)
        await self.turn()

    async def say(self, line: str) -> None:
        """Types a line; what is dangerous is read and confirmed."""
        view = self.view
        view.query_one("#say", Input).value = line
        view.query_one("#say").focus()
        await self.pilot.press("enter")
        await self.pilot.pause()
        if isinstance(self.app.screen, Confirm):
            await self.pilot.press("y")
        await self.turn()

    @property
    def view(self) -> DrillView:
        view = self.app.stage.views["drill"]
        assert isinstance(view, DrillView)
        return view

    @property
    def screen(self) -> str:
        strips = self.app.screen._compositor.render_strips(self.app.screen.size)
        return "\n".join("".join(part.text for part in strip).rstrip() for strip in strips)

    @property
    def lines(self) -> list[str]:
        assert self.link.work is not None
        return [entry.line for entry in self.link.work.entries]


async def test_a_trainee_plays_a_drill_to_its_end() -> None:
    async with Played().open() as played:
        assert played.app.stage.current == "drill"
        for words in ("[0 drill]", "It hisses", "level 2 of 5", "par 45 min", "not begun",
                      "Complaint: The brake closes, but it hisses.", "At hand:", "Begin (Enter)",
                      "Nothing can be undone", "left: 1"):  # fmt: skip
            assert words in played.screen, words
        await played.press("enter")
        assert "drill: 0:00:00 of 45 min" in played.screen
        assert "at work" in played.screen and "finding: not stated yet" in played.screen
        for line in ("close trim", "listen hose_1", "open trim"):
            await played.say(line)
        assert "listen hose_1: " in played.screen
        await played.press("f2")
        assert played.view.query_one("#say", Input).value == "finding "
        await played.press(*"hose_1 le", "tab", "enter")
        assert "finding: hose_1 leak." in played.screen
        for line in (*SAFE, "prove hose_1"):
            await played.say(line)
        assert "locked: feed, main" in played.screen and "proved dead: hose_1" in played.screen
        await played.press("f3", "f3", "f3")
        assert played.view.query_one("#say", Input).value == "refit "
        await played.say("refit hose_1")
        for line in BACK:
            await played.say(line)
        await played.press("f4", "enter")
        await played.turn()
        if isinstance(played.app.screen, Confirm):
            await played.press("y")
        await played.press("f6", "enter")
        work = played.link.work
        assert work is not None and work.debrief is not None
        assert work.debrief.verdict == "right", work.debrief.reasons
        assert "RIGHT" in played.screen and "What was wrong" in played.screen
        await played.press("end")
        assert "hand back" in played.screen


async def test_a_line_that_cannot_be_done_says_why_and_stays() -> None:
    async with Played().open() as played:
        await played.press("enter")
        await played.press(*"listen hose_9", "enter")
        assert "! There is no component 'hose_9'. Did you mean 'hose_" in played.screen
        await played.press("ctrl+u", *"lock main", "enter")
        assert "main is not turned off" in played.screen
        await played.press(*"sing", "enter")
        assert "nothing that can be done in a drill" in " ".join(played.screen.split())
        # it can be mended, or the next line takes its place
        box = played.view.line.box
        assert box.selected_text == box.value != ""
        assert played.view.query_one("#say", Input).value == "sing"
        assert played.lines == ["begin"]


async def test_what_costs_nothing_is_looked_up_on_the_page() -> None:
    async with Played().open() as played:
        await played.press("enter")
        await played.press(*"help", "enter")
        assert "Put back    unlock NAME" in played.screen and "Safe work" in played.screen
        await played.press("escape")
        assert "begin" in played.screen and "Put back" not in played.screen
        await played.press(*"faults hose_1", "enter")
        assert "leak: " in played.screen
        await played.press("escape", *"parts hose_1", "enter")
        assert "port 1: " in played.screen
        await played.press("escape", *"parts nothing", "enter")
        assert "! There is no part 'nothing'" in played.screen
        await played.press("ctrl+u", *"briefing", "enter")
        assert "Complaint: " in played.screen
        assert played.lines == ["begin"] and played.link.frame.time == played.view.work.began


async def test_the_line_says_what_it_needs_before_it_is_whole() -> None:
    async with Played().open() as played:
        await played.press("enter")
        assert "unlock" in played.screen, "how things are put back"
        await played.press("f2")
        assert "NAME MODE [or NAME MODE]" in played.screen
        await played.press(*"hose_1 leak")
        assert "Continuous leak" in played.screen, "what the fault does"
        await played.press("ctrl+u", "f3")
        assert "F3 again" in played.screen


@pytest.mark.parametrize(
    ("line", "why"),
    [("voltage hose_1", "hose_1 has no coil"), ("look hose_1", "hose_1 has nothing to look at"),
     ("pry valve", "valve has no jaws"), ("listen feed", "feed has no air in it")],
)  # fmt: skip
async def test_a_test_that_cannot_be_made_there_says_so_before_its_cautions(
    line: str, why: str
) -> None:
    async with Played().open() as played:
        await played.press("enter")
        await played.press(*line)
        assert "Enter: takes" not in played.screen
        await played.press("enter")
        assert why in played.screen and played.app.screen is played.app._base


async def test_suspects_stand_above_the_list_in_both_seats() -> None:
    async with Played().open() as played:
        await played.press("enter")
        assert "suspects:" not in played.screen
        await played.press("f5", *"hose_1 leak", "enter")
        await played.press("f5", *"valve", "enter")
        assert "suspects: hose_1 leak, valve" in played.screen
        await played.press(*"rule out ho", "tab", "enter")
        assert "suspects: valve" in played.screen
        await played.press(*"write it hisses low", "enter")
        assert "write it hisses low" in played.screen
        assert played.link.frame.time == played.view.work.began
    async with Played("trainer").open() as played:
        for line in ("begin", "suspect valve"):
            played.other.send(Line(line))
            await played.turn()
        assert "suspects: valve" in played.screen


async def test_all_keys_of_the_page_fit_on_it() -> None:
    async with Played().open() as played:
        await played.press("enter")
        for words in ("F2 finding", "F4 function test", "F5 suspect", "F7 briefing"):
            assert words in played.screen


async def test_a_line_typed_ahead_never_answers_the_cautions() -> None:
    """All is there before the dialog opens: "replay", with its y, is no confirmation."""
    async with Played().open() as played:
        await played.press("enter")
        await played.pilot.press(*"listen hose_1", "enter", *"replay", "y")
        await played.pilot.pause()
        assert isinstance(played.app.screen, Confirm)
        assert "Letters are no answer" in played.screen
        await played.press("enter")
        assert played.app.screen is played.app._base and played.lines == ["begin"]
        assert "listen hose_1: not done: its cautions were not" in played.screen
        assert played.view.query_one("#say", Input).value == "listen hose_1"
        await played.press("enter", "x", "tab", "enter")
        assert played.lines == ["begin", "listen hose_1"]


async def test_earlier_lines_come_back_and_words_are_filled_in() -> None:
    async with Played().open() as played:
        await played.press("enter")
        await played.say("close trim")
        await played.press(*"lis hose_2", "enter")
        if isinstance(played.app.screen, Confirm):
            await played.press("y")
        assert played.lines[-1] == "listen hose_2"
        await played.press("up", "up")
        assert played.view.query_one("#say", Input).value == "close trim"
        await played.press("down", "down")
        assert played.view.query_one("#say", Input).value == ""
        await played.press("escape", "home", "down", "enter")
        assert played.view.query_one("#say", Input).value == "close trim"


async def test_cautions_come_once_for_each_kind_of_risk_and_before_the_act() -> None:
    async with Played().open() as played:
        await played.press("enter")

        async def asks(line: str, answer: str = "y") -> tuple[str, ...]:
            view = played.view
            view.query_one("#say", Input).value = line
            view.query_one("#say").focus()
            await played.pilot.press("enter")
            await played.pilot.pause()
            screen = played.app.screen
            if not isinstance(screen, Confirm):
                await played.turn()
                return ()
            assert played.lines[-1] != line, "before it is done"
            await played.pilot.press(answer)
            await played.turn()
            return screen.cautions

        assert await asks("listen hose_1", "n"), "left: it is not done, and not read"
        assert played.lines == ["begin"]
        first = await asks("listen hose_1")
        assert first
        assert await asks("listen hose_2") == ()
        assert played.lines == ["begin", "listen hose_1", "listen hose_2"]
        fresh = await asks("override valve.14")
        assert fresh and not set(first) & set(fresh)
        assert await asks("release valve.14") == ()


@pytest.mark.parametrize("key", ["space", "less_than_sign", "h", "n", "full_stop", "u", "N", "k"])
async def test_what_a_drill_refuses_says_so_once(key: str) -> None:
    async with Played().open() as played:
        await played.press("enter")
        await played.press("escape", key)
        assert len(played.app._notifications) == 1, key
        assert played.driver.running
        assert played.app.screen is played.app._base


async def test_keys_and_help_offer_nothing_that_is_refused() -> None:
    async with Played().open((120, 40)) as played:
        await played.press("enter")
        await played.press("escape")
        assert "back to normal" not in played.screen and "run/pause" not in played.screen
        await played.press("question_mark")
        keys = {key for key, _ in played.app.screen.keys}  # type: ignore[attr-defined]
        assert not any("back to normal" in text for text in played.app.screen.texts)  # type: ignore[attr-defined]
        assert "0" in keys and not keys & {"N", "h", "< >", "space", "u U"}


async def test_an_accident_ends_the_drill_and_explains() -> None:
    async with Played().open() as played:
        await played.press("enter")
        for line in ("close trim", "finding hose_1 leak", "replace hose_1"):
            await played.say(line)
        assert "WRONG" in played.screen and "Unsafe" in played.screen
        assert "under" in played.screen


async def test_who_leaves_after_the_debrief_is_told_how_it_is_printed() -> None:
    for end in ((), ("give up",)):
        played = Played()
        played.app = DashboardApp(played.link, host=Host(record="mine.run"))
        async with played.open():
            await played.press("enter")
            for line in end:
                await played.say(line)
            said = played.app.host.farewell(judged(played.link))  # type: ignore[union-attr]
            page = "pneumo drill --continue mine.run --report debrief.html"
            assert said is not None and (page in said) == bool(end)
            assert ("dashboard --continue mine.run" in said) != bool(end)


async def test_the_trainer_sees_it_happen_and_sends_notes_and_hints() -> None:
    async with Played("trainer").open() as played:
        assert played.app.stage.current == "drill"
        assert "The clock starts when the trainee begins." in " ".join(played.screen.split())
        for line in ("begin", "close trim", "listen hose_1", "finding hose_1 leak"):
            played.other.send(Line(line))
            await played.turn()
        work = played.link.work
        assert work is not None
        for words in ("close trim", "finding hose_1 leak"):
            assert words in played.screen
        await played.press("f2", *"Look again", "enter")
        assert [note.text for note in played.link.work.notes] == ["Look again"]  # type: ignore[union-attr]
        if work.debrief is None:
            assert "note from the trainer: Look again" in played.screen


async def test_a_hint_costs_and_there_are_no_more_than_the_drill_has() -> None:
    async with Played("trainer").open() as played:
        played.other.send(Line("begin"))
        await played.turn()
        assert "F3 hint (1 left)" in played.screen
        await played.press("f3")
        assert isinstance(played.app.screen, Confirm)
        await played.press("y")
        assert "hint (by the trainer): Listen beside the hoses." in played.screen
        assert "F3 hint (0 left)" in played.screen
        await played.press("f3")
        assert played.app.screen is played.app._base
        await played.press("space")
        assert not played.driver.running and "CLOCK STOPPED" in played.screen
        await played.press("space")
        assert played.driver.running


async def test_a_note_of_the_trainer_comes_into_the_list() -> None:
    async with Played().open() as played:
        await played.press("enter")
        played.other.send(Tell("Think of the hoses."))
        await played.turn()
        assert "note from the trainer: Think of the hoses." in played.screen


async def test_without_a_drill_there_is_no_page_for_one(trainee: object) -> None:
    app = DashboardApp(trainee)  # type: ignore[arg-type]
    async with app.run_test(size=SIZE) as pilot:
        assert "drill" not in app.stage.titles
        await pilot.press("0")
        assert app.stage.current == app.stage.titles[0]


def test_every_line_can_be_completed_from_its_first_word() -> None:
    """Word by word, each the first that is proposed: what comes out can be read."""
    played = Played()
    link, work = played.link, played.link.work
    assert work is not None
    firsts = lines.next_words("", link, work)
    assert set(firsts) == {
        *OWN_WORDS,
        *TESTS,
        *(v.word for v in VERBS.values() if v.by != "trainer"),
    }
    # nothing is off, locked or suspected; any word may follow
    unsaid = {"lock", "unlock", "ask", "rule", "write"}
    for first in firsts:
        text = first
        while (more := lines.next_words(f"{text} ", link, work)) and len(text.split()) < 6:
            text = f"{text} {more[-1]}"
            if not lines.problem(text, link):
                break
        possible = first in unsaid or len(text.split()) > 1 or not lines.problem(text, link)
        if first not in unsaid and possible and len(text.split()) > 1:
            assert lines.problem(text, link) == "", text


def test_hints_that_name_a_test_come_after_those_that_are_written() -> None:
    at = practice("fault hose_1 leak 3 mm", brief=replace(BRIEF, test_hints=True))
    working = Working(at.ride, at, "It hisses")  # type: ignore[arg-type]
    left = len(BRIEF.hints)
    assert f"Hints that are left: {left}; after them a hint names" in briefing(
        working.shown(), "trainee"
    )
    for _ in range(left):
        at.do("hint")
    shown = working.shown()
    assert shown.has_hint and shown.hints == 0
    assert "A hint names the test that tells most next; each costs minutes." in briefing(
        shown, "trainer"
    )
    nothing = shown._replace(brief=BRIEF)
    assert not nothing.has_hint and "hint" not in briefing(nothing, "trainee").lower()


class Decided:
    """An adviser who thinks that one part is defective."""

    refusal = ""
    review = None

    def __init__(self, part: str = "hose_1") -> None:
        self.thought = (
            f"next: soap {part}; {part} 82 %", f"{part} (82 %): leak; make its joints tight.",
        )  # fmt: skip
        self.no_review = ""

    def look(self) -> None:
        pass

    def ask(self) -> None:
        pass

    def is_quiet(self, since: float) -> bool:
        return False

    def answer(self) -> tuple[str, ...]:
        return ("Next: look brake_1.",)

    def close(self) -> None:
        pass


async def test_the_trainer_sees_what_a_diagnostician_thinks_and_reads_why() -> None:
    async with Played("trainer").open(size=(100, 24)) as played:
        played.other.send(Line("begin"))
        await played.turn()
        assert "diagnos" not in played.screen  # nobody thinks here
        await played.press("f4")
        assert "make its joints tight" not in played.screen
        played.practice.adviser = Decided()
        await played.turn()
        assert "diagnostician: next: soap hose_1; hose_1 82 %" in played.screen
        assert "F4 diagnosis" in played.screen
        await played.press("f4")
        assert "hose_1 (82 %): leak; make its joints tight." in played.screen
        played.practice.adviser = Decided("hose_2")  # it goes on thinking while that is read
        await played.turn()
        assert "hose_2 (82 %): leak; make its joints tight." in played.screen
        await played.press("f4")
        assert "make its joints tight" not in played.screen


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_nothing_of_what_a_diagnostician_thinks_in_short_is_cut(
    size: tuple[int, int],
) -> None:
    async with Played("trainer").open(size=size) as played:
        thinks = Decided()
        thinks.thought = (
            "next: acknowledge all, then reset all, then close block_1; block_1_valve_a 44 %, "
            "block_1_valve_b.14 31 %; 12 parts are in question", "",
        )  # fmt: skip
        played.practice.adviser = thinks
        played.other.send(Line("begin"))
        await played.turn()
        state = " ".join(str(played.view.query_one("#state").render()).split())  # type: ignore[attr-defined]
        assert f"diagnostician: {thinks.thought[0]}" in state
        shown = " ".join(played.screen.split())
        assert "next: acknowledge all" in shown and "12 parts are in question" in shown


async def test_when_there_is_no_review_the_debrief_says_why() -> None:
    async with Played().open() as played:
        thinks = Decided()
        played.practice.adviser = thinks
        await played.press("enter")
        thinks.no_review = "There is no review. The disk is full."
        assert "The disk is full." not in played.screen  # it is not over
        await played.say("give up")
        assert played.view._stage == "debrief"
        await played.press("end")
        assert "There is no review. The disk is full." in played.screen
        thinks.no_review = ""  # that comes about later, and nobody asks for it
        assert played.driver._working is not None and played.driver._working.is_news


async def test_what_was_done_last_is_seen_when_the_list_has_fewer_lines_again() -> None:
    async with Played().open() as played:
        await played.press("enter")
        for number in range(14):
            await played.say(f"write note {number}")
        await played.press("l")  # what can be typed is told in fewer lines now
        await played.press("ctrl+u")
        options = played.view.query_one("#evidence")
        assert 0 < options.max_scroll_y == options.scroll_offset.y, played.screen


async def test_the_trainee_sees_nothing_of_what_a_diagnostician_thinks() -> None:
    async with Played().open(size=(100, 24)) as played:
        played.practice.adviser = Decided()
        await played.press("enter")
        await played.turn()
        assert "82 %" not in played.screen and "diagnos" not in played.screen
