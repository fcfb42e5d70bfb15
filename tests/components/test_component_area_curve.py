"""The area of a bladder as a curve over its stroke: what is read, and what the plant is made of."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from component_toys import BRAKE, Ledger, lowered, variant
from pydantic import ValidationError

from pneumo.circuit.symmetry import equivalents
from pneumo.circuit.validate import load_text
from pneumo.components.area_curve import AreaCurve
from pneumo.components.fitting import PORT_VOLUME
from pneumo.components.kinds.bladder_brake import BladderBrake
from pneumo.errors import DocumentError
from pneumo.network.network import MOVER, Array
from pneumo.network.network import chamber as chamber_at

CURVE = {"0 mm": "262 cm2", "2 mm": "259 cm2", "4 mm": "252 cm2", "10 mm": "244 cm2",
         "25 mm": "210 cm2"}  # fmt: skip
STROKES = np.array([0.0, 2e-3, 4e-3, 10e-3, 25e-3])
AREAS = np.array([262.0, 259.0, 252.0, 244.0, 210.0]) * 1e-4
BY_CURVE = {key: value for key, value in BRAKE.items() if key != "area"}


def brake(curve: dict[str, str] | None = None, **parameters: str) -> BladderBrake:
    given: Any = {"spring": "open", **BY_CURVE, "area_curve": curve or CURVE, **parameters}
    found = variant("bladder_brake", given)
    assert isinstance(found, BladderBrake)
    return found


def area_by_hand(stroke: Array) -> Array:
    """Straight lines between the points; the first goes on below 0."""
    below = AREAS[0] + (AREAS[1] - AREAS[0]) / STROKES[1] * stroke
    return np.where(stroke < 0.0, below, np.interp(stroke, STROKES, AREAS))


def law(ledger: Ledger, x: Array) -> tuple[Array, Array, Array]:
    """Area, its slope and the volume of the node with the mover at x, as the kernels have them."""
    chamber = ledger.movers[0]["chambers"][0]
    row = np.zeros(1, dtype=MOVER).view(np.recarray)[0]
    row.area_0, row.slope_0, row.count_0 = chamber.area, chamber.slope, chamber.count
    row.direction_0, row.knots = chamber.direction, len(chamber.bends)
    for k, place in enumerate(chamber.bends):
        row.knot[k], row.bend[k] = place
    count, area, slope, swept = chamber_at(row, 0, x)
    pushes = chamber.direction
    return pushes * area, pushes * slope, ledger.volumes[chamber.node] + count * swept


@pytest.mark.parametrize("spring", ["open", "close"])
@pytest.mark.parametrize("bladders", [1, 2])
def test_the_plant_has_the_area_of_the_curve_and_its_integral_as_volume(
    spring: str, bladders: int
) -> None:
    """From the retracted ski to where the skis meet without a fin."""
    ledger = lowered(brake(spring=spring, bladders=str(bladders), gap="6 mm"))
    contact, furthest = 6e-3 / bladders, 16e-3 / bladders
    x = np.linspace(0.0, furthest, 40_001)
    stroke = x if spring == "open" else contact - x
    area, _, volume = law(ledger, x)
    np.testing.assert_allclose(area, area_by_hand(stroke), rtol=1e-13)
    # flattest where it is shortest: retracted, or closed on no fin
    swept = np.concatenate([[0.0], np.cumsum(0.5 * (area[1:] + area[:-1]) * np.diff(x))])
    air = swept if spring == "open" else swept[-1] - swept
    np.testing.assert_allclose(volume, PORT_VOLUME + bladders * (2e-4 + air), rtol=1e-9)
    # and the slope is that of the area
    middle = 0.5 * (x[1:] + x[:-1])
    difference = (law(ledger, middle + 1e-9)[0] - law(ledger, middle - 1e-9)[0]) / 2e-9
    straight = np.abs(middle[:, None] - np.array([0.0, *(c for c, _ in _bends(ledger))])).min(1)
    far = straight > 1e-8
    np.testing.assert_allclose(law(ledger, middle)[1][far], difference[far], rtol=1e-5)


def _bends(ledger: Ledger) -> tuple[tuple[float, float], ...]:
    bends: tuple[tuple[float, float], ...] = ledger.movers[0]["chambers"][0].bends
    return bends


@pytest.mark.parametrize("spring", ["open", "close"])
def test_two_points_are_the_even_loss(spring: str) -> None:
    even = {"area": "262 cm2", "area_loss": "20 %", "full_stroke": "25 mm"}
    one = lowered(variant("bladder_brake", {"spring": spring, **BY_CURVE, **even}))
    two = lowered(brake({"0 mm": "262 cm2", "25 mm": "209.6 cm2"}, spring=spring))
    x = np.linspace(-1e-3, 3e-3 + 5e-3 + 4e-3, 1001)
    for found, expected in zip(law(two, x), law(one, x), strict=True):
        np.testing.assert_allclose(found, expected, rtol=1e-12)
    names = set(one.movers[0]) - {"chambers"}
    assert {k: two.movers[0][k] for k in names} == {k: one.movers[0][k] for k in names}


def test_beyond_its_last_point_the_area_stays() -> None:
    curve = AreaCurve(zip(STROKES.tolist(), AREAS.tolist(), strict=True))
    assert curve.area_at(0.03) == curve.area_at(0.025) == AREAS[-1]
    ledger = lowered(brake())
    area, slope, _ = law(ledger, np.array([0.025, 0.03]))
    np.testing.assert_allclose(area, AREAS[-1], rtol=1e-13)
    assert slope[1] == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize(
    ("spring", "bladders", "volume"),
    [("open", 1, "0.21 L"), ("open", 2, "0.21 L"), ("close", 1, "0.28 L"), ("close", 2, "0.24 L")],
)
def test_a_worn_brake_without_fin_keeps_air_in_a_bladder_of_any_curve(
    spring: str, bladders: int, volume: str
) -> None:
    """Also one whose area rises steeply as it is pressed flatter than its shortest stroke."""
    steep = brake(
        {"0 mm": "300 cm2", "1 mm": "285 cm2", "25 mm": "200 cm2"},
        spring=spring, bladders=str(bladders), spring_force="12 kN", bladder_volume=volume,
    )  # fmt: skip
    ledger = lowered(steep)
    (mover,) = ledger.movers
    worn = next(mode for mode in steep.fault_modes() if mode.name == "lining-worn")
    assert worn.severity is not None
    wear = worn.severity.high * 2.0 / bladders
    sunk = (mover["spring_force"]) / mover["high_stiffness"]
    furthest = mover["high"] + mover["fin_thickness"] / 2.0 + wear + sunk
    reached = np.linspace(0.0, furthest, 101)
    assert (law(ledger, reached)[2] > PORT_VOLUME).all()


@pytest.mark.parametrize(
    ("curve", "place", "words"),
    [
        ("262 cm2", (), "where a curve belongs"),
        (["0 mm"], (), "Found a list where a curve belongs"),
        ({}, (), "has 0 points. Give 2 to 16"),
        ({"0 mm": "262 cm2"}, (), "has 1 point. Give 2 to 16, like {0 mm: "),
        ({f"{i} mm": "262 cm2" for i in range(17)}, (), "has 17 points. Give 2 to 16"),
        ({"0 mm": "262 cm2", "25": "240 cm2"}, ("25",), "'25' has no unit"),
        ({"0 mm": "262 cm2", "25 mm": "240"}, ("25 mm",), "'240' has no unit"),
        ({"0 mm": "262 cm2", "25 bar": "240 cm2"}, ("25 bar",), "does not fit a distance"),
        ({"0 mm": "262 cm2", "25 mm": "24 kN"}, ("25 mm",), "does not fit an area"),
        ({"0 mm": "262 cm2", "-1 mm": "240 cm2"}, ("-1 mm",), "from 0 mm to 500 mm"),
        ({"0 mm": "262 cm2", "2 m": "240 cm2"}, ("2 m",), "from 0 mm to 500 mm"),
        ({"0 mm": "262 cm2", "25 mm": "0 cm2"}, ("25 mm",), "from 0.5 cm2 to 5000 cm2"),
        ({"0 mm": "262 cm2", "25 mm": ["a"]}, ("25 mm",), "Found a list where an area belongs"),
        ({"0 mm": "262", "5 cm2": "", "25 mm": "240 cm2"}, ("0 mm",), "use a decimal point"),
        ({"1 mm": "262 cm2", "25 mm": "240 cm2"}, ("1 mm",), "begins at 1 mm. Begin at 0 mm"),
        ({"0 mm": "262 cm2", "0 cm": "240 cm2"}, ("0 cm",), "in order of stroke, each once"),
        ({"0 mm": "262 cm2", "25 mm": "240 cm2", "1 cm": "238 cm2"}, ("1 cm",),
         "10 mm comes after 25 mm"),
        ({"0 mm": "240 cm2", "25 mm": "262 cm2"}, ("25 mm",),
         "rises from 240 cm2 at 0 mm to 262 cm2 at 25 mm. A bladder loses area as it fills"),
        ({"0 mm": "262 cm2", "5 mm": "25.8 cm2", "25 mm": "24 cm2"}, ("5 mm",),
         "loses at most 16.2 cm2 in each mm"),
    ],
)  # fmt: skip
def test_a_curve_that_is_none_says_where_and_what_would_be_right(
    curve: Any, place: tuple[str, ...], words: str
) -> None:
    with pytest.raises(ValidationError) as caught:
        variant("bladder_brake", {"spring": "open", **BY_CURVE, "area_curve": curve})
    (error,) = caught.value.errors()
    assert error["loc"] == ("area_curve", *place)
    assert words in error["msg"]


@pytest.mark.parametrize(
    ("parameters", "field", "words"),
    [
        ({}, "area_curve", "It needs area or area_curve"),
        ({"area": "262 cm2", "area_curve": CURVE}, "area_curve", "Leave one of them out"),
        ({"area_loss": "10 %", "area_curve": CURVE}, "area_loss",
         "area_curve already says the area over the whole stroke"),
        ({"full_stroke": "25 mm", "area_curve": CURVE}, "full_stroke", "Leave full_stroke out"),
        ({"gap": "30 mm", "bladders": "1", "area_curve": CURVE}, "area_curve",
         "reaches 25 mm; a ski may travel 40 mm when the fin is absent. Give its area up to "
         "40 mm"),
        ({"gap": "30 mm", "bladders": "1", "area_curve": CURVE, "spring": "close"}, "area_curve",
         "a ski may travel 30 mm from the fin. Give its area up to 30 mm"),
        ({"contact_stiffness": "50 N/mm", "area_curve": CURVE}, "contact_stiffness",
         "Give a stiffer contact"),
    ],
)  # fmt: skip
def test_what_does_not_go_together_is_said_once(
    parameters: dict[str, Any], field: str, words: str
) -> None:
    with pytest.raises(ValidationError) as caught:
        variant("bladder_brake", {"spring": "open", **BY_CURVE, **parameters})
    (error,) = caught.value.errors()
    assert error["loc"] == (field,)
    assert words in error["msg"]


def test_an_area_that_is_wrong_is_not_asked_for_as_well() -> None:
    with pytest.raises(ValidationError) as caught:
        variant("bladder_brake", {"spring": "open", **BY_CURVE, "area": "wide"})
    assert [error["loc"] for error in caught.value.errors()] == [("area",)]


DOCUMENT = """\
ride: {name: curves}
components:
  supply: {kind: ideal_supply, pressure: 5 bar}
  brake:
    kind: bladder_brake
    spring: open
    area_curve:
      0 mm: 262 cm2
      10 mm: 250 cm2
      25 mm: 224 cm2
    spring_force: 2 kN
    spring_rate: 60 N/mm
