"""The drills that come with pneumo: each is read, hides its faults, and is played to its end twice:
solved, and failed."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from functools import cache

import pytest
from make_drills import FOLDER, STORIES, is_hidden, text_of
from stories import Lines, Story

from pneumo.drill.debrief import debrief
from pneumo.drill.outcome import Debrief
from pneumo.drill.practice import Practice
from pneumo.live.dialogue import Dialogue
from pneumo.live.drill import Drill, read_drill
from pneumo.live.session import Session

each_story = pytest.mark.parametrize("story", STORIES, ids=lambda story: story.name)


@cache
def shipped(story: Story) -> Drill:
    """The drill as it is read from its file."""
    return read_drill(FOLDER / f"{story.name}.yaml")


def played(session: Session, story: Story, lines: Lines) -> tuple[Debrief, list[str]]:
    """The debrief after some lines, and all that the dialogue said. A session is begun anew."""
    drill = shipped(story)
    session.restart(drill.acts, drill.start, begins=drill.start)
    practice = Practice(session, drill.brief)
    dialogue = Dialogue(session, practice, drill.title)

    def talk() -> Iterator[str]:
        yield from dialogue.opening()
        for line in lines:
            assert not dialogue.is_over(), line
            yield from dialogue.say(line)

    said = list(talk())
    assert dialogue.is_over(), practice.arc.state
    return debrief(practice, drill.title), said


@each_story
def test_a_drill_is_what_its_story_makes(story: Story) -> None:
    """When this fails: `python -m tests.circuits.make_drills` writes them anew."""
    assert (FOLDER / f"{story.name}.yaml").read_text(encoding="utf-8") == text_of(story)
    read = shipped(story)
    assert (read.title, read.start, read.brief) == (story.title, story.start, story.brief)
    assert [act.hidden for act in read.acts] == [is_hidden(said) for _, said in story.before]


@each_story
def test_what_is_hidden_cannot_be_read(story: Story) -> None:
    text = (FOLDER / f"{story.name}.yaml").read_text(encoding="utf-8")
    for _, sentence in story.before:
        if is_hidden(sentence):
            component = sentence.rpartition(": ")[2].split()[1]
            assert sentence not in text and not re.search(rf"\b{component}\b", text)
    assert not [hint for hint in story.hints if hint in text]


@each_story
def test_a_story_is_whole(story: Story) -> None:
    assert 1 <= story.level <= 5 and story.par > 0
    assert all((story.complaint, story.normal, story.at_hand, story.answers, story.log_book))
    assert len(story.hints) == 2


@pytest.mark.long
@each_story
def test_a_drill_is_played_to_its_end(story: Story) -> None:
    """Solved, in its time; then, at the same ride begun anew, failed."""
    drill = shipped(story)
    session = Session(drill.circuit, drill.document)
    found, said = played(session, story, story.solved)
    assert (found.verdict, found.reasons) == ("right", ())
    assert not (found.needless or found.unsafe or found.left)
    assert all(truth.named == "named" and truth.ended is not None for truth in found.truth)
    assert len(found.truth) == sum(is_hidden(sentence) for _, sentence in story.before)
    assert story.par == 5 * math.ceil(round(found.spent / 60.0) / 5.0), found.spent
    debriefed = said[said.index("RIGHT.") :]
    assert "What was wrong" in debriefed and "What was done" in debriefed
    assert sum("hand back" in line for line in debriefed) == 1
    found, said = played(session, story, story.failed)
    assert found.verdict != "right" and found.reasons == story.why
    assert any(line.startswith(("WRONG:", "PARTLY RIGHT:")) for line in said)


def test_every_drill_has_a_story() -> None:
    assert {p.stem for p in FOLDER.iterdir()} == {story.name for story in STORIES}
    assert len({story.title for story in STORIES}) == len(STORIES)
