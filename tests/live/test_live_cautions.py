"""Cautions: which of them go with what."""

from __future__ import annotations

import subprocess
import sys

import pytest

from pneumo.circuit.verbs import VERBS
from pneumo.inspection.tests import TESTS
from pneumo.live import cautions as module
from pneumo.live.cautions import CAUTIONS, act_cautions
from pneumo.live.cautions import test_cautions as cautions_of


@pytest.mark.parametrize(
    ("test", "needs"),
    [
        ("read", ("stored", "test point", "lock out", "codes")),
        ("listen", ("jet", "jaws", "codes")),
        ("look", ("jaws", "springs", "lock out", "codes")),
        ("soap", ("jet", "jaws", "codes")),
        ("callipers", ("jaws", "springs", "lock out", "codes")),
        ("pry", ("jaws", "springs", "lock out", "codes")),
        ("pull", ("jaws", "springs", "lock out", "codes")),
        ("voltage", ("electricity", "codes")),
        ("card", ("electricity", "codes")),
        ("resistance", ("dead", "codes")),
    ],
)
def test_every_test_carries_its_cautions(test: str, needs: tuple[str, ...]) -> None:
    cautions = cautions_of(test)
    assert {CAUTIONS[key] for key in needs} <= set(cautions)
    assert cautions[0] == CAUTIONS["codes"]


@pytest.mark.parametrize(
    ("sentence", "needs"),
    [
        ("isolate main", ("turned off", "stored", "jaws")),
        ("restore main", ("turned on", "jaws")),
        ("drain store open", ("drain", "stored")),
        ("drain store closed", ("turned on",)),
        ("override valve.14", ("override", "jaws")),
        ("release valve.14", ("override",)),
        ("force made off", ("force",)),
        ("unforce all", ("force",)),
        ("switch on compressor", ("turned on",)),
        ("switch off compressor", ("turned off", "stored")),
        ("power off", ("turned off", "springs")),
        ("replace trim_hose_2", ("lock out", "stored", "tested")),
        ("replace valve.14", ("lock out", "dead", "tested")),
        ("clean silencer", ("lock out", "stored", "tested")),
        ("refit hose", ("lock out", "stored", "tested")),
        ("adjust regulator", ("lock out", "tested")),
        ("free brake_1", ("lock out", "jaws", "springs", "tested")),
        ("reline brake_1", ("lock out", "jaws", "springs", "tested")),
        ("reconnect valve.14", ("lock out", "dead", "tested")),
        ("swap valve.14 other.14", ("lock out", "dead")),
        ("block brake_1", ("lock out", "block", "springs")),
        ("unblock brake_1", ("block", "turned on", "jaws")),
    ],
)
def test_acts_at_the_machine_carry_cautions(sentence: str, needs: tuple[str, ...]) -> None:
    cautions = act_cautions(sentence)
    assert cautions[0] == CAUTIONS["codes"]
    assert {CAUTIONS[key] for key in needs} <= set(cautions)
    assert len(set(cautions)) == len(cautions)


@pytest.mark.parametrize(
    "sentence", ["close trim", "ride stop", "reset all", "fault hose_1 leak", "fin trim absent", ""]
)
def test_commands_at_the_desk_carry_none(sentence: str) -> None:
    assert act_cautions(sentence) == ()


def test_every_caution_is_used() -> None:
    acts = [keys for row in VERBS.values() for keys in (row.cautions, *row.cautions_when.values())]
    tests = [row.cautions for row in TESTS.values()]
    tables = (*tests, *module._OF_LINES.values(), *acts)
    assert {key for keys in tables for key in keys} == set(CAUTIONS)


def test_cautions_need_no_simulator() -> None:
    code = "import sys, pneumo.live.cautions; print({'numpy', 'pydantic'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"