connections: [supply.2 -> brake.1]
"""


def test_a_slip_is_told_with_its_own_line() -> None:
    load_text(DOCUMENT, "curves.yaml")
    with pytest.raises(DocumentError) as caught:
        load_text(DOCUMENT.replace("250 cm2", "270 cm2"), "curves.yaml")
    (finding,) = caught.value.findings
    assert str(finding).startswith("curves.yaml:9: error: brake.area_curve.10 mm: The area rises")


def test_a_curve_too_weak_for_its_springs_is_a_finding() -> None:
    """At 3.25 mm it has 258.1 cm2, which 5 bar makes 12.9 kN."""
    assert not [w for w in load_text(DOCUMENT, "curves.yaml").warnings if "Air cannot" in w.found]
    text = DOCUMENT.replace("2 kN", "12.8 kN").replace("curve:", "curve:  # of its maker")
    (found,) = [w for w in load_text(text, "curves.yaml").warnings if "Air cannot" in w.found]
    assert (found.component, found.field, found.line) == ("brake", "area_curve", 7)
    assert "pushes 12.90 kN against 12.99 kN of springs" in found.found


def test_branches_are_alike_when_their_curves_are() -> None:
    text = (Path(__file__).parents[2] / "circuits" / "01_spring_open_single.yaml").read_text(
        "utf-8"
    )
    curve = "area_curve: {0 mm: 250 cm2, 25 mm: 220 cm2}"
    both = text.replace("area: 250 cm2", curve)
    assert equivalents(load_text(both, "curves.yaml"))["brake_1"] == ("brake_1", "brake_2")
    first = both.index("  brake_{1..2}:")
    brake = both[first : both.index("  open_{1..2}:")]
    apart = brake.replace("{1..2}", "1") + brake.replace("{1..2}", "2").replace("220", "221")
    assert "brake_1" not in equivalents(load_text(both.replace(brake, apart), "curves.yaml"))


@pytest.mark.parametrize(
    ("parameters", "field", "words"),
    [
        ({"bladder_volume": "0.05 L", "spring_force": "8 kN"}, "contact_stiffness",
         "presses 0.06 L out of each bladder of 0.05 L"),
        ({"gap": "20 mm", "bladders": "1"}, "full_stroke",
         "reaches 25 mm; a ski may travel 30 mm"),
    ],
)  # fmt: skip
def test_a_default_has_to_fit_as_well(parameters: dict[str, str], field: str, words: str) -> None:
    """Soft enough to empty its bladder, or too short, also where nobody has written it."""
    with pytest.raises(ValidationError) as caught:
        variant("bladder_brake", {"spring": "close", **BRAKE, **parameters})
    (error,) = caught.value.errors()
    assert error["loc"] == (field,)
    assert words in error["msg"]
