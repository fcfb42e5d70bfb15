"""Standard output and standard error while a command runs.

A reader of a pipe that goes away, a full disk and a stream that was closed must not end the work:
its files and its exit code still matter. Results that could not be written are told at the end;
remarks that could not be written are nobody's loss.
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
from collections.abc import Iterator
from errno import EBADF
from typing import Any, TextIO, cast


class _Kept:
    """A stream that takes what is written to it whether or not it can pass it on."""

    def __init__(self, stream: TextIO | None) -> None:
        self._stream: Any = io.StringIO() if stream is None else stream
        self.closed_before = stream is None
        self.failure: OSError | None = None
        """Why something that was written got lost; None: nothing did, or its reader has gone."""
        self._gone = False

    def write(self, text: str) -> int:
        if self.closed_before and text and self.failure is None:
            self.failure = OSError(EBADF, "it is closed")
        with self._watched():
            if not self._gone:
                self._stream.write(text)
        return len(text)

    def writelines(self, lines: Any) -> None:
        for line in lines:
            self.write(line)

    def flush(self) -> None:
        with self._watched():
            if not self._gone:
                self._stream.flush()

    @contextlib.contextmanager
    def _watched(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            self._gone = True
            if not isinstance(error, BrokenPipeError):
                self.failure = error
            # what is still in its buffer would be tried once more when the program ends
            with contextlib.suppress(OSError, ValueError), open(os.devnull, "wb") as nowhere:
                os.dup2(nowhere.fileno(), self._stream.fileno())

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@contextlib.contextmanager
def kept_streams() -> Iterator[_Kept]:
    """Both streams so that writing to them cannot fail; gives standard output."""
    out, err = sys.stdout, sys.stderr
    if sys.stdin is None:  # it was closed
        sys.stdin = io.StringIO()
    for stream in (out, err):
        if isinstance(stream, io.TextIOWrapper):
            # a terminal that knows few letters shows a question mark rather than a traceback
            stream.reconfigure(errors="replace")
    results, remarks = _Kept(out), _Kept(err)
    sys.stdout, sys.stderr = cast(TextIO, results), cast(TextIO, remarks)
    try:
        yield results
    finally:
        results.flush()
        remarks.flush()
        sys.stdout, sys.stderr = out, err


def fill_closed_descriptors() -> None:
    """Standard streams that were closed (`>&-`) lead nowhere: else the next file that is opened
    takes their number, and what is meant for the screen goes into it."""
    with contextlib.suppress(OSError):
        while (number := os.open(os.devnull, os.O_RDWR)) <= 2:
            os.set_inheritable(number, True)
        os.close(number)
