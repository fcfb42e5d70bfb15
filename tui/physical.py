"""What a person has to be told before an act by hand on a real ride.

Here nothing moves but numbers. Whoever rehearses an act here will do it one day on steel, so the
cautions are shown each time, before the act.
"""

from __future__ import annotations

from pneumo.live.request import Do, Hand, Request

ALWAYS = "Local codes, the maker's instructions and licensed practice come first."
CLEAR = (
    "Stay clear of the jaws: springs move them without air, stored air moves them without supply."
)
ZERO = (
    "Before reaching in: stop the ride, lock out and tag air and electricity, vent every vessel, "
    "block the jaws, verify zero energy at a gauge you trust."
)

_BY_VERB: dict[str, tuple[str, ...]] = {
    "isolate": (
        "A shut-off valve without a vent leaves the air behind it trapped.",
        "Lock it and tag it; who put the lock on takes it off.",
    ),
    "restore": (
        "See that nobody is at the jaws or at an open line before air comes back.",
        "Turn it slowly.",
    ),
    "drain": (
        "Air leaves with force: wear eye and ear protection, and hold nothing in front of it.",
        "A check valve keeps other vessels charged: each is drained by itself.",
    ),
    "override": (
        "The manual override moves the valve without the controller and without its interlocks.",
        "Nobody on the train or near the jaws; a second person keeps watch.",
    ),
    "release": ("The zone may move at once when the override is let go.",),
    "switch": ("Compressors and feeds that come back move what was waiting for them.",),
}

_BY_TEST: dict[str, tuple[str, ...]] = {
    "read": (
        "A test gauge is fitted to a test point, never to a joint under pressure.",
        "Vent the line first, fit the gauge, then let the air back in.",
    ),
    "listen": ("Wear ear protection; feel for leaks with soap water, never with the hand.",),
    "look": ("Look from outside the guard; a mirror, not the head, goes between the jaws.",),
    "measure": (
        "Live terminals: only by people entitled to it, with a meter and leads made for it.",
    ),
}

CONFIRMED_TESTS = ("read", "measure")
"""Tests that touch the system; ears and eyes do not."""


def cautions_for(request: Request) -> tuple[str, ...]:
    """What to tell before a request is carried out; () = nothing is done by hand."""
    if isinstance(request, Hand):
        own = _BY_TEST[request.test]
        return (*own, CLEAR, ALWAYS)
    if isinstance(request, Do):
        own = _BY_VERB.get(verb_of(request.sentence), ())
        return (*own, CLEAR, ZERO, ALWAYS) if own else ()
    return ()


def needs_confirming(request: Request) -> bool:
    """True: its cautions are to be read before it is done."""
    if isinstance(request, Hand):
        return request.test in CONFIRMED_TESTS
    return bool(cautions_for(request))


def verb_of(sentence: str) -> str:
    """First word of a sentence, also behind "in 5 s:"."""
    words = sentence.rpartition(":")[2].split()
    return words[0] if words else ""
