"""The right-hand side against a gate written a second time, sound and with faults."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from independent_gate import DOCUMENT, FAULTY, PLACES, SOUND, rates
from plant_toys import rates_at

from pneumo.circuit.validate import load_text
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.scenario.play import Play

UNTIL = 3.0


@cache
def played(scenario: str) -> tuple[Compiled, Play]:
    compiled = compile_circuit(load_text(DOCUMENT, "independent gate"), frozenset(["ram"]))
    play = Play(compiled)
    play.plant.record(0.03, UNTIL)
    play.schedule(compiled.circuit.scenarios[scenario].events)
    play.advance(UNTIL)
    return compiled, play


@pytest.mark.parametrize(("scenario", "wrong"), [("sound", SOUND), ("faults", FAULTY)])
def test_the_rates_are_those_of_the_independent_gate(
    scenario: str, wrong: dict[str, float]
) -> None:
    """At every recorded state, the spool anywhere."""
    compiled, play = played(scenario)
    network = play.plant.network
    rows = {}
    for name, (component, place) in PLACES.items():
        parts = compiled.parts[component]
        rows[name] = network.node[{**parts.ports, **parts.nodes}[place]]
    mover = network.mover[compiled.parts["ram"].mover]
    spool = network.spool[compiled.parts["valve"].spool]
    moved = held = 0
    for number, y in enumerate(play.plant.samples.rows):
        spool["position"] = (number % 8) / 7.0
        gas = {name: (float(y[row["mass"]]), float(y[row["energy"]])) for name, row in rows.items()}
        x, v = float(y[mover["x"]]), float(y[mover["v"]])
        expected, acceleration = rates(gas, x, v, float(spool["position"]), wrong)
        found = rates_at(network, y, 0.0)
        for name, row in rows.items():
            mass, energy = gas[name]
            into, heat = expected[name]
            assert found[row["mass"]] == pytest.approx(into, rel=1e-9, abs=1e-9 * mass), name
            assert found[row["energy"]] == pytest.approx(heat, rel=1e-9, abs=1e-9 * energy), name
        assert found[mover["v"]] == pytest.approx(acceleration, rel=1e-9, abs=1e-7)
        moved, held = moved + (acceleration != 0.0), held + (acceleration == 0.0)
    assert moved > 30 and held > 3


def test_the_spool_moves_when_its_times_say() -> None:
    """21 ms after the override is held it starts, 22 ms later it has arrived; 37 ms back."""
    compiled, _ = played("sound")
    play = Play(compiled)
    play.schedule(compiled.circuit.scenarios["sound"].events)
    corners = ((0.121, 0.0), (0.132, 0.5), (0.143, 1.0), (1.637, 1.0), (1.648, 0.5), (1.659, 0.0))
    for time, position in corners:
        play.advance(time)
        assert play.actors.spools.position(play.plant, "valve") == pytest.approx(position, abs=1e-9)


def test_the_gate_opens_and_closes_with_its_air() -> None:
    compiled, play = played("sound")
    x = play.plant.samples.rows[:, play.plant.network.mover[compiled.parts["ram"].mover]["x"]]
    assert x[0] < 1e-4 and np.max(x) > 0.1 and x[-1] < np.max(x)
