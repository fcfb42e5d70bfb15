"""Every command that a document shows is one that pneumo knows, and prints what is shown of it."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from docs_blocks import DOCUMENTS, README, ROOT, Session, blocks, commands, section, sessions

from pneumo.circuit.sentence import parse_action, parse_fault
from pneumo.circuit.shipped import find_document
from pneumo.circuit.validate import load
from pneumo.cli import build_parser
from pneumo.live.drill import is_drill, read_drill

LONG = ("pneumo verify", "pneumo verify sand_martin_as_found")
"""Commands that take minutes: their words are checked, they are not run."""

SCREEN = ("dashboard", "drill", "join", "serve")
"""Commands that need somebody at a terminal or go on until they are stopped: their words are
checked."""

YOURS = ("my_ride.yaml",)
"""Files that the reader is to have."""


def run(command: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Runs a "pneumo ..." line as a reader would, in a folder of its own."""
    line = command.partition(" > ")[0]
    environment = {**os.environ, "NO_COLOR": "1"}
    return subprocess.run(
        [sys.executable, "-m", "pneumo", *shlex.split(line)[1:]],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
    )


def shown(path: Path) -> list[str]:
    """Every command line of the shell blocks of a document."""
    return [line for text in blocks(path, "sh") for line in commands(text)]


PNEUMO = list(
    dict.fromkeys(
        line for path in DOCUMENTS for line in shown(path) if re.match(r"pneumo\b(?! &&)", line)
    )
)


def test_the_two_commands_come_first() -> None:
    first, *others = shown(README)
    assert [first, others[0]] == [
        "pip install . && pneumo verify",
        "pip install '.[test]' && pytest",
    ]
    text = README.read_text(encoding="utf-8")
    assert text.index("pip install") < text.index("\n## ")
    assert set(others[1:]) <= set(PNEUMO)


def test_what_a_whole_verification_finds_is_said_as_its_circuit_expects_it() -> None:
    """The demo ride ends with exit code 1 for one zone alone; its header, which is tested, says
    so of every zone."""
    text = section(README, "Install and start")
    assert "exit code 1" in text
    header = (ROOT / "circuits" / "sand_martin.yaml").read_text(encoding="utf-8")
    assert "# expect: verify exit 1" in header
    safe = set(re.findall(r"# expect: zone (\w+) safe under anything", header))
    concerned = re.search(r"Zones concerned: ([\w, ]+)\.", text)
    assert concerned is not None
    assert set(concerned[1].split(", ")) == set(load(find_document("sand_martin")).zones) - safe


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


QUICK = [
    line
    for line in PNEUMO
    if line not in LONG and line.split()[1:2] not in ([], *([s] for s in SCREEN))
]


@pytest.mark.parametrize("command", QUICK)
def test_a_quick_command_runs(command: str, tmp_path: Path) -> None:
    done = run(command, tmp_path)
    assert done.returncode in (0, 1), done.stderr
    assert done.stdout
    assert "Traceback" not in done.stderr
    for target in re.findall(r"--(?:csv|json|report) (\S+)", command):
        assert (tmp_path / target).stat().st_size > 0


# what is printed


def as_pattern(printed: str) -> re.Pattern[str]:
    """What a document shows, as a pattern: "..." lines stand for any lines, and step counts may
    differ between processors."""
    parts = []
    for line in printed.strip("\n").splitlines():
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
    ("session", "code"), list(zip(sessions(README), (0, 1, 0), strict=True)), ids=str
)
def test_the_first_commands_print_what_is_shown(
    session: Session, code: int, tmp_path: Path
) -> None:
    prints(session, code, tmp_path)


def prints(session: Session, code: int, folder: Path) -> None:
    """Asserts that a command prints what is shown of it, and ends with a code."""
    done = run(session.command, folder)
    assert done.returncode == code, done.stderr
    assert as_pattern(session.shown).fullmatch(done.stdout), (
        f"{session.command} prints now:\n{done.stdout}"
    )


def test_the_pattern_can_fail() -> None:
    pattern = as_pattern("one (a)\n...\nthree\n7 steps, 1 rejected.\n")
    assert pattern.fullmatch("one (a)  \ntwo\ntwo\nthree\n12 steps, 3 rejected.\n")
    assert not pattern.fullmatch("one (a)\ntwo\nthird\n12 steps, 3 rejected.\n")
    assert not pattern.fullmatch("one (a)\nthree\n12 steps, 3 rejected.\nmore\n")


def test_bad_input_is_code_2(tmp_path: Path) -> None:
    (tmp_path / "bad.yaml").write_text("ride: {name: a}\ncomponents: {x: {kind: hos}}\n")
    done = run("pneumo check bad.yaml", tmp_path)
    assert done.returncode == 2
    assert "bad.yaml:2" in done.stderr
