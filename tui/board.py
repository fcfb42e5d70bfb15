"""The trainer's board of a class: who is where, and what can be done about it.

A timer looks at every ride; what says nothing else is not drawn anew. Nothing here waits for a
ride: requests are handed over, and what comes of them is told in the lines below.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.filter import LineFilter
from textual.screen import Screen
from textual.widgets import OptionList

from pneumo.errors import InputError, UnfinishedError
from pneumo.live.request import Line, Pause, Request, Run, Tell
from tui.harmless import Harmless
from tui.messages import Moved
from tui.opening import Opening
from tui.screens.confirm import Confirm
from tui.screens.note import NoteLine
from tui.screens.save import free_path
from tui.theme import DARK, LIGHT

# the first screen stands before anything of a ride is loaded
if TYPE_CHECKING:
    from pneumo.live.preparation import Preparation
    from pneumo.seats.door import Place
    from tui.lesson import Lesson
    from tui.widgets.class_board import ClassBoard

LOOKS = 4
"""Looks at the rides per second."""

KEPT_LINES = 100
"""Lines of what has happened that are kept."""

HELP = """
## The class
A row is a trainee, each at a ride of their own; the first row stands for all of them. What a key
does concerns the row that is chosen.

- `Enter`: what this trainee has done, line by line, and when it is over the debrief.
- `F2` or `n`: a note. `F3` or `h`: a hint, which costs the trainee minutes.
- `space`: stops the clock, or starts it again; meanwhile no line of the trainee is taken.
- `w`: the results as a page to print (.html) or a table (.csv), at any time.
- `x`: ends the ride of somebody who is not there and makes room, for example after a slip in a
  name.
- **seat**: joined, cut off (the terminal tries to come back) or left. Whoever comes back writes the
  code and the same name, at any terminal, and finds the ride as it is.
- **step**: where the drill stands; when it is over its verdict. `‖` beside the time: the clock is
  stopped. `!` before a name: the ride could not go on; what is below says why.
