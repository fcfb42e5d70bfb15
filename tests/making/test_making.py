"""Drills made from a seed: always the same, graded by what they take, told without the answer."""

from __future__ import annotations

import random
import re
from functools import lru_cache
from pathlib import Path
from typing import cast

import pytest
from diagnosis_rides import RIDE, library, work

from pneumo.circuit.circuit import Circuit
from pneumo.diagnosis.choice import Reason
from pneumo.diagnosis.opinion import Answer, Likely, Opinion
from pneumo.diagnosis.suspects import Candidate, Spot
from pneumo.drill.brief import Brief
from pneumo.drill.debrief import debrief
from pneumo.drill.practice import Practice
from pneumo.errors import InputError
from pneumo.live.drill import drill_text, read_drill, write_drill
from pneumo.live.session import Session
from pneumo.making.difficulty import FOUND, Difficulty, difficulty, is_found
from pneumo.making.drill import HARDER, SILENT, STOPPED, UNFOUND, UNSHOWN, Made, _short_of, make
from pneumo.making.noticed import Alarm, Gauge, Late, Noticed
from pneumo.making.operated import Hiss, drawn
from pneumo.making.strategy import MOST_ASKED, Played, Thought
from pneumo.making.words import briefing

WHY_NOT = (UNSHOWN, UNFOUND, STOPPED)


@lru_cache
def made(level: int, seed: int) -> Made:
    """A drill of the small ride."""
    text, of = work()
    return make(of.circuit, text, library(), level, seed)


def text_of(drill: Made) -> str:
    return drill_text("", drill.acts, drill.start, drill.title, drill.brief, RIDE)


def told(brief: Brief) -> str:
    """All that is said of a drill, but for what stands in quotes: names of alarms and lines."""
    said = (brief.complaint, brief.normal, *(each.said for each in brief.answers), *brief.hints)
    return re.sub(r"'[^']*'", "", " ".join(said)).lower()


def hidden_words(candidate: Candidate) -> set[str]:
    return {candidate.component, candidate.component.replace("_", " "), candidate.mode}


def test_a_seed_gives_the_same_file_and_another_seed_another_drill(compiled: None) -> None:
    first = made(1, 6)
    text, of = work()
    assert text_of(make(of.circuit, text, library(), 1, 6)) == text_of(first)
    other = made(3, 2)
    assert text_of(other) != text_of(first)
    assert other.acts != first.acts


def test_what_is_made_is_told_without_its_answer_and_solved_by_it(
    tmp_path: Path, compiled: None
) -> None:
    levels = {}
    for level, seed in ((1, 6), (3, 3)):
        drill = made(level, seed)
        levels[level] = drill.difficulty
        assert drill.brief.level == level == drill.difficulty.level
        assert not any(
            re.search(rf"\b{re.escape(word)}\b", told(drill.brief))
            for word in hidden_words(drill.hidden)
        )
        # nor a test at the part itself
        assert drill.hidden.component not in re.findall(r"\w+", " ".join(drill.brief.hints))
        assert len(drill.brief.hints) == 3
        assert debriefed(drill, tmp_path / f"{level}.yaml") == "right"
    assert levels[3].points > levels[1].points
    assert levels[3].minutes > levels[1].minutes


def debriefed(drill: Made, path: Path) -> str:
    """The verdict of whoever opens a drill, asks what was recommended, and mends what it was."""
    write_drill(path, text_of(drill), drill.title)
    assert drill.hidden.mode not in path.read_text(encoding="utf-8").split("document:")[0]
    opened = read_drill(path)
    session = Session(opened.circuit, opened.document)
    session.restart(opened.acts, opened.start, begins=opened.start)
    practice = Practice(session, opened.brief)
    component, mode = drill.hidden.component, drill.hidden.mode
    asked = [line for each in drill.played.thoughts for line in each.lines]
    how = drill.played.thoughts[-1].opinion.answers[0].how
    part = opened.circuit.components[component]
    wires, brake = bool(part.coils()), "brake" in part.traits
    for line in (
        "begin", *drill.played.listened, *asked, f"finding {component} {mode}",
        *(("restore main",) if how == "restore" else safely(component, how, wires, brake)),
        "acknowledge all", "reset all", "function test", "hand back",
    ):  # fmt: skip
        practice.do(line)
    assert practice.spent < drill.brief.par
    return debrief(practice, opened.title).verdict


