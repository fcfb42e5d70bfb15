"""What every command returns, and what it says, when something goes wrong around it."""

from __future__ import annotations

import json
import os
import subprocess
from pathlib import Path
from typing import Any

import pytest
from command_bench import BLOCK, CIRCUITS, TRIM, command, environment, pneumo

from pneumo.circuit.shipped import find_document
from pneumo.commands import check
from pneumo.report import files, html
from pneumo.scenario.plant import SimulationError
from pneumo.scenario.play import Play

Capture = pytest.CaptureFixture[str]

posix = pytest.mark.skipif(
    os.name != "posix", reason="streams as a shell of that family makes them"
)
full = pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")

QUICK = (("check", TRIM), ("schema",), ("--help",), ("run", TRIM, "--until", "0.1 s"))


def shell(line: str, *arguments: str) -> tuple[int, str, str]:
    """A command run by a shell; `$@` in the line stands for the command."""
    done = subprocess.run(
        ["sh", "-c", line, "sh", *command(*arguments)], capture_output=True, text=True,
        env=environment(), timeout=300, check=False,
    )  # fmt: skip
    return done.returncode, done.stdout, done.stderr


# streams


@full
@pytest.mark.parametrize("arguments", QUICK)
def test_a_result_that_cannot_be_printed_is_told(arguments: tuple[str, ...]) -> None:
    code, _, err = shell('"$@" >/dev/full', *arguments)
    said = "pneumo: the result could not be printed (No space left on device)."
    assert (code, err.splitlines()[-1]) == (3, said)
    assert "Traceback" not in err


@posix
@pytest.mark.parametrize("arguments", QUICK[:2])
def test_a_closed_output_is_told(arguments: tuple[str, ...]) -> None:
    code, _, err = shell('"$@" >&-', *arguments)
    said = "pneumo: the result could not be printed (it is closed)."
    assert (code, err.splitlines()[-1]) == (3, said)
    assert "Traceback" not in err


@full
def test_remarks_that_nobody_gets_change_nothing() -> None:
    arguments = ("verify", BLOCK, "--no-faults", "--workers", "1", "--progress")
    code, out, _ = shell('"$@" 2>/dev/full', *arguments)
    assert code == 0 and "Every zone reached its safe state" in out
    for to in ("2>/dev/full", "2>&-"):
        assert shell(f'"$@" {to}', "check", "nonsense") == (2, "", "")


@full
def test_files_are_written_also_when_nothing_can_be_printed(tmp_path: Path) -> None:
    path = tmp_path / "r.json"
    arguments = ("verify", BLOCK, "--no-faults", "--workers", "1", "--json", str(path))
    assert shell('"$@" >/dev/full', *arguments)[0] == 3
    assert json.loads(path.read_text(encoding="utf-8"))["all_safe"] is True


