"""The README says what is so: its example runs as shown, its words exist, its tables are kept."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from docs_blocks import (
    README,
    ROOT,
    blocks,
    commands,
    made,
    makers,
    sessions,
    smallest,
)

from pneumo.circuit.sentence import parse_action, parse_fault
from pneumo.circuit.validate import load
from pneumo.cli import build_parser
from pneumo.commands.console import find_document
from pneumo.components import KINDS
from pneumo.live.files import is_drill, read_drill
from pneumo.report.json_report import run_document, verification_document
from pneumo.units import QUANTITIES
from pneumo.verification.verdict import Verification

TEXT = README.read_text(encoding="utf-8")
RIDE = load(ROOT / "circuits" / "sand_martin.yaml")

LONG = ("pneumo verify", "pneumo verify sand_martin_as_found")
"""Commands of the README that take minutes: their words are checked, they are not run."""


SCREEN = ("dashboard", "join", "serve")
"""Commands that need a terminal or go on until they are stopped: their words are checked."""

YOURS = ("my_ride.yaml",)
"""Files that the reader is to have."""


def run(command: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Runs a "pneumo ..." line as a reader would, in a folder of its own."""
    line = command.partition(" > ")[0]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "NO_COLOR": "1"}
    return subprocess.run(
        [sys.executable, "-m", "pneumo", *shlex.split(line)[1:]],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
    )


def section(title: str) -> str:
    """Text of a section, up to the next heading."""
    found = re.search(rf"^#+ {re.escape(title)}\n(.*?)(?=^#+ |\Z)", TEXT, re.M | re.S)
    assert found, f"there is no section {title}"
    return found[1]


def rows(title: str) -> list[list[str]]:
    """Cells of the tables of a section, without headings and rules."""
    lines = [line.strip() for line in section(title).splitlines()]
    tables = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in lines
        if line.startswith("|")
    ]
    rules = [i for i, cells in enumerate(tables) if set(cells[0]) == {"-"}]
    return [cells for i, cells in enumerate(tables) if i not in rules and i + 1 not in rules]


def words(text: str) -> list[str]:
    """What stands in back quotes."""
    return re.findall(r"`([^`]+)`", text)


