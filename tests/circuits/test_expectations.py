"""What the headers of the circuit documents expect, by running and verifying them.

The teaching circuits are verified whole. Of the rides only the losses of the whole ride and of the
zones that their expectations name, and the cases these name, are run; `pneumo verify` runs the rest
in minutes.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

from pneumo.circuit.validate import load
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.scenario.play import Play
from pneumo.verification.campaign import Campaign
from pneumo.verification.case import Injection
from pneumo.verification.verdict import Case
from pneumo.verification.wording import case_words, injection_words
from pneumo.zone.event import StateEntered

CIRCUITS = Path(__file__).parents[2] / "circuits"
TIME = r"([0-9.]+) s"
NEAR_END = 5e-3
"""A cylinder this near an end of its stroke is there [m]."""

RUN_FORMS = {
    "ends": re.compile(r"run (.+) ends with (\w+) in (\w+)"),
    "leaves": re.compile(r"run (.+) leaves (\w+) (jaws open|jaws closed|retracted|extended)"),
    "within": re.compile(rf"run (.+) (has|does not have) (\w+) (\w+) within {TIME} of {TIME}"),
    "before": re.compile(r"run (.+) has (\w+) (\w+) before (\w+) (\w+)"),
}
VERIFY_FORMS = {
    "exit": re.compile(r"verify exit ([01])"),
    "zone": re.compile(r"zone (\w+) (safe|late|unsafe|detected|undetected) under (.+)"),
}
ANYTHING = "anything"
"""Stands for every case."""

VERDICTS = ("safe", "late", "unsafe")


def expectations(path: Path) -> list[str]:
    """The `# expect:` lines of a header."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return [line.removeprefix("# expect:").strip() for line in lines if line.startswith("# expect")]


def expected(first_word: str) -> list[tuple[str, str]]:
    """(document, expectation) for the expectations that begin with a word."""
    return [
        (path.name, line)
        for path in sorted(CIRCUITS.glob("*.yaml"))
        for line in expectations(path)
        if line.split()[0] == first_word
    ]


def is_ride(document: str) -> bool:
    """True for a whole ride, too large to be verified whole in a test."""
    return not document[0].isdigit()


@cache
def compiled(document: str) -> Compiled:
    return compile_circuit(load(str(CIRCUITS / document)))


@cache
def played(document: str, scenario: str) -> Play:
    """The circuit at the end of one of its scenarios."""
    script = compiled(document).circuit.scenarios[scenario]
    play = Play(compiled(document))
    play.schedule(script.events)
    play.advance(script.until)
    return play


def entered(play: Play, zone: str, state: str) -> list[float]:
    """Times at which the logic of a zone entered a state [s]."""
    return [
        event.time
        for event in play.plant.log.events
        if isinstance(event.what, StateEntered)
        and event.subject == zone
        and event.what.entered == state
    ]


def leaves(play: Play, name: str, how: str) -> bool:
    """Whether a zone's jaws, or a gate, are as said at the end of a run."""
    plant, network, y = play.compiled, play.plant.network, play.plant.state()
    if how.startswith("jaws"):
        travel = [
            float(y[network.mover[brake.mover]["x"]] - network.mover[brake.mover]["high"])
            for brake in plant.brakes[name]
        ]
        return all(x < 0.0 for x in travel) if how == "jaws open" else all(x > 0.0 for x in travel)
    mover = network.mover[plant.parts[name].mover]
    x = float(y[mover["x"]])
    if how == "extended":
        return x > float(mover["high"]) - NEAR_END
    return x < float(mover["low"]) + NEAR_END


def holds(document: str, line: str) -> bool:
    """Whether an expectation about a run holds."""
    for form, pattern in RUN_FORMS.items():
        match = pattern.fullmatch(line)
        if match is None:
            continue
        said = match.groups()
        play = played(document, said[0])
        if form == "ends":
            return play.actors.controller.logic.zones[said[1]].state == said[2]
        if form == "leaves":
            return leaves(play, said[1], said[2])
        if form == "within":
            start = float(said[5])
            limit = start + float(said[4])
            in_time = any(start <= time <= limit for time in entered(play, said[2], said[3]))
            return in_time == (said[1] == "has")
        return entered(play, said[1], said[2])[-1] < entered(play, said[3], said[4])[-1]
    raise AssertionError(f"{document}: {line!r} is no form of expectation, see circuits/README.md")