@posix
def test_a_closed_output_does_not_end_up_in_a_file(tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    code, _, _ = shell('"$@" >&- 2>&-', "run", TRIM, "--until", "0.1 s", "--csv", str(path))
    assert code == 3
    assert path.read_text(encoding="utf-8").startswith("time [s],")


@posix
def test_without_an_input_the_help_is_shown() -> None:
    code, out, err = shell('"$@" <&-')
    assert (code, err) == (0, "") and out.startswith("usage: pneumo")


@posix
def test_a_reader_that_leaves_does_not_hide_a_verdict() -> None:
    line = '{ "$@"; echo "code $?" >&2; } | true'
    scenario = ("--do", "at 1 s: close all", "--do", "at 3 s: ride stop", "--until", "4 s")
    code, out, err = shell(line, "run", TRIM, *scenario)
    assert (code, out) == (0, "")
    # the run ends before the verdict is certain
    assert err == "code 1\n"


# what cannot be finished


def stopped(monkeypatch: pytest.MonkeyPatch, after: float) -> None:
    """Every run stops there [s]."""
    advance = Play.advance

    def stops(self: Play, until: float) -> None:
        advance(self, min(until, after))
        if until > after:
            raise SimulationError(f"The integration stopped at {after:g} s.")

    monkeypatch.setattr(Play, "advance", stops)


def test_a_run_that_cannot_go_on(
    monkeypatch: pytest.MonkeyPatch, capsys: Capture, tmp_path: Path
) -> None:
    stopped(monkeypatch, 2.0)
    path = tmp_path / "r.csv"
    do = ("--do", "at 1 s: close all", "--csv", str(path))
    code, out, err = pneumo(capsys, "run", TRIM, *do)
    assert code == 3
    assert "open -> closing" in out and out.splitlines()[-1] == (
        "No verdict: the run stopped at 2.000 s."
    )
    assert err == f"pneumo: {TRIM}: The integration stopped at 2 s. No file was written.\n"
    assert list(tmp_path.iterdir()) == []
    assert "Traceback" in pneumo(capsys, "run", TRIM, *do, "--debug").err


def test_a_verification_with_a_case_that_cannot_be_calculated(
    monkeypatch: pytest.MonkeyPatch, capsys: Capture, tmp_path: Path
) -> None:
    advance = Play.advance

    def stops(self: Play, until: float) -> None:
        advance(self, until)
        if any(fault.mode == "stuck-rest" for fault, _ in self.actors.faults.standing):
            raise SimulationError("No step is short enough.")

    monkeypatch.setattr(Play, "advance", stops)
    result, report = tmp_path / "result.json", tmp_path / "report.html"
    code, out, err = pneumo(
        capsys, "verify", BLOCK, "--workers", "1", "--json", str(result), "--report", str(report)
    )
    assert code == 3, "also when others are unsafe"
    assert "NOT FINISHED: 5 cases could not be calculated, and nothing is known of them." in out
    assert ", 5 not calculated and " in " ".join(out.split()) and "N not calculated" in out
    assert (
        "valve stuck-rest / open\n    not calculated: No step is short enough.\n    pneumo" in out
    )
    assert "valve stuck-rest / open: not calculated: No step is short enough." in err
    document = json.loads(result.read_text(encoding="utf-8"))
    assert (document["finished"], document["all_safe"]) == (False, False)
    counts = document["counts"]
    assert counts["not_calculated"] == 5 and counts["unsafe"] > 0
    assert counts["cases"] == sum(counts[k] for k in ("safe", "late", "not_calculated", "unsafe"))
    page = report.read_text(encoding="utf-8")
    assert "Cases that were not calculated" in page and page.count('id="missing-') == 5


def test_a_file_that_cannot_be_written_does_not_cost_the_others(
    monkeypatch: pytest.MonkeyPatch, capsys: Capture, tmp_path: Path
) -> None:
    replace = os.replace

    def full(source: Any, target: Any) -> None:
        if str(target).endswith(".json"):
            raise OSError(28, "No space left on device")
        replace(source, target)

    monkeypatch.setattr(files.os, "replace", full)
    result, report = tmp_path / "result.json", tmp_path / "report.html"
    for arguments in (
        ("verify", BLOCK, "--no-faults", "--workers", "1", "--report", str(report)),
        ("run", TRIM, "--until", "0.1 s", "--csv", str(report)),
    ):
        code, out, err = pneumo(capsys, *arguments, "--json", str(result))
        assert code == 3 and out
        assert err.splitlines()[-1] == (
            f"pneumo: {result}: writing failed (No space left on device); the file is as it was "
            "before."
        )
        assert list(tmp_path.iterdir()) == [report]
        report.unlink()


def test_a_report_that_cannot_be_made_does_not_cost_the_others(
    monkeypatch: pytest.MonkeyPatch, capsys: Capture, tmp_path: Path
) -> None:
    def fails(*_: Any, **__: Any) -> str:
        raise LookupError("no such thing")

    monkeypatch.setattr(html, "html_report", fails)
    result, report = tmp_path / "result.json", tmp_path / "report.html"
    arguments = ("verify", BLOCK, "--no-faults", "--workers", "1", "--report", str(report))
    code, out, err = pneumo(capsys, *arguments, "--json", str(result))
    assert code == 3 and "Every zone reached its safe state" in out
    assert err.splitlines()[-1] == (
        f"pneumo: {report} was not written: the program failed (LookupError: no such thing)."
    )
    assert list(tmp_path.iterdir()) == [result]


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (KeyError("x"), "the program failed (KeyError: 'x'). Run it again with --debug"),
        (RecursionError(), "the program failed (RecursionError)."),
        (MemoryError(), "there is not enough memory."),
        (OSError(24, "Too many open files", "x.yaml"), "x.yaml: Too many open files."),
    ],
)
def test_a_failure_of_the_program_is_one_sentence(
    error: Exception, said: str, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    def fails(*_: Any, **__: Any) -> None:
        raise error

    monkeypatch.setattr(check, "load_with_warnings", fails)
    code, out, err = pneumo(capsys, "check", TRIM)
    assert (code, out) == (3, "")
    assert err.startswith("pneumo: this could not be finished: ") and said in err
    assert err.count("\n") == 1
    for arguments in (("check", TRIM, "--debug"), ("--debug", "check", TRIM)):
        again = pneumo(capsys, *arguments)
        assert again.code == 3 and again.err.startswith(err) and "Traceback" in again.err


# bad input


LONG = "x" * 5000


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("check", LONG), "File name too long"),
        (("check", f"{LONG}.yaml"), "File name too long"),
        (("faults", LONG), "File name too long"),
        (("run", TRIM, "--csv", f"{LONG}.csv"), "File name too long"),
        (("run", TRIM, "--json", f"a/{LONG}/b.json"), "File name too long"),
        (("verify", BLOCK, "--report", LONG), "File name too long"),
        (("verify", BLOCK, "--workers", "100000000"), "at most 256 can be used"),
        (("verify", BLOCK, "--workers", "9" * 5000), "invalid int value"),
    ],
)
def test_absurd_arguments_are_bad_input(
    arguments: tuple[str, ...], said: str, capsys: Capture
) -> None:
    code, out, err = pneumo(capsys, *arguments)
    assert (code, out) == (2, "")
    assert said in err and "Traceback" not in err


