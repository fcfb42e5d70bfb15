"""What stands at a real terminal while a ride is being prepared, and how that ends early."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from time import monotonic, sleep

import pytest
from command_bench import CIRCUITS, TRIM
from terminal_bench import ALTERNATE, NORMAL, Terminal

from pneumo.commands import compiling
from pneumo.live.preparation import LeftError, Preparation
from pneumo.simulation import cache, warm

Open = Callable[..., Terminal]

PATIENCE = 60.0
"""Far more than it takes, for a machine that is busy [s]."""


@pytest.fixture
def at_terminal(tmp_path: Path) -> Iterator[Open]:
    """Opens pneumo at a terminal; whatever still runs at the end is ended."""
    open_now: list[Terminal] = []

    def begin(*arguments: str, env: dict[str, str] | None = None, script: str = "") -> Terminal:
        program = [sys.executable, *(("-c", script) if script else ("-m", "pneumo"))]
        open_now.append(Terminal([*program, *arguments], tmp_path, env or {}))
        return open_now[-1]

    yield begin
    for terminal in open_now:
        terminal.close()


def test_what_is_prepared_is_said_from_the_first_instant_on(
    at_terminal: Open, tmp_path: Path
) -> None:
    # a step that ends within a frame need not be drawn: this one lasts until it has been read
    script = """
import os, sys, time
from pneumo import cli
from pneumo.commands import opened

begin = opened._session

def last(*given):
    while not os.path.exists("read"):
        time.sleep(0.01)
    return begin(*given)

opened._session = last
sys.exit(cli.main(sys.argv[1:]))
"""
    terminal = at_terminal("dashboard", TRIM, script=script)
    terminal.wait_for("calculating the state at rest")
    (tmp_path / "read").touch()
    terminal.wait_for("space starts it")
    said = [terminal.raw.index(words) for words in (
        f"{TRIM}: loading the program", ALTERNATE, f"{TRIM}: getting ready", "q leaves",
        "space starts it",
    )]  # fmt: skip
    assert said == sorted(said)


def test_nothing_that_takes_time_is_loaded_before_something_is_said() -> None:
    script = """
import sys
from pneumo import cli
from pneumo.commands import starting

def say(words):
    print(words, *sorted({name.partition(".")[0] for name in sys.modules}))
    sys.exit(0)

starting.say = say
cli.main(["dashboard"])
"""
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    words, *loaded = done.stdout.split(" program ")
    assert words == "pneumo: sand_martin: loading the" and not done.stderr
    heavy = {"textual", "rich", "numpy", "numba", "pydantic", "yaml", "sqlite3", "tui"}
    assert not heavy & set(loaded[0].split())


def test_a_bad_document_ends_where_its_message_stays(at_terminal: Open, tmp_path: Path) -> None:
    text = (CIRCUITS / f"{TRIM}.yaml").read_text(encoding="utf-8")
    (tmp_path / "bad.yaml").write_text(text.replace("kind: valve_3_2", "kind: valve_3_7"))
    terminal = at_terminal("dashboard", "bad.yaml")
    assert terminal.end() == 2
    _, _, told = terminal.raw.rpartition(NORMAL)
    assert "bad.yaml" in told and "valve_3_7" in told
    assert terminal.restored and ALTERNATE in terminal.raw


def test_a_failure_of_ours_is_told_as_one(at_terminal: Open) -> None:
    script = """
import sys
from pneumo import cli
from pneumo.circuit import validate

def load(path):
    raise KeyError("left_out")