def safely(component: str, how: str, wires: bool, brake: bool) -> list[str]:
    """A repair with the safe work around it."""
    return [
        *(("switch off feed", "lock feed") if wires else ()), "isolate main", "lock main",
        f"prove {component}", *([f"block {component}"] if brake else []), f"{how} {component}",
        *([f"unblock {component}"] if brake else []), "unlock main", "restore main",
        *(("unlock feed", "switch on feed") if wires else ()),
    ]  # fmt: skip


def test_a_level_that_is_not_found_is_refused_with_those_that_are(compiled: None) -> None:
    text, of = work()
    seen: list[str] = []
    with pytest.raises(InputError, match=r"none of \d faults drawn by seed 16 makes") as refused:
        make(of.circuit, text, library(), 5, 16, lambda number, what: seen.append(what), most=1)
    # one that shows something, beside some that do not
    assert len(seen) - seen.count(UNSHOWN) <= 1 < len(seen) <= SILENT
    assert f"none of {len(seen)} faults" in str(refused.value)
    assert all(what in WHY_NOT or re.fullmatch(r"level \d", what) for what in seen)
    for what in set(seen):
        assert f"{seen.count(what)} {what}" in str(refused.value)
    assert UNSHOWN in seen  # a leak of a silencer
    levels = sorted({what for what in seen if what.startswith("level ")})
    assert re.search(r"Level 5 takes 6 points .*; the hardest got [0-5]\. ", str(refused.value))
    ask = f"Ask for {' or '.join(levels)}, or give" if levels else "Give"
    assert str(refused.value).endswith(f"{ask} another seed.")


def test_a_fault_that_is_too_hard_is_not_worked_on_to_its_end(compiled: None) -> None:
    text, of = work()
    seen: list[str] = []
    with pytest.raises(InputError, match="Of them: 1 harder than level 1") as refused:
        make(of.circuit, text, library(), 1, 3, lambda number, what: seen.append(what), most=1)
    assert seen == ["harder than level 1"]  # see level 3 of the same seed
    assert "points" not in str(refused.value)


def test_how_far_the_hardest_is_from_a_level_is_told_unless_a_harder_one_was_broken_off() -> None:
    assert "Level 4 takes 4 points" in _short_of(4, 3, ("level 3",))
    assert _short_of(4, 4, ("level 4",)) == _short_of(1, 0, ()) == ""
    assert _short_of(3, 0, (f"{HARDER} 3", UNFOUND)) == ""


def test_faults_are_drawn_as_often_as_they_fail() -> None:
    _, of = work()
    often = tuple(
        Candidate(c.component, c.mode, c.spot, c.ended_by, 1.0 if n else 1e4, c.sticks, c.side,
                  c.unit)
        for n, c in enumerate(of.candidates)
    )  # fmt: skip
    draws = [drawn(of.circuit, often, seed, 1) for seed in range(40)]
    assert sum(each.candidate is often[0] for each in draws) > 35
    for each in draws:
        assert each.sequence[0][0] <= each.onset < each.sequence[-1][0]
    assert len({each.place for each in draws}) == 40


# the rule of levels


def played(*shares: tuple[float, float], asked: int = 0, seconds: float = 0.0) -> Played:
    """Thoughts with the shares of the right answer and of another one."""
    thoughts = []
    for right, wrong in shares:
        found = (answer("right", right), answer("wrong", wrong))
        ordered = tuple(sorted(found, key=lambda each: -each.share))
        thoughts.append(Thought(Opinion(ordered, 0.0, 0.0, ()), ()))
    return Played(("listen x",) * asked, tuple(thoughts), Reason.SURE, seconds)


