"""What an operator notices of a ride, at the desk and with his ears; nothing that takes a test."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pneumo.circuit.action import Command
from pneumo.circuit.circuit import Circuit
from pneumo.circuit.zones import component_zones, zone_feeds
from pneumo.diagnosis.panel import Panel
from pneumo.inspection.ear import HISS
from pneumo.live.session import Session
from pneumo.making.operated import Hiss, Operated
from pneumo.making.operating import Verb
from pneumo.scenario.event import Commanded, RunEvent, alarms_raised
from pneumo.zone.event import RideStopped, StateEntered

LATER = 0.3
"""An operator sees that a zone is later than it was by so much [s]; estimated."""

LOWER = 0.4e5
"""And that a gauge on the panel shows another pressure than it did [Pa]; estimated."""

LOUD = HISS[0][0]
"""Free air from which on a hiss is heard at the desk [L/s ANR]."""


@dataclass(frozen=True)
class Alarm:
    """An alarm that came."""

    zone: str
    """"" = of the ride."""
    name: str
    verb: Verb | None
    """What the zone was last commanded to; None: nothing."""
    train: int
    """So often it had been commanded to that [-]."""
    still: bool
    """It had been there already, and stood."""


@dataclass(frozen=True)
class Late:
    """A zone that was later than usual, and did not alarm."""

    zone: str
    verb: Verb
    took: float
    usual: float
    """[s]"""


@dataclass(frozen=True)
class Gauge:
    """A gauge on the panel that shows another pressure than usual."""

    zone: str
    """"" = what the zones share."""
    shows: float
    usual: float
    """[Pa above the surroundings]"""


@dataclass(frozen=True)
class Noticed:
    """What an operator notices."""

    alarms: tuple[Alarm, ...]
    """In order of time."""
    stopped: bool
    """The whole ride has."""
    late: tuple[Late, ...]
    gauges: tuple[Gauge, ...]
    loud: tuple[Hiss, ...]
    """Heard from the desk; the loudest first."""
    faint: tuple[Hiss, ...]
    """Heard by whoever walks by."""
    pumps: bool
    """A compressor runs that would stand still."""
    closes: float
    opens: float
    """What the slowest zone takes as a rule [s]; 0 = there is none, or it was not seen."""

    @property
    def something(self) -> bool:
        """Whether there is anything to complain about."""
        return bool(self.alarms or self.late or self.gauges or self.loud or self.pumps)


def noticed(at: Operated) -> Noticed:
    """What is noticed where a drill begins."""
    circuit = at.faulty.circuit
    events, usual = (_events(each) for each in (at.faulty, at.sound))
    zones = component_zones(circuit, zone_feeds(circuit))
    took, takes = _movements(events), _movements(usual)
    return Noticed(
        alarms=tuple(_alarm(circuit, events, *each) for each in alarms_raised(events)),
        stopped=any(isinstance(event.what, RideStopped) for event in events),
        late=tuple(_late(took, takes)),
        gauges=tuple(_gauges(at, zones)),
        loud=tuple(hiss for hiss in at.hisses if hiss.flow >= LOUD),
        faint=tuple(hiss for hiss in at.hisses if hiss.flow < LOUD),
        pumps=_pumps(at.faulty) and not _pumps(at.sound),
        closes=_slowest(takes, "close"),
        opens=_slowest(takes, "open"),
    )


def _events(session: Session) -> Sequence[RunEvent]:
    return session.play.plant.log.events


def _alarm(
    circuit: Circuit, events: Sequence[RunEvent], time: float, zone: str, name: str
) -> Alarm:
    """An alarm with what went before it."""
    commands = [
        event.what.action
        for event in events
        if event.time <= time and isinstance(event.what, Commanded)
        and isinstance(event.what.action, Command) and event.what.action.target == zone
    ]  # fmt: skip
    last = commands[-1] if commands else None
    states = [
        event.what.entered
        for event in events
        if event.time < time and event.subject == zone and isinstance(event.what, StateEntered)
    ]
    stood = states[-1] if states else circuit.zones[zone].starts if zone else ""
    verb: Verb | None = None if last is None else "open" if last.to == "open" else "close"
    return Alarm(
        zone, name, verb, sum(each == last for each in commands), stood in ("open", "closed")
    )


_Movement = tuple[str, Verb]


def _movements(events: Sequence[RunEvent]) -> dict[_Movement, list[float]]:
    """(zone, verb) -> what each movement took that came to its end [s]."""
    found: dict[_Movement, list[float]] = {}
    began: dict[str, tuple[float, Verb]] = {}
    for event in events:
        match event.what:
            case Commanded(Command(target, ("open" | "close") as verb)):
                began[target] = event.time, verb
            case StateEntered(entered=("open" | "closed") as state) if event.subject in began:
                since, verb = began.pop(event.subject)
                if state.startswith(verb):
                    found.setdefault((event.subject, verb), []).append(event.time - since)
    return found


def _late(
    took: Mapping[_Movement, list[float]], takes: Mapping[_Movement, list[float]]
) -> list[Late]:
    return [
        Late(zone, verb, max(times), max(takes[zone, verb]))
        for (zone, verb), times in took.items()
        if (zone, verb) in takes and max(times) - max(takes[zone, verb]) >= LATER
    ]


def _slowest(takes: Mapping[_Movement, list[float]], verb: Verb) -> float:
    return max((max(times) for (_, own), times in takes.items() if own == verb), default=0.0)


def _gauges(at: Operated, zones: Mapping[str, str]) -> list[Gauge]:
    """Gauges of zones that alarmed are left out: what they show comes of that."""
    panel = Panel(at.faulty.compiled)
    tripped = {zone for _, zone, _ in alarms_raised(_events(at.faulty))}
    found = []
    shown, usual = (panel.shown(each.play).readings for each in (at.faulty, at.sound))
    for name, now, before in zip(panel.meters, shown.tolist(), usual.tolist(), strict=True):
        zone = zones.get(name, "")
        if abs(now - before) >= LOWER and zone not in tripped:
            found.append(Gauge(zone, now, before))
    return found


def _pumps(session: Session) -> bool:
    plant, supplies = session.play.plant, session.play.actors.supplies
    return any(supplies.delivers(plant, name) for name in session.circuit.having("pumping"))
