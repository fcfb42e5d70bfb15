"""Texts of circuit documents for all tests: those that come with pneumo, and ways to change one."""

from __future__ import annotations

from pathlib import Path

CIRCUITS = Path(__file__).parents[1] / "circuits"


def shipped_text(name: str) -> str:
    """The text of a circuit that comes with pneumo, by its name without the ending."""
    return (CIRCUITS / f"{name}.yaml").read_text(encoding="utf-8")


def replaced(text: str, *changes: tuple[str, str]) -> str:
    """A text with passages replaced, each by (old, new); each must be there once."""
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text
