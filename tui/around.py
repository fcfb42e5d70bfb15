"""What stands on the screen around the open view, and what of it has room beside which view."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from textual.containers import Container
from textual.widget import Widget

from tui.bar import Head, Key, Keys, Latest, Tabs, TimeBar, ZoneStrip
from tui.drilling import under_way
from tui.keys import NEWEST, WHILE_TYPING, keys_for
from tui.stage import Stage

if TYPE_CHECKING:
    from pneumo.live.frame import Frame
    from pneumo.live.link import Link


class Around:
    """The head, the bar of time, the tabs, the zones, the latest events and the keys."""

    def __init__(self, link: Link, stage: Stage) -> None:
        self._link, self._stage = link, stage
        self._usual = self._keys_now()
        self._head, self._time, self._tabs = (
            Head(link),
            TimeBar(link),
            Tabs(stage.titles, stage.lowest),
        )
        self._strip, self._latest, self._keys = ZoneStrip(link), Latest(link), Keys(self._usual)

    def _keys_now(self) -> tuple[Key, ...]:
        link = self._link
        return keys_for(link.seat, link.keeps_time, under_way(link) is not None)

    def parts(self) -> Iterable[Widget]:
        """From top to bottom, the views among them."""
        yield from (self._head, self._time, self._tabs)
        yield Container(self._strip, self._stage, self._latest, id="middle")
        yield self._keys

    def show(self, frame: Frame, trainee: str, waits_for: tuple[str, ...] | None) -> None:
        """Draws a frame. `trainee`: whether one has joined, "" = nobody can; `waits_for`: of a way
        back to normal, None = none is under way."""
        self._head.trainee, self._head.returning = trainee, waits_for
        self._usual = self._keys_now()
        self._head.show(frame)
        self._time.show(frame)
        for widget in (self._strip, self._latest):
            if widget.size.width:
                widget.show(frame)
        self._tabs.show_open(self._stage.current)

    def show_keys(self, *, typing: bool) -> None:
        """The keys that work now: in a line to type in, they are letters."""
        if not self._keys.is_attached:  # the app is being left
            return
        view = self._stage.view
        letters = (view.TYPING if view is not None else ()) or WHILE_TYPING
        back = self._link.keeps_time and self._link.frame.mode != "live"
        self._keys.show(letters if typing else (NEWEST, *self._usual) if back else self._usual)

    def make_room(self, title: str) -> None:
        """Takes away what the view of that title shows itself, or needs the room of."""
        # not a class of the screen: every widget would be styled anew
        self._strip.set_class(title == "zones", "-doubled")
        # the alarms view has the events itself
        self._latest.set_class(title == "alarms", "-doubled")
        # what comes into sight again is of now before it does: it would show for a moment, on a
        # busy machine for a second, what was there when it was last seen
        for widget in (self._strip, self._latest):
            widget.show(self._link.frame)
