"""How long work on a ride takes: every kind has its time, and a document gives its own."""

from __future__ import annotations

import typing
from pathlib import Path

import pytest

from pneumo.circuit.circuit import Circuit, Downtime
from pneumo.circuit.validate import load_text
from pneumo.circuit.verbs import VERBS
from pneumo.drill.job import Job
from pneumo.errors import DocumentError
from pneumo.inspection.tests import ROWS as TEST_ROWS

RIDE = (Path(__file__).parents[2] / "circuits" / "01_spring_open_single.yaml").read_text("utf-8")


def ride(section: str) -> Circuit:
    return load_text(f"{RIDE}\n{section}\n", "ride")


def test_every_kind_of_work_is_some_act_and_every_act_has_its_time() -> None:
    named = {row.work for row in TEST_ROWS}
    named |= {work for row in VERBS.values() for work in (row.work, row.work_at_coil)}
    named |= {job.work for job in typing.get_args(Job) if isinstance(job.work, str)}
    assert named - {""} == set(Downtime.model_fields)


def test_a_document_gives_its_own() -> None:
    found = ride("downtime: {replace: 90 min, read: 45 s, hint: 0 s}").downtime
    assert (found.replace, found.read, found.hint) == (5400.0, 45.0, 0.0)
    rest = found.model_copy(update={name: getattr(Downtime(), name)
                                    for name in ("replace", "read", "hint")})  # fmt: skip
    assert rest == Downtime()


def test_without_one_the_defaults_stand() -> None:
    assert load_text(RIDE, "ride").downtime == Downtime()


@pytest.mark.parametrize(
    ("section", "told"),
    [
        ("downtime: {replece: 90 min}", "downtime.replece"),
        ("downtime: {replace: 90}", "downtime.replace"),
        ("downtime: {replace: quickly}", "downtime.replace"),
        ("downtime: {replace: 3 bar}", "downtime.replace"),
        ("downtime: {replace: -1 min}", "downtime.replace"),
        ("downtime: {replace: 25 h}", "downtime.replace"),
        ("downtime: [replace]", "downtime"),
    ],
)
def test_a_slip_is_one_finding(section: str, told: str) -> None:
    with pytest.raises(DocumentError) as caught:
        ride(section)
    errors = [found for found in str(caught.value).splitlines() if ": error: " in found]
    assert len(errors) == 1, errors
    line = RIDE.count("\n") + 2
    assert errors[0].startswith(f"ride:{line}: error: {told}"), errors


def test_a_test_point_that_is_no_port_is_one_finding() -> None:
    with pytest.raises(DocumentError) as caught:
        load_text(RIDE.replace("main.2, manifold.1]", "main.2, manifald.1]"), "ride")
    errors = [found for found in str(caught.value).splitlines() if ": error: " in found]
    assert len(errors) == 1
    assert "There is no port 'manifald.1'. Did you mean 'manifold.1'?" in errors[0]
