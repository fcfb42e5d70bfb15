"""A verification as one HTML file that needs nothing else: no network, no scripts, no fonts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from pneumo import units
from pneumo.circuit.circuit import Circuit
from pneumo.circuit.symmetry import span
from pneumo.components.iso13849_2 import SOURCE
from pneumo.harmless import harmless
from pneumo.report import palette
from pneumo.report.cautions import CAUTIONS, LIMITS
from pneumo.report.drawing import drawings, legend
from pneumo.report.matrix import Matrix, Row, latent, matrix, undetected
from pneumo.report.text import furthest_words, row_name, summary
from pneumo.report.traces import case_charts
from pneumo.report.unsound import unsound_words, why_words
from pneumo.verification.verdict import DETECTED, UNSOUND, Case, Outcome, Verification
from pneumo.verification.wording import case_words, outcome_words

SYMBOLS = {"S": "✓", "L": "◔", "N": "?", "U": "✗"}
"""Beside the letter of a verdict, so that it is read without colour."""


@dataclass(frozen=True)
class _Trouble:
    """A case that is late or unsafe, as the template shows it."""

    anchor: str
    case: Case
    outcomes: tuple[Outcome, ...]
    charts: Markup


@dataclass(frozen=True)
class _Group:
    """Rows of the matrix under one heading."""

    title: str
    rows: tuple[Row, ...]


def html_report(
    verification: Verification,
    circuit: Circuit,
    *,
    made_on: str = "",
    cautions: Sequence[str] = CAUTIONS,
    limits: Sequence[str] = LIMITS,
    faults: Sequence[tuple[str, Sequence[str]]] = (),
) -> str:
    """The report as one HTML document; the same arguments give the same text.

    `made_on`: a date to print, as it is; "" leaves it out, because only the caller has a clock.
    `faults`: which can be told apart, as headings, "" = none, and the lines under them.
    Text from the document is escaped everywhere, and letters that act are taken out.
    """
    table = matrix(verification)
    troubles = _troubles(verification)
    missing = [case for case in verification.cases if not case.calculated]
    text = (
        environment()
        .get_template("report.html.j2")
        .render(
            v=verification,
            made_on=made_on,
            summary=summary(verification),
            counts=_counts(verification),
            drawings=[(d.title, Markup(d.svg)) for d in drawings(circuit)],
            legend=Markup(legend(circuit)),
            palette=palette,
            matrix=table,
            groups=_groups(table),
            anchors={
                **{trouble.case: trouble.anchor for trouble in troubles},
                **{case: f"missing-{i}" for i, case in enumerate(missing, start=1)},
            },
            troubles=troubles,
            missing=missing,
            latent=latent(table),
            standard=SOURCE,
            requirements=_requirements(circuit),
            cautions=cautions,
            limits=limits,
            faults=faults,
            symbols=SYMBOLS,
            detected=DETECTED,
            unsound_title=UNSOUND,
            unsound_words=unsound_words,
            why_words=why_words,
            row_name=row_name,
            case_words=case_words,
            furthest_words=furthest_words,
            outcome_words=outcome_words,
            span=span,
            length=units.format_length,
            seconds=_seconds,
            force=units.format_force,
        )
    )
    return harmless(text, keep="\n\t")


def environment() -> Environment:
    """Of every page: text is escaped, a name that is not given is an error."""
    return Environment(
        loader=PackageLoader("pneumo.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def _counts(verification: Verification) -> dict[str, int]:
    cases = verification.cases
    injected = [case for case in cases if case.injection.kind != "none" and case.calculated]
    hidden = sum(map(undetected, injected))
    return {
        "cases": len(cases),
        "safe": sum(case.worst == "safe" for case in cases),
        "late": sum(case.worst == "late" for case in cases),
        "unsafe": sum(case.worst == "unsafe" for case in cases),
        "missing": sum(not case.calculated for case in cases),
        "detected": len(injected) - hidden,
        "undetected": hidden,
    }


def _troubles(verification: Verification) -> list[_Trouble]:
    traces = {trace.case: trace for trace in verification.traces}
    troubled = [case for case in verification.cases if case.worst in ("late", "unsafe")]
    return [
        _Trouble(
            f"case-{number}",
            case,
            tuple(o for o in case.outcomes if o.verdict != "safe"),
            Markup(case_charts(case, traces[case])) if case in traces else Markup(""),
        )
        for number, case in enumerate(troubled, start=1)
    ]


def _groups(table: Matrix) -> list[_Group]:
    groups: list[_Group] = []
    for row in table.rows:
        kind = row.injection.kind
        heading = {"none": "Without a fault", "loss": "Losses"}.get(kind) or row.component
        if groups and groups[-1].title == heading:
            groups[-1] = _Group(heading, (*groups[-1].rows, row))
        else:
            groups.append(_Group(heading, (row,)))
    return groups


def _requirements(circuit: Circuit) -> list[tuple[str, ...]]:
    """Rows: zone, springs, safe state, within, hold, force, clearance, brakes needed, about."""
    rows: list[tuple[str, ...]] = []
    for name, zone in circuit.zones.items():
        need = zone.requirement
        rows.append(
            (
                name,
                f"spring-{circuit.zone_spring(name)}" if zone.brakes else "",
                zone.safe_state,
                _seconds(need.within),
                _seconds(need.hold),
                "not judged"
                if need.clamping_force is None
                else units.format_force(need.clamping_force),
                "not judged" if need.clearance is None else units.format_length(need.clearance),
                f"{zone.brakes_needed} of {len(zone.brakes)}",
                zone.about,
            )
        )
    return rows


def _seconds(value: float | None) -> str:
    return "–" if value is None else units.format_time(value)
