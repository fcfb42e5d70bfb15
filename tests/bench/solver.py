"""Ours against other solvers at equal accuracy. By hand:

python -m tests.bench.solver [--quick] [--json F]

Equal accuracy: every solver runs at the loosest tolerance of a ladder at which the pressures of
all volumes stay within 1e-4 of the reference on a grid of times. Ours has to find its own
switching points, each within 1 ms of the reference's; the others are given them. The reference is
our own method at a tolerance of 1e-10 (1e-8 for rides of more than 12 zones) with every branch
integrated, itself compared with Radau of scipy. Times are medians of processor time on one thread;
a ratio is the time of a rival over ours.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from math import inf
from pathlib import Path
from time import process_time
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table

from pneumo.network.compile import Compiled, compile_circuit
from pneumo.network.network import Network
from pneumo.scenario.play import Play
from pneumo.scenario.pressure import node_pressure
from pneumo.simulation.warm import compile_kernels
from tests.bench import rides
from tests.bench.equations import Array, Equations, WatchedPlay, frictionless, problem_of
from tests.bench.rides import Work
from tests.bench.rivals import FailedError, Rival, TooSlowError, cvode, scipy_solver

ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"), "1")
"""Environment of the bench; libraries read it when they are loaded."""

ERROR = 1e-4
"""Allowed error of a pressure, relative [-]."""

SHIFT = 1e-3
"""Allowed shift of a switching point [s]."""

GRID = 0.02
"""Pressures are compared at these steps [s]; a long run at as many instants as `MOST`."""

MOST = 7200

LADDER = tuple(10.0 ** (-k / 4.0) for k in range(8, 41))
"""Tolerances, from loose to tight."""

START, START_OF_RIVALS = LADDER.index(1e-5), LADDER.index(1e-6)
"""Rungs where the search begins on the first ride of a kind."""

CONFIRMED, CONFIRMED_WORK = 6, "all at once"
"""References that are compared with scipy's Radau: up to so many zones of this work."""

EXACT, NEARLY_EXACT = 1e-10, 1e-8
"""Tolerances of references, up to `SMALL` zones and above."""

SMALL = 12

REPEATS, REPEATS_OF_RIVALS = 5, 3

LONG = 5.0
"""A rival's run longer than this is not repeated [s]."""

ALLOWED = 40.0
"""A rival's run is given up after this processor time [s]."""


NOT_GOOD, GIVEN_UP = "not accurate enough", "given up"


@dataclass(frozen=True)
class Levers:
    """What ours makes use of."""

    title: str
    represented: bool = True
    largest: int = 48
    """Zones of the largest ride it is shown for."""
    local: bool = True
    """Whether every zone has a clock of its own."""


LEVERS = (
    Levers("ours"),
    Levers("ours, one clock", local=False),
    Levers("ours, every branch integrated", represented=False, largest=24),
    Levers("ours, one step for all, every branch", represented=False, local=False, largest=24),
)

CVODES: dict[str, Rival] = {
    "CVODE, restarted": cvode(restart=True),
    "CVODE, going on": cvode(restart=False),
    "CVODE, going on, order 3": cvode(restart=False, max_order=3),
}

QUICK = "CVODE, going on, order 3"
"""The only way of using it that is tried when time is short."""

SCIPY: dict[str, tuple[Rival, int]] = {
    "scipy BDF": (scipy_solver("BDF"), 12),
    "scipy LSODA": (scipy_solver("LSODA"), 6),
}
"""Name -> solver and the largest ride it is tried on."""


@dataclass
class Row:
    """A line of the table."""

    work: str
    zones: int
    rival: str
    tolerance: float
    error: float
    median_ms: float | None = None
    ratio: float | None = None
    spread_ms: tuple[float, float] | None = None
    steps: int | None = None
    evaluations: int | None = None
    event_error_ms: float | None = None
    note: str = ""


@dataclass(frozen=True)
class Reference:
    """What a run should have been."""

    work: Work
    compiled: Compiled
    grid: Array
    pressures: Array
    """(grid, dynamic nodes)"""
    switching: dict[str, list[tuple[float, bool]]]
    equations: Equations
    rtol: float


# what is compared


