"""Gates are moved to find what is wrong with them, as zones are."""

from __future__ import annotations

from diagnosis_rides import Bench

GATES = "10_station_gates"

PARTS = (
    "cap_flow_1", "cap_flow_2", "opening", "closing", "rod_flow_1", "rod_flow_2", "gate_1",
    "gate_2", "valve",
)  # fmt: skip


def test_a_leak_that_only_open_gates_feed_is_told_from_those_beside_it() -> None:
    bench = Bench(*PARTS, ride=GATES)
    bench.operate(("open station_gates", "close station_gates") * 2, "cap_flow_1 leak 6 mm", 12.0)
    opinion = bench.solve()
    assert opinion.answers[0].spot.component == "cap_flow_1"
    assert opinion.answers[0].share > 0.8