validate.load = load
sys.exit(cli.main(sys.argv[1:]))
"""
    terminal = at_terminal("dashboard", TRIM, script=script)
    assert terminal.end() == 3
    _, _, told = terminal.raw.rpartition(NORMAL)
    assert "the program failed (KeyError: 'left_out')" in " ".join(told.split())
    assert terminal.restored and "Traceback" not in terminal.text


LEAVING: dict[str, Callable[[Terminal], None]] = {
    "q": lambda terminal: terminal.type("q"),
    "ctrl+c": lambda terminal: terminal.type("\x03"),
    "SIGTERM": lambda terminal: terminal.program.send_signal(signal.SIGTERM),
}


@pytest.mark.parametrize("way", LEAVING)
def test_it_can_be_left_while_the_solver_is_compiled(
    way: str, at_terminal: Open, tmp_path: Path
) -> None:
    terminal = at_terminal("dashboard", TRIM, env={"XDG_CACHE_HOME": str(tmp_path / "cold")})
    terminal.wait_for("compiling the solver", patience=PATIENCE)
    helpers = children(terminal.program.pid)
    assert helpers
    LEAVING[way](terminal)
    assert terminal.end() == (128 + signal.SIGTERM if way == "SIGTERM" else 0)
    assert terminal.restored and "Traceback" not in terminal.text
    until = monotonic() + PATIENCE
    while any(map(alive, helpers)):
        assert monotonic() < until, "what compiles lives on"
        sleep(0.1)
    assert not list((tmp_path / "state").rglob("*.run")), "nothing has been begun yet"


def children(pid: int) -> list[int]:
    """Processes that a process has started."""
    found = subprocess.run(["ps", "-A", "-o", "pid=,ppid="], capture_output=True, text=True)
    rows = [tuple(map(int, line.split())) for line in found.stdout.splitlines()]
    return [child for child, parent in rows if parent == pid]


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except OSError:
        return False
    return True


# the solver, compiled in a process of its own


@pytest.fixture
def cold(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """No kernels are there yet."""
    folder = tmp_path / "kernels" / "cold"
    monkeypatch.setattr(cache, "CACHE", folder)
    cache.is_writable.cache_clear()
    yield folder
    cache.is_writable.cache_clear()


def compiler(monkeypatch: pytest.MonkeyPatch, script: str) -> None:
    monkeypatch.setattr(compiling, "COMPILER", (sys.executable, "-c", script))


def prepared() -> Preparation[None]:
    preparation = Preparation("Sand Martin", compiling.prepare_kernels)
    preparation.begin()
    assert preparation.wait(PATIENCE)
    return preparation


def test_the_process_tells_how_far_it_is(cold: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cold.mkdir(parents=True)
    complete = cold / cache._COMPLETE
    far = "print('far', compiling._far(2, 3)); print('far', compiling._far(3, 3))"
    told = f"print('remark slower'); open({str(complete)!r}, 'w')"
    compiler(monkeypatch, f"from pneumo.commands import compiling; {far}; {told}")
    preparation = prepared()
    assert preparation.error is None
    step, remark = preparation.steps
    assert "once for this installation" in step.words and step.detail == "3 of 3 parts"
    assert remark.words == "slower"


def test_when_the_process_ends_early_it_is_done_here(
    cold: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done = []
    compiler(monkeypatch, "import os; print('far 2 of 3 parts', flush=True); os._exit(7)")

    def prepare(report: Callable[[int, int], None], waiting: Callable[[], None]) -> str:
        waiting()
        done.append(report(3, 3))
        return ""

    monkeypatch.setattr(warm, "prepare", prepare)
    preparation = prepared()
    assert preparation.error is None and done
    assert [step.detail for step in preparation.steps] == ["2 of 3 parts", "3 of 3 parts"]


def test_where_nothing_can_be_kept_it_is_done_here(
    cold: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache, "CACHE", Path(os.devnull) / "kernels")
    monkeypatch.setattr(warm, "prepare", lambda report, waiting: report(3, 3))
    (step,) = prepared().steps
    assert "cannot be kept" in step.words and step.detail == "3 of 3 parts"


def test_the_process_ends_when_nobody_waits(cold: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    compiler(monkeypatch, "import time; print('far 1 of 3', flush=True); time.sleep(1000)")
    preparation = Preparation("Sand Martin", compiling.prepare_kernels)
    preparation.begin()
    until = monotonic() + PATIENCE
    while not (preparation.steps and preparation.steps[-1].detail):
        assert monotonic() < until
        sleep(0.01)
    preparation.leave()
    assert preparation.wait(PATIENCE)
    assert isinstance(preparation.error, LeftError)


def test_the_compiler_is_a_program_of_its_own() -> None:
    done = subprocess.run(compiling.COMPILER, capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")
    assert cache.is_complete()
