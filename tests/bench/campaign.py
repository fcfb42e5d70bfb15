"""How many faults can be tried in a second. By hand: python -m tests.bench.campaign [--json F]

Twelve zones of eight brakes, 20 s with every zone closing and opening twice, one after another. A
scenario is one fault of one component, injected at one whole second; it goes on from a state stored
on the run without faults and ends at 20 s. The runs without faults are part of the time, and every
worker process makes its own.
"""

from __future__ import annotations

import argparse
import json
import random
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from time import perf_counter

from rich.console import Console
from rich.table import Table

from pneumo.circuit.action import FaultSpec, Inject
from pneumo.network.compile import compile_circuit
from pneumo.scenario import reference
from pneumo.scenario.play import Play
from pneumo.simulation.position import Track
from pneumo.simulation.warm import compile_kernels
from tests.bench.rides import Work, staggered

ZONES, SCENARIOS, WORKERS = 12, 240, 2

FAULTS = (
    ("hose_1", "leak", 1e-3, "mm"),
    ("hose_1", "burst", None, ""),
    ("brake_1", "jaw-seized", None, ""),
    ("valve", "stuck", None, ""),
    ("regulator", "stuck-closed", None, ""),
    ("check", "stuck-closed", None, ""),
)
"""Component of a zone, its fault, the severity."""

BRANCHES = frozenset(f"zone_{k}_hose_1" for k in range(1, ZONES + 1))
"""What is integrated on its own for the faults of parts that have twins."""


class Nominal:
    """Runs without faults, one for each layout asked for: their states stored every second, and
    their steps."""

    def __init__(self, work: Work, replayed: bool) -> None:
        """`replayed`: whether scenarios take the zones they do not reach from these runs."""
        self._work = work
        self._replayed = replayed
        self._stored: dict[frozenset[str], tuple[list[Play], Track]] = {}

    def at(self, apart: frozenset[str], second: int) -> Play:
        """A run that goes on from the state at a whole second."""
        if apart not in self._stored:
            play = Play(compile_circuit(self._work.circuit, apart))
            play.schedule(self._work.events)
            reference.record(play.plant)
            states = []
            for time in range(int(self._work.until)):
                play.advance(float(time))
                states.append(play.snapshot())
            play.advance(self._work.until + 1.0)
            self._stored[apart] = states, reference.recorded(play.plant)
        states, trajectory = self._stored[apart]
        play = states[second].snapshot()
        if self._replayed:
            reference.replay(play.plant, trajectory)
        return play

    def run(self, scenario: tuple[FaultSpec, int]) -> int:
        """Plays a scenario to its end; returns the steps computed."""
        fault, second = scenario
        twins = fault.component.endswith(("hose_1", "brake_1"))
        play = self.at(BRANCHES if twins else frozenset(), second)
        before = sum(play.plant.steps)
        play.act(Inject(fault))
        play.advance(self._work.until)
        return sum(play.plant.steps) - before


def scenarios(count: int) -> list[tuple[FaultSpec, int]]:
    """Faults drawn by lot, those on one layout next to each other."""
    lot = random.Random(1)
    drawn = []
    for _ in range(count):
        part, mode, severity, unit = lot.choice(FAULTS)
        component = f"zone_{lot.randint(1, ZONES)}_{part}"
        drawn.append((FaultSpec(component, mode, severity, unit), lot.randrange(1, 19)))
    return sorted(drawn, key=lambda s: (s[0].component, s[1]))


class _Worker:
    """What a worker process works on."""

    nominal: Nominal | None = None


def _begin(nominal: Nominal) -> None:
    _Worker.nominal = nominal


def _run(scenario: tuple[FaultSpec, int]) -> int:
    assert _Worker.nominal is not None
    return _Worker.nominal.run(scenario)


def _row(title: str, made: Callable[[Nominal], Executor], replayed: bool) -> dict[str, object]:
    work = staggered(ZONES)
    drawn = scenarios(SCENARIOS)
    start = perf_counter()
    with made(Nominal(work, replayed)) as executor:
        steps = sum(executor.map(_run, drawn, chunksize=20))
    taken = perf_counter() - start
    return {
        "workers": f"{WORKERS} {title}", "others": "replayed" if replayed else "computed",
        "scenarios": len(drawn), "seconds": taken, "per_second": len(drawn) / taken,
        "steps": steps / len(drawn),
    }  # fmt: skip


def main() -> None:
    """Prints one table; with --json also writes its rows."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", metavar="F")
    options = parser.parse_args()
    compile_kernels()

    def threads(nominal: Nominal) -> Executor:
        return ThreadPoolExecutor(WORKERS, initializer=_begin, initargs=(nominal,))

    def processes(nominal: Nominal) -> Executor:
        return ProcessPoolExecutor(
            WORKERS, mp_context=get_context("fork"), initializer=_begin, initargs=(nominal,)
        )

    rows = [
        _row("processes", processes, replayed=False),
        _row("processes", processes, replayed=True),
        _row("threads", threads, replayed=True),
    ]
    table = Table("workers", "other zones", "scenarios", "wall s", "a second", "steps of each")
    for row in rows:
        table.add_row(str(row["workers"]), str(row["others"]), str(row["scenarios"]),
                      f"{row['seconds']:.1f}", f"{row['per_second']:.0f}",
                      f"{row['steps']:.0f}")  # fmt: skip
    Console().print(table)
    if options.json:
        with open(options.json, "w", encoding="utf-8") as file:
            json.dump(rows, file, indent=1)


if __name__ == "__main__":
    main()
