"""Tests of pneumo dashboard at a real terminal: seats, drills, records, ends of every kind."""

from __future__ import annotations

import os
import re
import signal
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from command_bench import CIRCUITS, TRIM, apart, pneumo
from terminal_bench import ALTERNATE, Terminal, opened

from pneumo.circuit.validate import load_text
from pneumo.live.drill import drill_text
from pneumo.live.journal import Act
from pneumo.record.history import results
from pneumo.record.reading import continuation, unfinished

Capture = pytest.CaptureFixture[str]
Open = Callable[..., Terminal]

CODE = re.compile(r"\b([0-9A-Z]{3}-[0-9A-Z]{3}-[0-9A-Z]{3})\b")


@pytest.fixture
def at_terminal(tmp_path: Path) -> Iterator[Open]:
    """Opens pneumo at a terminal; whatever still runs at the end is ended."""
    open_now: list[Terminal] = []

    def begin(*arguments: str, program: list[str] | None = None) -> Terminal:
        made = opened(tmp_path, *arguments) if program is None else Terminal(program, tmp_path)
        open_now.append(made)
        return made

    yield begin
    for terminal in open_now:
        terminal.close()


def runs(folder: Path) -> list[Path]:
    return sorted((folder / "state" / "pneumo" / "runs").glob("*.run"))


def say(terminal: Terminal, sentence: str) -> None:
    """Types a sentence into the line for it."""
    before = len(terminal.text)
    terminal.type(":")
    terminal.wait_for("close all ·", since=before)
    terminal.type(f"{sentence}\r")


def leave(terminal: Terminal) -> None:
    """Leaves, and looks that nothing is left behind."""
    terminal.type("q")
    assert terminal.end() == 0
    assert terminal.restored
    assert "Traceback" not in terminal.text


# opening


def test_pneumo_alone_opens_the_demo_ride(at_terminal: Open, tmp_path: Path) -> None:
    terminal = at_terminal()
    terminal.wait_for("Sand Martin")
    terminal.wait_for("trainer's seat")
    terminal.wait_for("paused")
    terminal.type(" ")
    terminal.wait_for("running")
    leave(terminal)
    assert len(runs(tmp_path)) == 1


def test_a_script_gets_a_sentence() -> None:
    done = apart("dashboard", TRIM)
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith("pneumo: The dashboard needs a terminal")
    assert done.err.count("\n") == 1


