"""Tests for pneumo/report/json_report.py."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_examples import case, outcome, trace, verification

from pneumo.harmless import harmless
from pneumo.report.json_report import (
    json_text,
    run_csv,
    run_document,
    verification_document,
)
from pneumo.verification.verdict import Case, Outcome
from pneumo.verification.wording import case_words, outcome_words


def test_a_verification_keeps_every_field() -> None:
    document = json.loads(json_text(verification_document(verification())))
    assert (document["format"], document["version"]) == ("pneumo-verification", 3)
    assert document["counts"] == {
        "cases": 7,
        "safe": 4,
        "late": 1,
        "not_calculated": 0,
        "unsafe": 2,
        "undetected": 3,
    }
    assert document["all_safe"] is False
    for written, one in zip(document["cases"], verification().cases, strict=True):
        known = {f.name for f in fields(Case)} - {"injection"}
        made = {"name", "event", "kind", "loss", "faults", "component", "mode", "severity", "worst"}
        assert set(written) == known | made
        assert written["name"] == case_words(one)
        assert len(written["faults"]) == len(one.injection.faults)
        for result, known in zip(written["outcomes"], one.outcomes, strict=True):
            assert set(result) == {f.name for f in fields(Outcome)} | {"margin", "why"}
            assert result["margin"] == known.margin
            assert result["why"] == outcome_words(known)
    assert document["traces"][0]["time"] == list(verification().traces[0].time)


def test_what_is_not_finite_becomes_null() -> None:
    odd = outcome(limit=math.inf, reached_after=None, held=math.nan)
    made = verification(cases=(case(outcomes=(odd,)),), traces=())
    (result,) = json.loads(json_text(verification_document(made)))["cases"][0]["outcomes"]
    assert result["limit"] is result["reached_after"] is result["held"] is result["margin"] is None


def test_the_same_verification_gives_the_same_text() -> None:
    assert json_text(verification_document(verification())) == (
        json_text(verification_document(verification()))
    )


def _run(**changes: object) -> dict:
    arguments: dict = {
        "document": "ride.yaml",
        "ride": "Sand Martin",
        "scenario": "morning test",
        "faults": ["hose_1 leak 2 mm at 5 s"],
        "program": "0.1.0",
        "times": [0.0, 0.5],
        "signals": [("trim_manifold.p", "Pa", [1e5, math.inf])],
        "events": [{"time": 0.5, "zone": "trim", "state": "closed"}],
    }
    return run_document(**(arguments | changes))


def test_a_run_document() -> None:
    document = json.loads(json_text(_run()))
    assert (document["format"], document["version"]) == ("pneumo-run", 3)
    assert document["signals"] == [
        {"name": "trim_manifold.p", "unit": "Pa", "values": [100000.0, None]}
    ]
    assert document["events"] == [{"time": 0.5, "zone": "trim", "state": "closed"}]
    assert document["faults"] == ["hose_1 leak 2 mm at 5 s"]


def test_unequal_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="trim has 1 values for 2 times"):
        _run(signals=[("trim", "Pa", [1.0])])
    with pytest.raises(ValueError, match="trim has 1 values for 2 times"):
        run_csv([0.0, 1.0], [("trim", "Pa", [1.0])])


values = st.lists(st.tuples(*[st.floats(allow_nan=True, allow_infinity=True)] * 2), max_size=8)


@given(values, st.text(st.characters(blacklist_characters="\r\n\0", codec="utf-8"), max_size=8))
def test_csv_is_read_back(rows: list[tuple[float, float]], name: str) -> None:
    times = [0.1 * i for i in range(len(rows))]
    text = run_csv(times, [(name, "bar", [r[0] for r in rows]), ("b", "", [r[1] for r in rows])])
    head, *body = list(csv.reader(io.StringIO(text, newline="")))
    assert head == ["time [s]", harmless(f"{name} [bar]"), "b"]
    assert len(body) == len(rows)
    for line, time, row in zip(body, times, rows, strict=True):
        assert float(line[0]) == pytest.approx(time)
        for field, value in zip(line[1:], row, strict=True):
            if math.isfinite(value):
                assert float(field) == pytest.approx(value, rel=1e-8)
            else:
                assert field == ""


def test_traces_keep_their_shape() -> None:
    made = verification(traces=(trace(case(), ("trim",), 5),))
    (written,) = verification_document(made)["traces"]
    assert {
        key: len(v) if key == "time" else {z: len(s) for z, s in v.items()}
        for key, v in written.items()
        if key not in ("case", "brake", "required")
    } == {
        "time": 5,
        "pressure": {"trim": 5},
        "position": {"trim": 5},
        "force": {"trim": 5},
    }
    assert written["brake"] == {"trim": "trim_brake_2"}
    assert written["required"] == {"trim": 6e3}