def pressures(network: Network, states: Array) -> Array:
    """(n, nodes) absolute pressures of all volumes at n states [Pa]."""
    return np.stack([node_pressure(network, states, n) for n in range(network.dynamic)], axis=1)


def same_nodes(whole: Compiled, compiled: Compiled) -> Array:
    """For each volume of the unreduced network the one that is integrated for it."""
    found = []
    for name in whole.node_names[: whole.network.dynamic]:
        component, _, label = name.partition(" ")
        if label:
            found.append(compiled.parts[component].nodes[label])
        else:
            component, _, port = name.rpartition(".")
            found.append(compiled.parts[component].ports[port])
    return np.array(found)


def switching(compiled: Compiled, play: Play, until: float) -> dict[str, list[tuple[float, bool]]]:
    """Every switching point up to a time, by what switched."""
    names: dict[int, list[str]] = {}
    for contact in compiled.contacts:
        names.setdefault(contact.watch, []).append(contact.component)
    for compressor in compiled.compressors:
        names.setdefault(compressor.watch, []).append(compressor.component)
    for brakes in compiled.brakes.values():
        for brake in brakes:
            for what in ("clamped", "engaged", "clear"):
                watched = names.setdefault(getattr(brake, what), [])
                watched.append(f"{brake.component} {what}")
    found: dict[str, list[tuple[float, bool]]] = {}
    for moment, w, made in play.plant.log.crossings:
        for name in names.get(w, ()):
            if moment <= until:
                found.setdefault(name, []).append((moment, made))
    return found


def shift(reference: Reference, found: dict[str, list[tuple[float, bool]]]) -> float:
    """Largest shift of a switching point [s]; infinite when they are not the same ones."""
    worst = 0.0
    for name, points in reference.switching.items():
        mine = found.get(name, [])
        if [made for _, made in mine] != [made for _, made in points]:
            return inf
        worst = max(worst, *(abs(a - b) for (a, _), (b, _) in zip(mine, points, strict=True)))
    return worst if found.keys() == reference.switching.keys() else inf


def largest_error(reference: Reference, found: Array) -> float:
    """Largest relative error of pressures laid out as the reference's."""
    error = np.max(np.abs(found / reference.pressures - 1.0))
    return float(error) if np.isfinite(error) else inf


# the reference


def reference_of(work: Work, rtol: float) -> Reference:
    """Runs a work exactly: every branch integrated, one step for all."""
    compiled = frictionless(compile_circuit(work.circuit, local=False))
    play = WatchedPlay(compiled, rtol=rtol)
    play.schedule(work.events)
    play.plant.record(step_of(work), work.until)
    play.advance(work.until)
    start = play.plant.samples.rows[0, : compiled.network.main].copy()
    samples = play.plant.samples
    return Reference(
        work, compiled, samples.times(play.now), pressures(compiled.network, samples.rows),
        switching(compiled, play, work.until),
        Equations(problem_of(play, start, work.until)), rtol,
    )  # fmt: skip


def step_of(work: Work) -> float:
    """Step of the grid of times [s]."""
    return max(GRID, work.until / MOST)


# the search


def loosest(attempt: Callable[[float], Row], start: int) -> Row:
    """The row at the loosest tolerance that is good enough, as seen from a rung of the ladder.

    While it is good enough there, looser ones are tried; else tighter ones.
    """
    row = attempt(LADDER[start])
    if row.note:
        for rtol in LADDER[start + 1 :]:
            row = attempt(rtol)
            if not row.note or row.note.startswith(GIVEN_UP):
                break
        return row
    for rtol in reversed(LADDER[:start]):
        looser = attempt(rtol)
        if looser.note:
            break
        row = looser
    return row


def agreement(reference: Reference) -> str:
    """How far Radau of scipy at the same tolerance is from the reference."""
    run = scipy_solver("Radau")(reference.equations, reference.rtol, reference.grid, inf)
    error = largest_error(reference, pressures(reference.compiled.network, run.states))
    return (
        f"reference at {reference.rtol:g} and scipy Radau at {reference.rtol:g}: "
        f"pressures within {error:.1e}"
    )


def _time(row: Row, run: Callable[[], float], repeats: int) -> None:
    times = [run()]
    if times[0] < LONG:
        times += [run() for _ in range(repeats - 1)]
    row.median_ms = 1e3 * statistics.median(times)
    row.spread_ms = 1e3 * min(times), 1e3 * max(times)


