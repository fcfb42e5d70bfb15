"""Results on the terminal, as Rich tables.

Every state has a letter or a word; colour only repeats it, so the tables read the same in a pipe,
under NO_COLOR and to colour-blind readers. Words from documents are printed as they are, never
read as markup.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from pneumo import units
from pneumo.circuit.symmetry import span
from pneumo.components.base import Component, FaultMode
from pneumo.errors import Finding
from pneumo.report.matrix import LETTERS, Cell, Matrix, Row, latent, matrix, undetected
from pneumo.report.unsound import unsound_words, why_words
from pneumo.verification.case import Injection
from pneumo.verification.verdict import UNSOUND, VERDICTS, Case, Outcome, Unsound, Verification
from pneumo.verification.wording import (
    case_words,
    injection_words,
    outcome_words,
    state_words,
)

STYLES = {"S": "", "L": "bold yellow", "N": "bold black on yellow", "U": "bold white on red"}
_NOT_RUN = "·"
LEGEND = (
    "S safe, L late, U unsafe, N not calculated; small letter: not detected; · not run. "
    "One letter per state, in this order: {states}."
)


def print_findings(console: Console, findings: Sequence[Finding]) -> None:
    """Every finding with its place, then how many there are."""
    for finding in findings:
        style = "bold red" if finding.level == "error" else "bold yellow"
        place = finding.file if not finding.line else f"{finding.file}:{finding.line}"
        owner = ".".join(part for part in (finding.component, finding.field) if part)
        line = Text.assemble((place, "bold"), ": ", (finding.level, style), ": ")
        if owner:
            line.append(f"{owner}: ")
        line.append(finding.found)
        console.print(line, soft_wrap=True)
        if finding.wanted:
            console.print(Text(f"    {finding.wanted}"), soft_wrap=True)
    errors = sum(finding.level == "error" for finding in findings)
    if findings:
        console.print(
            f"{_count(errors, 'error')}, {_count(len(findings) - errors, 'warning')}",
            highlight=False,
        )


def print_events(console: Console, events: Iterable[tuple[float, str, str]]) -> None:
    """Events of a run: time [s], who, what."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("time", justify="right", no_wrap=True)
    table.add_column("where", overflow="fold")
    table.add_column("what", overflow="fold", ratio=1)
    for time, where, what in events:
        table.add_row(f"{time:.3f} s", Text(where), Text(what))
    console.print(table)


def print_verification(
    console: Console, verification: Verification, *, everything: bool = False
) -> None:
    """Summary, matrix and the cases that are not safe.

    `everything`: the matrix also shows the faults that are safe everywhere, and every case that
    no alarm detected is listed.
    """
    table = matrix(verification)
    console.print(Text(headline(verification), style="bold"))
    print_unsound(console, verification.unsound)
    console.print(Text(summary(verification)))
    console.print()
    print_matrix(console, table, everything=everything)
    missing = [case for case in verification.cases if not case.calculated]
    if missing:
        console.print(Text("Not calculated", style="bold"))
        print_missing(console, missing)
    troubled = [case for case in verification.cases if case.worst in ("late", "unsafe")]
    if troubled:
        console.print(Text("Not safe", style="bold"))
        print_cases(console, troubled)
    hidden = latent(table)
    if hidden and everything:
        console.print(Text("Not detected by any alarm", style="bold"))
        for row, states in hidden:
            console.print(Text(f"  {row_name(row)} ({', '.join(states)})"), soft_wrap=True)
    elif hidden:
        console.print(
            f"{_count(len(hidden), 'row')} with a case that no alarm detected; --all and the "
            "report list them.",
            highlight=False,
            soft_wrap=True,
        )


def print_unsound(console: Console, found: Sequence[Unsound]) -> None:
    """What goes wrong without any fault, each with its first cause; nothing when nothing does."""
    if not found:
        return
    console.print(Text(UNSOUND, style="bold white on red"))
    for each in found:
        console.print(Text(f"  {unsound_words(each)}", style="bold"), soft_wrap=True)
        console.print(Text(f"    {why_words(each)}"), soft_wrap=True)
    console.print()


