"""The library of a ride in the user's cache folder, and its calculation in the background.

    libraries/HASH/sound.npz     what the ride shows without any fault
    libraries/HASH/000.npz …     entries, `CHUNK` in each

The name is made of what matters of the document, of the program's sources and of the format. A
library is there when all its files are; one that was broken off goes on with those that are
missing. A file that is damaged, or another's, counts as missing.

It is calculated by `python -m pneumo.diagnosis.store FOLDER`, a process of its own with a low
priority: it may fork workers, which a program with a screen and threads must not.
"""

from __future__ import annotations

import argparse
import gc
import hashlib
import io
import json
import os
import pickle
import shlex
import shutil
import subprocess
import sys
import tempfile
import threading
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
from platformdirs import user_cache_path

import pneumo
from pneumo.circuit.circuit import Circuit
from pneumo.diagnosis.library import Entry, Library, Test, Told, Trial, Work, rehearsed
from pneumo.diagnosis.rehearsal import STRUCK, Struck
from pneumo.diagnosis.suspects import candidates
from pneumo.errors import InputError, UnfinishedError
from pneumo.inspection.evidence import Evidence
from pneumo.network.compile import Compiled
from pneumo.network.network import Array
from pneumo.packing import PackingError, pack, pack_one, unpack
from pneumo.pool import how_ended, worker_pool
from pneumo.report.files import write_atomically
from pneumo.simulation.cache import CACHE, alone, prune

FORMAT = 1
"""Of the files; raised with every change."""

CHUNK = 256
"""Entries in a file."""

KEPT = 8
"""Libraries of other documents, or of other versions, that are kept."""

LOW = 10
"""By so much the calculation gives way to other processes, see `os.nice`."""

SOURCES = (
    "air.py", "circuit", "components", "diagnosis/library.py", "diagnosis/marks.py",
    "diagnosis/nets.py", "diagnosis/panel.py", "diagnosis/rehearsal.py", "diagnosis/suspects.py",
    "diagnosis/twins.py", "inspection", "network", "quantity.py", "scenario", "units.py", "zone",
)  # fmt: skip
"""What the entries are made by, besides the kernels."""

Say = Callable[[int, int], None]
"""Takes how many entries are done, and of how many, while a library is calculated."""

HelpedBy = Callable[[subprocess.Popen[Any] | None], None]
"""Takes the process that calculates, to be killed by whoever wants it no more; None: it has ended.
What is done by then is kept."""

Sound = Mapping[Struck, tuple[Told, ...]]
"""What each part of a rehearsal shows without any fault."""

_EVIDENCE: Any = Evidence

_DAMAGED = (
    OSError, EOFError, ValueError, KeyError, IndexError, TypeError, zipfile.BadZipFile,
    PackingError, RecursionError,
)  # fmt: skip
"""What reading a file may raise that is damaged or another's."""


class LostError(UnfinishedError):
    """The process that calculates a library ended before it was done, and did not say why."""

    def __init__(self, how: str) -> None:
        """`how`: it ended, as part of a sentence."""
        self.how = f"its process ended ({how})"
        super().__init__(f"What faults would show could not be calculated: {self.how}.")


def library_of(
    circuit: Circuit,
    say: Say = lambda done, of: None,
    helped_by: HelpedBy = lambda process: None,
    compiled: Compiled | None = None,
    workers: int | None = None,
) -> Library:
    """The library of a ride: read, or calculated and kept. The kernels must be there. From any
    thread.

    Parameters
    ----------
    say, helped_by
        See `Say` and `HelpedBy`.
    compiled
        The circuit; None: it is compiled here.
    workers
        Processes that calculate; None: one for each processor.

    Raises
    ------
    UnfinishedError
        When it could not be calculated; `LostError` when its process was killed.
    """
    with folder_of(circuit) as folder:
        library = _library(circuit, folder, compiled)
        if library is None:
            _calculate_apart(circuit, folder, say, helped_by, workers)
            library = _library(circuit, folder, compiled)
    if library is None:
        raise UnfinishedError("What faults would show was calculated and cannot be read.")
    return library


