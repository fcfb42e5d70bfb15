"""For how long an alarm is shelved."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import Button, Input, Static

from pneumo.quantity import QuantityError
from pneumo.units import INTERVAL
from tui.screens.dialog import Dialog

MINUTES = (5, 15, 60)
RULES = (
    "Shelving hides an alarm for a time. It changes nothing on the ride, and the alarm's cause "
    "stays where it is. On a real ride: only who is entitled to, by the rules of the site, with "
    "the reason written down and told to the next shift."
)


class Shelving(Dialog[float]):
    """Asks for a time; gives it in seconds."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *(
            Binding(str(place), f"minutes({minutes})", f"{minutes} min", show=False)
            for place, minutes in enumerate(MINUTES, 1)
        ),
        Binding("o", "other", "another time", show=False),
    ]

    def __init__(self, alarm: str) -> None:
        super().__init__(f"Shelve {alarm}")
        self._refusal = Static("", markup=False)

    def body(self) -> Iterable[Widget]:
        yield Static(RULES, markup=False)
        yield Input(placeholder="another time (o), like 90 s or 2 h", compact=True)
        yield self._refusal

    def buttons(self) -> Iterable[Widget]:
        for place, minutes in enumerate(MINUTES, 1):
            yield Button(
                f"{minutes} min ({place})", compact=True, action=f"screen.minutes({minutes})"
            )
        yield Button("Cancel (esc)", compact=True, action="screen.leave")

    def on_mount(self) -> None:
        self.query(Button).first().focus()

    def action_minutes(self, minutes: int) -> None:
        self.dismiss(60.0 * minutes)

    def action_other(self) -> None:
        self.query_one(Input).focus()

    @on(Input.Submitted)
    def _take(self, event: Input.Submitted) -> None:
        event.stop()
        try:
            self.dismiss(INTERVAL.parse(event.value))
        except QuantityError as error:
            self._refusal.update(str(error))
