"""Kernels as machine code, and the folder they are kept in."""

from __future__ import annotations

import os
import shutil
import struct
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest

import pneumo
from pneumo.simulation import cache, jit, native, warm

PACKAGE = Path(pneumo.__file__).parent


class Pair(NamedTuple):
    """Arguments of the kernels below."""

    table: Any
    factor: float
    row: int


@jit.inlined
def weighed(value: float, factor: float) -> float:
    """A kernel that a kernel calls."""
    return value * factor


@jit.kernel
def row_sum(pair: Pair, out: Any, sign: float, double: bool) -> tuple[int, float]:
    """Sum of a row of a table; writes what it added."""
    total = 0.0
    for k in range(pair.table.shape[1]):
        out[k] = weighed(pair.table[pair.row, k], pair.factor) * sign
        total += out[k]
    return pair.table.shape[1], 2.0 * total if double else total


@jit.kernel
def marked(rows: Any) -> bool:
    """Reads a structured array."""
    return bool(rows[0].on and rows[1].value > 2.0)


@jit.kernel
def copied(source: Any, target: Any) -> None:
    """Copies; the lengths are not compared, which could raise."""
    for k in range(source.shape[0]):
        target[k] = source[k]


@jit.kernel
def fresh(size: int) -> float:
    """Makes an array, which it must not."""
    return float(np.zeros(size).sum())


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "kernels"
    folder.mkdir()
    monkeypatch.setattr(cache, "CACHE", folder)
    cache.is_writable.cache_clear()
    return folder


def anew(kernel: Any) -> Any:
    """The same kernel as a process finds it that has just started."""
    return jit.Kernel(kernel.function)


def test_machine_code_does_what_the_function_does(own_folder: Path) -> None:
    pair = Pair(np.arange(6.0).reshape(2, 3), 0.1, 1)
    plain, out = np.zeros(3), np.zeros(3)
    for given in (pair, pair._replace(row=0), pair._replace(table=pair.table + 1.0)):
        expected = row_sum.function(given, plain, -1.0, True)
        assert anew(row_sum)(given, out, -1.0, True) == expected
        assert out.tolist() == plain.tolist()
    assert type(expected[0]) is int
    assert {file.suffix for file in own_folder.iterdir()} == {".bin", ".lock"}


def test_another_tuple_of_arrays_is_noticed() -> None:
    kernel, out = anew(row_sum), np.zeros(2)
    first, second = Pair(np.ones((1, 2)), 1.0, 0), Pair(np.full((1, 2), 3.0), 2.0, 0)
    assert kernel(first, out, 1.0, False) == (2, 2.0)
    assert kernel(second, out, 1.0, False) == (2, 12.0)
    assert kernel(first, out, 1.0, False) == (2, 2.0)
    # whole numbers do where real ones are meant
    assert kernel(first, out, 1, False) == (2, 2.0)


