"""What somebody suspects: kept in the log, at no cost, and told in the debrief."""

from __future__ import annotations

import json

import pytest
from drill_rides import play, practice

from pneumo.drill.debrief import debrief
from pneumo.drill.entry import Entry, suspects
from pneumo.drill.job import LONGEST_NOTE, Suspect
from pneumo.drill.telling import clock, debrief_lines
from pneumo.errors import InputError
from pneumo.packing import pack, unpack


def test_suspects_come_and_go_and_cost_nothing() -> None:
    at = practice()
    before = at.spent
    play(at, "suspect hose_1 leak", "suspect valve", "suspect hose_1 burst", "write it hisses")
    assert suspects(at.entries) == (
        Suspect("hose_1", "leak"), Suspect("valve", ""), Suspect("hose_1", "burst"),
    )  # fmt: skip
    play(at, "rule out hose_1 leak")
    assert suspects(at.entries) == (Suspect("valve", ""), Suspect("hose_1", "burst"))
    play(at, "suspect hose_1 leak", "rule out hose_1")
    assert suspects(at.entries) == (Suspect("valve", ""),)
    assert at.spent == before
    assert at.arc.state == "at work", "thinking leads nowhere"


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("suspect valve", "valve is among your suspects already"),
        ("rule out hose_1", "hose_1 is not among your suspects"),
        ("rule out valve stuck", "valve stuck is not among your suspects"),
        ("rule valve", "Write 'rule out NAME"),
        ("suspect", "Write 'suspect NAME"),
        ("suspect valve singing", "singing"),
        ("write", "Write 'write TEXT'"),
        (f"write {'x' * (LONGEST_NOTE + 1)}", "up to"),
    ],
)
def test_what_cannot_be_noted_says_why(line: str, why: str) -> None:
    at = play(practice(), "suspect valve")
    with pytest.raises(InputError, match=why):
        at.do(line)
    assert len(at.entries) == 2


def test_the_debrief_tells_when_the_part_first_stood_among_the_suspects() -> None:
    at = practice("fault hose_1 leak 3 mm")
    play(at, "suspect hose_2", "ask", "suspect hose_1", "rule out hose_1", "suspect hose_1 burst")
    play(at, "finding hose_1 leak", "give up")
    found = debrief(at)
    (truth,) = found.truth
    assert truth.suspected == at.entries[3].ended
    told = f"First among your suspects at {clock(at.entries[3].ended - at.began)}."
    assert any(told in line for line in debrief_lines(found))


def test_without_a_suspect_nothing_is_said_of_one() -> None:
    found = debrief(play(practice("fault hose_1 leak 3 mm"), "suspect hose_2", "give up"))
    assert found.truth[0].suspected is None
    assert not any("First among" in line for line in debrief_lines(found))


def test_a_record_keeps_them() -> None:
    at = play(practice(), "suspect hose_1 leak", "rule out hose_1", "write it hisses")
    kept = [unpack(Entry, json.loads(json.dumps(pack(entry)))) for entry in at.entries]
    assert kept == at.entries
