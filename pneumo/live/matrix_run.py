"""A whole verification in a process of its own, beside a running ride.

It is the command `pneumo verify`, so that the ride is not slowed, the result is the one that the
command gives, and whoever wants it on another machine runs the same.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Sequence
from contextlib import suppress
from json import dumps
from pathlib import Path
from shlex import quote
from weakref import WeakSet

from pneumo.errors import InputError
from pneumo.report.files import write_atomically

TOLD = (0, 1, 2, 3)
"""Exit codes of the program whose reason it says in a sentence."""

MOST_SAID = 20
"""Lines of the program that are kept to explain its end."""


_RUNS: WeakSet[MatrixRun] = WeakSet()
"""Those of this program that may still run."""


def end_all() -> None:
    """Ends every run of this program, and removes its files: the program ends this moment."""
    for run in list(_RUNS):
        with suppress(OSError):
            run.cancel()
        run.remove()


class MatrixRun:
    """A verification under way. Nothing here waits, except `close` for the process to end."""

    def __init__(
        self, document: str, text: str = "", zones: Sequence[str] = (), faults: bool = True
    ) -> None:
        """Starts it.

        Parameters
        ----------
        document
            Path of the circuit document, or the name of one that comes with pneumo.
        text
            The document itself when there is no such file; `document` is then only its name.
        zones
            Only faults that concern these; () = all.
        faults
            False: only the losses of air and power.
        """
        self.total = 0
        """Cases to run; 0 = not known yet."""
        self.done = 0
        self.remark = "starting"
        """What the program said last, beside its progress."""
        self._folder = Path(tempfile.mkdtemp(prefix="pneumo-verify-"))
        self._result = self._folder / "result.json"
        self._document, self._copy = document, self._folder / "document.yaml"
        self._said: list[str] = []
        self._cancelled = False
        if text:
            self._copy.write_text(text, encoding="utf-8")
        command = [
            *(sys.executable, "-m", "pneumo", "verify", str(self._copy) if text else document),
            *("--json", str(self._result), "--progress"),
            *(part for zone in zones for part in ("--zone", zone)),
            *(() if faults else ("--no-faults",)),
        ]
        # a group of its own: ended as a whole, and not reached by an interruption of the terminal
        self._process = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
            text=True, encoding="utf-8", errors="replace", start_new_session=os.name == "posix",
        )  # fmt: skip
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        _RUNS.add(self)

    @property
    def running(self) -> bool:
        """True until the process has ended."""
        return self._process.poll() is None or self._reader.is_alive()

    @property
    def trouble(self) -> str:
        """Why there is no result, one sentence; "" while running and when there is one."""
        if self.running:
            return ""
        if self._cancelled:
            return "The verification was stopped; no result is kept."
        if self._result.exists():
            return ""
        # bad input is told in a sentence; whoever ends the process does not say why
        told = self._process.returncode in TOLD and self._said
        said = self._said[-1] if told else "its process was ended from outside."
        return f"The verification ended without a result: {said}"

    @property
    def result(self) -> Path | None:
        """The JSON file of the finished run; None: there is none (yet). Gone after `close`."""
        if self.running or self._cancelled or not self._result.exists():
            return None
        return self._result

    def save(self, path: str | Path) -> None:
        """Keeps the result in a file.

        Raises
        ------
        InputError
            When there is no result, or the file cannot be written.
        """
        result = self.result
        if result is None:
            raise InputError("There is no finished verification to save.")
        write_atomically(path, result.read_bytes())

    def cancel(self) -> None:
        """Ends the process and its workers now."""
        if self._process.poll() is None:
            self._cancelled = True
            if os.name == "posix":
                os.killpg(self._process.pid, signal.SIGKILL)
            else:
                self._process.kill()  # its workers leave when their parent is gone

    def close(self) -> None:
        """Ends it, if it still runs, and removes its files."""
        self.cancel()
        self._process.wait()
        self._reader.join(timeout=5.0)
        self.remove()

    def remove(self) -> None:
        """Removes its files."""
        shutil.rmtree(self._folder, ignore_errors=True)

    def _read(self) -> None:
        stream = self._process.stderr
        assert stream is not None  # a pipe was asked for
        with stream:
            for line in stream:
                words = line.split()
                if len(words) == 3 and words[0] == "progress":
                    self.done, self.total = int(words[1]), int(words[2])
                elif words:
                    self.remark = line.strip().replace(str(self._copy), self._document)
                    self._said = [*self._said, self.remark][-MOST_SAID:]
        self._process.wait()
        if self._copy.exists() and self._result.exists() and not self._cancelled:
            try:
                self._name_document()
            except InputError as error:
                self._said.append(str(error))
                self._result.unlink(missing_ok=True)

    def _name_document(self) -> None:
        """In the result the document is known by its name, not by the copy that was read."""
        whole = self._result.read_text(encoding="utf-8")
        copy, name = str(self._copy), self._document
        for old, new in ((f"run {quote(copy)} ", f"run {quote(name)} "), (copy, name)):
            whole = whole.replace(_in_json(old), _in_json(new))
        write_atomically(self._result, whole)


def _in_json(text: str) -> str:
    """As it stands within a text of a JSON file."""
    return dumps(text, ensure_ascii=False)[1:-1]
