"""Tests of pneumo/cli.py: help, examples, completion, and what `python -m pneumo` is."""

from __future__ import annotations

import shlex
import shutil
import subprocess

import pytest
from command_bench import apart, command, environment, pneumo

import pneumo as package
from pneumo.cli import build_parser

COMMANDS = ("check", "run", "verify", "faults", "diagnosability", "schema", "drill-new", "seal")


def examples(text: str) -> list[list[str]]:
    """The example commands of a help text, split as a shell does."""
    lines = text.partition("examples:\n")[2].replace("\\\n", " ").splitlines()
    return [shlex.split(line.partition(" > ")[0]) for line in lines if line.strip()]


@pytest.mark.parametrize("name", COMMANDS)
def test_help_has_examples_that_the_command_understands(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = pneumo(capsys, name, "--help")
    assert code == 0
    found = examples(out)
    assert found
    for program, *arguments in found:
        assert program == "pneumo"
        assert build_parser().parse_args(arguments).command == name


def test_the_help_of_the_program_names_every_command_and_exit_code(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    code, out, _ = pneumo(capsys, "--help")
    assert code == 0
    assert all(name in out for name in COMMANDS)
    assert "0 all safe, 1 something is not safe, 2 bad input" in " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 80
    # no command at all: the same help
    assert pneumo(capsys) == (0, out, "")


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert pneumo(capsys, "--version") == (0, f"pneumo {package.__version__}\n", "")


@pytest.mark.parametrize("arguments", [("verfy",), ("run",), ("verify", "--workers", "two")])
def test_arguments_that_make_no_sense(
    arguments: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = pneumo(capsys, *arguments)
    assert (code, out) == (2, "")
    assert err.startswith("usage: ")


@pytest.mark.parametrize("shell", ["bash", "zsh", "tcsh"])
def test_completion_scripts(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = pneumo(capsys, "--print-completion", shell)
    assert (code, err) == (0, "")
    assert all(name in out for name in COMMANDS)
    assert "--no-faults" in out or "no-faults" in out
    program = shutil.which(shell)
    if program is not None:  # the shell itself finds no fault with its syntax
        flag = "-n"
        done = subprocess.run(
            [program, flag], input=out, capture_output=True, text=True, check=False
        )
        assert (done.returncode, done.stderr) == (0, "")


def test_a_shell_without_completion(capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = pneumo(capsys, "--print-completion", "cmd")
    assert code == 2 and "bash" in err


def test_python_m_pneumo() -> None:
    assert apart("--version") == (0, f"pneumo {package.__version__}\n", "")
    code, out, err = apart("check", "nonsense")
    assert (code, out) == (2, "") and err.startswith("pneumo: nonsense is neither a file nor")


def test_help_whose_reader_has_gone() -> None:
    with subprocess.Popen(
        command("--help"), stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment()
    ) as process:
        assert process.stdout is not None and process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
    assert process.returncode == 0
