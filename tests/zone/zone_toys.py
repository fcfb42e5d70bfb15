"""Shared by the zone tests: makers, a toy zone to sense, and an independent checker of scans."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from pneumo.zone.logic import Command, ZoneLogic, ZoneScan
from pneumo.zone.machine import State
from pneumo.zone.sensed import Sensed, Side, ZoneSettings

TICK = 0.02
"""[s]"""

AIR_CLOSES = ZoneSettings(
    name="trim",
    spring="open",
    safe_state="open",
    brakes=("trim_brake_1", "trim_brake_2"),
    pressure_switches=("trim_charged",),
    supply_switches=("trim_supply",),
    close=1.0,
    open=1.2,
    vent=0.8,
    discrepancy=0.3,
)
SPRINGS_CLOSE = replace(AIR_CLOSES, name="final", spring="close", safe_state="closed")
ZONES = tuple(
    replace(zone, safe_state=safe)
    for zone in (AIR_CLOSES, SPRINGS_CLOSE)
    for safe in ("open", "closed")
)
"""Every sort of zone with every safe state."""

OPEN_VENTED = Sensed((False,), (True,), None, (False, False), (True, True))
OPEN_CHARGED = OPEN_VENTED._replace(pressure_on=(True,))
CLOSED_VENTED = Sensed((False,), (True,), None, (True, True), (False, False))
CLOSED_CHARGED = CLOSED_VENTED._replace(pressure_on=(True,))
MIDWAY_VENTED = Sensed((False,), (True,), None, (False, False), (False, False))
MIDWAY_CHARGED = MIDWAY_VENTED._replace(pressure_on=(True,))


def at_rest(zone: ZoneSettings, state: Side) -> Sensed:
    """What a sound zone senses when it rests in an end state."""
    if state == "open":
        return OPEN_VENTED if zone.spring == "open" else OPEN_CHARGED
    return CLOSED_CHARGED if zone.spring == "open" else CLOSED_VENTED


@dataclass
class Toy:
    """A crude zone: air comes or goes in 0.4 s, jaws travel in 0.2 s, and things stick."""

    zone: ZoneSettings
    pressure: float = 0.0
    """0 vented .. 1 charged."""
    jaws: list[float] = field(default_factory=list)
    """0 open .. 1 closed, each brake."""
    upsets: Sequence[str] = ()
    """What is wrong at present, of UPSETS."""

    def __post_init__(self) -> None:
        starts = self.zone.starts or self.zone.safe_state
        self.jaws = [1.0 if starts == "closed" else 0.0] * len(self.zone.brakes)
        self.pressure = 1.0 if (self.zone.spring == "open") == (starts == "closed") else 0.0

    def step(self, charge: bool) -> None:
        """Let one tick pass."""
        if "valve stuck" not in self.upsets:
            self.pressure += TICK / 0.4 if charge else -TICK / 0.4
        if "air comes" in self.upsets:
            self.pressure = 1.0
        if "air goes" in self.upsets:
            self.pressure = 0.0
        self.pressure = min(max(self.pressure, 0.0), 1.0)
        closing = (self.pressure > 0.5) == (self.zone.spring == "open")
        for brake, at in enumerate(self.jaws):
            if "jaw moves" in self.upsets and brake == 0:
                closing = not closing
            if not ("jaw seized" in self.upsets and brake == 0):
                self.jaws[brake] = min(max(at + (TICK if closing else -TICK) / 0.2, 0.0), 1.0)

    def sense(self) -> Sensed:
        """What its switches read."""
        closed = [at > 0.9 for at in self.jaws]
        wide = [at < 0.1 for at in self.jaws]
        if "closed switch ON" in self.upsets:
            closed[1] = True
        if "open switch ON" in self.upsets:
            wide[1] = True
        return Sensed(
            (self.pressure > 0.6,),
            ("supply low" not in self.upsets,),
            None,
            tuple(closed),
            tuple(wide),
        )


UPSETS = (
    "valve stuck",
    "air comes",
    "air goes",
    "jaw moves",
    "jaw seized",
    "closed switch ON",
    "open switch ON",
    "supply low",
)
COMMANDS: tuple[Command, ...] = ("open", "close", "acknowledge", "reset", "ride stop")


def play(
    logic: ZoneLogic, seed: int, phases: int
) -> Iterator[tuple[float, Sensed, Command | None, ZoneScan]]:
    """A random but repeatable life of one zone, scanned at every tick."""
    draw = random.Random(seed)
    toy = Toy(logic.settings)
    tick = 0
    for _ in range(phases):
        toy.upsets = draw.sample(UPSETS, draw.choice((0, 0, 1, 1, 2)))
        command = draw.choice(COMMANDS) if draw.random() < 0.8 else None
        if logic.state == "faulted" and draw.random() < 0.6:
            toy.upsets = ()
        for step in range(draw.choice((3, 6, 10, 15, 30, 70))):
            given = command if step == 0 else None
            if logic.state == "faulted" and step == 60:
                given = "acknowledge"
            if logic.state == "faulted" and step == 61:
                given = "reset"
            sensed = toy.sense()
            scan = logic.scan(tick * TICK, sensed, given)
            yield tick * TICK, sensed, given, scan
            toy.step(scan.charge)
            tick += 1


class Checker:
    """Says what is wrong with a scan, by rules of its own that know nothing of the table.

    For zones in which every brake has both switches and a pressure switch is fitted.
    """

    def __init__(self, zone: ZoneSettings) -> None:
        self.zone = zone
        self.state: State = zone.starts or zone.safe_state
        self.entered = 0.0
        self.both: list[float | None] = [None] * len(zone.brakes)

    def wrongs(
        self, time: float, sensed: Sensed, command: Command | None, scan: ZoneScan
    ) -> list[str]:
        """Sentences, one for each rule that the scan breaks; empty when it keeps them all."""
        zone, state, before = self.zone, scan.state, self.state
        if any(event.what.kind == "state" for event in scan.events):
            self.entered = time
        self.state = state
        for brake, pair in enumerate(zip(sensed.closed, sensed.open, strict=True)):
            if pair != (True, True):
                self.both[brake] = None
            elif self.both[brake] is None:
                self.both[brake] = time
        air = any(sensed.pressure_on)
        full = all(sensed.pressure_on)
        shut, wide = all(sensed.closed), all(sensed.open)
        agree = all(since is None for since in self.both)
        stayed = time - self.entered
        found: list[str] = []

        def wrong_if(broken: bool, rule: str) -> None:
            if broken:
                found.append(f"{time:.2f} s, {before} -> {state}: {rule}")

        by_air, by_spring = zone.spring == "open", zone.spring == "close"
        works = state != "faulted"
        late = any(s is not None and time - s > zone.discrepancy + 1e-6 for s in self.both)
        wrong_if(works and not all(sensed.supply_ok), "low supply is not seen")
        wrong_if(works and late, "switches disagree for too long")
        wrong_if(state == "closing" and stayed > zone.close + 1e-6, "closes for too long")
        wrong_if(state == "opening" and stayed > zone.open + 1e-6, "opens for too long")
        wrong_if(state == "venting" and air and stayed > zone.vent + 1e-6, "vents for too long")
        wrong_if(state == "venting" and stayed > zone.open + 1e-6, "opens for too long, vented")
        wrong_if(state == ("closed" if by_air else "open") and not full, "held by lost air")
        wrong_if(by_air and state == "open" and air, "open with air behind the jaws")
        wrong_if(by_spring and state in ("closing", "closed") and air, "air against the springs")
        wrong_if(state == "closed" and not shut, "believed closed, not sensed closed")
        wrong_if(state == "open" and not wide, "believed open, not sensed open")
        there = shut and agree and (full or by_spring)
        wrong_if(state == "closing" and there, "does not arrive at closed")
        wrong_if(state == "opening" and wide and agree and full, "does not arrive at open")
        wrong_if(by_air and state == "venting" and wide and agree and not air, "does not arrive")
        wrong_if(by_spring and state == "venting" and not air, "does not go on to closing")
        wrong_if(by_air and state == "opening", "a spring-open zone has no opening")
        charge = {"closing": by_air, "closed": by_air, "opening": True, "open": by_spring}
        safe_by_air = (zone.safe_state == "closed") == by_air
        expected = safe_by_air if state == "faulted" else charge.get(state, False)
        wrong_if(scan.charge != expected, "charges when it should vent, or the reverse")
        wrong_if(works == bool(scan.first_out), "faulted without first-out, or the reverse")
        refused = any(event.what.kind == "refused" for event in scan.events)
        freed = before == "faulted" and (works or any(r.trigger == "reset" for r in scan.rows))
        wrong_if(freed and (command != "reset" or refused), "leaves faulted without a reset")
        if works and not refused and command in ("open", "close", "reset", "ride stop"):
            end = {"open": "open", "close": "closed"}.get(command, zone.safe_state)
            ways = {"open": {"open", "opening"}, "closed": {"closed", "closing"}}[end]
            ways |= {"venting"} if (end == "open") == by_air else set()
            wrong_if(state not in ways, f"does not obey {command}")
        return found
