"""A result of `pneumo verify --json`, read back into the records it was made from."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

from pneumo.circuit.action import FaultSpec
from pneumo.errors import InputError
from pneumo.report.json_report import VERIFICATION_FORMAT, VERIFICATION_VERSION
from pneumo.units import SEVERITY_UNITS, format_severity, parse_severity
from pneumo.verification.case import CONDITIONS, LOSSES, Injection, Loss
from pneumo.verification.verdict import (
    LINKS,
    VERDICTS,
    WRONG,
    Basis,
    Case,
    Cause,
    Outcome,
    Unsound,
    Verification,
)
from pneumo.verification.wording import injection_words, state_words

T = TypeVar("T")


FORMER = {
    "struck_in": "injected_during",
    "struck_at": "injected_at",
    "clock_from": "limit_from",
    "stands_for": "represents",
    "asked_at": "demanded_at",
    "revealed": "detected",
    "believed": "indicated",
    "false_belief": "false_indication",
}
"""Names of fields in version 2, and what they are called now."""


def read_verification(
    path: str | Path, remark: Callable[[str], None] | None = None
) -> Verification:
    """A saved verification, without its traces.

    `remark`: is told that it is of an earlier version, when it is.

    Raises
    ------
    InputError
        When the file cannot be read, is something else, or is of a later version.
    """
    try:
        document = json.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}).") from error
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path}: not a JSON file: {error}.") from error
    if not isinstance(document, dict) or document.get("format") != VERIFICATION_FORMAT:
        raise InputError(
            f"{path}: not the result of a verification; choose a file that pneumo verify --json "
            "has written."
        )
    version = document.get("version")
    if version == 2:
        document = _renamed(document)
        if remark is not None:
            remark(f"{path}: written by an earlier version; its fields have other names now.")
    elif version != VERIFICATION_VERSION:
        raise InputError(
            f"{path}: version {version} of the format; this program reads versions 2 and "
            f"{VERIFICATION_VERSION}. Run the verification again."
        )
    try:
        return _verification(document)
    except _WrongFieldError as error:
        raise InputError(f"{path}: {error}. Run the verification again.") from error


def _renamed(value: Any) -> Any:
    if isinstance(value, dict):
        return {FORMER.get(key, key): _renamed(item) for key, item in value.items()}
    return [_renamed(item) for item in value] if isinstance(value, list) else value


class _WrongFieldError(Exception):
    """A field that is missing or holds something else."""


def _verification(entry: Mapping[str, Any]) -> Verification:
    return Verification(
        document=_text(entry, "document"),
        ride=_text(entry, "ride"),
        site=_text(entry, "site"),
        cases=_each(entry, "cases", _case),
        traces=(),
        untested=_texts(entry, "untested"),
        assumptions=_texts(entry, "assumptions"),
        version=_text(entry, "program"),
        unsound=_each(entry, "unsound", _unsound),
    )


def _unsound(entry: Mapping[str, Any]) -> Unsound:
    cause = entry.get("cause", "")
    if cause is not None and not isinstance(cause, dict):
        raise _WrongFieldError("cause is missing or is not an entry")
    return Unsound(
        zone=_text(entry, "zone"),
        what=_one_of(entry, "what", WRONG),
        alarm=_text(entry, "alarm"),
        time=_number(entry, "time"),
        commanded=_one_of(entry, "commanded", ("open", "closed", "")),
        cause=None if cause is None else _cause(cause),
        allowed=_number_or_none(entry, "allowed"),
        needed=_number_or_none(entry, "needed"),
    )


def _cause(entry: Mapping[str, Any]) -> Cause:
    return Cause(
        component=_text(entry, "component"),
        line=int(_number(entry, "line")),
        link=_one_of(entry, "link", LINKS),
        enters=_text(entry, "enters"),
        leaves=_text(entry, "leaves"),
        before=_number(entry, "before"),
        after=_number(entry, "after"),
        backwards=_flag(entry, "backwards"),
        position=_number_or_none(entry, "position"),
        energised=None if entry.get("energised", "") is None else _flag(entry, "energised"),
        commanded_by=_text(entry, "commanded_by"),
    )


def _case(entry: Mapping[str, Any]) -> Case:
    former = "faults" not in entry
    events = _each(entry, "events", _event)
    return Case(
        injection=_former(entry) if former else _injection(entry),
        effect=_text(entry, "effect"),
        standard=_text(entry, "standard"),
        injected_during=_one_of(entry, "injected_during", CONDITIONS),
        state=_former_state(entry) if former else _text(entry, "state"),
        injected_at=_number(entry, "injected_at"),
        demand_at=events[-1][0]
        if former and events
        else _number(entry, "limit_from")
        if former
        else _number(entry, "demand_at"),
        limit_from=_number(entry, "limit_from"),
        represents=_texts(entry, "represents"),
        outcomes=_each(entry, "outcomes", _outcome),
        replay=_text(entry, "replay"),
        events=events,
        # a result of before has none
        trouble=_text(entry, "trouble") if "trouble" in entry else "",
    )


def _injection(entry: Mapping[str, Any]) -> Injection:
    loss = entry.get("loss", "")
    if loss is not None and not (isinstance(loss, dict) and {"what", "zone"} <= loss.keys()):
        raise _WrongFieldError("loss is missing or is not an entry with what and zone")
    return Injection(
        None if loss is None else Loss(_one_of(loss, "what", LOSSES), _text(loss, "zone")),
        _each(entry, "faults", _fault),
    )


def _fault(entry: Mapping[str, Any]) -> FaultSpec:
    unit = _one_of(entry, "unit", ("", *SEVERITY_UNITS))
    return FaultSpec(
        _text(entry, "component"), _text(entry, "mode"), _number_or_none(entry, "severity"), unit
    )


def _former(entry: Mapping[str, Any]) -> Injection:
    """What an earlier program saved had no records, only words. Every loss that there can be is put
    into words, and the one whose words they are is taken."""
    kind = _one_of(entry, "kind", ("none", "loss", "fault"))
    if kind == "fault":
        severity, unit = _former_severity(_text(entry, "severity"))
        fault = FaultSpec(_text(entry, "component"), _text(entry, "mode"), severity, unit)
        return Injection(faults=(fault,))
    zones = [outcome.zone for outcome in _each(entry, "outcomes", _outcome)]
    losses = [Loss(what) for what in LOSSES] + [Loss("feed cut", zone) for zone in zones]
    known = {injection_words(each): each for each in (Injection(), *map(Injection, losses))}
    return known[_one_of(entry, "event", tuple(known))]


def _former_severity(words: str) -> tuple[float | None, str]:
    for unit in SEVERITY_UNITS if words else ():
        try:
            value = parse_severity(words, unit)
        except ValueError:
            continue
        if format_severity(value, unit) == words:
            return value, unit
    if words:
        raise _WrongFieldError(f"severity is {words!r}, which no fault has")
    return None, ""


def _former_state(entry: Mapping[str, Any]) -> str:
    """That of the zone by which the case was named."""
    head = injection_words(_former(entry))
    condition = _one_of(entry, "injected_during", CONDITIONS)
    known = {
        f"{head} / {state_words(condition, state)}": state
        for state in ("", *(o.injected_during for o in _each(entry, "outcomes", _outcome)))
    }
    return known.get(_text(entry, "name"), "")


def _event(entry: Mapping[str, Any]) -> tuple[float, str]:
    return _number(entry, "at"), _text(entry, "do")


def _outcome(entry: Mapping[str, Any]) -> Outcome:
    return Outcome(
        zone=_text(entry, "zone"),
        injected_during=_text(entry, "injected_during"),
        safe_state=_one_of(entry, "safe_state", ("open", "closed")),
        demanded_at=_number(entry, "demanded_at"),
        verdict=_one_of(entry, "verdict", VERDICTS),
        decided=_flag(entry, "decided"),
        detected=_flag(entry, "detected"),
        alarm=_text(entry, "alarm"),
        reached_after=_number_or_none(entry, "reached_after"),
        limit=_number(entry, "limit"),
        lost_after=_number_or_none(entry, "lost_after"),
        held=_number(entry, "held"),
        least_force=_number_or_none(entry, "least_force"),
        indicated=_text(entry, "indicated"),
        false_indication=_flag(entry, "false_indication"),
        basis=None if entry.get("basis") is None else _basis(entry["basis"]),
        # an earlier result has only the sentence
        trouble=_text(entry, "trouble" if "basis" in entry else "why"),
        furthest=_texts(entry, "furthest"),
        clearance=_number_or_none(entry, "clearance"),
        force=_number_or_none(entry, "force"),
        line_delay=_number(entry, "line_delay") if "line_delay" in entry else 0.0,
    )


def _basis(entry: Any) -> Basis:
    if not isinstance(entry, dict):
        raise _WrongFieldError("basis is missing or is not an entry")
    return Basis(
        needed=int(_number(entry, "needed")),
        brakes=int(_number(entry, "brakes")),
        clamping_force=_number_or_none(entry, "clamping_force"),
        hold=_number(entry, "hold"),
        watched=_number(entry, "watched"),
        ended_by=_one_of(entry, "ended_by", ("run", "demand")),
    )


def _each(
    entry: Mapping[str, Any], name: str, read: Callable[[Mapping[str, Any]], T]
) -> tuple[T, ...]:
    values = entry.get(name)
    if not isinstance(values, list) or not all(isinstance(value, dict) for value in values):
        raise _WrongFieldError(f"{name} is missing or is not a list of entries")
    return tuple(read(value) for value in values)


def _texts(entry: Mapping[str, Any], name: str) -> tuple[str, ...]:
    values = entry.get(name)
    if not isinstance(values, list) or not all(isinstance(value, str) for value in values):
        raise _WrongFieldError(f"{name} is missing or is not a list of texts")
    return tuple(values)


def _text(entry: Mapping[str, Any], name: str) -> str:
    value = entry.get(name)
    if not isinstance(value, str):
        raise _WrongFieldError(f"{name} is missing or is not a text")
    return value


def _one_of(entry: Mapping[str, Any], name: str, known: tuple[str, ...]) -> Any:
    value = entry.get(name)
    if value not in known:
        raise _WrongFieldError(f"{name} is {value!r}; it can be {', '.join(known)}")
    return value


def _flag(entry: Mapping[str, Any], name: str) -> bool:
    value = entry.get(name)
    if not isinstance(value, bool):
        raise _WrongFieldError(f"{name} is missing or is not true or false")
    return value


def _number(entry: Mapping[str, Any], name: str) -> float:
    value = entry.get(name)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise _WrongFieldError(f"{name} is missing or is not a number")
    return float(value)


def _number_or_none(entry: Mapping[str, Any], name: str) -> float | None:
    return None if entry.get(name, "") is None else _number(entry, name)