# the example


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the example as a reader saves it."""
    folder = tmp_path_factory.mktemp("example")
    (folder / "one_brake.yaml").write_text(blocks(README, "yaml")[0], encoding="utf-8")
    return folder


def test_the_example_has_20_lines() -> None:
    assert len(blocks(README, "yaml")) == 1
    assert len(blocks(README, "yaml")[0].splitlines()) == 20


def as_pattern(shown: str) -> re.Pattern[str]:
    """What the README shows, as a pattern: "..." lines stand for any lines, and step counts may
    differ between processors."""
    parts = []
    for line in shown.strip("\n").splitlines():
        if line == "...":
            parts.append(r"(?:.*\n)*?")
        else:
            parts.append(re.sub(r"\d+ steps, \d+ rej", r"\\d+ steps, \\d+ rej", escaped(line)))
            parts.append(r" *\n")
    return re.compile("".join(parts))


def escaped(line: str) -> str:
    """Blanks stay as they are, so that step counts are still found in the line."""
    return re.escape(line).replace("\\ ", " ")


@pytest.mark.parametrize(
    ("session", "code"), list(zip(sessions(README), (0, 0, 1, 1), strict=True)), ids=str
)
def test_the_example_prints_what_is_shown(session: object, code: int, example: Path) -> None:
    command, shown = session  # type: ignore[misc]
    done = run(command, example)
    assert done.returncode == code, done.stderr
    assert as_pattern(shown).fullmatch(done.stdout), f"{command} prints now:\n{done.stdout}"


def test_the_pattern_can_fail() -> None:
    pattern = as_pattern("one (a)\n...\nthree\n7 steps, 1 rejected.\n")
    assert pattern.fullmatch("one (a)  \ntwo\ntwo\nthree\n12 steps, 3 rejected.\n")
    assert not pattern.fullmatch("one (a)\ntwo\nthird\n12 steps, 3 rejected.\n")
    assert not pattern.fullmatch("one (a)\nthree\n12 steps, 3 rejected.\nmore\n")


# commands


COMMANDS = [line for text in blocks(README, "sh") for line in commands(text)]
PNEUMO = [line for line in COMMANDS if line.startswith("pneumo ")]


def test_the_two_commands_come_first() -> None:
    assert COMMANDS[:2] == [
        "pip install . && pneumo verify",
        "pip install '.[test]' && pytest",
    ]
    assert TEXT.index("pip install") < TEXT.index("\n## ")
    assert len(PNEUMO) + 2 == len(COMMANDS)


@pytest.mark.parametrize("command", PNEUMO)
def test_a_command_is_one_that_pneumo_knows(command: str) -> None:
    options = build_parser().parse_args(shlex.split(command.partition(" > ")[0])[1:])
    if not hasattr(options, "file") or options.file in YOURS:
        return
    if is_drill(find_document(options.file)):
        assert read_drill(find_document(options.file)).acts
        return
    circuit = load(find_document(options.file))
    for text in getattr(options, "fault", ()):
        parse_fault(text, circuit.components)
    for text in getattr(options, "do", ()):
        parse_action(text.partition(": ")[2], circuit.components, circuit.zones, circuit.gates)
    if getattr(options, "scenario", None) is not None:
        assert options.scenario in circuit.scenarios


QUICK = [line for line in PNEUMO if line not in LONG and line.split()[1] not in SCREEN]


@pytest.mark.parametrize("command", QUICK)
def test_a_quick_command_runs(command: str, tmp_path: Path) -> None:
    done = run(command, tmp_path)
    assert done.returncode in (0, 1), done.stderr
    assert done.stdout
    assert "Traceback" not in done.stderr
    for target in re.findall(r"--(?:csv|json|report) (\S+)", command):
        assert (tmp_path / target).stat().st_size > 0


def test_long_commands_are_in_the_readme() -> None:
    assert set(LONG) <= {*PNEUMO, "pneumo verify"}


# the language


def test_made_parts_are_current() -> None:
    """When this fails: `python tests/docs/docs_blocks.py` writes them anew."""
    assert made(README) == makers()[README]


def test_every_kind_is_in_the_table() -> None:
    assert [words(row[0])[0] for row in rows("Kinds of component")] == list(KINDS)


QUANTITY_ROWS = [row for row in rows("The document language") if row[0] in QUANTITIES]


@pytest.mark.parametrize("row", QUANTITY_ROWS, ids=lambda row: row[0])
def test_quantities_are_read(row: list[str]) -> None:
    for text in words(row[1]):
        assert QUANTITIES[row[0]].parse(text) >= 0.0


def test_the_usual_quantities_are_shown() -> None:
    assert len(QUANTITY_ROWS) >= 12


SENTENCES = [
    sentence
    for row in rows("The document language")
    if row[0].startswith("`")
    for sentence in words(row[0])
]


@pytest.mark.parametrize("sentence", SENTENCES)
def test_sentences_are_understood(sentence: str) -> None:
    action = parse_action(sentence, RIDE.components, RIDE.zones, RIDE.gates)
    assert action.text == sentence


def test_sections_and_zone_fields_exist() -> None:
    from pneumo.circuit.circuit import Limits, Requirement, ZoneEntry
    from pneumo.circuit.validate import SECTIONS

    said = section("The document language")
    named = words(said.partition("Sections:")[2].partition("- **")[0])
    assert sorted(named) == sorted(SECTIONS)
    zones = words(said.partition("**Zones**")[2].partition("- **")[0])
    fields = {*ZoneEntry.model_fields, *Limits.model_fields, *Requirement.model_fields}
    assert set(zones) - {"charge", "vent", "jaw_switch", "of"} <= fields
    assert fields - set(zones) == {"about"}


# fault modes


def modes_of_variants() -> set[str]:
    """Every mode of every kind, with the parameters that bring further modes."""
    found = {mode.name for word in KINDS for mode in smallest(word).fault_modes()}
    for changes in ({"operation": "pilot"}, {"memory": "bistable"}):
        valve = smallest("valve_3_2").model_copy(update=changes)
        found |= {mode.name for mode in valve.fault_modes()}
    return found


def test_fault_words_exist_and_are_all_there() -> None:
    said = {word for row in rows("Fault modes") for word in words(row[1])}
    known = modes_of_variants()
    assert said <= known, f"no such mode: {said - known}"
    numbered = {mode for mode in known if re.search(r"-1[24]\b", mode)}
    assert known - numbered <= said, f"not in the README: {known - numbered - said}"


# files


def fields_said(name: str) -> list[str]:
    row = next(row for row in rows("Exit codes and files") if row[0] == f"`{name}`")
    return words(row[1].partition(";")[0])


def test_json_fields_of_a_run() -> None:
    document = run_document(
        document="a", ride="b", scenario="", faults=[], program="1", times=[], signals=[], events=[]
    )
    assert fields_said("pneumo-run") == list(document)
    assert document["format"] == "pneumo-run"


def test_json_fields_of_a_verification() -> None:
    document = verification_document(Verification("a", "b", "", (), (), (), (), "1"))
    assert fields_said("pneumo-verification") == list(document)
    assert document["format"] == "pneumo-verification"


def test_bad_input_is_code_2(tmp_path: Path) -> None:
    (tmp_path / "bad.yaml").write_text("ride: {name: a}\ncomponents: {x: {kind: hos}}\n")
    done = run("pneumo check bad.yaml", tmp_path)
    assert done.returncode == 2
    assert "bad.yaml:2" in done.stderr
