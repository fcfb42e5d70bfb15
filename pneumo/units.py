"""The quantities of the program, each with the units it may be written in: text to SI and back.

How one is read and written is `pneumo.quantity`; here stands what differs, one row a quantity.

The names at the end (`Pressure`, `Volume`, ...) are pydantic types for the parameters of
components: they take text, or a plain Python number that already is SI. Gauge pressures need the
surroundings; they come through pydantic's validation context:
``Model.model_validate(data, context={"ambient_pressure": 101300.0})``.
"""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal
from typing import Annotated, Any

from pydantic import (
    BeforeValidator,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    ValidationInfo,
    WithJsonSchema,
)
from pydantic_core import PydanticCustomError, core_schema

from pneumo.harmless import quoted
from pneumo.quantity import NUMBER, STANDARD_AMBIENT_PRESSURE, Quantity, QuantityError

STANDARD_AMBIENT_TEMPERATURE = 293.15
"""Temperature of the surroundings when a document gives none [K]."""

QUANTITY_MARK = "x-quantity"
"""Key in a JSON Schema that names the `Quantity` of a field, for whoever rewrites defaults."""

RANGE_MARK = "x-range"
"""Key in a JSON Schema for the smallest and largest value of a field, as text."""


def _sizes(*rows: str) -> dict[str, Decimal]:
    """Rows of "spelling spelling ...: size in SI"."""
    split = (row.partition(":") for row in rows)
    return {name: Decimal(size.strip()) for names, _, size in split for name in names.split()}


def _hint(units: str, words: str) -> dict[str, str]:
    """Units, in lower case, that are refused with the same words."""
    return dict.fromkeys(units.split(), words)


_FOOT, _INCH = Decimal("0.3048"), Decimal("0.0254")
_POUND_FORCE = Decimal("4.4482216152605")

_ABSOLUTE = ("a", ".a", "(a)", ".abs", "(abs)", ".absolute")
_GAUGE = ("", "g", ".g", "(g)", ".gauge", "(gauge)")
_PRESSURES = {
    **_sizes("bar: 1e5", "mbar: 100", "Pa: 1", "hPa: 100", "kPa: 1e3", "MPa: 1e6"),
    "psi": _POUND_FORCE / _INCH**2,
}
_LENGTHS = {
    **_sizes("um µm μm: 1e-6", "mm: 1e-3", "cm: 1e-2", "m: 1"),
    "in": _INCH,
    "ft": _FOOT,
}
_AREAS = {**_sizes("mm2: 1e-6", "cm2: 1e-4", "m2: 1"), "in2": _INCH**2}
_VOLUMES = {
    **_sizes("L l dm3: 1e-3", "mL ml cm3: 1e-6", "mm3: 1e-9", "m3: 1"),
    "ft3": _FOOT**3,
    "in3": _INCH**3,
}
_CONDUCTANCES = {
    **{
        f"{litre}{shape}": size
        for litre in ("L", "l", "dm3")
        for shape, size in (
            ("/(s.bar)", Decimal("1e-8")),
            ("/s/bar", Decimal("1e-8")),
            ("/(bar.s)", Decimal("1e-8")),
            ("/(min.bar)", Decimal("1e-8") / 60),
        )
    },
    **_sizes("m3/(s.Pa) m3/(Pa.s) m3/s/Pa: 1"),
}
_FLOWS = {
    **_sizes("L/s l/s dm3/s: 1e-3", "m3/s: 1"),
    **dict.fromkeys(("L/min", "l/min", "dm3/min", "lpm"), Decimal("1e-3") / 60),
    "m3/min": Decimal(1) / 60,
    "m3/h": Decimal(1) / 3600,
    **dict.fromkeys(("cfm", "scfm", "ft3/min"), _FOOT**3 / 60),
}
_FORCES = {**_sizes("N: 1", "kN: 1e3", "MN: 1e6"), "lbf": _POUND_FORCE}
_RATES = {**_sizes("N/mm kN/m: 1e3", "kN/mm: 1e6", "N/m: 1"), "lbf/in": _POUND_FORCE / _INCH}
_MASSES = {**_sizes("g: 1e-3", "kg: 1", "t: 1e3"), "lb": Decimal("0.45359237")}
_DURATIONS = _sizes("ms: 1e-3", "s: 1", "min: 60", "h: 3600")
_TEMPERATURES = {
    **_sizes("K C °C degC: 1"),
    **dict.fromkeys(("F", "°F", "degF"), Decimal(5) / Decimal(9)),
}
_PER_PRESSURE = {
    **_sizes("%/bar: 1e-7", "/bar 1/bar: 1e-5", "/Pa 1/Pa: 1"),
    "%/psi": Decimal("0.01") / _PRESSURES["psi"],
}
_PER_TIME = dict.fromkeys(("per.year", "/year"), 1 / Decimal("31557600"))  # 365.25 days
_NUMBER_ALONE = {"": Decimal(1)}

