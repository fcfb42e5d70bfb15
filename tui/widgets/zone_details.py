"""A zone in full: what is required, what it waits for, its brakes, valves, air and switches."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap
from typing import NamedTuple

from pneumo.circuit.circuit import PortRef, Zone
from pneumo.live.frame import Frame, ZoneFrame
from pneumo.live.plant import Plant
from pneumo.zone.evidence import Obstacle, obstacle_words
from tui import text
from tui.judgement import trouble
from tui.widgets.jaws import letter, picture
from tui.widgets.rows import Line, Piece, cut, size
from tui.widgets.zone_list import BAR, STRONG, WORDS


class DetailRow(NamedTuple):
    """A line of the details."""

    line: Line
    component: str = ""
    """What the line is about; "" = nothing to pick."""


def detail_rows(
    plant: Plant,
    frame: Frame,
    index: int,
    members: Sequence[str],
    tell: bool = True,
) -> list[DetailRow]:
    """A zone in full: what is required, what it waits for, its brakes, valves, air and switches.

    `tell`: also that it is not safe.
    """
    zone, now = plant.circuit.zones[plant.zones[index]], frame.zones[index]
    wrong = trouble(plant, frame, index)
    rows = [_plain(f" {zone.name}", "bold"), _plain(f" {_required(zone)}", "muted")]
    if zone.about:
        rows.insert(1, _plain(f" {zone.about}", "muted"))
    if wrong and tell:
        rows.append(_plain(f" x NOT SAFE, {wrong}", "bad"))
    rows.append(_plain(f" {now.state} since {text.clock(now.since)}"))
    if now.first_out:
        rows.append(_plain(f" first out: {now.first_out}", "warn"))
    rows += _wait_rows(now)
    rows += [_plain(""), *_brake_rows(plant, frame, index, bool(wrong))]
    rows += _valve_rows(plant, frame, zone, members)
    rows += _air_rows(plant, frame, zone, members)
    return rows


def fitted(rows: Sequence[DetailRow], width: int) -> list[DetailRow]:
    """The rows in that width: sentences are wrapped, the rest is cut."""
    found: list[DetailRow] = []
    for row in rows:
        words, look, _ = row.line[0]
        if len(row.line) > 1 or row.component or len(words) <= width or width < 20:
            line = row.line
            if line[-1].text == "▏" and size(line) > width:
                line = line[:-3]  # the bar says what the force says
            found.append(row._replace(line=cut(line, width)))
            continue
        indent = " " * (len(words) - len(words.lstrip()))
        lines = wrap(words.strip(), width - len(indent) - 2)
        found += [
            DetailRow(cut((Piece(f"{indent}{'  ' if i else ''}{line}", look),), width))
            for i, line in enumerate(lines)
        ]
    return found


def _plain(words: str, look: str = "") -> DetailRow:
    return DetailRow((Piece(words, look),))  # type: ignore[arg-type]


def _required(zone: Zone) -> str:
    """The requirement in one line."""
    required, all_of = zone.requirement, len(zone.brakes)
    words = f"safe state {zone.safe_state} within {text.age(required.within)}, "
    words += f"{zone.brakes_needed} of {all_of} brakes"
    if zone.safe_state == "closed" and required.clamping_force:
        words += f", {text.force(required.clamping_force)} each"
    if zone.safe_state == "open" and required.clearance:
        words += f", {text.gap(required.clearance)} clear"
    return words


def _wait_rows(now: ZoneFrame) -> list[DetailRow]:
    """What the logic waits for, each thing that is missing on a line of its own."""
    rows: list[DetailRow] = []
    for wait in now.waits:
        time = "" if wait.limit is None else text.clock(wait.limit)
        if wait.cause:
            rows.append(_plain(f" {wait.to} at {time}: {wait.cause}", "muted"))
            continue
        words = f" {wait.to}{' after a reset' if now.state == 'faulted' else ''}"
        if time:
            words += f" {'by' if wait.blocked_by else 'at'} {time}"
        rows.append(_plain(words + (", blocked by:" if wait.blocked_by else "")))
        rows += [_plain(f"   {obstacle_words(_short(each))}", "muted") for each in wait.blocked_by]
    return rows


def _short(obstacle: Obstacle) -> Obstacle:
    return obstacle._replace(clues=text.together(obstacle.clues))


def _brake_rows(plant: Plant, frame: Frame, index: int, late: bool) -> list[DetailRow]:
    place, lacking = plant.places[index], frame.zones[index].judged.lacking
    zone = place.zone
    scale = zone.requirement.clamping_force or STRONG
    wide = min(max(len(brake) for brake in zone.brakes), 20)
    sees = frame.zones[index].gap is not None
    heads = f"{'':<9}{'pressure':>8}{'gap':>7}{'force':>10} " if sees else ""
    rows = [DetailRow((Piece(f" {'Brakes':<{wide + 2}}", "bold"), Piece(f" {heads}seen", "muted")))]
    own = zip(zone.brakes, place.brakes, place.jaws_read(frame.inputs), place.full, strict=True)
    for k, (brake, i, jaws, full) in enumerate(own):
        gap, force = frame.gaps[i], frame.forces[i]
        name, says = f" {text.short(brake, wide):<{wide}} ", WORDS[letter(jaws)]
        if gap is None or force is None:
            mark = {True: "·", False: " ", None: "?"}[jaws.tells(zone.safe_state)]
            rows.append(DetailRow((Piece(f" {mark}{name}"), Piece(says)), brake))
            continue
        pressure = frame.pressures[plant.net_of[PortRef(brake, "1")]]
        safe = k not in lacking
        bad = late and not safe
        line: Line = (
            Piece(" "),
            Piece("x" if bad else ("·" if safe else " "), "bad" if bad else ""),
            Piece(name + picture(gap, full, 2, zone.name not in frame.absent_fins)),
            Piece(f"{text.pressure(pressure):>10}{text.gap(gap):>7}{text.force(force):>10} "),
            Piece(f"{says:<6} ", "muted"),
            Piece("▕", "muted"), Piece(text.bar(force / scale, BAR)), Piece("▏", "muted"),
        )  # fmt: skip
        rows.append(DetailRow(line, brake))
    return rows


def _valve_rows(plant: Plant, frame: Frame, zone: Zone, members: Sequence[str]) -> list[DetailRow]:
    """Valves that the zone's coils shift, then the other spools among its components."""
    at = dict(zip(plant.valves, frame.positions, strict=True))
    rows: list[DetailRow] = []
    for output, on_, forced in zip(plant.outputs, frame.outputs, frame.forced_outputs, strict=True):
        if output.zone != zone.name:
            continue
        held = output.name in frame.overridden
        line = (
            Piece(f"   {output.name:<20}"),
            Piece(" F" if forced else "  ", "warn"),
            Piece("M" if held else " ", "warn"),
            Piece(f" {'on ' if on_ else 'off'} {output.when if on_ else '':<7}"),
            Piece(f" {_place(at.get(output.component))}"),
        )
        rows.append(DetailRow(line, output.component))
    if rows:
        rows.insert(0, _plain(" Coils and valves", "bold"))
        rows.insert(0, _plain(""))
    shown = {row.component for row in rows}
    hands = [
        DetailRow((
            Piece(f"   {name:<20}    "),
            Piece("out of service", "warn") if name in frame.isolated
            else Piece(_place(at[name]) if "turnable" not in plant.circuit.components[name].traits
                       else "in service"),
        ), name)
        for name in members if name in at and name not in shown
    ]  # fmt: skip
    if hands:
        rows += [_plain(""), _plain(" Shut-off and other valves", "bold"), *hands]
    return rows


