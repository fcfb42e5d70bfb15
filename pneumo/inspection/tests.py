"""The tests a technician can make: one row each.

How a test is asked for, what it costs, what goes with it and what makes it is all in its row.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Literal

from pneumo.inspection.ear import listen, soap
from pneumo.inspection.evidence import Evidence
from pneumo.inspection.eye import lining, look_at
from pneumo.inspection.gauge import read
from pneumo.inspection.hand import pry, pull
from pneumo.inspection.meter import card, resistance, voltage
from pneumo.scenario.play import Play

Target = Literal["port", "part with air", "part", "coil", "brake"]
"""What a test is made at."""


@dataclass(frozen=True)
class Test:
    """One test."""

    word: str
    about: str
    """What is done, in a few words."""
    target: Target
    form: str
    """What a whole line looks like."""
    work: str
    """Field of `Downtime` that it costs."""
    cautions: tuple[str, ...]
    """Keys of `live.cautions.CAUTIONS`."""
    make: Callable[[Play, str, Collection[str]], Evidence]


def _read(play: Play, target: str, fitted: Collection[str]) -> Evidence:
    return read(play, target, fitted)


def _plain(
    make: Callable[[Play, str], Evidence],
) -> Callable[[Play, str, Collection[str]], Evidence]:
    """Of a test that needs no test point."""
    return lambda play, target, fitted: make(play, target)


ROWS = (
    Test("read", "read a pressure", "port", "read NAME.2", "read",
         ("codes", "lock out", "stored", "test point"), _read),
    Test("listen", "listen", "part with air", "listen NAME", "listen",
         ("codes", "jet", "jaws"), _plain(listen)),
    Test("soap", "soapy water", "part with air", "soap NAME", "soap",
         ("codes", "jet", "jaws"), _plain(soap)),
    Test("look", "look closely", "part", "look NAME", "look",
         ("codes", "lock out", "jaws", "springs"), _plain(look_at)),
    Test("callipers", "callipers at the linings", "brake", "callipers BRAKE", "measure_lining",
         ("codes", "lock out", "jaws", "springs"), _plain(lining)),
    Test("pry", "a bar at a jaw", "brake", "pry BRAKE", "pry",
         ("codes", "lock out", "jaws", "springs"), _plain(pry)),
    Test("pull", "a load cell at a ski", "brake", "pull BRAKE", "pull",
         ("codes", "lock out", "jaws", "springs"), _plain(pull)),
    Test("voltage", "voltage at a coil, live", "coil", "voltage VALVE.14", "measure",
         ("codes", "electricity", "jaws"), _plain(voltage)),
    Test("card", "voltage at the output card, live", "coil", "card VALVE.14", "measure_card",
         ("codes", "electricity", "jaws"), _plain(card)),
    Test("resistance", "resistance of a coil, dead", "coil", "resistance VALVE.14", "measure",
         ("codes", "dead", "jaws"), _plain(resistance)),
)  # fmt: skip
"""In the order in which they are offered."""

TESTS = {row.word: row for row in ROWS}
"""First word of a line -> its row."""


def examine(play: Play, test: str, target: str, fitted: Collection[str] = ()) -> Evidence:
    """Makes a test on a run, which it does not change.

    Parameters
    ----------
    play
        The run, at the instant of the test.
    test
        A word of `TESTS`.
    target
        What it is made at, as somebody names it.
    fitted
        Ports "hose_1.2" at which a tee with a test point was fitted.

    Raises
    ------
    InputError
        When there is no such target, or nothing to be found there.
    """
    return TESTS[test].make(play, target.strip(), fitted)
