"""The JSON Schema agrees with what `load` takes and refuses."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
import yaml
from circuit_sample import SAMPLE, spoiled

from pneumo.circuit.document import Findings, parse
from pneumo.circuit.schema import document_schema
from pneumo.components import KINDS
from pneumo.units import QUANTITIES, QUANTITY_MARK

CIRCUITS = sorted((Path(__file__).parents[2] / "circuits").glob("*.yaml"))
SCHEMA = document_schema()
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)


def slips(text: str) -> list[str]:
    tree = parse(text, Findings("x.yaml"))
    return [error.message for error in VALIDATOR.iter_errors(tree)]


def test_it_is_a_schema_and_plain_json() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert json.loads(json.dumps(SCHEMA)) == SCHEMA
    assert QUANTITY_MARK not in json.dumps(SCHEMA)


def test_it_knows_every_kind() -> None:
    assert SCHEMA["$defs"]["component"]["properties"]["kind"]["enum"] == list(KINDS)
    for model in KINDS.values():
        assert set(SCHEMA["$defs"][model.__name__]["properties"]) == {
            info.alias or name for name, info in model.model_fields.items()
        }


@pytest.mark.parametrize("path", CIRCUITS, ids=lambda path: path.stem)
def test_it_takes_every_shipped_circuit(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert slips(text) == []
    # an editor may resolve numbers and yes/no before it asks the schema
    assert [error.message for error in VALIDATOR.iter_errors(yaml.safe_load(text))] == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("kind: receiver,", "kind: reciever,"),
        ("volume: 200 L", "volumee: 200 L"),
        ("volume: 200 L", "volume: 200"),
        ("b: 0.3, feed", "b: [0.3], feed"),
        ("spring: close", "spring: closed"),
        ("    safe_state: closed\n", ""),
        ("valve.14: charge", "valve.14: fill"),
        ("compressor.2 -> check.1", "compressor.2 check.1"),
        ("site:", "size:"),
        ("at 1 s: open final", "after 1 s: open final"),
        ("tee:", "Tee:"),
    ],
)
def test_it_sees_slips_of_shape_and_spelling(old: str, new: str) -> None:
    assert slips(SAMPLE) == []
    assert slips(spoiled(old, new))


CURVE = "area_curve: {0 mm: 300 cm2, 25 mm: 270 cm2}"


def test_a_brake_has_an_area_or_a_curve_of_it() -> None:
    assert slips(spoiled("area: 300 cm2", CURVE)) == []
    for wrong in (
        "area: 300 cm2\n    " + CURVE,
        "friction: 0 N",
        CURVE.replace("270 cm2", "270"),
        CURVE.replace("25 mm", "25"),
        "area_curve: {0 mm: 300 cm2}",
        "area_curve: 300 cm2",
    ):
        assert slips(spoiled("area: 300 cm2", wrong)), wrong


def test_defaults_are_written_with_their_units() -> None:
    regulator = SCHEMA["$defs"][KINDS["regulator"].__name__]["properties"]
    assert regulator["droop"]["default"] == "0.3 bar"
    assert regulator["relieving"]["default"] == "yes"
    assert SCHEMA["$defs"]["Ambient"]["properties"]["temperature"]["default"] == "20 C"


@pytest.mark.parametrize("key", sorted(QUANTITIES))
def test_examples_are_right(key: str) -> None:
    for example in QUANTITIES[key].example.removesuffix(" (gauge)").split(" or "):
        QUANTITIES[key].parse(example.removesuffix(" (gauge)"))


@pytest.mark.parametrize(
    ("model", "parameter", "said"),
    [
        ("BladderBrake", "area", "push on one ski"),
        ("BladderBrake", "area_loss", "the springs lose nothing"),
        ("BladderBrake", "area_curve", "on the fin if they close it"),
        ("BladderBrake", "gap", "Total of both sides when open"),
        ("BladderBrake", "spring_force", "All springs of one ski together"),
        ("Receiver", "wall_heat", "15 W/(m2 K)"),
        ("Valve32", "exhaust_C", "Left out: as large as C."),
        ("FlowControl", "bypass_C", "from 2 to 1 only"),
    ],
)
def test_a_parameter_says_what_it_means_and_how_it_is_written(
    model: str, parameter: str, said: str
) -> None:
    described = document_schema()["$defs"][model]["properties"][parameter]["description"]
    assert said in described
    assert " Written as " in described
