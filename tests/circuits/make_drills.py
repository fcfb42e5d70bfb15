"""Makes the drills that come with pneumo anew: `python -m tests.circuits.make_drills`.

A drill names its ride and does not hold it: it is made anew when its story changes.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from stories import Story
from stories_rides import STORIES as AT_TWO_RIDES
from stories_sand_martin import STORIES as AT_SAND_MARTIN
from stories_teaching import STORIES as AT_TEACHING_CIRCUITS

from pneumo.circuit.shipped import find_document
from pneumo.circuit.validate import load_text
from pneumo.live.drill import drill_text
from pneumo.live.session import Session
from pneumo.report.files import write_atomically

FOLDER = Path(__file__).parents[2] / "circuits" / "drills"

STORIES: tuple[Story, ...] = (*AT_SAND_MARTIN, *AT_TEACHING_CIRCUITS, *AT_TWO_RIDES)


def session_of(story: Story) -> Session:
    """The ride when the drill begins."""
    text = find_document(story.ride).read_text(encoding="utf-8")
    session = Session(load_text(text, story.ride), text)
    for time, sentence in story.before:
        session.advance(time)
        session.do("trainer", sentence, hidden=is_hidden(sentence))
    session.advance(story.start)
    return session


def is_hidden(sentence: str) -> bool:
    """Whether a sentence is for the trainee to find out: a fault, now or later."""
    return "fault " in sentence


def text_of(story: Story) -> str:
    """The drill file."""
    acts = session_of(story).acts.journal
    return drill_text("", acts, story.start, story.title, story.brief, story.ride)


def main() -> None:
    """Writes every drill."""
    FOLDER.mkdir(exist_ok=True)
    for story in STORIES:
        write_atomically(FOLDER / f"{story.name}.yaml", text_of(story))


if __name__ == "__main__":
    main()
