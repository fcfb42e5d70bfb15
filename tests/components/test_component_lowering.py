"""Tests for the numbers components lower to: lines, supplies, switches, movers."""

from __future__ import annotations

import math
from typing import Any

import pytest
from component_toys import AMBIENT, Ledger, lowered, make

from pneumo.components.fitting import PORT_VOLUME
from pneumo.components.kinds.cylinder import CLEARANCE
from pneumo.components.line import WALL_FILM


@pytest.mark.parametrize(("segments", "count"), [(None, 3), ("1", 1), ("7", 7)])
def test_a_line_keeps_its_volume_length_and_wall_in_any_number_of_segments(
    segments: str | None, count: int
) -> None:
    given = {} if segments is None else {"segments": segments}
    ledger = lowered(make("pipe", length="25 m", bore="20 mm", **given))
    assert list(ledger.paths) == [f"segment {i + 1}" for i in range(count)]
    assert sum(path["length"] for path in ledger.paths.values()) == pytest.approx(25.0)
    volume = math.pi / 4.0 * 0.02**2 * 25.0
    assert sum(ledger.volumes.values()) == pytest.approx(volume, rel=1e-12)
    assert sum(heat or 0.0 for heat in ledger.heats.values()) == pytest.approx(
        WALL_FILM * math.pi * 0.02 * 25.0
    )
    at = ledger.ports["1"]
    for path in ledger.paths.values():
        assert path["a"] == at
        at = path["b"]
    assert at == ledger.ports["2"]


@pytest.mark.parametrize(
    ("length", "count"), [("0.8 m", 1), ("10 m", 1), ("10.1 m", 2), ("160 m", 16)]
)
def test_a_line_has_a_segment_for_each_ten_metres(length: str, count: int) -> None:
    assert len(lowered(make("pipe", length=length)).paths) == count


def test_filter_shares_its_bowl() -> None:
    ledger = lowered(make("filter", volume="0.3 L"))
    assert [v for n, v in ledger.volumes.items() if n] == pytest.approx([1.5e-4, 1.5e-4])


def test_compressor_is_rated_at_its_load_pressure_unless_told() -> None:
    (source,) = lowered(make("compressor")).sources
    assert source["rated_at"] == source["load_at"] == pytest.approx(AMBIENT + 8e5)
    assert source["delivery"] == pytest.approx(1.0 / 60.0)
    (source,) = lowered(make("compressor", rated_at="7 bar")).sources
    assert source["rated_at"] == pytest.approx(AMBIENT + 7e5)


def test_ideal_supply_is_switched_at_its_path() -> None:
    ledger = lowered(make("ideal_supply"))
    assert ledger.supplies == [0]
    assert ledger.paths["2"]["b"] == ledger.ports["2"]


def test_pressure_switch_breaks_below_where_it_makes() -> None:
    (contact,) = lowered(make("pressure_switch", set="5 bar", hysteresis="0.5 bar")).contacts
    assert contact["on_at"] == pytest.approx(AMBIENT + 5e5)
    assert contact["off_at"] == pytest.approx(AMBIENT + 4.5e5)


@pytest.mark.parametrize(
    ("reads", "end"),
    [("open", "low"), ("closed", "high"), ("retracted", "low"), ("extended", "high")],
)
def test_jaw_switch_reads_the_right_end(reads: str, end: str) -> None:
    (contact,) = lowered(make("jaw_switch", reads=reads)).contacts
    assert contact["of"] == "brake_1"
    assert contact["end"] == end


def chamber_volume(ledger: Ledger, mover: dict[str, Any], i: int, x: float) -> float:
    """Volume of the node behind a chamber with the mover at x [m3]: the kernel's formula."""
    chamber = mover["chambers"][i]
    swept = chamber.area * x + chamber.slope * x**2 / 2.0
    return float(ledger.volumes[chamber.node] + chamber.direction * chamber.count * swept)


def spring(mover: dict[str, Any], x: float) -> float:
    """Force of the springs towards larger x [N]."""
    return float(mover["spring_force"] - mover["spring_rate"] * x)


