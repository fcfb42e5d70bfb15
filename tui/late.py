"""What comes late: callbacks that wait for a time, for the screen or for a thread.

When the app is left its widgets are taken away one by one, and a callback that looks for them then
would end the program with an error. So it is not called any more.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import Any

from textual.timer import Timer
from textual.widget import Widget


def unless_gone(widget: Widget, callback: Callable[..., Any]) -> Callable[..., Any]:
    """The callback, which does nothing once the widget or its app is being taken away."""

    def call(*arguments: Any, **named: Any) -> Any:
        if widget.is_attached and widget.app.is_running:
            return callback(*arguments, **named)
        return None

    return call


class LateWidget(Widget):
    """A widget that is called back only as long as it is there."""

    def call_after_refresh(
        self, callback: Callable[..., Any], *arguments: Any, **named: Any
    ) -> bool:
        return super().call_after_refresh(unless_gone(self, callback), *arguments, **named)

    def every(self, seconds: float, callback: Callable[[], None]) -> Timer:
        """Calls back every so often."""
        return self.set_interval(seconds, unless_gone(self, callback))

    def from_thread(self, callback: Callable[..., Any], *arguments: Any) -> None:
        """Has something done by the screen; from any thread, which does not wait for it."""
        with suppress(RuntimeError):  # the screen's loop has ended already
            self.call_later(unless_gone(self, callback), *arguments)
