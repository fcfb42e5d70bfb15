"""Tests of pneumo/scenario/inject.py: a fault changes the rows it should, by how much, no other.

Every verb of a fault is applied to the demo ride; what is compared is the whole network.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pneumo.circuit.sentence import FaultSpec
from pneumo.circuit.validate import load
from pneumo.components.common_faults import hole_conductance
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.scenario.inject import FROZEN_LAG, Overrides, Standing, mode_of, struck

RIDE = Path(__file__).parents[2] / "circuits" / "sand_martin.yaml"

Change = tuple[str, int, str]
"""Table, row and field."""

BAR = 1e5


@cache
def ride() -> Compiled:
    """The demo ride, every part on its own."""
    return compile_circuit(load(RIDE), None)


def after(*faults: tuple[str, str, float]) -> tuple[Any, Overrides]:
    """Network and overrides with faults (component, mode, severity)."""
    compiled = ride()
    specs = [FaultSpec(name, mode, severity) for name, mode, severity in faults]
    return struck(
        compiled,
        [Standing(s, mode_of(compiled, s), f[2]) for s, f in zip(specs, faults, strict=True)],
    )


def changes(*faults: tuple[str, str, float]) -> dict[Change, tuple[float, float]]:
    """What faults change in the tables of the network: place -> (before, after)."""
    network, _ = after(*faults)
    found: dict[Change, tuple[float, float]] = {}
    for table, before, now in zip(network._fields, ride().network, network, strict=True):
        names = getattr(before, "dtype", None) and before.dtype.names
        for field in names or ():
            for i in np.flatnonzero(before[field] != now[field]).tolist():
                found[table, i, field] = float(before[field][i]), float(now[field][i])
    return found


def row_of(name: str, kind: str) -> int:
    """Row of a part in a table."""
    return int(getattr(ride().parts[name], kind))


def path_of(name: str, label: str) -> int:
    """Row of a path of a part."""
    return int(ride().parts[name].restrictions[label])


def test_tired_springs_lose_force_and_rate_alike() -> None:
    row = row_of("block_brake_3", "mover")
    found = changes(("block_brake_3", "spring-weak", 0.25))
    assert set(found) == {("mover", row, "spring_force"), ("mover", row, "spring_rate")}
    for before, now in found.values():
        assert before > 0.0 and now == pytest.approx(0.75 * before)


def test_two_faults_of_the_springs_add_up() -> None:
    row = row_of("block_brake_3", "mover")
    found = changes(("block_brake_3", "spring-weak", 0.5), ("block_brake_3", "spring-broken", 0.5))
    before, now = found["mover", row, "spring_rate"]
    assert now == pytest.approx(0.25 * before)


def test_worn_linings_move_the_fin_away() -> None:
    row = row_of("trim_brake_1", "mover")
    ((place, (before, now)),) = changes(("trim_brake_1", "lining-worn", 0.001)).items()
    skis = ride().circuit.components["trim_brake_1"].bladders  # type: ignore[attr-defined]
    assert place == ("mover", row, "high")
    assert now - before == pytest.approx(0.001 * 2.0 / skis)


def test_a_leak_is_one_path_to_the_air_and_the_next_another() -> None:
    slot = ride().leak_slots[0]
    found = changes(("trim_hose_2", "leak", 0.002))
    assert {place[:2] for place in found} == {("restriction", slot)}
    assert {place[2] for place in found} <= {"a", "b", "conductance", "critical", "open_max"}
    network, _ = after(("trim_hose_2", "leak", 0.002), ("block_hose_1", "leak", 0.004))
    for slot, name, bore in zip(
        ride().leak_slots, ("trim_hose_2", "block_hose_1"), (0.002, 0.004), strict=False
    ):
        row = network.restriction[slot]
        assert row["a"] in ride().parts[name].ports.values()
        assert row["b"] == network.dynamic and row["open_max"] == 1.0
        assert row["conductance"] == pytest.approx(hole_conductance(bore))
        own = network.node[row["a"]]
        assert network.column_restriction[slot, :2].tolist() == [own["mass"], own["energy"]]


def test_a_leak_at_a_bladder_knows_the_ski_that_changes_its_volume() -> None:
    network, _ = after(("trim_brake_1", "bladder-pinhole", 0.001))
    slot = ride().leak_slots[0]
    mover = network.mover[row_of("trim_brake_1", "mover")]
    assert network.column_restriction[slot, 2] == mover["x"]


def test_a_blockage_leaves_the_rest_of_the_opening() -> None:
    row = path_of("trim_silencer_a", next(iter(ride().parts["trim_silencer_a"].restrictions)))
    for fraction in (0.25, 1.0):
        network, _ = after(("trim_silencer_a", "blocked", fraction))
        before, now = ride().network.restriction[row], network.restriction[row]
        assert now["open_max"] == pytest.approx((1.0 - fraction) * before["open_max"])
        assert now["open_min"] <= now["open_max"]
        others = [f for t, i, f in changes(("trim_silencer_a", "blocked", fraction)) if i != row]
        assert others == []


def test_a_check_valve_that_does_not_seat_stays_open_by_its_share() -> None:
    row = path_of("trim_check", next(iter(ride().parts["trim_check"].restrictions)))
    ((place, (before, now)),) = changes(("trim_check", "stuck-open", 0.3)).items()
    assert place == ("restriction", row, "open_min")
    assert (before, now) == (0.0, pytest.approx(0.3))


@pytest.mark.parametrize(("mode", "sign"), [("drift-high", 1.0), ("drift-low", -1.0)])
def test_a_setting_drifts_by_what_is_said(mode: str, sign: float) -> None:
    ((place, (before, now)),) = changes(("trim_regulator", mode, 0.4 * BAR)).items()
    assert place == ("stem", row_of("trim_regulator", "stem"), "setting")
    assert now - before == pytest.approx(sign * 0.4 * BAR)
    ((place, (before, now)),) = changes(("relief", mode, 0.4 * BAR)).items()
    assert place[0] == "restriction" and place[2] == "threshold"
    assert now - before == pytest.approx(sign * 0.4 * BAR)


def test_a_weak_compressor_delivers_its_share() -> None:
    ((place, (before, now)),) = changes(("compressor_1", "weak", 0.4)).items()
    assert place == ("source", row_of("compressor_1", "source"), "delivery")
    assert now in (pytest.approx(0.4 * before), pytest.approx(0.6 * before))


def test_a_contact_drifts_at_both_its_ends() -> None:
    watch = ride().contacts[row_of("trim_charged", "contact")].watch
    found = changes(("trim_charged", "drift", 0.3 * BAR))
    assert set(found) == {("watch", watch, "makes"), ("watch", watch, "breaks")}
    for before, now in found.values():
        assert now - before == pytest.approx(0.3 * BAR)


def reading(network: Any, gauge: float) -> float:
    """What the header's transmitter reads at a pressure [Pa gauge both]."""
    row = network.lag[row_of("header_pressure", "lag")]
    ambient = ride().circuit.ambient.pressure
    return float(row["gain"]) * (gauge + ambient) + float(row["offset"]) - ambient


