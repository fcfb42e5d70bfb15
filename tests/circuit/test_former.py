"""Words of earlier versions of pneumo: read, and told."""

from __future__ import annotations

import pytest
from circuit_sample import findings_of, line_of, load_sample, spoiled

from pneumo.circuit.former import former_words, remark, renewed, renewed_text
from pneumo.circuit.sentence import parse_action, parse_fault
from pneumo.circuit.validate import load_text

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
        ("fault valve stuck-shifted", "fault valve stuck-actuated"),
        ("valve uncommanded-shift-12 at 1 s", "valve uncommanded-actuation-12 at 1 s"),
        ("in 2 s: drain receiver shut", "in 2 s: drain receiver closed"),
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


def test_a_limit_by_its_earlier_name_is_read_with_a_warning() -> None:
    text = spoiled(
        "    safe_state: closed", "    safe_state: closed\n    limits: {disagree: 0.7 s}"
    )
    (warning,) = findings_of(text)
    assert (warning.level, warning.line) == ("warning", line_of(text, "disagree"))
    assert "'disagree'" in warning.found and "'discrepancy'" in warning.wanted
    (zone,) = load_text(text, "former").zones.values()
    assert zone.limits.discrepancy == 0.7


def test_both_names_of_a_limit_are_refused() -> None:
    both = "    safe_state: closed\n    limits: {disagree: 0.7 s, discrepancy: 0.7 s}"
    found = findings_of(spoiled("    safe_state: closed", both))
    assert any("'disagree'" in one.found for one in found if one.level == "error")


def test_what_was_said_of_contacts_is_renewed() -> None:
    said = "switches disagree: open and closed switch of a are both made, p is made, q is broken"
    assert renewed_text(said) == (
        "switches disagree: open and closed switch of a are both ON, p is ON, q is OFF"
    )
    assert renewed_text("clear q stuck-made") == "clear q stuck-on"