def kept_library(
    circuit: Circuit,
    say: Say = lambda done, of: None,
    helped_by: HelpedBy = lambda process: None,
    compiled: Compiled | None = None,
) -> Library:
    """The library of a ride as `library_of`, but only if it was calculated before. Raises
    UnfinishedError when it was not."""
    folder = _place(circuit)
    library = _library(circuit, folder, compiled) if folder.is_dir() else None
    if library is None:
        raise UnfinishedError(
            "What faults would show has not been calculated for this ride yet; "
            f"'pneumo diagnosability {shlex.quote(circuit.path)}' does it, and it is kept."
        )
    return library


def _library(circuit: Circuit, folder: Path, compiled: Compiled | None) -> Library | None:
    """What a folder holds; None: not all of it is there."""
    # hundreds of thousands of records that stay: looking through them for garbage again and again
    # while they are made takes twice as long as making them
    was_on = gc.isenabled()
    gc.disable()
    try:
        found = _read(folder, rehearsed(circuit, candidates(circuit)))
        return None if found is None else Library(circuit, *found, compiled)
    finally:
        if was_on:
            # nor later: each time that took 0.3 s, in which the screen stood still
            gc.freeze()
            gc.enable()


def _place(circuit: Circuit) -> Path:
    """The folder of a circuit."""
    return user_cache_path("pneumo", appauthor=False) / "libraries" / name_of(circuit)


@contextmanager
def folder_of(circuit: Circuit) -> Iterator[Path]:
    """Where the library of a circuit is kept; one that is thrown away where nothing can be."""
    folder = _place(circuit)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        tempfile.TemporaryFile(dir=folder).close()
        os.utime(folder)  # what was used lately is kept longest
    except OSError:
        folder = Path(tempfile.mkdtemp(prefix="pneumo-library-"))
        try:
            yield folder
        finally:
            shutil.rmtree(folder, ignore_errors=True)
    else:
        prune(folder.parent, folder.name, KEPT)
        yield folder


# what it is called


def name_of(circuit: Circuit) -> str:
    """Names what the library of a circuit depends on; comments and names in words are none of
    it."""
    matters = [
        circuit.ride.model_dump(mode="json", include={"scan", "supply_switches", "test_points"}),
        circuit.ambient.model_dump(mode="json"),
        *([name, _fields(part)] for name, part in circuit.components.items()),
        *([str(link.a), str(link.b), link.end] for link in circuit.connections),
        *(_fields(section) for section in (*circuit.zones.values(), *circuit.gates.values())),
    ]
    digest = hashlib.sha256(f"{FORMAT} {CACHE.name} ".encode())
    digest.update(json.dumps(matters).encode())
    package = Path(pneumo.__file__).parent
    for place in SOURCES:
        path = package / place
        for source in sorted(path.rglob("*.py")) if path.is_dir() else [path]:
            digest.update(source.relative_to(package).as_posix().encode())
            digest.update(source.read_bytes())
    return digest.hexdigest()[:24]


def _fields(section: Any) -> Any:
    return section.model_dump(mode="json", exclude={"about", "line"})


# files


def _read(folder: Path, trials: Sequence[Trial]) -> tuple[list[Entry], Sound] | None:
    """What a folder holds; None: not all of it is there."""
    sound = _read_sound(folder)
    if sound is None:
        return None
    found: list[Entry] = []
    known: dict[str, Evidence] = {}
    for number in range(_chunks(trials)):
        entries = _read_chunk(folder, trials, number, known)
        if entries is None:
            return None
        found += entries
    return found, sound