def headline(verification: Verification) -> str:
    """Ride, site and document in one line."""
    where = (
        f"{verification.ride} at {verification.site}" if verification.site else (verification.ride)
    )
    return f"{where} ({verification.document})"


def summary(verification: Verification) -> str:
    """The result in plain sentences."""
    if not verification.cases:
        return "No case was run, so nothing is shown to be safe."
    words = [_counted(verification)]
    if verification.untested:
        words = ["NOT TESTED:", *verification.untested, *words]
    if not verification.finished:
        missing = sum(not case.calculated for case in verification.cases)
        words.insert(
            0,
            f"NOT FINISHED: {_count(missing, 'case')} could not be calculated, and nothing is "
            f"known of {'it' if missing == 1 else 'them'}.",
        )
    if verification.unsound:
        words.insert(0, "NOT SOUND WITHOUT ANY FAULT: correct that first.")
    return " ".join(words)


def _counted(verification: Verification) -> str:
    cases = verification.cases
    counts = {v: sum(case.worst == v for case in cases) for v in VERDICTS}
    if all(case.worst == "safe" for case in cases):
        words = f"Every zone reached its safe state in time in all {_count(len(cases), 'case')}."
        if len(cases) == 1:
            words = "Every zone reached its safe state in time in the one case that was run."
    else:
        zones = dict.fromkeys(
            o.zone for case in cases for o in case.outcomes if o.verdict in ("late", "unsafe")
        )
        told = [verdict for verdict in VERDICTS if verdict != "not calculated" or counts[verdict]]
        words = f"Of {_count(len(cases), 'case')}, {_and([f'{counts[v]} {v}' for v in told])}."
        if zones:
            words += f" Zones concerned: {', '.join(zones)}."
    return words + _unseen(cases)


def _unseen(cases: Sequence[Case]) -> str:
    """What no alarm told of, and what the logic took for safe, in sentences; "" = nothing."""
    words = ""
    hidden = sum(map(undetected, cases))
    if hidden == 1:
        words += " One case was not detected by any alarm."
    elif hidden:
        words += f" {hidden} cases were not detected by any alarm."
    lying = sum(any(o.false_indication for o in case.outcomes) for case in cases)
    if lying:
        number = _count(lying, "case")
        words += f" In {number} the controller showed closed and the brakes were not."
    return words


def print_matrix(console: Console, table: Matrix, *, everything: bool = False) -> None:
    """Rows are events, columns zones; a cell has one letter per operating state.

    More zones than fit the width go into further tables.
    """
    rows = [row for row in table.rows if everything or _telling(row)]
    if rows:
        for zones in _fitting(console.width, table):
            console.print(_matrix_table(table, rows, zones))
        console.print(Text(LEGEND.format(states=", ".join(table.all_states))))
    left_out = len(table.rows) - len(rows)
    if left_out:
        console.print(
            f"{_count(left_out, 'row')} in which every zone is safe "
            f"{'is' if left_out == 1 else 'are'} not shown; --all shows them.",
            highlight=False,
            soft_wrap=True,
        )
    console.print()


def print_cases(console: Console, cases: Iterable[Case]) -> None:
    """What went wrong, event by event: the states it was injected during, and for the worst of them
    why and the command that shows it."""
    injected: dict[Injection, list[Case]] = {}
    for case in cases:
        injected.setdefault(case.injection, []).append(case)
    for injection, same in injected.items():
        states = ", ".join(state_words(case.injected_during, case.state) for case in same)
        line = Text(f"  {injection_words(injection)}", style="bold")
        line.append(f" (injected during: {states})", style="not bold")
        console.print(line, soft_wrap=True)
        worst = max(
            same,
            key=lambda case: (
                VERDICTS.index(case.worst),
                any(outcome.false_indication for outcome in case.outcomes),
            ),
        )
        for outcome in worst.outcomes:
            if outcome.verdict != "safe":
                line = Text("    ")
                line.append(outcome.verdict, style=STYLES[LETTERS[outcome.verdict]])
                line.append(f" {outcome.zone}: {outcome_words(outcome)}{furthest_words(outcome)}")
                if outcome.false_indication:
                    line.append("; the controller showed it closed", style="bold")
                console.print(line, soft_wrap=True)
        if worst.replay:
            console.print(Text(f"    {worst.replay}"), soft_wrap=True)


