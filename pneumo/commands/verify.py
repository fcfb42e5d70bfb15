"""`pneumo verify`: every loss and single fault, in every operating state, with a verdict."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from time import perf_counter, strftime
from typing import TYPE_CHECKING

from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    TextColumn,
    TimeElapsedColumn,
    TimeRemainingColumn,
)

from pneumo.api import can_be_verified, verify
from pneumo.circuit.circuit import Circuit
from pneumo.circuit.shipped import find_document
from pneumo.circuit.spelling import listed as named
from pneumo.commands.console import (
    Files,
    error_console,
    kernels,
    load_with_warnings,
    result_console,
    write_results,
)
from pneumo.errors import InputError
from pneumo.harmless import harmless
from pneumo.report.files import check_targets
from pneumo.report.text import print_verification
from pneumo.verification.verdict import Case, Verification
from pneumo.verification.wording import case_words

REDRAWN = 0.1
"""Time from one drawing of the progress to the next [s]."""

MOST_WORKERS = 256
"""More processes than any machine has use for; a number beyond it is a slip."""

Faults = Sequence[tuple[str, Sequence[str]]]
"""What is told of faults: headings, "" = none, and the lines under them."""

if TYPE_CHECKING:
    from pneumo.verification.campaign import Result


def main(options: argparse.Namespace) -> int:
    """Runs the campaign; exit code 0 when every zone in every case is safe, 3 when a case was not
    calculated or something could not be written, whatever the others say."""
    circuit = load_with_warnings(options.file)
    can_be_verified(circuit, options.zone)
    _check_options(options)
    kernels()
    with _Told(options.progress) as told:
        verification = verify(
            circuit,
            zones=options.zone,
            faults=not options.no_faults,
            workers=options.workers,
            each=told.done,
        )
    faults, known = _faults_told(circuit, options)
    files = _files(circuit, verification, faults, options)
    written = write_results(files, debug=options.debug)
    if options.debug:
        print("".join(told.failures), end="", file=sys.stderr)
    if options.zone or options.no_faults:
        result_console().print(
            "Only a part was run: the losses of air and power"
            + (" and no fault of a component." if options.no_faults else
               f" and the faults that concern {named(options.zone)}."), markup=False,
        )  # fmt: skip
    print_verification(result_console(), verification, everything=options.everything)
    if not (written and known and verification.finished):
        return 3
    return 0 if verification.all_safe else 1


def _check_options(options: argparse.Namespace) -> None:
    """Fails before the long work rather than after it."""
    if options.workers is not None and options.workers < 1:
        raise InputError(f"--workers {options.workers}: at least 1 is needed.")
    if options.workers is not None and options.workers > MOST_WORKERS:
        raise InputError(f"--workers {options.workers}: at most {MOST_WORKERS} can be used.")
    if options.diagnosability and options.report is None:
        raise InputError("--diagnosability is for the report: add --report F.html.")
    check_targets(find_document(options.file), options.json, options.report)


def _faults_told(circuit: Circuit, options: argparse.Namespace) -> tuple[Faults, bool]:
    """Which faults can be told apart, for the report, and whether all that was asked for is known:
    the verdicts are told in any case."""
    if not options.diagnosability:
        return (), True
    from pneumo.commands.diagnosability import judged, listed

    try:
        found = judged(circuit)
    except InputError as error:
        error_console().print(f"{circuit.path}: not in the report: {error}", markup=False)
        return (), False
    return tuple(listed(circuit, found)), found.finished


class _Told:
    """How far it is, and every case that is no fault of a component or was not calculated.

    `lines`: as lines for other programs, no bar.
    """

    def __init__(self, lines: bool) -> None:
        console = error_console()
        columns = (
            TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(),
            TimeElapsedColumn(), TimeRemainingColumn(),
        )  # fmt: skip
        # without a thread of its own: a worker that is lost is replaced by a fork
        self._progress = Progress(
            *columns, console=console, disable=lines or not console.is_terminal, auto_refresh=False
        )
        self._task = self._progress.add_task("Verifying", total=None)
        self._lines = lines
        self._drawn = perf_counter()
        self.failures: list[str] = []
        """Where the program itself failed."""

    def __enter__(self) -> _Told:
        self._progress.start()
        return self

    def __exit__(self, *error: object) -> None:
        self._progress.stop()

    def done(self, number: int, total: int, results: tuple[Result, ...]) -> None:
        """A job is done."""
        self._progress.update(self._task, completed=number, total=total)
        if perf_counter() - self._drawn > REDRAWN or number == total:
            self._drawn = perf_counter()
            self._progress.refresh()
        if self._lines:
            print(f"progress {number} {total}", file=sys.stderr, flush=True)
        for result in results:
            if result.case.injection.kind != "fault" or not result.case.calculated:
                self._progress.console.print(_line(result.case), markup=False)
            if result.failure:
                self.failures.append(
                    harmless(f"{case_words(result.case)}:\n{result.failure}\n", "\n")
                )


def _line(case: Case) -> str:
    if not case.calculated:
        return f"{case_words(case)}: not calculated: {case.trouble}"
    bad = [f"{o.zone} {o.verdict}" for o in case.outcomes if o.verdict != "safe"]
    return f"{case_words(case)}: {', '.join(bad) if bad else 'all zones safe'}"


def _files(
    circuit: Circuit, verification: Verification, faults: Faults, options: argparse.Namespace
) -> Files:
    """What is to be written where."""

    def as_json() -> str:
        from pneumo.report.json_report import json_text, verification_document

        return json_text(verification_document(verification))

    def as_page() -> str:
        from pneumo.report.html import html_report

        return html_report(verification, circuit, made_on=strftime("%Y-%m-%d"), faults=faults)

    return ((options.json, as_json), (options.report, as_page))