def _chunks(trials: Sequence[Trial]) -> int:
    return -(-len(trials) // CHUNK)


def _in_chunk(trials: Sequence[Trial], number: int) -> Sequence[Trial]:
    return trials[number * CHUNK : (number + 1) * CHUNK]


def _write(path: Path, words: object, **arrays: Array) -> None:
    """Keeps some arrays, and what else there is as JSON."""
    text = np.frombuffer(json.dumps(words, separators=(",", ":")).encode(), dtype=np.uint8)
    stream = io.BytesIO()
    np.savez_compressed(stream, allow_pickle=False, words=text, **arrays)
    write_atomically(path, stream.getvalue())


def _opened(path: Path) -> Any:
    # not by its name: a file that is no archive would be left open
    return np.load(io.BytesIO(path.read_bytes()), allow_pickle=False)


def _write_sound(folder: Path, sound: Sound) -> None:
    told = [each for struck in STRUCK for each in sound[struck]]
    words = [
        [len(sound[struck]) for struck in STRUCK],
        [[[pack(test), pack_one(result, Evidence)] for test, result in each.found]
         for each in told],
    ]  # fmt: skip
    _write(
        folder / "sound.npz",
        words,
        shown=np.array([each.shown for each in told]),
        gauges=np.array([each.gauges for each in told]),
    )


def _read_sound(folder: Path) -> Sound | None:
    try:
        with _opened(folder / "sound.npz") as file:
            shown, gauges = file["shown"], file["gauges"]
            parts, listed = json.loads(file["words"].tobytes())
        told = iter([
            Told(shown[row], tuple((_test(test), unpack(_EVIDENCE, result))
                                   for test, result in found), gauges[row])
            for row, found in enumerate(listed)
        ])  # fmt: skip
        return {struck: tuple(islice(told, count))
                for struck, count in zip(STRUCK, parts, strict=True)}  # fmt: skip
    except _DAMAGED:
        return None


def _test(words: Sequence[str]) -> Test:
    word, target = words
    return str(word), str(target)


def _chunk_path(folder: Path, number: int) -> Path:
    return folder / f"{number:03d}.npz"


def _write_chunk(folder: Path, number: int, entries: Sequence[Entry]) -> None:
    tests: dict[Test, int] = {}
    results: dict[Evidence, int] = {}
    found = [
        (e, part, tests.setdefault(test, len(tests)), results.setdefault(result, len(results)))
        for e, entry in enumerate(entries)
        for part, told in enumerate(entry.told)
        for test, result in told.found
    ]
    told = [each for entry in entries for each in entry.told]
    words = [
        [[pack(entry.trial), len(entry.told), entry.why] for entry in entries],
        [pack(test) for test in tests],
        [pack_one(result, Evidence) for result in results],
    ]
    _write(
        _chunk_path(folder, number),
        words,
        shown=np.array([each.shown for each in told], dtype=np.float32),
        gauges=np.array([each.gauges for each in told], dtype=np.int16),
        found=np.array(found, dtype=np.int32).reshape(-1, 4),
    )


def _read_chunk(
    folder: Path, trials: Sequence[Trial], number: int, known: dict[str, Evidence]
) -> list[Entry] | None:
    """Entries of one file; None: it is not there, damaged or another's. `known`: results of the
    files before it, by how they are kept; most come again, and those of this file are added."""
    try:
        with _opened(_chunk_path(folder, number)) as file:
            shown, gauges, found = file["shown"], file["gauges"], file["found"].tolist()
            listed, tests, results = json.loads(file["words"].tobytes())
        kept = [unpack(Trial, trial) for trial, _, _ in listed]
        if kept != list(_in_chunk(trials, number)):
            return None
        names = [_test(test) for test in tests]
        given = [_evidence(result, known) for result in results]
        gave: dict[tuple[int, int], list[tuple[Test, Evidence]]] = {}
        for e, part, test, result in found:
            gave.setdefault((e, part), []).append((names[test], given[result]))
        entries, row = [], 0
        for e, (trial, (_, parts, why)) in enumerate(zip(kept, listed, strict=True)):
            told = [
                Told(shown[row + part], tuple(gave.get((e, part), ())), gauges[row + part])
                for part in range(parts)
            ]
            row += parts
            entries.append(Entry(trial, tuple(told), str(why)))
    except _DAMAGED:
        return None
    return entries


def _evidence(kept: object, known: dict[str, Evidence]) -> Evidence:
    key = str(kept)
    if key not in known:
        known[key] = unpack(_EVIDENCE, kept)
    return known[key]


# calculating


def _calculate_apart(
    circuit: Circuit,
    folder: Path,
    say: Say,
    helped_by: HelpedBy,
    workers: int | None,
) -> None:
    command = [sys.executable, "-m", __name__, str(folder)]
    if workers is not None:
        command += ["--workers", str(workers)]
    # a session of its own: an interruption of the terminal does not reach it
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        start_new_session=True,
    ) as process:  # fmt: skip
        helped_by(process)
        said = ""
        try:
            assert process.stdin is not None  # pipes were asked for
            assert process.stdout is not None
            try:
                pickle.dump(circuit, process.stdin)
                process.stdin.flush()
            except OSError:
                pass  # it has ended, and says why
            for line in process.stdout:
                what, _, rest = line.decode("utf-8", "replace").strip().partition(" ")
                if what == "done":
                    done, of = map(int, rest.split())
                    say(done, of)
                elif what == "failed":
                    said = rest
        except BaseException:
            process.kill()
            raise
        finally:
            helped_by(None)
    if process.returncode:
        if not said:
            raise LostError(how_ended(process.returncode))
        raise UnfinishedError(f"What faults would show could not be calculated: {said}")


