"""Typed values as plain JSON lists and back; whatever does not fit its type exactly is refused.

A NamedTuple or frozen dataclass becomes the list of its fields, so its annotations are the format.
One of several dataclasses is preceded by its name: ["RideStop", []].
"""

from __future__ import annotations

import dataclasses
from enum import Enum
from functools import cache
from math import isfinite
from types import NoneType, UnionType
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from pneumo.harmless import first_acting, harmless

LONGEST_TEXT = 4000
"""Letters of one text."""

LONGEST_LIST = 50_000
"""Entries of one list."""

_LARGEST_INT = 2**53

T = TypeVar("T")


class PackingError(Exception):
    """What was given is not what was agreed; its text is a sentence."""


def pack(value: Any) -> Any:
    """A value as JSON knows it."""
    if isinstance(value, tuple):  # a NamedTuple, too
        return [pack(item) for item in value]
    if dataclasses.is_dataclass(value):
        kind: Any = type(value)
        return [pack_one(getattr(value, name), of) for name, of in _fields(kind).items()]
    if isinstance(value, str):  # an Enum of texts, too
        return harmless(str(value)[:LONGEST_TEXT], keep="\n")
    return value


def pack_one(value: Any, of: Any) -> Any:
    """A value of a type that may be one of several dataclasses."""
    return [type(value).__name__, pack(value)] if _several(of) else pack(value)


def unpack(kind: type[T], data: Any) -> T:
    """The value of a type that `pack` gave this for.

    Raises
    ------
    PackingError
        When it is not of that type.
    """
    value: T = _unpack(kind, data)
    return value


def _unpack(kind: Any, data: Any) -> Any:
    origin, inner = get_origin(kind), get_args(kind)
    if origin is tuple and inner[1:] == (Ellipsis,):
        return tuple(_unpack(inner[0], item) for item in _list(data))
    if origin is Literal:
        if not isinstance(data, str) or data not in inner:
            raise PackingError("A word is not one of those agreed.")
        return data
    if several := _several(kind):
        items = _list(data)
        if len(items) != 2 or _text(items[0]) not in several:
            raise PackingError("A record is none of those agreed.")
        return _unpack(several[items[0]], items[1])
    if origin in (UnionType, Union):
        (some,) = (option for option in inner if option is not NoneType)
        return None if data is None else _unpack(some, data)
    if kind is str:
        return _text(data)
    if kind is bool:
        if not isinstance(data, bool):
            raise PackingError("A yes or no is missing.")
        return data
    if kind in (int, float):
        return _number(kind, data)
    if isinstance(kind, type) and issubclass(kind, Enum):
        known = {str(each.value): each for each in kind}
        if _text(data) not in known:
            raise PackingError("A word is not one of those agreed.")
        return known[data]
    fields = _fields(kind)
    items = _list(data)
    if len(items) != len(fields):
        raise PackingError(f"A {kind.__name__} has {len(items)} parts instead of {len(fields)}.")
    return kind(*map(_unpack, fields.values(), items))


@cache
def _fields(kind: Any) -> dict[str, Any]:
    """Fields of a NamedTuple or dataclass and their types, in order."""
    hints = get_type_hints(kind)
    if dataclasses.is_dataclass(kind):
        return {field.name: hints[field.name] for field in dataclasses.fields(kind)}
    return hints


@cache
def _several(kind: Any) -> dict[str, Any]:
    """Name -> dataclass, of a type that is one of several; {} of any other."""
    options = get_args(kind) if get_origin(kind) in (UnionType, Union) else ()
    if len(options) < 2 or not all(dataclasses.is_dataclass(option) for option in options):
        return {}
    return {option.__name__: option for option in options}


def _list(data: Any) -> list[Any]:
    if not isinstance(data, list):
        raise PackingError("A list is missing.")
    if len(data) > LONGEST_LIST:
        raise PackingError("A list is too long.")
    return data


def _text(data: Any) -> str:
    if not isinstance(data, str):
        raise PackingError("A text is missing.")
    if len(data) > LONGEST_TEXT:
        raise PackingError("A text is too long.")
    if first_acting(data, keep="\n") >= 0:
        raise PackingError("A text holds what is no letter.")
    return data


def _number(kind: type[int] | type[float], data: Any) -> int | float:
    fits = isinstance(data, int) or (kind is float and isinstance(data, float))
    if isinstance(data, bool) or not fits:
        raise PackingError("A number is missing.")
    if not (-_LARGEST_INT <= data <= _LARGEST_INT if isinstance(data, int) else isfinite(data)):
        raise PackingError("A number is too large.")
    return kind(data)
