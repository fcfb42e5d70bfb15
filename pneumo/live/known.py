"""What the trainee's seat knows of a ride, for whoever reasons from it.

Only this goes to a diagnostician: acts that are not hidden, events and channels that the seat sees,
results of tests that were made. It is reduced by the same functions as what goes to the seat.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Sequence

import numpy as np

from pneumo.circuit.action import Clear, Inject
from pneumo.circuit.circuit import Circuit
from pneumo.diagnosis.panel import Panel, Shown
from pneumo.diagnosis.record import Done, Made, Record, time_of
from pneumo.drill.entry import Entry, Fell, Found, undone
from pneumo.inspection.evidence import Card, Cycled, Evidence, Reading, Voltage, Winding
from pneumo.live.link import Past
from pneumo.live.seat import SeenPast
from pneumo.live.session import MOMENT, Session
from pneumo.network.network import Array
from pneumo.scenario.event import ContactRead

ON_ITS_WAY = 0.02e5
"""A pressure that is another by so much in the row before or after is not read [Pa]."""


class Known:
    """Makes records of a session, as the trainee's seat knows it."""

    def __init__(self, session: Session, panel: Panel, complaint: str = "") -> None:
        self._session = session
        self._named = named(session.circuit, complaint)
        self._seen = SeenPast(session.plant)
        place = {channel.name: at for at, channel in enumerate(session.plant.channels)}
        self._contacts = [place[f"{name} contact"] for name in panel.contacts]
        self._meters = [place[f"{name} reading"] for name in panel.meters]
        self._limits = np.array([name in panel.meters for name in panel.contacts], dtype=bool)
        self._input = {name: at for at, name in enumerate(panel.contacts)}

    def record(self, entries: Sequence[Entry] = (), fitted: Sequence[str] = ()) -> Record:
        """What is known now, at which nothing is under way.

        Parameters
        ----------
        entries
            Of the drill that is worked on.
        fitted
            Ports at which a tee was fitted.
        """
        session = self._session
        past = self._seen(session.recorder.past, session.acts.hidden_actions())
        now = session.play.now
        done = tuple(
            Done(act.time, session.acts.action(act))
            for act in session.acts.journal
            if not act.hidden and act.time <= now
        )
        return Record(
            now,
            tuple(each for each in done if not isinstance(each.action, Inject | Clear)),
            past.events,
            lambda time: self._shown(past, time),
            made(entries),
            fitted,
            named=self._named,
        )

    def _shown(self, past: Past, time: float) -> Shown:
        row = max(bisect_right(past.times, time) - 1, 0)
        values: Array = past.values[row].astype(float)
        contacts = values[self._contacts]
        # what has changed since the row was taken, which may have been just before a scan
        events, since = past.events, float(past.times[row]) - MOMENT
        for event in events[bisect_right(events, since, key=time_of) :]:
            if event.time > time:
                break
            if isinstance(event.what, ContactRead) and event.subject in self._input:
                contacts[self._input[event.subject]] = float(event.what.on)
        readings = values[self._meters]
        for other in (row - 1, row + 1):
            if 0 <= other < len(past.times):
                # what is on its way is not where it was when the row was taken
                near = past.values[other]
                off = np.abs(near[self._meters] - readings)
                readings = np.where(off > ON_ITS_WAY, np.nan, readings)
                # that a limit of a transmitter is crossed no event tells
                changed = near[self._contacts] != values[self._contacts]
                contacts[self._limits & changed] = np.nan
        return Shown(contacts, readings)


def named(circuit: Circuit, complaint: str) -> tuple[str, ...]:
    """Zones and groups of gates that are named in what somebody says: "block_3" is "block 3"."""
    said = complaint.lower().replace("_", " ")
    return tuple(
        name for name in (*circuit.zones, *circuit.gates)
        if re.search(rf"\b{re.escape(name.lower().replace('_', ' '))}\b", said)
    )  # fmt: skip


def made(entries: Sequence[Entry]) -> tuple[Made, ...]:
    """The tests among the entries of a drill, those that do not count any more left out."""
    void = undone(entries)
    found = []
    for place, entry in enumerate(entries):
        if place in void:
            continue
        match entry.result:
            case Found(evidence):
                found.append(Made(entry.ended, entry.line.split()[0], _at(evidence), evidence))
            case Fell(first) as fell:
                found.append(Made(entry.ended, "decay", first.port, fell))
    return tuple(found)


def _at(evidence: Evidence) -> str:
    """What a test was made at, in full."""
    match evidence:
        case Reading(port):
            return port
        case Cycled(coil) | Voltage(coil) | Winding(coil) | Card(coil):
            return coil
    return evidence.component
