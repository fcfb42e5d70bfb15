"""Sentences that say which instrument speaks for a cause of fault."""

from __future__ import annotations

from pneumo.zone.machine import Cause
from pneumo.zone.sensed import Sensed, Side, ZoneSettings


def evidence(cause: Cause, wanted: Side, sensed: Sensed, zone: ZoneSettings) -> str:
    """What is sensed that speaks for `cause`, in a zone that should be in the `wanted` state."""
    return ", ".join(clues(cause, wanted, sensed, zone))


def clues(cause: Cause, wanted: Side, sensed: Sensed, zone: ZoneSettings) -> list[str]:
    """The same, one clause for each instrument; empty: nothing sensed speaks for the cause."""
    if cause is Cause.LOW_SUPPLY:
        return [
            f"supply switch {name} is OFF"
            for name, ok in zip(zone.supply_switches, sensed.supply_ok, strict=True)
            if not ok
        ]
    if cause is Cause.SWITCHES_DISAGREE:
        return _disagreeing(sensed, zone)
    if cause is Cause.PRESSURE_LOST:
        return _pressure_missing(sensed, zone)
    if cause in (Cause.PRESSURE_PRESENT, Cause.VENT_TIME):
        return _pressure_left(sensed, zone)
    if cause is Cause.UNCOMMANDED:
        return _not_at(wanted, sensed, zone)
    end: Side = "closed" if cause is Cause.CLOSE_TIME else "open"
    by_air = (zone.spring == "open") == (end == "closed")
    pressure = _pressure_missing if by_air else _pressure_left
    return _not_at(end, sensed, zone) + _disagreeing(sensed, zone) + pressure(sensed, zone)


def _not_at(end: Side, sensed: Sensed, zone: ZoneSettings) -> list[str]:
    """Per brake: the switch for `end` is OFF, or in want of one the other switch is ON."""
    there, other, away = (
        (sensed.closed, sensed.open, "open")
        if end == "closed"
        else (sensed.open, sensed.closed, "closed")
    )
    parts = []
    for brake, made, contrary in zip(zone.brakes, there, other, strict=True):
        if made is None and contrary:
            parts.append(f"'{away}' switch of {brake} is ON")
        elif made is not None and not made:
            parts.append(f"'{end}' switch of {brake} is OFF")
    return parts


def _disagreeing(sensed: Sensed, zone: ZoneSettings) -> list[str]:
    return [
        f"'open' and 'closed' switch of {brake} are both ON"
        for brake, shut, wide in zip(zone.brakes, sensed.closed, sensed.open, strict=True)
        if shut and wide
    ]


def _pressure_missing(sensed: Sensed, zone: ZoneSettings) -> list[str]:
    parts = [
        f"pressure switch {name} is OFF"
        for name, made in zip(zone.pressure_switches, sensed.pressure_made, strict=True)
        if not made
    ]
    return [*parts, "the transmitter reads low"] if sensed.low_pressure else parts


def _pressure_left(sensed: Sensed, zone: ZoneSettings) -> list[str]:
    parts = [
        f"pressure switch {name} is ON"
        for name, made in zip(zone.pressure_switches, sensed.pressure_made, strict=True)
        if made
    ]
    present = sensed.low_pressure is not None and not sensed.low_pressure
    return [*parts, "the transmitter does not read low"] if present else parts
