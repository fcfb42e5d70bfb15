"""Tests of pneumo drill and pneumo history."""

from __future__ import annotations

import os
import re
import subprocess
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from command_bench import CIRCUITS, TRIM, apart, command, environment, pneumo

from pneumo.circuit.circuit import Circuit
from pneumo.commands import drill as of_drill
from pneumo.commands.console import Console
from pneumo.diagnosis import store
from pneumo.diagnosis.library import Library, Work
from pneumo.drill.brief import Brief
from pneumo.drill.review import NO_REVIEW, TITLE
from pneumo.errors import UnfinishedError
from pneumo.live.drill import drill_text
from pneumo.live.journal import Act
from pneumo.live.session import Session
from pneumo.report import debrief_page
from pneumo.scenario.plant import SimulationError

Capture = pytest.CaptureFixture[str]

HINTED = "Next: "
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


def few(circuit: Circuit, *_: object, **__: object) -> Library:
    """Two parts are examined."""
    work = Work(circuit)
    jobs = [job for job in work.jobs()
            if work.candidates[job.candidate].component in ("hose_1", "brake_1")]  # fmt: skip
    return Library(circuit, [work.run(job) for job in jobs], work.sound, work.rehearsal.compiled)


@pytest.fixture
def with_test_hints(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A drill in which a hint may name a test."""
    monkeypatch.setattr(store, "library_of", few)
    text = (CIRCUITS / f"{TRIM}.yaml").read_text(encoding="utf-8") + "downtime: {hint: 5 s}\n"
    acts = [Act(1.0, "trainer", "fault hose_1 leak 4 mm", True, 1.0)]
    path = tmp_path / "drill.yaml"
    brief = replace(BRIEF, test_hints=True)
    path.write_text(drill_text(text, acts, 2.0, "a hiss", brief), encoding="utf-8")
    return path


def test_a_script_waits_for_a_hint_that_names_a_test(
    with_test_hints: Path, tmp_path: Path, capsys: Capture
) -> None:
    lines = script(tmp_path, "begin\nclose trim\nlisten brake_1\nhint\nhint\n")
    code, out, err = pneumo(capsys, "drill", str(with_test_hints), "--script", lines)
    assert code == 1 and "Use your ears." in out and "no verdict" in out
    assert out.index("Use your ears.") < out.find(HINTED), out
    # what it said is in the record, and nothing is worked out anew when it goes on
    run = re.search(r"--continue (\S+)", err.replace("\n", ""))
    assert run
    again = script(tmp_path, "evidence\n")
    code, more, _ = pneumo(capsys, "drill", "--continue", run[1], "--script", again)
    told = [line for line in out.splitlines() if line.startswith(HINTED)]
    assert code == 1 and told and all(line in more for line in told)


def test_a_page_has_the_review_and_a_record_keeps_it(
    with_test_hints: Path, tmp_path: Path, own_state: Path, capsys: Capture
) -> None:
    first, again = tmp_path / "first.html", tmp_path / "again.html"
    lines = script(tmp_path, "begin\nclose trim\nlisten hose_1\nfinding hose_1 leak\nhand back\n")
    code, out, err = pneumo(
        capsys, "drill", str(with_test_hints), "--script", lines, "--report", str(first)
    )
    assert code == 1 and TITLE in out and NO_REVIEW not in err
    page = first.read_text(encoding="utf-8")
    assert (
        TITLE in page
        and re.search(r"hose_1 (over )?[0-9]+ %", page)
        and "isolation accuracy" in page
    )
    (run,) = own_state.rglob("*.run")
    code, more, err = pneumo(capsys, "drill", "--continue", str(run), "--report", str(again))
    assert (code, err) == (1, "") and again.read_text(encoding="utf-8") == page
    assert out[out.index(TITLE) :] == more[more.index(TITLE) :]


def test_of_what_was_calculated_before_the_page_of_a_script_has_a_review_and_nothing_is_printed(
    drill: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = script(tmp_path, "begin\nclose trim\nlisten hose_1\ngive up\n")
    printed = []
    for fetch in (None, few):
        page = tmp_path / "debrief.html"
        if fetch is not None:
            monkeypatch.setattr(store, "kept_library", fetch)
        code, out, err = pneumo(
            capsys, "drill", str(drill), "--script", lines, "--report", str(page), "--no-record"
        )
        printed.append(out)
        text = page.read_text(encoding="utf-8")
        assert code == 1 and (TITLE in text) == (fetch is not None)
        assert (NO_REVIEW in err) == (NO_REVIEW in text) == (fetch is None)
    assert printed[0] == printed[1] and TITLE not in printed[0]


def test_who_waits_is_told_what_for_and_can_leave_it_out(
    with_test_hints: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    left = threading.Event()

    def slowly(
        circuit: Circuit, say: Callable[[int, int], None], *_: object, **__: object
    ) -> Library:
        say(2, 7)
        left.wait(60.0)
        raise UnfinishedError("It was left.")

    monkeypatch.setattr(store, "library_of", slowly)
    monkeypatch.setattr(of_drill, "PATIENCE", 0.0)
    said = Console.print

    def interrupted(self: Console, *what: object, **how: Any) -> None:
        said(self, *what, **how)
        if "Being calculated" in str(what):
            raise KeyboardInterrupt

    monkeypatch.setattr(Console, "print", interrupted)
    page = tmp_path / "debrief.html"
    lines = script(tmp_path, QUITTED)
    code, out, err = pneumo(
        capsys, "drill", str(with_test_hints), "--script", lines, "--report", str(page)
    )
    left.set()
    assert code == 1 and "WRONG" in out and TITLE not in out
    assert "what each fault would show (2 of 7). Ctrl-C leaves it out." in err
    assert f"{NO_REVIEW} Nobody waited for it." in err
    assert NO_REVIEW in page.read_text(encoding="utf-8")


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
    assert code == 0 and err.startswith(NO_REVIEW) and err.count("\n") == 1
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
        ((TRIM,), "This is a circuit document, not a drill"),
        ((str(drill), "--script", str(tmp_path / "none.txt")), "cannot be read"),
        ((str(drill), "--script", str(tmp_path)), "cannot be read"),
        ((str(drill), "--name", "\x07"), "cannot be a trainee's name"),
        (("--continue", str(drill)), "not a recorded run"),
    ):
        code, _, err = pneumo(capsys, "drill", *arguments)
        assert code == 2 and told in err and err.count("\n") == 1, arguments


QUITTED = "begin\nfinding none\nhand back\n"
"""A drill that is over soon, and wrong."""


def test_where_the_page_goes_is_checked_before_anything_begins(
    drill: Path, tmp_path: Path, own_state: Path, capsys: Capture
) -> None:
    before = drill.read_bytes()
    for target, told in ((tmp_path / "none" / "x.html", "does not exist"), (drill, "be lost")):
        code, out, err = pneumo(capsys, "drill", str(drill), "--report", str(target))
        assert (code, out) == (2, "") and told in err and err.count("\n") == 1
    assert drill.read_bytes() == before and not own_state.exists()


def test_a_history_that_is_none_is_told_before_anything_begins(
    drill: Path, own_state: Path, capsys: Capture
) -> None:
    path = own_state / "pneumo" / "history.db"
    path.parent.mkdir(parents=True)
    path.write_text("something else, and long enough to be looked at" * 40)
    before = path.read_bytes()
    code, out, err = pneumo(capsys, "drill", str(drill), "--name", "A. Miller")
    assert (code, out) == (2, "") and "the history cannot be used" in err
    assert path.read_bytes() == before and not list(own_state.rglob("*.run"))


def test_a_history_that_cannot_be_written_any_more_costs_neither_debrief_nor_page(
    drill: Path, tmp_path: Path, own_state: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = debrief_page.debrief_page

    def page(*arguments: object, **others: object) -> str:
        # meanwhile a folder came to stand where the history was
        path = own_state / "pneumo" / "history.db"
        path.unlink()
        path.mkdir()
        return made(*arguments, **others)  # type: ignore[arg-type]

    monkeypatch.setattr(debrief_page, "debrief_page", page)
    target = tmp_path / "debrief.html"
    code, out, err = pneumo(
        capsys, "drill", str(drill), "--script", script(tmp_path, QUITTED), "--name", "A. Miller",
        "--report", str(target),
    )  # fmt: skip
    assert code == 3 and "WRONG" in out and "hose_1 leak" in target.read_text(encoding="utf-8")
    assert "the history cannot be used" in err and err.count("\n") == 2 and NO_REVIEW in err


def test_a_run_has_one_result_and_a_copy_of_it_is_told(
    drill: Path, tmp_path: Path, own_state: Path, capsys: Capture
) -> None:
    begun = script(tmp_path, "begin\nclose trim\n")
    assert pneumo(capsys, "drill", str(drill), "--script", begun).code == 1
    (run,) = own_state.rglob("*.run")
    copy = tmp_path / "copy.run"
    copy.write_bytes(run.read_bytes())
    lines = script(tmp_path, "finding none\nhand back\n")
    going_on = ("drill", "--name", "A. Miller", "--continue")
    assert pneumo(capsys, *going_on, str(run), "--script", lines).code == 1
    ended = run.read_bytes()
    # over: its debrief is shown again, and nothing can be added
    page = tmp_path / "again.html"
    code, out, err = pneumo(capsys, *going_on, str(run), "--report", str(page))
    assert code == 1 and "WRONG" in out and page.exists() and "not counted again" in err
    code, _, err = pneumo(capsys, *going_on, str(run), "--script", lines)
    assert code == 2 and "the drill is over before this line" in err
    assert run.read_bytes() == ended
    # begun anew
    out = pneumo(capsys, "history", "A. Miller").out
    assert "wrong" in out and "again" not in out
    begun = script(tmp_path, "begin\n")
    anew = ("drill", str(drill), "--name", "A. Miller", "--script", begun, "--no-record")
    assert pneumo(capsys, *anew).code == 1
    assert re.search("left .*again", pneumo(capsys, "history", "A. Miller").out)
    # who goes on with a copy knows the answer by now
    known = script(tmp_path, "finding hose_1 leak\nhand back\n")
    assert pneumo(capsys, "drill", "--name", "B", "--continue", str(copy), "--script", known).code
    out = pneumo(capsys, "history").out
    assert [line.endswith("again") for line in out.splitlines()[1:4]] == [False, True, True]
    assert "A. Miller: 0 of 1 right, 1 played again" in out
    assert "B: 0 of 0 right, 1 played again and not counted" in out


def test_a_ride_that_cannot_be_calculated_does_not_tell_where(
    drill: Path, tmp_path: Path, own_state: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    passes = Session.pass_time

    def stops(self: Session, until: float) -> None:
        if 0.0 < until < 10.0:
            return passes(self, until)
        raise SimulationError(
            "The integration stopped at 3 s near hose_1: no step is short enough."
        )

    with monkeypatch.context() as patch:
        patch.setattr(Session, "restart", lambda self, *a, **b: stops(self, 0.0))
        code, out, err = pneumo(capsys, "drill", str(drill))
        assert (code, out) == (3, "") and "could not be calculated" in err and "hose" not in err
    with monkeypatch.context() as patch:
        patch.setattr(Session, "pass_time", stops)
        lines = script(tmp_path, "begin\nwait 1 min\n")
        code, _, err = pneumo(capsys, "drill", str(drill), "--script", lines)
    assert code == 3 and "--continue" in err and "hose" not in err
    (run,) = own_state.rglob("*.run")
    give_up = script(tmp_path, "give up\n")
    assert "given up" in pneumo(capsys, "drill", "--continue", str(run), "--script", give_up).out


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


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes with a name here")
def test_a_pipe_in_the_place_of_a_file_is_not_waited_for(
    tmp_path: Path, own_state: Path, capsys: Capture
) -> None:
    pipe = tmp_path / "pipe.yaml"
    os.mkfifo(pipe)
    (own_state / "pneumo").mkdir(parents=True)
    os.mkfifo(own_state / "pneumo" / "history.db")
    for arguments in (
        ("check", str(pipe)), ("drill", str(pipe)), ("drill", "--continue", str(pipe)),
        ("seal", str(pipe), "--to", str(tmp_path / "x.yaml")), ("history",),
        ("drill", "--name", "A. Miller"),
    ):  # fmt: skip
        code, out, err = pneumo(capsys, *arguments)
        assert (code == 2 and out == "" and "pipe" in err) or "history.db" in err, arguments
