"""Typed values as plain JSON lists and back; whatever does not fit its type exactly is refused.

A NamedTuple or frozen dataclass becomes the list of its fields, so its annotations are the format.
"""

from __future__ import annotations

import dataclasses
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


class WireError(Exception):
    """What came over the wire is not what was agreed; its text is a sentence."""


def pack(value: Any) -> Any:
    """A value as JSON knows it."""
    if isinstance(value, tuple):  # a NamedTuple, too
        return [pack(item) for item in value]
    if dataclasses.is_dataclass(value):
        return [pack(getattr(value, field.name)) for field in dataclasses.fields(value)]
    if isinstance(value, str):
        return harmless(value[:LONGEST_TEXT], keep="\n")
    return value


def unpack(kind: type[T], data: Any) -> T:
    """The value of a type that `pack` gave this for.

    Raises
    ------
    WireError
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
            raise WireError("A word is not one of those agreed.")
        return data
    if origin in (UnionType, Union):
        (some,) = (option for option in inner if option is not NoneType)
        return None if data is None else _unpack(some, data)
    if kind is str:
        return _text(data)
    if kind is bool:
        if not isinstance(data, bool):
            raise WireError("A yes or no is missing.")
        return data
    if kind in (int, float):
        return _number(kind, data)
    hints = _hints(kind)
    items = _list(data)
    if len(items) != len(hints):
        raise WireError(f"A {kind.__name__} has {len(items)} parts instead of {len(hints)}.")
    return kind(*map(_unpack, hints, items))


@cache
def _hints(kind: Any) -> tuple[Any, ...]:
    return tuple(get_type_hints(kind).values())


def _list(data: Any) -> list[Any]:
    if not isinstance(data, list):
        raise WireError("A list is missing.")
    if len(data) > LONGEST_LIST:
        raise WireError("A list is too long.")
    return data


def _text(data: Any) -> str:
    if not isinstance(data, str):
        raise WireError("A text is missing.")
    if len(data) > LONGEST_TEXT:
        raise WireError("A text is too long.")
    if first_acting(data, keep="\n") >= 0:
        raise WireError("A text holds what is no letter.")
    return data


def _number(kind: type[int] | type[float], data: Any) -> int | float:
    fits = isinstance(data, int) or (kind is float and isinstance(data, float))
    if isinstance(data, bool) or not fits:
        raise WireError("A number is missing.")
    if not (-_LARGEST_INT <= data <= _LARGEST_INT if isinstance(data, int) else isfinite(data)):
        raise WireError("A number is too large.")
    return kind(data)
