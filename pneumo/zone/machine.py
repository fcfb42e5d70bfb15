"""The zone table, its causes of fault, and the one shared machine that refuses any other edge.

Decisions are made by the plain guards named in the table; the machine is triggered only once a
row has been chosen, so it holds edges and no conditions.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum
from typing import Literal, NamedTuple, Protocol, get_args

from transitions import Machine

from pneumo.zone import guard
from pneumo.zone.sensed import Sensed, Side, Spring, Timers, ZoneSettings

State = Literal["open", "opening", "closing", "closed", "venting", "faulted"]
Trigger = Literal["close", "open", "reset", "arrive", "fault"]
Guard = Callable[[Sensed, ZoneSettings, Timers], bool]

STATES: tuple[State, ...] = get_args(State)


class Cause(StrEnum):
    """First-out causes of a fault; also the names of the zone's alarms."""

    LOW_SUPPLY = "low supply"
    SWITCHES_DISAGREE = "switches disagree"
    PRESSURE_LOST = "pressure lost while charged"
    PRESSURE_PRESENT = "pressure present while vented"
    UNCOMMANDED = "uncommanded movement"
    CLOSE_TIME = "close time exceeded"
    OPEN_TIME = "open time exceeded"
    VENT_TIME = "vent time exceeded"


class Row(NamedTuple):
    """One row of the table: in these states, on this trigger, if the guard holds, go there."""

    trigger: Trigger
    """close, open, reset: a command. arrive, fault: tried at every scan."""
    sources: tuple[State, ...]
    destination: State
    spring: Spring | Literal["any"]
    """The sort of zone the row is for: its springs open, its springs close, or any."""
    guard: Guard
    cause: Cause | None = None
    """First-out cause, of fault rows only."""

    @property
    def edge(self) -> str:
        """Trigger name in the shared machine; says where it leads, so no edge is ambiguous."""
        return f"{self.trigger} to {self.destination}"


WORKING: tuple[State, ...] = ("open", "opening", "closing", "closed", "venting")

# Of the rows that start in one state the first whose guard holds is taken, so the order counts:
# faults seen at once, then arrival, then time limits. A reset needs every alarm of the zone
# acknowledged and no cause standing (see STANDING).
g, C = guard, Cause
TABLE: tuple[Row, ...] = (
    # trigger  sources               destination springs  guard                first-out cause
    Row("close", ("open", "venting"), "closing", "open", g.always),
    Row("close", ("open", "opening"), "venting", "close", g.always),
    Row("open", ("closed", "closing"), "venting", "open", g.always),
    Row("open", ("closed", "closing", "venting"), "opening", "close", g.always),
    Row("reset", ("faulted",), "closing", "open", g.safe_is_closed),
    Row("reset", ("faulted",), "venting", "open", g.safe_is_open),
    Row("reset", ("faulted",), "venting", "close", g.safe_is_closed),
    Row("reset", ("faulted",), "opening", "close", g.safe_is_open),
    Row("fault", WORKING, "faulted", "any", g.supply_low, C.LOW_SUPPLY),
    Row("fault", WORKING, "faulted", "any", g.switches_disagree, C.SWITCHES_DISAGREE),
    Row("fault", ("closed",), "faulted", "open", g.pressure_lost, C.PRESSURE_LOST),
    Row("fault", ("open",), "faulted", "close", g.pressure_lost, C.PRESSURE_LOST),
    Row("fault", ("open",), "faulted", "open", g.pressure_present, C.PRESSURE_PRESENT),
    Row("fault", ("closing", "closed"), "faulted", "close", g.pressure_present, C.PRESSURE_PRESENT),
    Row("fault", ("closed",), "faulted", "any", g.no_longer_closed, C.UNCOMMANDED),
    Row("fault", ("open",), "faulted", "any", g.no_longer_open, C.UNCOMMANDED),
    Row("arrive", ("closing",), "closed", "open", g.closed_by_air),
    Row("arrive", ("venting",), "open", "open", g.open_by_springs),
    Row("arrive", ("opening",), "open", "close", g.open_by_air),
    Row("arrive", ("venting",), "closing", "close", g.no_pressure),
    Row("arrive", ("closing",), "closed", "close", g.closed_by_springs),
    Row("fault", ("closing",), "faulted", "any", g.close_time_over, C.CLOSE_TIME),
    Row("fault", ("opening",), "faulted", "close", g.open_time_over, C.OPEN_TIME),
    Row("fault", ("venting",), "faulted", "any", g.vent_time_over, C.VENT_TIME),
    Row("fault", ("venting",), "faulted", "open", g.open_time_over, C.OPEN_TIME),
)


