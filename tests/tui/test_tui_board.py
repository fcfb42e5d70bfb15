"""The board of a class: its rows, what its keys ask for and of whom, and what is told."""

from __future__ import annotations

from pathlib import Path

import pytest
from rich.cells import cell_len
from textual.pilot import Pilot
from tui_class import BEGUN, FakeLesson, link_of, place, whole
from tui_drills import STAGES

from pneumo.drill.telling import minutes
from pneumo.live.request import Answer, Line, Pause, Run, Tell
from tui import members
from tui.board import BoardApp


async def seen(pilot: Pilot[None]) -> list[str]:
    """What is on the screen, line by line."""
    app = pilot.app
    assert isinstance(app, BoardApp)
    app.tick()
    await pilot.pause()
    strips = app.screen._compositor.render_strips(app.size)
    return ["".join(segment.text for segment in strip).rstrip() for strip in strips]


def row_of(lines: list[str], name: str) -> str:
    return next(line for line in lines if name in line)


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60), (60, 12), (30, 6)])
async def test_a_row_for_each_at_every_size(size: tuple[int, int]) -> None:
    app = BoardApp(whole())
    async with app.run_test(size=size) as pilot:
        lines = await seen(pilot)
        assert all(cell_len(line) <= size[0] for line in lines)
        if size[1] >= 24:
            names = ("Ann Sorley", "B. Rossi", "Çelik", "Dan", "Ebele", "李小龙", "Gry", "Hal")
            rows = [row_of(lines, name) for name in names]
            for row, words in zip(
                rows,
                ("repaired       0:12:40", "cut off at work        0:05:10",
                 "0:04:15 ‖", "left    briefing", "PARTLY RIGHT   0:25:00   0     1",
                 "WRONG          0:12:35   0     1", "RIDE LOST", "opening"),
                strict=True,
            ):  # fmt: skip
                assert words in row
            assert "8 of 8 rides, 6 joined, 2 over" in row_of(lines, "ALL")
            assert "8FQ-YTQ-6HT-2ZB" in "".join(lines)


async def test_names_and_lines_are_text_and_no_markup() -> None:
    odd = "[bold red]x[/]"
    entry = BEGUN.entries[1].__class__(*[
        "[link=x]y[/link]" if name == "line" else getattr(BEGUN.entries[1], name)
        for name in BEGUN.entries[1].__slots__
    ])  # fmt: skip
    lesson = FakeLesson(place(odd, BEGUN._replace(entries=(entry,)), 30.0))
    lesson.title, lesson.said = "[b]T[/b]", ["[u]s[/u] \x1b[2J"]
    app = BoardApp(lesson)
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.press("down")
        text = "\n".join(await seen(pilot))
        for words in (odd, "[link=x]y[/link]", "[b]T[/b]", "[u]s[/u]"):
            assert words in text
        assert "\x1b" not in text
        await pilot.press("enter")
        await pilot.pause()
        assert odd in "\n".join(await seen(pilot))


async def test_a_note_goes_to_the_one_chosen_or_to_all_at_work() -> None:
    lesson = whole()
    ann, rossi, celik, dan, *_ = lesson.places
    app = BoardApp(lesson)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("down", "n", *"Hello", "enter")
        assert link_of(ann).sent == [Tell("Hello")] and link_of(rossi).sent == []
        await pilot.press("home", "f2", *"All", "enter")
        await pilot.press("f2", "escape", "f2", "enter")  # left, and empty
    assert link_of(ann).sent == [Tell("Hello"), Tell("All")]
    assert link_of(rossi).sent == link_of(celik).sent == [Tell("All")]
    assert link_of(dan).sent == [], "who reads the briefing or is over gets none"


async def test_a_hint_is_confirmed_and_goes_where_one_is_left() -> None:
    used = place("Used", BEGUN._replace(hints=0), 10.0)
    lesson = FakeLesson(place("Ann", BEGUN, 10.0), used, place("Dan"))
    app, cost = BoardApp(lesson), link_of(used).plant.circuit.downtime.hint
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("h")
        assert f"It costs {minutes(cost)} of downtime." in "\n".join(await seen(pilot))
        await pilot.press("n", "f3", "y")
        await pilot.press("down", "down", "h")
        await pilot.press("down", "h")
        await pilot.pause()
    assert link_of(lesson.places[0]).sent == [Line("hint")]
    assert link_of(used).sent == link_of(lesson.places[2]).sent == []


async def test_clocks_stop_one_by_one_or_all_and_start_again() -> None:
    lesson = FakeLesson(
        place("Ann", BEGUN, 10.0), place("Ben", BEGUN, 10.0), place("Dan"),
        place("Eve", STAGES["debrief"]),
    )  # fmt: skip
    ann, ben, dan, eve = map(link_of, lesson.places)
    app = BoardApp(lesson)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("down", "space")
        assert (ann.sent, ben.sent) == ([Pause()], [])
        ann.give(running=False)
        await pilot.press("home", "space")
        assert (ann.sent, ben.sent) == ([Pause()], [Pause()]), "those that run are stopped first"
        ben.give(running=False)
        await pilot.press("space")
        assert (ann.sent, ben.sent) == ([Pause(), Run()], [Pause(), Run()])
    assert dan.sent == eve.sent == []


