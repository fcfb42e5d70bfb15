"""The views of a seat, one of them open: made when they are first opened, told what was picked."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from importlib import import_module
from typing import TYPE_CHECKING, NamedTuple

from textual import on
from textual.containers import Container
from textual.widget import Widget
from textual.widgets import Input

from pneumo.live.request import Answer, Line, Request, Seat
from tui.messages import Pick
from tui.view import View

if TYPE_CHECKING:
    from pneumo.live.link import Link


class ViewEntry(NamedTuple):
    """A view, imported when it is first opened."""

    title: str
    place: str
    """ "module:Class"."""
    seats: tuple[Seat, ...]
    drill: bool = False
    """Only where a drill is worked on."""


VIEWS = (
    ViewEntry("drill", "tui.views.drill:DrillView", ("trainer", "trainee"), drill=True),
    ViewEntry("zones", "tui.views.zones:ZonesView", ("trainer", "trainee")),
    ViewEntry("circuit", "tui.views.circuit:CircuitView", ("trainer", "trainee")),
    ViewEntry("trends", "tui.views.trends:TrendsView", ("trainer", "trainee")),
    ViewEntry("alarms", "tui.views.alarms:AlarmsView", ("trainer", "trainee")),
    ViewEntry("signals", "tui.views.signals:SignalsView", ("trainer", "trainee")),
    ViewEntry("logic", "tui.views.logic:LogicView", ("trainer", "trainee")),
    ViewEntry("verify", "tui.views.verify:VerifyView", ("trainer",)),
    ViewEntry("faults", "tui.views.faults:FaultsView", ("trainer",)),
    ViewEntry("tests", "tui.views.hands:HandsView", ("trainer", "trainee")),
)
"""In the order of their digits; that of a drill has the 0, so that the others keep theirs."""


class Stage(Container):
    """Where the open view stands."""

    def __init__(self, link: Link) -> None:
        super().__init__(id="stage")
        self.link = link
        worked_on = link.work is not None
        self._places = {
            entry.title: entry.place
            for entry in VIEWS
            if link.seat in entry.seats and (worked_on or not entry.drill)
        }
        self.titles = tuple(self._places)
        """The views of this seat, in the order of their digits."""
        self.lowest = 0 if worked_on else 1
        """Digit of the first."""
        self.views: dict[str, View] = {}
        """Those made so far, by title."""
        self.current = ""
        """Title of the open view; "" = none is."""
        self.picked = ""
        """Component that was picked last."""
        self._looked_at: dict[View, str] = {}
        """What each view was last told to look at."""

    @property
    def view(self) -> View | None:
        """The open view."""
        return self.views.get(self.current)

    async def make(self, title: str) -> bool:
        """Makes a view of this seat, unseen; False, and said, when this program has none."""
        if title in self.views:
            return True
        if title not in self._places:
            self.notify(f"This seat has no view {title}.", severity="warning")
            return False
        module, _, name = self._places[title].partition(":")
        try:
            made = getattr(import_module(module), name)(self.link)
        except ModuleNotFoundError as error:
            if error.name != module:
                raise
            self.notify(f"The view {title} is not part of this program.", severity="warning")
            return False
        made.display = False
        await self.mount(made)
        self.views[title] = made
        return True

    def open(self, title: str) -> View:
        """Shows a view that has been made."""
        self.current, view = title, self.views[title]
        view.show()
        for name, each in self.views.items():
            each.display = name == title
        return view

    def opened(self, view: View, begin: Callable[[View], None] | None, focus: bool) -> None:
        """The open view stands: it is told what was picked; `begin` gives the focus to a part of
        it, else it has it itself if `focus`."""
        # once: what has been chosen in a view since stays chosen there
        if self.picked and self._looked_at.get(view) != self.picked:
            view.look_at(self.picked)
            self._looked_at[view] = self.picked
        if begin is not None:
            begin(view)
        elif focus:
            self.take_focus()

    @on(Pick)
    def _picks(self, message: Pick) -> None:
        message.stop()
        self.picked = message.component
        self._looked_at = {self.views[self.current]: self.picked}
        for title, view in self.views.items():
            if title != self.current:
                view.look_at(message.component)

    def left(self, request: Request) -> None:
        """The cautions of a request were not confirmed; a line of a drill goes back to its page."""
        if isinstance(request, Line):
            not_done = Answer(0, False, "not done: its cautions were not confirmed.")
            for view in self.views.values():
                view.answered(request, not_done)

    def take_focus(self) -> None:
        """Gives the focus to the open view, or to its first child that can have it."""
        view = self.view
        inside: Iterable[Widget] = () if view is None else (view, *view.query("*"))
        able = [widget for widget in inside if widget.focusable]
        # a line to type in comes last: in it, keys are letters
        first = next((w for w in able if not isinstance(w, Input)), next(iter(able), None))
        if view is not None and view.first is not None:
            first = view.first
        self.screen.set_focus(first)

    def keep_focus(self) -> None:
        """A dialog that was there before the view leaves the focus nowhere, or in a hidden one."""
        view, focused = self.view, self.screen.focused
        if view is not None and (focused is None or view not in focused.ancestors_with_self):
            self.take_focus()