@posix
@pytest.mark.parametrize(
    "arguments",
    [
        ("join", f"127.0.0.1:{'9' * 5000}"),
        ("join", LONG),
        ("dashboard", BLOCK, "--no-record", "--host", f"127.0.0.1:{'9' * 5000}"),
        ("dashboard", LONG),
        ("dashboard", "--continue", LONG),
    ],
)
def test_absurd_addresses_and_names_are_bad_input_on_a_terminal(arguments: tuple[str, ...]) -> None:
    from test_commands_verify import on_terminal

    text = on_terminal(*arguments, env={}, typed=b"123 456\n")
    assert "Traceback" not in text
    assert "pneumo: " in text


def test_an_absurd_page_is_bad_input(capsys: Capture) -> None:
    pytest.importorskip("textual_serve")
    code, _, err = pneumo(capsys, "serve", BLOCK, "--port", "9" * 4000)
    assert code == 2 and "ports go from 1 to 65535" in err
    assert pneumo(capsys, "serve", BLOCK, "--port", "9" * 5000).code == 2
    assert pneumo(capsys, "serve", BLOCK, "--host", LONG).code == 2


# what is read is never written to


@pytest.mark.parametrize("way", ["same", "dots", "link", "hard link"])
def test_no_result_goes_into_the_document(way: str, tmp_path: Path, capsys: Capture) -> None:
    document = tmp_path / "my.yaml"
    document.write_bytes((CIRCUITS / f"{BLOCK}.yaml").read_bytes())
    named = {
        "same": document, "dots": tmp_path / ".." / tmp_path.name / "my.yaml",
        "link": tmp_path / "link.csv", "hard link": tmp_path / "hard.csv",
    }[way]  # fmt: skip
    if way == "link":
        named.symlink_to(document)
    if way == "hard link":
        named.hardlink_to(document)
    before = document.read_bytes()
    for arguments in (
        ("run", str(document), "--until", "0.1 s", "--csv", str(named)),
        ("run", str(document), "--until", "0.1 s", "--json", str(named)),
        ("verify", str(document), "--json", str(named)),
        ("verify", str(document), "--report", str(named)),
        ("verify", str(named), "--report", str(document)),
    ):
        code, out, err = pneumo(capsys, *arguments)
        assert (code, out) == (2, "")
        assert "this is the document itself, which would be lost; name another file." in err
        assert document.read_bytes() == before


def test_no_result_goes_into_a_shipped_circuit(capsys: Capture) -> None:
    path = Path(find_document(BLOCK))  # where this installation has it
    before = path.read_bytes()
    code, _, err = pneumo(capsys, "run", BLOCK, "--until", "0.1 s", "--csv", str(path))
    assert code == 2 and "this is the document itself" in err
    assert path.read_bytes() == before


def test_two_results_do_not_go_into_one_file_by_two_names(tmp_path: Path, capsys: Capture) -> None:
    one, two = tmp_path / "one.csv", tmp_path / "two.csv"
    one.touch()
    two.hardlink_to(one)
    code, _, err = pneumo(
        capsys, "run", TRIM, "--until", "0.1 s", "--csv", str(one), "--json", str(two)
    )
    assert code == 2 and "two results cannot go into one file" in err
