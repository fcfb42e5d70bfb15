"""What a fail-safe check found: one line for each loss."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from tui.screens.dialog import Dialog

MARKS = {"safe": "·", "late": "!", "unsafe": "x"}


class Outcomes(Dialog[None]):
    """Verdicts of a zone, from the state in which the ride stands now."""

    def __init__(self, said: str, data: Mapping[str, Any]) -> None:
        super().__init__(f"Fail-safe check of {data.get('zone', 'a zone')}")
        self.said = said
        self.data = data

    def body(self) -> Iterable[Widget]:
        if self.said:
            yield Static(Content(self.said))
        for outcome in self.data.get("outcomes", ()):
            verdict = str(outcome["verdict"])
            style = {"late": "$warning", "unsafe": "$error bold"}.get(verdict, "")
            yield Static(
                Content.assemble(
                    (f"{MARKS.get(verdict, ' ')} {verdict.upper():7}", style),
                    f" {outcome['loss']}: {_when(outcome)}",
                )
            )
            if outcome.get("why"):
                yield Static(Content.styled(f"          {outcome['why']}", "$text-muted"))


def _when(outcome: Mapping[str, Any]) -> str:
    reached, limit = outcome.get("reached_after"), outcome.get("limit")
    words = "not reached" if reached is None else f"{outcome['safe_state']} after {reached:.2f} s"
    if limit is not None:
        words += f" of {limit:g} s"
    return words if outcome.get("revealed") else f"{words}; no alarm tells of it"
