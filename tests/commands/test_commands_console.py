"""What is said while the kernels are compiled, without compiling them."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from rich.console import Console

from pneumo.commands import console
from pneumo.simulation import cache, warm


@pytest.fixture
def first_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """An empty cache, and a compiler that takes 6 s for each of three kernels."""
    clock = [0.0]

    @contextmanager
    def watched(report: Callable[[int, int], None]) -> Iterator[None]:
        for done in (1, 2, 3):
            clock[0] += 6.0
            report(done, 3)
        yield

    monkeypatch.setattr(console, "perf_counter", lambda: clock[0])
    monkeypatch.setattr(warm, "watched", watched)
    monkeypatch.setattr(warm, "compile_kernels", lambda: None)
    monkeypatch.setattr(cache, "CACHE", tmp_path / "pneumo" / "kernels")
    cache.is_writable.cache_clear()
    yield
    cache.is_writable.cache_clear()


@pytest.mark.usefixtures("first_run")
def test_in_a_pipe_a_line_now_and_then_and_nothing_the_second_time(
    capsys: pytest.CaptureFixture[str],
) -> None:
    console.kernels()
    out, err = capsys.readouterr()
    assert out == ""
    first, *progress, last = err.splitlines()
    assert first.startswith("First run of this installation: compiling the simulation kernels")
    assert progress == ["2 of 3 kernels, 12 s."]
    assert last == "Compiled in 18 s; later runs start at once."
    console.kernels()
    assert capsys.readouterr() == ("", "")


@pytest.mark.usefixtures("first_run")
def test_on_a_terminal_a_line_that_moves(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Console(force_terminal=True, record=True, width=100, file=io.StringIO())
    monkeypatch.setattr(console, "error_console", lambda: terminal)
    console.kernels()
    text = terminal.export_text()
    assert "3/3" in text
    assert text.splitlines()[-1].startswith("Compiled in 18 s")


@pytest.mark.usefixtures("first_run")
def test_a_folder_that_takes_nothing_is_named(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    blocked = tmp_path / "file"
    blocked.touch()
    monkeypatch.setattr(cache, "CACHE", blocked / "kernels")
    for _ in range(2):  # every run says it
        console.kernels()
        err = capsys.readouterr().err
        assert "they cannot be kept" in err and "writable" in err
        assert str(blocked / "kernels") in err.replace("\n", "")
        assert err.splitlines()[-1] == "Compiled in 18 s."


@pytest.mark.usefixtures("first_run")
def test_who_waits_for_another_run_and_who_is_slower_says_so(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def prepare(report: object, waiting: Callable[[], None]) -> str:
        waiting()
        return "With numba 9.9 the simulation takes longer."

    monkeypatch.setattr(warm, "prepare", prepare)
    console.kernels()
    _, *told = capsys.readouterr().err.splitlines()
    assert told == [
        "Another run is compiling them; waiting for it to finish.",
        "Compiled in 0 s; later runs start at once.",
        "With numba 9.9 the simulation takes longer.",
    ]