@pytest.mark.parametrize(
    ("faults", "expected"),
    [
        ([], lambda p: p),
        ([("drift", 0.5 * BAR)], lambda p: p + 0.5 * BAR),
        ([("gain", -0.1)], lambda p: 0.9 * p),
        ([("drift", 0.5 * BAR), ("gain", -0.1)], lambda p: 0.9 * (p + 0.5 * BAR)),
        ([("gain", -0.1), ("drift", 0.5 * BAR)], lambda p: 0.9 * p + 0.5 * BAR),
        ([("signal-lost", 1.0)], lambda p: -4.0 * BAR),  # a quarter of its 16 bar below zero
    ],
)
def test_a_transmitter_reads_wrong_as_said(
    faults: list[tuple[str, float]], expected: Callable[[float], float]
) -> None:
    network, _ = after(*(("header_pressure", mode, severity) for mode, severity in faults))
    for gauge in (0.0, 7.3 * BAR):
        assert reading(network, gauge) == pytest.approx(expected(gauge), abs=1.0)


def test_a_frozen_transmitter_no_longer_follows() -> None:
    ((place, (_, now)),) = changes(("header_pressure", "frozen", 1.0)).items()
    assert place == ("lag", row_of("header_pressure", "lag"), "lag")
    assert now == FROZEN_LAG


def test_what_faults_do_to_the_controls() -> None:
    spool = row_of("trim_valve_a", "spool")
    watch = ride().contacts[row_of("trim_open_1", "contact")].watch

    def overrides(component: str, mode: str, severity: float = 1.0) -> Overrides:
        found = after((component, mode, severity))
        assert changes((component, mode, severity)) == {}, "the network is as it was"
        return found[1]

    valve = "trim_valve_a"
    assert overrides(valve, "stuck") == Overrides(spool_held={spool: None})
    assert overrides(valve, "stuck-rest") == Overrides(spool_held={spool: 0.0})
    assert overrides(valve, "stuck-shifted") == Overrides(spool_held={spool: 1.0})
    assert overrides(valve, "uncommanded-shift") == Overrides(spool_forced={spool: 1.0})
    assert overrides(valve, "slow", 3.0) == Overrides(spool_slow={spool: 3.0})
    assert overrides(valve, "coil-open") == Overrides(coil_forced={(valve, "14"): False})
    assert overrides(valve, "output-stuck-on") == Overrides(coil_forced={(valve, "14"): True})
    assert overrides("compressor_1", "stopped") == Overrides(off={"compressor_1"})
    assert overrides("compressor_1", "never-unloads") == Overrides(never_unload={"compressor_1"})
    assert overrides("feed_a", "lost") == Overrides(off={"feed_a"})
    assert overrides("trim_open_1", "stuck-on") == Overrides(contact_held={watch: True})
    assert overrides("trim_open_1", "stuck-off") == Overrides(contact_held={watch: False})


def test_a_valve_that_is_slow_twice_is_slow_by_both() -> None:
    _, found = after(("trim_valve_a", "slow", 3.0), ("trim_valve_a", "slow", 2.0))
    assert list(found.spool_slow.values()) == [6.0]


def test_the_healthy_network_is_left_as_it_was() -> None:
    before = [np.copy(table) for table in ride().network if isinstance(table, np.ndarray)]
    after(("trim_brake_1", "spring-weak", 0.5), ("trim_hose_2", "leak", 0.002))
    now = [table for table in ride().network if isinstance(table, np.ndarray)]
    assert all(np.array_equal(a, b) for a, b in zip(before, now, strict=True))
