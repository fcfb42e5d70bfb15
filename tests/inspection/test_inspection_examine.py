"""Tests as a whole: what is refused, and that they give no more than instruments and senses do."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from inspection_bench import after, bench, charged, resting

from pneumo.circuit.circuit import Circuit, Downtime
from pneumo.circuit.couplings import test_points as points_of
from pneumo.circuit.validate import load
from pneumo.circuit.verbs import VERBS
from pneumo.components.base import kind_of
from pneumo.errors import InputError
from pneumo.inspection.evidence import Evidence
from pneumo.inspection.examine import MADE, examine
from pneumo.inspection.telling import told
from pneumo.inspection.tests import ROWS, TESTS, targets
from pneumo.live.cautions import CAUTIONS
from pneumo.live.cautions import test_cautions as cautions_of
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play

CIRCUITS = Path(__file__).parents[2] / "circuits"


@pytest.mark.parametrize(
    ("test", "target", "message"),
    [
        ("read", "tea.2", "There is no port 'tea.2'. Did you mean 'tee.2'?"),
        ("read", "tee.9", "There is no port 'tee.9'. Its ports are tee.1, tee.2, tee.3"),
        ("read", "tee", "There is no port 'tee'. Its ports are tee.1"),
        ("read", "closed_1", "closed_1 is a jaw position switch and has no port for a gauge."),
        ("read", "", "There is no port ''. Give one, for example"),
        ("listen", "hose_3", "There is no component 'hose_3'. Did you mean 'hose_"),
        ("listen", "feed_a", "feed_a is an electrical feed and holds no air"),
        ("soap", "feed_a", "feed_a is an electrical feed and holds no air"),
        ("look", "brake_9", "There is no component 'brake_9'. Did you mean 'brake_"),
        ("look", "hose_1", "hose_1 is a hose: there is nothing to see on it."),
        ("callipers", "silencer", "silencer is a silencer and has no jaws."),
        ("pry", "brake_9", "There is no component 'brake_9'."),
        ("pull", "hose_1", "hose_1 is a hose and has no jaws."),
        ("voltage", "pear.14", "There is no coil 'pear.14'. Did you mean 'pair.14'?"),
        ("voltage", "pair", "pair has more than one coil. Choose one: pair.14 or pair.12."),
        ("card", "valve.12", "There is no coil 'valve.12'. Did you mean valve.14?"),
        ("resistance", "hose_1", "hose_1 is a hose and has no coil"),
        ("resistance", "nowhere", "There is no coil 'nowhere'."),
    ],
)
def test_what_is_not_there_is_one_sentence(test: str, target: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        examine(resting(), test, target)
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


# the table


def test_every_test_has_what_makes_it() -> None:
    assert set(TESTS) == {*MADE, "read"}
    assert len(ROWS) == len(TESTS)


def test_every_test_tells_its_form_its_cost_and_its_cautions() -> None:
    for row in ROWS:
        assert row.form.split()[0] == row.word
        assert row.work in Downtime.model_fields, row.word
        assert set(row.cautions) <= set(CAUTIONS), row.word
        assert cautions_of(row.word) == tuple(CAUTIONS[key] for key in row.cautions)
    assert {row.word for row in ROWS if not row.touches} == {"listen", "soap", "look"}


def test_live_and_dead_measurements_have_each_their_own_caution() -> None:
    live, dead = set(TESTS["voltage"].cautions), set(TESTS["resistance"].cautions)
    assert "electricity" in live - dead
    assert "dead" in dead - live


def test_every_verb_tells_what_it_costs() -> None:
    for row in VERBS.values():
        for work in (row.work, row.work_at_coil):
            assert work == "" or work in Downtime.model_fields, row.word
        assert (row.work == "") == (row.by == "trainer"), row.word


# no more than instruments and senses give


def everything(play: Play, *, pry: bool = False) -> dict[tuple[str, str], Evidence]:
    """Every test there is, a bar only where it is wanted: it is tried on a copy that runs on."""
    circuit = play.compiled.circuit
    open_ = {str(port) for port in points_of(circuit)}
    return {
        (row.word, target): examine(play, row.word, target)
        for row in ROWS
        if row.word != "pry" or pry
        for target in targets(circuit, row.target)
        if row.word != "read" or target in open_
    }


def faults(circuit: Circuit) -> list[tuple[str, str]]:
    """Each fault mode of each kind once."""
    found = {
        (kind_of(part), mode.name): (name, mode.name)
        for name, part in circuit.components.items()
        for mode in part.fault_modes()
    }
    return list(found.values())


def test_no_evidence_names_a_fault() -> None:
    circuit = bench().circuit
    names = [*sorted({mode for _, mode in faults(circuit)} - {"blocked"}), "fault", "severity"]
    named = re.compile(rf"(?<![\w-])({'|'.join(names)})(?![\w-])")
    checked = 0
    for name, mode in faults(circuit):
        play = charged()
        try:
            after(play, 0.2, f"fault {name} {mode}")
        except InputError:  # a plant that cannot go on with it
            continue
        for (test, target), evidence in everything(play).items():
            text = told(evidence)
            text = re.sub(rf"\b({'|'.join(circuit.components)})\b", "", text)
            assert not named.search(text), (name, mode, test, target, text)
            checked += 1
    assert checked > 3000


ALIKE = [
    # nothing moves and nothing is driven: what is wrong cannot be told yet
    ("fault valve stuck-rest", "fault valve slow"),
    ("fault made stuck-off", "fault made drift"),
    ("fault valve slow", "fault pair slow"),
    ("fault valve uncommanded-return", "fault hose_1 kinked"),
    ("fault hose_1 burst", "fault hose_2 leak 3 mm"),
]


@pytest.mark.parametrize(("one", "other"), ALIKE)
def test_plants_that_look_alike_give_the_same_evidence(one: str, other: str) -> None:
    a, b = after(resting(), 0.1, one), after(resting(), 0.1, other)
    assert a.plant.log.events[-1] != b.plant.log.events[-1]
    assert everything(a, pry=True) == everything(b, pry=True)


def test_a_leak_and_a_pinhole_of_one_size_sound_alike() -> None:
    a = after(charged(), 0.1, "fault brake_1 leak 1 mm")
    b = after(charged(), 0.1, "fault brake_1 bladder-pinhole 1 mm")
    assert everything(a) == everything(b)


def test_a_test_changes_nothing() -> None:
    play, twin = after(charged(), 0.1, "fault hose_1 leak 2 mm"), charged()
    after(twin, 0.1, "fault hose_1 leak 2 mm")
    everything(play, pry=True)
    for run in (play, twin):
        run.advance(run.now + 3.0)
    np.testing.assert_array_equal(play.plant.state(), twin.plant.state())
    assert play.plant.log.events == twin.plant.log.events


@pytest.mark.parametrize("path", sorted(CIRCUITS.glob("*.yaml")), ids=lambda path: path.stem)
def test_every_circuit_can_be_examined(path: Path) -> None:
    circuit = load(path)
    found = everything(Play(compile_circuit(circuit)))
    assert {test for test, _ in found} >= {"read", "listen", "soap", "look"}
    for evidence in found.values():
        text = told(evidence)
        assert text and "None" not in text and "nan" not in text
    # every coupling that the document names is one where a gauge reads
    assert circuit.ride.test_points
    assert {("read", name) for name in circuit.ride.test_points} <= set(found)
    assert {str(port) for port in points_of(circuit)} >= set(circuit.ride.test_points)