_NO_MARK = {
    f"{unit}{mark}".lower(): "A difference has no gauge or absolute mark: say 0.3 bar."
    for unit in _PRESSURES
    for mark in (*_ABSOLUTE, *_GAUGE[1:])
}
_NO_MASS = _hint("kg lb lbs t", "That is a mass: give a force in newtons, like 4 kN.")
_FOOT_AND_INCH = {
    '"': "Write in for inches, like 0.5 in.",
    "'": "Write ft for feet, like 6 ft.",
}

PRESSURE = Quantity(
    "a pressure",
    {f"{unit}{mark}": size for unit, size in _PRESSURES.items() for mark in _ABSOLUTE},
    "6.2 bar (gauge) or 7.2 bar abs",
    "bar",
    1e3,
    5.1013e6,
    gauge={f"{unit}{mark}": size for unit, size in _PRESSURES.items() for mark in _GAUGE},
)
PRESSURE_DIFFERENCE = Quantity(
    "a pressure difference", _PRESSURES, "0.3 bar", "bar", 0.0, 1e7, hints=_NO_MARK
)
VOLUME = Quantity(
    "a volume", _VOLUMES, "50 L", "L", 1e-6, 100.0,
    hints=_hint(
        "gal gallon gallons", "Gallons differ between countries: give litres, like 50 L."
    ),
)  # fmt: skip
LENGTH = Quantity("a length", _LENGTHS, "6.5 mm", "mm", 1e-5, 1e4, hints=_FOOT_AND_INCH)
DISTANCE = Quantity("a distance", _LENGTHS, "6.5 mm", "mm", 0.0, 1e4, hints=_FOOT_AND_INCH)
AREA = Quantity("an area", _AREAS, "120 cm2", "cm2", 1e-6, 10.0)
CONDUCTANCE = Quantity(
    "a sonic conductance C", _CONDUCTANCES, "4.5 L/(s·bar)", "L/(s.bar)", 1e-12, 2e-5,
    hints=_hint(
        "m3/h kv cv gpm",
        "A Kv or Cv value is measured with water: give the C of ISO 6358, like 4.5 L/(s·bar).",
    ),
)  # fmt: skip
CRITICAL_RATIO = Quantity("a critical pressure ratio b", _NUMBER_ALONE, "0.3", "", 0.0, 0.95)
FLOW_RATE = Quantity(
    "a flow of free air", _FLOWS, "400 L/min", "L/min", 1e-6, 10.0,
    hints=_hint(
        "nl/min nl/s nm3/h nm3/min nlpm slpm sl/min normal.l/min",
        "Normal air means 0 °C to some makers and 20 °C to others: give free air, like 400 L/min.",
    ),
)  # fmt: skip
FORCE = Quantity("a force", _FORCES, "4 kN", "N", 0.0, 1e6, hints=_NO_MASS)
SIGNED_FORCE = Quantity("a force", _FORCES, "-150 N", "N", -1e6, 1e6, hints=_NO_MASS)
SPRING_RATE = Quantity("a spring rate", _RATES, "20 N/mm", "N/mm", 0.0, 1e8)
STIFFNESS = Quantity("a stiffness", _RATES, "4 kN/mm", "kN/mm", 1e4, 1e9)
MASS = Quantity("a mass", _MASSES, "12 kg", "kg", 1e-3, 1e5)
DURATION = Quantity("a time", _DURATIONS, "2 s", "s", 0.0, 1e7)
INTERVAL = replace(DURATION, low=1e-7, told=("0.0001 ms", "10000000 s"))
TEMPERATURE = Quantity(
    "a temperature", _TEMPERATURES, "20 C", "C", 203.15, 473.15,
    offsets=_sizes("C °C degC: 273.15", "F °F degF: 459.67"),
)  # fmt: skip
FRACTION = Quantity("a fraction", _NUMBER_ALONE | _sizes("%: 0.01"), "0.3 or 30 %", "%", 0.0, 1.0)
PER_PRESSURE = Quantity("a fraction per pressure", _PER_PRESSURE, "2 %/bar", "%/bar", 0.0, 1e-5)
HEAT_CONDUCTANCE = Quantity(
    "a heat conductance", _sizes("W/K W/C W/°C: 1", "kW/K: 1e3"), "5 W/K", "W/K", 0.0, 1e5
)
DAMPING = Quantity(
    "a damping", _sizes("N.s/m N/(m/s): 1", "kN.s/m: 1e3", "N.s/mm: 1e3"),
    "800 N·s/m", "N.s/m", 0.0, 1e7,
)  # fmt: skip
VOLTAGE = Quantity("a voltage", _sizes("V: 1", "mV: 1e-3", "kV: 1e3"), "24 V", "V", 1.0, 1e3)
FAILURE_RATE = Quantity(
    "a failure rate", _PER_TIME, "0.2 per year", "/year", 3e-14, 3.2e-5,
    told=("0.000001 per year", "1000 per year"),
    hints=_hint(
        "/h per.h per.hour /d per.day /month per.month",
        "Give how often in a year of service, like 0.2 per year.",
    ),
)  # fmt: skip
FACTOR = Quantity("a factor", _sizes("x: 1") | _NUMBER_ALONE, "3 or 3 x", "x", 1e-3, 1e6)

