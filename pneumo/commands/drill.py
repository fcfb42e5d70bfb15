"""`pneumo drill`: a drill talked through in plain lines, or played from a file of lines."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path

from pneumo.circuit.shipped import find_document
from pneumo.commands.console import kernels, result_console
from pneumo.errors import InputError

LONGEST_SCRIPT = 1_000_000
"""Bytes of a file of lines."""


def main(options: argparse.Namespace) -> int:
    """Talks a drill through; exit code 0 when it was judged right, else 1."""
    from pneumo.live.drill import is_drill, read_drill

    path = find_document(options.file)
    if not is_drill(path):
        raise InputError(f"{options.file}: this is no drill. Name one, for example drill_1.")
    drill = read_drill(path)
    lines = _script(options.script) if options.script is not None else None
    kernels()
    from pneumo.drill.debrief import debrief
    from pneumo.drill.practice import Practice
    from pneumo.live.dialogue import Dialogue
    from pneumo.live.session import Session

    session = Session(drill.circuit, drill.document)
    session.drill = drill.title
    session.restart(drill.acts, drill.start, begins=drill.start)
    practice = Practice(session, drill.brief)
    dialogue = Dialogue(session, practice, drill.title)
    console = result_console()

    def show(answer: Iterator[str]) -> None:
        for line in answer:
            console.print(line, markup=False, soft_wrap=not console.is_terminal)

    show(dialogue.opening())
    for place, line in _typed(dialogue) if lines is None else lines:
        if dialogue.over:
            raise InputError(f"{place}: The drill is over before this line: {line!r}.")
        if lines is not None:
            console.print(f"{dialogue.prompt}{line}", markup=False)
        try:
            show(dialogue.say(line))
        except InputError as error:
            if lines is not None:
                raise InputError(f"{place}: {line!r}: {error}") from None
            console.print(str(error), markup=False)
        if dialogue.over and lines is None:
            break
    if not dialogue.over:
        console.print("The drill was left before its end: no verdict.")
        return 1
    return 0 if debrief(practice).verdict == "right" else 1


def _typed(dialogue: object) -> Iterator[tuple[str, str]]:
    """Lines from the terminal, or from a pipe, until they end."""
    number = 0
    while True:
        number += 1
        try:
            line = input(dialogue.prompt if sys.stdin.isatty() else "")  # type: ignore[attr-defined]
        except EOFError:
            return
        if line.strip():
            yield f"line {number}", line.strip()


def _script(name: str) -> list[tuple[str, str]]:
    """Lines of a file with their places; empty ones and those that begin with # are left out."""
    path = Path(name)
    try:
        if path.stat().st_size > LONGEST_SCRIPT:
            raise InputError(f"{name}: the file is larger than 1 MB. A drill takes a few lines.")
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(f"{name}: cannot be read ({error.strerror}).") from None
    except UnicodeDecodeError:
        raise InputError(f"{name}: this is not a file of text in UTF-8.") from None
    return [
        (f"{name}:{number}", line.strip())
        for number, line in enumerate(text.splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
