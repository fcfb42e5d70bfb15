"""No letter that acts reaches a terminal, a report, a file or the other seat."""

from __future__ import annotations

import csv
import io
import json
import sys
from pathlib import Path

import pytest
from rich.cells import cell_len
from rich.panel import Panel
from rich.segment import Segment
from rich.table import Table
from textual.color import Color

from pneumo import cli
from pneumo.commands.console import error_console, result_console
from pneumo.errors import DocumentError, Finding, InputError
from pneumo.harmless import acts, first_acting, harmless, harmless_json, named
from pneumo.packing import PackingError, pack, unpack
from pneumo.report.files import check_target
from pneumo.report.json_report import json_text, run_csv
from pneumo.seats.address import parse_address
from tui.harmless import Harmless

CIRCUIT = Path(__file__).parents[1] / "circuits" / "01_spring_open_single.yaml"

ACTING = [
    "\x1b", "\x07", "\x00", "\x7f", "\x85", "\x9b", "\x9d", "\u061c", "\u200b", "\u200e",
    "\u2028", "\u2029", "\u202a", "\u202e", "\u2066", "\u2069", "\ufeff", "\U000e0041",
]  # fmt: skip

TITLE = "\x1b]0;all safe\x07\x9b2J\u202eefas"
"""Sets the title of a window, clears it and turns what follows around."""


@pytest.mark.parametrize("letter", ACTING)
def test_letters_that_act(letter: str) -> None:
    assert acts(letter)
    assert first_acting(f"trim{letter}") == 4
    assert harmless(f"a{letter}b") == "a?b"
    assert named(letter).startswith(f"U+{ord(letter):04X}, ")


def test_what_people_write_is_left_alone() -> None:
    text = "Bremse über 6\u00a0bar, ⌀ 9 mm, 制動, مکبح\u200cها, 🛠, a\u0301"
    assert harmless(text) == text and first_acting(text) == -1
    assert harmless("a\nb", keep="\n") == "a\nb" and harmless("a\nb") == "a?b"


def test_letters_that_are_left_out_of_a_line_have_no_width() -> None:
    for code in range(sys.maxunicode + 1):
        if acts(letter := chr(code)) and not 0xD800 <= code < 0xE000:
            assert cell_len(letter) == 0, hex(code)


def test_the_console(capsys: pytest.CaptureFixture[str]) -> None:
    table = Table(TITLE)
    table.add_row(TITLE)
    for console in (result_console(), error_console()):
        console.print(f"{TITLE}\nnext", markup=False)
        console.print(table, Panel(TITLE))
    for said in capsys.readouterr():
        assert "next\n" in said and "all safe" in said
        assert first_acting(said, keep="\n") == -1


def test_a_line_of_a_screen() -> None:
    line = [Segment("trim "), Segment(TITLE), Segment("\x1b[?25l", None, [(1,)])]  # type: ignore[list-item]
    drawn = Harmless().apply(line, Color(0, 0, 0))
    assert drawn[0] == line[0] and drawn[2] == line[2]  # what the program itself controls
    assert drawn[1].text == "]0;all safe2Jefas" and drawn[1].cell_length == line[1].cell_length


def test_json_reads_back_as_it_was() -> None:
    text = json_text({"ride": TITLE, "b": ["\u2028\U000e0041 ü", 1]})
    assert first_acting(text, keep="\n") == -1
    assert json.loads(text) == {"ride": TITLE, "b": ["\u2028\U000e0041 ü", 1]}
    assert harmless_json('{"a": "ü"}') == '{"a": "ü"}'


def test_csv() -> None:
    text = run_csv([0.0], [(f"p{TITLE}", "bar", [1.0])])
    assert first_acting(text, keep="\r\n") == -1
    assert len(next(csv.reader(io.StringIO(text)))) == 2


def test_messages() -> None:
    assert str(InputError(f"{TITLE}: no such file")).startswith("?]0;all safe??2J?efas: no")
    finding = Finding("error", TITLE, 3, TITLE, "", f"There is {TITLE}.", "")
    assert first_acting(str(DocumentError([finding, finding])), keep="\n") == -1


def test_the_other_seat() -> None:
    assert pack(TITLE) == harmless(TITLE) and pack("a\nb") == "a\nb"
    for letter in ACTING:
        with pytest.raises(PackingError):
            unpack(str, f"a{letter}")


@pytest.mark.parametrize("text", [TITLE, f"pier{TITLE}:8470", f"fe80::1%{TITLE}", "a\u202eb"])
def test_an_address_is_refused(text: str) -> None:
    with pytest.raises(InputError) as refused:
        parse_address(text, 8470)
    assert first_acting(str(refused.value)) == -1


def test_the_name_of_a_file_that_is_written_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"U\+202E, right-to-left override") as refused:
        check_target(tmp_path / "a\u202eb.html")
    assert first_acting(str(refused.value)) == -1


@pytest.mark.parametrize("where", ["ride", "about", "scenario"])
def test_a_document_is_refused_with_its_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], where: str
) -> None:
    quoted = '"x\\e]0;all safe\\a\\u202e"'
    lines = CIRCUIT.read_text(encoding="utf-8").splitlines()
    if where == "ride":
        at = next(i for i, line in enumerate(lines) if line.startswith("  name:"))
        lines[at] = f"  name: {quoted}"
    elif where == "about":
        at = next(i for i, line in enumerate(lines) if line.startswith("ride:")) + 1
        lines.insert(at, f"  about: {quoted}")
    else:
        at = len(lines) + 1
        lines += ["scenarios:", f"  {quoted}: {{until: 1 s}}"]
    path = tmp_path / "ride.yaml"
    path.write_text("\n".join(lines), encoding="utf-8")
    assert cli.main(["check", str(path)]) == 2
    err = capsys.readouterr().err
    assert f"ride.yaml:{at + 1}: error: " in err and "invisible character (U+001B" in err
    assert first_acting(err, keep="\n") == -1


@pytest.mark.parametrize("command", ["check", "run", "verify", "faults", "serve"])
def test_a_file_name_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    path = tmp_path / f"{TITLE.replace('/', '')}.yaml"
    path.write_bytes(CIRCUIT.read_bytes())
    assert cli.main([command, str(path)]) == 2
    said = "".join(capsys.readouterr())
    assert "all safe" in said and first_acting(said, keep="\n") == -1


def test_arguments_are_told_without_what_acts(capsys: pytest.CaptureFixture[str]) -> None:
    for arguments in (["check", "a", TITLE], ["verify", "--workers", TITLE], ["--port", TITLE]):
        with pytest.raises(SystemExit) as leaving:
            cli.main(arguments)
        assert leaving.value.code == 2
        assert first_acting(capsys.readouterr().err, keep="\n") == -1
