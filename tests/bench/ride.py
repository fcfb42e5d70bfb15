"""How fast the shipped ride runs. By hand: python -m tests.bench.ride [--json F]

Rows: Sand Martin for 20 s with every zone there and back twice, one after another, the same with
every branch integrated, all zones at once, a one-hour hold with a small leak, and the mean cost of
a verification case. Medians of several repetitions of processor time on one thread; the ratio is
simulated time over processor time.
"""

from __future__ import annotations

import argparse
import json
import random
import statistics
from collections.abc import Callable
from time import process_time

from rich.console import Console
from rich.table import Table

from pneumo.circuit.action import Command, FaultSpec, Inject
from pneumo.circuit.circuit import Event
from pneumo.circuit.shipped import find_document
from pneumo.circuit.validate import load
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play
from pneumo.simulation.warm import compile_kernels
from pneumo.verification.campaign import Campaign

REPEATS = 7


def main() -> None:
    """Prints one table; with --json also writes its rows."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", metavar="F")
    options = parser.parse_args()
    compile_kernels()
    circuit = load(find_document("sand_martin"))
    cycles = circuit.scenarios["every zone cycles"]
    represented, whole = compile_circuit(circuit, ()), compile_circuit(circuit)
    leaking = compile_circuit(circuit, {"trim_hose_1"})
    leak = Inject(FaultSpec("trim_hose_1", "leak", 0.5e-3, "mm"))
    at_once = [Event(1.0 + 4.0 * i, Command("all", "close" if i % 2 else "open")) for i in range(5)]
    rows = [
        _row("every zone cycles, 20 s", 20.0, lambda: _run(represented, cycles.events, 20.0)),
        _row("the same, every branch integrated", 20.0, lambda: _run(whole, cycles.events, 20.0)),
        _row("all zones at once, 20 s", 20.0, lambda: _run(represented, at_once, 20.0)),
        _row("one hour, trim hose leaks 0.5 mm", 3600.0,
             lambda: _run(leaking, [Event(1.0, leak)], 3600.0)),
        _cases(circuit),
    ]  # fmt: skip
    table = Table("work", "simulated s", "processor ms", "spread ms", "x real time", "steps")
    for row in rows:
        table.add_row(
            row["work"], f"{row['simulated']:.0f}", f"{row['median_ms']:.0f}",
            f"{row['least_ms']:.0f} to {row['most_ms']:.0f}", f"{row['ratio']:.0f}",
            str(row["steps"]),
        )  # fmt: skip
    Console().print(table)
    if options.json:
        with open(options.json, "w", encoding="utf-8") as file:
            json.dump(rows, file, indent=1)


def _run(compiled, events, until: float) -> tuple[float, int]:  # type: ignore[no-untyped-def]
    play = Play(compiled)
    play.schedule(events)
    start = process_time()
    play.advance(until)
    return process_time() - start, sum(play.plant.steps)


def _row(work: str, simulated: float, run: Callable[[], tuple[float, int]]) -> dict[str, object]:
    run()
    results = [run() for _ in range(REPEATS)]
    times = [seconds for seconds, _ in results]
    return _entry(work, simulated, times, results[0][1])


def _cases(circuit) -> dict[str, object]:  # type: ignore[no-untyped-def]
    campaign = Campaign(circuit)
    jobs = random.Random(1).sample(campaign.jobs(), 40)
    for job in jobs:
        campaign.run(job)  # brings the ride into every state the cases start from
    times = []
    for _ in range(3):
        start = process_time()
        count = sum(len(campaign.run(job)) for job in jobs)
        times.append((process_time() - start) / count)
    return _entry("one verification case, mean", 60.0, times, 0)


def _entry(work: str, simulated: float, times: list[float], steps: int) -> dict[str, object]:
    median = statistics.median(times)
    return {
        "work": work, "simulated": simulated, "median_ms": 1e3 * median,
        "least_ms": 1e3 * min(times), "most_ms": 1e3 * max(times),
        "ratio": simulated / median, "steps": steps,
    }  # fmt: skip


if __name__ == "__main__":
    main()
