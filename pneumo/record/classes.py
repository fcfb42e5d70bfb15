"""A class that is going on: which trainee's ride is kept in which record, in one small file.

It lies beside the records (`file.runs_folder`) and is written anew whenever a ride is opened, so
that a class whose program was killed can go on whole. It is deleted when nothing is left to go on
with.
"""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Collection
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from pneumo.errors import InputError
from pneumo.packing import PackingError, pack, unpack
from pneumo.record.file import SUFFIX as RUN
from pneumo.record.file import runs_folder
from pneumo.report.files import write_atomically

SUFFIX = ".class"

FORMAT = 1

KEPT = 20
"""Classes that are kept; older ones are forgotten when one begins."""

LARGEST = 100_000
"""Bytes of such a file."""


class KeptRide(NamedTuple):
    """A trainee's ride."""

    name: str
    """Of the trainee."""
    run: str
    """Name of the file of the run, beside this one."""


class Kept(NamedTuple):
    """A class."""

    drill: str
    """Path of the drill, as it was given."""
    size: int
    """Trainees at most."""
    rides: tuple[KeptRide, ...]


def new_class(folder: Path | None = None, now: datetime | None = None) -> Path:
    """Where a class that begins is kept; nothing is written yet. Old ones go."""
    moment = datetime.now() if now is None else now
    place = runs_folder() if folder is None else folder
    for old in sorted(place.glob(f"*{SUFFIX}"))[:-KEPT]:
        forget_class(old)
    return place / f"{moment:%Y-%m-%d_%H-%M-%S}_{os.getpid()}{SUFFIX}"


def keep_class(path: Path, kept: Kept) -> None:
    """Writes a class. Raises InputError when the disk refuses, or UnfinishedError."""
    text = {
        "pneumo_class": FORMAT,
        "drill": kept.drill,
        "size": kept.size,
        "rides": pack(kept.rides),
    }
    write_atomically(path, json.dumps(text, ensure_ascii=False, indent=1) + "\n")


def read_class(path: Path) -> Kept:
    """A class that was kept.

    Raises
    ------
    InputError
        When the file is none, is damaged, or a run of it is gone.
    """
    try:
        if path.stat().st_size > LARGEST:
            raise ValueError("it is too large")
        data = json.loads(path.read_text(encoding="utf-8"))
        if not isinstance(data, dict) or data.pop("pneumo_class", None) != FORMAT:
            raise ValueError(f"it is no class of format {FORMAT}")
        if set(data) != {*Kept._fields}:
            raise ValueError("its fields are others")
        kept = unpack(Kept, [data[name] for name in Kept._fields])
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}).") from None
    except (ValueError, RecursionError, PackingError) as error:
        raise InputError(
            f"{path}: this is not a class that can go on ({error}). Each of its rides can still be "
            "continued alone, from its own record."
        ) from None
    for name, run in kept.rides:
        # only what lies beside it: a path would lead anywhere
        if Path(run).name != run or not run.endswith(RUN) or not (path.parent / run).is_file():
            raise InputError(f"{path}: the record of {name} is gone ({path.parent / run}).")
    return kept


def interrupted(drill: str, runs: Collection[Path], folder: Path | None = None) -> list[Path]:
    """Classes of a drill, by its path as it was given, of which a run was cut off; the newest
    first. `runs`: all that were (`reading.unfinished`). What cannot be read is left out."""
    place = runs_folder() if folder is None else folder
    found = []
    for path in sorted(place.glob(f"*{SUFFIX}"), reverse=True):
        with contextlib.suppress(InputError):
            kept = read_class(path)
            if kept.drill == drill and any(path.parent / run in runs for _, run in kept.rides):
                found.append(path)
    return found


def forget_class(path: Path) -> None:
    """Nothing of it is left to go on with."""
    with contextlib.suppress(OSError):
        path.unlink()
