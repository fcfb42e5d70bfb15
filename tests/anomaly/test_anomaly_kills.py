"""Commands killed at any moment, and places that cannot be written: no half-written file stays."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pneumo.errors import InputError
from pneumo.report.files import check_target, write_atomically

BLOCK = "02_spring_close_single"
RUN = ("run", BLOCK, "--scenario", "let a train pass", "--step", "1 ms",
       "--csv", "run.csv", "--json", "run.json")  # fmt: skip
VERIFY = ("verify", BLOCK, "--no-faults", "--workers", "2",
          "--json", "result.json", "--report", "report.html")  # fmt: skip
OLD = "what was there before\n"

posix = pytest.mark.skipif(sys.platform == "win32", reason="kills by signal")


def start(arguments: tuple[str, ...], folder: Path) -> subprocess.Popen[bytes]:
    """A command of its own in a folder, in a process group of its own."""
    return subprocess.Popen(
        [sys.executable, "-m", "pneumo", *arguments],
        cwd=folder,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )


def visible(folder: Path) -> dict[str, str]:
    """Name -> content of every file that is not a dot-file."""
    return {
        path.name: path.read_text(encoding="utf-8")
        for path in sorted(folder.iterdir())
        if not path.name.startswith(".")
    }


def whole(name: str, content: str) -> bool:
    """Whether a result is complete to its last line."""
    if name.endswith(".json"):
        return content.endswith("}\n") and json.loads(content)["version"] in (2, 3)
    if name.endswith(".csv"):
        rows = content.splitlines()
        return len(rows) == 1 + 8001 and rows[-1].startswith("8,")
    return content.rstrip().endswith("</html>")


@posix
@pytest.mark.parametrize(("arguments", "names"), [
    (RUN, {"run.csv", "run.json"}),
    (VERIFY, {"result.json", "report.html"}),
], ids=["run", "verify"])  # fmt: skip
def test_a_kill_at_any_moment_leaves_the_old_file_or_the_new_one(
    arguments: tuple[str, ...], names: set[str], tmp_path: Path
) -> None:
    lasts = 0.0
    for _ in range(2):  # the first may have to compile the kernels
        begun = time.perf_counter()
        process = start(arguments, tmp_path)
        assert process.wait(timeout=240) in (0, 1)
        lasts = time.perf_counter() - begun
    assert set(visible(tmp_path)) == names
    assert all(whole(name, content) for name, content in visible(tmp_path).items())
    moments = random.Random(6358)
    killed = 0
    for attempt in range(5):
        for name in names:
            (tmp_path / name).write_text(OLD, encoding="utf-8")
        # the last moments are those of writing: half of the kills fall there
        at = lasts * (moments.uniform(0.0, 1.0) if attempt % 2 else moments.uniform(0.7, 1.0))
        process = start(arguments, tmp_path)
        time.sleep(at)
        process.kill()
        killed += process.wait(timeout=60) == -signal.SIGKILL
        found = visible(tmp_path)
        assert set(found) == names
        for name, content in found.items():
            assert content == OLD or whole(name, content), f"{name} after {at:.3f} s"
    assert killed, "every run was over before it was killed"
    # whatever a kill has left does not trouble the next run
    assert start(arguments, tmp_path).wait(timeout=120) in (0, 1)
    assert all(whole(name, content) for name, content in visible(tmp_path).items())


WRITER = """
import sys
from pneumo.report.files import write_atomically
while True:
    for letter in "ab":
        write_atomically("table.csv", letter * 5_000_000 + "\\n")
"""


@posix
def test_a_kill_while_writing_leaves_a_whole_file(tmp_path: Path) -> None:
    whole_texts = {letter * 5_000_000 + "\n" for letter in "ab"}
    moments = random.Random(4414)
    for _ in range(12):
        process = subprocess.Popen([sys.executable, "-c", WRITER], cwd=tmp_path)
        target = tmp_path / "table.csv"
        while not target.exists():
            assert process.poll() is None
            time.sleep(0.002)
        time.sleep(moments.uniform(0.0, 0.05))
        process.kill()
        process.wait(timeout=60)
        assert target.read_text(encoding="utf-8") in whole_texts
        left = [path for path in tmp_path.iterdir() if path != target]
        assert all(path.name.startswith(".table.csv.") and path.suffix == ".tmp" for path in left)
        target.unlink()


# places that cannot be written


def test_a_write_that_fails_half_way_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "run.csv"
    target.write_text(OLD, encoding="utf-8")

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match=r"No space left on device.*as it was before"):
        write_atomically(target, "new\n")
    assert target.read_text(encoding="utf-8") == OLD
    assert list(tmp_path.iterdir()) == [target]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_device_is_no_target() -> None:
    with pytest.raises(InputError, match="this is a device or a pipe"):
        check_target("/dev/full")


@posix
def test_a_folder_that_may_not_be_written(tmp_path: Path) -> None:
    folder = tmp_path / "archive"
    folder.mkdir()
    folder.chmod(0o555)
    expected = 2  # told before the run
    if os.access(folder, os.W_OK):  # an administrator may write anywhere but here
        folder, expected = Path("/proc"), 3  # which looks writable and refuses at the end
        if not folder.is_dir():
            pytest.skip("no folder refuses this user")
    done = subprocess.run(
        [sys.executable, "-m", "pneumo", "run", BLOCK, "--until", "1 s",
         "--csv", str(folder / "run.csv")],
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert (done.returncode, "Traceback" in done.stderr) == (expected, False)
    assert f"cannot write into the folder {folder}" in done.stderr
