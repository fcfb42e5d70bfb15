"""Verdicts in marks, words and looks: in a list, line by line, in one letter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple, cast

from textual.content import Content

from pneumo.components.iso13849_2 import SOURCE
from pneumo.live.check import outcome_data
from tui import text
from tui.widgets.matrix import Place, event_name
from tui.widgets.rows import Line, Look, Piece

MARKS = {"safe": "·", "late": "!", "not calculated": "?", "unsafe": "x"}
WORDS = {"safe": "safe", "late": "LATE", "not calculated": "NOT CALC.", "unsafe": "UNSAFE"}
LOOKS: dict[str, Look] = {"safe": "", "late": "warn", "not calculated": "warn", "unsafe": "bad"}
STYLES = {
    "safe": "",
    "late": "$text-warning bold",
    "not calculated": "$text-warning bold reverse",
    "unsafe": "$text-error bold",
}

COLUMN = 14
"""Width of a verdict in the list of losses [cells]."""


class LossRow(NamedTuple):
    """All that the list shows of a loss; equal rows look the same."""

    number: int
    """In the list; the table of all zones names it by that."""
    name: str
    wide: int
    """Width of the names of all losses [cells]."""
    here: str
    """Verdict from the ride as it stood; "" = not asked for yet."""
    here_after: float | None
    quiet: bool
    """No alarm told of it."""
    healthy: str
    """Verdict of the verification; "" = there is none."""
    healthy_after: float | None


def unsound_line(found: Sequence[str]) -> str:
    """The first of what a circuit does wrong without any fault, in one line."""
    more = len(found) - 1
    return f"! WITHOUT ANY FAULT: {found[0]}{f', and {more} more' if more else ''} (i)"


def draw_loss(row: object, width: int) -> Sequence[Line]:
    loss = cast(LossRow, row)
    name_width = max(min(width - 2 * COLUMN, loss.wide), 8)
    return [
        (
            Piece(f"{loss.number} ", "muted"),
            Piece(text.short(loss.name, name_width - 2).ljust(name_width - 2)),
            *_verdict_piece(loss.here, loss.here_after, loss.quiet),
            *_verdict_piece(loss.healthy, loss.healthy_after, False),
        )
    ]


def _verdict_piece(verdict: str, after: float | None, quiet: bool) -> Line:
    if not verdict:
        return (Piece(text.UNSEEN.ljust(COLUMN), "muted"),)
    words = f"{MARKS[verdict]} {WORDS[verdict]}"
    if after is not None and verdict != "unsafe":
        words += f" {after:.2f} s"
    words = words.lower() if quiet and verdict == "safe" else words
    return Piece(words, LOOKS[verdict]), Piece(" " * max(COLUMN - len(words), 0))


def outcome_lines(entry: Mapping[str, Any], needed: float | None = None) -> list[Content]:
    """A verdict with its numbers, line by line; `entry`: see `outcome_data`; `needed`: force [N]
    that the zone has to clamp with."""
    verdict = str(entry["verdict"])
    after, margin = entry["reached_after"], entry["margin"]
    if verdict == "not calculated":
        return [Content.styled("? NOT CALCULATED", STYLES[verdict]), Content(f"{entry['why']}")]
    head = f"{MARKS[verdict]} {WORDS[verdict]}{'' if entry['decided'] else ' (not decided)'}"
    time = "never" if after is None else f"{after:.2f} s"
    left = "" if margin is None else f", margin {margin:+.2f} s"
    lines = [
        Content.styled(head, STYLES[verdict]) + f"  {time} of {entry['limit']:g} s{left}",
        Content(f"{entry['why']}"),
    ]
    if entry["lost_after"] is not None:
        lines.append(Content(f"lost again after {entry['lost_after']:.2f} s"))
    if entry["least_force"] is not None:
        of = f" of {text.force(needed)}" if needed else ""
        lines.append(Content(f"least force {text.force(entry['least_force'])}{of}"))
    alarm = f"alarm: {entry['alarm']}" if entry["detected"] else "undetected: no alarm"
    held = "" if after is None else f"held {entry['held']:.1f} s; "
    lines.append(Content(f"{held}{alarm}"))
    return lines


def cell_lines(place: Place) -> list[Content]:
    """All about one cell, line by line."""
    head = Content.styled(f"{event_name(place.row)}, {place.zone} {place.state}", "bold")
    if place.cell is None:
        return [head, Content("Not run: nothing injected while this zone was in this state.")]
    case, outcome = place.cell.case, place.cell.outcome
    lines = [head, *outcome_lines(outcome_data(case.injection.loss, outcome))]
    if place.cell.undetected:
        lines.append(Content.styled("! undetected: no alarm", "$text-warning"))
    if outcome.false_indication:
        said = "! the controller showed closed and the brakes were not"
        lines.append(Content.styled(said, "$text-warning"))
    if case.effect:
        lines.append(Content(f"Effect: {case.effect}"))
    if case.standard:
        lines.append(Content(f"Fault to consider: {case.standard} ({SOURCE})"))
    if len(case.represents) > 1:
        lines.append(Content(f"Represents {', '.join(case.represents)} (symmetry reduction)."))
    lines.append(Content.styled(f"Enter opens it. Replay: {case.replay}", "$text-muted"))
    return lines


def letter(verdict: str) -> Content:
    """A verdict in one character; "" = there is none."""
    return Content.styled(verdict[0].upper(), STYLES[verdict]) if verdict else Content(text.UNSEEN)
