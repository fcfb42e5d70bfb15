"""`pneumo run`: one run of a circuit, its events and where every zone ends."""

from __future__ import annotations

import argparse
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

import pneumo
from pneumo import units
from pneumo.circuit.action import Action, Strike
from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.former import remark
from pneumo.circuit.sentence import SentenceError, parse_action, parse_fault, touched
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
from pneumo.errors import InputError, UnfinishedError
from pneumo.quantity import QuantityError
from pneumo.report.files import check_targets
from pneumo.report.label import span

if TYPE_CHECKING:
    from pneumo.scenario.event import RunEvent
    from pneumo.scenario.play import Play
    from pneumo.verification.verdict import Outcome, Unsound

DEFAULT_UNTIL = 20.0
"""How long a run lasts when neither the scenario nor the user says [s]."""

FINEST, MOST_ROWS = 0.01, 5000
"""Default grid of written signals: 10 ms, or coarser to stay below so many rows."""

TOO_MANY_ROWS = 1_000_000
"""A grid that asks for more rows is refused rather than filling the memory."""


def main(options: argparse.Namespace) -> int:
    """Runs and prints; exit code 1 when a safe state was asked for and a zone did not keep it, 3
    when the run or one of its files has no end."""
    circuit = load_circuit(options.file)
    events, until = planned(circuit, options)
    check_targets(find_document(options.file), options.csv, options.json)
    step = _grid(options, until)
    kernels()
    from pneumo.network.compile import compile_circuit
    from pneumo.scenario.event import alarms_raised
    from pneumo.scenario.play import Play
    from pneumo.verification.unsound import missed, unsound

    apart = frozenset(name for event in events if (name := touched(event.action)) is not None)
    play = Play(compile_circuit(circuit, apart))
    if _writes(options):
        play.plant.record(step, until)
    play.schedule(events)
    with error_console().status("Running") if until > 600.0 else _Quiet():
        try:
            play.advance(until)
        except UnfinishedError as error:
            _print(circuit, play, play.now, None)
            files = " No file was written." if _writes(options) else ""
            raise UnfinishedError(f"{circuit.path}: {error}{files}") from error
    outcomes = judged(play)
    found = unsound(circuit, events, alarms_raised(play.events), outcomes, missed(play))
    written = write_results(_files(circuit, play, options, found), debug=options.debug)
    _print(circuit, play, until, outcomes, found)
    if not written:
        return 3
    return 0 if all(outcome.verdict == "safe" and outcome.decided for outcome in outcomes) else 1


def _writes(options: argparse.Namespace) -> bool:
    return options.csv is not None or options.json is not None


def _grid(options: argparse.Namespace, until: float) -> float:
    """Time from one written row to the next [s]."""
    if options.step is None:
        return max(FINEST, until / MOST_ROWS)
    step = _duration(options.step, "--step")
    if step <= 0.0:
        raise InputError(f"--step {options.step}: the grid must be longer than 0 s.")
    if _writes(options) and until / step > TOO_MANY_ROWS:
        raise InputError(
            f"--step {options.step}: that gives more than {TOO_MANY_ROWS} rows in {until:g} s; "
            "write a longer one."
        )
    return step


class _Quiet:
    def __enter__(self) -> None: ...
    def __exit__(self, *error: object) -> None: ...


def planned(circuit: Circuit, options: argparse.Namespace) -> tuple[list[Event], float]:
    """Events of the scenario and of the command line in order of time, and the end."""
    events: list[Event] = []
    until = DEFAULT_UNTIL
    if options.scenario is not None:
        scenario = circuit.scenarios.get(options.scenario)
        if scenario is None:
            known = (
                f"Scenarios: {listed(circuit.scenarios)}."
                if circuit.scenarios
                else ("The document has no scenarios.")
            )
            hint = near(options.scenario, circuit.scenarios, known)
            raise InputError(f"{circuit.path}: there is no scenario {options.scenario!r}. {hint}")
        events += scenario.events
        until = scenario.until
    added: list[Event] = []
    try:
        for text in options.do:
            added.append(_event(circuit, text))
        for text in options.fault:
            fault = parse_fault(text, circuit.components)
            added.append(Event(fault.at, Strike(fault)))
    except SentenceError as error:
        raise InputError(f"{circuit.path}: {text!r}: {error}") from None
    for text in (*options.do, *options.fault):
        if said := remark(text):
            error_console().print(f"{text!r}: {said}", markup=False)
    if options.until is not None:
        until = _duration(options.until, "--until")
    elif added:
        until = max(until, max(event.time for event in added) + 5.0)
    if until <= 0.0:
        raise InputError(f"--until {options.until}: a run must be longer than 0 s.")
    for event, text in zip(added, (*options.do, *options.fault), strict=True):
        if event.time > until:
            raise InputError(
                f"{text!r} lies beyond the end of the run at {until:g} s; give a longer --until."
            )
    return sorted((*events, *added), key=lambda event: event.time), until


