"""What happened is a record; its text is made where it is shown, and no module reads one back."""

from __future__ import annotations

import ast
import dataclasses
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal, get_args, get_origin, get_type_hints

import pytest

from pneumo.live.frame import Frame
from pneumo.scenario.event import RunEvent
from pneumo.verification.verdict import Outcome

ROOT = Path(__file__).parents[1]

NAMES = {
    "Frame": "stopped_by isolated drained blocked overridden switched_off absent_fins",
    "Crossed": "coil output",
    "ZoneFrame": "state first_out brake",
    "Wait": "to cause",
    "Obstacle": "alarm",
    "Clue": "name",
    "AlarmFrame": "zone name state",
    "FaultFrame": "component mode",
    "CheckFrame": "zone verdict",
    "Loss": "zone",
    "Outcome": "zone injected_during alarm indicated furthest",
    "RunEvent": "subject",
    "Command": "target",
    "Acknowledge": "target",
    "Reset": "target",
    "Switch": "component",
    "Turn": "component",
    "Fin": "zone",
    "FaultSpec": "component mode unit",
    "Clear": "component mode",
    "ForceInput": "name",
    "ForceOutput": "component side",
    "Unforce": "target",
    "HandOverride": "component side",
    "Drain": "component",
    "Repair": "component side",
    "Block": "target",
    "Swap": "coil other",
    "AlarmRaised": "name",
    "AlarmChanged": "name",
    "Refused": "about",
    "RideStopped": "cause",
    "FaultPaused": "mode",
    "FaultCleared": "mode",
}
"""Record -> its fields that are names: of zones, parts, modes, alarms, states, units."""

SENTENCES = {
    "Frame": "note",  # of the ride, on line 2
    "FaultFrame": "sentence",  # of the document language, as it was typed
    "CheckFrame": "progress",
    "Outcome": "trouble",  # why a case was not calculated
    "Noted": "words",  # of an earlier version
}
"""Record -> its fields that are shown as they are. A new one is a decision."""

EDGE = (
    "pneumo/scenario/telling.py",
    "pneumo/zone/evidence.py",
    "pneumo/verification/wording.py",
    "pneumo/report/unsound.py",
)
"""Where records become text."""

CLEANING = ("pneumo/harmless.py",)
"""Looks at every letter of a text, and at nothing that it says."""


def records(kind: Any, found: dict[str, dict[str, Any]]) -> None:
    """Adds the records that a type holds, however deep: name -> types of its fields."""
    for inner in () if get_origin(kind) is Literal else get_args(kind):
        records(inner, found)
    is_record = dataclasses.is_dataclass(kind) or hasattr(kind, "_fields")
    if get_origin(kind) is None and is_record and kind.__name__ not in found:
        found[kind.__name__] = hints = get_type_hints(kind)
        for hint in hints.values():
            records(hint, found)


def holds_text(hint: Any) -> bool:
    return hint is str or (
        get_origin(hint) is not Literal and any(holds_text(inner) for inner in get_args(hint))
    )


def test_a_record_holds_names_and_no_sentences() -> None:
    found: dict[str, dict[str, Any]] = {}
    for kind in (Frame, Outcome, RunEvent):
        records(kind, found)
    texts = {
        (name, field)
        for name, hints in found.items()
        for field in hints
        if holds_text(hints[field])
    }
    known = {
        (name, field)
        for table in (NAMES, SENTENCES)
        for name, fields in table.items()
        for field in fields.split()
    }
    assert texts - known == set(), "a text in a record: make it a record, or name it above"
    assert known - texts == set()


# how a text is read back

APART = {
    "endswith", "find", "index", "partition", "removeprefix", "removesuffix", "replace", "rfind",
    "rindex", "rpartition", "rsplit", "split", "startswith",
}  # fmt: skip
"""Methods that take a text apart."""

PATTERNS = {"findall", "finditer", "fullmatch", "match", "search", "split", "sub"}
"""Functions of `re`."""


def tellers() -> set[str]:
    """Functions of the edge that give a text."""
    return {
        node.name
        for path in EDGE
        for node in ast.parse((ROOT / path).read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef) and ast.unparse(node.returns or node) == "str"
    }


def called(node: ast.Call) -> str:
    match node.func:
        case ast.Name(name) | ast.Attribute(attr=name):
            return name
    return ""


