"""Typed values as plain JSON lists and back; whatever does not fit its type exactly is refused.

A NamedTuple or frozen dataclass becomes the list of its fields, so its annotations are the format.
One of several dataclasses is preceded by its name: ["RideStop", []].
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from enum import Enum
from functools import cache, partial
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
    if kind in _PLAIN:
        return _PLAIN[kind](data)
    if several := _several(kind):
        return _one_of(several, data)
    if reader := _OF_OTHERS.get(get_origin(kind)):
        return reader(get_args(kind), data)
    return _known(kind, data) if issubclass(kind, Enum) else _record(kind, data)


def _one_of(several: dict[str, Any], data: Any) -> Any:
    items = _list(data)
    if len(items) != 2 or _text(items[0]) not in several:
        raise PackingError("A record is of an unknown kind.")
    return _unpack(several[items[0]], items[1])


def _many(inner: tuple[Any, ...], data: Any) -> Any:
    of, _ = inner  # a tuple of any length, of one type
    return tuple(_unpack(of, item) for item in _list(data))


def _word(words: tuple[Any, ...], data: Any) -> Any:
    if not isinstance(data, str) or data not in words:
        raise PackingError("A word is not one of the known ones.")
    return data


def _optional(options: tuple[Any, ...], data: Any) -> Any:
    (some,) = (option for option in options if option is not NoneType)
    return None if data is None else _unpack(some, data)


def _known(kind: Any, data: Any) -> Any:
    known = {str(each.value): each for each in kind}
    return known[_word(tuple(known), _text(data))]


def _record(kind: Any, data: Any) -> Any:
    fields, items = _fields(kind), _list(data)
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
        raise PackingError("A text holds a character that is not allowed.")
    return data


def _number(kind: type[int] | type[float], data: Any) -> int | float:
    fits = isinstance(data, int) or (kind is float and isinstance(data, float))
    if isinstance(data, bool) or not fits:
        raise PackingError("A number is missing.")
    if not (-_LARGEST_INT <= data <= _LARGEST_INT if isinstance(data, int) else isfinite(data)):
        raise PackingError("A number is too large.")
    return kind(data)


def _yes_or_no(data: Any) -> bool:
    if not isinstance(data, bool):
        raise PackingError("A yes or no is missing.")
    return data


_PLAIN: dict[Any, Callable[[Any], Any]] = {
    str: _text,
    bool: _yes_or_no,
    int: partial(_number, int),
    float: partial(_number, float),
}
_OF_OTHERS: dict[Any, Callable[[tuple[Any, ...], Any], Any]] = {
    tuple: _many,
    Literal: _word,
    UnionType: _optional,
    Union: _optional,
}
"""Origin of a type that is made of others -> what reads it, given those others."""
