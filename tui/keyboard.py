"""Keys one after another: a key is handed over once all that the one before it began is done.

The toolkit gives a key to the widget that has the focus at that moment and takes the next one. What
a key opens, a dialog or a field, takes the focus some messages later; letters typed in between
would go to the view that is still in front, where they operate the ride. So what is typed or
clicked waits, in order, until the focus has come to rest.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Awaitable, Callable
from contextlib import suppress
from typing import Any

from textual import events
from textual.app import App
from textual.errors import NoWidget
from textual.message import Message
from textual.widget import Widget
from textual.widgets import Input

HELD = (events.Key, events.Paste, events.MouseDown, events.MouseUp)
"""Events that wait for those before them."""

STEPS = ("mark", "mark", "mark", "draw", "mark", "mark")
"""What must come back, with the focus where it was, before the next key is handed over. A mark
follows a key through the same queues, so that it comes after all that the key has sent upwards; a
handler on the way may send something more, which the next mark comes after, and something may wait
for the screen to be drawn."""

LOST = 150
"""Looks after which a mark is given up: nothing that is known loses one unnoticed, but a keyboard
that stays dead would be worse than a key too early."""


class Mark(Message, verbose=True):
    """Goes the way of a key, from the widget that has the focus up to the app."""

    def __init__(self, number: int) -> None:
        self.number = number
        super().__init__()


class Keyboard:
    """Holds back what is typed and clicked. For one app, in its own thread.

    Parameters
    ----------
    app
        It passes on `HELD` events by `take`, marks by `came`, and calls `look` now and then.
    hand_over
        Does what the app does with an event.
    """

    def __init__(self, app: App[Any], hand_over: Callable[[events.Event], Awaitable[None]]) -> None:
        self._app = app
        self._hand_over = hand_over
        self._waiting: deque[events.Event] = deque()
        self._under_way = False
        self._letters = False
        """All that is under way are letters that go to the line they are typed in."""
        self._number = 0
        """Of the mark that is awaited."""
        self._step = 0
        self._place: tuple[Widget | None, ...] = ()
        """Screen and widget that had the focus when the mark was sent."""
        self._target: Widget | None = None
        """Where the mark was sent to."""
        self._looks = 0

    @property
    def at_rest(self) -> bool:
        """True when the next key would be handed over at once."""
        return not self._under_way

    async def take(self, event: events.Event) -> None:
        """An event has come."""
        self._waiting.append(event)
        await self._hand_all()

    async def came(self, number: int) -> None:
        """A mark has come back."""
        if number != self._number or not self._under_way:
            return
        if self._moved():
            self._step = 0
        else:
            self._step += 1
        if self._step < len(STEPS):
            self._send()
            return
        self._under_way = self._letters = False
        await self._hand_all()

    def look(self) -> None:
        """Sends another mark when one went down with the widget it was at."""
        if not self._under_way:
            return
        self._looks += 1
        if self._target is None or not self._target.is_attached or self._looks > LOST:
            self._step = 0
            self._send()

    async def _hand_all(self) -> None:
        """Hands over what need not wait: letters follow each other into their line at once."""
        while self._waiting and (
            not self._under_way or (self._letters and self._is_letter(self._waiting[0]))
        ):
            await self._hand(self._waiting.popleft())

    async def _hand(self, event: events.Event) -> None:
        self._letters = self._is_letter(event) and (self._letters or not self._under_way)
        self._under_way = True
        target = self._aimed_at(event)
        await self._hand_over(event)
        self._step = 0
        self._send(target)

    def _is_letter(self, event: events.Event) -> bool:
        line = isinstance(self._app.focused, Input)
        return line and isinstance(event, events.Key) and event.is_printable

    def _aimed_at(self, event: events.Event) -> Widget:
        """The widget that an event goes to."""
        screen = self._app.screen
        if isinstance(event, events.MouseEvent):
            with suppress(NoWidget):
                return screen.get_widget_at(event.screen_x, event.screen_y)[0]
        return self._app.focused or screen

    def _moved(self) -> bool:
        return self._place != (self._app.screen, self._app.focused)

    def _send(self, target: Widget | None = None) -> None:
        """The next step begins."""
        self._number += 1
        self._looks = 0
        screen = self._app.screen
        self._place = (screen, self._app.focused)
        self._target = target or self._app.focused or screen
        if STEPS[self._step] == "draw":
            self._target = screen
            self._app.call_after_refresh(self.came, self._number)
        elif not self._target.post_message(Mark(self._number)):
            self._target = None  # it is being taken away: the next look sends another
