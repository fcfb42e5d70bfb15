"""Results for other programs: JSON with a named, versioned format, and CSV."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from pneumo.harmless import harmless, harmless_json
from pneumo.report.matrix import undetected
from pneumo.verification.verdict import VERDICTS, Case, Outcome, Trace, Unsound, Verification
from pneumo.verification.wording import case_words, injection_words, outcome_words

VERIFICATION_FORMAT = "pneumo-verification"
RUN_FORMAT = "pneumo-run"
VERIFICATION_VERSION, RUN_VERSION = 3, 3
"""Raised when a field is taken away or changes its meaning; new fields do not raise it.

Of both, 2: contacts are ON or OFF; in 1 they were made or broken, in fault modes too. A case
that was not calculated has a verdict of its own, a `trouble` and a count."""

Signal = tuple[str, str, Sequence[float]]
"""Name, unit, one value per time."""


def verification_document(verification: Verification) -> dict[str, Any]:
    """A verification as plain data for `json_text`.

    Fields, all SI (s, N, Pa gauge, m); null where there is no value:

    format, version     "pneumo-verification", 3
    program             version of pneumo that made it
    document, ride, site
    all_safe            true when no zone in any case is late, unsafe or not calculated, and
                        unsound and untested are empty
    finished            true when every case was calculated
    unsound[]           what goes wrong without any fault: zone ("": the ride), what (alarm, late,
                        unsafe, not reached, air lost), alarm, time, commanded, allowed (the time
                        limit that was over), needed (what it takes; null: it does not get there),
                        cause (null: none stands out)
    unsound[].cause     component, line, link (source, escape, blocked, fed, trapped, brake,
                        instrument; see pneumo/verification/verdict.py), enters, leaves (ports),
                        before, after (pressures there), backwards, position (of the spool),
                        energised, commanded_by
    counts              cases, and of these by their worst zone: safe, late, not_calculated,
                        unsafe; undetected: losses and faults of which a zone concerned was not told
    assumptions         sentences
    cases[]             name, event (both for people), kind (none, loss, fault), loss (null, or
                        what, zone), faults[] (component, mode, severity, unit; in the order in
                        which they are injected), component, mode, severity (of the first of them),
                        effect, standard, injected_during, state (of the zone concerned, "":
                        several are), injected_at, demand_at, limit_from, represents[], replay,
                        events[],
                        trouble (why it was not calculated, "" when it was), worst, outcomes[]
    cases[].events[]    at, do: what `replay` does, as in the scenarios of a document
    untested            sentences: states no case could be tried in
    cases[].outcomes[]  zone, injected_during, safe_state, demanded_at, verdict (safe, late, not
                        calculated, unsafe), decided (false: the run ended too early), detected,
                        alarm,
                        reached_after (null: never; with line_delay, what is added for the zone's
                        lines), line_delay, limit, margin, lost_after (null: held), held,
                        least_force (null: safe state open), indicated, false_indication, why (a
                        sentence), basis (null: not judged; needed of brakes, clamping_force, hold,
                        watched, ended_by: run or demand), trouble (why not),
                        furthest[] (brake furthest from the safe state, and those that move like
                        it), clearance, force (there, at the end)
    traces[]            case, time[], brake{zone: the first of furthest}, required{zone: force or
                        clearance}, and of that brake pressure{zone: []}, position{zone: []},
                        force{zone: []}
    """
    cases = verification.cases
    return {
        "format": VERIFICATION_FORMAT,
        "version": VERIFICATION_VERSION,
        "program": verification.version,
        "document": verification.document,
        "ride": verification.ride,
        "site": verification.site,
        "all_safe": verification.all_safe,
        "finished": verification.finished,
        "counts": {
            "cases": len(cases),
            **{v.replace(" ", "_"): sum(case.worst == v for case in cases) for v in VERDICTS},
            "undetected": sum(map(undetected, cases)),
        },
        "unsound": [asdict(each) for each in verification.unsound],
        "untested": list(verification.untested),
        "assumptions": list(verification.assumptions),
        "cases": [_case(case) for case in cases],
        "traces": [_trace(trace) for trace in verification.traces],
    }


def run_document(
    *,
    document: str,
    ride: str,
    scenario: str,
    faults: Sequence[str],
    program: str,
    times: Sequence[float],
    signals: Sequence[Signal],
    events: Sequence[Mapping[str, Any]],
    unsound: Sequence[Unsound] = (),
) -> dict[str, Any]:
    """A run as plain data for `json_text`.

    format, version    "pneumo-run", 3
    program, document, ride, scenario, faults[] (as written on the command line)
    time[]             [s]
    signals[]          name, unit, values[] (one per time; null: not a finite number)
    events[]           time [s], kind, subject, text (for people), event and its own fields
    unsound[]          as in a verification

    Raises ValueError when a signal and `times` differ in length.
    """
    _check_lengths(times, signals)
    return {
        "format": RUN_FORMAT,
        "version": RUN_VERSION,
        "program": program,
        "document": document,
        "ride": ride,
        "scenario": scenario,
        "faults": list(faults),
        "time": [_number(t) for t in times],
        "signals": [
            {"name": name, "unit": unit, "values": [_number(v) for v in values]}
            for name, unit, values in signals
        ],
        "unsound": [asdict(each) for each in unsound],
        "events": [
            {key: _number(v) if isinstance(v, float) else v for key, v in event.items()}
            for event in events
        ],
    }


def json_text(document: Mapping[str, Any]) -> str:
    """The document as JSON text with a line end; the same document gives the same bytes."""
    text = json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False)
    return harmless_json(text) + "\n"


def run_csv(times: Sequence[float], signals: Sequence[Signal]) -> str:
    """A run as CSV (RFC 4180): "time [s]", then one column "name [unit]" per signal.

    A value that is not finite is an empty field. Raises ValueError when lengths differ.
    """
    _check_lengths(times, signals)
    out = io.StringIO()
    writer = csv.writer(out)
    heads = (f"{name} [{unit}]" if unit else name for name, unit, _ in signals)
    writer.writerow(["time [s]", *map(harmless, heads)])
    for i, time in enumerate(times):
        writer.writerow([_field(time), *(_field(values[i]) for _, _, values in signals)])
    return out.getvalue()


def _check_lengths(times: Sequence[float], signals: Sequence[Signal]) -> None:
    for name, _, values in signals:
        if len(values) != len(times):
            raise ValueError(f"{name} has {len(values)} values for {len(times)} times")


def _field(value: float) -> str:
    return f"{float(value):.9g}" if math.isfinite(value) else ""


def _number(value: float | None) -> float | None:
    """JSON knows no infinity and no NaN."""
    return float(value) if value is not None and math.isfinite(value) else None


def _case(case: Case) -> dict[str, Any]:
    injection = case.injection
    first = injection.faults[0] if injection.faults else None
    return {
        "name": case_words(case),
        "event": injection_words(injection),
        "kind": injection.kind,
        "loss": None if injection.loss is None else asdict(injection.loss),
        "faults": [
            {"component": f.component, "mode": f.mode, "severity": f.severity, "unit": f.unit}
            for f in injection.faults
        ],
        "component": "" if first is None else first.component,
        "mode": "" if first is None else first.mode,
        "severity": "" if first is None else first.severity_text,
        "effect": case.effect,
        "standard": case.standard,
        "injected_during": case.injected_during,
        "state": case.state,
        "injected_at": _number(case.injected_at),
        "demand_at": _number(case.demand_at),
        "limit_from": _number(case.limit_from),
        "represents": list(case.represents),
        "replay": case.replay,
        "events": [{"at": _number(at), "do": sentence} for at, sentence in case.events],
        "trouble": case.trouble,
        "worst": case.worst,
        "outcomes": [_outcome(outcome) for outcome in case.outcomes],
    }


def _outcome(outcome: Outcome) -> dict[str, Any]:
    return {
        "zone": outcome.zone,
        "injected_during": outcome.injected_during,
        "safe_state": outcome.safe_state,
        "demanded_at": outcome.demanded_at,
        "verdict": outcome.verdict,
        "decided": outcome.decided,
        "detected": outcome.detected,
        "alarm": outcome.alarm,
        "reached_after": _number(outcome.reached_after),
        "line_delay": _number(outcome.line_delay),
        "limit": _number(outcome.limit),
        "margin": _number(outcome.margin),
        "lost_after": _number(outcome.lost_after),
        "held": _number(outcome.held),
        "least_force": _number(outcome.least_force),
        "indicated": outcome.indicated,
        "false_indication": outcome.false_indication,
        "why": outcome_words(outcome),
        "basis": None if outcome.basis is None else asdict(outcome.basis),
        "trouble": outcome.trouble,
        "furthest": list(outcome.furthest),
        "clearance": _number(outcome.clearance),
        "force": _number(outcome.force),
    }


def _trace(trace: Trace) -> dict[str, Any]:
    def lines(signals: Mapping[str, Sequence[float]]) -> dict[str, list[float | None]]:
        return {zone: [_number(v) for v in values] for zone, values in signals.items()}

    return {
        "case": case_words(trace.case),
        "time": [_number(t) for t in trace.time],
        "brake": trace.brake,
        "required": {zone: _number(need) for zone, need in trace.required.items()},
        "pressure": lines(trace.pressure),
        "position": lines(trace.position),
        "force": lines(trace.force),
    }
