"""What is written into a YAML file: names, and texts that come back as they are."""

from __future__ import annotations

import re
from collections.abc import Iterable

from pneumo.drill.brief import TEXTS, Brief
from pneumo.errors import InputError
from pneumo.harmless import quoted
from pneumo.units import DURATION

LARGEST_DOCUMENT = 2_000_000
"""Bytes of a circuit document."""

LONGEST_NAME = 80
"""Letters in the name of a scenario or a drill."""

_PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9_./%()·-]*( [A-Za-z0-9_./%()·-]+)*")
"""Text that YAML reads as it stands."""


def check_name(name: str, what: str) -> None:
    if not name.strip() or not name.isprintable() or len(name) > LONGEST_NAME:
        raise InputError(
            f"{quoted(name)} cannot be the name of a {what}. Write one short line of text, up to "
            f"{LONGEST_NAME} letters."
        )


def scalar(text: str) -> str:
    """A text as YAML reads it back, in quotes only where it must be."""
    return text if _PLAIN.fullmatch(text) else in_quotes(text)


def in_quotes(text: str) -> str:
    return '"' + "".join(_escaped(text)) + '"'


def _escaped(text: str) -> Iterable[str]:
    names = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t"}
    for letter in text:
        if letter in names:
            yield names[letter]
        elif letter.isprintable() and letter not in "\x85\u2028\u2029\ufeff":
            yield letter
        else:
            yield f"\\U{ord(letter):08x}"


def brief_lines(brief: Brief) -> list[str]:
    """The lines of a drill file that say it, but for the hints, which are sealed;
    `drill.brief.read_brief` gives it back."""
    lines: list[str] = []
    if brief.level:
        lines.append(f"  level: {brief.level}")
    if brief.par:
        lines.append(f"  par: {DURATION.text(brief.par)}")
    lines += [f"  {key}: {in_quotes(text)}" for key in TEXTS if (text := getattr(brief, key))]
    if brief.answers:
        lines.append("  answers:")
        lines += [f"    {in_quotes(each.about)}: {in_quotes(each.said)}" for each in brief.answers]
    if brief.log_book:
        lines.append("  log_book:")
        lines += [f"    - {in_quotes(line)}" for line in brief.log_book]
    if brief.test_hints:
        lines.append("  test_hints: yes")
    return ["briefing:", *lines] if lines else []
