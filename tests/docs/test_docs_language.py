"""The language as the documents tell it: its words exist, and all of them are told."""

from __future__ import annotations

import re
from typing import get_args

import pytest
from docs_blocks import FILES, LANGUAGE, ROOT, rows, section, smallest, words

from pneumo.circuit.sentence import parse_action
from pneumo.circuit.validate import load
from pneumo.circuit.verbs import VERBS
from pneumo.components import KINDS
from pneumo.components.base import Ending
from pneumo.report.json_report import run_document, verification_document
from pneumo.units import QUANTITIES
from pneumo.verification.verdict import Verification

RIDE = load(ROOT / "circuits" / "sand_martin.yaml")
TOLD = section(LANGUAGE, "The document language")


def test_every_kind_is_in_the_table() -> None:
    table = rows(section(LANGUAGE, "Kinds of component"))
    assert [words(row[0])[0] for row in table] == list(KINDS)


QUANTITY_ROWS = [row for row in rows(TOLD) if row[0] in QUANTITIES]


def test_quantities_are_read() -> None:
    assert len(QUANTITY_ROWS) >= 12
    for name, written in QUANTITY_ROWS:
        for text in words(written):
            assert QUANTITIES[name].parse(text) >= 0.0


SENTENCES = [sentence for row in rows(TOLD) if row[0].startswith("`") for sentence in words(row[0])]


@pytest.mark.parametrize("sentence", SENTENCES)
def test_sentences_are_understood(sentence: str) -> None:
    action = parse_action(sentence, RIDE.components, RIDE.zones, RIDE.gates)
    assert action.text == sentence


def test_every_verb_is_told() -> None:
    assert {sentence.split()[0] for sentence in SENTENCES} == set(VERBS)


def test_sections_and_zone_fields_exist() -> None:
    from pneumo.circuit.circuit import Limits, Requirement, ZoneEntry
    from pneumo.circuit.validate import SECTIONS

    named = words(TOLD.partition("Sections:")[2].partition("- **")[0])
    assert sorted(named) == sorted(SECTIONS)
    zones = words(TOLD.partition("**Zones**")[2].partition("- **")[0])
    fields = {*ZoneEntry.model_fields, *Limits.model_fields, *Requirement.model_fields}
    assert set(zones) - {"charge", "vent", "jaw_switch", "of"} <= fields
    assert fields - set(zones) == {"about"}


# fault modes


def modes_of_variants() -> set[str]:
    """Every mode of every kind, with the parameters that bring further modes."""
    found = {mode.name for word in KINDS for mode in smallest(word).fault_modes()}
    for changes in ({"operation": "pilot"}, {"memory": "bistable"}):
        valve = smallest("valve_3_2").model_copy(update=changes)
        found |= {mode.name for mode in valve.fault_modes()}
    return found


def test_fault_words_exist_and_are_all_there() -> None:
    said = {word for row in rows(section(LANGUAGE, "Fault modes")) for word in words(row[1])}
    known = modes_of_variants()
    assert said <= known, f"no such mode: {said - known}"
    numbered = {mode for mode in known if re.search(r"-1[24]\b", mode)}
    assert known - numbered <= said, f"not told: {known - numbered - said}"


ACT_AND_MODES = [(words(row[0])[0], words(row[1]))
                 for row in rows(section(LANGUAGE, "What ends a fault"))]  # fmt: skip


def test_what_ends_a_fault_is_told() -> None:
    """Every act with every mode it ends; of a new part those that it does not."""
    variants = [smallest(word) for word in KINDS]
    pilot = smallest("valve_3_2").model_copy(update={"operation": "pilot"})
    modes = [mode for part in (*variants, pilot) if len(part.coils()) < 2
             for mode in part.fault_modes()]  # fmt: skip
    told = {tuple(act.split(" ")): set(said) for act, said in ACT_AND_MODES}
    assert {act[0] for act in told} == set(get_args(Ending))
    for (by, *where), said in told.items():
        side = "14" if where == ["VALVE.14"] else ""
        ended = {mode.name for mode in modes if mode.is_ended(by, side)}  # type: ignore[arg-type]
        if where == ["NAME"]:
            ended = {mode.name for mode in modes} - ended
        assert said == ended, (by, where)


# files


def fields_said(name: str) -> list[str]:
    row = next(row for row in rows(FILES.read_text(encoding="utf-8")) if row[0] == f"`{name}`")
    return words(row[1].partition(";")[0])


def test_json_fields_of_a_run() -> None:
    document = run_document(
        document="a", ride="b", scenario="", faults=[], program="1", times=[], signals=[], events=[]
    )
    assert fields_said("pneumo-run") == list(document)
    assert document["format"] == "pneumo-run"


def test_json_fields_of_a_verification() -> None:
    document = verification_document(Verification("a", "b", "", (), (), (), (), "1"))
    assert fields_said("pneumo-verification") == list(document)
    assert document["format"] == "pneumo-verification"
