"""Text to plain records: nothing is guessed, every entry has its line, nothing odd gets through."""

from __future__ import annotations

from pathlib import Path

import pytest

from pneumo.circuit.document import (
    Findings,
    RangeError,
    decoded,
    expanded,
    member,
    parse,
    read_file,
)
from pneumo.errors import DocumentError


def parsed(text: str) -> tuple[object, Findings]:
    findings = Findings("x.yaml")
    return parse(text, findings), findings


def test_every_scalar_stays_text() -> None:
    tree, findings = parsed("a: no\nb: 010\nc: 1:30\nd: on\ne: 1.50\nf:\ng: 'x'\nh: ~\n")
    assert tree == {
        "a": "no",
        "b": "010",
        "c": "1:30",
        "d": "on",
        "e": "1.50",
        "f": "",
        "g": "x",
        "h": "~",
    }
    assert not findings.items


def test_lines_of_entries_and_of_their_surroundings() -> None:
    _, findings = parsed("a:\n  b:\n    - x\n    - y: 1\nc: {d: 2,\n  e: 3}\n")
    assert findings.line(("a",)) == 1
    assert findings.line(("a", "b", 0)) == 3
    assert findings.line(("a", "b", 1, "y")) == 4
    assert findings.line(("c", "e")) == 6
    assert findings.line(("c", "missing", "deeper")) == 5
    assert findings.line(("nowhere",)) == 0


def test_equal_keys_are_found_and_the_first_is_kept() -> None:
    tree, findings = parsed("a: 1\nb:\n  c: 1\n  c: {d: [2]}\n  e: 3\na: 4\n")
    assert tree == {"a": "1", "b": {"c": "1", "e": "3"}}
    assert [(item.line, item.field) for item in findings.items] == [(4, "c"), (6, "a")]
    assert "line 3" in findings.items[0].found


@pytest.mark.parametrize(
    ("text", "line", "found"),
    [
        ("", 1, "empty"),
        ("# only a comment\n", 1, "empty"),
        ("- a\n- b\n", 1, "not a set of named sections"),
        ("just text", 1, "not a set of named sections"),
        ("a:\n\tb: 1", 2, "tab"),
        ("a: [x_{1..4}, b]", 1, "not in quotes"),
        ("a: 1\n b: 2", 2, "indentation"),
        ("a: @x", 1, "cannot be read"),
        ("a: {b: 1", 2, "cannot be read"),
        ("a: \x01", 1, "invisible character (U+0001, a control character)"),
        ("\x00", 1, "invisible character"),
        ("a: \ud800", 1, "invisible character"),
        ('a:\n  b: "x\\e]0;y\\a"', 2, "invisible character (U+001B"),
        ("a: 1\nb: x\u202ey", 2, "invisible character (U+202E, right-to-left override)"),
        ("a: 1 # \x9b2J", 1, "invisible character (U+009B"),
        ("a: x\u2028b: y", 1, "invisible character (U+2028, line separator)"),
        ('a: "\\x85"', 1, "invisible character"),
        ('a: "\\UFFFFFFFF"', 1, "cannot be read"),
        ("a: &x 1\nb: *x", 1, "marks an entry"),
        ("a: *x", 1, "refers to another"),
        ("a: !!python/object:os.system x", 1, "data type"),
        ("a: 1\n---\nb: 2", 2, "second document"),
        ("? [a, b]\n: c\n", 1, "list or mapping is used as a name"),
        ("a: " + "[" * 500, 1, "nested too deeply"),
        ("a: " + "[" * 50_000, 1, "nested too deeply"),
        ("".join(" " * i + f"k{i}:\n" for i in range(40)), 13, "nested too deeply"),
        ("a: [" + "x, " * 310_000 + "x]", 1, "too many entries"),
    ],
)
def test_what_is_no_document_is_a_finding(text: str, line: int, found: str) -> None:
    _, findings = parsed(text)
    assert found in findings.items[0].found
    assert findings.items[0].line == line
    assert findings.items[0].wanted


def test_a_bomb_of_aliases_is_refused_at_once() -> None:
    lines = ["a: &a [x, x]"]
    lines += [
        f"{c}: &{c} [{', '.join([f'*{p}'] * 9)}]" for p, c in zip("abcdef", "bcdefg", strict=True)
    ]
    tree, findings = parsed("\n".join(lines))
    assert tree == {}
    assert len(findings.items) == 1


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    large = tmp_path / "large.yaml"
    large.write_bytes(b"a: 1\n" * 500_000)
    latin = tmp_path / "latin.yaml"
    latin.write_bytes("a: 1\nb: 20 \xb0C".encode("latin-1"))
    for path, found in (
        (tmp_path, "folder"),
        (tmp_path / "absent.yaml", "no such file"),
        (Path("/dev/null"), "not a regular file"),
        (tmp_path / ("x" * 5000), "cannot be read"),
        (Path("nul\0byte"), ""),
        (large, "2 MB"),
        (latin, "not UTF-8"),
    ):
        with pytest.raises(DocumentError) as caught:
            read_file(path)
        assert found in caught.value.findings[0].found
    assert caught.value.findings[0].line == 2


def test_a_byte_order_mark_is_no_text() -> None:
    assert decoded(b"\xef\xbb\xbfa: 1", "x") == "a: 1"


def test_ranges() -> None:
    assert expanded("hose_{1..3}.1") == ["hose_1.1", "hose_2.1", "hose_3.1"]
    assert expanded("a{7..7}") == ["a7"]
    assert expanded("plain") == ["plain"]
    assert member("tee.{5..8}", 2) == "tee.7"
    assert len(expanded("a{1..500}")) == 500


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("a{3..1}", "backwards"),
        ("a{1..501}", "501 names"),
        ("a{0..999999999}", "names"),
        ("a{1..2}{1..2}", "two ranges"),
        ("a{1,2}", "not a range"),
        ("a{01..04}", "not a range"),
        ("a}", "not a range"),
        ("a{{1..2}}", "not a range"),
    ],
)
def test_ranges_that_are_refused(text: str, found: str) -> None:
    with pytest.raises(RangeError) as caught:
        expanded(text)
    assert found in caught.value.found
