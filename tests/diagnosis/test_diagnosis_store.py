"""The library of a ride on disk: read as it was calculated, made anew where it is damaged."""

from __future__ import annotations

import ast
import gc
import random
import shutil
import subprocess
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import pneumo
from pneumo.circuit.validate import load_text
from pneumo.diagnosis import store
from pneumo.diagnosis.library import Library, Work
from pneumo.diagnosis.rehearsal import STRUCK
from pneumo.errors import UnfinishedError

RIDE = "02_spring_close_single"
CIRCUITS = Path(__file__).parents[2] / "circuits"
JOBS = 276
TEXT = (CIRCUITS / f"{RIDE}.yaml").read_text(encoding="utf-8")


@cache
def work() -> Work:
    return Work(load_text(TEXT, RIDE))


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory, compiled: None) -> tuple[Path, Library]:
    """A folder in which the library of the ride is kept, complete; and that library."""
    folder = tmp_path_factory.mktemp("cache")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(store, "user_cache_path", lambda *a, **k: folder)
        said: list[tuple[int, int]] = []
        found = store.library_of(work().circuit, lambda *far: said.append(far), workers=1)
    assert said == [(done, JOBS) for done in range(JOBS + 1)]
    return folder, found


@pytest.fixture
def folder(kept: tuple[Path, Library], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of it, which is used."""
    shutil.copytree(kept[0], tmp_path / "cache")
    monkeypatch.setattr(store, "user_cache_path", lambda *a, **k: tmp_path / "cache")
    return tmp_path / "cache" / "libraries" / store.name_of(work().circuit)


def assert_same(found: Library, other: Library) -> None:
    """Two libraries are the same to the last bit."""
    for struck in STRUCK:
        one, two = found.tables[struck], other.tables[struck]
        assert one.keys == two.keys
        np.testing.assert_array_equal(one.shown, two.shown)
        np.testing.assert_array_equal(one.gauges, two.gauges)
        np.testing.assert_array_equal(one.sound, two.sound)
        np.testing.assert_array_equal(one.sound_gauges, two.sound_gauges)
        assert one.usual == two.usual
        assert dict(one.tests) == dict(two.tests)
    assert found.not_examined == other.not_examined


def got() -> tuple[Library, list[tuple[int, int]]]:
    """The library, and what is said while it is got."""
    said: list[tuple[int, int]] = []
    return store.library_of(work().circuit, lambda *far: said.append(far), workers=1), said


def test_what_is_kept_is_what_is_calculated_in_this_process(folder: Path) -> None:
    trials = work().jobs()
    assert len(trials) == JOBS
    found = store._read(folder, trials)
    assert found is not None
    entries, sound = found
    for number in random.Random(3).sample(range(JOBS), 40):
        own = work().run(trials[number])
        assert (own.trial, own.why) == (entries[number].trial, entries[number].why)
        for one, two in zip(own.told, entries[number].told, strict=True):
            np.testing.assert_array_equal(one.shown, two.shown)
            np.testing.assert_array_equal(one.gauges, two.gauges)
            assert one.found == two.found
    for struck in STRUCK:
        for one, two in zip(sound[struck], work().sound[struck], strict=True):
            np.testing.assert_array_equal(one.shown, two.shown)
            np.testing.assert_array_equal(one.gauges, two.gauges)
            assert one.found == two.found


def test_what_is_kept_is_read_and_not_calculated(folder: Path, kept: tuple[Path, Library]) -> None:
    found, said = got()
    assert_same(found, kept[1])
    assert said == []


def cut_off(chunk: Path) -> None:
    chunk.write_bytes(chunk.read_bytes()[:-200])


def not_ours(chunk: Path) -> None:
    chunk.write_text("not an archive", encoding="utf-8")


def of_others(chunk: Path) -> None:
    shutil.copy(chunk.with_name("000.npz"), chunk)


def with_an_object(chunk: Path) -> None:
    with np.load(chunk) as file:
        arrays = dict(file)
    arrays["found"] = np.array([{"a": 1}], dtype=object)
    np.savez(chunk, **arrays)


def gone(chunk: Path) -> None:
    chunk.unlink()


@pytest.mark.parametrize("damage", [cut_off, not_ours, of_others, with_an_object, gone])
def test_a_damaged_file_counts_as_missing(folder: Path, damage: Callable[[Path], None]) -> None:
    assert store._read(folder, work().jobs()) is not None
    damage(folder / "001.npz")
    assert store._read(folder, work().jobs()) is None


def test_without_the_ride_itself_nothing_is_there(folder: Path) -> None:
    (folder / "sound.npz").write_bytes(b"")
    assert store._read(folder, work().jobs()) is None


def test_where_nothing_can_be_kept_another_folder_is_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    monkeypatch.setattr(store, "user_cache_path", lambda *a, **k: tmp_path / "file")
    with store.folder_of(work().circuit) as folder:
        assert folder.is_dir()
    assert not folder.exists()


def test_what_was_done_is_kept_when_it_is_broken_off(
    folder: Path, kept: tuple[Path, Library]
) -> None:
    cut_off(folder / "001.npz")
    helpers: list[subprocess.Popen[Any] | None] = []

    def say(done: int, of: int) -> None:
        if done == 260 and helpers[-1] is not None:
            helpers[-1].kill()

    with pytest.raises(UnfinishedError, match=r"could not be calculated: .* \(by SIGKILL\)\.$"):
        store.library_of(work().circuit, say, helpers.append, workers=1)
    assert helpers[-1] is None
    found, said = got()
    assert said == [(done, JOBS) for done in range(256, JOBS + 1)]
    assert_same(found, kept[1])


def test_what_was_read_is_not_searched_for_garbage(folder: Path) -> None:
    """A screen in the same process would stand still meanwhile."""
    assert gc.isenabled()
    before = gc.get_freeze_count()
    found, said = got()
    assert said == [] and gc.isenabled()
    assert gc.get_freeze_count() - before > JOBS
    assert not any(each is found for each in gc.get_objects())


def test_an_interruption_ends_the_process(folder: Path) -> None:
    gone(folder / "001.npz")
    helpers: list[subprocess.Popen[Any]] = []

    def say(done: int, of: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        store.library_of(
            work().circuit, say, lambda process: helpers.append(process) if process else None
        )
    assert helpers[0].returncode is not None


def test_comments_and_words_do_not_throw_it_away() -> None:
    name = store.name_of(work().circuit)
    same = TEXT.replace("ride:\n", "# a comment\nride:\n  about: something else\n", 1)
    assert store.name_of(load_text(same, "other.yaml")) == name
    assert store.name_of(load_text(f"{TEXT}\ndowntime:\n  read: 1 min\n", RIDE)) == name
    for old, new in (
        ("test_points: [main.2,", "test_points: [hose_2.2, main.2,"),
        ("ride:\n", "ride:\n  scan: 30 ms\n"),
        ("bore: 9 mm", "bore: 8 mm"),
    ):
        changed = TEXT.replace(old, new)
        assert changed != TEXT
        assert store.name_of(load_text(changed, RIDE)) != name


def test_all_sources_that_entries_are_made_by_are_in_the_name() -> None:
    package = Path(pneumo.__file__).parent
    waiting, seen = ["diagnosis.library"], set[str]()
    while waiting:
        module = waiting.pop()
        if module in seen:
            continue
        seen.add(module)
        path = package.joinpath(*module.split("."))
        path = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("pneumo."):
                waiting.append((node.module or "").removeprefix("pneumo."))
    named = {source.removesuffix(".py").replace("/", ".") for source in store.SOURCES}
    # kernels are in the name of their folder; errors are words; marks know one record of a drill
    others = {"simulation", "errors", "harmless", "packing", "drill"}
    missing = {module for module in seen
               if not any(module == of or module.startswith(f"{of}.")
                          for of in named | others)}  # fmt: skip
    assert not missing


def test_who_only_wants_what_was_calculated_before_does_not_wait(
    folder: Path, kept: tuple[Path, Library], monkeypatch: pytest.MonkeyPatch
) -> None:
    circuit = work().circuit
    assert_same(store.kept_library(circuit, compiled=work().rehearsal.compiled), kept[1])
    (folder / "sound.npz").unlink()
    monkeypatch.setattr(store, "_calculate_apart", lambda *_: pytest.fail("it is calculated"))
    with pytest.raises(
        UnfinishedError, match="'pneumo diagnosability 02_spring_close_single' does"
    ):
        store.kept_library(circuit)
    shutil.rmtree(folder)
    with pytest.raises(UnfinishedError, match="not been calculated"):
        store.kept_library(circuit)
    assert not folder.exists()
