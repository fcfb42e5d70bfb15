"""Nothing grows past what one head holds; branches are counted by the linter (pyproject.toml)."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FILES = sorted([*(ROOT / "pneumo").rglob("*.py"), *(ROOT / "tui").rglob("*.py")])

LONGER = {
    "advance": "the steps of the method, in the order in which they are taken",
    "pipe": "a formula with its source and its slopes",
}
"""Kernels of more than 80 lines, each with the reason."""


def too_long(text: str) -> Iterator[str]:
    """What is longer than it may be: a file 600 lines, a class 350, a function 80."""
    lines = len(text.splitlines())
    if lines > 600:
        yield f"the file has {lines} lines"
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            length = (node.end_lineno or node.lineno) - node.lineno + 1
            most = 350 if isinstance(node, ast.ClassDef) else 80
            if length > most:
                yield node.name


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_nothing_is_too_long(path: Path) -> None:
    kernels = LONGER if path.parent.name == "simulation" else {}
    assert [found for found in too_long(path.read_text("utf-8")) if found not in kernels] == []


def test_every_exception_is_needed() -> None:
    kernels = (ROOT / "pneumo" / "simulation").glob("*.py")
    assert {name for path in kernels for name in too_long(path.read_text("utf-8"))} == set(LONGER)


def test_what_is_too_long_is_found() -> None:
    body = "    x = 1\n" * 81
    assert list(too_long(f"def long():\n{body}")) == ["long"]
    assert list(too_long("class C:\n" + "    x = 1\n" * 350)) == ["C"]
    assert list(too_long("\n" * 601)) == ["the file has 601 lines"]
