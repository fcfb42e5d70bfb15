"""`pneumo verify`: every loss and single fault, in every operating state, with a verdict."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
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
from pneumo.circuit.sentence import listed, near
from pneumo.commands.console import error_console, kernels, load_circuit, result_console
from pneumo.errors import InputError
from pneumo.report.files import check_targets, write_atomically
from pneumo.verification.verdict import Case, Verification

if TYPE_CHECKING:
    from pneumo.verification.campaign import Campaign, Result


def main(options: argparse.Namespace) -> int:
    """Runs the campaign; exit code 0 when every zone in every case is safe."""
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
    )
    _write(circuit, verification, options)
    if options.zone or options.no_faults:
        result_console().print(
            "Only a part was run: the losses of air and power"
            + (" and no fault of a component." if options.no_faults else
               f" and the faults that concern {listed(options.zone)}."), markup=False,
        )  # fmt: skip
    print_verification(result_console(), verification, everything=options.everything)
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
    check_targets(options.json, options.report)


def _run(campaign: Campaign, workers: int | None, lines: bool) -> Iterator[Result]:
    from pneumo.verification.campaign import run_campaign, worker_pool

    console = error_console()
    columns = (
        TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(),
        TimeElapsedColumn(), TimeRemainingColumn(),
    )  # fmt: skip
    with worker_pool(campaign, workers) as executor:
        # the workers are forked here, before the progress bar starts its thread
        finished = run_campaign(campaign, executor)
        total = len(campaign.jobs())
        disable = lines or not console.is_terminal
        with Progress(*columns, console=console, disable=disable) as progress:
            task = progress.add_task("Verifying", total=total)
            for number, done in enumerate(finished, 1):
                progress.advance(task)
                if lines:
                    print(f"progress {number} {total}", file=sys.stderr, flush=True)
                for result in done:
                    if result.case.kind != "fault":
                        progress.console.print(_line(result.case), markup=False)
                    yield result


def _line(case: Case) -> str:
    bad = [f"{o.zone} {o.verdict}" for o in case.outcomes if o.verdict != "safe"]
    return f"{case.name}: {', '.join(bad) if bad else 'all zones safe'}"


def _write(circuit: Circuit, verification: Verification, options: argparse.Namespace) -> None:
    if options.json is not None:
        from pneumo.report.json_report import json_text, verification_document

        write_atomically(options.json, json_text(verification_document(verification)))
    if options.report is not None:
        from pneumo.report.html import html_report

        made_on = time.strftime("%Y-%m-%d")
        write_atomically(options.report, html_report(verification, circuit, made_on=made_on))
