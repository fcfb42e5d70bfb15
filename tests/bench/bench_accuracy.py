"""How accurate a run is at a tolerance, against the same run at 1e-9 with one clock. By hand:

python tests/bench/bench_accuracy.py [DOCUMENT SCENARIO]
"""

from __future__ import annotations

import sys
from time import perf_counter

import numpy as np

from pneumo.circuit.shipped import find_document
from pneumo.circuit.validate import load
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play
from pneumo.scenario.signal import signals

GRID = 0.01
"""Pressures are compared on this grid [s]."""


def played(
    document: str, scenario: str, rtol: float, *, local: bool = True
) -> tuple[Play, np.ndarray, float]:
    """A finished run, its absolute pressures (signal, time), and how long it took [s]."""
    circuit = load(find_document(document))
    wanted = circuit.scenarios[scenario]
    play = Play(compile_circuit(circuit, (), local=local), rtol=rtol)
    play.plant.record(GRID, wanted.until)
    play.schedule(wanted.events)
    start = perf_counter()
    play.advance(wanted.until)
    taken = perf_counter() - start
    found = [signal.values for signal in signals(play) if signal.unit == "Pa"]
    return play, np.array(found) + circuit.ambient.pressure, taken


def main(document: str, scenario: str) -> None:
    """Prints one line per tolerance."""
    reference, exact, _ = played(document, scenario, 1e-9, local=False)
    for rtol in (1e-4, 3e-5, 1e-5, 1e-6):
        play, pressures, taken = played(document, scenario, rtol)
        worst = np.max(np.abs(pressures / exact - 1.0))
        both = [
            sorted(p.plant.log.crossings, key=lambda c: (c[1], c[0])) for p in (reference, play)
        ]
        same = [c[1:] for c in both[0]] == [c[1:] for c in both[1]]
        shift = max(abs(a[0] - b[0]) for a, b in zip(*both, strict=False))
        print(
            f"tolerance {rtol:g}: pressures within {worst:.1e}, "
            f"{'the same switching points' if same else 'OTHER SWITCHING POINTS'}, "
            f"within {shift * 1e6:.0f} us, {play.plant.steps[0]} steps, {taken:.2f} s"
        )


if __name__ == "__main__":
    main(*(sys.argv[1:] or ("sand_martin", "every zone cycles")))
