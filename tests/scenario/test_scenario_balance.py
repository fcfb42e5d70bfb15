"""Air and energy are neither made nor lost, whatever happens on the way."""

from __future__ import annotations

import numpy as np
import pytest
from play_toys import at, compiled, start

from pneumo.scenario.play import Play

FAULTS = (
    (1.0, "fault trim_hose_2 leak 3 mm over 2 s"),
    (2.0, "fault block_valve_a stuck-midway"),
    (3.0, "fault final_1_check stuck-open 0.3"),
    (4.0, "fault final_2_brake_1 bladder-burst"),
    (5.0, "fault station_regulator drift-high 1 bar"),
    (6.0, "fault compressor_1 stopped"),
    (7.0, "fault station_brake_2 jaw-seized"),
    (8.0, "fault storage_hose_1 leak 2 mm every 3 s for 1 s"),
    (9.0, "isolate final_1_shut_off"),
    (11.0, "clear final_2_brake_1 bladder-burst"),
    (14.0, "switch off soft_start"),
    (16.0, "switch off feed_a"),
)
STRUCK = (
    "trim_hose_2", "final_2_brake_1", "station_brake_2", "storage_hose_1",
)  # fmt: skip


def balances(play: Play) -> tuple[float, float, float, float]:
    """Air and energy of plant and surroundings together, and the amounts they are measured by."""
    network, y = play.network, play.position.y
    node = network.node
    inside, outside = node[: network.dynamic], node[network.dynamic :]
    mass = inside["count"] * y[inside["mass"]]
    energy = inside["count"] * y[inside["energy"]]
    air = mass.sum() + y[outside["mass"]].sum()
    held = energy.sum() + y[outside["energy"]].sum() + y[network.work] - y[network.heat]
    return air, held, mass.sum(), energy.sum()


@pytest.mark.parametrize("apart", [STRUCK, None], ids=["lumped", "every brake on its own"])
def test_air_and_energy_close(apart: tuple[str, ...] | None) -> None:
    """Over 20 s with every zone moving and a dozen faults: air to 1e-10, energy to 1e-8."""
    plan = compiled("sand_martin.yaml", apart)
    events = [event for time, text in FAULTS for event in at(plan, time, text)]
    play = start(plan, *events, scenario="every zone cycles")
    air, energy, mass, held = balances(play)
    before = play.position.y.copy()
    for time in np.arange(1.0, 20.5, 1.0):
        play.advance(float(time))
        now_air, now_energy, _, _ = balances(play)
        assert abs(now_air - air) < 1e-12 * mass
        assert abs(now_energy - energy) < 1e-12 * held
    # and it was not for lack of movement
    moved = np.abs(play.position.y - before)
    network = play.network
    assert moved[network.node[network.dynamic]["mass"]] > 0.01 * mass
    assert moved[network.heat] > 1e-3 * held
    assert moved[network.work] > 10.0
    assert play.steps[0] > 1000
