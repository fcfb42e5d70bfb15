"""The word that was meant, and words in a row: for messages."""

from __future__ import annotations

import difflib
from bisect import bisect_left
from collections.abc import Iterable, Sequence

from pneumo.harmless import quoted

_LIKE = 0.72
"""Ratio from which on one word may have been meant for another."""


def near(word: str, known: Iterable[str], otherwise: str = "") -> str:
    """ "Did you mean 'trim'?" when a known word is close, else the other sentence. Of several that
    end like it, as the parts of each zone do, none is more likely than the others: all are told."""
    known = sorted(known)
    alike = [name for name in known if name.endswith(f"_{word}")] if word else []
    if len(alike) > 1:
        return f"Is it {listed(alike, 4)}?"
    match = alike[0] if alike else _closest(word[:80], known)
    return f"Did you mean {quoted(match)}?" if match else otherwise


def _closest(word: str, known: Sequence[str]) -> str:
    """The sorted word that is most like another by difflib's ratio; "": none is like it.

    As `difflib.get_close_matches` finds it, but words that begin alike come first: they are the
    likely ones, and every other is then told off by the bounds of its ratio.
    """
    ratio = difflib.SequenceMatcher()
    ratio.set_seq2(word)
    best, found = _LIKE, ""
    at = bisect_left(known, word)
    for distance in range(max(at, len(known) - at)):
        for i in (at - 1 - distance, at + distance):
            if not 0 <= i < len(known):
                continue
            ratio.set_seq1(known[i])
            if ratio.real_quick_ratio() < best or ratio.quick_ratio() < best:
                continue
            is_like = ratio.ratio()
            if is_like > best or (is_like == best and known[i] > found):
                best, found = is_like, known[i]
    return found


def listed(words: Iterable[str], most: int = 8) -> str:
    """Words for a message: "a, b, c and 5 more"."""
    names = list(words)
    text = ", ".join(names[:most])
    return f"{text} and {len(names) - most} more" if len(names) > most else text
