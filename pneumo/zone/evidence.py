"""Which instruments speak for a cause of fault, as records; their words are made at the end."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal, NamedTuple

from pneumo.zone.machine import Cause
from pneumo.zone.sensed import Sensed, Side, ZoneSettings

Instrument = Literal[
    "open switch", "closed switch", "both switches", "pressure switch", "supply switch",
    "transmitter",
]  # fmt: skip
"""The switches of a brake's jaws, those of pressure, and the zone's transmitter."""


class Clue(NamedTuple):
    """What one instrument shows."""

    instrument: Instrument
    name: str
    """Of the switch; of a jaw switch the brake it watches; "" of the transmitter."""
    on: bool
    """The switch is ON; the transmitter does not read low."""


class Obstacle(NamedTuple):
    """What keeps a zone from a transition: an alarm from a reset, an instrument from an arrival."""

    alarm: str
    """"" for an arrival."""
    active: bool
    """False: the alarm only has to be acknowledged."""
    clues: tuple[Clue, ...]
    """Instruments that speak against the transition; of an arrival it is one."""


def clues(cause: Cause, wanted: Side, sensed: Sensed, zone: ZoneSettings) -> tuple[Clue, ...]:
    """What is sensed that speaks for `cause`, in a zone that should be in the `wanted` state, one
    entry for each instrument; empty: nothing sensed speaks for the cause."""
    return tuple(_clues(cause, wanted, sensed, zone))


def _clues(cause: Cause, wanted: Side, sensed: Sensed, zone: ZoneSettings) -> list[Clue]:
    if cause is Cause.LOW_SUPPLY:
        return [
            Clue("supply switch", name, False)
            for name, ok in zip(zone.supply_switches, sensed.supply_ok, strict=True)
            if not ok
        ]
    if cause is Cause.SWITCHES_DISAGREE:
        return _disagreeing(sensed, zone)
    if cause is Cause.PRESSURE_LOST:
        return _pressure(False, sensed, zone)
    if cause in (Cause.PRESSURE_PRESENT, Cause.VENT_TIME):
        return _pressure(True, sensed, zone)
    if cause is Cause.UNCOMMANDED:
        return _not_at(wanted, sensed, zone)
    end: Side = "closed" if cause is Cause.CLOSE_TIME else "open"
    by_air = (zone.spring == "open") == (end == "closed")
    return [
        *_not_at(end, sensed, zone),
        *_disagreeing(sensed, zone),
        *_pressure(not by_air, sensed, zone),
    ]


def _not_at(end: Side, sensed: Sensed, zone: ZoneSettings) -> list[Clue]:
    """Per brake: the switch for `end` is OFF, or in want of one the other switch is ON."""
    own: Instrument
    opposite: Instrument
    if end == "closed":
        there, other, own, opposite = sensed.closed, sensed.open, "closed switch", "open switch"
    else:
        there, other, own, opposite = sensed.open, sensed.closed, "open switch", "closed switch"
    found = []
    for brake, on, contrary in zip(zone.brakes, there, other, strict=True):
        if on is None and contrary:
            found.append(Clue(opposite, brake, True))
        elif on is not None and not on:
            found.append(Clue(own, brake, False))
    return found


def _disagreeing(sensed: Sensed, zone: ZoneSettings) -> list[Clue]:
    return [
        Clue("both switches", brake, True)
        for brake, closed, wide in zip(zone.brakes, sensed.closed, sensed.open, strict=True)
        if closed and wide
    ]


def _pressure(on: bool, sensed: Sensed, zone: ZoneSettings) -> list[Clue]:
    """Whatever says that there is pressure, or that there is none."""
    found = [
        Clue("pressure switch", name, on)
        for name, says in zip(zone.pressure_switches, sensed.pressure_on, strict=True)
        if says == on
    ]
    reads = sensed.low_pressure is not None and sensed.low_pressure != on
    return [*found, Clue("transmitter", "", on)] if reads else found


# words


def clue_words(clue: Clue) -> str:
    """A clause: "'open' switch of trim_brake_1 is OFF"."""
    if clue.instrument == "transmitter":
        return f"the transmitter {'does not read low' if clue.on else 'reads low'}"
    if clue.instrument == "both switches":
        return f"'open' and 'closed' switch of {clue.name} are both ON"
    state = "is ON" if clue.on else "is OFF"
    if clue.instrument in ("pressure switch", "supply switch"):
        return f"{clue.instrument} {clue.name} {state}"
    return f"'{clue.instrument.removesuffix(' switch')}' switch of {clue.name} {state}"


def evidence_words(found: Iterable[Clue]) -> str:
    """The clauses of several, in one line."""
    return ", ".join(map(clue_words, found))


def obstacle_words(obstacle: Obstacle) -> str:
    """What keeps a zone from a transition, one sentence."""
    if not obstacle.alarm:
        return evidence_words(obstacle.clues)
    if not obstacle.active:
        return f"'{obstacle.alarm}' is not acknowledged"
    return f"'{obstacle.alarm}' is still active: {evidence_words(obstacle.clues)}"
