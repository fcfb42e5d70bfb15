"""Tests of pneumo/scenario/inject.py: a fault changes the rows it should, by how much, no other.

Every verb of a fault is applied to the demo ride; what is compared is the whole network.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import pytest
from documents import CIRCUITS, replaced, shipped_text

from pneumo.air import ORIFICE_CRITICAL
from pneumo.circuit.action import FaultSpec
from pneumo.circuit.validate import load, load_text
from pneumo.components.common_faults import hole_conductance
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.network.network import READING
from pneumo.scenario.inject import FROZEN_LAG, Overrides, Standing, injected, mode_of

RIDE = CIRCUITS / "sand_martin.yaml"

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
    return injected(
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


def test_a_seized_jaw_is_moved_by_nothing() -> None:
    row = row_of("block_brake_3", "mover")
    ((place, (_, now)),) = changes(("block_brake_3", "jaw-seized", 1.0)).items()
    assert place == ("mover", row, "static") and now == np.inf


@pytest.mark.parametrize("times", [1, 2])
def test_dragging_comes_on_top_of_the_friction_there_is(times: int) -> None:
    row = row_of("block_brake_3", "mover")
    found = changes(*[("block_brake_3", "jaw-dragging", 700.0)] * times)
    assert set(found) == {("mover", row, "friction"), ("mover", row, "static")}
    for before, now in found.values():
        assert before > 0.0 and now - before == pytest.approx(times * 700.0)


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
        assert row["critical"] == pytest.approx(ORIFICE_CRITICAL)


def drained(*names: str, leaks: int = 0) -> list[Any]:
    """The rows of the slots, in order, with vessels whose drains are open and leaks of one hose."""
    compiled = ride()
    spec = FaultSpec("trim_hose_2", "leak", 0.002)
    standing = [Standing(spec, mode_of(compiled, spec), 0.002)] * leaks
    network, _ = injected(compiled, standing, names)
    return [network.restriction[slot] for slot in compiled.leak_slots]


def test_an_open_drain_is_a_hole_of_4_mm_at_the_vessel_that_no_leak_moves() -> None:
    closed = drained()
    for leaks in (0, 1, 2):
        rows = drained("receiver", "after_filter", leaks=leaks)
        assert [row["conductance"] > 0.0 for row in rows] == [
            i < leaks or i >= len(rows) - 2 for i in range(len(rows))
        ]
        # a filter's bowl is on its inlet side
        for row, vessel, port in ((rows[-1], "receiver", "1"), (rows[-2], "after_filter", "1")):
            assert row["a"] == ride().parts[vessel].ports[port]
            assert row["b"] == ride().network.dynamic
            assert row["conductance"] == pytest.approx(hole_conductance(0.004))
    assert not any(row["conductance"] for row in closed)


def test_a_line_that_ends_in_the_open_leaks_nothing_there() -> None:
    text = replaced(
        shipped_text("02_spring_close_single"),
        ("silencer: {kind: silencer, C: 10 L/(s·bar), b: 0.4}",
         "silencer: {kind: pipe, length: 1 m, bore: 9 mm}"),
        ("  - valve.3 -> silencer.1", "  - silencer.2 -> atmosphere\n  - valve.3 -> silencer.1"),
    )  # fmt: skip
    compiled = compile_circuit(load_text(text, "open.yaml"), None)
    specs = [FaultSpec("silencer", "burst"), FaultSpec("hose_1", "leak", 0.002)]
    network, _ = injected(compiled, [Standing(s, mode_of(compiled, s), 0.002) for s in specs])
    first, *others = (network.restriction[slot] for slot in compiled.leak_slots)
    assert first["a"] == compiled.parts["hose_1"].ports["2"]
    assert all(row["conductance"] == 0.0 for row in others)


def test_a_leak_at_a_bladder_knows_the_ski_that_changes_its_volume() -> None:
    network, _ = after(("trim_brake_1", "bladder-pinhole", 0.001), ("trim_shut_off", "leak", 0.001))
    at_bladder, elsewhere = ride().leak_slots[:2]
    mover = network.mover[row_of("trim_brake_1", "mover")]
    assert network.column_restriction[at_bladder, 2] == mover["x"]
    assert network.column_restriction[elsewhere, 2] == -1


def test_a_blockage_leaves_the_rest_of_the_opening() -> None:
    row = path_of("trim_silencer_a", next(iter(ride().parts["trim_silencer_a"].restrictions)))
    for fraction in (0.25, 1.0):
        network, _ = after(("trim_silencer_a", "blocked", fraction))
        before, now = ride().network.restriction[row], network.restriction[row]
        assert now["open_max"] == pytest.approx((1.0 - fraction) * before["open_max"])
        assert now["open_min"] <= now["open_max"]
        others = [f for t, i, f in changes(("trim_silencer_a", "blocked", fraction)) if i != row]
        assert others == []


def test_what_is_blocked_twice_passes_the_share_of_the_share() -> None:
    row = path_of("trim_silencer_a", next(iter(ride().parts["trim_silencer_a"].restrictions)))
    network, _ = after(*[("trim_silencer_a", "blocked", 0.5)] * 2)
    whole = ride().network.restriction[row]["open_max"]
    assert network.restriction[row]["open_max"] == pytest.approx(0.25 * whole)


@pytest.mark.parametrize("order", [1, -1])
def test_what_does_not_seat_opens_no_further_than_a_blockage_leaves(order: int) -> None:
    faults = (("trim_check", "stuck-open", 0.5), ("trim_check", "blocked", 0.8))[::order]
    row = path_of("trim_check", next(iter(ride().parts["trim_check"].restrictions)))
    network, _ = after(*faults)
    found = network.restriction[row]
    assert (found["open_min"], found["open_max"]) == (pytest.approx(0.2), pytest.approx(0.2))


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
    assert set(found) == {("watch", watch, "on_at"), ("watch", watch, "off_at")}
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


def test_a_lost_signal_is_below_the_range_of_its_own_transmitter() -> None:
    network, _ = after(("storage_pressure", "signal-lost", 1.0))
    row = network.lag[row_of("storage_pressure", "lag")]
    ambient = ride().circuit.ambient.pressure
    assert row["gain"] == 0.0 and row["offset"] - ambient == pytest.approx(-2.5 * BAR)  # of 10


def low_pressure(network: Any) -> tuple[float, float]:
    """Pressures in the store below which the storage zone's watch sees low pressure, and above
    which it no longer does [Pa]; -inf, inf: whatever it is."""
    (w,) = (
        w
        for w, row in enumerate(ride().network.watch)
        if row["signal"] == READING and row["index"] == row_of("storage_pressure", "lag")
    )
    row = network.watch[w]
    if row["gain"] == 0.0:
        low = row["offset"] >= row["on_at"]
        return (np.inf, np.inf) if low else (-np.inf, -np.inf)
    assert row["gain"] < 0.0, "it is ON when the pressure is low"
    return (
        float((row["on_at"] - row["offset"]) / row["gain"]),
        float((row["off_at"] - row["offset"]) / row["gain"]),
    )


def test_a_wrong_reading_is_what_the_logic_watches_for_low_pressure() -> None:
    lowest = ride().circuit.ambient.pressure  # of its range
    healthy = low_pressure(ride().network)

    def watched(*faults: tuple[str, float]) -> tuple[float, float]:
        return low_pressure(after(*(("storage_pressure", *fault) for fault in faults))[0])

    assert watched(("drift", 0.5 * BAR)) == pytest.approx([p - 0.5 * BAR for p in healthy])
    slack = [(p - lowest) / 0.9 + lowest for p in healthy]
    assert watched(("gain", -0.1)) == pytest.approx(slack)
    assert watched(("drift", 0.5 * BAR), ("gain", -0.1)) == pytest.approx(
        [p - 0.5 * BAR for p in slack]
    )
    assert watched(("signal-lost", 1.0)) == (np.inf, np.inf)
    for name in ("storage_pressure", "header_pressure"):  # which nobody watches
        found = changes((name, "drift", 0.5 * BAR))
        assert sum(table == "watch" for table, _, _ in found) == (name == "storage_pressure")


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
    assert overrides(valve, "stuck-actuated") == Overrides(spool_held={spool: 1.0})
    assert overrides(valve, "uncommanded-actuation") == Overrides(spool_forced={spool: 1.0})
    assert overrides(valve, "pilot-lost") == Overrides(pilot_lost={spool})
    assert overrides(valve, "slow", 3.0) == Overrides(spool_slow={spool: 3.0})
    assert overrides(valve, "coil-open") == Overrides(coils_open={(valve, "14")})
    assert overrides(valve, "output-stuck-on") == Overrides(output_forced={(valve, "14"): True})
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
