"""Runs a command at a terminal of its own, reads what it draws, types, and sees how it ends."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import termios
from collections.abc import Mapping, Sequence
from pathlib import Path
from time import monotonic, sleep

from command_bench import command, environment

ROWS, COLUMNS = 40, 130

_CONTROL = re.compile(r"\x1b(?:\[[0-9;?<>=]*[A-Za-z]|[()][A-Z0-9]|[=>])")
_FRESH_LINE = re.compile(r"\x1b\[[0-9]+;[0-9]+H")

ALTERNATE, NORMAL = "\x1b[?1049h", "\x1b[?1049l"
"""What a program says when it takes the screen, and when it gives it back."""


class Terminal:
    """A program at a terminal."""

    def __init__(self, arguments: Sequence[str], folder: Path, env: Mapping[str, str] = {}) -> None:
        self._ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
        self.before = termios.tcgetattr(theirs)
        self._theirs = theirs
        self.program = subprocess.Popen(
            arguments, stdin=theirs, stdout=theirs, stderr=theirs, cwd=folder,
            start_new_session=True,
            env=environment(
                {"TERM": "xterm-256color", "XDG_STATE_HOME": str(folder / "state"), **env}
            ),
        )  # fmt: skip
        self._open = True
        self.raw = ""
        """All that was drawn, as it came."""

    @property
    def text(self) -> str:
        """The words of it; colours and places left out."""
        return _CONTROL.sub("", _FRESH_LINE.sub("\n", self.raw))

    def wait_for(self, words: str, since: int = 0, patience: float = 25.0) -> None:
        """Reads until some words, or a pattern of them, have been drawn."""
        end = monotonic() + patience
        while not re.search(words, self.text[since:]):
            assert monotonic() < end, f"{words!r} is not drawn: {self._last}"
            assert self._read(0.2) or self.program.poll() is None, f"it has ended: {self._last}"

    def type(self, keys: str) -> None:
        """Presses keys."""
        os.write(self._ours, keys.encode())

    def end(self, patience: float = 30.0) -> int:
        """Reads until the program has ended; its exit code."""
        end = monotonic() + patience
        while self.program.poll() is None:
            assert monotonic() < end, f"it does not end: {self._last}"
            self._read(0.1)
        while self._read(0.1):
            pass
        return self.program.returncode

    @property
    def restored(self) -> bool:
        """True when the terminal is as it was before."""
        after = termios.tcgetattr(self._theirs)
        back = self.raw.rfind(NORMAL) > self.raw.rfind(ALTERNATE) or ALTERNATE not in self.raw
        return back and after[:4] == self.before[:4]

    def read_for(self, seconds: float) -> None:
        """Reads what is drawn meanwhile."""
        end = monotonic() + seconds
        while (rest := end - monotonic()) > 0.0:
            self._read(rest)

    def hang_up(self) -> None:
        """The window is closed: nobody is at the other side any more."""
        os.close(self._theirs)
        os.close(self._ours)
        self._open = False

    def until_nobody_reads(self, patience: float) -> None:
        """Reads nothing until the program cannot draw any more: the terminal takes no more."""
        end = monotonic() + patience
        before = -1
        while True:
            assert monotonic() < end, "it can still draw"
            sleep(1.0)
            waiting = struct.unpack("i", fcntl.ioctl(self._ours, termios.FIONREAD, b"    "))[0]
            if waiting == before and waiting > 0:
                return
            before = waiting

    def close(self) -> None:
        """Ends the program, whatever it does."""
        if self.program.poll() is None:
            os.killpg(self.program.pid, signal.SIGKILL)
            self.program.wait()
        if self._open:
            os.close(self._ours)
            os.close(self._theirs)

    @property
    def _last(self) -> str:
        return re.sub(r"\s+", " ", self.text)[-1500:]

    def _read(self, patience: float) -> bool:
        if not select.select([self._ours], [], [], patience)[0]:
            return False
        self.raw += os.read(self._ours, 1 << 16).decode("utf-8", "replace")
        return True


def opened(folder: Path, *arguments: str) -> Terminal:
    """pneumo at a terminal."""
    return Terminal(command(*arguments), folder)
