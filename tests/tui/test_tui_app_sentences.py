"""Words that may come next in a sentence, and what is said of one that cannot be carried out."""

from __future__ import annotations

import pytest
from tui_toys import plant_of, resting_frame

from pneumo.circuit.sentence import parse_action
from pneumo.live.frame import FaultFrame
from tui.sentences import completed, named, next_words, problem, verbs

PLANT = plant_of("sand_martin")
FRAME = resting_frame(PLANT)


def after(text: str, seat: str = "trainer", frame: object = FRAME) -> tuple[str, ...]:
    return next_words(text, PLANT, frame, seat)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("clo", ("close",)),
        ("close tr", ("trim",)),
        ("ride ", ("stop",)),
        ("switch ", ("on", "off")),
        ("switch off compressor", ("compressor_1", "compressor_2")),
        ("fin trim a", ("absent",)),
        ("fault feed_a ", ("lost",)),
        ("fault feed_a lost ", ("over", "every")),
        ("fault feed_a lost every ", ()),
        ("fault feed_a lost every 10 s ", ("for",)),
        ("fault feed_a lost over 3 s ", ()),
        ("in 5 s: close tr", ("trim",)),
        ("force trim_charged ", ("on", "off")),
        ("force trim_valve_a.14 ", ("on", "off")),
        ("override trim_valve", ("trim_valve_a.14", "trim_valve_b.14")),
        ("replace trim_valve_a", ("trim_valve_a", "trim_valve_a.14")),
        ("reconnect trim_valve", ("trim_valve_a.14", "trim_valve_b.14")),
        ("reline trim_hose", ()),
        ("block trim_brake_1", ("trim_brake_1",)),
        ("unblock trim", (*(f"trim_brake_{i}" for i in range(1, 5)), "trim")),
        ("swap trim_valve_a.14 trim", ("trim_valve_b.14",)),
        ("drain trim_acc", ("trim_accumulator",)),
        ("drain trim_accumulator ", ("open", "closed")),
        ("nonsense ", ()),
        ("close trim ", ()),
        ("fault nonsense ", ()),
    ],
)
def test_next_words(text: str, words: tuple[str, ...]) -> None:
    assert after(text) == words


def test_clear_proposes_what_stands() -> None:
    faults = tuple(FaultFrame("trim_hose_1", m, "", 1.0, True, True) for m in ("leak", "blocked"))
    frame = FRAME._replace(faults=faults)
    assert after("clear ", frame=frame) == ("trim_hose_1",)
    assert after("clear trim_hose_1 ", frame=frame) == ("leak", "blocked")
    assert after("clear ") == ()


def test_a_trainee_is_proposed_only_what_a_trainee_may_say() -> None:
    assert "fault" not in after("", "trainee")
    assert after("fault ", "trainee") == ()
    assert set(verbs("trainee")) < set(verbs("trainer"))


def test_severities_are_proposed() -> None:
    words = after("fault trim_hose_1 leak ")
    assert any(word.endswith("mm") for word in words)


def test_completing_keeps_what_was_said() -> None:
    assert completed("in 5 s: close tr", "trim") == "in 5 s: close trim"
    assert completed("close ", "all") == "close all"


@pytest.mark.parametrize("ride", ["sand_martin", "10_station_gates"])
def test_every_proposed_sentence_is_understood(ride: str) -> None:
    """Walks along the proposals (the first few at each place) until none is left."""
    plant = plant_of(ride)
    frame, circuit = resting_frame(plant), plant.circuit
    ends = []
    waiting = [""]
    while waiting:
        text = waiting.pop()
        words = next_words(text, plant, frame, "trainer")
        if words and not words[0].startswith(("over", "every")):
            few = words if not text else words[:3] + words[-2:]
            waiting += [completed(text, word) + " " for word in dict.fromkeys(few)]
        elif len(text.split()) > 1:
            ends.append(text.strip())
    for sentence in ends:
        if not sentence.startswith("clear") and not sentence.endswith(("over", "every")):
            parse_action(sentence, circuit.components, circuit.zones, circuit.gates)
    assert len(ends) > 20


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("close trix", "Did you mean 'trim'?"),
        ("in soon: close trim", "in 5 s: close all"),
        ("in 5 s:", "empty"),
        ("in 5 s: close trix", "Did you mean 'trim'?"),
        ("", "empty"),
        ("dance", "not a verb"),
    ],
)
def test_a_problem_is_a_sentence(text: str, words: str) -> None:
    assert words in problem(text, PLANT)


def test_what_can_be_done_has_no_problem() -> None:
    for text in (
        "close trim",
        "in 5 s: ride stop",
        "in 0.5 s: fault feed_a lost every 3 s for 1 s",
    ):
        assert problem(text, PLANT) == ""


def test_kinds_in_words() -> None:
    assert named(PLANT, "trim_valve_a") == "valve 3/2"
    assert named(PLANT, "trim_quick") == "quick exhaust"
