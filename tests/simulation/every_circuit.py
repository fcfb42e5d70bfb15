"""Plays every circuit of a folder through commands, losses and faults; for kernels that check."""

from __future__ import annotations

import random
import sys
from pathlib import Path

from pneumo.circuit.circuit import Event
from pneumo.circuit.validate import load
from pneumo.errors import InputError
from pneumo.live.journal import read_act
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play

SAID = ["open all", "close all", "ride stop", "acknowledge all", "reset all", "power off",
        "power on"]  # fmt: skip


def played(path: Path) -> Play:
    """A run with the same acts each time, some of them within a step of each other."""
    circuit = load(path)
    faults = [
        f"fault {name} {mode.name}{'' if mode.severity is None else ' over 1 s'}"
        for name, component in circuit.components.items()
        for mode in component.fault_modes()
    ]
    draw = random.Random(1)
    time, events = 0.5, []
    for said in [*SAID, *draw.sample(faults, min(len(faults), 8)), *SAID[:2] * 2]:
        time = round(time + draw.choice([0.02, 0.1, 0.4, 0.9]), 3)
        try:
            events.append(Event(time, read_act(circuit, said, time)[1]))
        except InputError:
            continue  # not every circuit has all of it
    assert len(events) > len(SAID)
    play = Play(compile_circuit(circuit))
    play.schedule(events)
    play.advance(2.0)
    later = play.snapshot()
    for second in range(int(time) + 3):
        later.advance(2.0 + second)
        later.plant.state()
    return later


if __name__ == "__main__":
    for document in sorted(Path(sys.argv[1]).glob("*.yaml")):
        print(document.stem, played(document).now)
