"""A class from the command line on: real rides, real sockets, the board, what is kept of it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from command_bench import CIRCUITS, TRIM, pneumo
from seats_bench import Wire, until
from textual.pilot import Pilot

from pneumo.cli import build_parser
from pneumo.commands.classroom import Lesson
from pneumo.drill.brief import Brief, Saying
from pneumo.errors import InputError
from pneumo.live.drill import drill_text
from pneumo.live.journal import Act
from pneumo.live.preparation import Preparation
from pneumo.live.request import Answer, Line, Run
from pneumo.live.session import Session
from pneumo.record.classes import read_class
from pneumo.record.history import results
from pneumo.record.reading import continuation
from pneumo.scenario.plant import SimulationError
from pneumo.seats import join as join_module
from pneumo.seats.door import Place
from pneumo.seats.join import RemoteLink, join
from tui.board import BoardApp

Capture = pytest.CaptureFixture[str]

SHORT = "downtime: {refit: 60 s, function_test: 30 s, hand_back: 10 s, prove: 30 s, lock: 30 s}\n"
BRIEF = Brief(
    level=2, par=600.0, complaint="The trim brakes hiss.", hints=("USE YOUR EARS",),
    answers=(Saying("noise", "ONLY WHEN ASKED"),),
)  # fmt: skip
SOLVED = (
    "begin", "close trim", "listen hose_1", "open trim", "finding hose_1 leak", "isolate main",
    "lock main", "prove hose_1", "refit hose_1", "unlock main", "restore main", "function test",
    "hand back",
)  # fmt: skip
UNSAFE = ("begin", "close trim", "finding hose_2 leak", "replace hose_2")
"""It is opened under pressure."""


@pytest.fixture(autouse=True)
def own_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Records and history of a test are its own, and what is in memory is not frozen."""
    state = tmp_path / "state"
    monkeypatch.setenv("XDG_STATE_HOME", str(state))
    monkeypatch.setattr("pneumo.commands.dashboard.settle_memory", lambda: None)
    monkeypatch.chdir(tmp_path)
    return state


@pytest.fixture
def drill(tmp_path: Path) -> str:
    text = (CIRCUITS / f"{TRIM}.yaml").read_text(encoding="utf-8") + SHORT
    acts = [Act(1.0, "trainer", "fault hose_1 leak 4 mm", True, 1.0)]
    path = tmp_path / "drill.yaml"
    path.write_text(drill_text(text, acts, 2.0, "a <hiss>", BRIEF), encoding="utf-8")
    return str(path)


@pytest.fixture
def opened() -> Iterator[Callable[..., Lesson]]:
    """Opens a class as the command line says; whatever is still open at the end is ended."""
    lessons: list[Lesson] = []

    def open_class(*arguments: str) -> Lesson:
        options = build_parser().parse_args(["dashboard", "--host", "127.0.0.1:0", *arguments])
        lesson = Lesson(options)
        lessons.append(lesson)
        preparation = Preparation("class", lesson.prepare)
        preparation.begin()
        assert preparation.wait(120)
        if preparation.error is not None:
            raise preparation.error
        return lesson

    yield open_class
    for lesson in lessons:
        lesson.leave(ended=True)


def port_of(lesson: Lesson) -> int:
    return int(lesson.invitation.rpartition(":")[2])


def joined(lesson: Lesson, name: str, port: int = 0) -> RemoteLink:
    return join("127.0.0.1", port or port_of(lesson), lesson.code, name)


def say(link: RemoteLink, *lines: str) -> list[Answer]:
    """Says lines, each when the one before is done; the answers."""
    found: list[Answer] = []
    for line in lines:
        number = link.send(Line(line))
        came: list[Answer] = []
        until(lambda n=number, c=came: c.extend(a for a in link.answers() if a.to == n) or c, 60.0)
        found += came
    return found


def place(lesson: Lesson, name: str) -> Place:
    return next(each for each in lesson.places if each.name == name)


def shown(app: BoardApp) -> str:
    """What is on the board."""
    strips = app.screen._compositor.render_strips(app.size)
    return "\n".join("".join(segment.text for segment in strip) for strip in strips)


async def drawn(pilot: Pilot[None]) -> str:
    app = pilot.app
    assert isinstance(app, BoardApp)
    app.tick()
    await pilot.pause()
    return shown(app)


