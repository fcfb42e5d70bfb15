"""Writing a file whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import tempfile
from pathlib import Path

from pneumo.errors import InputError, UnfinishedError
from pneumo.harmless import first_acting, named

BEYOND_THE_USER = (errno.ENOSPC, errno.EDQUOT, errno.EIO)
"""Why a disk refuses what another name would not change."""

LONGEST = 120
"""So much of a name that is too long is shown."""


def write_atomically(path: str | os.PathLike[str], content: str | bytes) -> None:
    """Write `content` to `path` so that a kill at any moment leaves the old file or the new one.

    Text is written as UTF-8 with the line ends it has. The permissions of a file that is replaced
    are kept; a symbolic link stays a link and the file it points to is replaced.

    Raises InputError when the folder is missing or not writable or when `path` is a folder, and
    UnfinishedError when the disk refuses the bytes; nothing is left behind then.
    """
    check_target(path)
    asked = Path(path)
    target = asked.resolve()
    folder = target.parent
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name[:100]}.", suffix=".tmp", dir=folder)
    except OSError as error:
        kind = UnfinishedError if error.errno in BEYOND_THE_USER else InputError
        raise kind(
            f"{asked}: cannot write into the folder {folder} ({error.strerror}); choose a folder "
            "you may write to."
        ) from error
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        temporary.chmod(_mode_for(target))
        os.replace(temporary, target)
    except BaseException as error:
        with contextlib.suppress(OSError):
            temporary.unlink()
        if isinstance(error, OSError):
            raise UnfinishedError(
                f"{asked}: writing failed ({error.strerror}); the file is as it was before."
            ) from error
        raise
    _settle_folder(folder)


def check_target(path: str | os.PathLike[str]) -> None:
    """Raises InputError when a file of that name could not be written: before the long work."""
    if (at := first_acting(str(path))) >= 0:
        raise InputError(
            f"{path}: this name holds an invisible character ({named(str(path)[at])}); choose "
            "another name."
        )
    try:
        _check(Path(path).resolve(), path)
    except (OSError, ValueError, RuntimeError) as error:  # e.g. a name that is too long
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"{_short(path)}: no file of this name can be written ({reason}); name another one."
        ) from error


def _check(target: Path, path: str | os.PathLike[str]) -> None:
    if target.is_dir():
        raise InputError(f"{path}: this is a folder; name a file in it to write to.")
    if target.exists() and not target.is_file():
        raise InputError(f"{path}: this is a device or a pipe; name a plain file to write to.")
    if not target.parent.is_dir():
        raise InputError(
            f"{path}: the folder {target.parent} does not exist; create it or choose another place."
        )
    if not os.access(target.parent, os.W_OK):
        raise InputError(
            f"{path}: cannot write into the folder {target.parent}; choose a folder you may "
            "write to."
        )


def check_targets(
    source: str | os.PathLike[str] | None, *paths: str | os.PathLike[str] | None
) -> None:
    """`check_target` for every path that is given; raises InputError, too, when two are one file,
    or one is the file that is read, by whatever name or link."""
    seen: list[Path] = []
    for path in paths:
        if path is None:
            continue
        check_target(path)
        target = Path(path).resolve()
        if source is not None and same_file(source, target):
            raise InputError(
                f"{path}: this is the document itself, which would be lost; name another file."
            )
        if any(same_file(other, target) for other in seen):
            raise InputError(f"{path}: two results cannot go into one file; name another one.")
        seen.append(target)


def same_file(one: str | os.PathLike[str], other: str | os.PathLike[str]) -> bool:
    """Whether two names lead to one file; links and hard links count."""
    try:
        return os.path.samefile(one, other)
    except (OSError, ValueError):  # one of them is not there yet
        return Path(one).resolve() == Path(other).resolve()


def _short(path: str | os.PathLike[str]) -> str:
    text = os.fspath(path)
    return text if len(text) <= LONGEST else f"{text[:LONGEST]}…"


def _mode_for(target: Path) -> int:
    """Permissions of the file being replaced, or those a plain `open` would have given."""
    try:
        return target.stat().st_mode & 0o7777
    except OSError:
        mask = os.umask(0)
        os.umask(mask)
        return 0o666 & ~mask


def _settle_folder(folder: Path) -> None:
    """Ask the file system to keep the new name; not every system can, and the file is whole."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