class Standing(NamedTuple):
    """While the zone is faulted: when a cause still stands, and when it joins as a later alarm."""

    cause: Cause
    stands: Guard
    """Holds: the alarm's condition is abnormal and a reset is refused."""
    joins: Guard
    """Holds together with `stands`: a cause that was not the first raises its alarm as well."""


STANDING: tuple[Standing, ...] = (
    Standing(C.LOW_SUPPLY, g.supply_low, g.always),
    Standing(C.SWITCHES_DISAGREE, g.both_on_now, g.switches_disagree),
    Standing(C.PRESSURE_LOST, g.not_charged_as_it_should, g.safe_overdue),
    Standing(C.PRESSURE_PRESENT, g.not_vented_as_it_should, g.never),
    Standing(C.UNCOMMANDED, g.not_safe, g.never),
    Standing(C.CLOSE_TIME, g.not_closed_as_it_should, g.safe_overdue),
    Standing(C.OPEN_TIME, g.not_open_as_it_should, g.safe_overdue),
    Standing(C.VENT_TIME, g.not_vented_as_it_should, g.vent_time_over),
)


def is_charging(state: State, zone: ZoneSettings) -> bool:
    """True when the zone is to be pressurised in this state."""
    if state == "faulted":
        return zone.safe_charged
    return state in (("closing", "closed") if zone.spring == "open" else ("opening", "open"))


def heads_for(state: State, zone: ZoneSettings) -> Side:
    """The end state that this state is, or moves towards."""
    if state == "faulted":
        return zone.safe_state
    if state == "venting":
        return "open" if zone.spring == "open" else "closed"
    return "open" if state in ("open", "opening") else "closed"


def time_limits(state: State, zone: ZoneSettings) -> tuple[float, ...]:
    """Limits [s] from entering the state after which a guard of it can change by time alone."""
    if state == "closing":
        return (zone.close,)
    if state == "opening":
        return (zone.open,)
    if state == "venting":
        return (zone.vent, zone.open) if zone.spring == "open" else (zone.vent,)
    if state == "faulted":
        return (zone.safe_limit,) if zone.safe_charged else (zone.vent, zone.safe_limit)
    return ()


class HasState(Protocol):
    """What the shared machine moves: anything with a `state` and an instance dictionary."""

    state: State


class ZoneMachine:
    """A table of rows with the transitions Machine made from it; shared by any number of zones."""

    def __init__(self, table: Sequence[Row] = TABLE) -> None:
        self.table = tuple(table)
        # No model is registered: the library would add methods to it at run time.
        self._machine = Machine(
            model=None,
            states=list(STATES),
            initial=None,
            auto_transitions=False,
            transitions=[
                {"trigger": row.edge, "source": list(row.sources), "dest": row.destination}
                for row in self.table
            ],
        )
        springs: tuple[Spring, ...] = ("open", "close")
        self._sensed_rows = {
            spring: {state: self._of(spring, state, "arrive", "fault") for state in STATES}
            for spring in springs
        }
        self._command_rows = {
            spring: {
                (trigger, state): self._of(spring, state, trigger)
                for trigger in ("close", "open", "reset")
                for state in STATES
            }
            for spring in springs
        }

    def _of(self, spring: Spring, state: State, *triggers: str) -> tuple[Row, ...]:
        return tuple(
            row
            for row in self.table
            if row.trigger in triggers and state in row.sources and row.spring in (spring, "any")
        )

    def sensed_rows(self, spring: Spring) -> Mapping[State, tuple[Row, ...]]:
        """Per state, in table order: the rows to try at every scan of such a zone."""
        return self._sensed_rows[spring]

    def command_rows(self, spring: Spring) -> Mapping[tuple[str, State], tuple[Row, ...]]:
        """Per command and state, in table order: the rows to try when it is given."""
        return self._command_rows[spring]

    def take(self, row: Row, model: HasState) -> None:
        """Move `model` along `row`. Raises transitions.MachineError from any other state."""
        self._machine.events[row.edge].trigger(model)


ZONE_MACHINE = ZoneMachine()
"""The machine all zones share; it holds no state of theirs."""
