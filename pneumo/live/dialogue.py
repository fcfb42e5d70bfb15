"""A drill as a plain dialogue: a line in, lines out. No terminal here, and no files."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator

from pneumo.circuit.spelling import listed, near
from pneumo.drill.debrief import debrief
from pneumo.drill.entry import Entry
from pneumo.drill.practice import Practice
from pneumo.drill.telling import clock, debrief_lines, entry_lines, minutes
from pneumo.errors import InputError
from pneumo.harmless import quoted
from pneumo.live.cautions import CAUTIONS, line_caution_keys
from pneumo.live.lookup import help_lines, looked_up
from pneumo.live.panel import panel_lines, panel_of
from pneumo.live.seat import TOLD_EVENTS, seen, seen_events
from pneumo.live.session import Session
from pneumo.scenario.telling import told


class Dialogue:
    """A drill that is talked through."""

    def __init__(self, session: Session, practice: Practice, title: str) -> None:
        self.practice = practice
        self.session = session
        self.title = title
        self._cautioned: set[str] = set()
        """Keys of the cautions that were shown."""

    def is_over(self) -> bool:
        """Whether there is nothing more to say."""
        return self.practice.arc.over

    @property
    def prompt(self) -> str:
        """The time that has been spent."""
        return f"{clock(self.practice.spent)} > "

    def opening(self) -> Iterator[str]:
        """What is told before it begins."""
        yield f"DRILL: {self.title}"
        yield from self.briefing()
        yield "Write begin to start the clock, help for what can be done."

    def briefing(self) -> Iterator[str]:
        """The complaint, and what goes with it."""
        brief = self.practice.brief
        if brief.level:
            yield f"Level {brief.level} of 5"
        for title, text in (
            ("Complaint", brief.complaint),
            ("Normal", brief.normal),
            ("At hand", brief.at_hand),
        ):
            if text:
                yield f"{title}: {text}"
        if brief.par:
            yield f"A good technician needs {minutes(brief.par)}."

    def say(self, line: str) -> Iterator[str]:
        """Carries out a line and answers.

        Raises
        ------
        InputError
            When it cannot be understood or done; nothing has changed then.
        """
        free = self._free(line)
        if free is not None:
            yield from free
            return
        work = self.practice.begin(line)
        yield from self._cautions(line)
        for until in work:
            self.session.pass_time(until)
        entry = self.practice.entries[-1]
        yield from self._seen(entry)
        yield from entry_lines(entry, alarms=False)  # they were seen
        if self.is_over():
            yield ""
            yield from self.debrief()

    def debrief(self) -> Iterator[str]:
        """What came of it, once it is over."""
        return debrief_lines(debrief(self.practice, self.title))

    def _seen(self, entry: Entry) -> Iterator[str]:
        """What the panel told meanwhile: states, alarms, refusals."""
        events = self.session.play.plant.log.events
        first = bisect_left(events, entry.began, key=lambda event: event.time)
        for event in seen_events(events[first:], self.session.acts.hidden_actions()):
            if event.kind in TOLD_EVENTS:
                when = clock(event.time - self.practice.began)
                yield f"  {when} {event.subject or 'ride'}: {told(event.what)}"

    def _cautions(self, line: str) -> Iterator[str]:
        """Those of the line that were not shown before."""
        for key in line_caution_keys(line):
            if key not in self._cautioned:
                self._cautioned.add(key)
                yield f"CAUTION: {CAUTIONS[key]}"

    # what costs nothing

    def _free(self, line: str) -> Iterator[str] | None:
        first, _, rest = line.strip().partition(" ")
        session = self.session
        if first == "help" and not rest:
            return iter(help_lines("panel [ZONE], briefing, evidence, help"))
        if first == "panel":
            return self._panel(rest.strip())
        if first == "briefing" and not rest:
            return self.briefing()
        if first == "evidence" and not rest:
            return self._evidence()
        return looked_up(session.circuit, line)

    def _panel(self, place: str) -> Iterator[str]:
        plant, circuit = self.session.plant, self.session.circuit
        frame = seen(self.session.frame(0, running=False, speed=1.0, pace=0.0), plant)
        if not place:
            return panel_lines(plant, frame)
        places = (*circuit.zones, *circuit.gates)
        if place not in places:
            hint = near(place, places, f"Write panel, or panel with one of {listed(places)}.")
            raise InputError(f"There is no zone or group of gates {quoted(place)}. {hint}")
        return panel_of(plant, frame, place)

    def _evidence(self) -> Iterator[str]:
        for entry in self.practice.entries:
            yield f"{clock(entry.at - self.practice.began)} {entry.line}"
            yield from (f"    {said}" for said in entry_lines(entry))
