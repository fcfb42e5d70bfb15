"""JSON Schema of circuit documents, for completion and checking while typing in an editor.

Built from the same pydantic models that read the documents. It judges shapes and spellings; what
holds between parts is judged by `validate.load`.
"""

from __future__ import annotations

import ast
import inspect
from collections.abc import Mapping
from itertools import pairwise
from textwrap import dedent
from typing import Any

from pydantic import BaseModel, TypeAdapter
from pydantic.json_schema import models_json_schema

from pneumo.circuit.circuit import (
    Ambient,
    Downtime,
    GateGroupEntry,
    Ride,
    ScenarioEntry,
    VerificationSettings,
    ZoneEntry,
)
from pneumo.components import KINDS
from pneumo.components.base import Component
from pneumo.units import QUANTITIES, QUANTITY_MARK, FailureRate

_NAME = "^[a-z][a-z0-9_]*(\\{[0-9]+\\.\\.[0-9]+\\}[a-z0-9_]*)?$"
_PLAIN_NAME = "^[a-z][a-z0-9_]*$"
_FAILING = f"^\\s*(every\\s+[a-z0-9_]+|{_NAME[1:-1]})(\\s+[a-z0-9-]+)?\\s*$"
_EVENT_KEY = "^\\s*at\\s+.+$"
_REFERENCE = "#/$defs/{model}"


def document_schema(kinds: Mapping[str, type[Component]] = KINDS) -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of a whole document with the given kinds of component."""
    sections = (
        Ambient, Downtime, GateGroupEntry, Ride, ScenarioEntry, VerificationSettings, ZoneEntry
    )  # fmt: skip
    models: list[type[BaseModel]] = [*sections, *kinds.values()]
    references, schema = models_json_schema(
        [(model, "validation") for model in models], ref_template=_REFERENCE
    )
    definitions = schema["$defs"]
    for word, model in kinds.items():
        definition = definitions[_name_of(references[model, "validation"])]
        definition["required"] = ["kind", *definition.get("required", [])]
        definition["description"] = definition.get("description", model.title).split("\n\n")[0]
        definition["properties"]["kind"] = {"const": word, "description": model.title}
    event = {
        "type": "object",
        "patternProperties": {_EVENT_KEY: {"type": "string"}},
        "additionalProperties": False,
        "minProperties": 1,
        "maxProperties": 1,
    }
    scenario = definitions[_name_of(references[ScenarioEntry, "validation"])]
    scenario["properties"]["events"] = {
        "type": "array",
        "items": {"anyOf": [event, {"type": "string", "pattern": _EVENT_KEY}]},
        "description": "sentences such as 'at 1 s: close trim'",
    }
    document = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "pneumo circuit document",
        "type": "object",
        "properties": {
            "ride": references[Ride, "validation"],
            "ambient": _or_empty(references[Ambient, "validation"]),
            "components": {
                "type": "object",
                "patternProperties": {_NAME: {"$ref": "#/$defs/component"}},
                "additionalProperties": False,
                "minProperties": 1,
            },
            "connections": _or_empty(
                {"type": "array", "items": {"type": "string", "pattern": "^[^>]+->[^>]+$"}}
            ),
            "zones": _named(_PLAIN_NAME, references[ZoneEntry, "validation"]),
            "gates": _named(_PLAIN_NAME, references[GateGroupEntry, "validation"]),
            "verification": _or_empty(references[VerificationSettings, "validation"]),
            "downtime": _or_empty(references[Downtime, "validation"]),
            "failures": _named(_FAILING, TypeAdapter(FailureRate).json_schema()),
            "scenarios": _named("\\S", references[ScenarioEntry, "validation"]),
        },
        "required": ["ride", "components"],
        "additionalProperties": False,
        "$defs": {
            "component": {
                "type": "object",
                "required": ["kind"],
                "properties": {"kind": {"enum": list(kinds)}},
                # one branch per kind, chosen by its word, so that an editor names the one slip
                # and not every kind the entry fails to be
                "allOf": [
                    {
                        "if": {"properties": {"kind": {"const": word}}, "required": ["kind"]},
                        "then": references[model, "validation"],
                    }
                    for word, model in kinds.items()
                ],
            },
            **definitions,
        },
    }
    _write_defaults(document)
    for model in kinds.values():
        _say(model, definitions[_name_of(references[model, "validation"])]["properties"])
    return document


def _name_of(reference: Mapping[str, Any]) -> str:
    return str(reference["$ref"]).rpartition("/")[2]


def _say(model: type[Component], properties: dict[str, Any]) -> None:
    """Puts what a component's code says below a parameter before how its value is written."""
    for one in reversed(model.__mro__):
        if not issubclass(one, Component):
            continue
        (body,) = ast.parse(dedent(inspect.getsource(one))).body
        for field, text in pairwise(body.body if isinstance(body, ast.ClassDef) else []):
            if not (
                isinstance(field, ast.AnnAssign)
                and isinstance(field.target, ast.Name)
                and isinstance(text, ast.Expr)
                and isinstance(text.value, ast.Constant)
                and field.target.id in model.model_fields
            ):
                continue
            node = properties[model.model_fields[field.target.id].alias or field.target.id]
            meaning = " ".join(inspect.cleandoc(str(text.value.value)).replace("`", "").split())
            meaning = meaning.replace("None:", "Left out:")
            written = node.get("description")
            node["description"] = f"{meaning} Written as {written}." if written else meaning


def _named(pattern: str, schema: Mapping[str, Any]) -> dict[str, Any]:
    return _or_empty(
        {"type": "object", "patternProperties": {pattern: schema}, "additionalProperties": False}
    )


def _or_empty(schema: Mapping[str, Any]) -> dict[str, Any]:
    """A section that may also be left empty in the document."""
    return {"anyOf": [schema, {"type": "null"}, {"const": ""}]}


def _write_defaults(node: Any) -> None:
    """Turns defaults in SI into text with a unit, and leaves out what documents cannot hold."""
    if isinstance(node, list):
        for item in node:
            _write_defaults(item)
    if not isinstance(node, dict):
        return
    key = node.pop(QUANTITY_MARK, None) or _marked_option(node)
    if "default" in node:
        node["default"] = _written(node["default"], key)
        if node["default"] is None:
            del node["default"]
    if (only := _only_option(node)) is not None:
        del node["anyOf"]
        node.update(only)
        node.pop(QUANTITY_MARK, None)
    for value in node.values():
        _write_defaults(value)


def _written(default: Any, key: str | None) -> Any:
    """A default as it is written in a document; None: it cannot be."""
    if isinstance(default, bool):
        return "yes" if default else "no"
    if isinstance(default, (int, float)):
        return default if key is None else QUANTITIES[key].text(float(default))
    return None if isinstance(default, (dict, list, tuple)) else default


def _only_option(node: Mapping[str, Any]) -> dict[str, Any] | None:
    """What a field that may also be left out is else, so that an editor says that alone."""
    options = node.get("anyOf")
    if not isinstance(options, list) or len(options) != 2 or "description" in node:
        return None
    kept = [option for option in options if option != {"type": "null"}]
    return kept[0] if len(kept) == 1 and "$ref" not in kept[0] else None


def _marked_option(node: Mapping[str, Any]) -> str | None:
    """The quantity of a field that may also be left out, marked on one of its options."""
    options = node.get("anyOf")
    if not isinstance(options, list):
        return None
    marks = (option.get(QUANTITY_MARK) for option in options if isinstance(option, dict))
    return next((mark for mark in marks if mark), None)