def test_threads_that_take_turns_pack_their_arguments_once_each(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    kernel = anew(row_sum)
    kernel(Pair(np.ones((1, 2)), 1.0, 0), np.zeros(2), 1.0, True)
    packed: list[int] = []
    pack = native.packed

    def counted(value: Any, expected: list[Any]) -> Any:
        packed.append(threading.get_ident())
        return pack(value, expected)

    monkeypatch.setattr(native, "packed", counted)
    turns = threading.Barrier(2)
    found: list[tuple[int, float]] = []

    def rides(factor: float) -> None:
        pair, out, sign = Pair(np.ones((1, 2)), factor, 0), np.zeros(2), 1.0
        for _ in range(20):
            turns.wait(60)
            found.append(kernel(pair, out, sign, False))

    threads = [threading.Thread(target=rides, args=(factor,)) for factor in (1.0, 2.0)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(found) == [(2, 2.0)] * 20 + [(2, 4.0)] * 20
    assert len(packed) == 2 * 4, "of each thread its four arguments"


def test_what_is_kept_is_used_and_nothing_compiled(monkeypatch: pytest.MonkeyPatch) -> None:
    rows = np.array([(1, 0.0), (0, 2.5)], dtype=[("on", "i8"), ("value", "f8")])
    assert anew(marked)(rows) is True
    rows["value"][1] = 2.0
    monkeypatch.delattr(jit.Kernel, "_compiled")
    assert anew(marked)(rows) is False


def test_code_for_other_arrays_is_not_used(monkeypatch: pytest.MonkeyPatch) -> None:
    target = np.zeros(2)
    anew(copied)(np.ones(2), target)
    numbers, whole = np.array([3, 4]), np.zeros(2, dtype=np.int64)
    anew(copied)(numbers, whole)
    assert whole.tolist() == [3, 4]
    kernel = anew(copied)
    kernel(numbers, whole)
    with pytest.raises(TypeError, match="in place of"):
        kernel(np.ones(2), target)
    with pytest.raises(TypeError, match="whole"):
        kernel(np.arange(6)[::2], whole)


def test_arguments_of_another_shape_are_refused() -> None:
    kernel, pair, out = anew(row_sum), Pair(np.ones((1, 2)), 1.0, 0), np.zeros(2)
    kernel(pair, out, 1.0, False)
    for wrong in (
        (pair, out, 1.0),
        (pair, out, out, False),
        (pair, 1.0, 1.0, False),
        (pair[:2], out, 1.0, False),
        ((*pair, 0), out, 1.0, False),
        (pair._replace(row=pair.table), out, 1.0, False),
        (pair._replace(row=0.5), out, 1.0, False),
        (pair, out.reshape(1, 2), 1.0, False),
    ):
        with pytest.raises((TypeError, struct.error)):
            kernel(*wrong)
    with pytest.raises(TypeError, match="in order"):
        kernel(pair, out, 1.0, double=False)


def test_another_processor_has_a_folder_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    here = cache.source_hash(PACKAGE)
    monkeypatch.setattr(native, "machine", lambda: "another one")
    assert cache.source_hash(PACKAGE) != here


def test_a_source_that_differs_has_a_folder_of_its_own(tmp_path: Path) -> None:
    copy = copied_package(tmp_path)
    assert cache.source_hash(copy) == cache.source_hash(PACKAGE)
    with (copy / "air.py").open("a") as file:
        file.write("# another\n")
    assert cache.source_hash(copy) != cache.source_hash(PACKAGE)


def copied_package(folder: Path) -> Path:
    return Path(
        shutil.copytree(PACKAGE, folder / "pneumo", ignore=shutil.ignore_patterns("__pycache__"))
    )


def test_the_same_sources_elsewhere_compile_nothing(tmp_path: Path) -> None:
    """Kernels made by the sources of one place are those of a copy at another place."""
    both = {"XDG_CACHE_HOME": str(tmp_path), "HOME": str(tmp_path),
            "LOCALAPPDATA": str(tmp_path)}  # fmt: skip
    code = (
        "import pneumo, numpy as np\n"
        "from pneumo.simulation import jit, position\n"
        "compiled = jit.Kernel._compiled\n"
        "jit.Kernel._compiled = lambda *a: [print('compiles'), compiled(*a)][1]\n"
        "out = np.zeros((2, 3)); position.copy_row(np.ones((1, 3)), 0, out, 1)\n"
        "print(pneumo.__file__, out.sum())\n"
    )
    told = []
    for package in (PACKAGE, copied_package(tmp_path / "elsewhere")):
        environment = {**os.environ, **both, "PYTHONPATH": str(package.parent)}
        done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, env=environment,
                              capture_output=True, text=True, check=True)  # fmt: skip
        told.append(done.stdout.splitlines())
    where = [
        str(package / "__init__.py") for package in (PACKAGE, tmp_path / "elsewhere" / "pneumo")
    ]
    assert told == [["compiles", f"{where[0]} 3.0"], [f"{where[1]} 3.0"]]


def test_two_first_runs_at_once_compile_once(tmp_path: Path) -> None:
    marks = tmp_path / "marks"
    code = (
        "import sys, numpy as np\n"
        "from pathlib import Path\n"
        "from pneumo.simulation import cache, jit\n"
        "sys.path.insert(0, sys.argv[1])\n"
        "import test_simulation_jit as toys\n"
        "cache.CACHE = Path(sys.argv[2])\n"
        "compiled = jit.Kernel._compiled\n"
        "def marked(*a):\n"
        "    with open(sys.argv[3], 'a') as file: file.write('x')\n"
        "    return compiled(*a)\n"
        "jit.Kernel._compiled = marked\n"
        "target = np.zeros(2); toys.copied(np.ones(2), target); print(target.sum())\n"
    )
    command = [sys.executable, "-c", code, str(Path(__file__).parent), str(tmp_path / "cold"),
               str(marks)]  # fmt: skip
    runs = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(2)]
    assert [run.communicate()[0] for run in runs] == ["2.0\n", "2.0\n"]
    assert marks.read_text() == "x"


