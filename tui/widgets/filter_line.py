"""A line of words that narrows a list: opened by a key, left with Enter or Escape."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from textual import on
from textual.widget import Widget
from textual.widgets import Input


class FilterLine(Input):
    """Seen while it is typed in and, if it `stays`, as long as it holds words."""

    DEFAULT_CSS: ClassVar[str] = """
    FilterLine { height: 1; display: none; background: $panel; }
    FilterLine.open { display: block; }
    """

    def __init__(
        self,
        narrowed: Callable[[], None],
        *,
        list: Widget,
        id: str,
        placeholder: str = "words to look for",
        stays: bool = True,
    ) -> None:
        """`narrowed`: called with every change; `list`: has the focus once the line is left."""
        super().__init__(placeholder=placeholder, compact=True, id=id, select_on_focus=False)
        self._narrowed, self._list, self._stays = narrowed, list, stays

    @property
    def words(self) -> str:
        """What is looked for; "" = everything is shown."""
        return self.value.strip()

    def open(self) -> None:
        """Ready to be typed in."""
        self.add_class("open")
        self.focus()

    def leave(self) -> None:
        """Gives the keyboard back to the list."""
        self.set_class(self._stays and bool(self.value), "open")
        self._list.focus()

    def empty(self) -> None:
        """Everything is shown again, without a call; the list has the keyboard back."""
        with self.prevent(Input.Changed):
            self.value = ""
        self.remove_class("open")
        if self.has_focus:
            self._list.focus()

    @on(Input.Changed)
    def _typed(self, event: Input.Changed) -> None:
        event.stop()
        self._narrowed()

    @on(Input.Submitted)
    def _given(self, event: Input.Submitted) -> None:
        event.stop()
        self.leave()