class Reader:
    """Finds where one function takes texts apart: results of `tell`, or what it is given."""

    def __init__(self, of: ast.AST, tell: set[str], given: set[str], apart: set[str]) -> None:
        self._of, self._tell, self._apart = of, tell, apart
        self._texts = set(given)
        while (more := set(self._named())) - self._texts:
            self._texts |= more

    def _named(self) -> Iterator[str]:
        """Variables that a text is put into."""
        for node in ast.walk(self._of):
            match node:
                case ast.Assign(targets, value) if self._is_text(value):
                    yield from (each.id for each in targets if isinstance(each, ast.Name))
                case ast.NamedExpr(ast.Name(name), value) if self._is_text(value):
                    yield name
                case ast.AugAssign(ast.Name(name), _, value) if self._is_text(value):
                    yield name

    def _is_text(self, node: ast.expr) -> bool:
        match node:
            case ast.Name(name):
                return name in self._texts
            case ast.Call(func=ast.Attribute(value=inner)) if self._is_text(inner):
                return True
            case ast.Call():
                return called(node) in self._tell
            case ast.JoinedStr(values):
                return any(self._is_text(each) for each in values)
            case ast.FormattedValue(value) | ast.Subscript(value) | ast.NamedExpr(_, value):
                return self._is_text(value)
            case ast.BinOp(left, ast.Add(), right) | ast.IfExp(body=left, orelse=right):
                return self._is_text(left) or self._is_text(right)
            case ast.BoolOp(_, values):
                return any(self._is_text(each) for each in values)
        return False

    def found(self) -> Iterator[ast.AST]:
        """Places at which a text is split, searched or compared."""
        for node in ast.walk(self._of):
            match node:
                case ast.Call(ast.Attribute(inner, name)) if name in APART and self._is_text(inner):
                    yield node
                case ast.Call(ast.Attribute(ast.Name("re"), name), arguments) if (
                    name in PATTERNS and any(map(self._is_text, arguments))
                ):
                    yield node
                case ast.Call(_, arguments) if called(node) in self._apart and any(
                    map(self._is_text, arguments)
                ):
                    yield node
                case ast.Compare(left, _, others) if any(map(self._is_text, (left, *others))):
                    if not any(ast.unparse(each) == "''" for each in (left, *others)):
                        yield node


def functions(tree: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    both = (ast.FunctionDef, ast.AsyncFunctionDef)
    return (node for node in ast.walk(tree) if isinstance(node, both))


def taking_apart(trees: dict[str, ast.AST]) -> set[str]:
    """Functions, by their names, that take apart a text they are given."""
    found = set()
    for path, tree in trees.items():
        for each in functions(tree) if path not in CLEANING else ():
            given = {arg.arg for arg in each.args.args if _text(arg)}
            if given and any(Reader(each, set(), given, set()).found()):
                found.add(each.name)
    return found


def _text(arg: ast.arg) -> bool:
    return arg.annotation is not None and ast.unparse(arg.annotation) == "str"


def read_back(trees: dict[str, ast.AST]) -> list[str]:
    """Where a text of the edge is taken apart: "tui/x.py:12 …"."""
    tell, apart = tellers(), taking_apart(trees)
    places = {
        f"{path}:{getattr(node, 'lineno', 0)} {ast.unparse(node)}"
        for path, tree in trees.items()
        if path not in EDGE
        for each in functions(tree)
        if any(called(node) in tell for node in ast.walk(each) if isinstance(node, ast.Call))
        for node in Reader(each, tell, set(), apart).found()
    }
    return sorted(places)


def sources() -> dict[str, ast.AST]:
    return {
        str(path.relative_to(ROOT)): ast.parse(path.read_text(encoding="utf-8"))
        for folder in ("pneumo", "tui")
        for path in sorted((ROOT / folder).rglob("*.py"))
    }


def test_no_module_takes_the_text_of_a_record_apart() -> None:
    assert {"told", "evidence_words", "outcome_words", "unsound_words"} <= tellers()
    assert read_back(sources()) == []


FOLDED = """
def folded(sentence: str) -> str:
    head, colon, rest = sentence.rpartition(": ")
    return head + colon + rest

def add(event):
    said = told(event.what)
    said = text.folded(said) if event.kind == "alarm" else said
"""


@pytest.mark.parametrize(
    "code",
    [
        FOLDED,
        "def f(e):\n    return told(e.what).startswith('first out')",
        "def f(e):\n    return 'refused' in told(e.what)",
        "def f(e):\n    if (said := f'{e.subject} {telling.told(e.what)}') == 'trim':\n        g()",
        "def f(e):\n    return re.match('x', told(e.what) or '')",
        "def f(o):\n    why = outcome_words(o)\n    return why.lower().split(': ')",
    ],
)
def test_a_text_that_is_taken_apart_is_found(code: str) -> None:
    assert read_back({"tui/added.py": ast.parse(code)})


def test_a_text_that_is_shown_is_not_found() -> None:
    code = "def f(e):\n    said = told(e.what)\n    return [e.kind == 'alarm', said, said or '–']"
    assert read_back({"tui/added.py": ast.parse(code)}) == []
