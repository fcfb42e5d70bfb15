"""Quantities as people write them ("6.2 bar", "50 L", "1.5 L/(s·bar)") and the same in SI.

One small table per quantity. What the table does not hold is refused with a sentence that says
what to write instead: a brake circuit must never be judged on a number that was guessed.
Arithmetic on the way in is decimal, so "6.5 mm" is exactly the float 0.0065.

The names at the end (`Pressure`, `Volume`, ...) are pydantic types for the parameters of
components: they take text, or a plain Python number that already is SI. Gauge pressures need the
surroundings; they come through pydantic's validation context:
``Model.model_validate(data, context={"ambient_pressure": 101300.0})``.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Context, Decimal
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

from pneumo.harmless import harmless

STANDARD_AMBIENT_PRESSURE = 101_300.0
"""Pressure of the surroundings when a document gives none [Pa absolute]."""

STANDARD_AMBIENT_TEMPERATURE = 293.15
"""Temperature of the surroundings when a document gives none [K]."""

QUANTITY_MARK = "x-quantity"
"""Key in a JSON Schema that names the `Quantity` of a field, for whoever rewrites defaults."""

_NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_WITH_UNIT = re.compile(rf"({_NUMBER})\s*(.*)", re.DOTALL)
_LONGEST = 80
"""Longer text is no quantity; keeps messages and decimal arithmetic small."""

_SPELLINGS = str.maketrans(
    {"²": "2", "³": "3", "·": ".", "⋅": ".", "×": ".", "*": ".", "º": "°", "˚": "°", "℃": "C"}
)


class QuantityError(ValueError):
    """A text that is not the quantity asked for: what was found, what would be right."""

    def __init__(self, found: str, wanted: str) -> None:
        self.found = found
        self.wanted = wanted
        super().__init__(f"{found} {wanted}")


@dataclass(frozen=True)
class Quantity:
    """A physical quantity: the units it may be written in and the values that make sense."""

    name: str
    """With its article, as in "'5' is not a length"."""

    units: Mapping[str, Decimal]
    """Normalised spelling -> size of the unit in SI."""

    example: str
    """A text that is right."""

    show: str
    """Unit used when the value is written back; a key of `units`."""

    shown: str
    """The same unit as it is printed."""

    low: float
    """Smallest value that any part of a brake circuit can have [SI]."""

    high: float
    """Largest [SI]."""

    gauge: Mapping[str, Decimal] | None = None
    """Units counted from the pressure of the surroundings."""

    offsets: Mapping[str, Decimal] | None = None
    """Added to the value before its unit is applied (temperatures)."""

    told: tuple[str, ...] = ()
    """The smallest and the largest value as they are said; (): in the unit `show`."""

    hints: Mapping[str, str] | None = None
    """Unit in lower case -> why it is refused."""

    def parse(
        self,
        text: str,
        ambient_pressure: float = STANDARD_AMBIENT_PRESSURE,
        *,
        bounded: bool = True,
    ) -> float:
        """Reads a text such as "6.2 bar" into SI.

        Raises
        ------
        QuantityError
            When the number, the unit or (with `bounded`) the size is not right.
        """
        number, unit = self._split(text)
        if self.gauge is not None and unit in self.gauge:
            value = number * self.gauge[unit] + Decimal(repr(ambient_pressure))
        elif unit in self.units:
            offset = self.offsets.get(unit, Decimal(0)) if self.offsets else Decimal(0)
            value = (number + offset) * self.units[unit]
        else:
            raise self._unknown_unit(text, unit)
        result = float(value)
        if not math.isfinite(result):
            raise QuantityError(
                f"{quoted(text)} is too large a number.", f"Write {self.name} like {self.example}."
            )
        if bounded:
            self.check(result, quoted(text), ambient_pressure)
        return result

    def check(
        self, value: float, found: str, ambient_pressure: float = STANDARD_AMBIENT_PRESSURE
    ) -> None:
        """Raises QuantityError when an SI value is outside the sensible range."""
        if not math.isfinite(value):
            raise QuantityError(
                f"{found} is not a finite number.", f"Write {self.name} like {self.example}."
            )
        if self.low <= value <= self.high:
            return
        raise QuantityError(
            f"{found} is out of range for {self.name}.", f"It must be {self._range()}."
        )

    def text(self, value: float, ambient_pressure: float = STANDARD_AMBIENT_PRESSURE) -> str:
        """Writes an SI value so that `parse` gives it back."""
        number = Decimal(repr(float(value)))
        if self.gauge is not None and self.show in self.gauge:
            number = (number - Decimal(repr(ambient_pressure))) / self.gauge[self.show]
        else:
            number = number / self.units[self.show]
            if self.offsets:
                number -= self.offsets.get(self.show, Decimal(0))
        short = f"{_plain(number, 15)} {self.shown}".rstrip()
        if self.parse(short, ambient_pressure, bounded=False) == value:
            return short
        return f"{_plain(number, 28)} {self.shown}".rstrip()

    def described(self) -> str:
        """For a schema: "a length, like 6.5 mm, from 1 mm to 500 mm"."""
        return f"{self.name}, like {self.example}, {self._range()}"

    def examples(self) -> list[str]:
        """A text that is right, for a schema."""
        return [self.example.split(" or ")[0].removesuffix(" (gauge)")]

    def limits(self) -> list[str]:
        """Smallest and largest value as text."""
        return list(self.told) or [self.text(self.low), self.text(self.high)]

    def _range(self) -> str:
        low, high = self.limits()
        if self.gauge is not None and not self.told:
            low, high = f"{_plain(Decimal(repr(self.low)) / 100_000, 6)} bar abs", f"{high} gauge"
        return f"from {low} to {high}"

    def _split(self, text: str) -> tuple[Decimal, str]:
        stripped = text.strip()
        if not stripped:
            raise QuantityError("Nothing is given.", f"Write {self.name} like {self.example}.")
        match = None if len(stripped) > _LONGEST else _WITH_UNIT.fullmatch(stripped)
        if match is None:
            raise QuantityError(
                f"{quoted(text)} is not {self.name}.",
                f"Write a finite number and a unit, like {self.example}.",
            )
        rest = match[2]
        if re.match(r",\s*[0-9]", rest):
            plain = stripped.replace(",", "" if "." in stripped else ".")
            raise QuantityError(
                f"{quoted(text)} has a comma in its number.",
                f"Use a decimal point and no thousands separator: {quoted(plain)}.",
            )
        return Decimal(match[1]), normalised_unit(rest)

    def _unknown_unit(self, text: str, unit: str) -> QuantityError:
        hint = (self.hints or {}).get(unit.lower())
        if hint:
            return QuantityError(f"{quoted(text)} is not clear.", hint)
        known = [*(self.gauge or {}), *self.units]
        if not unit:
            return QuantityError(
                f"{quoted(text)} has no unit.", f"Write {self.name} like {self.example}."
            )
        folded: dict[str, str] = {}
        for name in known:
            folded.setdefault(name.lower(), name)
        near = difflib.get_close_matches(unit.lower(), list(folded), n=1, cutoff=0.6)
        advice = f"Write {self.name} like {self.example}."
        if near and folded[near[0]]:
            advice = f"Did you mean {quoted(folded[near[0]])}? {advice}"
        return QuantityError(f"{quoted(text)} has a unit that does not fit {self.name}.", advice)


def quoted(text: str) -> str:
    """Text in quotes for a message: one line, printable, shortened."""
    clean = harmless(text.strip())
    return f"'{clean}'" if len(clean) <= _LONGEST else f"'{clean[: _LONGEST - 3]}...'"


def normalised_unit(text: str) -> str:
    """One spelling for a unit: products as dots, no spaces, plain digits for powers."""
    unit = text.strip().translate(_SPELLINGS).replace("^", "")
    unit = re.sub(r"\s*([/().])\s*", r"\1", unit)
    return re.sub(r"\s+", ".", unit)


def _plain(number: Decimal, digits: int) -> str:
    """A decimal with that many significant digits, no trailing zeros, an exponent only if long."""
    short = number.normalize(Context(prec=digits))
    text = format(short, "f")
    if len(text) > 2 * digits:
        text = format(short, "e")
    return "0" if text == "-0" else text


def _sizes(*rows: tuple[str, str]) -> dict[str, Decimal]:
    """Rows of ("spelling spelling ...", size in SI)."""
    return {name: Decimal(size) for names, size in rows for name in names.split()}


_FOOT = Decimal("0.3048")
_INCH = Decimal("0.0254")
_POUND_FORCE = Decimal("4.4482216152605")

_PRESSURE_UNITS = {
    **_sizes(("bar", "1e5"), ("mbar", "100"), ("Pa", "1"), ("hPa", "100"), ("kPa", "1e3"),
             ("MPa", "1e6")),
    "psi": _POUND_FORCE / _INCH**2,
}  # fmt: skip
_ABSOLUTE_MARKS = ("a", ".a", "(a)", ".abs", "(abs)", ".absolute")
_GAUGE_MARKS = ("", "g", ".g", "(g)", ".gauge", "(gauge)")

_LENGTH_UNITS = {
    **_sizes(("um µm μm", "1e-6"), ("mm", "1e-3"), ("cm", "1e-2"), ("m", "1")),
    "in": _INCH,
    "ft": _FOOT,
}
_PER_LITRE_FLOW = {
    f"{litre}{shape}": size
    for litre in ("L", "l", "dm3")
    for shape, size in (
        ("/(s.bar)", Decimal("1e-8")),
        ("/s/bar", Decimal("1e-8")),
        ("/(bar.s)", Decimal("1e-8")),
        ("/(min.bar)", Decimal("1e-8") / 60),
    )
}
_NORMAL_AIR = (
    "Normal air means 0 °C to some makers and 20 °C to others: give free air, like 400 L/min."
)

PRESSURE = Quantity(
    name="a pressure",
    units={
        f"{unit}{mark}": size for unit, size in _PRESSURE_UNITS.items() for mark in _ABSOLUTE_MARKS
    },
    gauge={
        f"{unit}{mark}": size for unit, size in _PRESSURE_UNITS.items() for mark in _GAUGE_MARKS
    },
    example="6.2 bar (gauge) or 7.2 bar abs",
    show="bar",
    shown="bar",
    low=1e3,
    high=5.1013e6,
)
PRESSURE_DIFFERENCE = Quantity(
    name="a pressure difference",
    units=_PRESSURE_UNITS,
    example="0.3 bar",
    show="bar",
    shown="bar",
    low=0.0,
    high=1e7,
    hints={
        f"{unit}{mark}".lower(): "A difference has no gauge or absolute mark: say 0.3 bar."
        for unit in _PRESSURE_UNITS
        for mark in (*_ABSOLUTE_MARKS, *_GAUGE_MARKS[1:])
    },
)
VOLUME = Quantity(
    name="a volume",
    units={
        **_sizes(("L l dm3", "1e-3"), ("mL ml cm3", "1e-6"), ("mm3", "1e-9"), ("m3", "1")),
        "ft3": _FOOT**3,
        "in3": _INCH**3,
    },
    example="50 L",
    show="L",
    shown="L",
    low=1e-6,
    high=100.0,
    hints=dict.fromkeys(
        ("gal", "gallon", "gallons"), "Gallons differ between countries: give litres, like 50 L."
    ),
)
LENGTH = Quantity(
    name="a length",
    units=_LENGTH_UNITS,
    example="6.5 mm",
    show="mm",
    shown="mm",
    low=1e-5,
    high=1e4,
    hints={'"': "Write in for inches, like 0.5 in.", "'": "Write ft for feet, like 6 ft."},
)
DISTANCE = Quantity(
    name="a distance",
    units=_LENGTH_UNITS,
    example="6.5 mm",
    show="mm",
    shown="mm",
    low=0.0,
    high=1e4,
    hints=LENGTH.hints,
)
AREA = Quantity(
    name="an area",
    units={**_sizes(("mm2", "1e-6"), ("cm2", "1e-4"), ("m2", "1")), "in2": _INCH**2},
    example="120 cm2",
    show="cm2",
    shown="cm2",
    low=1e-6,
    high=10.0,
)
CONDUCTANCE = Quantity(
    name="a sonic conductance C",
    units={**_PER_LITRE_FLOW, **_sizes(("m3/(s.Pa) m3/(Pa.s) m3/s/Pa", "1"))},
    example="4.5 L/(s·bar)",
    show="L/(s.bar)",
    shown="L/(s·bar)",
    low=1e-12,
    high=2e-5,
    hints=dict.fromkeys(
        ("m3/h", "kv", "cv", "gpm"),
        "A Kv or Cv value is measured with water: give the C of ISO 6358, like 4.5 L/(s·bar).",
    ),
)
CRITICAL_RATIO = Quantity(
    name="a critical pressure ratio b",
    units={"": Decimal(1)},
    example="0.3",
    show="",
    shown="",
    low=0.0,
    high=0.95,
)
FLOW_RATE = Quantity(
    name="a flow of free air",
    units={
        **_sizes(("L/s l/s dm3/s", "1e-3"), ("m3/s", "1")),
        **{name: Decimal("1e-3") / 60 for name in ("L/min", "l/min", "dm3/min", "lpm")},
        "m3/min": Decimal(1) / 60,
        "m3/h": Decimal(1) / 3600,
        **dict.fromkeys(("cfm", "scfm", "ft3/min"), _FOOT**3 / 60),
    },
    example="400 L/min",
    show="L/min",
    shown="L/min",
    low=1e-6,
    high=10.0,
    hints=dict.fromkeys(
        ("nl/min", "nl/s", "nm3/h", "nm3/min", "nlpm", "slpm", "sl/min", "normal.l/min"),
        _NORMAL_AIR,
    ),
)
_FORCE_UNITS = {**_sizes(("N", "1"), ("kN", "1e3"), ("MN", "1e6")), "lbf": _POUND_FORCE}
FORCE = Quantity(
    name="a force",
    units=_FORCE_UNITS,
    example="4 kN",
    show="N",
    shown="N",
    low=0.0,
    high=1e6,
    hints=dict.fromkeys(
        ("kg", "lb", "lbs", "t"), "That is a mass: give a force in newtons, like 4 kN."
    ),
)
SIGNED_FORCE = Quantity(
    name="a force",
    units=_FORCE_UNITS,
    example="-150 N",
    show="N",
    shown="N",
    low=-1e6,
    high=1e6,
    hints=FORCE.hints,
)
_RATES = {
    **_sizes(("N/mm kN/m", "1e3"), ("kN/mm", "1e6"), ("N/m", "1")),
    "lbf/in": _POUND_FORCE / _INCH,
}
SPRING_RATE = Quantity(
    name="a spring rate",
    units=_RATES,
    example="20 N/mm",
    show="N/mm",
    shown="N/mm",
    low=0.0,
    high=1e8,
)
STIFFNESS = Quantity(
    name="a stiffness",
    units=_RATES,
    example="4 kN/mm",
    show="kN/mm",
    shown="kN/mm",
    low=1e4,
    high=1e9,
)
MASS = Quantity(
    name="a mass",
    units={**_sizes(("g", "1e-3"), ("kg", "1"), ("t", "1e3")), "lb": Decimal("0.45359237")},
    example="12 kg",
    show="kg",
    shown="kg",
    low=1e-3,
    high=1e5,
)
DURATION = Quantity(
    name="a time",
    units=_sizes(("ms", "1e-3"), ("s", "1"), ("min", "60"), ("h", "3600")),
    example="2 s",
    show="s",
    shown="s",
    low=0.0,
    high=1e7,
)
INTERVAL = replace(DURATION, example="2 s", low=1e-7, told=("0.0001 ms", "10000000 s"))
TEMPERATURE = Quantity(
    name="a temperature",
    units={
        **_sizes(("K C °C degC", "1")),
        **{name: Decimal(5) / Decimal(9) for name in ("F", "°F", "degF")},
    },
    offsets={
        **{name: Decimal("273.15") for name in ("C", "°C", "degC")},
        **{name: Decimal("459.67") for name in ("F", "°F", "degF")},
    },
    example="20 C",
    show="C",
    shown="C",
    low=203.15,
    high=473.15,
)
FRACTION = Quantity(
    name="a fraction",
    units={"": Decimal(1), "%": Decimal("0.01")},
    example="0.3 or 30 %",
    show="%",
    shown="%",
    low=0.0,
    high=1.0,
)
PER_PRESSURE = Quantity(
    name="a fraction per pressure",
    units={
        **_sizes(("%/bar", "1e-7"), ("/bar 1/bar", "1e-5"), ("/Pa 1/Pa", "1")),
        "%/psi": Decimal("0.01") / _PRESSURE_UNITS["psi"],
    },
    example="2 %/bar",
    show="%/bar",
    shown="%/bar",
    low=0.0,
    high=1e-5,
)
HEAT_CONDUCTANCE = Quantity(
    name="a heat conductance",
    units=_sizes(("W/K W/C W/°C", "1"), ("kW/K", "1e3")),
    example="5 W/K",
    show="W/K",
    shown="W/K",
    low=0.0,
    high=1e5,
)
DAMPING = Quantity(
    name="a damping",
    units=_sizes(("N.s/m N/(m/s)", "1"), ("kN.s/m", "1e3"), ("N.s/mm", "1e3")),
    example="800 N·s/m",
    show="N.s/m",
    shown="N·s/m",
    low=0.0,
    high=1e7,
)
VOLTAGE = Quantity(
    name="a voltage",
    units=_sizes(("V", "1"), ("mV", "1e-3"), ("kV", "1e3")),
    example="24 V",
    show="V",
    shown="V",
    low=1.0,
    high=1e3,
)
FACTOR = Quantity(
    name="a factor",
    units=_sizes(("x", "1")) | {"": Decimal(1)},
    example="3 or 3 x",
    show="x",
    shown="x",
    low=1e-3,
    high=1e6,
)

QUANTITIES: dict[str, Quantity] = {
    "area": AREA,
    "conductance": CONDUCTANCE,
    "critical_ratio": CRITICAL_RATIO,
    "damping": DAMPING,
    "distance": DISTANCE,
    "duration": DURATION,
    "factor": FACTOR,
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


def format_difference(value: float) -> str:
    """Pressure difference [Pa] as "0.30 bar"."""
    return f"{_rounded(value / 1e5, 2)} bar"


def format_volume(value: float) -> str:
    """Volume [m3] as "50.0 L"."""
    return f"{_rounded(value * 1e3, 1 if value >= 1e-3 else 3)} L"


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


def format_conductance(value: float) -> str:
    """Sonic conductance [m3/(s Pa)] as "4.50 L/(s·bar)"."""
    return f"{_rounded(value / 1e-8, 2)} L/(s·bar)"


def format_fraction(value: float) -> str:
    """Fraction [-] as "30 %"."""
    return f"{_rounded(value * 100.0, 1).removesuffix('.0')} %"


def _rounded(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


# types for the parameters of components

_TEXT_WITH_UNIT = rf"^\s*{_NUMBER}\s*[^0-9\s,.].*$"
_TEXT_UNIT_OPTIONAL = rf"^\s*{_NUMBER}\s*([^0-9\s,.].*)?$"


RANGE_MARK = "x-range"
"""Key in a JSON Schema for the smallest and largest value of a field, as text."""


def _schema(key: str) -> WithJsonSchema:
    """The JSON Schema of the text a quantity is written as."""
    quantity = QUANTITIES[key]
    optional = "" in quantity.units
    text_schema: dict[str, Any] = {
        "type": "string",
        "pattern": _TEXT_UNIT_OPTIONAL if optional else _TEXT_WITH_UNIT,
    }
    schema: dict[str, Any] = {
        **({"anyOf": [text_schema, {"type": "number"}]} if optional else text_schema),
        "description": quantity.described(),
        "examples": quantity.examples(),
        RANGE_MARK: quantity.limits(),
        QUANTITY_MARK: key,
    }
    return WithJsonSchema(schema)


def _read(quantity: Quantity, value: object, info: ValidationInfo) -> float:
    """A text or a plain number in SI as an SI float; raises what pydantic takes."""
    ambient = (info.context or {}).get("ambient_pressure", STANDARD_AMBIENT_PRESSURE)
    try:
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            number = float(value)
            quantity.check(number, f"{number:g} (SI)", ambient)
            return number
        return quantity.parse(_text(value, quantity.name, quantity.example), ambient)
    except QuantityError as error:
        raise as_pydantic(error) from None


def _reader(key: str) -> BeforeValidator:
    """Reads the quantity of that key in `QUANTITIES` into an SI float."""
    quantity = QUANTITIES[key]
    return BeforeValidator(lambda value, info: _read(quantity, value, info))


class Within:
    """Narrower limits of one parameter: ``Annotated[Length, Within("length", "1 mm", "0.5 m")]``.

    They are what any part of that sort can have, not what is usual: a value beyond them is a slip,
    or nothing that this model is about.
    """

    def __init__(self, key: str, low: str, high: str, like: str = "") -> None:
        """`key`: of the quantity in `QUANTITIES`, that of the type it stands beside; `like`: an
        example, when that of the quantity is not usual here."""
        quantity = QUANTITIES[key]
        quantity = replace(quantity, example=like or quantity.example)
        smallest, largest = (quantity.parse(text, bounded=False) for text in (low, high))
        self.quantity = replace(quantity, low=smallest, high=largest, told=(low, high))

    def read(self, value: object) -> float:
        """A text within these limits as SI; raises QuantityError."""
        return self.quantity.parse(_text(value, self.quantity.name, self.quantity.example))

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Reads the value by the narrower limits, before the type itself does."""
        return core_schema.with_info_before_validator_function(
            lambda value, info: _read(self.quantity, value, info), handler(source)
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """The schema of the type, with these limits."""
        limits = {
            "description": self.quantity.described(),
            "examples": self.quantity.examples(),
            RANGE_MARK: self.quantity.limits(),
        }
        return dict(handler(schema)) | limits


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

Pressure = Annotated[float, _reader("pressure"), _schema("pressure")]
"""Absolute pressure [Pa]; written as gauge unless marked abs."""

PressureDifference = Annotated[
    float, _reader("pressure_difference"), _schema("pressure_difference")
]
"""Pressure difference [Pa], 0 or more."""

Volume = Annotated[float, _reader("volume"), _schema("volume")]
"""[m3], more than 0."""

Length = Annotated[float, _reader("length"), _schema("length")]
"""[m], more than 0."""

Distance = Annotated[float, _reader("distance"), _schema("distance")]
"""[m], 0 or more (roughness, gaps)."""

Area = Annotated[float, _reader("area"), _schema("area")]
"""[m2], more than 0."""

Conductance = Annotated[float, _reader("conductance"), _schema("conductance")]
"""Sonic conductance C of ISO 6358 [m3/(s Pa)], more than 0."""

CriticalRatio = Annotated[float, _reader("critical_ratio"), _schema("critical_ratio")]
"""Critical pressure ratio b of ISO 6358 [-], 0 to 1."""

FlowRate = Annotated[float, _reader("flow_rate"), _schema("flow_rate")]
"""Flow of free air [m3/s ANR], more than 0."""

Force = Annotated[float, _reader("force"), _schema("force")]
"""[N], 0 or more."""

SignedForce = Annotated[float, _reader("signed_force"), _schema("signed_force")]
"""[N], either sign."""

SpringRate = Annotated[float, _reader("spring_rate"), _schema("spring_rate")]
"""[N/m], 0 or more."""

Stiffness = Annotated[float, _reader("stiffness"), _schema("stiffness")]
"""[N/m], more than 0."""

Mass = Annotated[float, _reader("mass"), _schema("mass")]
"""[kg], more than 0."""

Duration = Annotated[float, _reader("duration"), _schema("duration")]
"""[s], 0 or more."""

Interval = Annotated[float, _reader("interval"), _schema("interval")]
"""[s], more than 0."""

Temperature = Annotated[float, _reader("temperature"), _schema("temperature")]
"""[K]."""

Fraction = Annotated[float, _reader("fraction"), _schema("fraction")]
"""[-], 0 to 1."""

PerPressure = Annotated[float, _reader("per_pressure"), _schema("per_pressure")]
"""[1/Pa], 0 or more."""

HeatConductance = Annotated[float, _reader("heat_conductance"), _schema("heat_conductance")]
"""[W/K], 0 or more."""

Damping = Annotated[float, _reader("damping"), _schema("damping")]
"""[N s/m], 0 or more."""

Voltage = Annotated[float, _reader("voltage"), _schema("voltage")]
"""[V], more than 0."""

Factor = Annotated[float, _reader("factor"), _schema("factor")]
"""[-], more than 0."""

YesNo = Annotated[bool, BeforeValidator(_yes_no), WithJsonSchema(_YES_NO_SCHEMA)]
"""yes or no."""

Count = Annotated[int, BeforeValidator(_counted), WithJsonSchema(_COUNT_SCHEMA)]
"""A whole number, 1 to 200."""
