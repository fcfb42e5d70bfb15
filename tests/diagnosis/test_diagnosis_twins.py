"""Of parts that are alike one is rehearsed: what follows for the others is what they would show."""

from __future__ import annotations

import random
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.validate import load, load_text
from pneumo.diagnosis.library import Library, Work, trials
from pneumo.diagnosis.marks import marks
from pneumo.diagnosis.rehearsal import STRUCK
from pneumo.diagnosis.twins import Twins
from pneumo.inspection.evidence import Bubbles, Heard, Jaws, Leaking, Outflow

CIRCUITS = Path(__file__).parents[2] / "circuits"
PAIR, GATES, LARGE = "02_spring_close_single", "10_station_gates", "sand_martin"

NOISE = 10.0
"""Pressures that a panel shows may differ by so much [Pa]: the same sums in another order."""


@cache
def circuit_of(name: str) -> Circuit:
    return load(CIRCUITS / f"{name}.yaml")


@cache
def work_of(name: str) -> Work:
    return Work(circuit_of(name))


@pytest.mark.parametrize(("name", "tried"), [(PAIR, 30), (GATES, 20), (LARGE, 8)])
def test_what_follows_for_a_twin_is_what_it_would_show(name: str, tried: int) -> None:
    work = work_of(name)
    first = Twins(work.circuit).first
    library = Library(work.circuit, [], work.sound, work.rehearsal.compiled)
    others = [t for t in trials(work.candidates)
              if work.candidates[t.candidate].component in first]  # fmt: skip
    told = 0
    for trial in random.Random(2).sample(others, tried):
        own = work.candidates[trial.candidate]
        (rehearsed,) = (
            number
            for number, each in enumerate(work.candidates)
            if (each.component, each.mode, each.side) == (first[own.component], own.mode, own.side)
        )
        entry = work.run(trial)
        twin = work.run(trial._replace(candidate=rehearsed))
        derived = Library(work.circuit, [twin], work.sound, library.compiled)
        table = derived.tables[trial.struck]
        (row,) = np.flatnonzero(table.candidate == trial.candidate).tolist()
        for part, really in enumerate(entry.told):
            np.testing.assert_allclose(table.shown[row, part], really.shown, rtol=1e-6, atol=NOISE)
            np.testing.assert_array_equal(table.gauges[row, part], really.gauges)
            gave = {test: dict(found)[row] for (of, test), found in table.tests.items()
                    if of == part and row in dict(found)}  # fmt: skip
            assert {test: frozenset(marks(found)) for test, found in gave.items()} == {
                test: frozenset(marks(found)) for test, found in really.found
            }
            told += len(gave)
    assert told > tried, "the tests of twins tell something"


def test_all_trials_of_a_ride_are_rehearsed_or_follow() -> None:
    work = work_of(PAIR)
    parts = ("hose", "brake", "valve")
    jobs = [t for t in work.jobs() if work.candidates[t.candidate].component.startswith(parts)]
    library = Library(work.circuit, [work.run(t) for t in jobs], work.sound)
    whole = [t for t in trials(work.candidates)
             if work.candidates[t.candidate].component.startswith(parts)]  # fmt: skip
    assert len(jobs) < len(whole)
    for struck in STRUCK:
        table = library.tables[struck]
        assert table.keys == [(t.candidate, t.place) for t in whole if t.struck == struck]
        for key in table.tests:
            rows = [row for row, _ in table.tests[key]]
            assert rows == sorted(set(rows))


def test_branches_with_other_test_points_are_no_twins() -> None:
    text = (CIRCUITS / f"{PAIR}.yaml").read_text(encoding="utf-8")
    assert Twins(load_text(text, PAIR)).first["hose_2"] == "hose_1"
    changed = text.replace("test_points: [main.2,", "test_points: [hose_2.2, main.2,")
    assert changed != text
    assert not Twins(load_text(changed, PAIR)).first


def test_only_names_are_renamed() -> None:
    renaming = Twins(circuit_of(PAIR)).renamings["hose_2"]
    assert [renaming.name(n) for n in ("hose_1", "hose_2.2", "brake_1", "hose_10", "")] == [
        "hose_2", "hose_1.2", "brake_2", "hose_10", "",
    ]  # fmt: skip
    heard = Heard("hose_1", (Outflow("hole", "1", "loud"),), ("brake_1",), None, False, False)
    assert renaming.evidence(heard) == Heard(
        "hose_2", (Outflow("hole", "1", "loud"),), ("brake_2",), None, False, False
    )
    assert renaming.evidence(Bubbles("brake_2", (Leaking("hole", "1"),), False)) == Bubbles(
        "brake_1", (Leaking("hole", "1"),), False
    )
    # a word for a state is none, even where a part is called so
    assert renaming.evidence(Jaws("brake_1", "open", 0.01, 2, True, False)) == Jaws(
        "brake_2", "open", 0.01, 2, True, False
    )
