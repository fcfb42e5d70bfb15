"""Air and energy are neither made nor lost, whatever happens on the way."""

from __future__ import annotations

import numpy as np
import pytest
from ledger import ledger_total
from play_toys import BENCH, at, balances, bench, compiled, start

from pneumo.scenario.pressure import node_pressure
from pneumo.simulation.position import END

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


@pytest.mark.parametrize("local", [True, False], ids=["clocks of their own", "one clock"])
@pytest.mark.parametrize("apart", [STRUCK, None], ids=["represented", "every brake on its own"])
def test_air_and_energy_close(apart: tuple[str, ...] | None, local: bool) -> None:
    """Over 20 s with every zone moving and a dozen faults: to a few roundings, also where
    partitions are at different times and their balances are settled only as they meet."""
    plan = compiled("sand_martin.yaml", apart, local=local)
    events = [event for time, text in FAULTS for event in at(plan, time, text)]
    play = start(plan, *events, scenario="every zone cycles")
    air, energy, mass, held = balances(play)
    before = play.plant.state()
    uneven = 0
    for time in np.arange(0.9731, 20.5, 0.9731):
        play.advance(float(time))
        uneven += len(set(play.plant.position.partition[:, END].tolist())) > 1
        now_air, now_energy, _, _ = balances(play)
        assert abs(now_air - air) < 1e-12 * mass
        assert abs(now_energy - energy) < 1e-12 * held
    assert uneven > 10 if local else uneven == 0
    # and it was not for lack of movement
    network, moved = play.plant.network, play.plant.state() - before
    given = ledger_total(network, moved, network.node[network.dynamic]["mass"])
    assert abs(given) > 0.01 * mass
    assert abs(ledger_total(network, moved, network.heat)) > 1e-3 * held
    assert abs(ledger_total(network, moved, network.work)) > 10.0
    assert play.plant.steps[0] > 1000


def test_air_and_energy_close_where_the_area_follows_a_curve() -> None:
    """Two brakes over the bends of their curve, there and back; the work is what pressure does
    over the volume that the curve gives."""
    curve = "area_curve: {0 mm: 300 cm2, 0.5 mm: 296 cm2, 2 mm: 291 cm2, 25 mm: 240 cm2}"
    plan = bench(BENCH.replace("area: 300 cm2", curve))
    texts = ((0.1, "open block"), (1.5, "close block"), (2.6, "open block"))
    play = start(plan, *(event for time, text in texts for event in at(plan, time, text)))
    air, energy, mass, held = balances(play)
    play.plant.record(2e-4, 3.0)
    for time in np.arange(0.0731, 3.0, 0.0731):
        play.advance(float(time))
        now_air, now_energy, _, _ = balances(play)
        assert abs(now_air - air) < 1e-12 * mass
        assert abs(now_energy - energy) < 1e-12 * held
    # the two are integrated as one
    network, states = play.plant.network, play.plant.samples.filled(play.now)
    n = plan.parts["brake_1"].ports["1"]
    x = states[:, network.mover[network.node[n]["mover"]]["x"]]
    stroke = 3.25e-3 - x
    strokes, areas = np.array([0.0, 0.5, 2.0, 25.0]) * 1e-3, np.array([300, 296, 291, 240]) * 1e-4
    area = np.interp(stroke, strokes, areas)
    area[stroke < 0.0] = areas[0] - 0.8 * stroke[stroke < 0.0]  # as between the first two points
    p = node_pressure(network, states, n)
    work = 2.0 * 2.0 * 0.5 * ((p * area)[1:] + (p * area)[:-1]) * np.diff(stroke)
    done = np.array([ledger_total(network, y, network.work) for y in (states[0], states[-1])])
    assert done[1] - done[0] == pytest.approx(work.sum(), rel=1e-3)
    assert np.abs(work).sum() > 500.0
    assert stroke.max() > 3e-3 and stroke.min() < -5e-4
