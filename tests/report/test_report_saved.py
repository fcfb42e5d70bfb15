"""Tests of pneumo/report/saved.py: a saved verification is what it was, or says why it is not."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from report_examples import case, missing, outcome, verification

from pneumo.errors import InputError
from pneumo.report.json_report import json_text, verification_document
from pneumo.report.saved import FORMER, read_verification
from pneumo.verification.case import Injection, Loss
from pneumo.verification.wording import case_words, outcome_words


def written(folder: Path, document: Any) -> Path:
    path = folder / "saved.json"
    path.write_text(json_text(document), encoding="utf-8")
    return path


def test_it_comes_back_as_it_was(tmp_path: Path) -> None:
    events = ((0.0, "close all"), (20.0, "fault trim_valve_a stuck"), (22.0, "ride stop"))
    made = verification(
        cases=(*verification().cases, case(mode="stuck", events=events)),
        untested=("Zone trim never opened.",),
    )
    path = written(tmp_path, verification_document(made))
    assert read_verification(path) == replace(made, traces=())


def test_what_an_earlier_program_saved_without_records_comes_back(tmp_path: Path) -> None:
    cut = Injection(Loss("feed cut", "block"))
    events = ((0.0, "close all"), (4.0, "power off"), (6.0, "ride stop"))
    cases = (
        *verification().cases,
        case(state="faulted", injected_during="open", injection=cut,
             outcomes=(outcome(injected_during="faulted"),
                       outcome("block", injected_during="faulted"))),
    )  # fmt: skip
    made = verification(cases=tuple(replace(c, events=events) for c in cases), traces=())
    document = verification_document(made)
    for entry in document["cases"]:
        for field in ("loss", "faults", "state", "demand_at"):
            del entry[field]
    read = read_verification(written(tmp_path, document))
    for back, one in zip(read.cases, made.cases, strict=True):
        assert (back.injection, back.demand_at) == (one.injection, one.demand_at)
        assert back.outcomes == one.outcomes
    assert [case_words(c) for c in read.cases] == [case_words(c) for c in made.cases]


def test_version_2_is_read_with_a_message(tmp_path: Path) -> None:
    made = verification(traces=())
    text = json_text(verification_document(made))
    for old, new in FORMER.items():
        text = text.replace(f'"{new}":', f'"{old}":')
    document = json.loads(text) | {"version": 2}
    for entry in document["cases"]:
        for result in entry["outcomes"]:
            del result["basis"], result["trouble"]
    said: list[str] = []
    read = read_verification(written(tmp_path, document), said.append)
    assert len(said) == 1 and "earlier version" in said[0]
    for back, one in zip(read.cases, made.cases, strict=True):
        assert replace(back, outcomes=()) == replace(one, outcomes=())
        for result, known in zip(back.outcomes, one.outcomes, strict=True):
            assert outcome_words(result) == outcome_words(known)
            assert replace(result, basis=known.basis, trouble="") == known


def test_a_case_that_was_not_calculated_comes_back(tmp_path: Path) -> None:
    made = verification(cases=(*verification().cases, missing()), traces=())
    read = read_verification(written(tmp_path, verification_document(made)))
    assert read == made and not read.finished and not read.all_safe


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "not a JSON file"),
        ("[" * 100_000, "not a JSON file"),
        (f'{{"version": {"9" * 5000}}}', "not a JSON file"),
        ("[]", "not the result of a verification"),
        ('{"format": "pneumo-run"}', "not the result of a verification"),
        ('{"format": "pneumo-verification", "version": 1}', "version 1 of the format"),
        ('{"format": "pneumo-verification", "version": 3}', "document is missing"),
    ],
)
def test_something_else_is_refused(text: str, said: str, tmp_path: Path) -> None:
    path = tmp_path / "other.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_verification(path)
    assert said in str(caught.value) and str(path) in str(caught.value)


def test_a_file_that_is_not_there_or_is_not_text(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_verification(tmp_path / "none.json")
    with pytest.raises(InputError, match="cannot be read"):
        read_verification(tmp_path)
    (tmp_path / "bytes").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not a JSON file"):
        read_verification(tmp_path / "bytes")


NULLABLE = ("reached_after", "lost_after", "least_force", "clearance", "force", "loss", "basis")
"""Fields without a value where there is nothing to say."""


@pytest.mark.parametrize("wrong", [None, 3, "x", [3], {"a": 1}, True])
def test_every_wrong_field_is_refused_or_right(wrong: Any, tmp_path: Path) -> None:
    """No field of a wrong type gets through as something of another type."""
    document = verification_document(verification())
    for place in (document, document["cases"][0], document["cases"][0]["outcomes"][0]):
        for name in list(place):
            kept = place[name]
            if name in (
                "format",
                "version",
                "traces",
                "counts",
                "all_safe",
                "finished",
                "worst",
                "margin",
                "name",
                "why",
                "event",
                "kind",
                "component",
                "mode",
                "severity",
            ):
                continue  # told from the rest
            if isinstance(kept, type(wrong)) and not isinstance(kept, list):
                continue
            if isinstance(kept, float) and isinstance(wrong, int) and not isinstance(wrong, bool):
                continue
            if wrong is None and name in NULLABLE:
                continue
            if wrong == 3 and name in ("lost_after",):
                continue
            place[name] = wrong
            with pytest.raises(InputError, match=name):
                read_verification(written(tmp_path, json.loads(json.dumps(document))))
            place[name] = kept
