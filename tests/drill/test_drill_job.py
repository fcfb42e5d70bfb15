"""Lines of a drill as records."""

from __future__ import annotations

import pytest
from drill_rides import document

from pneumo.circuit.action import Command, Turn
from pneumo.circuit.circuit import Downtime
from pneumo.circuit.validate import load_text
from pneumo.drill.job import (
    Ask,
    Consider,
    Cycle,
    Decay,
    Do,
    Examine,
    Find,
    FitGauge,
    Lock,
    Prove,
    Suspect,
    Wait,
    Write,
    read_job,
)
from pneumo.errors import InputError
from pneumo.inspection.tests import TESTS

CIRCUIT = load_text(document("01_spring_open_single"), "x")


@pytest.mark.parametrize(
    ("line", "job"),
    [
        ("close trim", Do(Command("trim", "close"))),
        ("isolate main", Do(Turn("main", False))),
        ("listen hose_1", Examine("listen", "hose_1")),
        ("decay manifold.1 for 5 min", Decay("manifold.1", 300.0)),
        ("cycle valve.14", Cycle("valve", "14")),
        ("ask", Ask("")),
        ("ask noise", Ask("noise")),
        ("lock main", Lock("main", True)),
        ("unlock main", Lock("main", False)),
        ("prove hose_1", Prove("hose_1")),
        ("fit gauge hose_1.2", FitGauge("hose_1", "2")),
        ("wait 90 s", Wait(90.0)),
        ("suspect hose_1", Consider(Suspect("hose_1", ""), True)),
        ("suspect hose_1 leak", Consider(Suspect("hose_1", "leak"), True)),
        ("rule out hose_1", Consider(Suspect("hose_1", ""), False)),
        ("write  it hisses low down", Write("it hisses low down")),
        ("finding none", Find(())),
        ("finding hose_1 leak", Find(((Suspect("hose_1", "leak"),),))),
        (
            "finding hose_1 leak or hose_2 burst and valve stuck",
            Find((
                (Suspect("hose_1", "leak"), Suspect("hose_2", "burst")),
                (Suspect("valve", "stuck"),),
            )),
        ),
    ],
)  # fmt: skip
def test_a_line_becomes_its_record(line: str, job: object) -> None:
    assert read_job(CIRCUIT, line) == job


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("", "nothing that can be done"),
        ("lissen hose_1", "Did you mean 'listen'"),
        ("fault hose_1 leak", "nothing that can be done"),
        ("clear hose_1 leak", "nothing that can be done"),
        ("power off", "nothing that can be done"),
        ("lock hose_1", "cannot be locked"),
        ("lock mian", "Did you mean 'main'"),
        ("prove", "prove NAME"),
        ("fit gauge hose_1.7", "has no port '7'"),
        ("wait 5", "5"),
        ("wait 5 h", "4 h or less"),
        ("decay manifold.1 for 1000 h", "4 h or less"),
        ("in 5 s: close trim", "nothing that can be done"),
        ("wait 5 s: power off", "5 s: power off"),
        ("finding none power off", "finding NAME MODE"),
        ("close trim; power off", "not a full sentence"),
        ("Fault hose_1 leak", "nothing that can be done"),
        ("decay manifold.1", "for 5 min"),
        ("cycle hose_1.14", "no coil"),
        ("finding", "finding NAME MODE"),
        ("finding hose_1", "finding NAME MODE"),
        ("finding hose_1 leek", "Did you mean 'leak'"),
        ("finding nothing leak", "no component 'nothing'"),
        ("log", "log book"),
        ("listen", "is not whole"),
    ],
)
def test_what_cannot_be_read_says_what_would_be_right(line: str, told: str) -> None:
    with pytest.raises(InputError) as error:
        read_job(CIRCUIT, line)
    assert told in str(error.value)


def test_every_test_has_its_minutes() -> None:
    for row in TESTS.values():
        assert row.work in Downtime.model_fields