def cases(document: str, lines: list[str]) -> list[Case]:
    """The cases that the expectations of a document are about."""
    campaign = Campaign(load(str(CIRCUITS / document)))
    said = [match for line in lines if (match := VERIFY_FORMS["zone"].fullmatch(line))]
    named = tuple(match[3] for match in said)
    zones = {"", *(match[1] for match in said)}

    def is_meant(injection: Injection) -> bool:
        if injection.loss is not None:
            return injection.loss.zone in zones
        return not injection.faults or injection_words(injection).startswith(named)

    return [
        result.case
        for job in campaign.jobs()
        if not is_ride(document) or is_meant(job.trial.injection)
        for result in campaign.run(job)
    ]


def found(line: str, run: list[Case]) -> bool:
    """Whether an expectation about a verification holds of its cases."""
    if match := VERIFY_FORMS["exit"].fullmatch(line):
        return (match[1] == "0") == all(case.worst == "safe" for case in run)
    match = VERIFY_FORMS["zone"].fullmatch(line)
    assert match is not None, f"{line!r} is no form of expectation, see circuits/README.md"
    zone, word, name = match.groups()
    outcomes = [
        outcome
        for case in run
        if name == ANYTHING or case_words(case).startswith(name)
        for outcome in case.outcomes
        if outcome.zone == zone
    ]
    assert outcomes, f"no case of zone {zone} begins with {name!r}"
    if word in VERDICTS:
        return max((o.verdict for o in outcomes), key=VERDICTS.index) == word
    return all(o.detected for o in outcomes) == (word == "detected")


@pytest.mark.parametrize(
    "document", sorted({document for word in ("verify", "zone") for document, _ in expected(word)})
)
def test_a_verification_finds_what_its_document_says(document: str) -> None:
    lines = [line for line in expectations(CIRCUITS / document) if not line.startswith("run")]
    run = cases(document, lines)
    assert [line for line in lines if not found(line, run)] == []
    # by its name a case is found again
    names = [case_words(case) for case in run]
    assert len(names) == len(set(names))


def test_a_wrong_expectation_of_a_verification_does_not_hold() -> None:
    run = cases("01_spring_open_single.yaml", [])
    assert not found("verify exit 0", run)
    assert not found("zone trim safe under valve stuck-actuated", run)
    assert not found("zone trim late under loss of air", run)
    assert not found("zone trim undetected under valve stuck-actuated", run)


@pytest.mark.parametrize(("document", "line"), expected("run"))
def test_a_run_ends_as_its_document_says(document: str, line: str) -> None:
    assert holds(document, line)


@pytest.mark.parametrize("path", sorted(CIRCUITS.glob("*.yaml")), ids=lambda path: path.stem)
def test_every_expectation_has_a_form(path: Path) -> None:
    forms = (*RUN_FORMS.values(), *VERIFY_FORMS.values())
    lines = expectations(path)
    assert lines, "a circuit document says in its header what is expected of it"
    assert [line for line in lines if not any(form.fullmatch(line) for form in forms)] == []


@pytest.mark.parametrize(
    ("document", "line"),
    [
        ("01_spring_open_single.yaml", "run there and back ends with trim in faulted"),
        ("01_spring_open_single.yaml", "run there and back leaves trim jaws closed"),
        ("06_blocked_silencer.yaml", "run clogged has block closed within 1 s of 3 s"),
        ("07_quick_exhaust.yaml", "run both close has plain closed before quick closed"),
        ("10_station_gates.yaml", "run guests board leaves gate_1 extended"),
    ],
)
def test_a_wrong_expectation_does_not_hold(document: str, line: str) -> None:
    assert not holds(document, line)
