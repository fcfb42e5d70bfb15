"""Tests of pneumo/commands/leaving.py: a screen ends with its terminal, and when told to."""

from __future__ import annotations

import os
import signal
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from time import monotonic, sleep

import pytest
from command_bench import TRIM
from terminal_bench import Terminal, opened

Open = Callable[..., Terminal]

PATIENCE = 60.0
"""Far more than it takes, for a machine that is busy [s]."""


@pytest.fixture
def at_terminal(tmp_path: Path) -> Iterator[Open]:
    """Opens pneumo at a terminal; whatever still runs at the end is ended."""
    open_now: list[Terminal] = []

    def begin(*arguments: str) -> Terminal:
        open_now.append(opened(tmp_path, *arguments))
        return open_now[-1]

    yield begin
    for terminal in open_now:
        terminal.close()


def paused_at_a_dialog(terminal: Terminal) -> None:
    """It offers a seat, stands still, and a dialog is open."""
    terminal.wait_for("pneumo join")


def running_fast_with_a_check(terminal: Terminal) -> None:
    """It draws all the time, and a process of its own calculates the verification."""
    terminal.type(" ")
    terminal.wait_for("running")
    for _ in range(8):
        terminal.type("]")
    before = len(terminal.text)
    terminal.type("7")
    terminal.wait_for("fault matrix|verification", since=before)
    terminal.type("v")
    terminal.wait_for("Calculate the verification", since=before)
    terminal.type("\x1b[B")  # no row is marked before somebody has moved there
    terminal.read_for(2.0)
    terminal.type("\r")
    until = monotonic() + PATIENCE
    while not children(terminal.program.pid):
        assert monotonic() < until, "no verification has begun"
        terminal.read_for(0.2)


@pytest.mark.parametrize("situation", [paused_at_a_dialog, running_fast_with_a_check])
def test_it_ends_with_its_terminal(
    situation: Callable[[Terminal], None], at_terminal: Open, tmp_path: Path
) -> None:
    host = ("--host", "127.0.0.1:0") if situation is paused_at_a_dialog else ()
    terminal = at_terminal("dashboard", TRIM, *host)
    terminal.wait_for("trainer's seat")
    situation(terminal)
    others = children(terminal.program.pid)
    terminal.hang_up()
    assert gone(terminal.program) == 128 + signal.SIGHUP
    until = monotonic() + PATIENCE
    while any(alive(pid) for pid in others):
        assert monotonic() < until, "what it has started lives on"
        sleep(0.1)


def test_it_ends_when_it_is_told_to_though_nobody_reads_what_it_draws(at_terminal: Open) -> None:
    terminal = at_terminal("dashboard", TRIM)
    terminal.wait_for("paused")
    terminal.type(" ")
    for _ in range(8):
        terminal.type("]")
    terminal.until_nobody_reads(PATIENCE)
    terminal.program.send_signal(signal.SIGTERM)
    assert gone(terminal.program) == 128 + signal.SIGTERM


def gone(program: subprocess.Popen[bytes]) -> int:
    """Waits until a program has ended; its exit code. Nothing that it draws is read."""
    return program.wait(timeout=PATIENCE)


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
