"""Values as the screens write them: bar gauge, mm, kN, times. None (not seen) is a dash.

Unlike the reports (`pneumo.units`) a screen keeps one unit and one number of decimals for each
quantity, so that a column of numbers does not jump while it changes.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import lru_cache
from textwrap import wrap

from pneumo.zone.evidence import Clue

UNSEEN = "–"
"""Stands for a value that the seat does not see."""

BLOCKS = " ▏▎▍▌▋▊▉█"
"""Eighths of a cell, filled from the left."""


def pressure(value: float | None, *, unit: bool = True) -> str:
    """Gauge pressure [Pa] as "4.50 bar"."""
    return _number(value, 1e5, 2, "bar" if unit else "")


def gap(value: float | None, *, unit: bool = True) -> str:
    """Length [m] as "3.2 mm"."""
    return _number(value, 1e-3, 1, "mm" if unit else "")


def force(value: float | None, *, unit: bool = True) -> str:
    """Force [N] as "9.87 kN"."""
    return _number(value, 1e3, 2, "kN" if unit else "")


def sprung(spring: str) -> str:
    """What its springs do to a brake: "open" is "spring-opened", "close" is "spring-closed"."""
    return {"open": "spring-opened", "close": "spring-closed"}[spring]


def quantity(value: float | None, unit: str) -> str:
    """A value in a channel's unit: "Pa" (gauge), "m", "N"; "" is 1 or 0."""
    if unit == "Pa":
        return pressure(value)
    if unit == "m":
        return gap(value)
    if unit == "N":
        return force(value)
    return UNSEEN if value is None else ("1" if value else "0")


def clock(value: float) -> str:
    """Time of the run [s] as "0:03.100", from one hour up "1:00:03.100"."""
    thousandths = round(max(value, 0.0) * 1000.0)
    minutes, rest = divmod(thousandths, 60_000)
    hours, minutes = divmod(minutes, 60)
    seconds = f"{rest // 1000:02d}.{rest % 1000:03d}"
    return f"{hours}:{minutes:02d}:{seconds}" if hours else f"{minutes}:{seconds}"


def age(value: float) -> str:
    """A stretch of time [s], always rounded down: "0.4 s", "12 s", "2 min 05 s", "1 h 02 min"."""
    value = max(value, 0.0) + 1e-9  # sums of scans fall a hair short of the time they stand for
    if value < 10.0:
        return f"{int(value * 10.0) / 10.0:.1f} s"
    seconds = int(value)
    if seconds < 60:
        return f"{seconds} s"
    if seconds < 3600:
        return f"{seconds // 60} min {seconds % 60:02d} s"
    return f"{seconds // 3600} h {seconds % 3600 // 60:02d} min"


def bar(share: float, width: int) -> str:
    """A level of `width` cells, filled to `share` (0 to 1); a thing that is there shows at least
    an eighth of a cell, a full one only from 1 on."""
    if width <= 0:
        return ""
    whole = 8 * width
    eighths = int(min(max(share, 0.0), 1.0) * whole + 0.5)
    if share > 0.0:
        eighths = max(eighths, 1)
    if share < 1.0:
        eighths = min(eighths, whole - 1)
    full, part = divmod(eighths, 8)
    return ("█" * full + (BLOCKS[part] if part else "")).ljust(width)


def short(text: str, width: int) -> str:
    """Text cut to `width` cells, the cut marked."""
    if len(text) <= width:
        return text
    return text[: max(width - 1, 0)] + "…" if width > 0 else ""


def wrapped(text: str, width: int, most: int) -> list[str]:
    """Text in lines of `width` cells, so many at most; what is left is cut, the cut marked."""
    lines = wrap(text, max(width, 1), break_on_hyphens=False)
    if len(lines) > most:
        lines[most - 1 :] = [short(" ".join(lines[most - 1 :]), width)]
    return lines


def listed(names: Sequence[str]) -> str:
    """Names with the numbers they differ in drawn together: "brake_1, 2, 4"; "a, b"."""
    return _listed(tuple(names))


@lru_cache(maxsize=512)
def _listed(names: tuple[str, ...]) -> str:
    if len(names) < 2:
        return "".join(names)
    parts = [re.fullmatch(r"(.*?)([0-9]+)", name) for name in names]
    if any(part is None or parts[0] is None or part[1] != parts[0][1] for part in parts):
        return ", ".join(names)
    numbers = sorted(int(part[2]) for part in parts if part is not None)
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    words = [
        f"{run[0]}…{run[-1]}" if len(run) > 2 else ", ".join(str(number) for number in run)
        for run in runs
    ]
    first = parts[0]
    assert first is not None
    return first[1] + ", ".join(words)


def together(clues: Iterable[Clue]) -> tuple[Clue, ...]:
    """What instruments show, with neighbours whose names differ by a number drawn into one."""
    groups: list[list[Clue]] = []
    for clue in clues:
        if groups and _alike(groups[-1][0]) == _alike(clue):
            groups[-1].append(clue)
        else:
            groups.append([clue])
    return tuple(group[0]._replace(name=listed([each.name for each in group])) for group in groups)


def _alike(clue: Clue) -> tuple[str, str, bool]:
    stem = clue.name.rstrip("0123456789")
    # a name without a number is like no other
    return clue.instrument, stem if stem != clue.name else f"{clue.name} ", clue.on


STATES = ("OFF", "ON")
"""What a switch, an input or an output is (IEC 61131-2)."""


def state(on: bool) -> str:
    """The state of a switch, an input or an output in a word."""
    return STATES[on]


def _number(value: float | None, size: float, digits: int, unit: str) -> str:
    if value is None:
        return UNSEEN
    text = f"{value / size:.{digits}f}"
    if float(text) == 0.0:
        text = text.removeprefix("-")
    return f"{text} {unit}".rstrip()
