"""The folder in which compiled kernels are kept, one per set of sources and processor."""

from __future__ import annotations

import contextlib
import functools
import hashlib
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from importlib import metadata
from pathlib import Path
from typing import IO

from platformdirs import user_cache_path

from pneumo.simulation import native

KEPT = 5
"""Folders of other sources, other versions or other processors that are kept."""


CHECKS_BOUNDS = "PNEUMO_CHECK_BOUNDS" in os.environ
"""Kernels are compiled so that an index outside its array stops the process; for tests."""


def source_hash(package: Path) -> str:
    """Names what kernels made from the sources of this package are made of and for. Where the
    package lies does not count; machines that share a home may have different processors."""
    sources = sorted((package / "simulation").glob("*.py"))
    sources += [package / "air.py", package / "network" / "network.py"]
    made_by = f"{metadata.version('numba')} {CHECKS_BOUNDS} {native.machine()}"
    digest = hashlib.sha256(made_by.encode())
    for name in sorted(name for name in os.environ if name.startswith("NUMBA_")):
        digest.update(f"{name}={os.environ[name]}".encode())
    for source in sources:
        digest.update(source.name.encode())
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


CACHE = (
    user_cache_path("pneumo", appauthor=False)
    / "kernels"
    / source_hash(Path(__file__).resolve().parent.parent)
)
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


@contextlib.contextmanager
def alone(name: str, waiting: Callable[[], None] = lambda: None) -> Iterator[None]:
    """Work on what is to be kept under a name, one process or thread after the other.

    `waiting` is called when another is at it. Where nothing can be kept nobody waits.
    """
    if not is_writable():
        yield
        return
    with (CACHE / f"{name}.lock").open("ab") as file:
        if not _locked(file, wait=False):
            waiting()
            _locked(file, wait=True)
        yield  # closing the file, or the end of the process, lets the next one in


def _locked(file: IO[bytes], *, wait: bool) -> bool:
    """Whether the file is ours now. A file system without locks gives it to everybody: then two
    compile the same, and the later one's is kept."""
    if sys.platform == "win32":
        import msvcrt

        while True:
            try:
                file.seek(0)
                msvcrt.locking(file.fileno(), msvcrt.LK_LOCK if wait else msvcrt.LK_NBLCK, 1)
            except OSError:  # with LK_LOCK: after ten attempts, one a second
                if not wait:
                    return False
            else:
                return True
    import fcntl

    try:
        fcntl.flock(file, fcntl.LOCK_EX if wait else fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return True
    return True
