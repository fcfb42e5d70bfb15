"""A fault drawn by a seed, and a ride that was operated until it showed."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.zones import component_zones, zone_feeds
from pneumo.diagnosis.suspects import Candidate
from pneumo.inspection.ear import CARRIES, blowing
from pneumo.inspection.moment import Moment
from pneumo.live.session import Session
from pneumo.making.operating import Sequence, operating_sequence
from pneumo.scenario.event import alarms_raised
from pneumo.scenario.play import Play

SHOWS_BY = 0.6
"""Part of the sequence by which the fault has struck, so that it is used after it [-]."""

AFTER = 8.0
"""The operator watches for so long once something has alarmed, or when the sequence is over [s]."""


@dataclass(frozen=True)
class Drawn:
    """A fault in a ride under way."""

    candidate: Candidate
    place: float
    """On the scale of its severity."""
    onset: float
    """[s]"""
    sequence: Sequence
    """What the ride does meanwhile."""


def drawn(circuit: Circuit, candidates: tuple[Candidate, ...], seed: int, number: int) -> Drawn:
    """The fault of a seed, and of a number of the draw: each mode as often as it fails, its
    severity evenly on its scale, its onset at any instant of normal operation."""
    draw = random.Random(f"drill {seed} {number}")
    weights = [candidate.prior for candidate in candidates]
    candidate = draw.choices(candidates, weights)[0]
    sequence = operating_sequence(circuit, draw.getrandbits(32))
    onset = draw.uniform(sequence[0][0], SHOWS_BY * sequence[-1][0])
    return Drawn(candidate, draw.random(), round(onset, 3), sequence)


@dataclass(frozen=True)
class Hiss:
    """Air that is heard where none is on a sound ride."""

    zone: str
    """"" = what the zones share."""
    state: str
    """Where the zone stands while it hisses, "open" or "closed"; "" = it always does."""
    flow: float
    """At the part where most comes out [L/s of free air]."""


@dataclass(frozen=True)
class Operated:
    """A ride where a drill begins, and the same ride had nothing been wrong with it."""

    faulty: Session
    sound: Session
    hisses: tuple[Hiss, ...]
    """What was to be heard since the fault struck, while nothing moved; the loudest first."""


def operated(circuit: Circuit, document: str, drawn: Drawn) -> Operated:
    """Operates a ride until the first alarm after its fault has struck, or to the end of the
    sequence. Raises SimulationError."""
    faulty, sound = (Session(circuit, document) for _ in range(2))
    zones = component_zones(circuit, zone_feeds(circuit))
    heard: dict[str, dict[str, float]] = {}
    struck = False
    for time, action in drawn.sequence:
        if not struck and drawn.onset <= time:
            faulty.advance(drawn.onset)
            fault = drawn.candidate.fault(drawn.place)
            faulty.do("trainer", f"fault {fault.sentence}", hidden=True)
            struck = True
        faulty.advance(time)
        sound.advance(time)
        if any(alarms_raised(faulty.play.plant.log.events)):
            break
        _listen(faulty.play, sound.play, zones, heard)
        faulty.do("trainer", action.text)
        sound.do("trainer", action.text)
    for each in (faulty, sound):
        each.advance(round(each.now + AFTER, 2))
    _listen(faulty.play, sound.play, zones, heard)
    hisses = (_hiss(zone, by_state) for zone, by_state in heard.items())
    return Operated(faulty, sound, tuple(sorted(hisses, key=lambda hiss: -hiss.flow)))


def _listen(
    faulty: Play, sound: Play, zones: Mapping[str, str], heard: dict[str, dict[str, float]]
) -> None:
    """Adds what is to be heard now: zone -> where it stands -> the loudest so far."""
    usual = _hissing(sound, zones)
    logic = faulty.actors.controller.logic.zones
    for zone, flow in _hissing(faulty, zones).items():
        more = flow - usual.get(zone, 0.0)
        state = logic[zone].state if zone in logic else ""
        if more >= CARRIES and state in ("", "open", "closed"):
            by_state = heard.setdefault(zone, {})
            by_state[state] = max(by_state.get(state, 0.0), more)


def _hissing(play: Play, zones: Mapping[str, str]) -> dict[str, float]:
    """Zone -> the most air that escapes at one of its parts [L/s of free air]."""
    at = Moment(play)
    found: dict[str, float] = {}
    for part in blowing(at):
        zone = zones.get(part, "")
        found[zone] = max(found.get(zone, 0.0), *at.escaping[part].values())
    return found


def _hiss(zone: str, by_state: Mapping[str, float]) -> Hiss:
    states = tuple(by_state)
    return Hiss(zone, states[0] if len(states) == 1 else "", max(by_state.values()))
