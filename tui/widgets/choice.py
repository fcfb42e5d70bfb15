"""A list that is narrowed by typing.

No row is marked until somebody has typed or moved to it: what Enter takes was chosen by a person.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.message import Message
from textual.widgets import Input, OptionList
from textual.widgets.option_list import Option

from tui.widgets.options import Options

_FIRST = object()
"""In place of a value: the row that fits best what is typed."""


@dataclass(frozen=True)
class Choice:
    """One row."""

    name: str
    value: Any
    about: str = ""
    """More about it, behind the name."""
    also: str = ""
    """Words that find it as well, not shown."""

    def matches(self, words: Iterable[str]) -> bool:
        """Whether every word is found somewhere in it."""
        text = f"{self.name} {self.about} {self.also}".lower()
        return all(word in text for word in words)


class _Filter(Input):
    """The line above the list: up and down move in the list, Escape goes down to it."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down", "to_list(1)", show=False),
        Binding("up", "to_list(-1)", show=False),
    ]

    def action_to_list(self, step: int) -> None:
        options = self.screen.query_one(f"#{self.id}-list", OptionList)
        if step > 0:
            options.action_cursor_down()
        else:
            options.action_cursor_up()


class Filtered(Vertical):
    """A filter line over a list. Enter in either of them chooses the highlighted row, if there is
    one: the first that fits what is typed, or one that was moved to."""

    DEFAULT_CSS = """
    Filtered { height: 1fr; }
    Filtered Input { height: 1; }
    Filtered OptionList {
        height: 1fr; border: none; padding: 0; background: transparent;
        text-wrap: nowrap; text-overflow: ellipsis;
    }
    """

    _count: ClassVar[int] = 0

    class Highlighted(Message):
        """Another row is highlighted; None: no row is left."""

        def __init__(self, source: Filtered, choice: Choice | None) -> None:
            self.source, self.choice = source, choice
            super().__init__()

        @property
        def control(self) -> Filtered:
            return self.source

    class Chosen(Message):
        """A row was chosen."""

        def __init__(self, source: Filtered, choice: Choice) -> None:
            self.source, self.choice = source, choice
            super().__init__()

        @property
        def control(self) -> Filtered:
            return self.source

    def __init__(
        self, choices: Sequence[Choice], hint: str = "type to filter", *, id: str | None = None
    ) -> None:
        super().__init__(id=id)
        Filtered._count += 1
        self._key = f"filter-{Filtered._count}"
        self.hint = hint
        self.choices = tuple(choices)
        self._width = max((len(choice.name) for choice in self.choices), default=0)
        self._shown: list[Choice] = []
        self._last: Choice | None = None
        self._told_more = True

    def compose(self) -> ComposeResult:
        yield _Filter(placeholder=self.hint, compact=True, id=self._key, select_on_focus=False)
        yield Options(id=f"{self._key}-list", markup=False, compact=True)

    def on_mount(self) -> None:
        self._fill("")

    @property
    def filter(self) -> Input:
        """The line to type in."""
        return self.query_one(Input)

    @property
    def options(self) -> OptionList:
        """The list below."""
        return self.query_one(OptionList)

    @property
    def words(self) -> tuple[str, ...]:
        """What is typed, in small letters."""
        return tuple(self.filter.value.lower().split())

    @property
    def choice(self) -> Choice | None:
        """The row that is highlighted."""
        return self._last

    def focus_filter(self) -> None:
        """Ready to type."""
        self.filter.focus()

    def set_choices(self, choices: Sequence[Choice], *, keep: bool = False) -> None:
        """Another list. `keep`: the filter and the row that is highlighted stay, while it fits;
        else both start anew."""
        self.choices = tuple(choices)
        self._width = max((len(choice.name) for choice in self.choices), default=0)
        if keep:
            self._fill_again()
        else:
            self.clear()

    def clear(self) -> None:
        """Nothing typed, no row highlighted."""
        with self.prevent(Input.Changed):
            self.filter.value = ""
        self._fill("")

    def select(self, value: Any) -> bool:
        """Highlights the row of a value, the filter emptied; False: there is none."""
        found = next((choice for choice in self.choices if choice.value == value), None)
        if found is None:
            return False
        with self.prevent(Input.Changed):
            self.filter.value = ""
        self._last = found
        self._fill_again()
        return True

    def _fill_again(self) -> None:
        """As `_fill`, but it is the same row that is highlighted, or none."""
        self._fill(self.filter.value, None if self._last is None else self._last.value)

    def _fill(self, typed: str, value: Any = _FIRST) -> None:
        """Shows the rows that fit; the one of a value is highlighted, or the first when something
        is typed."""
        words = typed.lower().split()
        fit = (choice for choice in self.choices if choice.matches(words))
        # those whose own name says most of what was typed come first
        self._shown = sorted(fit, key=lambda choice: -sum(w in choice.name.lower() for w in words))
        self._told_more = self._has_room()
        options = self.options
        with self.prevent(OptionList.OptionHighlighted):
            options.clear_options()
            options.add_options(Option(self._row(choice)) for choice in self._shown)
            if not self._shown:
                options.add_option(Option("nothing fits", disabled=True))
            if value is _FIRST:
                options.highlighted = 0 if words and self._shown else None
            else:
                values = [choice.value for choice in self._shown]
                known = self._last is not None and value in values
                options.highlighted = values.index(value) if known else None
        self._tell()

    def on_resize(self) -> None:
        if self._has_room() != self._told_more:
            self._fill_again()

    def _has_room(self) -> bool:
        """Whether more than the name fits in a row."""
        return self.size.width >= min(self._width, 24) + 14

    def _row(self, choice: Choice) -> Content:
        if not choice.about or not self._told_more:
            return Content(choice.name)
        return Content.assemble(
            choice.name.ljust(min(self._width, 24)), "  ", (choice.about, "$text-muted")
        )

    def _tell(self) -> None:
        at = self.options.highlighted
        self._last = self._shown[at] if at is not None and at < len(self._shown) else None
        self.post_message(self.Highlighted(self, self._last))

    @on(Input.Changed)
    def _narrow(self, event: Input.Changed) -> None:
        event.stop()
        self._fill(event.value)

    @on(Input.Submitted)
    def _submit(self, event: Input.Submitted) -> None:
        event.stop()
        if self._last is not None:
            self.post_message(self.Chosen(self, self._last))

    @on(OptionList.OptionHighlighted)
    def _moved(self, event: OptionList.OptionHighlighted) -> None:
        event.stop()
        self._tell()

    @on(OptionList.OptionSelected)
    def _selected(self, event: OptionList.OptionSelected) -> None:
        event.stop()
        self._last = self._shown[event.option_index]
        self.post_message(self.Chosen(self, self._last))
