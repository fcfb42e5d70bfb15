"""The drills that come with pneumo: on the demo ride as it is, found by an alarm, and sealed."""

from __future__ import annotations

import pytest
from make_drills import DRILLS, FOLDER, RIDE, Drill

from pneumo.live.drill import read_drill
from pneumo.live.session import Session


def plain(sentence: str) -> str:
    """Without "in 20 s: "."""
    return sentence.rpartition(": ")[2]


@pytest.mark.parametrize("drill", DRILLS, ids=lambda drill: drill.name)
def test_a_drill_is_what_was_made(drill: Drill) -> None:
    """When this fails: `python -m tests.circuits.make_drills` writes them anew."""
    read = read_drill(FOLDER / f"{drill.name}.yaml")
    assert read.document == RIDE.read_text(encoding="utf-8")
    assert read.title == drill.title and read.start == pytest.approx(drill.start)
    said = [(plain(sentence), hidden) for _, sentence, hidden in drill.acts]
    assert [(act.sentence, act.hidden) for act in read.acts] == said


@pytest.mark.parametrize("drill", DRILLS, ids=lambda drill: drill.name)
def test_what_is_hidden_cannot_be_read(drill: Drill) -> None:
    text = (FOLDER / f"{drill.name}.yaml").read_text(encoding="utf-8")
    for _, sentence, hidden in drill.acts:
        if hidden:
            _, component, mode, *_ = plain(sentence).split()
            assert sentence not in text and f"{component} {mode}" not in text


@pytest.mark.parametrize("drill", DRILLS, ids=lambda drill: drill.name)
def test_the_fault_shows_itself(drill: Drill) -> None:
    read = read_drill(FOLDER / f"{drill.name}.yaml")
    session = Session(read.circuit, read.document)
    session.restart(read.acts, read.start)
    for sentence in drill.shows:
        session.do("trainee", sentence)
    session.advance(read.start + 120.0)
    frame = session.frame(1, running=False, speed=1.0, pace=0.0)
    assert drill.alarm in {alarm.zone for alarm in frame.alarms}


def test_every_drill_is_tested() -> None:
    assert {p.stem for p in FOLDER.iterdir()} == {drill.name for drill in DRILLS}