def answer(name: str, share: float) -> Answer:
    candidate = Candidate(name, "leak", Spot(name, ""), ("replace",), 1.0, False)
    return Answer(candidate.spot, share, "replace", (Likely(candidate, share, 1.0),))


def test_the_difficulty_is_read_off_the_way_to_the_answer() -> None:
    way = played((0.2, 0.7), (0.3, 0.6), (0.9, 0.05), asked=3, seconds=1200.0)
    assert difficulty(way, Spot("right", "")) == Difficulty(3, 20.0, 2, 2, 0.7, False)
    easy = played((0.99, 0.01))
    assert difficulty(easy, Spot("right", "")) == Difficulty(0, 0.0, 1, 0, 0.0, False)


def test_more_of_anything_is_never_easier() -> None:
    draw = random.Random(1)
    levels = {Difficulty(0, 0.0, 1, 0, 0.0, False).level}
    for _ in range(300):
        much = draw.random()
        tests, group, misled = (int(draw.uniform(0.0, much * most)) for most in (12, 7, 5))
        one = Difficulty(tests, draw.uniform(0.0, much * 90.0), 1 + group, misled, much, False)
        levels.add(one.level)
        for harder in (
            Difficulty(tests + 3, one.minutes, one.group, misled, one.rival, False),
            Difficulty(tests, one.minutes + 30.0, one.group, misled, one.rival, False),
            Difficulty(tests, one.minutes, one.group + 2, misled, one.rival, False),
            Difficulty(tests, one.minutes, one.group, misled + 2, one.rival, True),
        ):
            assert harder.level >= one.level and harder.points >= one.points
            assert harder.level >= harder.least_level
    assert levels == {1, 2, 3, 4, 5}


def test_what_does_not_come_out_is_not_found() -> None:
    right = Spot("right", "")
    assert is_found(played((0.1, 0.8), (FOUND, 0.3)), right)
    assert not is_found(played((FOUND - 0.01, 0.3)), right)  # too many others
    assert not is_found(played((0.9, 0.05), (0.3, 0.6)), right)  # a wrong answer
    assert not is_found(played(), right)
    endless = Played((), played((0.9, 0.05)).thoughts * (MOST_ASKED + 1), None, 1e4)
    assert not is_found(endless, right)


# words


def test_an_operator_tells_what_he_has_noticed_and_nothing_else() -> None:
    _, of = work()
    noticed = Noticed(
        alarms=(
            Alarm("block", "close time exceeded", "close", 3, False),
            Alarm("", "low ride supply", None, 0, False),
        ),
        stopped=True,
        late=(Late("block", "open", 1.94, 0.51),),
        gauges=(Gauge("", 3.1e5, 5.52e5),),
        loud=(Hiss("block", "open", 20.0),),
        faint=(Hiss("", "", 1.0),),
        pumps=True,
        closes=0.7,
        opens=1.0,
    )
    hidden = of.candidates[0]
    for seed in range(12):
        brief = brief_of(of.circuit, noticed, hidden, seed)
        said = brief.complaint
        for words in (
            "'close time exceeded'", "rain 3", "'low ride supply'", "1.9 s", "0.5 s", "3.1 bar",
            "5.5 bar", "at block while it is open", "compressor",
        ):  # fmt: skip
            assert words in said, (words, said)
        assert "where the air comes in" not in said  # he tells that when he is asked
        assert "where the air comes in" in brief.answer("noise")[0]
        assert brief.normal.startswith("Every zone is closed within 1 s and open within 1 s.")
    assert len({brief_of(of.circuit, noticed, hidden, seed).complaint for seed in range(12)}) > 6


def brief_of(circuit: Circuit, noticed: Noticed, hidden: Candidate, seed: int) -> Brief:
    way = cast(Played, played((0.9, 0.05)))
    return briefing(circuit, noticed, way, hidden, 3, 3600.0, random.Random(seed))
