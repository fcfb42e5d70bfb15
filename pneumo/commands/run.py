"""`pneumo run`: one run of a circuit, its events and where every zone ends."""

from __future__ import annotations

import argparse
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import nullcontext
from itertools import groupby
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

import pneumo
from pneumo import units
from pneumo.api import Plan, Run, StoppedError, check_grid, load, planned, played, why
from pneumo.circuit.former import remark
from pneumo.circuit.shipped import find_document
from pneumo.circuit.symmetry import span
from pneumo.commands.console import (
    Files,
    error_console,
    kernels,
    result_console,
    write_results,
)
from pneumo.errors import InputError
from pneumo.quantity import QuantityError
from pneumo.report.files import check_targets

if TYPE_CHECKING:
    from pneumo.scenario.event import RunEvent

FINEST, MOST_ROWS = 0.01, 5000
"""Default grid of written signals: 10 ms, or coarser to stay below so many rows."""

LONG = 600.0
"""A run of more simulated time may take a while, and says that it runs [s]."""


def main(options: argparse.Namespace) -> int:
    """Runs and prints; exit code 1 when a safe state was asked for and a zone did not keep it, 3
    when the run or one of its files has no end."""
    circuit = load(options.file)
    until = None if options.until is None else _duration(options.until, "--until")
    plan = planned(circuit, options.scenario, options.do, options.fault, until)
    for text in (*options.do, *options.fault):
        if said := remark(text):
            error_console().print(f"{text!r}: {said}", markup=False)
    check_targets(find_document(options.file), options.csv, options.json)
    step = _grid(options, plan)
    kernels()
    with error_console().status("Running") if plan.until > LONG else nullcontext():
        try:
            run = played(plan, step)
        except StoppedError as error:
            _print(error.run, stopped=True)
            files = " No file was written." if _writes(options) else ""
            raise StoppedError(f"{error}{files}", error.run) from error
    written = write_results(_files(run, options), debug=options.debug)
    _print(run)
    if not written:
        return 3
    return 0 if run.safe else 1


def _writes(options: argparse.Namespace) -> bool:
    return options.csv is not None or options.json is not None


def _grid(options: argparse.Namespace, plan: Plan) -> float | None:
    """Time from one written row to the next [s]; None: nothing is written."""
    step = max(FINEST, plan.until / MOST_ROWS)
    if options.step is not None:
        step = _duration(options.step, "--step")
        check_grid(plan, step)
    return step if _writes(options) else None


def _duration(text: str, option: str) -> float:
    try:
        return units.DURATION.parse(text)
    except QuantityError as error:
        raise InputError(f"{option} {text}: {error.found} {error.wanted}") from None


def _print(run: Run, *, stopped: bool = False) -> None:
    """`stopped`: before its end, so that nothing can be judged."""
    from pneumo.report.text import print_events, print_unsound

    circuit, end = run.plan.circuit, run.now if stopped else run.plan.until
    console = result_console()
    console.print(f"{circuit.ride.name}: {round(end, 6):g} s", markup=False)
    print_unsound(console, run.unsound)
    if run.events:
        print_events(console, _rows(run.events))
    if circuit.zones:
        console.print(_zone_table(run))
    if stopped:
        console.print(f"No verdict: the run stopped at {end:.3f} s.")
        return
    asked = Counter(outcome.zone for outcome in run.outcomes)
    for outcome in run.outcomes:
        word = "safe" if outcome.verdict == "safe" else outcome.verdict.upper()
        if not outcome.decided:
            word = "UNDECIDED"
        when = f"demand at {outcome.demanded_at:g} s, " if asked[outcome.zone] > 1 else ""
        console.print(Text(f"{outcome.zone}: {word}: {when}{why(outcome)}"))
    if circuit.zones and not run.outcomes:
        console.print("No verdict: no ride stop, power loss or fault demanded a safe state.")


def _rows(events: Sequence[RunEvent]) -> Iterator[tuple[float, str, str]]:
    """Events for the table: contacts that say the same at the same scan share a row."""
    from pneumo.scenario.telling import told

    def same(event: RunEvent) -> tuple[object, ...]:
        apart = "" if event.kind == "contact" else event.subject
        family = re.sub(r"[0-9]+", "", event.subject) if event.kind == "contact" else ""
        return event.time, event.what, apart, family

    for _, group in groupby(events, key=same):
        alike = list(group)
        names = sorted((event.subject for event in alike), key=_natural)
        yield alike[0].time, span(names) or "ride", told(alike[0].what)


def _natural(name: str) -> list[tuple[int, str]]:
    return [(int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"(\d+)", name)]


def _zone_table(run: Run) -> Table:
    table = Table(box=None, pad_edge=False)
    for heading, justify in (
        ("zone", "left"), ("state", "left"), ("pressure", "right"), ("clearance", "right"),
        ("force", "right"), ("furthest from safe", "left"), ("first out", "left"),
    ):  # fmt: skip
        table.add_column(heading, justify=justify)  # type: ignore[arg-type]
    for name, zone in run.zones.items():
        table.add_row(
            name,
            zone.state,
            units.format_pressure(zone.now.pressure, run.plan.circuit.ambient.pressure),
            f"{zone.now.gap * 1e3:.1f} mm",
            units.format_force(zone.now.force),
            zone.now.brake,
            zone.first_out,
        )
    return table


def _files(run: Run, options: argparse.Namespace) -> Files:
    """What is to be written where."""
    if not _writes(options):
        return ()
    from pneumo.report.json_report import json_text, run_csv, run_document
    from pneumo.scenario.event import as_data
    from pneumo.scenario.telling import told

    rows = [(s.name, s.unit, s.values.tolist()) for s in run.signals]

    def as_json() -> str:
        return json_text(
            run_document(
                document=run.plan.circuit.path,
                ride=run.plan.circuit.ride.name,
                scenario=run.plan.scenario,
                faults=run.plan.faults,
                program=pneumo.__version__,
                times=run.times,
                signals=rows,
                events=[
                    {
                        "time": e.time,
                        "kind": e.kind,
                        "subject": e.subject,
                        **as_data(e.what),
                        "text": told(e.what),
                    }
                    for e in run.events
                ],
                unsound=run.unsound,
            )
        )

    return ((options.csv, lambda: run_csv(run.times, rows)), (options.json, as_json))
