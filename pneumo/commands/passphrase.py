"""Where the passphrase of a sealed drill comes from: the keyboard, a file, or the environment.

Never from an argument, which can be read in the list of programs that run.
"""

from __future__ import annotations

import argparse
import getpass
import os
import sys
from pathlib import Path

from pneumo.commands import starting
from pneumo.errors import InputError
from pneumo.harmless import harmless

VARIABLE = "PNEUMO_PASSPHRASE"
"""Of the environment."""

LARGEST_FILE = 10_000
"""Bytes of a file with a passphrase: its first line counts."""

LARGEST_DRILL = 5_000_000
"""Bytes of a file that is looked into: a drill is smaller."""


def asked(options: argparse.Namespace, about: str) -> str:
    """The passphrase of `about`, a drill or a record.

    Raises
    ------
    InputError
        When there is none, and nobody to ask.
    """
    if (given := _given(options)) is not None:
        return given
    return _typed(f"Passphrase of {about}: ", f"{about} is sealed by a passphrase.")


def chosen(options: argparse.Namespace, about: str) -> str:
    """A new passphrase for `about`, typed twice. Raises InputError as `asked`."""
    if (given := _given(options)) is not None:
        return given
    first = _typed(f"New passphrase of {about}: ", "There is no passphrase to seal it by.")
    if _typed("The same once more: ", "") != first:
        raise InputError("The two passphrases differ; nothing was written.")
    return first


def may_be_sealed(path: Path) -> bool:
    """Whether a file can be a sealed drill, before anything is loaded that could read it."""
    try:
        data = path.read_bytes() if path.is_file() and path.stat().st_size < LARGEST_DRILL else b""
    except OSError:
        return False
    return b"pneumo_drill" in data and b"sealed" in data


def _given(options: argparse.Namespace) -> str | None:
    """From a file or the environment; None: from neither."""
    name = getattr(options, "passphrase_file", None)
    if name is None:
        return os.environ.get(VARIABLE) or None
    try:
        with open(name, encoding="utf-8-sig", newline=None) as stream:
            text = stream.read(LARGEST_FILE + 1)
    except OSError as error:
        raise InputError(f"{name}: cannot be read ({error.strerror}).") from None
    except ValueError:
        raise InputError(f"{name}: this is not a file of text in UTF-8.") from None
    first = text.split("\n", 1)[0]
    if not first or len(text) > LARGEST_FILE:
        raise InputError(f"{name}: its first line is no passphrase.")
    return first


def _typed(prompt: str, why: str) -> str:
    if not sys.stdin.isatty():
        raise InputError(
            f"{why} It is asked for at a terminal; in a script give --passphrase-file, or set "
            f"{VARIABLE}."
        )
    starting.done()
    try:
        return getpass.getpass(harmless(prompt))
    except EOFError:
        raise InputError("No passphrase was given.") from None