async def test_what_comes_of_it_is_told_with_the_name() -> None:
    lesson = FakeLesson(place("Ann", BEGUN, 10.0, running=False), place("Ben", BEGUN, 10.0))
    ann, ben = map(link_of, lesson.places)
    app = BoardApp(lesson)
    async with app.run_test(size=(120, 40)) as pilot:
        ben.reply(Answer(0, True, "zone: refused", refused="close"))  # the trainee's concern
        ben.reply(Answer(1, True, "The note is sent."))
        ann.reply(Answer(0, False, "The simulation of the ride could not go on."))
        lesson.said = ["Ben has joined, from 192.0.2.9."]
        lines = await seen(pilot)
        text = "\n".join(lines)
        assert "Ben: The note is sent." in text and "zone: refused" not in text
        assert "! Ann: The simulation of the ride could not go on." in text
        assert "Ben has joined, from 192.0.2.9." in text
        assert any(line.startswith(" ! Ann    ") for line in lines)
        await pilot.press("down")
        assert "could not go on" in (await seen(pilot))[7], "below the rows, of the one chosen"
        ann.give(running=True)
        assert not any(line.startswith(" ! Ann    ") for line in await seen(pilot))


async def test_the_evidence_grows_while_it_is_read() -> None:
    lesson = FakeLesson(place("Ann", BEGUN, 10.0))
    app = BoardApp(lesson)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")  # of all there is none
        assert len(app.screen_stack) == 1
        await pilot.press("down", "enter")
        assert "close trim" in "\n".join(await seen(pilot))
        link_of(lesson.places[0]).work = STAGES["debrief"]
        app.screen._look()  # type: ignore[attr-defined]
        text = "\n".join(await seen(pilot))
        assert "PARTLY RIGHT" in text and "What was wrong" in text


async def test_results_are_written_and_leaving_asks_for_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    lesson = FakeLesson(place("Ann", BEGUN, 10.0, trainee="left"))
    app = BoardApp(lesson)
    async with app.run_test(size=(80, 24)) as pilot:
        await seen(pilot)
        link_of(lesson.places[0]).work = STAGES["debrief"]
        await seen(pilot)
        await pilot.press("q")
        assert "The results are not written yet" in "\n".join(await seen(pilot))
        await pilot.press("n", "w")
        lesson.refuses = "no room"
        await pilot.press("enter")
        assert lesson.written == []
        lesson.refuses = ""
        await pilot.press("w", "enter")
        ((path, found),) = lesson.written
        assert path == "class_1.html" and [of.verdict for of in found] == ["PARTLY RIGHT"]
        await pilot.press("q")
        await pilot.pause()
    assert not app.is_running and app.return_code == 0


async def test_leaving_asks_while_somebody_is_there() -> None:
    lesson = whole()
    lesson.kept = ""
    app = BoardApp(lesson)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("q")
        text = "\n".join(await seen(pilot))
        assert "6 joined" in text and "not recorded" in text
        await pilot.press("y")
    assert not app.is_running


async def test_a_ride_that_was_left_is_ended_after_a_question() -> None:
    lesson = whole()
    app = BoardApp(lesson)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("x", "down", "x")  # all of them, and one who is there
        assert len(app.screen_stack) == 1 and len(lesson.places) == 8
        await pilot.press("down", "down", "down", "x", "y")
        lines = await seen(pilot)
        assert len(lesson.places) == 7 and "Dan: the ride is ended." in "\n".join(lines)
        assert app.board.chosen is None, "no other row takes the place of the one chosen"


async def test_the_row_chosen_stays_so_when_others_come() -> None:
    lesson = FakeLesson(place("Ann"), place("Ben"))
    app = BoardApp(lesson)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("down", "down")
        lesson.places = (*lesson.places, place("Cem"))
        lines = await seen(pilot)
        assert "Cem" in "\n".join(lines)
        assert app.board.chosen is lesson.places[1]


async def test_help_and_themes() -> None:
    lesson = FakeLesson()
    lesson.notice = "A class of this drill was cut off."
    app = BoardApp(lesson)
    async with app.run_test(size=(80, 24)) as pilot:
        text = "\n".join(await seen(pilot))
        assert (
            "0 of 8 rides" in text
            and "was cut off" in text
            and "Each trainee types pneumo join 192.0.2.7" in text
        )
        await pilot.press("t", "question_mark")
        assert "A row is a trainee" in "\n".join(await seen(pilot))


def test_cells_are_of_one_width() -> None:
    for words in ("", "abc", "abcdefgh", "李小龙李小龙", "a李b李c"):
        assert cell_len(members.cell(words, 5)) == 5
    assert members.cell("abcdefgh", 5) == "abcd…"


async def test_a_row_stays_a_line_when_the_terminal_gets_smaller() -> None:
    app = BoardApp(whole())
    async with app.run_test(size=(120, 40)) as pilot:
        await seen(pilot)
        await pilot.resize_terminal(80, 24)
        lines = await seen(pilot)
        assert app.board.table.size.height == 9 and not app.board.table.show_vertical_scrollbar
        assert lines[12].startswith("──"), "what follows the rows stands right below them"
