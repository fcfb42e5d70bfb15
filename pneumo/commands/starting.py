"""What is being prepared, said on the terminal from the first instant on.

Until there is a screen the imports, the kernels and the plant take seconds, on a busy machine more
than ten: a terminal that shows nothing meanwhile looks dead. It imports nothing that takes time.
"""

from __future__ import annotations

import os
import sys

from pneumo.harmless import harmless

_CLEAR = "\r\x1b[K"
"""To the beginning of the line, and the line empty."""


class _Line:
    """The line that stands on the terminal."""

    stands = False


def say(words: str) -> None:
    """Shows what is being prepared, in place of what was; nothing where nobody looks."""
    if sys.stderr.isatty() and os.environ.get("TERM", "") not in ("", "dumb"):
        _Line.stands = True
        sys.stderr.write(f"{_CLEAR}{harmless(words)} …")
        sys.stderr.flush()


def done() -> None:
    """Something else is written now."""
    if _Line.stands:
        _Line.stands = False
        sys.stderr.write(_CLEAR)
        sys.stderr.flush()