@dataclass(frozen=True)
class _Some:
    """Some files of a library, as work for a pool."""

    work: Work
    numbers: tuple[int, ...]

    def jobs(self) -> tuple[Trial, ...]:
        trials = self.work.jobs()
        return tuple(trial for number in self.numbers for trial in _in_chunk(trials, number))

    def run(self, trial: Trial) -> Entry:
        return self.work.run(trial)

    def given_up(self, trial: Trial, why: str) -> Entry:
        return self.work.given_up(trial, why)


def calculate(
    circuit: Circuit,
    folder: Path,
    say: Say,
    workers: int | None = None,
) -> None:
    """Calculates what is missing of a library. Raises SimulationError when the ride cannot be
    calculated even without a fault."""
    trials = rehearsed(circuit, candidates(circuit))
    missing = tuple(n for n in range(_chunks(trials)) if _read_chunk(folder, trials, n, {}) is None)
    done = len(trials) - sum(len(_in_chunk(trials, n)) for n in missing)
    say(done, len(trials))
    work = Work(circuit)
    with worker_pool(_Some(work, missing), workers) as pool:
        entries = pool.results()
        for number in missing:
            chunk = []
            for entry in islice(entries, len(_in_chunk(trials, number))):
                chunk.append(entry)
                done += 1
                say(done, len(trials))
            _write_chunk(folder, number, chunk)
    _write_sound(folder, work.sound)


def _leave_when_alone() -> None:
    """Ends this process when the one that started it does: nobody reads what it says."""
    # not by the stream: workers that are forked meanwhile close it, and would wait for this thread
    while os.read(sys.stdin.fileno(), 1):
        pass
    os._exit(1)


def _main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--workers", type=int)
    options = parser.parse_args()
    circuit: Circuit = pickle.load(sys.stdin.buffer)  # from the process that started this one
    threading.Thread(target=_leave_when_alone, daemon=True).start()
    if hasattr(os, "nice"):
        os.nice(LOW)

    def say(done: int, of: int) -> None:
        print("done", done, of, flush=True)

    try:
        # another may be at it: then what it leaves is read
        with alone(f"library-{options.folder.name}"):
            calculate(circuit, options.folder, say, options.workers)
    except (InputError, UnfinishedError) as error:
        print("failed", error, flush=True)
        sys.exit(3)


if __name__ == "__main__":
    _main()
