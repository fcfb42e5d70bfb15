"""A test made on a run, which it does not change."""

from __future__ import annotations

from collections.abc import Callable, Collection

from pneumo.inspection.ear import listen, soap
from pneumo.inspection.evidence import Evidence
from pneumo.inspection.eye import lining, look_at
from pneumo.inspection.gauge import read
from pneumo.inspection.hand import pry, pull
from pneumo.inspection.meter import card, resistance, voltage
from pneumo.inspection.moment import Moment
from pneumo.scenario.play import Play

MADE: dict[str, Callable[[Moment, str], Evidence]] = {
    "listen": listen, "soap": soap, "look": look_at, "callipers": lining, "pry": pry, "pull": pull,
    "voltage": voltage, "card": card, "resistance": resistance,
}  # fmt: skip
"""Word of a test -> what makes it; `read` needs to know where tees were fitted."""


def examine(play: Play, test: str, target: str, fitted: Collection[str] = ()) -> Evidence:
    """Makes a test.

    Parameters
    ----------
    play
        The run, at the instant of the test.
    test
        A word of `tests.TESTS`.
    target
        What it is made at, as somebody names it.
    fitted
        Ports "hose_1.2" at which a tee with a test point was fitted.

    Raises
    ------
    InputError
        When there is no such target, or nothing to be found there.
    """
    return examined(Moment(play), test, target, fitted)


def examined(at: Moment, test: str, target: str, fitted: Collection[str] = ()) -> Evidence:
    """As `examine`, for one of many tests at one instant."""
    target = target.strip()
    return read(at, target, fitted) if test == "read" else MADE[test](at, target)