def _place(position: float | None) -> str:
    """A spool's position in words."""
    if position is None:
        return ""
    if abs(position) < 0.01:
        return "at rest"
    if position > 0.99:
        return "actuated"
    return "at the other end" if position < -0.99 else f"{abs(position) * 100:.0f} % on its way"


def _air_rows(plant: Plant, frame: Frame, zone: Zone, members: Sequence[str]) -> list[DetailRow]:
    """Stored air, what the meters show, what the pressure switches say."""
    shown = dict(zip(plant.meters, frame.readings, strict=True))
    says = {
        contact.name: (is_on, forced)
        for contact, is_on, forced in zip(
            plant.inputs, frame.inputs, frame.forced_inputs, strict=True
        )
    }
    rows: list[DetailRow] = []
    for name in members:
        traits = plant.circuit.components[name].traits
        words = ""
        if "store" in traits:
            port = plant.circuit.components[name].ports()[0].name
            net = plant.net_of[PortRef(name, port)]
            words = f"{text.pressure(frame.pressures[net]):>9} stored"
            words += "  ~ trapped" if net in frame.trapped else ""
            words += "  drain open" if name in frame.drained else ""
        elif name in shown:
            words = f"{text.pressure(shown[name]):>9} shown"
        elif "pressure contact" in traits and name in says:
            is_on, forced = says[name]
            words = f"{text.state(is_on):>9}{'  F' if forced else ''}"
        if words:
            rows.append(DetailRow((Piece(f"   {name:<20} {words}"),), name))
    if not rows:
        return []
    return [_plain(""), _plain(" Air", "bold"), *rows]
