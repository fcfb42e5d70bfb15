"""What comes late: callbacks that wait for a time, for the screen or for a thread.

When the app is left its widgets are taken away one by one, and a callback that looks for them then
would end the program with an error. So it is not called any more.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from textual.widget import Widget


def unless_gone(widget: Widget, callback: Callable[..., Any]) -> Callable[..., Any]:
    """The callback, which does nothing once the widget or its app is being taken away."""

    def call(*arguments: Any, **named: Any) -> Any:
        if widget.is_attached and widget.app.is_running:
            return callback(*arguments, **named)
        return None

    return call
