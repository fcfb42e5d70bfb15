"""Guards of the zone table: named plain functions of what is sensed, the settings and the timers.

A brake without a closed (open) switch counts as seen closed (open) unless its other switch says
otherwise; such a zone takes a movement for finished only when the time allowed for it is over.
A zone that senses no pressure at all goes by its jaw switches and timers alone.
"""

from __future__ import annotations

from pneumo.zone.sensed import Sensed, Timers, ZoneSettings, due

# parts, of the sensed values alone


def seen_closed(sensed: Sensed) -> bool:
    """Every closed switch is ON, and no brake without one has its open switch ON."""
    if False in sensed.closed:
        return False
    return None not in sensed.closed or not any(
        closed is None and wide for closed, wide in zip(sensed.closed, sensed.open, strict=True)
    )


def seen_open(sensed: Sensed) -> bool:
    """Every open switch is ON, and no brake without one has its closed switch ON."""
    if False in sensed.open:
        return False
    return None not in sensed.open or not any(
        wide is None and closed for closed, wide in zip(sensed.closed, sensed.open, strict=True)
    )


def both_on(sensed: Sensed) -> bool:
    """At least one brake has its closed and its open switch ON together."""
    return (
        True in sensed.closed
        and True in sensed.open
        and any(closed and wide for closed, wide in zip(sensed.closed, sensed.open, strict=True))
    )


def charged(sensed: Sensed) -> bool:
    """Nothing that senses the zone's pressure says that it is missing."""
    return False not in sensed.pressure_on and not sensed.low_pressure


def vented(sensed: Sensed) -> bool:
    """Nothing that senses the zone's pressure says that it is present."""
    return True not in sensed.pressure_on and (sensed.low_pressure is None or sensed.low_pressure)


# guards of faults


def supply_low(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """A supply switch is OFF."""
    return False in sensed.supply_ok


def switches_disagree(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """Both switches of one brake have been ON for longer than the limit."""
    return timers.time >= due(timers.discrepancy_since, zone.discrepancy)


def pressure_lost(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """A pressure switch is OFF, or the transmitter reads low."""
    return not charged(sensed)


def pressure_present(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """A pressure switch is ON, or the transmitter does not read low."""
    return not vented(sensed)


def no_longer_closed(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """A jaw is no longer seen closed."""
    return not seen_closed(sensed)


def no_longer_open(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """A jaw is no longer seen open."""
    return not seen_open(sensed)


def close_time_over(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """The time allowed for closing is over."""
    return timers.time >= due(timers.entered, zone.close)


def open_time_over(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """The time allowed for opening is over."""
    return timers.time >= due(timers.entered, zone.open)


def vent_time_over(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """The time allowed for venting is over and pressure is still sensed."""
    return timers.time >= due(timers.entered, zone.vent) and not vented(sensed)


# guards of arrival


def closed_by_air(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """Jaws seen closed, switches agreeing, pressure present."""
    return charged(sensed) and closed_by_springs(sensed, zone, timers)


def closed_by_springs(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """Jaws seen closed, switches agreeing; pressure is watched by a guard of its own."""
    if not seen_closed(sensed) or both_on(sensed):
        return False
    return None not in sensed.closed or close_time_over(sensed, zone, timers)


def open_by_air(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """Jaws seen open, switches agreeing, pressure present."""
    return charged(sensed) and _open_confirmed(sensed, zone, timers)


def open_by_springs(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """Jaws seen open, switches agreeing, no pressure present."""
    return vented(sensed) and _open_confirmed(sensed, zone, timers)


def _open_confirmed(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    if not seen_open(sensed) or both_on(sensed):
        return False
    return None not in sensed.open or open_time_over(sensed, zone, timers)


def no_pressure(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """No pressure sensed; where nothing senses it, the time allowed for venting is over."""
    if not vented(sensed):
        return False
    blind = not sensed.pressure_on and sensed.low_pressure is None
    return not blind or timers.time >= due(timers.entered, zone.vent)


# guards of commands


def always(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """No further condition."""
    return True


def safe_is_closed(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """The zone's safe state is closed."""
    return zone.safe_state == "closed"


def safe_is_open(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """The zone's safe state is open."""
    return zone.safe_state == "open"


# guards of the faulted state, where the zone is commanded to its safe state


def not_closed_as_it_should(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """Commanded closed, not seen closed."""
    return zone.safe_state == "closed" and not seen_closed(sensed)


def not_open_as_it_should(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """Commanded open, not seen open."""
    return zone.safe_state == "open" and not seen_open(sensed)


def not_safe(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """Not seen in the safe state."""
    return not (seen_closed(sensed) if zone.safe_state == "closed" else seen_open(sensed))


def not_charged_as_it_should(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """Held safe by air, and pressure missing."""
    return zone.safe_charged and not charged(sensed)


def not_vented_as_it_should(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """Held safe by springs, and pressure present."""
    return not zone.safe_charged and not vented(sensed)


def both_on_now(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """Both switches of one brake are ON."""
    return both_on(sensed)


def safe_overdue(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """The time allowed from the fault to the safe state is over."""
    return timers.time >= due(timers.entered, zone.safe_limit)


def never(sensed: Sensed, zone: ZoneSettings, timers: Timers) -> bool:
    """Not at all: another alarm tells the same."""
    return False
