"""Quantities: what is read, what is refused and how, and that writing and reading agree."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from pneumo import units
from pneumo.harmless import first_acting
from pneumo.quantity import STANDARD_AMBIENT_PRESSURE, QuantityError
from pneumo.units import QUANTITIES


@pytest.mark.parametrize(
    ("quantity", "text", "value"),
    [
        ("pressure", "6.2 bar", 620_000.0 + 101_300.0),
        ("pressure", "6.2 barg", 721_300.0),
        ("pressure", "6.2bar g", 721_300.0),
        ("pressure", "7.2 bar abs", 720_000.0),
        ("pressure", "7.2 bara", 720_000.0),
        ("pressure", "0.5 MPa (gauge)", 601_300.0),
        ("pressure", "14.503773773 psia", 100_000.0),
        ("pressure_difference", "300 mbar", 30_000.0),
        ("volume", "50 L", 0.05),
        ("volume", "0.2 dm³", 0.0002),
        ("length", "6.5 mm", 0.0065),
        ("length", "0.5 in", 0.0127),
        ("area", "250 cm²", 0.025),
        ("conductance", "4.5 L/(s·bar)", 4.5e-8),
        ("conductance", "4.5 dm3/(s.bar)", 4.5e-8),
        ("conductance", "4.5 l / (s*bar)", 4.5e-8),
        ("conductance", "4.5 L/(s bar)", 4.5e-8),
        ("conductance", "3e-8 m3/(s·Pa)", 3e-8),
        ("flow_rate", "600 L/min", 0.01),
        ("flow_rate", "36 m3/h", 0.01),
        ("flow_rate", "100 scfm", 0.0471947443),
        ("force", "4 kN", 4000.0),
        ("signed_force", "-150 N", -150.0),
        ("spring_rate", "20 N/mm", 20_000.0),
        ("stiffness", "4 kN/mm", 4e6),
        ("mass", "12 kg", 12.0),
        ("duration", "25 ms", 0.025),
        ("duration", "2 min", 120.0),
        ("temperature", "20 C", 293.15),
        ("temperature", "68 °F", 293.15),
        ("temperature", "300 K", 300.0),
        ("fraction", "30 %", 0.3),
        ("fraction", "0.3", 0.3),
        ("per_pressure", "2 %/bar", 2e-7),
        ("heat_conductance", "5 W/K", 5.0),
        ("damping", "800 N·s/m", 800.0),
        ("voltage", "24 V", 24.0),
        ("factor", "3 x", 3.0),
        ("critical_ratio", "0", 0.0),
    ],
)
def test_reads(quantity: str, text: str, value: float) -> None:
    assert QUANTITIES[quantity].parse(text) == pytest.approx(value, rel=1e-9)


def test_decimal_values_are_the_floats_one_would_type() -> None:
    assert units.LENGTH.parse("6.5 mm") == 6.5e-3
    assert units.VOLUME.parse("0.2 L") == 0.2e-3
    assert units.CONDUCTANCE.parse("4.5 L/(s·bar)") == 4.5e-8


def test_gauge_counts_from_the_given_surroundings() -> None:
    assert units.PRESSURE.parse("1 bar", ambient_pressure=90_000.0) == 190_000.0
    assert units.PRESSURE.parse("1 bar abs", ambient_pressure=90_000.0) == 100_000.0


@pytest.mark.parametrize(
    ("quantity", "text", "found", "wanted"),
    [
        ("pressure", "6,2 bar", "comma", "'6.2 bar'"),
        ("pressure", "1,000.5 mbar", "comma", "'1000.5 mbar'"),
        ("pressure", "6 200 bar", "unit", "bar"),
        ("pressure", "6.2", "no unit", "6.2 bar"),
        ("pressure", "6.2 PSI", "unit", "'psi'"),
        ("pressure", "-1.2 bar", "out of range", "from 0.01 bar abs to 50 bar gauge"),
        ("pressure", "5000 bar", "out of range", "to 50 bar gauge"),
        ("pressure_difference", "0.3 bar abs", "not clear", "no gauge or absolute mark"),
        ("pressure_difference", "-0.3 bar", "out of range", "0 bar"),
        ("volume", "-3 L", "out of range", "from 0.001 L"),
        ("volume", "10 gal", "not clear", "litres"),
        ("length", "0 mm", "out of range", "from 0.01 mm"),
        ("conductance", "4 m3/h", "not clear", "water"),
        ("flow_rate", "400 Nl/min", "not clear", "free air"),
        ("force", "4 kg", "not clear", "newtons"),
        ("critical_ratio", "1.2", "out of range", "from 0 to 0.95"),
        ("fraction", "130 %", "out of range", "0 % to 100 %"),
        ("temperature", "-300 C", "out of range", "-70 C"),
        ("duration", "nan s", "not a time", "finite"),
        ("duration", "inf", "not a time", "finite"),
        ("duration", "1e999 s", "too large", "2 s"),
        ("duration", "", "Nothing", "2 s"),
        ("duration", "٣ s", "not a time", "2 s"),
        ("length", "five mm", "not a length", "6.5 mm"),
        ("interval", "0 s", "out of range", "from 0.0001 ms"),
    ],
)
def test_refuses_with_the_way_out(quantity: str, text: str, found: str, wanted: str) -> None:
    with pytest.raises(QuantityError) as caught:
        QUANTITIES[quantity].parse(text)
    assert found in caught.value.found
    assert wanted in caught.value.wanted


@given(st.sampled_from(sorted(QUANTITIES)), st.floats(min_value=1e-3, max_value=1e6))
def test_written_values_read_back_exactly(key: str, value: float) -> None:
    quantity = QUANTITIES[key]
    text = quantity.text(value)
    assert quantity.parse(text, bounded=False) == value


@given(st.sampled_from(sorted(QUANTITIES)), st.text(max_size=100))
def test_any_text_gives_a_finite_number_or_a_sentence(key: str, text: str) -> None:
    try:
        value = QUANTITIES[key].parse(text)
    except QuantityError as error:
        assert error.found.endswith(".")
        assert first_acting(error.found) == -1
        assert error.wanted
    else:
        assert math.isfinite(value)


@pytest.mark.parametrize("unit", ["", "%", "L", "N", "V", "bar", "kN", "mm", "s", "x"])
@given(value=st.floats(min_value=1e-6, max_value=1e4))
def test_severities_round_trip(unit: str, value: float) -> None:
    assert units.parse_severity(units.format_severity(value, unit), unit) == value


def test_severity_texts() -> None:
    assert units.parse_severity("2 mm", "mm") == 0.002
    assert units.format_severity(0.002, "mm") == "2 mm"
    assert units.format_severity(0.3, "") == "30 %"
    assert units.format_severity(3.0, "x") == "3 x"


def test_report_texts() -> None:
    assert units.format_pressure(721_300.0) == "6.20 bar"
    assert units.format_pressure(101_299.9) == "0.00 bar"
    assert units.format_length(0.0065) == "6.50 mm"
    assert units.format_length(25.0) == "25.0 m"
    assert units.format_force(4000.0) == "4.00 kN"
    assert units.format_force(60.0) == "60 N"
    assert units.format_time(1.2345) == "1.234 s"
    assert units.format_time(90.0) == "90.0 s"
    assert units.format_temperature(293.15) == "20.0 C"
    assert units.format_flow(0.015) == "900 L/min"


class Sample(BaseModel):
    """Fields of every shape the components use."""

    pressure: units.Pressure = units.written_default("0 bar")
    volume: units.Volume = 0.2e-3
    relieving: units.YesNo = True
    ports: units.Count = 2


def test_fields_read_text_and_use_the_ambient_of_the_context() -> None:
    sample = Sample.model_validate(
        {"pressure": "1 bar", "volume": "3 L", "relieving": "no", "ports": "4"},
        context={"ambient_pressure": 95_000.0},
    )
    assert sample == Sample.model_construct(
        pressure=195_000.0, volume=0.003, relieving=False, ports=4
    )


def test_a_written_default_uses_the_ambient_too() -> None:
    assert Sample.model_validate({}, context={"ambient_pressure": 95_000.0}).pressure == 95_000.0
    assert Sample().pressure == STANDARD_AMBIENT_PRESSURE


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("pressure", ["6 bar"]),
        ("pressure", None),
        ("volume", {"a": "1 L"}),
        ("volume", True),
        ("volume", -1.0),
        ("volume", math.nan),
        ("relieving", "maybe"),
        ("relieving", []),
        ("ports", "0"),
        ("ports", "1.5"),
        ("ports", "201"),
        ("ports", True),
    ],
)
def test_fields_refuse_what_does_not_fit(field: str, value: object) -> None:
    with pytest.raises(ValidationError) as caught:
        Sample.model_validate({field: value})
    (problem,) = caught.value.errors()
    assert problem["type"] == "quantity"
    assert problem["ctx"]["found"]
    assert problem["ctx"]["wanted"]
