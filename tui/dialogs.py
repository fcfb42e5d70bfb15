"""The dialogs that a key opens in every view, and which seat may have them."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, NamedTuple

from textual.screen import Screen

from pneumo.live.request import Check
from tui.drilling import refused
from tui.requests import Needs
from tui.screens.confirm import Gone, Invitation
from tui.screens.help import help_for
from tui.screens.pick import PickOne
from tui.screens.save import SaveSituation
from tui.stage import Stage

# what needs the ride's modules loads them when it is opened: the first screen stands before that
if TYPE_CHECKING:
    from pneumo.live.link import Link
    from tui.host import Host


class Facts(NamedTuple):
    """What dialogs are made from."""

    link: Link
    stage: Stage
    host: Host | None
    history: list[str]
    """Sentences typed; the command line adds to it."""


class Offer(NamedTuple):
    """A dialog by the name of its action; it gives a request, or None."""

    make: Callable[[Facts], Screen[Any] | str]
    """A text: why there is none."""
    needs: Needs = ""
    what: str = ""
    """What is for the trainer only, at the beginning of a sentence."""


def _check(facts: Facts) -> Screen[Any] | str:
    from tui.palette import checks

    if why := refused(facts.link, Check("")):
        return why

    title = "Fail-safe check: which zone, which loss (played beside the ride)"
    return PickOne(title, checks(facts.link.plant), "type a zone or a loss")


def _say(facts: Facts) -> Screen[Any]:
    from tui.screens.command import CommandLine

    return CommandLine(facts.link, facts.history)


def _invite(facts: Facts) -> Screen[Any] | str:
    """How a trainee joins."""
    host = facts.host
    if host is None or not host.invitation:
        return "Nobody can join: the ride was started for one seat."
    return Invitation("A second seat", host.how_to_join(), waits=host.trainee != "joined")


OFFERS = {
    "check": Offer(_check, "trainer", "The fail-safe check"),
    "save": Offer(lambda facts: SaveSituation(), "trainer", "Saving a situation"),
    "say": Offer(_say),
    "help": Offer(lambda facts: help_for(facts.link, facts.stage, facts.host)),
    "invite": Offer(_invite),
}


def gone(trouble: str, host: Host | None) -> Gone:
    """The last dialog of a ride that is gone."""
    kept = [] if host is None else host.kept()
    last = "What is on screen is the last that was seen. q leaves."
    return Gone("The ride is gone", [trouble, *kept, last])