@pytest.mark.parametrize("bladders", [1, 2])
def test_spring_open_brake(bladders: int) -> None:
    brake = make("bladder_brake", spring="open", bladders=str(bladders), gap="6 mm")
    ledger = lowered(brake)
    (mover,) = ledger.movers
    contact = 0.006 / bladders
    assert (mover["high"], mover["start"]) == (pytest.approx(contact), 0.0)
    # at x = 0 the stop carries the springs: that is where the ski rests
    assert mover["low"] * mover["low_stiffness"] == pytest.approx(1500.0)
    # the springs push back, harder as the ski advances
    assert spring(mover, 0.0) == pytest.approx(-1500.0)
    assert spring(mover, contact) == pytest.approx(-1500.0 - 20e3 * contact)
    chamber = mover["chambers"][0]
    assert chamber.direction == 1.0
    assert chamber.count == bladders
    assert chamber.area == pytest.approx(0.03)
    assert chamber.area + chamber.slope * 0.025 == pytest.approx(0.027)  # 10 % less at full stroke
    assert chamber_volume(ledger, mover, 0, 0.0) == pytest.approx(PORT_VOLUME + bladders * 2e-4)
    mean = (0.03 + 0.03 * (1.0 - 0.1 * contact / 0.025)) / 2.0
    assert chamber_volume(ledger, mover, 0, contact) == pytest.approx(
        PORT_VOLUME + bladders * (2e-4 + mean * contact)
    )


@pytest.mark.parametrize("bladders", [1, 2])
def test_spring_close_brake(bladders: int) -> None:
    brake = make("bladder_brake", spring="close", bladders=str(bladders), gap="6 mm")
    ledger = lowered(brake)
    (mover,) = ledger.movers
    contact = 0.006 / bladders
    assert mover["start"] == mover["high"] == pytest.approx(contact)
    # the springs push closed, harder as the ski is opened
    assert spring(mover, contact) == pytest.approx(1500.0)
    assert spring(mover, 0.0) == pytest.approx(1500.0 + 20e3 * contact)
    chamber = mover["chambers"][0]
    assert chamber.direction == -1.0
    # whole area on the fin, falling as the ski opens
    assert chamber.area + chamber.slope * contact == pytest.approx(0.03)
    assert chamber.area == pytest.approx(0.03 * (1.0 - 0.1 * contact / 0.025))
    # flattest when the skis close on no fin: 10 mm of fin, shared by the skis that move
    flattest = contact + 0.01 / bladders
    assert mover["fin_thickness"] / 2.0 == pytest.approx(0.01 / bladders)
    assert chamber_volume(ledger, mover, 0, flattest) == pytest.approx(
        PORT_VOLUME + bladders * 2e-4
    )
    assert chamber_volume(ledger, mover, 0, 0.0) > chamber_volume(ledger, mover, 0, contact)


@pytest.mark.parametrize("bladders", [1, 2])
def test_a_worn_brake_without_fin_keeps_air_in_its_bladder(bladders: int) -> None:
    brake = make(
        "bladder_brake", spring="close", bladders=str(bladders), spring_force="12 kN",
        bladder_volume="0.15 L",
    )  # fmt: skip
    ledger = lowered(brake)
    (mover,) = ledger.movers
    worn = next(mode for mode in brake.fault_modes() if mode.name == "lining-worn")
    assert worn.severity is not None
    wear = worn.severity.high * 2.0 / bladders
    sunk = spring(mover, 0.0) / mover["high_stiffness"]
    furthest = mover["high"] + mover["fin_thickness"] / 2.0 + wear + sunk
    assert chamber_volume(ledger, mover, 0, furthest) > PORT_VOLUME


def test_cylinder_has_a_bore_and_an_annulus() -> None:
    ledger = lowered(make("cylinder", load="100 N"))
    (mover,) = ledger.movers
    cap, rod = mover["chambers"]
    bore, annulus = math.pi / 4 * 0.05**2, math.pi / 4 * (0.05**2 - 0.02**2)
    assert (cap.area, cap.direction) == (pytest.approx(bore), 1.0)
    assert (rod.area, rod.direction) == (pytest.approx(annulus), -1.0)
    assert (mover["high"], mover["start"]) == (pytest.approx(0.4), 0.0)
    assert spring(mover, 0.2) == -100.0
    for x, left_cap, left_rod in ((0.0, 0.0, 0.4), (0.4, 0.4, 0.0)):
        assert chamber_volume(ledger, mover, 0, x) == pytest.approx(
            PORT_VOLUME + bore * (CLEARANCE + left_cap)
        )
        assert chamber_volume(ledger, mover, 1, x) == pytest.approx(
            PORT_VOLUME + annulus * (CLEARANCE + left_rod)
        )


def test_cylinder_starts_where_it_is_told() -> None:
    (mover,) = lowered(make("cylinder", starts="extended")).movers
    assert mover["start"] == pytest.approx(0.4)


def test_a_sound_piston_seal_is_shut_at_any_pressure() -> None:
    ledger = lowered(make("cylinder"))
    law = ledger.paths["seal"]["pressure"]
    most = 1e7  # the highest pressure a document may state
    assert (law.hi_gain * most - law.threshold) / law.band < 0.0
    assert {ledger.paths["seal"]["a"], ledger.paths["seal"]["b"]} == set(ledger.ports.values())
