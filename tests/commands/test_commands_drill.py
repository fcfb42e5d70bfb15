"""Tests of pneumo drill and pneumo history."""

from __future__ import annotations

import os
import re
import subprocess
from pathlib import Path

import pytest
from command_bench import CIRCUITS, TRIM, apart, command, environment, pneumo

from pneumo.drill.brief import Brief
from pneumo.live.drill import drill_text
from pneumo.live.journal import Act

Capture = pytest.CaptureFixture[str]

SHORT = "downtime: {refit: 60 s, function_test: 30 s, hand_back: 10 s, prove: 30 s, lock: 30 s}\n"
BRIEF = Brief(level=1, par=600.0, complaint="The trim brakes hiss.", hints=("Use your ears.",))
SOLVED = """\
# a comment, and an empty line

begin
close trim
listen hose_1
open trim
finding hose_1 leak
isolate main
lock main
prove hose_1
refit hose_1
unlock main
restore main
function test
hand back
"""


@pytest.fixture(autouse=True)
def own_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Records and history of a test are its own."""
    state = tmp_path / "state"
    monkeypatch.setenv("XDG_STATE_HOME", str(state))
    return state


@pytest.fixture
def drill(tmp_path: Path) -> Path:
    text = (CIRCUITS / f"{TRIM}.yaml").read_text(encoding="utf-8") + SHORT
    acts = [Act(1.0, "trainer", "fault hose_1 leak 4 mm", True, 1.0)]
    path = tmp_path / "drill.yaml"
    path.write_text(drill_text(text, acts, 2.0, "a hiss", BRIEF), encoding="utf-8")
    return path


def script(tmp_path: Path, lines: str) -> str:
    path = tmp_path / "lines.txt"
    path.write_text(lines, encoding="utf-8")
    return str(path)


def test_a_script_plays_a_drill_to_its_debrief(
    drill: Path, tmp_path: Path, capsys: Capture
) -> None:
    page = tmp_path / "debrief.html"
    code, out, err = pneumo(
        capsys, "drill", str(drill), "--script", script(tmp_path, SOLVED), "--report", str(page),
        "--name", "A. Miller",
    )  # fmt: skip
    assert (code, err) == (0, "")
    assert "The trim brakes hiss." in out and "RIGHT." in out and "hose_1 leak 4 mm" in out
    assert "A. Miller" in page.read_text(encoding="utf-8")
    code, out, _ = pneumo(capsys, "history", "A. Miller")
    assert code == 0 and "a hiss" in out and "1 of 1 right" in out
    table = tmp_path / "all.csv"
    pneumo(capsys, "history", "--csv", str(table))
    assert table.read_text(encoding="utf-8").count("A. Miller") == 1
    assert "1 results" in pneumo(capsys, "history", "A. Miller", "--forget").out
    assert "No drill was finished" in pneumo(capsys, "history").out


def test_a_wrong_finding_is_exit_code_one(drill: Path, tmp_path: Path, capsys: Capture) -> None:
    lines = script(tmp_path, "begin\nfinding none\nhand back\n")
    code, out, _ = pneumo(capsys, "drill", str(drill), "--script", lines, "--no-record")
    assert code == 1 and "WRONG" in out


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ("begin\nlissen hose_1\n", r"lines\.txt:2: 'lissen hose_1': .*Did you mean 'listen'"),
        ("listen hose_1\n", r"lines\.txt:1: .*Begin the drill first"),
        ("begin\nrefit hose_1\n", r"lines\.txt:2: .*State your finding first"),
        ("begin\ngive up\nlisten hose_1\n", r"lines\.txt:3: .*over"),
    ],
)
def test_a_line_that_cannot_be_done_is_named_with_its_place(
    lines: str, told: str, drill: Path, tmp_path: Path, capsys: Capture
) -> None:
    code, _, err = pneumo(
        capsys, "drill", str(drill), "--script", script(tmp_path, lines), "--no-record"
    )
    assert code == 2
    assert re.search(told, err) and err.count("\n") == 1


def test_what_cannot_be_opened_is_told_before_anything_begins(
    drill: Path, tmp_path: Path, capsys: Capture
) -> None:
    for arguments, told in (
        ((TRIM,), "this is no drill"),
        ((str(drill), "--script", str(tmp_path / "none.txt")), "cannot be read"),
        ((str(drill), "--script", str(tmp_path)), "cannot be read"),
        ((str(drill), "--name", "\x07"), "cannot be a trainee's name"),
        (("--continue", str(drill)), "not a recorded run"),
    ):
        code, _, err = pneumo(capsys, "drill", *arguments)
        assert code == 2 and told in err and err.count("\n") == 1, arguments


def test_lines_come_from_a_pipe_as_well(drill: Path) -> None:
    done = subprocess.run(
        command("drill", str(drill), "--no-record"), input="begin\nnonsense\ngive up\n",
        capture_output=True, text=True, env=environment(), timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == 1
    assert "nothing that can be done in a drill" in done.stdout and "given up" in done.stdout


def test_a_drill_that_was_left_is_continued_where_it_stood(
    drill: Path, tmp_path: Path, own_state: Path
) -> None:
    first = subprocess.run(
        command("drill", str(drill)), input="begin\nclose trim\nlisten hose_1\n",
        capture_output=True, text=True, timeout=300, check=False,
        env=environment({"XDG_STATE_HOME": str(own_state)}),
    )  # fmt: skip
    assert first.returncode == 1 and "--continue" in first.stderr
    (run,) = own_state.rglob("*.run")
    rest = "".join(SOLVED.partition("listen hose_1\n")[1:]).removeprefix("listen hose_1\n")
    again = apart(
        "drill", "--continue", str(run), "--script", script(tmp_path, rest),
        env={"XDG_STATE_HOME": str(own_state), **os.environ},
    )  # fmt: skip
    assert (again.code, again.err) == (0, "")
    assert "RIGHT." in again.out and "listen hose_1" in again.out.partition("What was done")[2]
