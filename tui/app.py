"""The app: one seat at a ride. It asks the link, frames the views and answers the keys.

A timer reads `link.frame`; what is on screen is drawn anew only when its number has changed.
Nothing here waits for the ride: requests are handed over, and answers are read by the same timer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from textual import events, on, work
from textual.app import App, ComposeResult
from textual.binding import BindingType
from textual.command import Provider
from textual.filter import LineFilter
from textual.notifications import Notification
from textual.screen import Screen
from textual.widgets import Input

from pneumo.errors import InputError
from pneumo.harmless import harmless
from pneumo.live.request import Answer, Check, Request, Run
from tui.around import Around
from tui.dialogs import OFFERS, Facts, gone
from tui.drilling import judged, refused, under_way
from tui.harmless import Harmless
from tui.keyboard import HELD, Keyboard, Mark
from tui.keys import BINDINGS
from tui.messages import Ask
from tui.opening import Opening
from tui.requests import (
    KEYS,
    Needs,
    Pending,
    moved,
    needs_no_word,
    refusal,
    said_of,
    title_of,
)
from tui.returning import Returning
from tui.screens.confirm import Confirm, Invitation, Message
from tui.screens.outcomes import Outcomes
from tui.stage import Stage
from tui.theme import DARK, LIGHT
from tui.unfinished import Unfinished
from tui.view import View

# nothing of the ride is loaded here: the first screen is to stand before that
if TYPE_CHECKING:
    from pneumo.live.link import Link
    from pneumo.live.preparation import Preparation
    from tui.host import Host

FRAMES = 15
"""Looks at the ride per second."""

NOTES = 2
"""Notes on screen at a time."""


def _acts() -> type[Provider]:
    from tui.palette import Acts

    return Acts


def superfluous(notes: Sequence[Notification]) -> Iterator[Notification]:
    """All but the two latest notes, and of equal ones the earlier; more would cover the view."""
    kept: dict[str, None] = {}
    for note in reversed(notes):
        if note.message in kept or len(kept) == NOTES:
            yield note
        kept.setdefault(note.message)


class DashboardApp(App[None]):
    """One seat at a ride.

    Parameters
    ----------
    link
        The seat; None: it is being prepared.
    preparation
        Gives the seat, while a first screen says how far it is. When it fails the app is left.
    host
        None: the ride runs elsewhere, leaving does not end it.
    unfinished
        Runs that can be continued; None: there are none.
    """

    TITLE = "pneumo"
    CSS_PATH = "tui.tcss"
    ENABLE_COMMAND_PALETTE = True
    COMMANDS: ClassVar[set[type[Provider] | Callable[[], type[Provider]]]] = {_acts}
    HORIZONTAL_BREAKPOINTS = [(0, "-pages"), (120, "-strip"), (200, "-events")]  # noqa: RUF012
    VERTICAL_BREAKPOINTS = [(0, "-tiny"), (12, "-low"), (26, "-tall")]  # noqa: RUF012
    BINDINGS: ClassVar[list[BindingType]] = BINDINGS

    def __init__(
        self,
        link: Link | None = None,
        *,
        preparation: Preparation[Link] | None = None,
        host: Host | None = None,
        unfinished: Unfinished | None = None,
    ) -> None:
        super().__init__()
        self._harmless = Harmless()
        self.link: Link
        self.stage: Stage
        self.around: Around
        self.pending: Pending
        self.returning: Returning
        self.preparation = preparation
        self.opened = False
        """The seat is there, and its screen."""
        self.use_command_palette = False
        self.host = host
        self.unfinished = Unfinished() if unfinished is None else unfinished
        self.history: list[str] = []  # sentences typed
        self.keyboard = Keyboard(self, super().on_event)
        self._check: Outcomes | None = None
        """Dialog of the last check; stays closed once it was left."""
        self._drawn: tuple[int, str, Host | None] | None = None
        """Number of the frame that is on screen, the trouble and the host that are told there."""
        self._told_gone = ""
        self._held: list[tuple[str, bool]] = []  # notes that wait for a dialog to close
        self.register_theme(DARK)
        self.register_theme(LIGHT)
        self.theme = DARK.name
        if link is not None:
            self._take_seat(link)

    def get_line_filters(self) -> Sequence[LineFilter]:
        """What every line passes on its way to the terminal, whichever widget drew it."""
        return [self._harmless, *super().get_line_filters()]

    def _take_seat(self, link: Link) -> None:
        self.link, self.stage = link, Stage(link)
        self.around, self.pending = Around(link, self.stage), Pending(link)
        self.returning = Returning(link, self.pending)

    def compose(self) -> ComposeResult:
        if self.preparation is None:
            yield from self.around.parts()
        elif self._driver is not None:  # the terminal is empty until all is laid out
            self._driver.write(f"\x1b[H{harmless(self.preparation.name)}: getting ready")

    async def on_mount(self) -> None:
        self._base: Screen[object] = self.screen
        if self.preparation is None:
            await self._open()
        else:
            await self.push_screen(Opening(self.preparation))

    @on(Opening.Ended)
    async def _prepared(self) -> None:
        """The seat is there: the ride comes in place of the first screen."""
        link = None if self.preparation is None else self.preparation.made
        if link is None:
            self.exit()
            return
        self._take_seat(link)
        with self.batch_update():
            await self.pop_screen()
            await self._base.mount(*self.around.parts())
            await self._open()

    async def _open(self) -> None:
        await self.stage.make("tests")  # its notebook collects from the start
        await self.action_open_view(self.stage.titles[0])
        self.opened = self.use_command_palette = True
        self.set_interval(1 / FRAMES, self.tick)
        if self.unfinished.runs:
            self.push_screen(self.unfinished.offer(), self._chosen)
        else:
            self._chosen(None)

    def _chosen(self, run: Any) -> None:
        """A run that was not finished, None: none, and the ride begins."""
        if run is not None:
            self._take_up(run)
        if self.host is not None and self.host.invitation:
            self.call_later(self.action_offer, "invite")

    @work(thread=True)
    def _take_up(self, run: Any) -> None:
        try:
            self.unfinished.take_up(run)
        except InputError as error:
            self.call_from_thread(
                self.notify, str(error), severity="error", timeout=15, markup=False
            )

    def on_resize(self) -> None:
        self.call_after_refresh(self._draw)

    async def on_event(self, event: events.Event) -> None:
        if not isinstance(event, HELD) or event.is_forwarded:
            await super().on_event(event)
        elif self._is_there():
            await self.keyboard.take(event)

    @on(Mark)
    async def _mark_came(self, message: Mark) -> None:
        if self._is_there():
            await self.keyboard.came(message.number)

    def _is_there(self) -> bool:
        """False once the app is being left: its widgets are taken away one by one then."""
        return self.is_running and bool(self.screen_stack)

    # what comes from the ride

    def tick(self) -> None:
        """Reads answers, and draws when there is a new frame."""
        if not self._is_there():
            return
        for answer in self.link.answers():
            self._take(answer)
        trouble = self.link.trouble
        fresh = trouble if trouble != self._told_gone else ""
        if fresh or (self.link.frame.number, trouble, self.host) != self._drawn:
            self._draw()
            if fresh:
                self._told_gone = fresh
                self.push_screen(gone(fresh, self.host))
            self._go_on_returning()
        self._tell_held()
        if self.screen is self._base:
            self.stage.keep_focus()
        self.around.show_keys(typing=isinstance(self._base.focused, Input))
        self.keyboard.look()

    def _draw(self) -> None:
        if not self._is_there() or not self.opened:
            return
        frame = self.link.frame
        self._drawn = (frame.number, self.link.trouble, self.host)
        self._base.set_class(frame.mode == "earlier", "-earlier")
        goes_back = self.link.keeps_time and under_way(self.link) is None
        self._base.set_class(not goes_back, "-untimed")
        trainee = self.host.trainee if self.host is not None else ""
        self.around.show(frame, trainee, self.returning.waits_for(frame))
        if self.stage.view is not None:
            self.stage.view.show()

    def _take(self, answer: Answer) -> None:
        request, sure, quiet = self.pending.take(answer)
        if request is not None:
            # a list: every view gets to know, not only the first that shows it
            shown = [view.answered(request, answer) for view in self.stage.views.values()]
            if any(shown):
                return
        if needs_no_word(request, answer, quiet=quiet, returning=self.returning.under_way):
            return
        if isinstance(request, Check) and answer.data:
            self._show_outcomes(answer)
        elif (request is None and not answer.done) or (answer.cautions and not sure):
            self.push_screen(Message(title_of(request), [answer.text], answer.cautions))
        elif answer.text:
            words = said_of(request, answer, self.link)
            self.tell(words, answer.done and not answer.refused)

    def _refresh_notifications(self) -> None:
        for note in superfluous(list(self._notifications)):
            self._unnotify(note, refresh=False)
        super()._refresh_notifications()

    def tell(self, words: str, done: bool = True) -> None:
        """A short note at the top right; what could not be done stays longer."""
        if self.screen is not self._base:
            self._held.append((words, done))  # a dialog would cover it
            return
        self.notify(
            words, severity="information" if done else "warning", timeout=2 if done else 8,
            markup=False,
        )  # fmt: skip

    def _tell_held(self) -> None:
        """Notes that came while a dialog was open, and an invitation that has been taken up."""
        joined = self.host is not None and self.host.trainee == "joined"
        if joined and isinstance(self.screen, Invitation) and self.screen.waits:
            self.screen.dismiss(None)
        elif self._held and self.screen is self._base:
            held, self._held = self._held, []
            for words, done in held:
                self.tell(words, done)

    def _show_outcomes(self, answer: Answer) -> None:
        """Opens the dialog of a check with its first verdict, and adds the others to it."""
        if self._check is not None and self._check.to == answer.to:
            self._check.add(answer.data)
        else:
            self._check = Outcomes(answer)
            self.push_screen(self._check)

    # what goes to the ride

    def request(self, request: Request | None, *, sure: bool = False) -> None:
        """Passes a request on; asks first where that is due. None, of a dialog: it was left."""
        if request is None:
            return
        if why := refused(self.link, request):
            self.tell(why, False)
            return
        question = None if sure else self.pending.question(request)
        if question is not None:
            do, left = partial(self.request, request, sure=True), self.stage.left
            self.push_screen(question, lambda go: do() if go else left(request))
        else:
            self.pending.send(request, sure=sure)

    @on(Ask)
    def _view_asks(self, message: Ask) -> None:
        message.stop()
        self.request(message.request, sure=message.sure)

    def _may(self, needs: Needs, what: str = "") -> bool:
        """Whether this seat may; says why not."""
        why = refusal(self.link, needs, what)
        if why:
            self.notify(why, severity="warning" if needs == "trainer" else "information")
        return not why

    def action_ask(self, name: str) -> None:
        """Asks for what a key stands for (`tui.requests.KEYS`)."""
        key = KEYS[name]
        if self._may(key.needs, key.what):
            self.request(key.make(self.link.frame))

    def action_go(self, seconds: float) -> None:
        if self._may("time"):
            self.request(moved(self.link.frame, seconds))

    # views

    async def action_digit(self, number: int) -> None:
        place = number - self.stage.lowest
        if 0 <= place < len(self.stage.titles):
            await self.action_open_view(self.stage.titles[place])

    async def action_open_view(
        self, title: str, begin: Callable[[View], None] | None = None
    ) -> None:
        """Shows a view; makes it when it is opened for the first time. `begin`: gives the focus
        to a part of it, once it stands."""
        if not await self.stage.make(title):
            return
        self.around.make_room(title)
        self.call_after_refresh(self._opened, self.stage.open(title), begin)

    def _opened(self, view: View, begin: Callable[[View], None] | None) -> None:
        if view is self.stage.view and self._is_there():
            self._draw()
            self.stage.opened(view, begin, self.screen is self._base)

    async def action_tests(self) -> None:
        """Shows the technician's tests."""
        await self.action_open_view("tests", lambda view: view.begin())

    async def action_inject(self, picked: bool = False) -> None:
        """Begins a fault; `picked`: of the component that was picked last."""
        component = self.stage.picked if picked else ""
        if self._may("trainer", "Injecting faults"):
            await self.action_open_view("faults", lambda view: view.begin(component))

    # dialogs

    async def action_offer(self, name: str) -> None:
        """Opens a dialog (`tui.dialogs.OFFERS`); what is said in a drill is said on its page."""
        if name == "say" and self.link.seat == "trainee" and under_way(self.link) is not None:
            await self.action_open_view("drill", lambda view: view.begin())
            return
        offer = OFFERS[name]
        if not self._may(offer.needs, offer.what):
            return
        made = offer.make(Facts(self.link, self.stage, self.host, self.history))
        if isinstance(made, str):
            self.notify(made)
        else:
            self.push_screen(made, self.request)

    def action_normal(self) -> None:
        """Lists what leads back to normal, and does it once it is confirmed."""
        plan = self.returning.plan()
        if not plan.steps:
            self.notify(plan.lines[0], markup=False)
            return

        def decided(go: bool | None) -> None:
            if not go:
                return
            self.returning.begin(plan.steps)
            if plan.starts:
                self.request(Run(), sure=True)
            self._drawn = None

        self.push_screen(Confirm("Back to normal", plan.lines, plan.cautions, "Do all"), decided)

    def _go_on_returning(self) -> None:
        """Answers what is left once it can be answered; says when it is done, or what stands."""
        if (end := self.returning.go_on(self.link.frame)) is not None:
            self._drawn = None
            if end.back:
                self.notify(end.words)
            elif end.words:
                self.notify(end.words, severity="warning", timeout=15, markup=False)

    def action_other_theme(self) -> None:
        self.theme = LIGHT.name if self.theme == DARK.name else DARK.name

    def action_leave(self, asked: int = 0) -> None:
        """Leaves; asks only when that would lose something, or end what a trainee is at. `asked`:
        so many of the questions have been answered."""
        host = self.host if not self.link.trouble else None
        if host is not None and asked < len(host.losses):
            self.push_screen(
                Confirm("Leave", [host.losses[asked]], yes="Leave", no="Stay"),
                lambda go: self.action_leave(asked + 1) if go else None,
            )
            return
        self.link.close()
        self.exit(message=host.farewell(judged(self.link)) if host is not None else None)
