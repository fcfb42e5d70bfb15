"""Which requests are acts at the machine, whose cautions are shown before they are done.

Here nothing moves but numbers. Whoever rehearses an act here will do it one day on steel.
"""

from __future__ import annotations

from pneumo.inspection.tests import TESTS
from pneumo.live.cautions import act_cautions, test_cautions
from pneumo.live.request import Do, Hand, Request


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
