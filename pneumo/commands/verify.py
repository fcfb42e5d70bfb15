"""`pneumo verify`: every loss and single fault, in every operating state, with a verdict."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
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

import pneumo
from pneumo.circuit.circuit import Circuit
from pneumo.circuit.spelling import listed, near
from pneumo.commands.console import (
    Files,
    error_console,
    find_document,
    kernels,
    load_circuit,
    result_console,
    write_results,
)
from pneumo.errors import InputError
from pneumo.harmless import harmless
from pneumo.report.files import check_targets
from pneumo.verification.verdict import Case, Verification

REDRAWN = 0.1
"""Time from one drawing of the progress to the next [s]."""

MOST_WORKERS = 256
"""More processes than any machine has use for; a number beyond it is a slip."""

if TYPE_CHECKING:
    from pneumo.verification.campaign import Campaign, Result


def main(options: argparse.Namespace) -> int:
    """Runs the campaign; exit code 0 when every zone in every case is safe, 3 when a case was not
    calculated or something could not be written, whatever the others say."""
    circuit = load_circuit(options.file, warn=True)
    _check_options(circuit, options)
    kernels()
    from pneumo.verification.campaign import Campaign

    campaign = Campaign(circuit)
    campaign.select(zones=options.zone, faults=not options.no_faults)
    results = list(_run(campaign, options.workers, options.progress))
    from pneumo.report.text import print_verification
    from pneumo.verification.assumption import assumptions

    verification = Verification(
        document=circuit.path,
        ride=circuit.ride.name,
        site=circuit.ride.site,
        cases=tuple(result.case for result in results),
        traces=tuple(result.trace for result in results if result.trace is not None),
        untested=campaign.untested(),
        assumptions=assumptions(circuit, campaign.trials),
        version=pneumo.__version__,
        unsound=campaign.unsound(),
    )
    written = write_results(_files(circuit, verification, options), debug=options.debug)
    if options.debug:
        for result in results:
            if result.failure:
                print(harmless(f"{result.case.name}:\n{result.failure}", "\n"), file=sys.stderr)
    if options.zone or options.no_faults:
        result_console().print(
            "Only a part was run: the losses of air and power"
            + (" and no fault of a component." if options.no_faults else
               f" and the faults that concern {listed(options.zone)}."), markup=False,
        )  # fmt: skip
    print_verification(result_console(), verification, everything=options.everything)
    if not (written and verification.finished):
        return 3
    return 0 if verification.all_safe else 1


def _check_options(circuit: Circuit, options: argparse.Namespace) -> None:
    """Fails before the long work rather than after it."""
    if not circuit.zones:
        raise InputError(f"{circuit.path}: there is no zone to verify; add one under zones.")
    for zone in options.zone or ():
        if zone not in circuit.zones:
            hint = near(zone, circuit.zones, f"Zones: {listed(circuit.zones)}.")
            raise InputError(f"{circuit.path}: there is no zone {zone}. {hint}")
    if options.workers is not None and options.workers < 1:
        raise InputError(f"--workers {options.workers}: at least 1 is needed.")
    if options.workers is not None and options.workers > MOST_WORKERS:
        raise InputError(f"--workers {options.workers}: at most {MOST_WORKERS} can be used.")
    check_targets(find_document(options.file), options.json, options.report)


def _run(campaign: Campaign, workers: int | None, lines: bool) -> Iterator[Result]:
    from pneumo.verification.pool import run_campaign, worker_pool

    console = error_console()
    columns = (
        TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(),
        TimeElapsedColumn(), TimeRemainingColumn(),
    )  # fmt: skip
    with worker_pool(campaign, workers) as pool:
        finished = run_campaign(campaign, pool)
        total = len(campaign.jobs())
        disable = lines or not console.is_terminal
        # without a thread of its own: a worker that is lost is replaced by a fork
        with Progress(*columns, console=console, disable=disable, auto_refresh=False) as progress:
            task = progress.add_task("Verifying", total=total)
            drawn = perf_counter()
            for number, done in enumerate(finished, 1):
                progress.advance(task)
                if perf_counter() - drawn > REDRAWN or number == total:
                    drawn = perf_counter()
                    progress.refresh()
                if lines:
                    print(f"progress {number} {total}", file=sys.stderr, flush=True)
                for result in done:
                    if result.case.kind != "fault" or not result.case.calculated:
                        progress.console.print(_line(result.case), markup=False)
                    yield result


def _line(case: Case) -> str:
    if not case.calculated:
        return f"{case.name}: not calculated: {case.trouble}"
    bad = [f"{o.zone} {o.verdict}" for o in case.outcomes if o.verdict != "safe"]
    return f"{case.name}: {', '.join(bad) if bad else 'all zones safe'}"


def _files(circuit: Circuit, verification: Verification, options: argparse.Namespace) -> Files:
    """What is to be written where."""

    def as_json() -> str:
        from pneumo.report.json_report import json_text, verification_document

        return json_text(verification_document(verification))

    def as_page() -> str:
        from pneumo.report.html import html_report

        return html_report(verification, circuit, made_on=strftime("%Y-%m-%d"))

    return ((options.json, as_json), (options.report, as_page))
