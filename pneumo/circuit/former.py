"""Words that documents, drills and records of earlier versions hold, and today's.

Contacts were *made* or *broken*, which reads as defective; they are ON or OFF, as the inputs of a
controller are (IEC 61131-2). A spool was *shifted* and a drain *shut*: the one is actuated, the
other closed (ISO 5598); for how long switches may *disagree* is the discrepancy time. Whoever reads
an old file gets today's words, and is told.
"""

from __future__ import annotations

import re

MODES = {
    "stuck-made": "stuck-on",
    "stuck-broken": "stuck-off",
    "stuck-shifted": "stuck-actuated",
    "stuck-shifted-12": "stuck-actuated-12",
    "uncommanded-shift": "uncommanded-actuation",
    "uncommanded-shift-12": "uncommanded-actuation-12",
}
"""Fault modes of contacts and of spools: earlier name -> name."""

STATES = {"made": "on", "broken": "off"}
"""What an input is forced to: earlier word -> word."""

DRAIN = {"shut": "closed"}
"""What a drain is: earlier word -> word."""

LIMITS = {"disagree": "discrepancy"}
"""Keys of a zone's limits: earlier name -> name."""

DRILL = {"acts": "actions", "said": "entered"}
"""Keys of a drill of version 1, and of an action of it: earlier name -> name."""

_IN_TEXT = (
    (" are both made", " are both ON"),
    (" is made", " is ON"),
    (" is broken", " is OFF"),
)


def former_words(sentence: str) -> dict[str, str]:
    """Earlier words of a sentence -> what to write: {"stuck-made": "stuck-on"}.

    The sentence is one of a scenario, perhaps behind "in 5 s:", or a fault without its verb.
    """
    words = sentence.rpartition(":")[2].split()
    verb = words[0] if words else ""
    known = {"force": STATES, "drain": DRAIN}.get(verb, MODES)
    place = 2 if verb in ("force", "drain", "fault", "clear") else 1
    return {word: known[word] for word in words[place : place + 1] if word in known}


def renewed(sentence: str) -> str:
    """The sentence in today's words; one that has no other is returned as it is."""
    for word, today in former_words(sentence).items():
        head, _, rest = sentence.rpartition(word)
        sentence = f"{head}{today}{rest}"
    return sentence


def renewed_text(text: str) -> str:
    """What an earlier version has said of contacts, in today's words: an alarm, a reason."""
    for word, today in MODES.items():
        text = text.replace(word, today)
    for words, today in _IN_TEXT:
        text = re.sub(rf"{words}\b", today, text)
    return text


def remark(sentence: str) -> str:
    """Tells whoever wrote a sentence of its earlier words: "'stuck-made' is now 'stuck-on'."; ""
    when it has none."""
    found = former_words(sentence).items()
    return " ".join(f"'{word}' is now '{today}'." for word, today in found)
