"""The board of a class: a row for each trainee, and more about the one that is chosen."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import TYPE_CHECKING

from textual import on
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from pneumo.drill.telling import minutes
from tui import members
from tui.messages import Moved
from tui.widgets.options import Options

if TYPE_CHECKING:
    from pneumo.seats.door import Place
    from tui.lesson import Lesson

KEYS = "Enter evidence  F2 note  F3 hint  space clock  w results  ? help  q leave"

LOW = 30
"""Rows of a terminal below which little room is left for what has happened."""


class ClassBoard(Vertical):
    """Draws a class; what says nothing else is not drawn anew."""

    DEFAULT_CSS = """
    ClassBoard > Static { height: auto; padding: 0 1; }
    ClassBoard > #class-head { background: $panel; }
    ClassBoard > #class { height: auto; max-height: 60%; padding: 0; border: none; }
    ClassBoard > #class > .option-list--option { padding: 0 1; }
    ClassBoard > #about { border-top: solid $secondary 50%; }
    ClassBoard > #recent { height: 1fr; color: $text-muted; }
    ClassBoard > #happened { border-top: solid $secondary 50%; }
    ClassBoard > #class-keys { background: $panel; color: $text-muted; }
    """

    def __init__(self, lesson: Lesson) -> None:
        super().__init__()
        self._lesson = lesson
        self._places: tuple[Place, ...] | None = None
        """Those that have rows."""
        self._drawn: dict[str, Content] = {}
        """What stands in each part."""

    def compose(self) -> ComposeResult:
        yield Static(id="class-head", markup=False)
        yield Static(id="columns", markup=False)
        yield Options(id="class", markup=False, compact=True)
        yield Static(id="about", markup=False)
        yield Static(id="recent", markup=False)
        yield Static(id="happened", markup=False)
        yield Static(Content(KEYS), id="class-keys", markup=False)

    @property
    def table(self) -> OptionList:
        """The rows."""
        return self.query_one("#class", OptionList)

    @property
    def chosen(self) -> Place | None:
        """The trainee whose row is chosen; None: all."""
        at = self.table.highlighted
        return self._places[at - 1] if at and self._places else None

    def show(
        self, places: tuple[Place, ...], failures: Mapping[Place, str], happened: list[Content]
    ) -> None:
        """Draws the class as it is.

        Parameters
        ----------
        places
            In the order of the rows.
        failures
            Why a ride could not go on.
        happened
            Lines of what has happened, the latest last.
        """
        width = max(self.size.width - 2, 40)
        self._put("class-head", self._head())
        # one cell is left for a bar to scroll by: a row that it cut would take two lines
        self._put("columns", members.heading(width - 1))
        self._rows(places, failures, width - 1)
        place = self.chosen
        if place is None:
            about = list(self._invitation(places))
        else:
            about = list(members.details(place, failures.get(place, "")))
        self._put("about", Content("\n").join([Content(line) for line in about]))
        room = self.query_one("#recent").size.height
        self._put("recent", Content("") if place is None else members.latest(place, width, room))
        lines = happened[-(2 if self.size.height < LOW else 6) :]
        self._put("happened", Content("\n").join(lines))

    def _put(self, name: str, content: Content) -> None:
        if self._drawn.get(name) != content:
            self._drawn[name] = content
            self.query_one(f"#{name}", Static).update(content)

    def _head(self) -> Content:
        lesson = self._lesson
        level = f"   level {lesson.level} of 5" if lesson.level else ""
        par = f"   par {minutes(lesson.par)}" if lesson.par else ""
        first = Content.styled(f"CLASS: {lesson.title}", "bold") + Content(f"{level}{par}")
        join = Content(f"join: {lesson.invitation}   code {lesson.code}")
        return Content("\n").join([first, join])

    def _rows(self, places: tuple[Place, ...], failed: Collection[Place], width: int) -> None:
        rows = [
            members.summary(places, self._lesson.size),
            *(members.row(place, place in failed, width) for place in places),
        ]
        if places != self._places:
            chosen = self.chosen
            self._places = places
            self.table.clear_options()
            self.table.add_options(Option(row) for row in rows)
            self.table.highlighted = 0 if chosen not in places else places.index(chosen) + 1
            return
        for number, row in enumerate(rows):
            if self.table.get_option_at_index(number).prompt != row:
                self.table.replace_option_prompt_at_index(number, row)

    def _invitation(self, places: tuple[Place, ...]) -> Iterator[str]:
        """How everybody joins; for the row that stands for all."""
        lesson = self._lesson
        reach = (
            "only from this machine"
            if lesson.only_here
            else "from any machine that reaches this one on the network"
        )
        yield f"Each trainee types {lesson.invitation}, {reach},"
        yield "then the code above, then a name; the same name comes back to its ride."
        if places:
            kept = lesson.kept
            yield f"Kept in {kept}" if kept else "Nothing of it is kept in a file."
        elif lesson.notice:
            yield lesson.notice

    @on(OptionList.OptionHighlighted, "#class")
    def _moved(self, event: OptionList.OptionHighlighted) -> None:
        event.stop()
        self.post_message(Moved())

    def on_resize(self) -> None:
        self.call_after_refresh(self.post_message, Moved())
