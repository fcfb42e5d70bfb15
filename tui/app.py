"""The app: one seat at a ride. It asks the link, frames the views and answers the keys.

A timer reads `link.frame`; what is on screen is drawn anew only when its number has changed.
Nothing here waits for the ride: requests are handed over, and answers are read by the same timer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any, ClassVar, Literal, NamedTuple

from textual import events, on, work
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.command import Provider
from textual.containers import Container
from textual.filter import LineFilter
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Input

from pneumo.errors import InputError
from pneumo.harmless import harmless
from pneumo.live.request import (
    Answer,
    Check,
    Do,
    GoTo,
    Hand,
    Newest,
    NextEvent,
    OpenCase,
    Pause,
    Redo,
    Request,
    Run,
    Scan,
    Seat,
    Speed,
    Undo,
)
from tui import text
from tui.bar import Head, Keys, Latest, Tabs, TimeBar, ZoneStrip
from tui.harmless import Harmless
from tui.keyboard import HELD, Keyboard, Mark
from tui.keys import MARKS, NEWEST, SPEEDS, WHILE_TYPING, every_key, first_steps, keys_for
from tui.messages import Ask, Pick
from tui.normal import ACKNOWLEDGE, RESET, RESET_ONLY, nothing_left, still_stands, way_back
from tui.opening import Opening
from tui.physical import cautions_for, needs_confirming
from tui.screens.confirm import Confirm, Gone, Invitation, Message
from tui.screens.help import Help
from tui.screens.outcomes import Outcomes
from tui.screens.pick import PickOne
from tui.screens.save import SaveSituation
from tui.theme import DARK, LIGHT
from tui.view import View
from tui.widgets.choice import Choice

# nothing of the ride is loaded here: the first screen is to stand before that
if TYPE_CHECKING:
    from pneumo.live.frame import Frame
    from pneumo.live.link import Link
    from pneumo.live.preparation import Preparation
    from tui.palette import Act

FRAMES = 15
"""Looks at the ride per second."""

NOTES = 2
"""Notes on screen at a time."""

PATIENCE = 60.0
"""Time a way back to normal may take before the screen says what still stands [s of the run]."""


class ViewEntry(NamedTuple):
    """A view, imported when it is first opened."""

    title: str
    place: str
    """ "module:Class"."""
    seats: tuple[Seat, ...]


VIEWS = (
    ViewEntry("zones", "tui.views.zones:ZonesView", ("trainer", "trainee")),
    ViewEntry("circuit", "tui.views.circuit:CircuitView", ("trainer", "trainee")),
    ViewEntry("trends", "tui.views.trends:TrendsView", ("trainer", "trainee")),
    ViewEntry("alarms", "tui.views.alarms:AlarmsView", ("trainer", "trainee")),
    ViewEntry("signals", "tui.views.signals:SignalsView", ("trainer", "trainee")),
    ViewEntry("logic", "tui.views.logic:LogicView", ("trainer", "trainee")),
    ViewEntry("verify", "tui.views.verify:VerifyView", ("trainer",)),
    ViewEntry("faults", "tui.views.faults:FaultsView", ("trainer",)),
    ViewEntry("hands", "tui.views.hands:HandsView", ("trainer", "trainee")),
)
"""In the order of their digits."""


@dataclass(frozen=True)
class Host:
    """What the app should know of the program that runs the ride for it."""

    record: str = ""
    """File in which the run is kept; "" = it is not."""
    invitation: str = ""
    """What to type in another terminal to join as the trainee; "" = nobody can."""
    code: str = ""
    """Lets the next trainee in; "" = the seat is taken, or nobody can join."""
    only_here: bool = True
    """False: the seat is offered on the network."""
    trainee: str = ""
    """ "not joined", "joined" or "cut off"; "" = nobody can join."""


def _acts() -> type[Provider]:
    from tui.palette import Acts

    return Acts


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
        Runs that can be continued, each with its words; asked for once, at the start.
    take_up
        Called with the value of the run that is chosen, outside the screen's thread. It may take
        its time; an InputError of it is shown.
    forget
        Called with the value of a run that nobody wants any more.
    """

    TITLE = "pneumo"
    CSS_PATH = "tui.tcss"
    ENABLE_COMMAND_PALETTE = True
    COMMANDS: ClassVar[set[type[Provider] | Callable[[], type[Provider]]]] = {_acts}
    HORIZONTAL_BREAKPOINTS = [  # noqa: RUF012
        (0, "-pages"), (120, "-strip"), (200, "-events"),
    ]  # fmt: skip
    VERTICAL_BREAKPOINTS = [  # noqa: RUF012
        (0, "-tiny"), (12, "-low"), (26, "-tall"),
    ]  # fmt: skip
    BINDINGS: ClassVar[list[BindingType]] = [
        *(Binding(str(n), f"digit({n})", show=False) for n in range(1, 10)),
        Binding("space", "toggle_run", "run or pause"),
        Binding("left_square_bracket", "slower", "slower"),
        Binding("right_square_bracket", "faster", "faster"),
        Binding("full_stop", "scan", "one scan"),
        Binding("n", "next_event", "next event"),
        Binding("ctrl+left", "go(-1)", "back 1 s"),
        Binding("ctrl+right", "go(1)", "on 1 s"),
        Binding("less_than_sign,ctrl+shift+left", "go(-10)", "back 10 s"),
        Binding("greater_than_sign,ctrl+shift+right", "go(10)", "on 10 s"),
        Binding("h", "newest", "newest"),
        Binding("s", "stop", "ride stop"),
        Binding("a", "acknowledge", "acknowledge all"),
        Binding("r", "reset", "reset all"),
        Binding("f", "inject", "inject a fault"),
        Binding("x", "inject_picked", "inject a fault here"),
        Binding("t", "tests", "tests"),
        Binding("u", "undo", "undo"),
        Binding("U", "redo", "redo"),
        Binding("N", "normal", "back to normal"),
        Binding("k", "check", "fail-safe check"),
        Binding("w", "save", "save the situation"),
        Binding("I", "invite", "invite a trainee"),
        Binding("colon", "say", "type a sentence"),
        Binding("question_mark,f1", "help", "help"),
        Binding("q,ctrl+q", "leave", "leave"),
    ]

    def __init__(
        self,
        link: Link | None = None,
        *,
        preparation: Preparation[Link] | None = None,
        host: Host | None = None,
        unfinished: Sequence[tuple[str, Any]] = (),
        take_up: Callable[[Any], None] | None = None,
        forget: Callable[[Any], None] | None = None,
    ) -> None:
        super().__init__()
        self._harmless = Harmless()
        self.link: Link
        self.entries: tuple[ViewEntry, ...] = ()
        """The views of this seat."""
        self.preparation = preparation
        self.opened = False
        """The seat is there, and its screen."""
        self.use_command_palette = False
        self.host = host
        self.unfinished = tuple(unfinished)
        self.take_up = take_up
        self.forget = forget
        self.views: dict[str, View] = {}
        """Those opened so far, by title."""
        self.current = ""
        """Title of the open view."""
        self.picked = ""
        """Component that was picked last."""
        self._looked_at: dict[View, str] = {}
        """What each view was last told to look at."""
        self.history: list[str] = []
        """Sentences typed."""
        self.keyboard = Keyboard(self, super().on_event)
        self._asked: dict[int, tuple[Request, bool]] = {}
        """Requests under way, by number; whether their cautions have been read."""
        self._check: Outcomes | None = None
        """Dialog of the last check; stays closed once it was left."""
        self._drawn: tuple[int, str, Host | None] | None = None
        """Number of the frame that is on screen, the trouble and the host that are told there."""
        self._told_gone = ""
        self._returning: float | None = None
        """A way back to normal is under way: when patience ends [s of the run]."""
        self._answered_at = -1.0
        self._held: list[tuple[str, bool]] = []
        """Notes that wait for a dialog to close."""
        self._quiet: set[int] = set()
        """Requests of a way back to normal: done they need no word, line 2 says what is left."""
        self.register_theme(DARK)
        self.register_theme(LIGHT)
        self.theme = DARK.name
        if link is not None:
            self._take_seat(link)

    def get_line_filters(self) -> Sequence[LineFilter]:
        """What every line passes on its way to the terminal, whichever widget drew it."""
        return [self._harmless, *super().get_line_filters()]

    @property
    def titles(self) -> tuple[str, ...]:
        """The views of this seat, in the order of their digits."""
        return tuple(entry.title for entry in self.entries)

    def _take_seat(self, link: Link) -> None:
        self.link = link
        self.entries = tuple(entry for entry in VIEWS if link.seat in entry.seats)

    def compose(self) -> ComposeResult:
        if self.preparation is None:
            yield from self._parts()
        elif self._driver is not None:  # the terminal is empty until all is laid out
            self._driver.write(f"\x1b[H{harmless(self.preparation.name)}: getting ready")

    def _parts(self) -> Iterable[Widget]:
        """What frames the views."""
        link = self.link
        yield Head(link)
        yield TimeBar(link)
        yield Tabs(self.titles)
        yield Container(ZoneStrip(link), Container(id="stage"), Latest(link), id="middle")
        yield Keys(keys_for(link.seat, link.keeps_time))

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
            await self._base.mount(*self._parts())
            await self._open()

    async def _open(self) -> None:
        self._base.set_class(not self.link.keeps_time, "-untimed")
        await self._make(self._entry("hands"))  # its notebook collects from the start
        await self.action_open_view(self.titles[0])
        self.opened = self.use_command_palette = True
        self.set_interval(1 / FRAMES, self.tick)
        if self.unfinished:
            self._offer_unfinished()
        elif self.host is not None and self.host.invitation:
            self.action_invite()

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
        seen = (self.link.frame.number, self.link.trouble, self.host)
        if seen != self._drawn or (seen[1] and seen[1] != self._told_gone):
            self._draw()
            if seen[1] and seen[1] != self._told_gone:
                self._told_gone = seen[1]
                self._say_gone(seen[1])
            self._go_on_returning(self.link.frame)
        self._tell_held()
        self._keep_focus()
        self._show_keys()
        self.keyboard.look()

    def _keep_focus(self) -> None:
        """A dialog that was there before the view leaves the focus nowhere, or in a hidden one."""
        view, focused = self.views.get(self.current), self._base.focused
        if view is None or self.screen is not self._base:
            return
        if focused is None or view not in focused.ancestors_with_self:
            self._focus(view)

    def _show_keys(self) -> None:
        """The keys that work now: in a line to type in, they are letters."""
        keys = keys_for(self.link.seat, self.link.keeps_time)
        if isinstance(self._base.focused, Input):
            keys = WHILE_TYPING
        elif self.link.keeps_time and self.link.frame.mode != "live":
            keys = (NEWEST, *keys)
        for line in self._base.query(Keys):  # none any more when the app is closing
            line.show(keys)

    def _draw(self) -> None:
        if not self._is_there() or not self.opened:
            return
        frame = self.link.frame
        self._drawn = (frame.number, self.link.trouble, self.host)
        base = self._base
        base.set_class(frame.mode == "earlier", "-earlier")
        head = base.query_one(Head)
        head.trainee = self.host.trainee if self.host is not None else ""
        head.returning = None if self._returning is None else self._waits_for(frame)
        head.show(frame)
        base.query_one(TimeBar).show(frame)
        for widget in (base.query_one(ZoneStrip), base.query_one(Latest)):
            if widget.size.width:
                widget.show(frame)
        base.query_one(Tabs).show_open(self.current)
        view = self.views.get(self.current)
        if view is not None:
            view.show()

    def _take(self, answer: Answer) -> None:
        request, sure = self._asked.get(answer.to, (None, False))
        if not isinstance(request, Check):  # a check is answered loss by loss
            self._asked.pop(answer.to, None)
        if request is not None:
            # a list: every view gets to know, not only the first that shows it
            shown = [view.answered(request, answer) for view in self.views.values()]
            if any(shown):
                return
        if self._needs_no_word(request, answer):
            return
        if isinstance(request, Check) and answer.data:
            self._show_outcomes(answer)
        elif request is None and not answer.done:
            self.push_screen(Message("The ride says", [answer.text], answer.cautions))
        elif answer.cautions and not sure:
            self.push_screen(Message(_title(request), [answer.text], answer.cautions))
        elif answer.text:
            words = answer.text
            if answer.done and isinstance(request, Do):
                words += self._who_sees(request)
            self.tell(words, answer.done and not answer.refused)

    def _needs_no_word(self, request: Request | None, answer: Answer) -> bool:
        """An acknowledgement or a reset is only asked for: the controller does or refuses it at
        its next scan, and says so then. Line 2 tells what a way back to normal waits for."""
        quiet = answer.to in self._quiet
        if not isinstance(request, Check):
            self._quiet.discard(answer.to)
        if not answer.done:
            return False
        if request is None:
            return self._returning is not None and answer.refused == "reset"
        asked = isinstance(request, Do) and request.sentence.startswith(("acknowledge", "reset"))
        return quiet or (asked and not answer.cautions)

    def _who_sees(self, request: Do) -> str:
        """Of a fault that the trainer has set: whether the trainee is told of it."""
        if request.hidden:
            return ", hidden from the trainee (v in view 8 shows it)"
        fault = request.sentence.rpartition(": ")[2].startswith("fault ")
        return ", shown to the trainee" if fault and self.link.seat == "trainer" else ""

    def _refresh_notifications(self) -> None:
        """Keeps the two latest notes, and of equal ones the later; more would cover the view."""
        kept: dict[str, None] = {}
        for note in reversed(list(self._notifications)):
            if note.message in kept or len(kept) == NOTES:
                self._unnotify(note, refresh=False)
            kept.setdefault(note.message)
        super()._refresh_notifications()

    def tell(self, words: str, done: bool = True) -> None:
        """A short note at the top right; what could not be done stays longer."""
        if self.screen is not self._base:
            self._held.append((words, done))  # a dialog would cover it
            return
        severity: Literal["information", "warning"] = "information" if done else "warning"
        self.notify(words, severity=severity, timeout=2 if done else 8, markup=False)

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

    def _say_gone(self, trouble: str) -> None:
        lines = [trouble]
        if self.host is not None and self.host.record:
            lines.append(
                f"The run is kept in {self.host.record} and can be continued from there at the "
                "next start."
            )
        lines.append("What is on screen is the last that was seen. q leaves.")
        self.push_screen(Gone("The ride is gone", lines))

    # what goes to the ride

    def request(self, request: Request, *, sure: bool = False) -> None:
        """Passes a request on; asks first when it is a physical act or ends a kept future."""
        if not sure and needs_confirming(request):
            self._confirm(request, [f"{_in_words(request)}?"], cautions_for(request), "Do it")
            return
        frame = self.link.frame
        if frame.mode == "earlier" and not sure and isinstance(request, Run | Do | OpenCase):
            lines = [
                f"{text.clock(frame.time)} is shown, the newest instant is "
                f"{text.clock(frame.newest)}.",
                f"{_in_words(request)} from here: what came after is dropped.",
            ]
            self._confirm(request, lines, (), "Go on from here")
            return
        self._asked[self.link.send(request)] = (request, sure)

    def _confirm(
        self, request: Request, lines: Sequence[str], cautions: Sequence[str], yes: str
    ) -> None:
        def decided(go: bool | None) -> None:
            if go:
                self.request(request, sure=True)

        self.push_screen(Confirm(_title(request), lines, cautions, yes), decided)

    @on(Ask)
    def _view_asks(self, message: Ask) -> None:
        message.stop()
        self.request(message.request, sure=message.sure)

    @on(Pick)
    def _view_picks(self, message: Pick) -> None:
        message.stop()
        self.picked = message.component
        self._looked_at = {self.views[self.current]: self.picked}
        for title, view in self.views.items():
            if title != self.current:
                view.look_at(message.component)

    @on(TimeBar.Clicked)
    def _time_clicked(self, message: TimeBar.Clicked) -> None:
        self.request(Newest() if message.instant is None else GoTo(message.instant))

    def do_act(self, act: Act) -> None:
        """Does a line of the command palette."""
        if act.sentence:
            self.request(Do(act.sentence))
        else:
            self.call_later(self.run_action, act.action)

    # views

    async def action_digit(self, number: int) -> None:
        if number <= len(self.titles):
            await self.action_open_view(self.titles[number - 1])

    async def action_open_view(self, title: str, begin: Callable[[], None] | None = None) -> None:
        """Shows a view; makes it when it is opened for the first time. `begin`: gives the focus
        to a part of it, once it stands."""
        if title not in self.titles:
            self.notify(f"This seat has no view {title}.", severity="warning")
            return
        if title not in self.views and not await self._make(self._entry(title)):
            return
        self.current = title
        # not a class of the screen: every widget would be styled anew
        strip, latest = self._base.query_one(ZoneStrip), self._base.query_one(Latest)
        strip.set_class(title == "zones", "-doubled")
        # the alarms view has the events itself
        latest.set_class(title == "alarms", "-doubled")
        # what comes into sight again is of now before it does: it would show for a moment, on a
        # busy machine for a second, what was there when it was last seen
        for widget in (strip, latest):
            widget.show(self.link.frame)
        self.views[title].show()
        for name, view in self.views.items():
            view.display = name == title
        self.call_after_refresh(self._opened, self.views[title], begin)

    def _entry(self, title: str) -> ViewEntry:
        return next(entry for entry in self.entries if entry.title == title)

    async def _make(self, entry: ViewEntry) -> bool:
        module, _, name = entry.place.partition(":")
        try:
            made = getattr(import_module(module), name)(self.link)
        except ModuleNotFoundError as error:
            if error.name != module:
                raise
            self.notify(f"The view {entry.title} is not part of this program.", severity="warning")
            return False
        made.display = False
        await self._base.query_one("#stage").mount(made)
        self.views[entry.title] = made
        return True

    def _opened(self, view: View, begin: Callable[[], None] | None) -> None:
        if view is not self.views.get(self.current) or not self._is_there():
            return
        self._draw()
        # once: what has been chosen in a view since stays chosen there
        if self.picked and self._looked_at.get(view) != self.picked:
            view.look_at(self.picked)
            self._looked_at[view] = self.picked
        if begin is not None:
            begin()
        elif self.screen is self._base:
            self._focus(view)

    def _focus(self, view: View) -> None:
        inside: Iterable[Widget] = (view, *view.query("*"))
        able = [widget for widget in inside if widget.focusable]
        # a line to type in comes last: in it, keys are letters
        first = next((w for w in able if not isinstance(w, Input)), next(iter(able), None))
        self._base.set_focus(first)

    async def action_tests(self) -> None:
        """Shows the technician's tests."""
        from tui.views.hands import HandsView

        view = self.views["hands"]
        assert isinstance(view, HandsView)
        await self.action_open_view("hands", view.begin_tests)

    # time

    def _keeps_time(self) -> bool:
        if not self.link.keeps_time:
            self.notify("Only the trainer can change the time of this ride.")
        return self.link.keeps_time

    def action_toggle_run(self) -> None:
        if self._keeps_time():
            self.request(Pause() if self.link.frame.running else Run())

    def action_slower(self) -> None:
        if self._keeps_time():
            slower = [s for s in SPEEDS if s < self.link.frame.speed * 0.999]
            self.request(Speed(slower[-1] if slower else SPEEDS[0]))

    def action_faster(self) -> None:
        if self._keeps_time():
            faster = [s for s in SPEEDS if s > self.link.frame.speed * 1.001]
            self.request(Speed(faster[0] if faster else SPEEDS[-1]))

    def action_scan(self) -> None:
        if self._keeps_time():
            self.request(Scan())

    def action_next_event(self) -> None:
        if self._keeps_time():
            self.request(NextEvent())

    def action_go(self, seconds: float) -> None:
        if not self._keeps_time():
            return
        frame = self.link.frame
        wanted = max(frame.time + seconds, 0.0)
        if wanted >= frame.newest:
            self.request(Newest())
        else:
            self.request(GoTo(wanted))

    def action_newest(self) -> None:
        if self._keeps_time():
            self.request(Newest())

    # the operator's answers

    def action_stop(self) -> None:
        self.request(Do("ride stop"))

    def action_acknowledge(self) -> None:
        self.request(Do(ACKNOWLEDGE))

    def action_reset(self) -> None:
        self.request(Do(RESET))

    # the trainer's acts

    def _is_trainer(self, what: str) -> bool:
        if self.link.seat != "trainer":
            self.notify(f"{what} is for the trainer's seat.", severity="warning")
        return self.link.seat == "trainer"

    async def action_inject(self) -> None:
        await self._begin_fault("")

    async def action_inject_picked(self) -> None:
        await self._begin_fault(self.picked)

    async def _begin_fault(self, component: str) -> None:
        if not self._is_trainer("Injecting faults"):
            return
        from tui.views.faults import FaultsView

        def begin() -> None:
            view = self.views["faults"]
            assert isinstance(view, FaultsView)
            view.begin(component)

        await self.action_open_view("faults", begin)

    def action_undo(self) -> None:
        if self._is_trainer("Undo"):
            self.request(Undo())

    def action_redo(self) -> None:
        if self._is_trainer("Redo"):
            self.request(Redo())

    def action_check(self) -> None:
        if not self._is_trainer("The fail-safe check"):
            return
        from pneumo.verification.plan import losses

        trials = losses(self.link.plant.circuit)
        choices = [
            Choice(zone, Check(zone, trial.name), trial.name)
            for zone in self.link.plant.zones
            for trial in trials
            if trial.zone in (None, zone)
        ]

        def chosen(request: Request | None) -> None:
            if request is not None:
                self.request(request)

        title = "Fail-safe check: which zone, which loss (played beside the ride)"
        self.push_screen(PickOne(title, choices, "type a zone or a loss"), chosen)

    def action_save(self) -> None:
        if not self._is_trainer("Saving a situation"):
            return

        def named(request: Request | None) -> None:
            if request is not None:
                self.request(request)

        self.push_screen(SaveSituation(), named)

    # back to normal

    def action_normal(self) -> None:
        """Lists what leads back to normal, and does it once it is confirmed."""
        frame = self.link.frame
        steps = way_back(self.link.plant, frame, self.link.seat)
        if not steps:
            self.notify(nothing_left(frame, self.link.seat), markup=False)
            return
        starts = self.link.keeps_time and not frame.running
        lines = [f"{number}. {step}" for number, step in enumerate(steps, 1)]
        if starts:
            lines.append("Then the run goes on, so that the zones can get there.")
        if self.link.seat == "trainee":
            lines.append("A fault that stands stays: it is found and mended, not reset.")
        cautions = dict.fromkeys(c for step in steps for c in cautions_for(Do(step)))

        def decided(go: bool | None) -> None:
            if not go:
                return
            for step in steps:
                self._do_quietly(step)
            if starts:
                self.request(Run(), sure=True)
            self._returning = self.link.frame.time + PATIENCE
            self._drawn = None
            self._answered_at = self.link.frame.time

        self.push_screen(Confirm("Back to normal", lines, tuple(cautions), "Do all"), decided)

    def _go_on_returning(self, frame: Frame) -> None:
        """Answers what is left once it can be answered; says when it is done, or what stands."""
        if self._returning is None:
            return
        steps = way_back(self.link.plant, frame, self.link.seat)
        stands = still_stands(frame)
        if frame.time > self._returning:
            self._returning = self._drawn = None
            what = "; ".join(stands) or "; ".join(steps)
            if what:
                self.notify(
                    f"Not back to normal yet. What still stands: {what}. N tries again.",
                    severity="warning",
                    timeout=15,
                    markup=False,
                )
        elif frame.time >= self._answered_at + 1.0:  # a second for the last answers to be read
            if not (steps or stands) and all(_at_rest(zone.state) for zone in frame.zones):
                self._returning = self._drawn = None
                if self.link.seat == "trainee":
                    self.notify(RESET_ONLY)
                else:
                    self.notify("Back to normal: no fault, no alarm, every zone where it belongs.")
            elif steps and not stands and set(steps) <= {ACKNOWLEDGE, RESET}:
                self._answered_at = frame.time
                for step in steps:
                    self._do_quietly(step)

    def _do_quietly(self, step: str) -> None:
        request = Do(step)
        number = self.link.send(request)
        self._asked[number] = (request, True)
        self._quiet.add(number)

    def _waits_for(self, frame: Frame) -> tuple[str, ...]:
        """What a way back to normal waits for."""
        return still_stands(frame) or tuple(
            f"{name} to be at rest"
            for name, zone in zip(self.link.plant.zones, frame.zones, strict=True)
            if not _at_rest(zone.state)
        )

    # questions and help

    def action_say(self) -> None:
        def said(sentence: str | None) -> None:
            if sentence:
                self.history.append(sentence)
                fault = sentence.partition(": ")[2] or sentence
                hidden = self.link.seat == "trainer" and fault.startswith("fault ")
                self.request(Do(sentence, hidden))

        from tui.screens.command import CommandLine

        self.push_screen(CommandLine(self.link, self.history), said)

    def action_help(self) -> None:
        view = self.views.get(self.current)
        texts = [view.HELP] if view is not None and view.HELP else []
        if self.link.drill:
            texts.insert(0, f"## Drill: {self.link.drill}")
        texts.append(first_steps(self.link.seat))
        if self.host is not None and self.host.invitation:
            code = f"The code to join is **{self.host.code}**." if self.host.code else ""
            texts.append(
                f"## A second seat\nIn another terminal, the trainee types:\n\n"
                f"`{self.host.invitation}`\n\n{code} Trainee: {self.host.trainee}."
            )
        keys = every_key(self.link.seat, self.link.keeps_time)
        self.push_screen(Help(f"Help: {self.current}", texts, keys, MARKS))

    def action_invite(self) -> None:
        """Says how a trainee joins."""
        host = self.host
        if host is None or not host.invitation:
            self.notify("Nobody can join: the ride was started for one seat.")
            return
        where = (
            "Only from this machine."
            if host.only_here
            else "From any machine that reaches this one on the network."
        )
        lines = [
            f"In another terminal the trainee types:  {host.invitation}",
            *([f"and then the code:  {host.code}"] if host.code else []),
            where,
            f"Trainee: {host.trainee or 'not joined'}. I shows this again.",
        ]
        self.push_screen(Invitation("A second seat", lines, waits=host.trainee != "joined"))

    def action_other_theme(self) -> None:
        self.theme = LIGHT.name if self.theme == DARK.name else DARK.name

    def action_leave(self, sure: bool = False) -> None:
        """Leaves; asks only when that would lose something, or end what a trainee is at.

        `sure`: that has been asked.
        """
        if self.host is None or self.link.trouble:
            self._leave("")
        elif self.host.trainee == "joined" and not sure:

            def ends(go: bool | None) -> None:
                if go:
                    self.action_leave(sure=True)

            lines = ["A trainee has joined: leaving ends the ride in that terminal too."]
            self.push_screen(Confirm("Leave", lines, yes="Leave", no="Stay"), ends)
        elif self.host.record:
            self._leave(
                f"The run is kept in {self.host.record}; "
                f"pneumo dashboard --continue {self.host.record} goes on with it."
            )
        else:

            def decided(go: bool | None) -> None:
                if go:
                    self._leave("")

            lines = ["The run is not recorded: leaving ends it for good."]
            self.push_screen(Confirm("Leave", lines, yes="Leave", no="Stay"), decided)

    def _leave(self, words: str) -> None:
        self.link.close()
        self.exit(message=words or None)

    def _offer_unfinished(self) -> None:
        def chosen(value: Any) -> None:
            if value is not None:
                self._take_up(value)
            if self.host is not None and self.host.invitation:
                self.action_invite()

        choices = [Choice(label, value) for label, value in self.unfinished]
        title = "A run was not finished: continue it?"
        offer = PickOne(title, choices, no="Start anew", forget=self.forget)
        self.push_screen(offer, chosen)

    @work(thread=True)
    def _take_up(self, value: Any) -> None:
        if self.take_up is None:
            return
        try:
            self.take_up(value)
        except InputError as error:
            self.call_from_thread(
                self.notify, str(error), severity="error", timeout=15, markup=False
            )


def _at_rest(state: str) -> bool:
    return state in ("open", "closed")


def _in_words(request: Request) -> str:
    if isinstance(request, Do):
        return request.sentence
    if isinstance(request, Hand):
        return f"{request.test} {request.target}"
    return "Go on" if isinstance(request, Run) else "Open the case"


def _title(request: Request | None) -> str:
    if isinstance(request, Hand):
        return "A test by hand"
    if isinstance(request, Do):
        return "An act on the ride"
    return "Gone back" if isinstance(request, Run | OpenCase) else "The ride says"