"""


class BoardApp(App[None]):
    """The board.

    Parameters
    ----------
    lesson
        The class; None: it is being prepared.
    preparation
        Gives the class, while a first screen says how far it is.
    """

    TITLE = "pneumo"
    CSS_PATH = "tui.tcss"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f2,n", "note", show=False),
        Binding("f3,h", "hint", show=False),
        Binding("space", "clock", show=False),
        Binding("w", "write", show=False),
        Binding("x", "remove", show=False),
        Binding("t", "theme", show=False),
        Binding("question_mark,f1", "help", show=False),
        Binding("q,ctrl+q", "leave", show=False),
    ]

    def __init__(
        self, lesson: Lesson | None = None, *, preparation: Preparation[Lesson] | None = None
    ) -> None:
        super().__init__()
        self._harmless = Harmless()
        self.lesson: Lesson
        self.preparation = preparation
        self.board: ClassBoard
        self._failures: dict[Place, str] = {}
        """Why a ride could not go on."""
        self._happened: deque[Content] = deque(maxlen=KEPT_LINES)
        self._unwritten = False
        """A drill has come to its end since the results were written."""
        self._over = 0
        """Drills that were over when this was last looked at."""
        self.register_theme(DARK)
        self.register_theme(LIGHT)
        self.theme = DARK.name
        if lesson is not None:
            self.lesson = lesson

    def get_line_filters(self) -> Sequence[LineFilter]:
        """What every line passes on its way to the terminal, whichever widget drew it."""
        return [self._harmless, *super().get_line_filters()]

    def compose(self) -> ComposeResult:
        if self.preparation is None:
            yield self._made()

    def _made(self) -> ClassBoard:
        from tui.widgets.class_board import ClassBoard

        self.board = ClassBoard(self.lesson)
        return self.board

    async def on_mount(self) -> None:
        self._base: Screen[object] = self.screen
        if self.preparation is None:
            self._begin()
        else:
            await self.push_screen(Opening(self.preparation))

    @on(Opening.Ended)
    async def _prepared(self) -> None:
        lesson = None if self.preparation is None else self.preparation.made
        if lesson is None:
            self.exit()
            return
        self.lesson = lesson
        with self.batch_update():
            await self.pop_screen()
            await self._base.mount(self._made())
            self._begin()

    def _begin(self) -> None:
        self.tick()
        self.board.table.focus()
        self.set_interval(1 / LOOKS, self.tick)

    # what is shown

    def tick(self) -> None:
        """Hears what has happened, and draws what says something else."""
        if not self.is_running or not self.screen_stack:
            return
        for sentence in self.lesson.told():
            self._tell(sentence)
        places = self.lesson.places
        for place in places:
            self._hear(place)
        self._look_for_the_end(places)
        self.board.show(places, self._failures, list(self._happened))

    def _hear(self, place: Place) -> None:
        if place.trainer is None:
            return
        if place.trainer.frame.running:
            self._failures.pop(place, None)
        for answer in place.trainer.answers():
            if not answer.text or answer.refused:  # the controller's are the trainee's concern
                continue
            if not answer.to and not answer.done:
                self._failures[place] = answer.text
            self._tell(f"{place.name}: {answer.text}", answer.done)

    def _tell(self, sentence: str, done: bool = True) -> None:
        words = " ".join(sentence.split())
        mark = Content("· " if done else "! ")
        self._happened.append(mark + Content.styled(words, "" if done else "$warning"))

    def _look_for_the_end(self, places: tuple[Place, ...]) -> None:
        from tui.members import member

        over = sum(bool(member(place).verdict) for place in places)
        self._unwritten |= over > self._over
        self._over = over

    # what is done

    @on(Moved)
    def _moved(self) -> None:
        self.tick()

    @on(OptionList.OptionSelected, "#class")
    def _selected(self, event: OptionList.OptionSelected) -> None:
        from tui import members
        from tui.screens.evidence import Evidence

        event.stop()
        place = self.board.chosen
        if place is None:
            self.notify("Choose a trainee: Enter shows what they have done.")
        else:
            self.push_screen(
                Evidence(place.name, lambda: members.story(place), grows=not place.is_over)
            )

    def _concerned(self) -> Iterator[Place]:
        """The trainee chosen, or all, as far as somebody is at work there."""
        from tui.members import is_working

        chosen = self.board.chosen
        for place in self.lesson.places if chosen is None else (chosen,):
            if is_working(place):
                yield place

    def _ask(self, places: Sequence[Place], request: Request) -> None:
        for place in places:
            if place.trainer is not None:
                place.trainer.send(request)

    def _at_work(self) -> list[Place]:
        """Those concerned; says so when there is nobody."""
        places = list(self._concerned())
        if not places:
            self.notify("Nobody is at work there: the drill has not begun, or is over.")
        return places

    def action_note(self) -> None:
        if places := self._at_work():
            self._push(
                NoteLine(_names(places)),
                lambda said: self._ask(places, Tell(said)) if said else None,
            )

    def action_hint(self) -> None:
        """Sends a hint to everybody concerned for whom one is left."""
        from pneumo.drill.telling import minutes
        from tui.members import work_of

        if not (asked := self._at_work()):
            return
        places = [p for p in asked if (work := work_of(p)) is not None and work.has_hint]
        if not places:
            self.notify("This drill has no further hint for them.", severity="warning")
            return
        trainer = places[0].trainer
        assert trainer is not None  # somebody is at work there
        cost = minutes(trainer.plant.circuit.downtime.hint)
        self._push(
            Confirm(f"A hint for {_names(places)}", [f"It costs {cost} of downtime."]),
            lambda go: self._ask(places, Line("hint")) if go else None,
        )

    def action_clock(self) -> None:
        """Stops the clocks concerned; when none of them runs it starts them."""
        from tui.members import is_stopped

        if places := self._at_work():
            running = [place for place in places if not is_stopped(place)]
            self._ask(running or places, Pause() if running else Run())
            word = "stopped" if running else "started"
            self._tell(f"{_names(running or places)}: the clock is {word}.")

    def action_write(self) -> None:
        from tui.screens.result import FileName

        about = "A page to print (name.html), or a table (name.csv)."
        start = str(free_path("class", ".html"))
        self._push(FileName("Results of the class", about, start, new=True), self._write)

    def _write(self, path: str | None) -> None:
        from tui.members import member

        if not path:
            return
        try:
            told = self.lesson.write(path, [member(place) for place in self.lesson.places])
        except (InputError, UnfinishedError) as error:
            self.notify(str(error), severity="error", timeout=10, markup=False)
            return
        self._unwritten = False
        self._tell(told)

    def action_remove(self) -> None:
        place = self.board.chosen
        if place is None:
            self.notify("Choose a trainee.")
        elif place.present:
            self._tell(f"{place.name} is there: only a ride that was left can be ended.", False)
        else:
            lines = [f"The ride of {place.name} ends. Its results are not on the sheet then."]
            self._push(Confirm("End a ride", lines), lambda go: self._remove(place) if go else None)

    def _remove(self, place: Place) -> None:
        gone = self.lesson.remove(place)
        self._tell(f"{place.name}: {'the ride is ended' if gone else 'is there again'}.", gone)

    def action_theme(self) -> None:
        """Light on dark, or dark on light."""
        self.theme = LIGHT.name if self.theme == DARK.name else DARK.name

    def action_help(self) -> None:
        from tui.screens.help import Help

        keys = [("Enter", "evidence"), ("F2 F3", "note, hint"), ("space", "clock"),
                ("w x", "results, end a ride"), ("t", "light or dark"), ("q", "leave")]  # fmt: skip
        marks = [("‖", "the clock is stopped"), ("!", "the ride could not go on")]
        self.push_screen(Help("Help: class", [HELP], keys, marks))

    def action_leave(self) -> None:
        """Leaves; asks when that would end what somebody is at, or lose something."""
        here = sum(place.present for place in self.lesson.places)
        lines = [
            *([f"{here} joined: leaving ends their rides too."] if here else []),
            *(["The results are not written yet (w writes them)."] if self._unwritten else []),
            *(["The rides are not recorded: leaving ends them for good."]
              if self.lesson.places and not self.lesson.kept else []),
        ]  # fmt: skip
        if lines:
            dialog = Confirm("Leave", lines, yes="Leave", no="Stay")
            self._push(dialog, lambda go: self.exit() if go else None)
        else:
            self.exit()

    def _push(self, dialog: Any, then: Callable[[Any], None]) -> None:
        """Opens a dialog, unless one is open already."""
        if self.screen is self._base:
            self.push_screen(dialog, then)


def _names(places: Sequence[Place]) -> str:
    """ "A. Miller"; "3 trainees"."""
    return places[0].name if len(places) == 1 else f"{len(places)} trainees"
