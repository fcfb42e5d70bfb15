"""How many faults can be tried in a second. By hand: python -m tests.bench.campaign [--json F]

Twelve zones of eight brakes, 20 s with every zone closing and opening twice, one after another. A
scenario is one fault of one component, struck at one whole second; it goes on from a state stored
on the run without faults and ends at 20 s. The runs without faults are part of the time. Two
workers: threads, then processes.
"""

from __future__ import annotations

import argparse
import json
import random
from collections.abc import Callable, Iterable
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from time import perf_counter

from rich.console import Console
from rich.table import Table

from pneumo.circuit.sentence import FaultSpec, Strike
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play
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


class Nominal:
    """Runs without faults, their states stored every second, one for each layout asked for."""

    def __init__(self, work: Work) -> None:
        self._work = work
        self._stored: dict[frozenset[str], list[Play]] = {}

    def at(self, apart: frozenset[str], second: int) -> Play:
        """A run that goes on from the state at a whole second."""
        if apart not in self._stored:
            play = Play(compile_circuit(self._work.circuit, apart))
            play.schedule(self._work.events)
            stored = []
            for time in range(int(self._work.until)):
                play.advance(float(time))
                stored.append(play.snapshot())
            self._stored[apart] = stored
        return self._stored[apart][second].snapshot()

    def run(self, scenario: tuple[FaultSpec, int]) -> int:
        """Plays a scenario to its end; returns the events it had."""
        fault, second = scenario
        zone, _, part = fault.component.rpartition("_1")
        branch = f"{zone.removesuffix('_hose').removesuffix('_brake')}_hose_1"
        apart = (
            frozenset({branch}) if zone.endswith(("hose", "brake")) and not part else frozenset()
        )
        play = self.at(apart, second)
        play.act(Strike(fault))
        play.advance(self._work.until)
        return len(play.events)


def scenarios(work: Work, count: int) -> list[tuple[FaultSpec, int]]:
    """Faults drawn by lot, those on one layout next to each other."""
    lot = random.Random(1)
    drawn = []
    for _ in range(count):
        part, mode, severity, unit = lot.choice(FAULTS)
        component = f"zone_{lot.randint(1, ZONES)}_{part}"
        drawn.append((FaultSpec(component, mode, severity, unit), lot.randrange(1, 19)))
    return sorted(drawn, key=lambda s: (s[0].component, s[1]))


_NOMINAL = Nominal(staggered(ZONES))


def _run(scenario: tuple[FaultSpec, int]) -> int:
    return _NOMINAL.run(scenario)


def main() -> None:
    """Prints one table; with --json also writes its rows."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", metavar="F")
    options = parser.parse_args()
    compile_kernels()
    drawn = scenarios(staggered(ZONES), SCENARIOS)
    rows = []
    makers: Iterable[tuple[str, Callable[[], Executor]]] = (
        ("threads", lambda: ThreadPoolExecutor(WORKERS)),
        ("processes", lambda: ProcessPoolExecutor(WORKERS, mp_context=get_context("fork"))),
    )
    for title, made in makers:
        _NOMINAL.__init__(staggered(ZONES))  # type: ignore[misc]
        start = perf_counter()
        with made() as executor:
            events = sum(executor.map(_run, drawn, chunksize=20))
        taken = perf_counter() - start
        rows.append({"workers": f"{WORKERS} {title}", "scenarios": len(drawn), "seconds": taken,
                     "per_second": len(drawn) / taken, "events": events})  # fmt: skip
    table = Table("workers", "scenarios", "wall s", "scenarios a second")
    for row in rows:
        table.add_row(str(row["workers"]), str(row["scenarios"]), f"{row['seconds']:.1f}",
                      f"{row['per_second']:.0f}")  # fmt: skip
    Console().print(table)
    if options.json:
        with open(options.json, "w", encoding="utf-8") as file:
            json.dump(rows, file, indent=1)


if __name__ == "__main__":
    main()
