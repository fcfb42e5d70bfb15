"""The documents that come with pneumo, by their names."""

from __future__ import annotations

from pathlib import Path

from pneumo.circuit.spelling import near
from pneumo.errors import InputError

LONGEST = 120
"""Letters of a name that are shown in a message."""


def find_document(name: str) -> Path:
    """The path itself when it exists, else the shipped document or drill of that name.

    Raises
    ------
    InputError
        When a bare name is neither.
    """
    path = Path(name)
    try:
        named = path.exists() or path.suffix or len(path.parts) > 1
    except OSError as error:
        shown = name if len(name) <= LONGEST else f"{name[:LONGEST]}…"
        raise InputError(f"{shown}: cannot be read ({error.strerror}).") from error
    if named:
        return path
    for folder in shipped_folders():
        for shipped in (folder / f"{name}.yaml", folder / "drills" / f"{name}.yaml"):
            if shipped.is_file():
                return shipped
    known = sorted(p.stem for folder in shipped_folders() for p in folder.rglob("*.yaml"))
    hint = near(name, known, f"Those are: {', '.join(known)}.")
    raise InputError(f"{name} is neither a file nor a circuit that comes with pneumo. {hint}")


def shipped_folders() -> tuple[Path, ...]:
    """Where the circuits are: in the installed package, or beside it in a source tree."""
    package = Path(__file__).resolve().parents[1]
    return tuple(
        folder for folder in (package / "_circuits", package.parent / "circuits")
        if folder.is_dir()
    )[:1]  # fmt: skip
