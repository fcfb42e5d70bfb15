"""Which requests are acts at the machine, whose cautions are shown before they are done.

Here nothing moves but numbers. Whoever rehearses an act here will do it one day on steel.
"""

from __future__ import annotations

from collections.abc import Collection

from pneumo.inspection.tests import TESTS
from pneumo.live.cautions import CAUTIONS, act_cautions, line_caution_keys, test_cautions
from pneumo.live.request import Do, Hand, Line, Request


def cautions_for(request: Request) -> tuple[str, ...]:
    """What to tell before a request is carried out; () = nothing is done at the machine."""
    if isinstance(request, Hand):
        return test_cautions(request.test)
    if isinstance(request, Do):
        return act_cautions(request.sentence)
    return ()


def needs_confirming(request: Request) -> bool:
    """True: its cautions are to be read before it is done."""
    if isinstance(request, Hand):
        return TESTS[request.test].touches
    return bool(cautions_for(request))


def caution_keys(request: Request) -> tuple[str, ...]:
    """Keys of `live.cautions.CAUTIONS` of what is done in a drill."""
    match request:
        case Line(words) | Do(words):
            return line_caution_keys(words)
        case Hand(test, _):
            return TESTS[test].cautions
    return ()


def fresh_cautions(request: Request, shown: Collection[str]) -> tuple[str, ...]:
    """Cautions before an act of a drill: each once, so that they are read."""
    return tuple(CAUTIONS[key] for key in caution_keys(request) if key not in shown)
