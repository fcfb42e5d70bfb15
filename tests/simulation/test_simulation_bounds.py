"""No kernel takes an index outside its array: kernels as they are compiled do not ask."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

ONE_INDEX = """
import sys
import numpy as np
from pneumo.simulation import jit

@jit.kernel
def picked(values: np.ndarray, place: int) -> float:
    return values[place]

print(picked(np.array([1.0, 2.0, 3.0]), int(sys.argv[1])))
"""


def checked(arguments: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    """Runs Python with kernels that ask, compiled anew into a folder."""
    environment = {**os.environ, "PNEUMO_CHECK_BOUNDS": "1", "XDG_CACHE_HOME": str(folder)}
    return subprocess.run(
        [sys.executable, *arguments], cwd=folder, env=environment, capture_output=True, text=True,
        check=False,
    )  # fmt: skip


@pytest.mark.skipif(sys.platform == "win32", reason="a process is stopped otherwise there")
@pytest.mark.parametrize("place", [-1, 2, 3])
def test_what_is_checked_stops_the_process(place: int, tmp_path: Path) -> None:
    script = tmp_path / "one_index.py"
    script.write_text(ONE_INDEX)
    done = checked([str(script), str(place)], tmp_path)
    if 0 <= place < 3:
        assert (done.returncode, done.stdout) == (0, f"{place + 1.0}\n")
    else:
        assert done.returncode in (-signal.SIGILL, -signal.SIGTRAP), done.stderr


def test_whole_runs_take_no_index_outside(tmp_path: Path) -> None:
    """Movements, faults, hands and losses in every circuit; runs that follow another; a case."""
    here = Path(__file__).parent
    circuits = here.parents[1] / "circuits"
    for arguments in (
        [str(here / "every_circuit.py"), str(circuits)],
        ["-m", "pytest", "-q", "-n", "0", str(here.parent / "scenario/test_scenario_replay.py")],
        ["-m", "pneumo", "verify", str(circuits / "07_quick_exhaust.yaml"), "--no-faults"],
    ):
        done = checked(arguments, tmp_path)
        assert done.returncode in (0, 1) and "Trace" not in done.stderr, done.stdout + done.stderr
