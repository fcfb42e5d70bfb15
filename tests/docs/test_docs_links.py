"""Every place the documents point to exists, and what a program made in them is current."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from docs_blocks import DOCUMENTS, ROOT, made, makers

from pneumo.cli import _EXAMPLES, build_parser

LINK = re.compile(r"\]\(([^)\s]+)\)")
PLACE = re.compile(r"`((?:pneumo|tests|circuits|tui|\.ci)/[^`\s]*)`")


def anchors(path: Path) -> set[str]:
    """Anchors of the headings of a document."""
    headings = re.findall(r"^#+ (.+)$", path.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_lead_somewhere(path: Path) -> None:
    targets = LINK.findall(path.read_text(encoding="utf-8"))
    for target in targets:
        assert "://" not in target, f"{target}: the documents rest on nothing outside"
        name, _, anchor = target.partition("#")
        aim = (path.parent / name).resolve() if name else path
        assert aim.exists(), f"{path.name} points to {target}"
        if anchor:
            assert anchor in anchors(aim), f"{path.name} points to {target}"


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_named_files_exist(path: Path) -> None:
    for place in PLACE.findall(path.read_text(encoding="utf-8")):
        pattern = re.sub(r"<\w+>", "*", place).rstrip("/")
        assert list(ROOT.glob(pattern)), f"{path.name} names {place}"


@pytest.mark.parametrize("path", makers(), ids=lambda path: str(path.relative_to(ROOT)))
def test_made_parts_are_current(path: Path) -> None:
    """When this fails: `python tests/docs/docs_blocks.py` writes them anew."""
    assert made(path) == makers()[path]


def test_every_made_part_has_a_maker() -> None:
    assert {path for path in DOCUMENTS if made(path)} == set(makers())


HELP = [
    line.strip()
    for text in _EXAMPLES.values()
    for line in text.replace("\\\n", " ").splitlines()
    if line.strip().startswith("pneumo ")
]


@pytest.mark.parametrize("line", HELP)
def test_examples_of_the_help_are_commands(line: str) -> None:
    words = shlex.split(line.partition(" > ")[0])
    command = build_parser().parse_args(words[1:]).command
    assert command.split("-") == words[1 : 2 + command.count("-")]
