"""One physical quantity as people write it ("6.2 bar", "50 L", "1.5 L/(s·bar)"), to SI and back.

What its table of units does not hold is refused with a sentence that says what to write instead: a
brake circuit must never be judged on a number that was guessed. Arithmetic on the way in is
decimal, so "6.5 mm" is exactly the float 0.0065.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Context, Decimal

from pneumo.harmless import quoted

STANDARD_AMBIENT_PRESSURE = 101_300.0
"""Pressure of the surroundings when a document gives none [Pa absolute]."""

NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
"""Pattern of a number as it may be written."""

_WITH_UNIT = re.compile(rf"({NUMBER})\s*(.*)", re.DOTALL)
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
        shown = self.show.replace(".", "·")
        if self.gauge is not None and self.show in self.gauge:
            number = (number - Decimal(repr(ambient_pressure))) / self.gauge[self.show]
        else:
            number = number / self.units[self.show]
            if self.offsets:
                number -= self.offsets.get(self.show, Decimal(0))
        short = f"{_plain(number, 15)} {shown}".rstrip()
        if self.parse(short, ambient_pressure, bounded=False) == value:
            return short
        return f"{_plain(number, 28)} {shown}".rstrip()

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