QUANTITIES: dict[str, Quantity] = {
    "area": AREA,
    "conductance": CONDUCTANCE,
    "critical_ratio": CRITICAL_RATIO,
    "damping": DAMPING,
    "distance": DISTANCE,
    "duration": DURATION,
    "factor": FACTOR,
    "failure_rate": FAILURE_RATE,
    "flow_rate": FLOW_RATE,
    "force": FORCE,
    "fraction": FRACTION,
    "heat_conductance": HEAT_CONDUCTANCE,
    "interval": INTERVAL,
    "length": LENGTH,
    "mass": MASS,
    "per_pressure": PER_PRESSURE,
    "pressure": PRESSURE,
    "pressure_difference": PRESSURE_DIFFERENCE,
    "signed_force": SIGNED_FORCE,
    "spring_rate": SPRING_RATE,
    "stiffness": STIFFNESS,
    "temperature": TEMPERATURE,
    "voltage": VOLTAGE,
    "volume": VOLUME,
}
"""Every quantity by the name that JSON Schemas carry under `QUANTITY_MARK`."""


# severities of faults

_SEVERITIES: dict[str, Quantity] = {
    "": FRACTION,
    "%": FRACTION,
    "L": VOLUME,
    "N": FORCE,
    "V": VOLTAGE,
    "bar": PRESSURE_DIFFERENCE,
    "kN": FORCE,
    "mm": LENGTH,
    "s": DURATION,
    "x": FACTOR,
}

SEVERITY_UNITS = tuple(_SEVERITIES)


def parse_severity(text: str, unit: str) -> float:
    """Reads the severity of a fault, e.g. ("2 mm", "mm") -> 0.002; its range is not judged here.

    Raises
    ------
    QuantityError
        When the text does not fit the unit.
    """
    return _SEVERITIES[unit].parse(text, bounded=False)


def format_severity(value: float, unit: str) -> str:
    """Writes a severity [SI] so that `parse_severity` gives it back: (0.002, "mm") -> "2 mm"."""
    return _SEVERITIES[unit].text(value)


# SI -> text for reports


def format_pressure(value: float, ambient_pressure: float = STANDARD_AMBIENT_PRESSURE) -> str:
    """Absolute pressure [Pa] as gauge, "6.20 bar"."""
    return f"{_rounded((value - ambient_pressure) / 1e5, 2)} bar"