def _event(circuit: Circuit, text: str) -> Event:
    moment, colon, sentence = text.partition(":")
    words = moment.split(maxsplit=1)
    if not colon or len(words) != 2 or words[0] != "at":
        raise InputError(f'--do {text!r}: write it like "at 2 s: close trim".')
    time = _duration(words[1], "--do")
    action: Action = parse_action(sentence, circuit.components, circuit.zones, circuit.gates, time)
    return Event(time, action)


def _duration(text: str, option: str) -> float:
    try:
        return units.DURATION.parse(text)
    except QuantityError as error:
        raise InputError(f"{option} {text}: {error.found} {error.wanted}") from None


def judged(play: Play) -> tuple[Outcome, ...]:
    """The verdict on every zone when the run asked for the safe state, else nothing."""
    from pneumo.verification.demand import demands
    from pneumo.verification.judge import judge

    return tuple(
        judge(play, zone, "", demand.start, demand.start, demand.end)
        for name, zone in play.compiled.circuit.zones.items()
        for demand in demands(play.events, name)
    )


def _print(
    circuit: Circuit,
    play: Play,
    until: float,
    outcomes: tuple[Outcome, ...] | None,
    found: tuple[Unsound, ...] = (),
) -> None:
    """`outcomes`: None when the run stopped before its end, so that nothing can be judged."""
    from pneumo.report.text import print_events, print_unsound

    console = result_console()
    console.print(f"{circuit.ride.name}: {round(until, 6):g} s", markup=False)
    print_unsound(console, found)
    if play.events:
        print_events(console, _rows(play.events))
    if circuit.zones:
        console.print(_zone_table(circuit, play))
    if outcomes is None:
        console.print(f"No verdict: the run stopped at {until:.3f} s.")
        return
    asked = Counter(outcome.zone for outcome in outcomes)
    for outcome in outcomes:
        word = "safe" if outcome.verdict == "safe" else outcome.verdict.upper()
        if not outcome.decided:
            word = "UNDECIDED"
        when = f"asked at {outcome.asked_at:g} s, " if asked[outcome.zone] > 1 else ""
        console.print(Text(f"{outcome.zone}: {word}: {when}{outcome.why}"))
    if circuit.zones and not outcomes:
        console.print("No verdict: no ride stop, power loss or fault asked for a safe state.")


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


def _zone_table(circuit: Circuit, play: Play) -> Table:
    from pneumo.verification.judge import zone_now

    table = Table(box=None, pad_edge=False)
    for heading, justify in (
        ("zone", "left"), ("state", "left"), ("pressure", "right"), ("gap", "right"),
        ("force", "right"), ("furthest from safe", "left"), ("first out", "left"),
    ):  # fmt: skip
        table.add_column(heading, justify=justify)  # type: ignore[arg-type]
    for name in circuit.zones:
        now = zone_now(play, name)
        logic = play.controller.logic.zones[name]
        table.add_row(
            name,
            logic.state,
            units.format_pressure(now.pressure, circuit.ambient.pressure),
            f"{now.gap * 1e3:.1f} mm",
            units.format_force(now.force),
            now.brake,
            logic.first_out,
        )
    return table


def _files(
    circuit: Circuit, play: Play, options: argparse.Namespace, found: tuple[Unsound, ...]
) -> Files:
    """What is to be written where."""
    if not _writes(options):
        return ()
    from pneumo.report.json_report import json_text, run_csv, run_document
    from pneumo.scenario.event import as_data
    from pneumo.scenario.signal import signals
    from pneumo.scenario.telling import told

    times = play.plant.sample_times.tolist()
    rows = [(s.name, s.unit, s.values.tolist()) for s in signals(play)]

    def as_json() -> str:
        return json_text(
            run_document(
                document=circuit.path,
                ride=circuit.ride.name,
                scenario=options.scenario or "",
                faults=options.fault,
                program=pneumo.__version__,
                times=times,
                signals=rows,
                events=[
                    {
                        "time": e.time,
                        "kind": e.kind,
                        "subject": e.subject,
                        **as_data(e.what),
                        "text": told(e.what),
                    }
                    for e in play.events
                ],
                unsound=found,
            )
        )

    return ((options.csv, lambda: run_csv(times, rows)), (options.json, as_json))