# ours


def ours(reference: Reference, levers: Levers, start: int = START) -> Row:
    """Our own row: the loosest tolerance that is good enough, and its time."""
    work = reference.work
    apart = work.apart if levers.represented else None
    compiled = frictionless(compile_circuit(work.circuit, apart, local=levers.local))
    nodes = same_nodes(reference.compiled, compiled)

    def play_at(rtol: float) -> Play:
        play = Play(compiled, rtol=rtol)
        play.schedule(work.events)
        return play

    def attempt(rtol: float) -> Row:
        play = play_at(rtol)
        play.plant.record(step_of(work), work.until)
        play.advance(work.until)
        error = largest_error(
            reference, pressures(compiled.network, play.plant.samples.rows)[:, nodes]
        )
        moved = shift(reference, switching(compiled, play, work.until))
        return Row(
            work.title, work.zones, levers.title, rtol, error, event_error_ms=1e3 * moved,
            steps=sum(play.plant.steps), note="" if error <= ERROR and moved <= SHIFT else NOT_GOOD,
        )  # fmt: skip

    row = loosest(attempt, start)

    def timed() -> float:
        play = play_at(row.tolerance)
        begun = process_time()
        play.advance(work.until)
        return process_time() - begun

    _time(row, timed, REPEATS)
    return row


# rivals


def rival_row(reference: Reference, title: str, rival: Rival, start: int = START_OF_RIVALS) -> Row:
    """A rival's row: the loosest tolerance that is good enough, and its time."""
    work, equations = reference.work, reference.equations

    def attempt(rtol: float) -> Row:
        row = Row(work.title, work.zones, title, rtol, inf)
        try:
            run = rival(equations, rtol, reference.grid, ALLOWED)
        except TooSlowError:
            row.median_ms, row.note = 1e3 * ALLOWED, f"{GIVEN_UP} after {ALLOWED:g} s"
            return row
        except FailedError as reason:
            row.note = str(reason)
            return row
        row.error = largest_error(reference, pressures(reference.compiled.network, run.states))
        row.note = "" if row.error <= ERROR else NOT_GOOD
        return row

    row = loosest(attempt, start)
    if row.note:
        return row

    def timed() -> float:
        run = rival(equations, row.tolerance, np.zeros(0), inf)
        row.steps, row.evaluations = run.steps, run.evaluations
        return run.seconds

    _time(row, timed, REPEATS_OF_RIVALS)
    return row


class Bench:
    """The rows so far, and what they teach about where to start on the next ride."""

    def __init__(self, console: Console) -> None:
        self.rows: list[Row] = []
        self._console = console
        self._served: dict[tuple[str, str], int] = {}
        self._fastest: dict[str, str] = {}

    def measure(
        self, work: Work, *, levers: Iterable[Levers] = LEVERS, quick: bool = False
    ) -> None:
        """Ours and the rivals at one work; when quick, CVODE only and a cheaper reference."""
        begun = process_time()
        reference = reference_of(work, NEARLY_EXACT if quick or work.zones > SMALL else EXACT)
        self._console.print(
            f"{work.title}, {work.zones} zones: {reference.equations.size} states, "
            f"{len(reference.equations.problem.stretches)} stretches, reference at "
            f"{reference.rtol:g} in {process_time() - begun:.0f} s"
        )
        if not quick and work.zones <= CONFIRMED and work.title == CONFIRMED_WORK:
            self._console.print(agreement(reference))
        rows = [
            ours(reference, each, self._start(work, each.title, START))
            for each in levers
            if work.zones <= each.largest
        ]
        rows.append(self._cvode(reference, (QUICK,) if quick else tuple(CVODES)))
        if not quick:
            for title, (rival, largest) in SCIPY.items():
                if work.zones <= largest:
                    start = self._start(work, title, START_OF_RIVALS)
                    rows.append(rival_row(reference, title, rival, start))
        for row in rows:
            self._served[work.title, row.rival] = LADDER.index(row.tolerance)
            if row.median_ms is not None and rows[0].median_ms is not None:
                row.ratio = row.median_ms / rows[0].median_ms
        self.rows += rows

    def _start(self, work: Work, title: str, otherwise: int) -> int:
        return self._served.get((work.title, title), otherwise)

    def _cvode(self, reference: Reference, names: tuple[str, ...]) -> Row:
        """The fastest way of using it; on large rides the one that was the fastest before."""
        work = reference.work
        start = self._start(work, "CVODE", START_OF_RIVALS)
        known = self._fastest.get(work.title)
        if known is not None and work.zones > SMALL:
            names = (known,)
        rows = [rival_row(reference, name, CVODES[name], start) for name in names]
        best = min(rows, key=lambda row: (bool(row.note), row.median_ms or inf))
        self._fastest[work.title] = best.rival
        best.note, best.rival = f"{best.rival.removeprefix('CVODE, ')} {best.note}".strip(), "CVODE"
        return best


