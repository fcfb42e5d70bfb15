"""Words of earlier versions of pneumo: read, and told."""

from __future__ import annotations

import pytest
from circuit_sample import findings_of, line_of, load_sample, spoiled

from pneumo.circuit.former import former_words, remark, renewed, renewed_text
from pneumo.circuit.sentence import parse_action, parse_fault

CIRCUIT = load_sample()


@pytest.mark.parametrize(
    ("sentence", "today"),
    [
        ("fault made stuck-made", "fault made stuck-on"),
        ("in 5 s: fault made stuck-broken over 3 s", "in 5 s: fault made stuck-off over 3 s"),
        ("clear made stuck-broken", "clear made stuck-off"),
        ("made stuck-made at 2 s", "made stuck-on at 2 s"),
        ("force made made", "force made on"),
        ("at 3 s: force made broken", "at 3 s: force made off"),
    ],
)
def test_a_sentence_is_renewed(sentence: str, today: str) -> None:
    assert renewed(sentence) == today and renewed(today) == today
    (word,) = former_words(sentence)
    assert f"'{word}' is now" in remark(sentence) and not remark(today)


@pytest.mark.parametrize("sentence", ["close made", "fault valve stuck", "unforce made", "", "in"])
def test_a_sentence_of_other_words_is_left_alone(sentence: str) -> None:
    assert renewed(sentence) == sentence and not remark(sentence)


def test_earlier_words_are_carried_out_and_said_in_todays() -> None:
    read = [
        parse_action(said, CIRCUIT.components, CIRCUIT.zones).text
        for said in ("fault made stuck-made", "clear made stuck-broken", "force made made",
                     "force made broken", "force made ON")
    ]  # fmt: skip
    assert read == [
        "fault made stuck-on", "clear made stuck-off", "force made on", "force made off",
        "force made on",
    ]  # fmt: skip
    assert parse_fault("made stuck-broken at 2 s", CIRCUIT.components).mode == "stuck-off"


@pytest.mark.parametrize(
    ("sentence", "word", "today"),
    [
        ("fault made stuck-made", "stuck-made", "stuck-on"),
        ("force made broken", "broken", "off"),
    ],
)
def test_a_document_in_earlier_words_is_read_with_a_warning(
    sentence: str, word: str, today: str
) -> None:
    text = spoiled("at 9 s: ride stop", f"at 9 s: {sentence}")
    (warning,) = findings_of(text)
    assert (warning.level, warning.line) == ("warning", line_of(text, sentence))
    assert f"'{word}'" in warning.found and f"'{today}'" in warning.wanted


def test_what_was_said_of_contacts_is_renewed() -> None:
    said = "switches disagree: open and closed switch of a are both made, p is made, q is broken"
    assert renewed_text(said) == (
        "switches disagree: open and closed switch of a are both ON, p is ON, q is OFF"
    )
    assert renewed_text("clear q stuck-made") == "clear q stuck-on"
