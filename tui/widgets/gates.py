"""Groups of gates: what they are told, where they are, what is seen; each gate where there is
room."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from typing import Literal, NamedTuple

from pneumo.live.frame import Frame
from pneumo.live.plant import Plant
from tui import text
from tui.widgets.rows import Line, Piece, cut, spread

End = Literal["retracted", "extended"]

ARRIVED = 1e-3
"""A cylinder this near to an end is there [m]; a travel of 0.0 mm or of the whole stroke."""

BAR = 20
"""Cells of the bar of a gate's travel."""


class Gate(NamedTuple):
    """One cylinder of a group."""

    name: str
    share: float | None
    """Of the stroke, in eighths of a cell; None: not seen."""
    travel: str
    seen: str
    """What its position switches say: "retracted ON, extended OFF"."""


class GateRow(NamedTuple):
    """All that is shown of a group of gates."""

    name: str
    state: str
    """"opening", "open", ...; "command: open" when the seat cannot tell whether they are there;
    "" when no output moves them."""
    travel: str
    """Of its cylinders, "" when this seat does not see them."""
    seen: str
    """How many position switches are ON: "retracted 4/4  extended 0/4"."""
    gates: tuple[Gate, ...]


def gate_rows(plant: Plant, frame: Frame) -> list[GateRow]:
    """Every group of gates, in document order."""
    return [_row(plant, frame, name) for name in plant.circuit.gates]


def gate_height(row: GateRow) -> int:
    """Lines of a group with a line for each gate."""
    return 1 + len(row.gates)


def draw_gate(row: Hashable, width: int, tall: int = 1) -> Sequence[Line]:
    """The line of a group, and one for each of its gates as far as `tall` allows."""
    assert isinstance(row, GateRow)
    buttons: Line = (
        Piece(" "), Piece("[open]", "button", "open"),
        Piece(" "), Piece("[close]", "button", "close"), Piece(" "),
    )  # fmt: skip
    line: Line = (
        Piece("· "),
        Piece(f"{text.short(row.name, 14):<15}", "bold"),
        Piece(f"{row.state:<7} "),
        Piece(f"{row.travel} " if row.travel else ""),
        Piece(row.seen, "muted"),
    )
    lines = [spread(line, buttons, width) if width >= 60 else cut(line, width)]
    wide = min(max((len(gate.name) for gate in row.gates), default=0), 20)
    for gate in row.gates[: max(tall - 1, 0)]:
        own: Line = (Piece(f"    {text.short(gate.name, wide):<{wide}} "),)
        if gate.share is not None:
            own += (
                Piece("▕", "muted"), Piece(text.bar(gate.share, BAR)), Piece("▏", "muted"),
                Piece(f"{gate.travel:>10}  "),
            )  # fmt: skip
        lines.append(cut((*own, Piece(gate.seen, "muted")), width))
    return lines


def _row(plant: Plant, frame: Frame, name: str) -> GateRow:
    group = plant.circuit.gates[name]
    travel_of = dict(zip(plant.cylinders, frame.travels, strict=True))
    told = _told(plant, frame, name)
    seen: dict[str, dict[str, bool]] = {}
    count: dict[str, list[bool]] = {}
    for contact, made in zip(plant.inputs, frame.inputs, strict=True):
        if contact.zone == name:
            of = str(getattr(plant.circuit.components[contact.name], "of", ""))
            seen.setdefault(of, {})[contact.reads] = made
            count.setdefault(contact.reads, []).append(made)
    gates: list[Gate] = []
    there: list[bool | None] = []
    for cylinder in group.cylinders:
        travel, says = travel_of.get(cylinder), seen.get(cylinder, {})
        stroke = float(getattr(plant.circuit.components[cylinder], "stroke", 0.0))
        starts = str(getattr(plant.circuit.components[cylinder], "starts", "retracted"))
        end: End = "retracted" if (starts == "retracted") == (group.starts == told) else "extended"
        there.append(_is_there(end, travel, stroke, says))
        # a stop that gives lets a cylinder go a little beyond it
        moved = None if travel is None else max(travel, 0.0)
        gates.append(
            Gate(
                name=cylinder,
                share=None if moved is None or not stroke
                else round(min(moved / stroke, 1.0) * 8 * BAR) / (8 * BAR),
                travel="" if moved is None else text.gap(moved),
                seen=", ".join(f"{reads} {text.state(on)}" for reads, on in says.items()),
            )
        )  # fmt: skip
    travels = [t for c in group.cylinders if (t := travel_of.get(c)) is not None]
    return GateRow(
        name=name,
        state=_state(told, there),
        travel=_span(travels),
        seen="  ".join(f"{reads} {sum(made)}/{len(made)}" for reads, made in count.items()),
        gates=tuple(gates),
    )


def _told(plant: Plant, frame: Frame, name: str) -> str:
    """ "open" or "closed", read off the outputs; "" when there are none."""
    commanded = ""
    for output, on in zip(plant.outputs, frame.outputs, strict=True):
        # with two coils the energised one counts; a single one says by being off as well
        if output.zone == name and (on or not commanded):
            commanded = output.when if on else {"open": "close", "close": "open"}[output.when]
    return {"open": "open", "close": "closed"}.get(commanded, commanded)


def _is_there(end: End, travel: float | None, stroke: float, says: dict[str, bool]) -> bool | None:
    """Whether a cylinder is at an end, by its travel, else by its switches; None: nobody knows."""
    if travel is not None:
        return travel <= ARRIVED if end == "retracted" else travel >= stroke - ARRIVED
    other = "extended" if end == "retracted" else "retracted"
    if says.get(other):
        return False
    return says.get(end)


def _state(told: str, there: Sequence[bool | None]) -> str:
    if not told or all(there):
        return told
    if False in there:
        return "opening" if told == "open" else "closing"
    return "command: open" if told == "open" else "command: close"


def _span(travels: list[float]) -> str:
    if not travels:
        return ""
    low, high = text.gap(max(min(travels), 0.0), unit=False), text.gap(max(*travels, 0.0))
    return f"{high:>9}" if f"{low} mm" == high else f"{low} to {high}"
