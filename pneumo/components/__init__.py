"""Component kinds. `KINDS` is the table of them all; adding a kind is adding a file in `kinds`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache
from importlib import import_module
from pkgutil import iter_modules

from pneumo.components import kinds
from pneumo.components.base import Component, Trait


@lru_cache(maxsize=4)
def _files(folders: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(sorted(module.name for module in iter_modules(folders)))


class _Kinds(Mapping[str, type[Component]]):
    """The files in `kinds`; imports one when it is asked for: a document has few of them."""

    def __getitem__(self, kind: str) -> type[Component]:
        if kind not in self:
            raise KeyError(kind)
        module = import_module(f"{kinds.__name__}.{kind}")
        return next(
            found
            for found in vars(module).values()
            if isinstance(found, type)
            and issubclass(found, Component)
            and found.__module__ == module.__name__
        )

    def __iter__(self) -> Iterator[str]:
        return iter(_files(tuple(kinds.__path__)))

    def __len__(self) -> int:
        return len(_files(tuple(kinds.__path__)))

    def __contains__(self, kind: object) -> bool:
        return kind in _files(tuple(kinds.__path__))


KINDS: Mapping[str, type[Component]] = _Kinds()
"""Kind, as written in a document and as its file is called, to its class; alphabetical."""


def kinds_with(trait: Trait) -> tuple[str, ...]:
    """The kinds that have a trait, alphabetical. Imports all of them: for a message, no more."""
    return tuple(kind for kind, model in KINDS.items() if trait in model.traits)


__all__ = ["KINDS", "Component", "kinds_with"]
