"""Acts that tell more than the ride does from day to day: each against rides on which just that is
done, one with the fault and one without."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from pneumo.circuit.action import Inject
from pneumo.circuit.sentence import parse_action
from pneumo.circuit.validate import load_text
from pneumo.diagnosis import acting
from pneumo.diagnosis.acting import Acted, Acting, Job, Way, acted, jobs_of, told
from pneumo.diagnosis.acts import acts_at, owners
from pneumo.diagnosis.diagnosability import Diagnosability, Group, Repair
from pneumo.diagnosis.marks import marks
from pneumo.diagnosis.rehearsal import STANDS, Rehearsal
from pneumo.diagnosis.suspects import Candidate, candidates
from pneumo.inspection.examine import examine
from pneumo.scenario.play import Play

CIRCUITS = Path(__file__).parents[2] / "circuits"
RIDE = load_text((CIRCUITS / "12_vent_check.yaml").read_text(encoding="utf-8"), "ride")

HIDDEN = ("main stuck", "silencer_a burst", "vent_check stuck-open", "hose_1 kinked")
"""Faults that are taken to show nothing; a kinked hose does, and is shown by many acts."""

TOGETHER = (
    ("valve_a stuck-rest", "valve_a output-stuck-off"),
    ("brake_1 leak", "brake_1 bladder-pinhole"),
    ("brake_2 leak", "brake_2 bladder-pinhole"),
)
"""Faults that are taken to look the same; those of the two brakes are alike."""


def fault(words: str) -> Candidate:
    component, mode = words.split()
    return next(c for c in candidates(RIDE) if (c.component, c.mode) == (component, mode))


@cache
def without_acts() -> Diagnosability:
    """What is told without acts, as far as they ask for it."""
    groups = tuple(
        Group(tuple(map(fault, names)), tuple(Repair(fault(n).spot, "replace") for n in names) * 2)
        for names in TOGETHER
    )
    hidden = Group(tuple(map(fault, HIDDEN)), ())
    return Diagnosability((), groups, hidden, (), 0.0, (), (), ())


@cache
def rehearsal() -> Rehearsal:
    return Rehearsal(RIDE)


@cache
def tried() -> Acted:
    jobs = jobs_of(RIDE, without_acts())
    work = Acting(RIDE, jobs)
    return told(RIDE, jobs, [work.run(job) for job in jobs])


def after(way: Way, candidate: Candidate | None) -> Play:
    """A ride on which a way was gone, up to its test."""
    play = rehearsal().sound(way.stands)[0].stands.snapshot()
    if candidate is not None:
        play.act(Inject(candidate.fault(1.0)))
    play.advance(play.now + STANDS)
    for line in way.lines:
        play.act(parse_action(line, RIDE.components, RIDE.zones))
    play.advance(play.now + way.after)
    return play


def gives(way: Way, play: Play) -> object:
    """What its test gives; of the panel the contacts and what the zones are."""
    if way.test is not None:
        return marks(examine(play, *way.test))
    logic = play.actors.controller.logic.zones
    shown = rehearsal().panel.shown(play)
    return shown.contacts.tolist(), [zone.state for zone in logic.values()]


def test_what_an_act_shows_is_seen_on_a_ride(compiled: None) -> None:
    shown = {f"{each.component} {each.mode}": way for each, way in tried().shown}
    assert set(shown) == set(HIDDEN)
    for name, way in shown.items():
        assert gives(way, after(way, fault(name))) != gives(way, after(way, None)), name
    assert shown["main stuck"].lines == ("isolate main",)
    heard = shown["silencer_a burst"]
    assert heard.moving and heard.test is not None and heard.test[0] == "listen"
    # held open it lets the air of one valve past the other
    assert shown["vent_check stuck-open"].lines[0].startswith(("override valve", "force valve"))


def test_an_act_tells_faults_apart_that_nothing_else_does(compiled: None) -> None:
    (apart,) = tried().apart
    assert [[each.mode for each in part] for part in apart.told] == [
        ["stuck-rest"], ["output-stuck-off"],
    ]  # fmt: skip
    (way,) = apart.ways
    one, other = (gives(way, after(way, part[0])) for part in apart.told)
    assert one != other


def test_of_groups_that_are_alike_one_is_tried() -> None:
    jobs = jobs_of(RIDE, without_acts())
    assert len(jobs) == len(HIDDEN) + 2
    assert sorted(job.alike for job in jobs) == [1] * (len(HIDDEN) + 1) + [2]


def test_no_act_is_forced_on_what_is_commanded_already(compiled: None) -> None:
    play = rehearsal().sound("open")[0].stands
    acts = {act.lines for act in acts_at(play, "open", owners(RIDE), "block")}
    assert ("close block",) in acts and ("force valve_a.14 off",) in acts
    assert not acts & {("force valve_a.14 on",), ("override valve_a.14",)}
    assert ("switch off feed_a",) not in acts
    assert ("switch off feed_a",) in {act.lines for act in acts_at(play, "open", owners(RIDE), "")}


def test_what_was_tried_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, compiled: None
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    found = replace(without_acts(), groups=())
    said: list[tuple[int, int]] = []
    first = acted(RIDE, found, lambda *done: said.append(done), workers=1)
    assert said[-1] == (len(HIDDEN), len(HIDDEN))
    assert first.shown == tried().shown
    (kept,) = tmp_path.rglob("acts.json")
    with monkeypatch.context() as patch:
        patch.setattr(acting, "Acting", None)
        assert acted(RIDE, found) == first
    kept.write_text("[1", encoding="utf-8")
    assert acted(RIDE, found, workers=1) == first


def test_faults_on_which_nothing_could_be_tried_are_told() -> None:
    jobs = (Job((-1, 3)), Job((4, 5)))
    lost = told(RIDE, jobs, [Acting.given_up(None, job, "it ended") for job in jobs])  # type: ignore[arg-type]
    assert [each for each, _ in lost.lost] == list(candidates(RIDE)[3:6])
    assert not (lost.shown or lost.unseen or lost.apart)
