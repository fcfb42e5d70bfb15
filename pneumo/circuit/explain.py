"""What pydantic finds wrong in an entry, as sentences: what was found, what would be right."""

from __future__ import annotations

from typing import Any, Literal, NamedTuple, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from pneumo.circuit.spelling import listed, near
from pneumo.harmless import quoted
from pneumo.units import Within


class _Problem(NamedTuple):
    """One error of pydantic."""

    name: str
    """The field, as written."""
    kind: str
    message: str
    context: dict[str, Any]
    value: Any
    fields: dict[str, FieldInfo]
    """All fields of the model it stands in."""

    @property
    def of(self) -> FieldInfo | None:
        """The field, if the model has it."""
        return self.fields.get(self.name)


def explained(problem: dict[str, Any], model: type[BaseModel]) -> tuple[str, str, str]:
    """Field, what was found, what would be right."""
    *path, last = problem["loc"] or ("",)
    field = ".".join(str(part) for part in problem["loc"])
    one = _Problem(
        str(last), problem["type"], problem["msg"], problem.get("ctx", {}), problem.get("input"),
        _fields(model, path),
    )  # fmt: skip
    if one.kind in _SENTENCES:
        return field, *_SENTENCES[one.kind](one)
    if one.kind.startswith("string"):
        return field, f"Found {_shown(one.value)} where text belongs.", "Write some plain text."
    return field, f"{_shown(one.value)} does not fit: {one.message}.", ""


def _missing(one: _Problem) -> tuple[str, str]:
    if get_origin(_plain_type(one.of)) is Literal:
        # which one is right is for the writer to say: name them all, suggest none
        choices = get_args(_plain_type(one.of))
        words = " or ".join(f"'{one.name}: {choice}'" for choice in choices)
        return f"It needs {one.name}.", f"Add what is true of it: {words}."
    return f"It needs {one.name}.", f"Add it, written like {_example(one.of, one.name)}."


def _unknown(one: _Problem) -> tuple[str, str]:
    known = [name for name in one.fields if name != "kind"]
    wanted = near(one.name, known, f"Fields are {listed(known, 40)}.")
    if one.value == "" and one.name[:1].isdigit():
        wanted = "Inside braces a comma ends a value: use a decimal point."
    return f"There is no field {quoted(one.name)}.", wanted


def _no_choice(one: _Problem) -> tuple[str, str]:
    choices = [str(choice) for choice in get_args(_plain_type(one.of))]
    expected = str(one.context.get("expected", "another word")).replace("'", "")
    wanted = f"Write {' or '.join(choices) or expected}."
    if isinstance(one.value, str) and (help_ := near(one.value, choices)):
        wanted = f"{help_} {wanted}"
    return f"{_shown(one.value)} is not a choice here.", wanted


def _no_quantity(one: _Problem) -> tuple[str, str]:
    return one.context["found"], one.context["wanted"]


def _refused(one: _Problem) -> tuple[str, str]:
    return one.message.removeprefix("Value error, "), ""


def _no_mapping(one: _Problem) -> tuple[str, str]:
    return f"Found {_shown(one.value)} instead of named fields.", "Write name: value pairs."


def _no_list(one: _Problem) -> tuple[str, str]:
    return f"Found {_shown(one.value)} instead of a list.", "Start each entry with '- '."


_SENTENCES = {
    "quantity": _no_quantity,
    "missing": _missing,
    "extra_forbidden": _unknown,
    "literal_error": _no_choice,
    "value_error": _refused,
    "assertion_error": _refused,
    "model_type": _no_mapping,
    "model_attributes_type": _no_mapping,
    "dict_type": _no_mapping,
    "tuple_type": _no_list,
    "list_type": _no_list,
}
"""Type of a pydantic error -> what was found and what would be right."""


def _fields(model: type[BaseModel], path: list[Any]) -> dict[str, FieldInfo]:
    """Written names and fields of the model a path of field names leads to; {} if to none."""
    for part in path:
        inner = _plain_type(model.model_fields.get(str(part)))
        if not (isinstance(inner, type) and issubclass(inner, BaseModel)):
            return {}
        model = inner
    return {info.alias or name: info for name, info in model.model_fields.items()}


def _plain_type(info: FieldInfo | None) -> Any:
    """A field's type without `| None`."""
    if info is None:
        return None
    options = [option for option in get_args(info.annotation) if option is not type(None)]
    union = type(None) in get_args(info.annotation)
    return options[0] if union and len(options) == 1 else info.annotation


def _example(info: FieldInfo | None, name: object) -> str:
    if info is None:
        return f"'{name}: ...'"
    for limits in info.metadata:
        if isinstance(limits, Within):
            return f"'{name}: {limits.quantity.examples()[0]}'"
    choices = get_args(_plain_type(info))
    if choices and all(isinstance(choice, str) for choice in choices):
        return f"'{name}: {choices[0]}'"
    return f"'{name}: ...'"


def _shown(value: object) -> str:
    if isinstance(value, str):
        return quoted(value) if value.strip() else "nothing"
    return "a mapping" if isinstance(value, dict) else "a list"
