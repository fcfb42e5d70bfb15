"""What a zone's logic does and waits for, in lines of words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from pneumo.circuit.circuit import Zone
from pneumo.live.frame import Frame, ZoneFrame
from pneumo.live.plant import Plant
from pneumo.scenario.event import RunEvent
from pneumo.zone.event import StateEntered
from pneumo.zone.evidence import obstacle_words
from pneumo.zone.machine import ZONE_MACHINE, Cause
from pneumo.zone.sensed import Spring
from tui import text
from tui.widgets.state_diagram import (
    BAD,
    CURRENT,
    LAST,
    MUTED,
    TEXT,
    TITLE,
    WAITS,
    reset_to,
    words_of,
)  # fmt: skip

BAR = 10
"""Cells of the bar of a time that runs."""


class Line(NamedTuple):
    """A line of words; what is too long goes on below, indented as far."""

    words: str
    look: int = TEXT
    indent: int = 0


class Taken(NamedTuple):
    """The transition that a zone has taken last."""

    source: str
    destination: str
    time: float
    """[s]"""


def last_taken(zone: str, events: Sequence[RunEvent], now: float) -> Taken | None:
    """The last transition of a zone until `now` [s]; None: none yet."""
    for event in reversed(events):
        what = event.what
        if isinstance(what, StateEntered) and event.subject == zone and event.time <= now + 1e-6:
            return Taken(what.left, what.entered, event.time)
    return None


def forced(plant: Plant, frame: Frame, zone: str) -> tuple[str, ...]:
    """Inputs of a zone that are forced, with what the logic is told."""
    return tuple(
        f"{contact.name} {text.state(is_on)}"
        for contact, is_on, held in zip(
            plant.inputs, frame.inputs, frame.forced_inputs, strict=True
        )
        if held and contact.zone == zone
    )


def story(
    zone: Zone, spring: Spring, now: ZoneFrame, time: float, last: Taken | None,
    told: Sequence[str], stopped_by: str, with_ways: bool,
) -> list[Line]:  # fmt: skip
    """Everything about a zone at `time` [s]; `with_ways` also lists the ways a drawing shows."""
    stayed = text.age(time - now.since)
    lines = [
        Line(f"{zone.name}: {text.sprung(spring)}, safe state {zone.safe_state}", TITLE),
        Line(f"● {now.state} for {stayed}", BAD if now.state == "faulted" else CURRENT),
    ]
    if last is not None:
        lines.append(
            Line(f"last: {last.source} → {last.destination} at {text.clock(last.time)}", LAST)
        )
    lines += [Line(f"F forced: {words}", WAITS) for words in told]
    if stopped_by:
        lines.append(
            Line(f"ride stop ({stopped_by}): held at its safe state until the ride is reset", WAITS)
        )
    lines.append(Line(""))
    if now.state == "faulted":
        lines += _faulted(now)
    else:
        lines += _waits(zone, now, time)
        if with_ways:
            lines += _commands(spring, now.state)
    lines += _belief(zone, now)
    lines += _limits(zone, spring)
    if now.state != "faulted":
        lines += _watched(spring, now.state)
    return lines


def _faulted(now: ZoneFrame) -> Iterator[Line]:
    yield Line(f"first out: {now.first_out}", BAD)
    for wait in now.waits:
        if not wait.blocked_by:
            yield Line(f"nothing blocks a reset (r), which leads to {wait.to}", WAITS)
        else:
            yield Line(f"reset (to {wait.to}) is blocked by:", WAITS)
            yield from (
                Line(f"  - {words}", TEXT, 4) for words in map(obstacle_words, wait.blocked_by)
            )


def _waits(zone: Zone, now: ZoneFrame, time: float) -> Iterator[Line]:
    if not now.waits:
        yield Line(f"{now.state}: at rest, waits for a command", MUTED)
    for wait in now.waits:
        if wait.blocked_by:
            yield Line(f"→ not {wait.to} yet:", WAITS, 2)
            yield from (
                Line(f"  - {words}", TEXT, 4) for words in map(obstacle_words, wait.blocked_by)
            )
            continue
        yield Line(
            f"→ faulted: {wait.cause}" if wait.cause else f"→ {wait.to} by time alone", WAITS
        )
        if wait.limit is not None:
            left = max(wait.limit - time, 0.0)
            bar = text.bar(left / _length(zone, now, wait.limit, wait.cause), BAR)
            yield Line(f"  {bar}▏ {text.age(left)} left", WAITS)


def _length(zone: Zone, now: ZoneFrame, limit: float, cause: str) -> float:
    """How long the time that ends at `limit` was when it began [s]."""
    if cause == Cause.SWITCHES_DISAGREE:
        return zone.limits.discrepancy
    return max(limit - now.since, 1e-3)


def _commands(spring: Spring, state: str) -> Iterator[Line]:
    for (trigger, source), rows in ZONE_MACHINE.command_rows(spring).items():
        if source == state:
            yield from (Line(f"→ {row.destination} on {trigger}", TEXT, 2) for row in rows)


def _belief(zone: Zone, now: ZoneFrame) -> Iterator[Line]:
    """What the jaws do, for a seat that sees them."""
    if now.gap is None:
        return
    yield Line("")
    yield Line("The jaws, which the logic does not see", TITLE)
    needed = f"{zone.safe_state}, {zone.brakes_needed} of {len(zone.brakes)} brakes needed"
    words = f"in the safe state ({needed})"
    if now.judged.safe:
        yield Line(f"the zone is {words}", TEXT, 2)
    elif now.state == "faulted":
        yield Line(f"x the zone is NOT {words}", BAD, 2)
    else:
        yield Line(f"the zone is not {words}", TEXT, 2)
    yield Line(
        f"furthest from it: {now.brake}, {text.pressure(now.pressure)}, gap {text.gap(now.gap)}, "
        f"force {text.force(now.force)}", TEXT, 2,
    )  # fmt: skip


def _limits(zone: Zone, spring: Spring) -> Iterator[Line]:
    limits = zone.limits
    yield Line("")
    yield Line("Limits", TITLE)
    words = [f"close {limits.close:g} s", f"open {limits.open:g} s", f"vent {limits.vent:g} s"]
    yield Line(f"{', '.join(words)}; discrepancy time {limits.discrepancy:g} s", TEXT, 2)
    yield Line(f"a reset leads to {reset_to(spring, zone.safe_state)}", MUTED, 2)


def _watched(spring: Spring, state: str) -> Iterator[Line]:
    yield Line("")
    yield Line(f"Faults watched while {state}", TITLE)
    rows = {str(name): rows for name, rows in ZONE_MACHINE.sensed_rows(spring).items()}
    for row in rows[state]:
        if row.cause is not None:
            yield Line(f"- {row.cause} [{words_of(row)}]", MUTED, 2)
