"""The ride at one instant, as screens show it: plain frozen values, SI, pressures gauge.

A frame for the trainee's seat is made from a whole one by `live.seat.seen`: what no instrument
shows becomes None there, before anything leaves the host. Screens draw None as nothing.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from pneumo.verification.case import Injection, Loss
from pneumo.verification.demand import Source
from pneumo.verification.verdict import Verdict
from pneumo.verification.wording import injection_words
from pneumo.zone.waiting import Wait

Mode = Literal["live", "earlier", "check"]
"""live: at the newest instant; earlier: gone back, the future kept until someone acts or runs on;
check: a fail-safe check or a case is played beside the ride."""


class Judged(NamedTuple):
    """A zone judged by its requirement, up to the instant of the frame."""

    safe: bool | None
    """Enough of its brakes are in the safe state now; None: that cannot be told."""
    lacking: tuple[int, ...]
    """Places in the zone of the brakes that are not."""
    demanded_by: Source | None = None
    """What demands the safe state now, the first of the sources; None: nothing does."""
    since: float = 0.0
    """When that demand began [s]; a further source does not start it anew."""
    verdict: Verdict | None = None
    """What a verification says of this demand, were the run over now; None: there is none, or it
    cannot be told."""
    not_safe: bool = False
    """Demanded, the time for it over, and not in the safe state."""

    @property
    def on_its_way(self) -> bool:
        """Demanded and not there, but still in time."""
        return self.demanded_by is not None and self.safe is False and not self.not_safe


class ZoneFrame(NamedTuple):
    """A zone as its logic believes it, and what its jaws do."""

    state: str
    since: float
    """When the state was entered [s]."""
    first_out: str
    """"" unless faulted."""
    charge: bool
    """True: the logic pressurises the zone."""
    waits: tuple[Wait, ...]
    pressure: float | None
    """In the bladders of its worst brake [Pa]."""
    gap: float | None
    """[m]"""
    force: float | None
    """Of one ski [N]."""
    brake: str
    """The brake furthest from the safe state; "" when not seen."""
    judged: Judged
    """By what its jaws do; in a seat that does not see them, the same as `confirmed`."""
    confirmed: Judged
    """By what its jaw switches tell and by what both seats see: no loss of power, no verdict."""


class AlarmFrame(NamedTuple):
    """An alarm that is not normal (ISA-18.2)."""

    zone: str
    """"" = the ride."""
    name: str
    state: str
    """A value of `zone.alarm.AlarmState`."""
    first_out: bool
    since: float
    """When it was raised [s]."""
    shelved_until: float | None
    """[s]"""


class FaultFrame(NamedTuple):
    """A fault that the trainer has injected and not put right; also one that is still to come."""

    component: str
    mode: str
    sentence: str
    """As in the document language, without "fault"."""
    at: float
    """Onset [s]."""
    present: bool
    """False: not yet, or gone for the moment."""
    hidden: bool
    """True: not shown in the trainee's seat."""


class CheckFrame(NamedTuple):
    """A loss that is being played on a copy of the ride."""

    zone: str
    loss: Loss
    verdict: str
    """"" = not decided yet."""
    progress: str
    """How far it is, or why the verdict is so, one line."""

    @property
    def note(self) -> str:
        """All of it in one line."""
        verdict = f"{self.verdict}: " if self.verdict else ""
        loss = injection_words(Injection(self.loss))
        return f"Check of {self.zone}, {loss}: {verdict}{self.progress}"


class Crossed(NamedTuple):
    """A plug that is not on its own coil."""

    coil: str
    """"trim_valve_a.14"."""
    output: str
    """The one whose plug is on it, by the coil it is for."""


class Frame(NamedTuple):
    """The whole ride at one instant. Tuples are in the order that `Plant` gives."""

    number: int
    """Counts up; two frames of one number are equal."""
    time: float
    """[s]"""
    newest: float
    """The latest instant there is [s]; `time` unless gone back."""
    mode: Mode
    running: bool
    speed: float
    """Asked for, 1 = real time."""
    pace: float
    """Reached."""
    note: str
    """What is being checked, or why the run stands still; "" = nothing to say."""
    stopped_by: str
    """Cause of the ride stop that is held; "" = none."""
    power: bool | None
    """Electrical power to the coils."""
    zones: tuple[ZoneFrame, ...]
    pressures: tuple[float | None, ...]
    """Per net [Pa]."""
    trapped: tuple[int, ...]
    """Nets with air that no open way leads out of, now."""
    flows: tuple[float | None, ...]
    """Per port: air into the component there [kg/s]."""
    positions: tuple[float | None, ...]
    """Per valve: 0 at rest or isolated, 1 actuated or in service, -1 at the other end."""
    gaps: tuple[float | None, ...]
    """Per brake, lining to fin [m]."""
    forces: tuple[float | None, ...]
    """Per brake, one ski [N]."""
    travels: tuple[float | None, ...]
    """Per cylinder [m]."""
    readings: tuple[float, ...]
    """Per meter, what it shows [Pa]."""
    supplying: tuple[bool, ...]
    """Per supply: delivering. It can be heard."""
    inputs: tuple[bool, ...]
    """Per input, what the controller reads: ON."""
    forced_inputs: tuple[bool, ...]
    outputs: tuple[bool, ...]
    """Per output, what the controller commands: energised."""
    forced_outputs: tuple[bool, ...]
    isolated: tuple[str, ...]
    """Shut-off valves turned out of service; the handle can be seen."""
    drained: tuple[str, ...]
    """Vessels whose drain is open."""
    blocked: tuple[str, ...]
    """Brakes with a block between their jaws."""
    swapped: tuple[Crossed, ...]
    """Coils whose plug was swapped."""
    overridden: tuple[str, ...]
    """Coils held by their manual override, "trim_valve_a.14"."""
    switched_off: tuple[str, ...]
    absent_fins: tuple[str, ...]
    """Zones without a train's fin in their jaws."""
    alarms: tuple[AlarmFrame, ...]
    faults: tuple[FaultFrame, ...]
    check: CheckFrame | None = None
    """What is played in mode "check"."""
