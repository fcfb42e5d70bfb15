"""A kind is one file: no other code knows its name.

What the program must know of a kind is a trait on its class, so that a kind can be added and taken
away without a look at anything else.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

from pneumo.components import KINDS
from pneumo.components.base import Trait

ROOT = Path(__file__).parents[2]
FILES = sorted([*(ROOT / "pneumo").rglob("*.py"), *(ROOT / "tui").rglob("*.py")])

ORDINARY_WORDS = {
    # an instrument of a zone, as the logic names it
    "pneumo/zone/evidence.py": {"transmitter"},
    # an instrument that is proposed, as the table of them names it
    "pneumo/diagnosis/diagnosability.py": {"transmitter"},
    # a word of a line: "fit gauge"
    "pneumo/drill/job.py": {"gauge"},
    "tui/lines.py": {"gauge"},
    # a family of events, as the list of them is sifted
    "pneumo/scenario/event.py": {"compressor"},
    "pneumo/scenario/log.py": {"compressor"},
    "tui/views/alarms.py": {"filter"},
    "tui/widgets/events.py": {"compressor"},
    "tui/widgets/event_log.py": {"compressor"},
    # a key that sifts a list
    "tui/views/signals.py": {"filter"},
    # pictures are called after what they show
    "pneumo/report/pictures.py": set(KINDS),
    "tui/drawing/symbols.py": set(KINDS),
}
"""File -> names of kinds that mean something else there."""


def place(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def own_file(path: Path) -> str:
    """The kind whose file it is; a picture's name stands there, too."""
    return path.stem if path.parent.name == "kinds" else ""


def names_in(path: Path) -> Iterator[tuple[int, str]]:
    """Line and name of every kind that is spelled as a string."""
    if own_file(path):
        return
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value in KINDS:
            yield node.lineno, node.value


def test_no_code_names_a_kind() -> None:
    found = [
        f"{place(path)}:{line} {name}"
        for path in FILES
        for line, name in names_in(path)
        if name not in ORDINARY_WORDS.get(place(path), ())
    ]
    assert not found


def test_every_exception_is_needed() -> None:
    for path, names in ORDINARY_WORDS.items():
        used = {name for _, name in names_in(ROOT / path)}
        assert used if names == set(KINDS) else used == names, path


def test_no_kind_needs_another() -> None:
    """Else a kind could not be taken away: what several share stands beside them."""
    for path in FILES:
        imported = [
            node.module or ""
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.ImportFrom)
        ]
        assert not [name for name in imported if name.startswith("pneumo.components.kinds")], path


def test_every_trait_is_had_and_asked_for() -> None:
    had = {trait for model in KINDS.values() for trait in model.traits}
    asked = {
        node.value
        for path in FILES
        if path.parent.name != "components" and not own_file(path)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    assert had <= asked
    assert had == set(get_args(Trait))


def test_kinds_do_not_test_each_other_s_class() -> None:
    """`isinstance` of a kind is its name in another spelling."""
    classes = {model.__name__ for model in KINDS.values()}
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "isinstance":
                tested = {n.id for n in ast.walk(node) if isinstance(n, ast.Name)}
                assert not tested & classes, place(path)