def test_who_comes_second_waits_says_so_and_compiles_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    compiled: list[str] = []
    monkeypatch.setattr(warm, "compile_kernels", lambda: compiled.append("second"))
    waits = threading.Event()
    second = threading.Thread(target=warm.prepare, args=(lambda done, of: None, waits.set))
    with cache.alone("all", lambda: None):
        second.start()
        assert waits.wait(60.0), "the second does not say that it waits"
        assert second.is_alive()
        cache.complete()
    second.join(60.0)
    assert not second.is_alive() and compiled == []


def test_when_the_first_is_broken_off_the_second_compiles(monkeypatch: pytest.MonkeyPatch) -> None:
    compiled: list[str] = []
    monkeypatch.setattr(warm, "compile_kernels", lambda: compiled.append("second"))
    waits = threading.Event()
    second = threading.Thread(target=warm.prepare, args=(lambda done, of: None, waits.set))
    with cache.alone("all", lambda: None):
        second.start()
        assert waits.wait(60.0)
    second.join(60.0)
    assert compiled == ["second"] and cache.is_complete()


def test_a_kernel_called_from_outside_may_not_make_arrays() -> None:
    with pytest.raises(ValueError, match=r"must not make arrays.*NRT_"):
        anew(fresh)(3)


def test_old_folders_go_and_the_present_one_stays(tmp_path: Path) -> None:
    parent = tmp_path / "parent"
    for age in range(6):
        folder = parent / f"sources_{age}"
        folder.mkdir(parents=True)
        (folder / "kernel.bin").write_bytes(b"code")
        os.utime(folder, (1e9 - age, 1e9 - age))
    (parent / "not_a_folder").touch()
    cache.prune(parent, "sources_5", kept=2)
    left = sorted(path.name for path in parent.iterdir() if path.name.startswith("sources"))
    assert left == ["sources_0", "sources_1", "sources_5"]
    assert (parent / "not_a_folder").exists()


def test_a_folder_is_complete_once_it_is_said(own_folder: Path) -> None:
    assert not cache.is_complete()
    cache.complete()
    os.utime(own_folder, (1e9, 1e9))
    assert cache.is_complete()
    assert own_folder.stat().st_mtime > 1e9  # it was used just now


def test_kernels_work_where_nothing_can_be_kept(tmp_path: Path) -> None:
    """A file stands where the folder should be: not even root can write there."""
    blocked = tmp_path / "blocked"
    blocked.touch()
    code = (
        "import numpy as np\n"
        "from pneumo.simulation import cache, jit\n"
        "from pneumo.simulation.jaw import contact\n"
        "assert not cache.is_writable()\n"
        "assert contact(1.0, 2.0)[0] == 2.0\n"
        "cache.keep('x', b''); cache.complete(); assert not cache.is_complete()\n"
    )
    environment = {**os.environ, "XDG_CACHE_HOME": str(blocked), "HOME": str(blocked),
                   "LOCALAPPDATA": str(blocked)}  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")


def test_progress_counts_each_kernel_once() -> None:
    reports: list[tuple[int, int]] = []

    @jit.kernel
    def thrice(x: float) -> float:
        return 3.0 * x

    @jit.kernel
    def both_ways(x: float) -> tuple[float, float, float]:
        # two signatures of the same kernel
        return thrice(x), thrice(2), x

    with jit.watched(lambda done, of: reports.append((done, of))):
        assert both_ways(2.0) == (6.0, 6.0, 2.0)
    assert [done for done, _ in reports] == [1, 2]
    assert reports[0][1] > 2
