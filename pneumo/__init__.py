"""pneumo: compressed-air brake circuits and their control logic, simulated to rehearse faults.

For other programs: `load`, `run`, `verify`, what they give and what they raise, see `pneumo.api`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pneumo.api import (
        DocumentError,
        InputError,
        Run,
        StoppedError,
        UnfinishedError,
        ZoneEnd,
        load,
        run,
        verify,
        why,
    )

__version__ = "0.1.0"

__all__ = [
    "DocumentError", "InputError", "Run", "StoppedError", "UnfinishedError", "ZoneEnd", "load",
    "run", "verify", "why",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    # not at the top: the command line's help loads nothing
    if name not in __all__:
        raise AttributeError(f"module 'pneumo' has no attribute {name!r}")
    from pneumo import api

    return getattr(api, name)