def format_length(value: float) -> str:
    """Length [m] as "6.50 mm"; from one metre up in metres."""
    return f"{_rounded(value, 1)} m" if abs(value) >= 1.0 else f"{_rounded(value * 1e3, 2)} mm"


def format_force(value: float) -> str:
    """Force [N] as "4.00 kN"; below 100 N in newtons."""
    return f"{_rounded(value / 1e3, 2)} kN" if abs(value) >= 100.0 else f"{_rounded(value, 0)} N"


def format_time(value: float) -> str:
    """Time [s] as "1.234 s"; from one minute up "61.5 s"."""
    return f"{_rounded(value, 3 if abs(value) < 60.0 else 1)} s"


def format_temperature(value: float) -> str:
    """Temperature [K] as "20.0 C"."""
    return f"{_rounded(value - 273.15, 1)} C"


def format_flow(value: float) -> str:
    """Flow of free air [m3/s ANR] as "400 L/min"."""
    return f"{_rounded(value * 60e3, 0 if abs(value) * 60e3 >= 100 else 1)} L/min"


def _rounded(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


# types for the parameters of components

_TEXT_WITH_UNIT = rf"^\s*{NUMBER}\s*[^0-9\s,.].*$"
_TEXT_UNIT_OPTIONAL = rf"^\s*{NUMBER}\s*([^0-9\s,.].*)?$"


class Within:
    """A number of one quantity: ``Annotated[float, Within("length")]``; or narrower limits of one
    parameter: ``Annotated[Length, Within("length", "1 mm", "0.5 m")]``.

    Narrower limits are what any part of that sort can have, not what is usual: a value beyond them
    is a slip, or nothing that this model is about.
    """

    def __init__(self, key: str, low: str = "", high: str = "", like: str = "") -> None:
        """`key`: of the quantity in `QUANTITIES`, that of the type it stands beside; `low`, `high`:
        "" = those of the quantity; `like`: an example, when that of the quantity is not usual
        here."""
        quantity = QUANTITIES[key]
        quantity = replace(quantity, example=like or quantity.example)
        if low:
            smallest, largest = (quantity.parse(text, bounded=False) for text in (low, high))
            quantity = replace(quantity, low=smallest, high=largest, told=(low, high))
        self.key, self.quantity = key, quantity

    def read(self, value: object) -> float:
        """A text within these limits as SI; raises QuantityError."""
        return self.quantity.parse(_text(value, self.quantity.name, self.quantity.example))

    def _read(self, value: object, info: ValidationInfo) -> float:
        """A text or a plain number in SI as an SI float; raises what pydantic takes."""
        quantity = self.quantity
        ambient = (info.context or {}).get("ambient_pressure", STANDARD_AMBIENT_PRESSURE)
        try:
            if isinstance(value, (int, float)) and not isinstance(value, bool):
                number = float(value)
                quantity.check(number, f"{number:g} (SI)", ambient)
                return number
            return quantity.parse(_text(value, quantity.name, quantity.example), ambient)
        except QuantityError as error:
            raise as_pydantic(error) from None

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Reads the value by these limits, before the type itself does."""
        return core_schema.with_info_before_validator_function(self._read, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """The schema of the text that the quantity is written as."""
        optional = "" in self.quantity.units
        text_schema = {
            "type": "string",
            "pattern": _TEXT_UNIT_OPTIONAL if optional else _TEXT_WITH_UNIT,
        }
        return {
            **({"anyOf": [text_schema, {"type": "number"}]} if optional else text_schema),
            "description": self.quantity.described(),
            "examples": self.quantity.examples(),
            RANGE_MARK: self.quantity.limits(),
            QUANTITY_MARK: self.key,
        }


def as_pydantic(error: QuantityError) -> PydanticCustomError:
    """The same error for pydantic; its context keeps `found` and `wanted` apart."""
    return PydanticCustomError(
        "quantity", "{found} {wanted}", {"found": error.found, "wanted": error.wanted}
    )


def written_default(text: str) -> Any:
    """A default given as text, for gauge pressures: it is read with the document's ambient.

    ``low: Pressure = written_default("0 bar")``
    """
    return Field(default=text, validate_default=True)


def _text(value: object, name: str, example: str) -> str:
    if isinstance(value, str):
        return value
    shape = {dict: "a mapping", list: "a list", type(None): "nothing"}.get(type(value), "no text")
    raise QuantityError(f"Found {shape} where {name} belongs.", f"Write it like {example}.")


def _yes_no(value: object) -> bool:
    if isinstance(value, bool):
        return value
    answers = {"yes": True, "true": True, "no": False, "false": False}
    try:
        text = _text(value, "yes or no", "yes")
        if text.strip().lower() not in answers:
            raise QuantityError(f"{quoted(text)} is not an answer.", "Write yes or no.")
    except QuantityError as error:
        raise as_pydantic(error) from None
    return answers[text.strip().lower()]


_LARGEST_COUNT = 200


def _counted(value: object) -> int:
    if isinstance(value, int) and not isinstance(value, bool):
        value = str(value)
    try:
        text = _text(value, "a whole number", "4").strip()
        if not re.fullmatch(r"\+?[0-9]{1,6}", text) or not 1 <= int(text) <= _LARGEST_COUNT:
            raise QuantityError(
                f"{quoted(text)} is not a count.", f"Write a whole number, 1 to {_LARGEST_COUNT}."
            )
    except QuantityError as error:
        raise as_pydantic(error) from None
    return int(text)


_YES_NO_SCHEMA: dict[str, Any] = {
    "anyOf": [{"enum": ["yes", "no"]}, {"type": "boolean"}],
    "description": "yes or no",
}
_COUNT_SCHEMA: dict[str, Any] = {
    "anyOf": [
        {"type": "integer", "minimum": 1, "maximum": _LARGEST_COUNT},
        {"type": "string", "pattern": r"^\s*\+?[0-9]{1,6}\s*$"},
    ],
    "description": "a whole number, 1 or more",
}

Pressure = Annotated[float, Within("pressure")]
"""Absolute pressure [Pa]; written as gauge unless marked abs."""

PressureDifference = Annotated[float, Within("pressure_difference")]
"""Pressure difference [Pa], 0 or more."""

Volume = Annotated[float, Within("volume")]
"""[m3], more than 0."""

Length = Annotated[float, Within("length")]
"""[m], more than 0."""

Distance = Annotated[float, Within("distance")]
"""[m], 0 or more (roughness, gaps)."""

Area = Annotated[float, Within("area")]
"""[m2], more than 0."""

Conductance = Annotated[float, Within("conductance")]
"""Sonic conductance C of ISO 6358 [m3/(s Pa)], more than 0."""

CriticalRatio = Annotated[float, Within("critical_ratio")]
"""Critical pressure ratio b of ISO 6358 [-], 0 to 1."""

FlowRate = Annotated[float, Within("flow_rate")]
"""Flow of free air [m3/s ANR], more than 0."""

Force = Annotated[float, Within("force")]
"""[N], 0 or more."""

SignedForce = Annotated[float, Within("signed_force")]
"""[N], either sign."""

SpringRate = Annotated[float, Within("spring_rate")]
"""[N/m], 0 or more."""

Stiffness = Annotated[float, Within("stiffness")]
"""[N/m], more than 0."""

Mass = Annotated[float, Within("mass")]
"""[kg], more than 0."""

Duration = Annotated[float, Within("duration")]
"""[s], 0 or more."""

Interval = Annotated[float, Within("interval")]
"""[s], more than 0."""

Temperature = Annotated[float, Within("temperature")]
"""[K]."""

Fraction = Annotated[float, Within("fraction")]
"""[-], 0 to 1."""

PerPressure = Annotated[float, Within("per_pressure")]
"""[1/Pa], 0 or more."""

HeatConductance = Annotated[float, Within("heat_conductance")]
"""[W/K], 0 or more."""

Damping = Annotated[float, Within("damping")]
"""[N s/m], 0 or more."""

Voltage = Annotated[float, Within("voltage")]
"""[V], more than 0."""

Factor = Annotated[float, Within("factor")]
FailureRate = Annotated[float, Within("failure_rate")]
"""[-], more than 0."""

YesNo = Annotated[bool, BeforeValidator(_yes_no), WithJsonSchema(_YES_NO_SCHEMA)]
"""yes or no."""

Count = Annotated[int, BeforeValidator(_counted), WithJsonSchema(_COUNT_SCHEMA)]
"""A whole number, 1 to 200."""