def furthest_words(outcome: Outcome) -> str:
    """ "; furthest from safe brake_2: clearance 0.3 mm, force 0 N", "" when nothing is known."""
    if outcome.clearance is None or outcome.force is None:
        return ""
    return (
        f"; furthest from safe {span(outcome.furthest)}: clearance "
        f"{units.format_length(outcome.clearance)}, force {units.format_force(outcome.force)}"
    )


def print_missing(console: Console, cases: Iterable[Case]) -> None:
    """Each case that was not calculated, why, and the command that shows it."""
    for case in cases:
        console.print(Text(f"  {case_words(case)}", style="bold"), soft_wrap=True)
        line = Text("    ")
        line.append("not calculated", style=STYLES["N"])
        line.append(f": {case.trouble}")
        console.print(line, soft_wrap=True)
        if case.replay:
            console.print(Text(f"    {case.replay}"), soft_wrap=True)


def row_name(row: Row) -> str:
    """A row of the matrix in words: the components it covers and what befell them."""
    if row.injection.kind != "fault":
        return row.label
    return f"{span(row.represents or (row.component,))} {row.label}"


def print_faults(console: Console, components: Mapping[str, Component]) -> None:
    """What can be injected where; components with equal lists share one block."""
    blocks: dict[tuple[str, tuple[tuple[str, str, str], ...]], list[str]] = {}
    for name, component in components.items():
        modes = tuple((m.name, severity_words(m), m.effect) for m in component.fault_modes())
        blocks.setdefault((component.title, modes), []).append(name)
    for (kind, modes), names in blocks.items():
        if not modes:
            continue
        console.print(Text.assemble((span(names), "bold"), f"  {kind}"), soft_wrap=True)
        table = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 0))
        table.add_column(width=2)
        table.add_column(no_wrap=True)
        table.add_column(overflow="fold")
        table.add_column(overflow="fold", ratio=1)
        for mode, severity, effect in modes:
            table.add_row("", Text(mode), Text(severity), Text(effect))
        console.print(table)
        console.print()


def severity_words(mode: FaultMode) -> str:
    """The scale of a fault mode: "0 mm to 25 mm, else 2 mm"; "" when it has none."""
    scale = mode.severity
    if scale is None:
        return ""

    def text(value: float) -> str:
        return units.format_severity(value, scale.unit)

    return f"{text(scale.low)} to {text(scale.high)}, default {text(scale.default)}"


def _telling(row: Row) -> bool:
    return row.worst != "safe" or row.injection.kind != "fault"


def _fitting(width: int, table: Matrix) -> list[tuple[str, ...]]:
    """Zones in groups whose columns fit beside a first column of at least 24 letters."""
    room = max(width - 26, 12)
    groups: list[list[str]] = [[]]
    used = 0
    for zone in table.zones:
        need = _column(table, zone) + 2
        if groups[-1] and used + need > room:
            groups.append([])
            used = 0
        groups[-1].append(zone)
        used += need
    return [tuple(group) for group in groups if group]


def _matrix_table(table: Matrix, rows: Sequence[Row], zones: Sequence[str]) -> Table:
    shown = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))
    shown.add_column("event", overflow="fold", ratio=1)
    for zone in zones:
        shown.add_column(Text(zone), overflow="fold", width=_column(table, zone))
    for row in rows:
        cells = [
            _letters([row.cells.get((zone, state)) for state in table.all_states]) for zone in zones
        ]
        shown.add_row(Text(row_name(row)), *cells)
    return shown


def _column(table: Matrix, zone: str) -> int:
    """Width of a zone's column: a letter per state, and enough of its name."""
    return max(len(table.all_states), min(len(zone), 10))


def _letters(cells: Iterable[Cell | None]) -> Text:
    text = Text()
    for cell in cells:
        if cell is None:
            text.append(_NOT_RUN)
        else:
            letter = cell.letter.lower() if cell.undetected else cell.letter
            text.append(letter, style=STYLES[cell.letter])
    return text


def _and(words: Sequence[str]) -> str:
    return f"{', '.join(words[:-1])} and {words[-1]}"


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"