async def test_a_class_works_and_its_board_tells(
    drill: str, opened: Any, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(join_module, "connect", partial(join_module.connect, compression=None))
    lesson = opened(drill, "--class", "3")
    ann, ben = joined(lesson, "Ann Sorley"), joined(lesson, "Ben")
    wire = Wire(port_of(lesson))
    cem = joined(lesson, "Cem", wire.port)
    assert cem.drill == "a <hiss>" and not cem.keeps_time
    app = BoardApp(lesson)
    async with app.run_test(size=(80, 24)) as pilot:
        board = await drawn(pilot)
        assert "a <hiss>" in board and lesson.code in board and "3 of 3 rides, 3 joined" in board
        assert board.count("briefing") == 3
        await pilot.press("space")  # nothing runs yet
        assert all(answer.done for answer in say(ann, *SOLVED))
        say(ben, *UNSAFE)
        say(cem, "begin", "listen hose_2")
        board = await drawn(pilot)
        rows = {line.split()[0]: line for line in board.splitlines() if line.strip()}
        assert "RIGHT" in rows["Ann"] and "hose_1 leak" in rows["Ann"]
        assert "WRONG" in rows["Ben"] and rows["Ben"].split()[5] == "1", "one act was unsafe"
        assert "at work" in rows["Cem"] and rows["Cem"].split()[5:7] == ["1", "–"]
        # of one alone: a note, a hint, the clock
        await pilot.press("down", "down", "down", "f2")
        await pilot.press(*"Look", "enter")
        until(lambda: [note.text for note in cem.work.notes] == ["Look"])
        await pilot.press("h", "y")
        until(lambda: any(entry.work == "hint" for entry in cem.work.entries), 30.0)
        await pilot.press("space")
        until(lambda: not cem.frame.running)
        assert "CLOCK STOPPED" in await drawn(pilot) and "‖" in shown(app)
        (refused,) = say(cem, "listen hose_1")
        assert "The trainer has stopped the clock." in refused.text
        await pilot.press("space")
        until(lambda: cem.frame.running)
        # the evidence of one
        await pilot.press("enter")
        await pilot.pause()
        assert "listen hose_2" in shown(app) and "note from the trainer: Look" in shown(app)
        await pilot.press("escape", "home", "w")
        assert "class_1.html" in shown(app)
        await pilot.press("enter")
        assert "The results are written: class_1.html" in await drawn(pilot)
    page = (tmp_path / "class_1.html").read_text(encoding="utf-8")
    for words in ("Ann Sorley", "RIGHT.", "WRONG", "not over: at work", "a &lt;hiss&gt;",
                  "hose_1 leak 4 mm", "replace hose_2"):  # fmt: skip
        assert words in page, words
    wanted = {("Ann Sorley", "right"), ("Ben", "wrong"), ("Cem", "left")}
    until(lambda: {(done.trainee, done.verdict) for done in results()} == wanted)
    assert not any(done.again for done in results()) and len(results()) == 3
    # what is hidden, and the others, never come to a trainee who is at work
    passed = b"".join(wire.passed)
    assert b"listen hose_2" in passed and b"USE YOUR EARS" in passed, "the wire can be read"
    for word in (b"leak 4 mm", b"ONLY WHEN ASKED", b"Ann", b"Sorley", b"Ben"):
        assert word not in passed, word
    for link in (ann, ben, cem):
        link.close()
    wire.close()


def test_a_ride_that_fails_hurts_no_other(
    drill: str, opened: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    lesson = opened(drill, "--class", "2", "--no-record")
    ann, ben = joined(lesson, "Ann"), joined(lesson, "Ben")
    say(ann, "begin")
    say(ben, "begin")
    broken = place(lesson, "Ann").trainer._driver.session  # type: ignore[union-attr]
    advance = Session.advance

    def fails(session: Session, until: float) -> None:
        if session is broken:
            raise SimulationError("no step is short enough")
        advance(session, until)

    monkeypatch.setattr(Session, "advance", fails)
    trainer = place(lesson, "Ann").trainer
    assert trainer is not None
    until(lambda: not trainer.frame.running)
    app = BoardApp(lesson)

    async def board() -> str:
        async with app.run_test(size=(120, 40)) as pilot:
            await pilot.press("down")
            return await drawn(pilot)

    text = asyncio.run(board())
    assert "! Ann" in text and "no step is short enough" in text and "! Ben" not in text
    assert all(answer.done for answer in say(ben, "listen hose_1"))
    monkeypatch.setattr(Session, "advance", advance)
    assert lesson.kept == "" and results() == []
    ann.close()
    ben.close()


def test_a_class_that_was_cut_off_goes_on_whole(drill: str, opened: Any) -> None:
    lesson = opened(drill, "--class", "2")
    ann, ben = joined(lesson, "Ann"), joined(lesson, "Ben")
    say(ann, *SOLVED[:5])
    say(ben, "begin", "listen hose_2")
    kept = read_class(Path(lesson.kept))
    assert [name for name, _ in kept.rides] == ["Ann", "Ben"]
    for link in (ann, ben):
        link.close()
    # its program is killed: nothing is closed, and the files are let go of
    lesson._host.stop()
    for each in lesson.places:
        driver = each.trainer._driver
        driver._kept.close = lambda: None
        driver.stop()
        driver._kept._record._let_go()
    alone = continuation(Path(lesson.places[0].record))
    assert (alone.seat, [entry.line for entry in alone.entries]) == ("trainer", list(SOLVED[:5]))
    anew = opened(drill, "--class", "2")
    assert f"pneumo dashboard --continue {lesson.kept}" in anew.notice
    broken = Path(lesson.kept).with_name("broken.class")
    broken.with_suffix(".run").write_text("no record", encoding="utf-8")
    text = Path(lesson.kept).read_text(encoding="utf-8")
    text = text.replace(Path(lesson.places[1].record).name, "broken.run")
    broken.write_text(text, encoding="utf-8")
    unkept = opened("--continue", str(broken), "--no-record", "--class", "3")
    assert [each.name for each in unkept.places] == ["Ann"], "who can go on does"
    assert any("The ride of Ben cannot go on" in said for said in unkept.told())
    joined(unkept, "Cem").close()
    assert broken.read_text(encoding="utf-8") == text and unkept.kept == ""
    again = opened("--continue", lesson.kept)
    assert (again.size, [each.name for each in again.places]) == (2, ["Ann", "Ben"])
    ann = joined(again, "ann")
    assert ann.work is not None and ann.work.state == "finding stated"
    (refused,) = say(ann, "isolate main")
    assert "stopped the clock" in refused.text
    trainer = place(again, "Ann").trainer
    assert trainer is not None
    trainer.send(Run())
    until(lambda: ann.frame.running)
    say(ann, "isolate main", "give up")
    wanted = [("Ann", "wrong"), ("Ben", "left")]
    until(lambda: sorted((done.trainee, done.verdict) for done in results()) == wanted)
    ann.close()
    assert again.remove(place(again, "Ben"))
    assert [name for name, _ in read_class(Path(again.kept)).rides] == ["Ann"]
    again.leave(ended=True)
    assert not Path(lesson.kept).exists(), "nothing is left to go on with, and it holds names"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("drill_1", "--class", "0"), "a class has from 1 to 8 trainees"),
        (("drill_1", "--class", "9"), "a class has from 1 to 8 trainees"),
        (("drill_1", "--class", "2", "--drill"), "goes with neither --drill nor --speed"),
        (("drill_1", "--class", "2", "--speed", "2"), "goes with neither --drill nor --speed"),
        (("no_such", "--class", "2"), "neither a file nor a circuit"),
        (("--class", "2", "--continue", "a.run"), "this is one ride"),
    ],
)
def test_what_no_class_can_be(
    arguments: tuple[str, ...], words: str, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TEXTUAL_DRIVER", "textual.drivers.headless_driver:HeadlessDriver")
    code, _, err = pneumo(capsys, "dashboard", *arguments)
    assert code == 2 and words in " ".join(err.split())


def test_what_cannot_be_opened_is_told(opened: Any, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="this is no drill, and a class works on one"):
        opened(TRIM, "--class", "2")
    with pytest.raises(InputError, match=r"none\.class: cannot be read"):
        opened("--continue", str(tmp_path / "none.class"))
    odd = tmp_path / "odd.class"
    for text in ("", "{}", "[" * 5000, '{"pneumo_class": 2}',
                 '{"pneumo_class": 1, "drill": "x", "size": 2, "rides": [["Ann"]]}'):  # fmt: skip
        odd.write_text(text, encoding="utf-8")
        with pytest.raises(InputError, match="not a class that can go on"):
            opened("--continue", str(odd))
    odd.write_text('{"pneumo_class": 1, "drill": "x", "size": 9, "rides": []}', encoding="utf-8")
    with pytest.raises(InputError, match="from 1 to 8"):
        opened("--continue", str(odd))
    for run in ("../a.run", "a.run", "/etc/passwd"):
        odd.write_text(
            f'{{"pneumo_class": 1, "drill": "x", "size": 2, "rides": [["Ann", "{run}"]]}}',
            encoding="utf-8",
        )
        with pytest.raises(InputError, match="the record of Ann is gone"):
            opened("--continue", str(odd))
