"""Tests of pneumo/live/matrix_run.py: a verification beside the ride, its progress and its end."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from pneumo.errors import InputError
from pneumo.live.matrix_run import MatrixRun
from pneumo.report.saved import read_verification

CIRCUITS = Path(__file__).parents[2] / "circuits"
BLOCK = "02_spring_close_single"


@pytest.fixture
def start() -> Iterator[Callable[..., MatrixRun]]:
    """Starts runs that are over when the test is."""
    runs: list[MatrixRun] = []

    def started(*arguments: object, **options: object) -> MatrixRun:
        runs.append(MatrixRun(*arguments, **options))  # type: ignore[arg-type]
        return runs[-1]

    yield started
    for run in runs:
        run.close()


def ended(run: MatrixRun) -> MatrixRun:
    """The same, over."""
    until = time.monotonic() + 120.0
    while run.running:
        assert time.monotonic() < until
        time.sleep(0.02)
    return run


def test_it_gives_what_the_command_gives(start: Callable[..., MatrixRun], tmp_path: Path) -> None:
    run = ended(start(BLOCK))
    assert run.trouble == "" and run.result is not None
    assert run.done == run.total > 200
    found = read_verification(run.result)
    assert found.document == BLOCK and not found.all_safe
    assert {case.injection.kind for case in found.cases} == {"none", "loss", "fault"}
    kept = tmp_path / "kept.json"
    run.save(kept)
    assert read_verification(kept) == found
    run.close()
    assert read_verification(kept) == found and run.result is None


def test_only_a_part(start: Callable[..., MatrixRun]) -> None:
    losses = ended(start(BLOCK, faults=False))
    assert losses.result is not None
    assert {case.injection.kind for case in read_verification(losses.result).cases} == {
        "none",
        "loss",
    }
    one = ended(start("08_pilot_supply", zones=["block"]))
    assert one.result is not None
    components = {
        f.component for case in read_verification(one.result).cases for f in case.injection.faults
    }
    assert "block_valve" in components and "holding_valve" not in components


def test_a_document_that_is_only_text_is_known_by_its_name(
    start: Callable[..., MatrixRun],
) -> None:
    text = (CIRCUITS / f"{BLOCK}.yaml").read_text(encoding="utf-8")
    name = 'rides of "é"/one brake.yaml'
    run = ended(start(name, text, faults=False))
    assert run.result is not None
    found = read_verification(run.result)
    assert found.document == name
    assert all(case.replay.startswith(f"pneumo run '{name}' --do ") for case in found.cases)


def test_what_is_wrong_with_the_document_is_said(start: Callable[..., MatrixRun]) -> None:
    run = ended(start("x.yaml", "ride: {name: X}\ncomponents: {}\n"))
    assert run.result is None
    assert run.trouble.startswith("The verification ended without a result: ")
    assert "x.yaml" in run.trouble and str(run._folder) not in run.trouble
    with pytest.raises(InputError, match="There is no finished verification to save"):
        run.save("/tmp/never.json")


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="reads /proc")
def test_cancelled_it_leaves_nothing_behind(start: Callable[..., MatrixRun]) -> None:
    run = start("sand_martin")
    until = time.monotonic() + 240.0  # a busy machine takes its time
    while run.done < 2:
        assert run.running and time.monotonic() < until
        time.sleep(0.02)
    pid = run._process.pid
    assert len(members(pid)) > 1  # it has workers
    run.cancel()
    ended(run)
    assert run.trouble == "The verification was stopped; no result is kept."
    assert run.result is None
    while members(pid):
        assert time.monotonic() < until
        time.sleep(0.05)
    folder = run._folder
    run.close()
    assert not folder.exists()
    run.cancel()  # once more does nothing


def members(group: int) -> list[int]:
    """Processes of a group that still run."""
    found = []
    for entry in os.listdir("/proc"):
        if not entry.isdigit():
            continue
        try:
            fields = Path(f"/proc/{entry}/stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[2]) == group and fields[0] != "Z":
            found.append(int(entry))
    return found
