"""The plain plant beside the kernels: what separates them, and what it costs.

Each ride plays its normal operation without a fault, then with faults drawn from all of it, on both
plants; a last row plays it on plain plants with other numbers, whose alarms come from nothing but
those.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from time import process_time

import numpy as np
from rich.console import Console
from rich.table import Table

from pneumo.circuit.action import Inject
from pneumo.circuit.circuit import Event
from pneumo.circuit.validate import load
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.network.network import SENSED
from pneumo.scenario.event import alarms_raised
from pneumo.scenario.play import Play
from tests.bench.operating import DrawnFault, Sequence, drawn_faults, operating_sequence
from tests.bench.plain_plant import Deviations, deviated, plain_play

RIDES = (
    "02_spring_close_single", "04_stored_air_behind_check", "07_quick_exhaust",
    "11_dual_pressure", "sand_martin",
)  # fmt: skip

SETTLES = 5.0
"""A ride is played so much longer than its sequence [s]."""


@dataclass
class Compared:
    """What a pair of runs, or several, have shown."""

    apart: list[float] = field(default_factory=list)
    """Of each edge of a contact: how far apart it was [s]."""
    otherwise: list[str] = field(default_factory=list)
    """Runs in which a contact went on and off otherwise."""
    pressure: float = 0.0
    """The largest relative difference of a pressure at the end [-]."""
    kernels: float = 0.0
    plain: float = 0.0
    """Processor time [s]."""
    played: float = 0.0
    """Simulated time [s]."""


def edges(play: Play) -> dict[int, list[tuple[float, bool]]]:
    """Of each contact of the controller when it went on and off."""
    found: dict[int, list[tuple[float, bool]]] = {}
    for time, watch, on in play.plant.log.crossings:
        if play.plant.network.watch[watch]["role"] == SENSED:
            found.setdefault(watch, []).append((time, on))
    return found


def run(rest: Play, sequence: Sequence, also: Iterable[Event]) -> tuple[Play, float]:
    """A copy of a ride at rest, played, and the processor time [s]."""
    play = rest.snapshot()
    play.schedule([*(Event(time, action) for time, action in sequence), *also])
    begun = process_time()
    play.advance(sequence[-1][0] + SETTLES)
    return play, process_time() - begun


def compare(pair: tuple[Play, Play], drawn: DrawnFault | None, sequence: Sequence) -> Compared:
    """Both plants play the same."""
    also = [] if drawn is None else [Event(drawn.fault.at, Inject(drawn.fault))]
    (ours, kernels), (plain, seconds) = (run(rest, sequence, also) for rest in pair)
    found = Compared(kernels=kernels, plain=seconds, played=sequence[-1][0] + SETTLES)
    made, remade = edges(ours), edges(plain)
    for watch, here in made.items():
        there = remade.get(watch, [])
        if [on for _, on in here] != [on for _, on in there]:
            found.otherwise = ["no fault" if drawn is None else drawn.fault.text]
        else:
            found.apart += [abs(a - b) for (a, _), (b, _) in zip(here, there, strict=True)]
    nodes = range(ours.plant.network.dynamic)
    ends = [np.array([play.plant.pressure(n) for n in nodes]) for play in (ours, plain)]
    found.pressure = float(np.abs(ends[1] / ends[0] - 1.0).max())
    return found


def together(each: list[Compared]) -> Compared:
    return Compared(
        [d for one in each for d in one.apart], [n for one in each for n in one.otherwise],
        max(one.pressure for one in each), sum(one.kernels for one in each),
        sum(one.plain for one in each), sum(one.played for one in each),
    )  # fmt: skip


def row(name: str, what: str, found: Compared) -> list[str]:
    apart = 1e3 * np.array(found.apart)
    return [
        name, what, f"{found.played:.0f}", f"{len(apart)}", f"{np.median(apart):.2f}",
        f"{np.percentile(apart, 99):.2f}", f"{apart.max():.2f}", f"{len(found.otherwise)}",
        f"{100 * found.pressure:.2f}", f"{found.kernels / found.played * 1e3:.1f}",
        f"{found.plain / found.played * 1e3:.0f}",
    ]  # fmt: skip


def alarms_of_others(compiled: Compiled, sequence: Sequence, rides: int, spread: float) -> int:
    """Rides with other numbers that raise an alarm in normal operation."""
    count = 0
    for seed in range(rides):
        other = deviated(compiled, Deviations.drawn(compiled, seed, spread))
        play, _ = run(plain_play(other), sequence, ())
        count += any(alarms_raised(play.plant.log.events))
    return count


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--ride", nargs="*", help="documents (left out: four circuits, a ride)")
    parser.add_argument("--faults", type=int, default=5, help="of each ride")
    parser.add_argument("--others", type=int, default=2, help="rides with other numbers")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    folder = Path(__file__).parents[2] / "circuits"
    files = [Path(f) for f in given.ride or [folder / f"{name}.yaml" for name in RIDES]]
    table = Table(
        "ride", "played", "s", "edges", "median ms", "99 % ms", "worst ms", "otherwise",
        "pressure %", "kernels ms/s", "plain ms/s",
    )  # fmt: skip
    console = Console(width=150)
    for path in files:
        circuit = load(path)
        compiled = compile_circuit(circuit)
        pair = Play(compiled), plain_play(compiled)
        sequence = operating_sequence(circuit, given.seed)
        table.add_row(*row(path.stem, "no fault", compare(pair, None, sequence)))
        drawn = drawn_faults(circuit, given.faults, given.seed)
        found = [compare(pair, each, each.sequence) for each in drawn]
        if found:
            both = together(found)
            table.add_row(*row(path.stem, f"{len(found)} faults", both))
            for name in both.otherwise:
                console.print(f"{path.stem}: other edges with {name}")
        alarmed = alarms_of_others(compiled, sequence, given.others, 0.1)
        console.print(f"{path.stem}: alarms on {alarmed} of {given.others} rides 10 % off")
    console.print(table)


if __name__ == "__main__":
    main()
