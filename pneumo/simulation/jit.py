"""Compilation of the kernels, cached per set of sources.

numba's own cache does not notice a changed constant or a changed callee in another file, so the
cache folder is named after a hash of every source the kernels are built from.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
from numba.core import config
from platformdirs import user_cache_path

F = TypeVar("F", bound=Callable[..., Any])


def _source_hash() -> str:
    package = Path(__file__).resolve().parent.parent
    sources = sorted((package / "simulation").glob("*.py"))
    sources += [package / "air.py", package / "network" / "network.py"]
    # numba keeps a compiled function per place of its source, so the place counts as well
    digest = hashlib.sha256(f"{numba.__version__} {package}".encode())
    for source in sources:
        digest.update(source.name.encode())
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


CACHE = user_cache_path("pneumo", appauthor=False) / "kernels" / _source_hash()
"""Folder of the compiled kernels of exactly these sources."""

config.CACHE_DIR = str(CACHE)  # type: ignore[attr-defined]


def is_compiled() -> bool:
    """True when an earlier run has left compiled kernels of these sources."""
    return CACHE.is_dir() and any(CACHE.rglob("advance.advance-*.nbc"))


def inlined(function: F) -> F:
    """Compiles a small function into its callers, where slopes nobody asks for are dropped."""
    return cast(
        F, numba.njit(cache=True, nogil=True, error_model="numpy", forceinline=True)(function)
    )


def kernel(function: F) -> F:
    """Compiles a function of numbers and arrays; releases the interpreter lock."""
    return cast(F, numba.njit(cache=True, nogil=True, error_model="numpy")(function))
