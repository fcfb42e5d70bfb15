"""`pneumo drill`: a drill talked through in plain lines, or played from a file of lines."""

from __future__ import annotations

import argparse
import secrets
import sys
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import pneumo
from pneumo.circuit.shipped import find_document
from pneumo.commands import passphrase
from pneumo.commands.console import error_console, kernels, result_console, waiting, write_results
from pneumo.commands.opened import (
    STOPPED,
    Start,
    begun,
    continued,
    kinds_of,
    let_advise,
    start_of_drill,
)
from pneumo.drill.review import NO_REVIEW, review_lines
from pneumo.errors import InputError, UnfinishedError
from pneumo.report.files import check_targets
from pneumo.scenario.plant import SimulationError

if TYPE_CHECKING:
    from pneumo.drill.brief import Brief
    from pneumo.drill.outcome import Debrief
    from pneumo.live.dialogue import Dialogue
    from pneumo.live.thinking import Thinking

LONGEST_SCRIPT = 1_000_000
"""Bytes of a file of lines."""

PATIENCE, LOOK = 2.0, 0.2
"""After so long it is said what is awaited; how often that is looked at [s]."""


def main(options: argparse.Namespace) -> int:
    """Talks a drill through; exit code 0 when it was judged right, else 1; 3 when a file that was
    asked for could not be written, or the simulation could not go on."""
    from pneumo.record import history

    lines = _script(options.script) if options.script is not None else None
    check_targets(options.run or find_document(options.file), options.report)
    if options.name is not None:
        history.check_trainee(options.name)
        history.check()
    opened = _opened(options)
    try:
        return _played(opened, lines, options)
    finally:
        opened.close()


def _played(
    opened: _Opened, lines: list[tuple[str, str]] | None, options: argparse.Namespace
) -> int:
    """The exit code, see `main`."""
    dialogue = opened.dialogue
    if dialogue.is_over() and not lines:
        _show(dialogue.debrief())
    else:
        _show(dialogue.opening())
        _talk_through(opened, lines, options.name)
    if dialogue.is_over():
        _show(opened.reviewed())
        return opened.conclude(options)
    opened.leave()
    _show(("The drill was left before its end: no verdict.",))
    return 1


def _talk_through(
    opened: _Opened, lines: Iterable[tuple[str, str]] | None, name: str | None
) -> None:
    """Carries out the lines with their places, or those that are typed (None)."""
    dialogue = opened.dialogue
    for place, line in _typed(dialogue) if lines is None else lines:
        if dialogue.is_over():
            raise InputError(f"{place}: {line!r}: the drill is over before this line.")
        if lines is not None:
            _show((f"{dialogue.prompt}{line}",))
        try:
            _show(dialogue.say(line))
        except SimulationError:
            opened.leave()
            raise UnfinishedError(STOPPED) from None
        except InputError as error:
            if lines is not None:
                raise InputError(f"{place}: {line!r}: {error}") from None
            _show((str(error),))
        opened.keep(name)
        if dialogue.is_over() and lines is None:
            return


def _show(lines: Iterable[str]) -> None:
    console = result_console()
    for line in lines:  # at a terminal no word is torn in two
        console.print(line, markup=False, soft_wrap=not console.is_terminal)


def _opened(options: argparse.Namespace) -> _Opened:
    try:
        return _Opened(options)
    except SimulationError:
        raise UnfinishedError(STOPPED) from None


def _start(options: argparse.Namespace) -> tuple[Start, Brief]:
    """The drill, from its beginning or from where it was left, and what is told of it."""
    ask = partial(passphrase.asked, options, options.run or options.file)
    if options.run is not None:
        start = continued(Path(options.run), ask)
    else:
        start = start_of_drill(options.file, ask, "trainee")
    if start.brief is None:
        raise InputError(f"{options.run}: nobody worked on a drill in this run.")
    return start, start.brief


