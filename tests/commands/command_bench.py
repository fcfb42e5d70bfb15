"""Runs the command line for the tests of pneumo/commands, in this process or in one of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

import pytest

from pneumo import cli

CIRCUITS = Path(__file__).parents[2] / "circuits"

TRIM, BLOCK = "01_spring_open_single", "02_spring_close_single"


class Ended(NamedTuple):
    """What a command left behind."""

    code: int
    out: str
    err: str


def pneumo(capsys: pytest.CaptureFixture[str], *arguments: str) -> Ended:
    """Runs a command in this process."""
    capsys.readouterr()
    try:
        code = cli.main(arguments)
    except SystemExit as leaving:  # argparse: help, version, or arguments that make no sense
        code = leaving.code if isinstance(leaving.code, int) else 1
    return Ended(code, *capsys.readouterr())


def environment(changes: Mapping[str, str] = {}) -> dict[str, str]:
    """The environment of a command of its own: no colour or width of the tests' terminal."""
    kept = {
        key: value
        for key, value in os.environ.items()
        if key not in ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "TERM", "PYTHONIOENCODING")
    }
    return {**kept, **changes}


def apart(*arguments: str, env: Mapping[str, str] = {}, cwd: Path | None = None) -> Ended:
    """Runs a command in a process of its own, its output piped."""
    done = subprocess.run(
        command(*arguments), capture_output=True, text=True, encoding="utf-8",
        env=environment(env), cwd=cwd, timeout=300, check=False,
    )  # fmt: skip
    return Ended(done.returncode, done.stdout, done.stderr)


def command(*arguments: str) -> Sequence[str]:
    """The command line of a process of its own."""
    return [sys.executable, "-m", "pneumo", *arguments]
