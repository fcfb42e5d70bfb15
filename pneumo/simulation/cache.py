"""The folder in which compiled kernels are kept, one per set of sources and machine."""

from __future__ import annotations

import contextlib
import functools
import hashlib
import os
import shutil
import tempfile
from importlib import metadata
from pathlib import Path

from platformdirs import user_cache_path

KEPT = 5
"""Folders of other sources, other versions or other installations that are kept."""


CHECKS_PLACES = "PNEUMO_CHECK_PLACES" in os.environ
"""Kernels are compiled so that an index outside its array stops the process; for tests."""


def _source_hash() -> str:
    package = Path(__file__).resolve().parent.parent
    sources = sorted((package / "simulation").glob("*.py"))
    sources += [package / "air.py", package / "network" / "network.py"]
    # numba keeps a compiled function per place of its source, so the place counts as well
    digest = hashlib.sha256(f"{metadata.version('numba')} {package} {CHECKS_PLACES}".encode())
    for name in sorted(name for name in os.environ if name.startswith("NUMBA_")):
        digest.update(f"{name}={os.environ[name]}".encode())
    for source in sources:
        digest.update(source.name.encode())
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


CACHE = user_cache_path("pneumo", appauthor=False) / "kernels" / _source_hash()
"""Folder of the compiled kernels of exactly these sources."""

_COMPLETE = "complete"
"""File that says that every kernel is there."""


def is_complete() -> bool:
    """True when an earlier run has left every kernel of these sources."""
    if not (CACHE / _COMPLETE).is_file():
        return False
    with contextlib.suppress(OSError):
        os.utime(CACHE)  # what was used lately is kept longest
    return True


def complete() -> None:
    """Notes that every kernel is there, and removes the folders used longest ago."""
    if is_writable():
        (CACHE / _COMPLETE).touch()
        prune(CACHE.parent, CACHE.name)


@functools.cache
def is_writable() -> bool:
    """False when nothing can be kept: kernels are then compiled by every run anew."""
    try:
        CACHE.mkdir(parents=True, exist_ok=True)
        tempfile.TemporaryFile(dir=CACHE).close()
    except OSError:
        return False
    return True


def prune(folder: Path, present: str, kept: int = KEPT) -> None:
    """Removes all folders in a folder but the present one and the `kept` used last beside it."""
    others = []
    for other in folder.iterdir():
        with contextlib.suppress(OSError):  # somebody else may be tidying up, too
            if other.name != present and other.is_dir():
                others.append((other.stat().st_mtime, other))
    for _, other in sorted(others, reverse=True)[kept:]:
        shutil.rmtree(other, ignore_errors=True)


def read(name: str) -> bytes | None:
    """What was kept under a name; None when there is nothing."""
    try:
        return (CACHE / name).read_bytes()
    except OSError:
        return None


def keep(name: str, content: bytes) -> None:
    """Keeps something, whole or not at all: another process may do the same at the same time."""
    if not is_writable():
        return
    handle, temporary = tempfile.mkstemp(dir=CACHE)
    with os.fdopen(handle, "wb") as stream:
        stream.write(content)
    os.replace(temporary, CACHE / name)
