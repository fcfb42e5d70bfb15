"""Tests of pneumo verify, of its output on a terminal and in a pipe, and of stopping it."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import time
from pathlib import Path

import pytest
from command_bench import BLOCK, CIRCUITS, TRIM, apart, command, environment, pneumo

import pneumo as package
from pneumo.simulation import cache

Capture = pytest.CaptureFixture[str]

ESCAPE = "\x1b"


def test_all_safe(capsys: Capture) -> None:
    code, out, err = pneumo(capsys, "verify", BLOCK, "--no-faults", "--workers", "1")
    assert code == 0
    assert f"Spring-close brakes on one valve ({BLOCK})" in out
    assert re.search(r"Every zone reached its safe state in time in all \d+ cases\.", out)
    assert "no fault / to closed: all zones safe" in err


def test_something_is_not_safe(tmp_path: Path, capsys: Capture) -> None:
    result, report = tmp_path / "result.json", tmp_path / "report.html"
    code, out, err = pneumo(
        capsys, "verify", BLOCK, "--workers", "2", "--json", str(result), "--report", str(report)
    )
    assert code == 1
    assert "Not safe" in out and "valve stuck-actuated" in out
    assert f'pneumo run {BLOCK} --do "at 0 s: open all"' in out
    assert "unsafe" not in err  # the losses are safe, and only they are told as they end
    document = json.loads(result.read_text(encoding="utf-8"))
    assert (document["format"], document["version"]) == ("pneumo-verification", 3)
    assert (document["program"], document["document"]) == (package.__version__, BLOCK)
    assert document["all_safe"] is False
    counts, cases = document["counts"], document["cases"]
    assert counts["cases"] == len(cases) == counts["safe"] + counts["late"] + counts["unsafe"]
    assert (counts["not_calculated"], document["finished"]) == (0, True)
    unsafe = [case for case in cases if case["worst"] != "safe"]
    assert [trace["case"] for trace in document["traces"]] == [case["name"] for case in unsafe]
    assert document["assumptions"]
    page = report.read_text(encoding="utf-8")
    assert page.lstrip().lower().startswith("<!doctype html>") and "stuck-actuated" in page
    assert sorted(tmp_path.iterdir()) == [report, result]


def test_the_number_of_workers_does_not_change_the_result(tmp_path: Path, capsys: Capture) -> None:
    one, two = tmp_path / "one.json", tmp_path / "two.json"
    outputs = [
        pneumo(capsys, "verify", TRIM, "--workers", workers, "--json", str(path)).out
        for workers, path in (("1", one), ("2", two))
    ]
    assert outputs[0] == outputs[1]
    assert one.read_bytes() == two.read_bytes()


def test_only_one_zone(capsys: Capture, tmp_path: Path) -> None:
    path = tmp_path / "result.json"
    pneumo(capsys, "verify", "08_pilot_supply", "--zone", "block", "--json", str(path))
    cases = json.loads(path.read_text(encoding="utf-8"))["cases"]
    components = {case["component"] for case in cases} - {""}
    assert "block_valve" in components and "pilot_air" in components
    assert not [name for name in components if name.startswith("holding")]
    assert "loss of air: holding feed cut / open" not in {case["name"] for case in cases}


def test_all_rows_on_demand(capsys: Capture) -> None:
    few = pneumo(capsys, "verify", BLOCK, "--no-faults", "--workers", "1").out
    every = pneumo(capsys, "verify", BLOCK, "--no-faults", "--workers", "1", "--all").out
    assert "no fault" in every and len(every.splitlines()) >= len(few.splitlines())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((BLOCK, "--zone", "blok"), "there is no zone blok. Did you mean 'block'?"),
        ((BLOCK, "--zone", "trim"), "there is no zone trim. Zones: block."),
        ((BLOCK, "--workers", "0"), "--workers 0: at least 1 is needed."),
        ((BLOCK, "--workers", "-2"), "--workers -2: at least 1 is needed."),
        (("10_station_gates",), "there is no zone to verify"),
        ((BLOCK, "--json", "/nowhere/at/all.json"), "does not exist"),
        ((BLOCK, "--report", os.curdir), "this is a folder"),
        ((BLOCK, "--report", "x.html", "--json", "./x.html"), "two results cannot go into one"),
    ],
)
def test_bad_input_is_found_before_the_long_work(
    arguments: tuple[str, ...], said: str, capsys: Capture
) -> None:
    code, out, err = pneumo(capsys, "verify", *arguments)
    assert (code, out) == (2, "")
    assert said in err and "all zones safe" not in err


# pipes and terminals


def test_in_a_pipe_everything_is_plain() -> None:
    code, out, err = apart("verify", BLOCK, "--no-faults", "--workers", "1")
    assert code == 0
    assert ESCAPE not in out + err and "\r" not in out + err
    assert "Verifying" not in err
    lines = err.splitlines()
    assert lines[0] == "no fault / open: all zones safe"
    assert lines[-1] == "loss of air and power / to open: all zones safe"


def test_progress_for_other_programs() -> None:
    code, _, err = apart("verify", BLOCK, "--no-faults", "--workers", "1", "--progress")
    assert code == 0
    lines = [line.split() for line in err.splitlines() if line.startswith("progress ")]
    total = len(lines)
    assert total > 10
    assert lines == [["progress", str(i), str(total)] for i in range(1, total + 1)]
    # what is told of losses is told as without it
    assert "no fault / open: all zones safe" in err.splitlines()


def on_terminal(*arguments: str, env: dict[str, str], width: int = 80, typed: bytes = b"") -> str:
    """What a command writes to a terminal of its own, on which something was typed."""
    import fcntl
    import pty
    import struct
    import termios

    leader, follower = pty.openpty()
    fcntl.ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", 50, width, 0, 0))
    process = subprocess.Popen(
        command(*arguments), stdin=follower, stdout=follower, stderr=follower,
        env=environment({"TERM": "xterm-256color", **env}),
    )  # fmt: skip
    os.close(follower)
    os.write(leader, typed)
    written = b""
    while True:
        try:
            piece = os.read(leader, 65536)
        except OSError:  # the other end is closed
            break
        if not piece:
            break
        written += piece
    os.close(leader)
    process.wait(timeout=60)
    return written.decode("utf-8")


def visible(text: str) -> list[str]:
    """The lines of a terminal's text without escape sequences and what was overwritten."""
    plain = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", text).replace("\r\n", "\n")
    return [line.rpartition("\r")[2] for line in plain.split("\n")]


