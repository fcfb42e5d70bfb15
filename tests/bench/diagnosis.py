"""How well a diagnostician finds faults, and in how many minutes. By hand:

    python -m tests.bench.diagnosis [--ride FILE] [--faults N] [--rivals N] [--on-grid N]
        [--other-plant N] [--no-fault N] [--seed S] [--json F [--go-on]] [--only N ...] [--verbose]

Faults are drawn evenly from all of a ride, their severity evenly on its scale, their onset at any
instant of normal operation (`operating`). A fault that trips something, or would be odd on a panel
of perfect instruments before its sequence is over, *shows*; from there on the diagnostician plays
by its own recommendations, with instruments that are not perfect, until it states a finding
(`hidden`). Beside it stands what testing one part after the other takes, in the order of the
circuit and by cost over prior (`parts_in_turn`). On the first `--rivals` of the faults two simple
orders of tests are played as well, with the same reasoning and the same rule when to stop.

`--on-grid`: so many faults of a campaign's severities, struck at time zero. `--other-plant`: the
first faults once more on an independent plant in plain Python with other wall heat, friction,
areas and restrictions. `--no-fault`: how often something is odd without a fault.

Each result is printed as it comes, and kept in the file of `--json`: what was broken off goes on
with `--go-on`. What the figures mean: `README.md` beside this file.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from math import nan
from pathlib import Path
from resource import RUSAGE_SELF, getrusage
from time import process_time
from typing import Any, NamedTuple

import pneumo
from pneumo.api import load
from pneumo.circuit.circuit import Circuit
from pneumo.diagnosis.library import Library
from pneumo.diagnosis.opinion import Answer, Opinion
from pneumo.diagnosis.store import library_of
from pneumo.errors import InputError, UnfinishedError
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.pool import worker_pool
from pneumo.report.files import write_atomically
from pneumo.scenario.play import Play
from tests.bench.hidden import FirstTable, Hidden, Rule, by_cost_over_prior, in_circuit_order
from tests.bench.operating import DrawnFault, drawn_faults
from tests.bench.parts_in_turn import Part, in_parts, may_depend_on, parts_of
from tests.bench.plain_plant import Deviations, deviated, plain_play
from tests.bench.scores import Outcome, row, same_faults, summary

SPREAD = 0.1
"""Numbers of the other plant are off by this share at most [-]."""

DRAWN, ORDER, COST = "drawn", "in order", "cost over prior"
GRID, OTHER, NONE, OTHER_NONE = "on grid", "other plant", "no fault", "other plant, no fault"


class Job(NamedTuple):
    """One fault of one table."""

    table: str
    number: int


@dataclass(frozen=True)
class Bench:
    """The faults of a ride, as work for a pool."""

    circuit: Circuit
    library: Library
    compiled: Compiled
    rest: Play
    drawn: dict[str, tuple[DrawnFault, ...]]
    """Of each table."""
    seed: int
    todo: tuple[Job, ...]
    parts: tuple[Part, ...]

    def jobs(self) -> tuple[Job, ...]:
        return self.todo

    def run(self, job: Job) -> Outcome:
        began = process_time()
        try:
            found = self._played(job)
        except (UnfinishedError, InputError) as error:
            found = self.given_up(job, str(error))
        memory = round(getrusage(RUSAGE_SELF).ru_maxrss / 1024.0)
        return replace(found, seconds=round(process_time() - began, 1), memory=memory)

    def given_up(self, job: Job, why: str) -> Outcome:
        return Outcome(job.number, self.drawn[job.table][job.number].fault.sentence, why)

    def _hidden(self, job: Job) -> Hidden:
        seed = self.seed + job.number
        rest = self.rest
        if job.table in (OTHER, OTHER_NONE):
            by = Deviations.drawn(self.compiled, seed, SPREAD)
            rest = plain_play(deviated(self.compiled, by))
        fault = job.table not in (NONE, OTHER_NONE)
        drawn = self.drawn[job.table][job.number]
        return Hidden(self.circuit, self.library, self.compiled, rest, drawn, seed, fault=fault)

    def _played(self, job: Job) -> Outcome:
        ride = self._hidden(job)
        if job.table in (NONE, OTHER_NONE):
            return Outcome(job.number, "no fault", odd=ride.alarmed or ride.odd)
        sentence, odd = ride.drawn.fault.sentence, ride.odd
        if not ride.shows:
            return Outcome(job.number, sentence, odd=odd)
        among = may_depend_on(self.circuit, ride.complains)
        in_turn = in_parts(self.parts, among, ride.drawn.fault.component)
        shown = Outcome(job.number, sentence, shown=True, odd=odd, in_parts=in_turn)
        rules: dict[str, Rule] = {ORDER: in_circuit_order(self.circuit), COST: by_cost_over_prior}
        first = FirstTable()
        try:
            stated = ride.solve(rules.get(job.table, first))
        except (UnfinishedError, InputError) as error:
            return replace(shown, trouble=str(error))
        if stated.advice is None:
            return replace(shown, share=stated.opinion.sound)
        return replace(
            _scored(ride, stated.opinion, shown),
            way=ride.way(stated),
            optimum=first.optimum(rules.values()),
            first_seconds=round(stated.first_seconds, 1),
            rank_seconds=round(stated.rank_seconds, 2),
            ask_seconds=round(stated.ask_seconds, 2),
        )


def _scored(ride: Hidden, opinion: Opinion, outcome: Outcome) -> Outcome:
    """An outcome with what is thought in the end."""
    mode = ride.drawn.fault.component, ride.drawn.fault.mode
    ranked = [(each.share, ride.ends(each), _told(each)) for each in opinion.answers]
    spot = next((place for place, each in enumerate(ranked) if each[1]), -1)
    ranked.append((opinion.sound, False, "nothing"))
    ranked.append((opinion.none_of_these, False, "none of these"))
    ranked.sort(key=lambda each: -each[0])
    modes = sorted(
        (m for a in opinion.answers if a.beside is None for m in a.modes), key=lambda m: -m.share
    )
    best = modes[0]
    right = next((place for place, each in enumerate(ranked) if each[1]), -1)
    return replace(
        outcome,
        first=(best.candidate.component, best.candidate.mode) == mode
        and best.share > max(opinion.sound, opinion.none_of_these),
        place=right + 1,
        spot_place=spot + 1,
        share=round(ranked[0][0], 4),
        right_share=round(ranked[right][0], 4) if right >= 0 else 0.0,
        said=tuple(f"{share:.0%} {told}" for share, _, told in ranked[:3]),
    )


def _told(answer: Answer) -> str:
    return " and ".join(
        f"{part.how} {part.spot.component}{'.' if part.spot.side else ''}{part.spot.side} "
        f"({part.modes[0].candidate.mode})" for part in answer.parts
    )  # fmt: skip


class Kept:
    """Results as they come, in a file of JSON where there is one.

    ```text
    {settings: {ride, seed, sources, commit, date}, rows: {table: figures},
     outcomes: {table: [Outcome]}}
    ```
    """

    def __init__(self, ride: str, seed: int, file: Path | None) -> None:
        self._settings: dict[str, Any] = {
            "ride": ride, "seed": seed, "sources": sources(), "commit": commit(),
            "date": str(date.today()),
        }  # fmt: skip
        self._file = file
        self.outcomes: dict[str, dict[int, Outcome]] = {}

    def read(self) -> None:
        """Takes over what the file holds. Raises InputError when that is of another ride, draw or
        program."""
        if self._file is None or not self._file.exists():
            return
        kept = json.loads(self._file.read_text(encoding="utf-8"))
        for name in ("ride", "seed", "sources"):
            if kept["settings"][name] != self._settings[name]:
                raise InputError(
                    f"{self._file} is of {name} {kept['settings'][name]}, not "
                    f"{self._settings[name]}: leave --go-on out to begin anew."
                )
        self.outcomes = {
            table: {o.number: o for o in map(Outcome.read, own)}
            for table, own in kept["outcomes"].items()
        }

    def add(self, table: str, outcome: Outcome) -> None:
        """One more."""
        self.outcomes.setdefault(table, {})[outcome.number] = outcome
        if self._file is not None:
            data = {
                "settings": self._settings,
                "rows": self.rows,
                "outcomes": {t: [asdict(o) for o in self.of(t)] for t in self.outcomes},
            }
            write_atomically(self._file, json.dumps(data, indent=1))

    def of(self, table: str) -> list[Outcome]:
        """Those of a table, by number."""
        own = self.outcomes.get(table, {})
        return [own[number] for number in sorted(own)]

    @property
    def rows(self) -> dict[str, Any]:
        """The figures of each table."""
        none = (), ()
        beside = {
            DRAWN: ((self.of(ORDER), self.of(COST)), self.of(NONE)),
            GRID: (none, ()),
            OTHER: (none, self.of(OTHER_NONE)),
        }
        rows = {
            table: row(self._settings["ride"], self.of(table), rivals, without)
            for table, (rivals, without) in beside.items()
            if self.of(table) or without
        }
        if OTHER in rows:
            rows[OTHER]["same_faults"] = same_faults(self.of(DRAWN), self.of(OTHER))
        return rows


def sources() -> str:
    """Names the program that is measured, and the bench."""
    digest = hashlib.sha256()
    for top in (Path(pneumo.__file__).parent, Path(__file__).parent):
        for source in sorted(top.rglob("*.py")):
            digest.update(source.relative_to(top).as_posix().encode() + source.read_bytes())
    return digest.hexdigest()[:12]


def commit() -> str:
    """The last commit; what is measured may have been changed since."""
    command = ["git", "rev-parse", "--short", "HEAD"]
    found = subprocess.run(command, cwd=Path(__file__).parent, capture_output=True, check=False)
    return found.stdout.decode().strip()


def told(table: str, outcome: Outcome, *, verbose: bool) -> str:
    """A result in a line, with minutes of tests + of needless repairs. `verbose`: what was said
    instead, where it was not the right thing."""
    begin = f"{table} {outcome.number}: {outcome.fault}: "
    if outcome.trouble:
        return begin + f"stopped: {outcome.trouble}"
    if not outcome.shown:
        return begin + ("shows nothing, and something is odd" if outcome.odd else "shows nothing")
    if outcome.way is None:
        return begin + "not noticed"
    way = outcome.way
    order, cost = outcome.in_parts or (nan, nan)
    line = (
        f"{begin}{'right' if outcome.group_first else f'place {outcome.place}'}, "
        f"{outcome.share:.0%} sure, {way.tests:.0f} + {way.needless:.0f} min "
        f"(part by part {order:.0f} and {cost:.0f}), "
        f"thought {outcome.first_seconds:.0f} s, {outcome.rank_seconds:.1f} s, "
        f"{outcome.ask_seconds:.1f} s"
    )
    if way.ended:
        line += f", {way.ended}"
    if verbose and not outcome.group_first:
        line += f"\n    {outcome.right_share:.1%} right; said: {'; '.join(outcome.said)}"
    return line


def measured(bench: Bench, kept: Kept, say: Callable[[str, Outcome], None], workers: int) -> None:
    """Plays what is to be played, and keeps each result as it comes."""
    with worker_pool(bench, workers) as pool:
        for number, outcome in pool.as_done():
            table = bench.todo[number].table
            kept.add(table, outcome)
            say(table, outcome)


def bench_of(asked: argparse.Namespace, kept: Kept) -> Bench:
    """What is to be played, without what is kept already."""
    circuit = load(asked.ride)
    counts = {
        DRAWN: asked.faults, NONE: asked.no_fault, ORDER: asked.rivals, COST: asked.rivals,
        GRID: asked.on_grid, OTHER: asked.other_plant,
        OTHER_NONE: min(asked.no_fault, asked.other_plant),
    }  # fmt: skip
    drawn = {
        table: drawn_faults(circuit, count, asked.seed, on_grid=table == GRID)
        for table, count in counts.items()
    }
    # all tables of a fault before the next one: what is broken off is a smaller bench; the slow
    # plant last
    todo = tuple(
        Job(table, number)
        for tables in ({DRAWN, NONE, ORDER, COST, GRID}, {OTHER, OTHER_NONE})
        for number in range(max(counts.values()))
        for table, count in counts.items()
        if table in tables
        and number < count
        and number not in kept.outcomes.get(table, {})
        and (not asked.only or number in asked.only)
    )
    compiled = compile_circuit(circuit)
    rest = Play(compiled)
    library = library_of(circuit, say_library, compiled=compiled, workers=asked.workers)
    return Bench(circuit, library, compiled, rest, drawn, asked.seed, todo, parts_of(circuit))


def say_library(done: int, of: int) -> None:
    """Tells how far the library of a ride is that has none yet."""
    if done % 100 == 0 or done == of:
        print(f"first, and kept: what faults would show, {done} of {of}", flush=True)


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--ride", default="sand_martin")
    parser.add_argument("--faults", type=int, default=100)
    parser.add_argument("--rivals", type=int, default=30, help="of the first faults")
    parser.add_argument("--on-grid", type=int, default=25, help="faults")
    parser.add_argument("--other-plant", type=int, default=0, help="faults")
    parser.add_argument("--no-fault", type=int, default=5, help="rides without a fault")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--go-on", action="store_true", help="with what --json holds")
    parser.add_argument("--only", type=int, nargs="+", metavar="N", help="these faults")
    parser.add_argument("--verbose", action="store_true")
    asked = parser.parse_args(arguments)
    kept = Kept(asked.ride, asked.seed, asked.json)
    try:
        if asked.go_on:
            kept.read()
        bench = bench_of(asked, kept)
    except InputError as error:
        print(error, file=sys.stderr)
        sys.exit(3 if isinstance(error, UnfinishedError) else 2)

    def say(table: str, outcome: Outcome) -> None:
        print(told(table, outcome, verbose=asked.verbose), flush=True)

    try:
        measured(bench, kept, say, asked.workers)
    except KeyboardInterrupt:
        print("broken off", file=sys.stderr)
    for line in summary(kept.rows):
        print(line)


if __name__ == "__main__":
    main()
