"""Tests for pneumo/report/files.py."""

from __future__ import annotations

import os
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pneumo.errors import InputError
from pneumo.report.files import write_atomically


def test_writes_text_as_utf8_and_bytes_as_they_are(tmp_path: Path) -> None:
    write_atomically(tmp_path / "a.txt", "Δp → 6 bar\n")
    assert (tmp_path / "a.txt").read_bytes() == "Δp → 6 bar\n".encode()
    write_atomically(str(tmp_path / "b.bin"), b"\x00\xff")
    assert (tmp_path / "b.bin").read_bytes() == b"\x00\xff"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.txt", "b.bin"]


def test_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"nowhere does not exist"):
        write_atomically(tmp_path / "nowhere" / "a.txt", "x")


def test_a_folder_is_no_target(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="this is a folder"):
        write_atomically(tmp_path, "x")


def test_permissions_of_the_old_file_are_kept(tmp_path: Path) -> None:
    target = tmp_path / "a.txt"
    target.write_text("old")
    target.chmod(0o640)
    write_atomically(target, "new")
    assert stat.S_IMODE(target.stat().st_mode) == 0o640


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real.txt").write_text("old")
    (tmp_path / "link.txt").symlink_to("real.txt")
    write_atomically(tmp_path / "link.txt", "new")
    assert (tmp_path / "link.txt").is_symlink()
    assert (tmp_path / "real.txt").read_text() == "new"


@pytest.mark.parametrize("broken", ["fsync", "replace"])
def test_a_refusing_disk_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, broken: str
) -> None:
    target = tmp_path / "a.txt"
    target.write_text("old")

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, broken, refuse)
    with pytest.raises(InputError, match="No space left on device"):
        write_atomically(target, "new")
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


@pytest.mark.skipif(os.geteuid() == 0, reason="the administrator may write anywhere")
def test_unwritable_folder_is_named(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(InputError, match="cannot write into the folder"):
            write_atomically(tmp_path / "a.txt", "x")
    finally:
        tmp_path.chmod(0o700)


def test_a_folder_that_refuses_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(**_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("tempfile.mkstemp", refuse)
    with pytest.raises(InputError, match=r"cannot write into the folder .*Permission denied"):
        write_atomically(tmp_path / "a.txt", "x")


WRITER = """
import sys
from pneumo.report.files import write_atomically
size = 400_000
print("ready", flush=True)
n = 0
while True:
    n += 1
    write_atomically(sys.argv[1], str(n % 10) * size)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="uses SIGKILL")
def test_a_kill_leaves_a_whole_file(tmp_path: Path) -> None:
    target = tmp_path / "result.txt"
    for attempt in range(6):
        child = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(target)], stdout=subprocess.PIPE
        )
        assert child.stdout is not None
        child.stdout.readline()
        time.sleep(0.013 + 0.0071 * attempt)
        child.send_signal(signal.SIGKILL)
        child.wait()
        child.stdout.close()
        if target.exists():
            text = target.read_text()
            assert len(text) == 400_000
            assert len(set(text)) == 1
    assert target.exists()
