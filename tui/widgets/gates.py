"""Groups of gates in one line each: what they are commanded, where they are, what is seen."""

from __future__ import annotations

from collections.abc import Hashable
from typing import NamedTuple

from pneumo.live.frame import Frame
from pneumo.live.plant import Plant
from tui import text
from tui.widgets.rows import Line, Piece, cut, spread


class GateRow(NamedTuple):
    """All that is shown of a group of gates."""

    name: str
    commanded: str
    """"open" or "closed", read off the outputs; "" when there are none."""
    travel: str
    """Of its cylinders, "" when this seat does not see them."""
    seen: str
    """What the position switches say."""


def gate_rows(plant: Plant, frame: Frame) -> list[GateRow]:
    """Every group of gates, in document order."""
    return [_row(plant, frame, name) for name in plant.circuit.gates]


def draw_gate(row: Hashable, width: int) -> Line:
    """The line of a group."""
    assert isinstance(row, GateRow)
    buttons: Line = (
        Piece(" "), Piece("[open]", "button", "open"),
        Piece(" "), Piece("[close]", "button", "close"), Piece(" "),
    )  # fmt: skip
    line: Line = (
        Piece("· "),
        Piece(f"{text.short(row.name, 14):<15}", "bold"),
        Piece(f"gates {row.commanded:<8}"),
        Piece(f"{row.travel}  " if row.travel else ""),
        Piece(row.seen, "muted"),
    )
    return spread(line, buttons, width) if width >= 60 else cut(line, width)


def _row(plant: Plant, frame: Frame, name: str) -> GateRow:
    commanded = ""
    for output, on in zip(plant.outputs, frame.outputs, strict=True):
        # with two coils the energised one counts; a single one says by being off as well
        if output.zone == name and (on or not commanded):
            commanded = output.when if on else {"open": "close", "close": "open"}[output.when]
    cylinders = plant.circuit.gates[name].cylinders
    travels = [
        travel
        for cylinder, travel in zip(plant.cylinders, frame.travels, strict=True)
        if cylinder in cylinders and travel is not None
    ]
    return GateRow(
        name=name,
        commanded={"open": "open", "close": "closed"}.get(commanded, commanded),
        travel=_span(travels),
        seen=_seen(plant, frame, name),
    )


def _span(travels: list[float]) -> str:
    if not travels:
        return ""
    # a stop that gives lets a cylinder go a little beyond it
    low, high = text.gap(max(min(travels), 0.0), unit=False), text.gap(max(*travels, 0.0))
    return f"{high:>9}" if f"{low} mm" == high else f"{low} to {high}"


def _seen(plant: Plant, frame: Frame, name: str) -> str:
    count: dict[str, list[bool]] = {}
    for contact, made in zip(plant.inputs, frame.inputs, strict=True):
        if contact.zone == name:
            count.setdefault(contact.reads, []).append(made)
    return ", ".join(f"{sum(made)} of {len(made)} {reads}" for reads, made in count.items())
