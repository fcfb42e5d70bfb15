"""Letters that act on what shows them instead of being shown, and text without them.

A control letter (C0, C1, DEL) moves a terminal's cursor or sets its title, a bidi letter turns the
order of what is read around, a line or paragraph separator begins a line nobody wrote. Documents
and file names with such letters are refused; whatever else is shown is made harmless where it
leaves the program: console, screen, report, files, the other seat.
"""

from __future__ import annotations

import json
from unicodedata import category, name

_ACTING = frozenset(("Cc", "Cf", "Cs", "Zl", "Zp"))
"""General categories of Unicode: control, format (bidi among them), half a letter, separators."""

_WRITTEN = frozenset(
    "\u00ad\u200c\u200d\u0600\u0601\u0602\u0603\u0604\u0605\u06dd\u070f\u0890\u0891\u08e2"
    "\U000110bd\U000110cd"
)
"""Of category Cf, yet part of how languages are written: a hyphen where a word may break, letters
that join others or keep them apart, signs around numbers."""

_QUOTED = 80
"""Letters of a text that are quoted in a message at most."""


def acts(letter: str) -> bool:
    """True for a letter that acts instead of being shown; a line end is one, too."""
    return not letter.isprintable() and category(letter) in _ACTING and letter not in _WRITTEN


def first_acting(text: str, keep: str = "") -> int:
    """Position of the first letter that acts and is not in `keep`; -1: there is none."""
    if _is_plain(text, keep):
        return -1
    return next((i for i, c in enumerate(text) if c not in keep and acts(c)), -1)


def harmless(text: str, keep: str = "", mark: str = "?") -> str:
    """Text in which every letter that acts, but those in `keep`, is replaced by a mark.

    All of them but half letters, which always get a question mark, have no width on a terminal.
    """
    if _is_plain(text, keep):
        return text
    return "".join(
        ("?" if category(c) == "Cs" else mark) if c not in keep and acts(c) else c for c in text
    )


def harmless_json(text: str) -> str:
    """JSON text with letters that act written as escapes: read back, it is the same."""
    if _is_plain(text, "\n"):
        return text
    # outside of its strings JSON holds line ends only
    return "".join(json.dumps(c)[1:-1] if c != "\n" and acts(c) else c for c in text)


def _is_plain(text: str, keep: str) -> bool:
    """True for nearly all text, and found out fast."""
    if text.isprintable():
        return True
    return bool(keep) and text.translate(dict.fromkeys(map(ord, keep))).isprintable()


def no_formula(text: str) -> str:
    """Text for a table of values: a table program must not take it for a formula."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@") else text


def named(letter: str) -> str:
    """A letter that acts, for a message: "U+202E, right-to-left override"."""
    called = name(letter, "a control character").lower()
    return f"U+{ord(letter):04X}, {called}"


def quoted(text: str) -> str:
    """Text in quotes for a message: one line, printable, shortened."""
    clean = harmless(text.strip())
    return f"'{clean}'" if len(clean) <= _QUOTED else f"'{clean[: _QUOTED - 3]}...'"