def table(rows: Iterable[Row]) -> Table:
    """The rows for the eye."""
    result = Table(
        "work", "zones", "solver", "tolerance", "error", "shift ms", "median ms", "spread ms",
        "ratio", "steps", "evaluations", "note",
    )  # fmt: skip
    for row in rows:
        spread = "" if row.spread_ms is None else "{:.0f} to {:.0f}".format(*row.spread_ms)
        result.add_row(
            row.work, str(row.zones), row.rival, f"{row.tolerance:.1e}", f"{row.error:.1e}",
            _shown(row.event_error_ms, ".2f"),
            _shown(row.median_ms, ".0f"), spread, _shown(row.ratio, ".2f"),
            _shown(row.steps, "d"), _shown(row.evaluations, "d"), row.note,
        )  # fmt: skip
    return result


def _shown(value: float | int | None, form: str) -> str:
    return "" if value is None else format(value, form)


def _record(row: Row) -> dict[str, Any]:
    """A row for a file, where there is no infinity."""
    return {name: None if value == inf else value for name, value in asdict(row).items()}


def memory(zones: int) -> float:
    """Largest memory of a process that runs a ride of so many zones [MB]."""
    command = [sys.executable, "-m", "tests.bench.solver", "--memory", str(zones)]
    return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def _use_memory(zones: int) -> None:
    work = rides.staggered(zones)
    play = Play(compile_circuit(work.circuit, work.apart))
    play.schedule(work.events)
    play.advance(work.until)
    # not getrusage: there a child begins with the size of its parent
    status = Path("/proc/self/status").read_text(encoding="ascii")
    print(int(status.partition("VmHWM:")[2].split()[0]) / 1024.0)


def works(quick: bool) -> list[Work]:
    """What is simulated, kind by kind, small rides first."""
    sizes = (1, 12) if quick else (1, 6, 12, 24, 48)
    kinds = (rides.all_at_once, rides.staggered) + (() if quick else (rides.long_hold,))
    found = [kind(zones) for kind in kinds for zones in sizes]
    return found if quick else [*found, rides.sand_martin()]


def main() -> None:
    """Prints one table; with --json also writes its rows."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="1 and 12 zones against CVODE")
    parser.add_argument("--json", metavar="F")
    parser.add_argument("--memory", metavar="ZONES", type=int, help=argparse.SUPPRESS)
    options = parser.parse_args()
    compile_kernels()
    if options.memory:
        _use_memory(options.memory)
        return
    console = Console(width=200)
    bench = Bench(console)
    for work in works(options.quick):
        bench.measure(work, quick=options.quick)
        if options.json:
            with open(options.json, "w", encoding="utf-8") as file:
                json.dump([_record(row) for row in bench.rows], file, indent=1)
    console.print(table(bench.rows))
    if not options.quick:
        console.print(f"48 zones staggered: {memory(48):.0f} MB at most")
        cost = {
            row.zones: row.median_ms
            for row in bench.rows
            if row.rival == LEVERS[0].title and row.work.startswith("staggered") and row.median_ms
        }
        console.print(f"cost of 48 staggered zones over 12: {cost[48] / cost[12]:.1f}")


if __name__ == "__main__":
    if not os.environ.items() >= ONE_THREAD.items():
        command = [sys.executable, "-m", "tests.bench.solver", *sys.argv[1:]]
        os.execve(sys.executable, command, {**os.environ, **ONE_THREAD})
    main()
