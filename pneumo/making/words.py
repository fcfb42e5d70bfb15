"""The briefing of a drill that was made: what an operator says of what he noticed, and hints.

Neither the part nor the fault is named. What could be said in several ways is said in one of them,
by a seed.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.zones import component_zones, zone_feeds
from pneumo.diagnosis.suspects import Candidate
from pneumo.drill.brief import Brief, Saying
from pneumo.making.noticed import Alarm, Noticed
from pneumo.making.operated import Hiss
from pneumo.making.strategy import Played

MOST_TOLD = 3
"""Alarms that are told one by one."""

AT_HAND = (
    "A test gauge, a multimeter, soapy water, a bar, callipers and a load cell; locks, tags and "
    "blocks; a spare of every part in the store."
)

_MOVED = (
    "{zone} alarmed: '{name}'. It was to {verb} for train {number}.",
    "'{name}' at {place}, as it was to {verb}. That was train {number}.",
    "Train {number}: {place} was told to {verb} and came up with '{name}'.",
)
_STOOD = (
    "{zone} just stood there and alarmed: '{name}'.",
    "'{name}' at {place}. It stood still, nobody had touched it.",
)
_RIDE = ("The whole ride came up with '{name}'.", "'{name}', for the whole ride.")
_STOPPED = ("The ride has stopped.", "Everything went to its safe state, and we cannot run.")
_LATE = (
    "{zone} is slow to {verb}: about {took:.1f} s, where it takes {usual:.1f} s.",
    "It takes {place} {took:.1f} s to {verb}. It used to be {usual:.1f} s.",
)
_LOUD = ("It hisses loudly {at}.", "There is a loud hiss {at}, I hear it from the desk.")
_PUMPS = ("The compressor runs and runs.", "The compressor does not rest any more.")
_GAUGE = (
    "The gauge {of} shows {shows:.1f} bar. I am used to {usual:.1f} bar.",
    "{shows:.1f} bar on the gauge {of}, where it was {usual:.1f} bar.",
)
_NOTHING = (
    "Nothing to complain about. Please look it over while there is a pause, and sign.",
    "No complaint: it is the monthly check. Is everything as it should be?",
)

_KINDS = {
    "read": "A pressure gauge tells more than the panel here.",
    "listen": "Use your ears.",
    "soap": "Soapy water finds what ears do not.",
    "look": "Go there, and look closely.",
    "callipers": "Measure what wears.",
    "pry": "Try by hand what does not move by itself.",
    "pull": "Measure a force.",
    "voltage": "A multimeter tells whether the controller does its part.",
    "card": "A multimeter tells whether the controller does its part.",
    "resistance": "A multimeter tells whether a wire or a winding does its part.",
    "cycle": "Switch one valve alone, and listen to it.",
    "decay": "Watch a pressure for a while.",
}
_MOVE = "Move it once more, and watch the panel: what comes when?"
_PANEL = "No test is needed: go through what the panel shows, contact by contact."
_ALONE = "Which one part, failing alone, would show all that you have seen, and nothing else?"


def briefing(
    circuit: Circuit,
    noticed: Noticed,
    played: Played,
    hidden: Candidate,
    level: int,
    par: float,
    draw: random.Random,
) -> Brief:
    """What is told of a drill. `par`: [s]."""
    return Brief(
        level=level,
        par=par,
        complaint=" ".join(_complaint(noticed, draw)),
        normal=_normal(noticed),
        at_hand=AT_HAND,
        answers=tuple(_answers(noticed)),
        hints=_hints(circuit, played, hidden),
    )


def _complaint(noticed: Noticed, draw: random.Random) -> Iterator[str]:
    for alarm in noticed.alarms[:MOST_TOLD]:
        yield _alarm(alarm, draw)
    if (more := len(noticed.alarms) - MOST_TOLD) > 0:
        yield f"And {more} more {'alarm' if more == 1 else 'alarms'} after that."
    if noticed.stopped:
        yield draw.choice(_STOPPED)
    for late in noticed.late:
        yield draw.choice(_LATE).format(
            zone=_begins(late.zone), place=late.zone, verb=late.verb, took=late.took,
            usual=late.usual,
        )  # fmt: skip
    for gauge in noticed.gauges[:MOST_TOLD]:
        yield draw.choice(_GAUGE).format(
            of=_of(gauge.zone), shows=gauge.shows / 1e5, usual=gauge.usual / 1e5
        )
    for hiss in noticed.loud[:MOST_TOLD]:
        yield draw.choice(_LOUD).format(at=_at(hiss))
    if noticed.pumps:
        yield draw.choice(_PUMPS)
    if not noticed.something:
        yield draw.choice(_NOTHING)


def _alarm(alarm: Alarm, draw: random.Random) -> str:
    forms = _RIDE if not alarm.zone else _STOOD if alarm.still or alarm.verb is None else _MOVED
    return draw.choice(forms).format(
        zone=_begins(alarm.zone), place=alarm.zone, verb=alarm.verb, name=alarm.name,
        number=alarm.train,
    )  # fmt: skip


def _normal(noticed: Noticed) -> str:
    times = [(noticed.closes, "closed"), (noticed.opens, "open")]
    told = [f"{state} within {_rounded(time)} s" for time, state in times if time > 0.0]
    zones = f"Every zone is {' and '.join(told)}. " if told else ""
    return f"{zones}No alarm all day."


def _rounded(time: float) -> str:
    """To the next half second."""
    return f"{-(-time // 0.5) * 0.5:g}"


def _answers(noticed: Noticed) -> Iterator[Saying]:
    heard = [f"A loud hiss {_at(hiss)}." for hiss in noticed.loud]
    heard += [f"A hiss {_at(hiss)}, for whoever walks by." for hiss in noticed.faint]
    yield Saying("noise", " ".join(heard) or "Nothing that I would not hear every day.")
    moved = [alarm for alarm in noticed.alarms if alarm.verb is not None]
    first = f"With train {moved[0].train}. " if moved else "Some time today. "
    if noticed.something:
        yield Saying("when", f"{first}Before that everything was as always.")
    if noticed.alarms:
        names = dict.fromkeys(f"'{each.name}'" for each in noticed.alarms)
        yield Saying("alarms", f"{', '.join(names)}. I have not reset anything.")
    else:
        yield Saying("alarms", "None.")


def _hints(circuit: Circuit, played: Played, hidden: Candidate) -> tuple[str, ...]:
    """Where, by what sort of test, and the test that comes next; never the part."""
    zone = component_zones(circuit, zone_feeds(circuit)).get(hidden.component, "")
    where = f"Stay with {zone}." if zone else "It is in what the zones share."
    if not played.asked:
        return where, _PANEL, _ALONE
    last = played.asked[-1]
    tells = [line for line in _told(played) if hidden.component not in _parts(line)]
    pointed = f"Worth its minutes: '{tells[-1]}'." if tells else _ALONE
    return where, _KINDS.get(last.split()[0], _MOVE), pointed


def _told(played: Played) -> Iterator[str]:
    """What was asked, each with the commands before it."""
    yield from played.listened
    for thought in played.thoughts:
        if thought.lines:
            yield "', then '".join(thought.lines)


def _parts(line: str) -> set[str]:
    return {word.strip("',").partition(".")[0] for word in line.split()}


def _begins(name: str) -> str:
    return name[:1].upper() + name[1:]


def _at(hiss: Hiss) -> str:
    where = f"at {hiss.zone}" if hiss.zone else "where the air comes in"
    return f"{where} while it is {hiss.state}" if hiss.state else where


def _of(zone: str) -> str:
    return f"of {zone}" if zone else "of the supply"