class _Opened:
    """A drill that was opened: its ride, its dialogue, its record."""

    def __init__(self, options: argparse.Namespace) -> None:
        from pneumo.drill.practice import Practice
        from pneumo.live.dialogue import Dialogue
        from pneumo.live.keeping import Keeping
        from pneumo.live.session import Session

        start, brief = _start(options)
        if start.remark:
            error_console().print(start.remark, markup=False)
        kernels()
        self.session = Session(start.circuit, start.document)
        self.session.restart(start.acts, start.at, begins=start.begins)
        self.title, self.session.seal = start.drill, start.seal
        self._run = secrets.token_hex(8) if start.run is None else start.run_name
        self.session.drill = self.title
        self.practice = Practice(self.session, brief)
        self.practice.resume(start.entries, start.begins)
        asked = options.script is None and sys.stdin.isatty()
        self._settle = None if asked else _settled
        """A script cannot ask again."""
        # what a script says must not depend on what was calculated before
        self._tells = brief.test_hints or asked or start.review is not None
        """A review is printed."""
        self._for_page = options.report is not None
        self._review = start.review
        self._left_out = "None is in the record of this run."
        """Why there is no review."""
        if self._tells or self._for_page:
            let_advise(self.session, self.practice, settle=self._settle)
        self.dialogue: Dialogue = Dialogue(self.session, self.practice, self.title)
        self._said = len(start.entries)
        """Entries that are in the record."""
        self._ended = self.practice.arc.over
        """It was over when it was opened."""
        # what is over is shown again, and nothing is added to it
        keeps = not (self._ended or options.no_record)
        troubles: list[str] = []
        self._record = begun(start, self.session, troubles) if keeps else None
        for trouble in troubles:
            error_console().print(f"{trouble} The drill is not recorded.", markup=False)
        if self._record is not None:
            self._run = self._record.run
        self._kept = Keeping(
            self._record, self.session.plant, "trainee",
            lambda words: error_console().print(words, markup=False),
        )  # fmt: skip

    def keep(self, name: str | None) -> None:
        """Keeps what was done since; in the history, under a name, that it was begun."""
        if name is not None and not self._said and self.practice.entries:
            self._begin_in_history(name)
        session = self.session
        self._kept.acts(session.acts.journal)
        self._kept.rows(session.recorder.past, session.acts.hidden_actions(), session.newest)
        for entry in self.practice.entries[self._said :]:
            self._kept.work(entry)
            self._said += 1

    def reviewed(self) -> Iterator[str]:
        """What a diagnostician makes of the drill, which is over, as it is printed; why there is
        none is said beside it."""
        from pneumo.live.thinking import Adviser

        adviser = self.practice.adviser
        if isinstance(adviser, Adviser):
            self._left_out = self._waited(adviser.thinking)
            self._review = adviser.review
        if self._review is not None:
            self._kept.review(self._review)
            if self._tells:
                yield ""
                yield from review_lines(self._review)
        elif self._tells or self._for_page:
            remark = f"{NO_REVIEW} {self._left_out}"
            error_console().print(remark, markup=False, soft_wrap=True)

    def _waited(self, thinking: Thinking) -> str:
        """Waits for a review, and says what is awaited; why there will be none."""
        # it is read in seconds, and else calculated in minutes
        calculates = self.practice.brief.test_hints and not thinking.ready
        if calculates and self._settle is None and not self._for_page:
            return f"Not calculated yet: {thinking.awaited}."
        try:
            _await(thinking, thinking.settle_review, " Ctrl-C leaves it out.")
        except KeyboardInterrupt:
            return f"Nobody waited for it. Not calculated yet: {thinking.awaited}."
        return thinking.failure

    def close(self) -> None:
        """Nobody asks for a hint any more."""
        if self.practice.adviser is not None:
            self.practice.adviser.close()

    def leave(self) -> None:
        """The drill is left before its end; the run stays one that can be continued."""
        if self._record is not None and self._kept.keeps and self._said:
            self._record.leave()
            error_console().print(
                f"It can be continued with: pneumo drill --continue {self._record.path}",
                markup=False, soft_wrap=True,
            )  # fmt: skip

    def conclude(self, options: argparse.Namespace) -> int:
        """The drill is over: the files that were asked for, the history, the exit code."""
        from pneumo.drill.debrief import debrief
        from pneumo.report.debrief_page import debrief_page

        found: Debrief = debrief(self.practice, self.title)
        self._kept.close()
        page = (
            options.report,
            lambda: debrief_page(
                found,
                self._review or self._left_out,
                version=pneumo.__version__,
                trainee=options.name or "",
            ),
        )
        written = write_results((page,), debug=options.debug)
        if options.name is not None:
            written = self._counted(options.name, found) and written
        if not written:
            return 3
        return 0 if found.verdict == "right" else 1

    def _begin_in_history(self, name: str) -> None:
        from pneumo.record import history

        try:
            history.begin(name, self.title, self.practice.brief.level, self._run)
        except InputError as error:
            error_console().print(str(error), markup=False, soft_wrap=True)

    def _counted(self, name: str, found: Debrief) -> bool:
        """Keeps the result in the history; whether it is there. A run has one."""
        from pneumo.record import history

        try:
            if self._ended and (not self._run or history.holds(self._run)):
                error_console().print("The result of this run is not counted again.", markup=False)
                return True
            kinds = kinds_of(found, self.session.circuit, self.session.seal)
            history.add(name, found, kinds, self.practice.brief.level, run=self._run)
        except InputError as error:
            error_console().print(str(error), markup=False, soft_wrap=True)
            return False
        return True


def _settled(thinking: Thinking) -> None:
    """Waits for what faults would show, and says so."""
    _await(thinking, thinking.settle)


def _await(thinking: Thinking, settle: Callable[[float], bool], way_out: str = "") -> None:
    """Waits until something is settled, and says what is awaited when that takes long."""
    if settle(PATIENCE):
        return
    with waiting(error_console()) as say:
        while not settle(LOOK):
            say(f"Being calculated: {thinking.awaited}.{way_out}")


def _typed(dialogue: Dialogue) -> Iterator[tuple[str, str]]:
    """Lines from the terminal, or from a pipe, until they end."""
    number = 0
    while True:
        number += 1
        try:
            line = input(dialogue.prompt if sys.stdin.isatty() else "")
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
