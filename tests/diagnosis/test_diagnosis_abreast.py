"""Suspects that change the same of the plant are calculated once, and each shows what it would
show alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from diagnosis_rides import Bench

from pneumo.circuit.action import Repair
from pneumo.circuit.sentence import parse_fault
from pneumo.diagnosis.abreast import Ride, Sound
from pneumo.diagnosis.record import Done, Record, stretches

ALIKE = ("manifold leak 3 mm", "charged leak 3 mm")
"""Holes of one size at one node, in parts of two names."""

OTHER = "hose_1 leak 3 mm"
"""The same hole at another node."""


@pytest.fixture(scope="module")
def bench(compiled: None) -> Bench:
    of = Bench("manifold", "charged", "hose_1")
    of.operate(("close block", "open block"), ALIKE[0], at=4.0)
    of.practice.do("begin")
    return of


def record_after(bench: Bench, *lines: str) -> Record:
    for line in lines:
        bench.practice.do(line)
    return bench.known.record(bench.practice.entries)


def suspects(bench: Bench, record: Record, *sentences: str) -> list[Ride]:
    """Rides with these faults since the first stretch, run to the end of a record."""
    cut = stretches(record)
    sound = Sound(bench.session.compiled, bench.who.panel)
    sound.run(record, cut)
    parts = bench.session.circuit.components
    rides = [sound.suspect(parse_fault(each, parts), cut, 1, 4.0) for each in sentences]
    for ride in rides:
        ride.run(bench.who.panel, record, cut)
    return rides


def test_each_shows_what_it_would_show_alone(bench: Bench) -> None:
    record = record_after(bench, "soap manifold", "soap charged", "listen charged")
    together = suspects(bench, record, *ALIKE, OTHER)
    assert together[0].shared is together[1].shared is not together[2].shared
    assert together[0].found != together[1].found  # the hole is at the one, or at the other
    for ride, sentence in zip(together, (*ALIKE, OTHER), strict=True):
        (alone,) = suspects(bench, record, sentence)
        assert ride.found == alone.found
        assert ride.shown.keys() == alone.shown.keys()
        for stretch, values in alone.shown.items():
            np.testing.assert_array_equal(ride.shown[stretch], values)
        standing = [fault for fault, _ in ride.play.actors.faults.standing]
        assert [fault.component for fault in standing] == [sentence.split()[0]]


def test_a_repair_ends_the_one_and_not_the_other(bench: Bench) -> None:
    before = bench.known.record(bench.practice.entries)
    done = [*before.done, Done(before.now, Repair("replace", "manifold"))]
    record = replace(before, done=done, now=before.now + 30.0)
    one, other = suspects(bench, record, *ALIKE)
    assert one.shared is not other.shared
    assert not one.play.actors.faults.standing
    assert len(other.play.actors.faults.standing) == 1
    for ride, sentence in zip((one, other), ALIKE, strict=True):
        (alone,) = suspects(bench, record, sentence)
        for stretch, values in alone.shown.items():
            np.testing.assert_array_equal(ride.shown[stretch], values)


def test_who_joins_later_is_looked_at_at_the_same_instants(bench: Bench) -> None:
    record = bench.known.record(bench.practice.entries)
    cut = stretches(record)
    panel = bench.who.panel
    sound = Sound(bench.session.compiled, panel)
    sound.run(record, cut)
    parts = bench.session.circuit.components
    first, second = (sound.suspect(parse_fault(each, parts), cut, 1, 4.0) for each in ALIKE)
    first.run(panel, record, cut)  # to the end at once
    second.run(panel, record, cut)
    assert second.shared is first.shared, "it was looked at there on its way"
    early = (cut[0], replace(cut[1], ended=cut[1].began + 1.0, looks=()))
    second.run(panel, record, early)
    assert second.shared is not first.shared, "the other is past what is asked"
    assert second.now < first.now
