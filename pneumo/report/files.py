"""Writing a file whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from pneumo.errors import InputError
from pneumo.harmless import first_acting, named


def write_atomically(path: str | os.PathLike[str], content: str | bytes) -> None:
    """Write `content` to `path` so that a kill at any moment leaves the old file or the new one.

    Text is written as UTF-8 with the line ends it has. The permissions of a file that is replaced
    are kept; a symbolic link stays a link and the file it points to is replaced.

    Raises InputError when the folder is missing or not writable, when `path` is a folder, or when
    the disk refuses the bytes; nothing is left behind then.
    """
    check_target(path)
    asked = Path(path)
    target = asked.resolve()
    folder = target.parent
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name[:100]}.", suffix=".tmp", dir=folder)
    except OSError as error:
        raise InputError(
            f"{asked}: cannot write into the folder {folder} ({error.strerror}); "
            "choose a folder you may write to."
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
            raise InputError(
                f"{asked}: writing failed ({error.strerror}); the file is as it was before."
            ) from error
        raise
    _settle_folder(folder)


def check_target(path: str | os.PathLike[str]) -> None:
    """Raises InputError when a file of that name could not be written: before the long work."""
    if (at := first_acting(str(path))) >= 0:
        raise InputError(
            f"{path}: this name holds a letter that is not shown ({named(str(path)[at])}); choose "
            "another name."
        )
    target = Path(path).resolve()
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


def check_targets(*paths: str | os.PathLike[str] | None) -> None:
    """`check_target` for every path that is given; raises InputError, too, when two are one."""
    seen: set[Path] = set()
    for path in paths:
        if path is None:
            continue
        check_target(path)
        target = Path(path).resolve()
        if target in seen:
            raise InputError(f"{path}: two results cannot go into one file; name another one.")
        seen.add(target)


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