def test_a_terminal_gets_progress_and_colour_and_its_own_width() -> None:
    text = on_terminal("verify", BLOCK, "--workers", "1", env={})
    assert "Verifying" in text and ESCAPE in text
    assert re.search(r"\x1b\[[0-9;]*(3[0-7]|4[0-7]|38|48)[0-9;]*m", text)
    lines = visible(text)
    start = next(i for i, line in enumerate(lines) if line.split() == ["event", "block"])
    end = next(i for i, line in enumerate(lines) if line.startswith("S safe, L late"))
    assert max(len(line.rstrip()) for line in lines[start:end]) <= 80


def test_no_color_is_respected_on_a_terminal() -> None:
    text = on_terminal("verify", BLOCK, "--workers", "1", env={"NO_COLOR": "1"})
    assert "valve stuck-actuated" in text
    assert not re.search(r"\x1b\[[0-9;]*(3[0-7]|4[0-7]|38|48)[0-9;]*m", text)


def test_the_events_of_a_run_fit_a_terminal() -> None:
    lines = visible(on_terminal("run", TRIM, "--scenario", "there and back", env={}, width=60))
    assert any("closing -> closed" in line for line in lines)
    assert max(len(line.rstrip()) for line in lines) <= 60


# stopping


def processes_of(group: int) -> list[int]:
    """Living processes of a process group."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[2]) == group and fields[0] != "Z":
            found.append(int(stat.parent.name))
    return found


def gone(group: int) -> bool:
    """Whether a process group ends within a few seconds."""
    for _ in range(100):
        if not processes_of(group):
            return True
        time.sleep(0.1)
    return False


linux = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="reads /proc")


def started(*arguments: str) -> subprocess.Popen[str]:
    """A verification in a process group of its own, when its first case is done."""
    process = subprocess.Popen(
        command("verify", *arguments), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env=environment(), start_new_session=True,
    )  # fmt: skip
    assert process.stderr is not None
    while "no fault / open" not in process.stderr.readline():
        assert process.poll() is None
    return process


@linux
@pytest.mark.parametrize("whole_group", [True, False])
def test_an_interruption_ends_everything_at_once(whole_group: bool, tmp_path: Path) -> None:
    path = tmp_path / "result.json"
    process = started("sand_martin", "--workers", "2", "--json", str(path))
    assert len(processes_of(process.pid)) == 3
    start = time.perf_counter()
    if whole_group:  # as a terminal does
        os.killpg(process.pid, signal.SIGINT)
    else:
        process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert time.perf_counter() - start < 20.0
    assert (process.returncode, out) == (130, "")
    assert "Traceback" not in err
    assert err.splitlines()[-1] == "pneumo: stopped; nothing half-written was left behind."
    assert gone(process.pid)
    assert list(tmp_path.iterdir()) == []


@linux
def test_workers_do_not_outlive_a_killed_parent() -> None:
    process = started("sand_martin", "--workers", "2")
    assert len(processes_of(process.pid)) == 3
    process.kill()
    process.communicate(timeout=60)
    assert gone(process.pid)


# the first run


def test_the_first_run_says_that_it_compiles_and_the_second_says_nothing(tmp_path: Path) -> None:
    # an installation whose first run was broken off just before its end: all is said, and the
    # minute of work is that of the tests' own kernels
    folder = tmp_path / "pneumo" / "kernels" / cache.CACHE.name
    shutil.copytree(cache.CACHE, folder)
    (folder / "complete").unlink()
    cold = {"XDG_CACHE_HOME": str(tmp_path), "HOME": str(tmp_path), "LOCALAPPDATA": str(tmp_path)}
    circuit = str(CIRCUITS / f"{TRIM}.yaml")
    first = apart("run", circuit, "--until", "1 s", env=cold)
    assert first.code == 0
    begun, ended = first.err.splitlines()
    assert begun.startswith("First run of this installation: compiling the simulation kernels")
    assert re.fullmatch(r"Compiled in \d+ s; later runs start at once\.", ended)
    second = apart("run", circuit, "--until", "1 s", env=cold)
    assert (second.code, second.err) == (0, "")
    assert second.out == first.out