def test_a_terminal_that_cannot_place_text(tmp_path: Path) -> None:
    terminal = Terminal(
        [sys.executable, "-m", "pneumo", "dashboard", TRIM], tmp_path, {"TERM": "dumb"}
    )
    assert terminal.end() == 2
    assert "TERM says" in terminal.text and ALTERNATE not in terminal.raw
    terminal.close()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((TRIM, "--speed", "99"), "--speed 99: the speed must be from 0.1 to 50"),
        ((TRIM, "--speed", "nan"), "--speed nan: the speed must be from 0.1 to 50"),
        ((TRIM, "--drill", "--host"), "use one of the two"),
        ((TRIM, "--host", "a b"), "is no address"),
        ((TRIM, "--host", "127.0.0.1:99999"), "a port up to 65535"),
        ((TRIM, "--host", "203.0.113.7"), "cannot be offered at 203.0.113.7"),
        (("no_such_ride",), "neither a file nor a circuit"),
        (("no_such_ride.yaml",), "There is no such file"),
        (("--continue", "no_such.run"), "no_such.run"),
    ],
)
def test_what_cannot_be_opened(
    arguments: tuple[str, ...], words: str, capsys: Capture, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setenv("TEXTUAL_DRIVER", "textual.drivers.headless_driver:HeadlessDriver")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    code, _, err = pneumo(capsys, "dashboard", *arguments)
    assert code == 2
    assert words in " ".join(err.split())
    assert "Traceback" not in err


# the trainee's seat


def test_the_trainees_seat_shows_no_air(at_terminal: Open) -> None:
    terminal = at_terminal("dashboard", TRIM, "--drill")
    terminal.wait_for("trainee's seat")
    terminal.wait_for("jaw switches")
    leave(terminal)
    assert "mm " not in terminal.text.partition("trim")[2].partition("clear")[0]


def test_a_drill_opens_in_the_trainees_seat_and_tells_nothing(
    at_terminal: Open, tmp_path: Path
) -> None:
    text = (CIRCUITS / f"{TRIM}.yaml").read_text(encoding="utf-8")
    circuit = load_text(text, TRIM)
    acts = [
        Act(0.5, "trainer", "fault valve stuck", True, 0.5),
        Act(1.0, "trainer", "close trim", False, 1.0),
    ]
    (tmp_path / "drill_3.yaml").write_text(drill_text(text, acts, 8.0, "Third"), encoding="utf-8")
    assert "valve" in circuit.components
    terminal = at_terminal("dashboard", "drill_3.yaml")
    terminal.wait_for("trainee's seat")
    terminal.wait_for("not begun")
    terminal.wait_for("Begin")
    terminal.wait_for("faulted")
    leave(terminal)
    assert "stuck" not in terminal.raw
    assert continuation(runs(tmp_path)[0]).seat == "trainee"


def test_what_came_of_a_drill_is_kept_under_a_name(at_terminal: Open, tmp_path: Path) -> None:
    text = (CIRCUITS / f"{TRIM}.yaml").read_text(encoding="utf-8")
    (tmp_path / "drill_3.yaml").write_text(drill_text(text, [], 2.0, "Third"), encoding="utf-8")
    place = tmp_path / "state" / "pneumo" / "history.db"
    terminal = at_terminal("dashboard", "drill_3.yaml", "--name", "Ann")
    terminal.wait_for("Begin")
    terminal.type("\r")
    terminal.wait_for("what you do")
    for _ in range(250):  # whoever is killed from here on has begun it
        if begun := results(path=place):
            break
        time.sleep(0.1)
    assert [done.verdict for done in begun] == ["left"]
    terminal.type("give up\r")
    terminal.wait_for("WRONG")
    leave(terminal)
    found = [(done.trainee, done.drill, done.verdict) for done in results(path=place)]
    assert found == [("Ann", "Third", "wrong")]


# another seat joins


def test_a_trainee_joins_from_another_terminal(at_terminal: Open) -> None:
    host = at_terminal("dashboard", TRIM, "--host", "127.0.0.1:18471")
    host.wait_for("A second seat")
    host.wait_for(CODE.pattern)
    code = CODE.search(host.text)
    assert code is not None
    trainee = at_terminal("join", "127.0.0.1:18471")
    trainee.wait_for("Code")
    trainee.type(f"{code[1]}\n")
    trainee.wait_for("trainee's seat")
    host.wait_for("has joined")  # said once the invitation has closed by itself
    host.type(" ")
    trainee.wait_for("running")
    say(trainee, "close trim")
    host.wait_for("clos(ing|ed)")
    leave(trainee)
    host.wait_for("has left")
    leave(host)


# records


def test_a_run_that_was_killed_is_offered_and_goes_on(at_terminal: Open, tmp_path: Path) -> None:
    first = at_terminal("dashboard", TRIM, "--speed", "10")
    first.wait_for("paused")
    first.type(" ")
    first.wait_for("running")
    say(first, "close trim")
    first.wait_for("closed")
    # of a second on the wall that was not written yet ten are lost at this speed
    first.wait_for(r"0:3[0-9]\.")
    os.killpg(first.program.pid, signal.SIGKILL)
    first.end()
    (killed,) = runs(tmp_path)
    second = at_terminal("dashboard", TRIM)
    second.wait_for("not finished")
    before = len(second.text)
    second.type("\r")  # nothing is chosen yet
    second.type("\x1b[B\r")
    second.wait_for("closed", since=before)
    second.wait_for(r"0:[0-9]{2}\.", since=before)
    leave(second)
    assert runs(tmp_path) == [killed], "the run that was not wanted is gone"
    assert [act.sentence for act in continuation(killed).acts] == ["close trim"]


def test_a_run_can_be_named_to_go_on(at_terminal: Open, tmp_path: Path) -> None:
    first = at_terminal("dashboard", TRIM)
    first.wait_for("paused")
    say(first, "close trim")
    first.wait_for("closing")
    leave(first)
    (run,) = runs(tmp_path)
    again = at_terminal("dashboard", "--continue", str(run))
    again.wait_for("closing")
    leave(again)
    assert runs(tmp_path) == [run]


def test_a_run_is_not_kept_when_it_should_not(at_terminal: Open, tmp_path: Path) -> None:
    terminal = at_terminal("dashboard", TRIM, "--no-record")
    terminal.wait_for("paused")
    terminal.type("q")
    terminal.wait_for("not recorded")
    terminal.type("\r")
    assert terminal.end() == 0 and terminal.restored
    assert runs(tmp_path) == []


# ends


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_ends_it_and_the_run_is_kept(
    at_terminal: Open, tmp_path: Path, number: signal.Signals
) -> None:
    terminal = at_terminal("dashboard", TRIM)
    terminal.wait_for("paused")
    terminal.program.send_signal(number)
    assert terminal.end() == 128 + number
    assert terminal.restored
    assert "Traceback" not in terminal.text
    kept, troubles = unfinished(tmp_path / "state" / "pneumo" / "runs")
    assert len(kept) == 1 and troubles == []


def test_a_screen_that_fails_ends_with_one_sentence(at_terminal: Open, tmp_path: Path) -> None:
    script = """
import sys
from textual.app import App
from pneumo.commands.dashboard import show
from pneumo.errors import InputError
from pneumo.live.preparation import Preparation

class Broken(App):
    def on_mount(self):
        secret = "in the details only"
        raise KeyError("trim")

try:
    show(Broken(), Preparation("trim", lambda preparation: None))
except InputError as error:
    print("SAID:", error)
    sys.exit(2)
"""
    terminal = at_terminal(program=[sys.executable, "-c", script])
    assert terminal.end() == 2
    assert terminal.restored and ALTERNATE in terminal.raw
    said = " ".join(terminal.text.partition("SAID:")[2].split())
    assert said.startswith("The screen stopped: the program failed (KeyError: 'trim').")
    assert "Traceback" not in terminal.text and "secret" not in terminal.text
    assert "KeyError: 'trim'" in (tmp_path / "state" / "pneumo" / "stopped_screen.txt").read_text(
        encoding="utf-8"
    )
