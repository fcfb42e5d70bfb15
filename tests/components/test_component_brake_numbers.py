"""What the numbers of a brake mean, by the balance of forces on a ski of a simulated one.

Closed forms: COMPUTED from Newton's first law, written here without the program's own terms.
"""

from __future__ import annotations

import pytest

from pneumo.circuit.validate import load_text
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play
from pneumo.scenario.signal import signals

AREA, LOSS, STROKE, GAP = 0.025, 0.2, 0.025, 6.5e-3
FORCE, RATE, STIFFNESS = 2e3, 6e4, 4e6


EVEN = "area: 250 cm2, area_loss: 20 %, full_stroke: 25 mm"
CURVE = "area_curve: {0 mm: 250 cm2, 2 mm: 246 cm2, 5 mm: 230 cm2, 25 mm: 150 cm2}"


def at_rest(spring: str, bladders: int, bar: float, area: str = EVEN) -> dict[str, float]:
    """Signals of a brake of one or two bladders that stands at a gauge pressure, by quantity."""
    text = f"""
ride: {{name: one brake}}
components:
  supply: {{kind: ideal_supply, pressure: {bar} bar}}
  brake: {{kind: bladder_brake, spring: {spring}, bladders: {bladders}, {area},
    gap: 6.5 mm, spring_force: 2 kN, spring_rate: 60 N/mm, friction: 0 N,
    contact_stiffness: 4 kN/mm}}
connections: [supply.2 -> brake.1]
"""
    play = Play(compile_circuit(load_text(text, "one brake")))
    play.plant.record(1.0, 2.0)
    play.advance(2.0)
    return {one.name.rpartition(" ")[2]: float(one.values[-1]) for one in signals(play)}


@pytest.mark.parametrize("bladders", [1, 2])
def test_area_and_springs_are_those_of_one_ski_of_a_spring_open_brake(bladders: int) -> None:
    """Each ski presses with pressure times the area of one bladder, less what is lost over its own
    stroke, less its springs, whose force is given at rest with the jaws open. The fin is met after
    half the gap by each of two skis, after all of it by the only one that moves."""
    found = at_rest("open", bladders, 5.0)
    travel = GAP / bladders + found["force"] / STIFFNESS
    air = found["pressure"] * AREA * (1.0 - LOSS * travel / STROKE)
    assert found["pressure"] == pytest.approx(5e5, rel=1e-6)
    assert found["force"] == pytest.approx(air - (FORCE + RATE * travel), rel=1e-4)
    assert found["force"] > 5e3


@pytest.mark.parametrize("bladders", [1, 2])
def test_the_gap_is_the_whole_of_it(bladders: int) -> None:
    """Open, a lining is half the gap away from the fin when both skis move."""
    assert at_rest("open", bladders, 1e-4)["gap"] == pytest.approx(GAP / bladders, abs=1e-5)


@pytest.mark.parametrize("bladders", [1, 2])
def test_springs_of_a_spring_close_brake_are_given_on_the_fin(bladders: int) -> None:
    """Without pressure each ski presses with spring_force, however long its way."""
    found = at_rest("close", bladders, 1e-4)
    sunk = found["force"] / STIFFNESS
    assert found["force"] == pytest.approx(FORCE - RATE * sunk, abs=1.0)


@pytest.mark.parametrize("bladders", [1, 2])
def test_a_spring_close_brake_part_way_open_is_in_balance(bladders: int) -> None:
    """Springs push harder by spring_rate as the ski leaves the fin, and the bladder loses area by
    the way from the fin."""
    bar = 0.85
    found = at_rest("close", bladders, bar)
    away = found["gap"]
    assert 1e-4 < away < GAP / bladders
    air = bar * 1e5 * AREA * (1.0 - LOSS * away / STROKE)
    assert air == pytest.approx(FORCE + RATE * away, rel=1e-4)


def by_curve(stroke: float) -> float:
    """Area of `CURVE` between its points [m2], by hand."""
    if stroke < 2e-3:
        return 250e-4 - 0.2 * stroke
    if stroke < 5e-3:
        return 246e-4 - 16e-4 / 3e-3 * (stroke - 2e-3)
    return 230e-4 - 0.4 * (stroke - 5e-3)


@pytest.mark.parametrize("bladders", [1, 2])
def test_a_spring_open_brake_presses_with_the_area_of_its_curve(bladders: int) -> None:
    """On the fin: at 3.25 mm and what the contact gives with two skis, at 6.5 mm with one."""
    found = at_rest("open", bladders, 5.0, CURVE)
    travel = GAP / bladders + found["force"] / STIFFNESS
    air = found["pressure"] * by_curve(travel)
    assert found["force"] == pytest.approx(air - (FORCE + RATE * travel), rel=1e-4)
    assert found["force"] > 5e3


@pytest.mark.parametrize(("bladders", "bar"), [(1, 0.9), (1, 1.05), (2, 0.87)])
def test_a_spring_close_brake_opens_with_the_area_of_its_curve(bladders: int, bar: float) -> None:
    """Part-way open its stroke is the way from the fin; both straight pieces and the bend between
    are met."""
    found = at_rest("close", bladders, bar, CURVE)
    away = found["gap"]
    assert 1e-4 < away < GAP / bladders
    assert bar * 1e5 * by_curve(away) == pytest.approx(FORCE + RATE * away, rel=1e-4)
