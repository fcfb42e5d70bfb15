"""What a fail-safe check found: one line for each loss."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from pneumo.live.request import Answer
from pneumo.verification.case import Injection, Loss
from pneumo.verification.verdict import UNSOUND
from pneumo.verification.wording import injection_words
from tui.screens.dialog import Dialog

MARKS = {"safe": "·", "late": "!", "not calculated": "?", "unsafe": "x"}


class Outcomes(Dialog[None]):
    """Verdicts of a zone, from the state in which the ride stands now; they come one by one."""

    def __init__(self, answer: Answer) -> None:
        super().__init__(f"Fail-safe check of {answer.data['zone']}")
        self.to = answer.to
        """Number of the request."""
        self.said = answer.text
        self.data: Mapping[str, Any] = answer.data

    def body(self) -> Iterable[Widget]:
        yield Static(
            Content(
                f"Each loss is played on a copy of the ride as it stands. On screen: "
                f"{_words(self.data['loss'])}. h leads back to the ride. Reached is what the "
                "zone's requirement asks for."
            )
        )
        yield Static(id="verdicts")

    def on_mount(self) -> None:
        self.add(self.data)

    def add(self, data: Mapping[str, Any]) -> None:
        """Shows all verdicts that are known by now."""
        self.data = data
        lines = [*unsound_lines(data), *(_line(outcome) for outcome in data["outcomes"])]
        for place in self.query("#verdicts").results(Static):  # none once the dialog is left
            place.update(Content("\n").join(lines))


def unsound_lines(data: Mapping[str, Any]) -> list[Content]:
    """What the circuit does wrong without any fault, which comes before every verdict."""
    found = data["unsound"]
    if not found:
        return []
    lines = [Content.styled(f"! {UNSOUND}", "$error bold reverse")]
    for seen, cause in found:
        lines += [Content.styled(f"  {seen}", "bold"), Content(f"    {cause}")]
    return [*lines, Content("")]


def _line(outcome: Mapping[str, Any]) -> Content:
    verdict = str(outcome["verdict"])
    style = {
        "late": "$warning",
        "not calculated": "$warning bold reverse",
        "unsafe": "$error bold",
    }.get(verdict, "")
    if verdict == "not calculated":
        return Content.assemble(
            ("? NOT CALCULATED", style), f" {_words(outcome['loss'])}: {outcome['why']}"
        )
    return Content.assemble(
        (f"{MARKS.get(verdict, ' ')} {verdict.upper():7}", style),
        f" {_words(outcome['loss'])}: {_when(outcome)}",
    )


def _words(loss: Loss | None) -> str:
    return "nothing any more" if loss is None else injection_words(Injection(loss))


def _when(outcome: Mapping[str, Any]) -> str:
    reached, limit = outcome.get("reached_after"), outcome.get("limit")
    words = f"{outcome['safe_state']} "
    words += "not reached" if reached is None else f"after {reached:.2f} s"
    if limit is not None:
        words += f" (limit {limit:g} s)"
    if outcome.get("lost_after") is not None:
        words += f", lost again after {outcome['lost_after']:.2f} s"
    return words if outcome.get("detected") else f"{words}, undetected: no alarm"
