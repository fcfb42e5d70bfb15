"""How long commands take from start to end. By hand: python -m tests.bench.start [--json F]

Wall time of processes of their own, kernels compiled and byte code written before; medians, and the
least, which other work on the machine disturbs less.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
from time import perf_counter

from rich.console import Console
from rich.table import Table

REPEATS = 9

TEACHING = "02_spring_close_single"

PROCESSES = {
    "python -c pass": ("-c", "pass"),
    "import numba": ("-c", "import numba"),
    "pneumo --help": ("-m", "pneumo", "--help"),
    "pneumo check, teaching circuit": ("-m", "pneumo", "check", TEACHING),
    "pneumo run, teaching circuit": ("-m", "pneumo", "run", TEACHING),
    "pneumo run sand_martin": ("-m", "pneumo", "run", "sand_martin"),
}


def main() -> None:
    """Prints one table; with --json also writes its rows."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", metavar="F")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as byte_code:
        # as installed: byte code is kept, wherever the sources are
        environment = {**os.environ, "PYTHONPYCACHEPREFIX": byte_code}
        environment.pop("PYTHONDONTWRITEBYTECODE", None)
        times: dict[str, list[float]] = {what: [] for what in PROCESSES}
        for repeat in range(REPEATS + 1):
            for what, arguments in PROCESSES.items():  # in turns: what disturbs, disturbs all
                start = perf_counter()
                subprocess.run(
                    [sys.executable, *arguments], env=environment, check=True,
                    stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                )  # fmt: skip
                if repeat > 0:
                    times[what].append(perf_counter() - start)
    rows = [
        {
            "what": what,
            "median_ms": 1e3 * statistics.median(seconds),
            "least_ms": 1e3 * min(seconds),
        }
        for what, seconds in times.items()
    ]
    table = Table("process", "median ms", "least ms")
    for row in rows:
        table.add_row(str(row["what"]), f"{row['median_ms']:.0f}", f"{row['least_ms']:.0f}")
    console = Console()
    console.print(table)
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    console.print(f"load of the machine: {load:.1f}")
    if options.json:
        with open(options.json, "w", encoding="utf-8") as file:
            json.dump({"load": load, "rows": rows}, file, indent=1)


if __name__ == "__main__":
    main()
