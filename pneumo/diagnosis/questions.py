"""What can be asked of a ride next: tests as it stands, commands, and tests after a command.

What each suspect would answer is read off its own ride, run on where something is done first.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pneumo.circuit.action import Acknowledge, Command, ForceOutput, Reset, Unforce
from pneumo.circuit.circuit import Circuit
from pneumo.circuit.verbs import ALL
from pneumo.diagnosis.abreast import Ride, Run
from pneumo.diagnosis.library import Test
from pneumo.diagnosis.marks import Mark, marks
from pneumo.diagnosis.opinion import Both
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.record import Record
from pneumo.diagnosis.rehearsal import RESET
from pneumo.diagnosis.suspects import Spot
from pneumo.drill.carry import HELD
from pneumo.drill.entry import Fell
from pneumo.inspection.evidence import Evidence
from pneumo.inspection.hand import cycled
from pneumo.inspection.survey import Surveyor
from pneumo.inspection.tests import TESTS
from pneumo.network.network import Array
from pneumo.scenario.plant import SimulationError
from pneumo.scenario.play import Play
from pneumo.units import DURATION

ALIKE = 2.0
"""Two answers are one outcome where no number of them differs by more spreads than this."""

SETTLED = 150.0
"""So long after a command the first test is made, and a ride is as it stays [s]: half a minute at
the desk, two minutes at the part; estimated."""

MOVES = 8.0
"""Time that is watched after a command at the least [s]; the desk's own minutes are longer."""


TWICE = 2
"""A command that was given so often is not advised again: it has been in vain."""


class Row(NamedTuple):
    """A suspect at one severity, with the ride that shows what it would answer."""

    where: Spot | Both
    """Where it would be mended."""
    share: float
    """How probable it is [-]."""
    ride: Ride


@dataclass(frozen=True, slots=True)
class OnPanel:
    """What the panel shows after a command, told by one number of it."""

    instrument: str
    """Of `Panel.places`."""
    aspect: str
    """ "" = everything is as on a ride without a fault."""
    value: float | None
    """None: it is other than without a fault."""


USUAL = OnPanel("", "", None)

_TELLING = (
    "first alarm", "ride stop", "state", "refused", "first ON", "first OFF", "at the end", "shown",
)  # fmt: skip
"""Aspects of a stretch, what tells most to whoever looks at the panel first."""


@dataclass(frozen=True)
class Question:
    """Something that can be done to learn more."""

    lines: tuple[str, ...]
    """As they are said in a drill, in order; the last one gives the answer."""
    seconds: float
    """Downtime that it takes [s]."""
    outcome: tuple[int, ...]
    """(rows,) number of the outcome that each row predicts, -1: it predicts none."""
    answers: tuple[Evidence | Fell | OnPanel, ...]
    """Of each outcome an example."""

    @property
    def said(self) -> tuple[str, ...]:
        """The words of its last line that tell one question from another."""
        return tuple(self.lines[-1].split()[:2])


def in_vain(record: Record, since: float) -> Callable[[Question], bool]:
    """Tells of a question whether it was asked before, after a time [s]: a command twice, a test
    since the same command, for it would give the same."""
    often: dict[tuple[str, ...], int] = {}
    commands = [(time, action.text) for time, action in record.done if isinstance(action, Command)]
    for time, action in record.done:
        if time > since:
            said = tuple(action.text.split()[:2])
            often[said] = often.get(said, 0) + 1
    tests = {
        (made.test, made.target, _last(text for time, text in commands if time < made.ended))
        for made in record.made
    }
    now = _last(text for _, text in commands)

    def again(question: Question) -> bool:
        before = [line for line in question.lines[:-1] if line.split()[0] in ("open", "close")]
        command = before[-1] if before else now
        return (*question.said, command) in tests or often.get(question.said, 0) >= TWICE

    return again


def _last(texts: Iterable[str]) -> str:
    return ["", *texts][-1]


def standing_questions(
    circuit: Circuit,
    surveyor: Surveyor,
    rows: Sequence[Row],
    asked: Iterable[Test],
    live: bool,
) -> list[Question]:
    """Tests that can be made as the ride stands and do not give the same for every row.

    Parameters
    ----------
    asked
        Tests that were made as it stands: they would give the same again.
    live
        There is a permit for tests on live wires.
    """
    known = set(asked)
    questions = []
    for pair, answers in _surveyed(surveyor, [row.ride.play for row in rows]).items():
        if pair in known:
            continue
        question = _question(circuit, pair, (), answers, live)
        if question is not None:
            questions.append(question)
    return questions


def _question(
    circuit: Circuit,
    test: Test,
    before: tuple[str, ...],
    answers: Sequence[Evidence | None],
    live: bool,
) -> Question | None:
    """A test, with what has to be done before it; None: all rows give the same."""
    outcome, examples = outcomes(answers)
    return (
        test_question(circuit, test, before, outcome, examples, live) if len(examples) > 1 else None
    )


def test_question(
    circuit: Circuit,
    test: Test,
    before: tuple[str, ...],
    outcome: tuple[int, ...],
    examples: tuple[Evidence | Fell, ...],
    live: bool,
) -> Question:
    """A test with the outcome that each row predicts, and what has to be done before it."""
    word, target = test
    lines = (*before, *_work_before(word, target, live), f"{word} {target}")
    after = _work_after(word, target)
    seconds = sum(line_seconds(circuit, line) for line in (*lines, *after))
    return Question(lines, seconds, outcome, examples)


def _work_before(word: str, target: str, live: bool) -> tuple[str, ...]:
    """What has to be done for a test to be safe."""
    row = TESTS.get(word)
    if row is None:
        return ()
    if row.wires and not live:
        return ("permit",)
    return (f"block {target}",) if row.reaches else ()


def _work_after(word: str, target: str) -> tuple[str, ...]:
    row = TESTS.get(word)
    return (f"unblock {target}",) if row is not None and row.reaches else ()


def line_seconds(circuit: Circuit, line: str) -> float:
    """Downtime of a line of a drill [s]."""
    downtime, first = circuit.downtime, line.split()[0]
    if first in TESTS:
        return float(getattr(downtime, TESTS[first].work))
    if first in ("permit", "cycle"):
        return float(getattr(downtime, first))
    return downtime.block if first in ("block", "unblock") else max(downtime.command, MOVES)


# outcomes


class Sorted:
    """Answers to a question, sorted into outcomes that can be told apart."""

    def __init__(self) -> None:
        self.examples: list[Evidence | Fell] = []
        """Of each outcome the first."""
        self._told: list[dict[str, Mark]] = []
        self._number: dict[Evidence | Fell, int] = {}

    def number(self, answer: Evidence | Fell) -> int:
        """The outcome that an answer belongs to; a new one if it is like none so far."""
        if answer not in self._number:
            own = {mark.aspect: mark for mark in marks(answer)}
            alike = (place for place, other in enumerate(self._told) if _alike(own, other))
            self._number[answer] = next(alike, len(self.examples))
            if self._number[answer] == len(self.examples):
                self.examples.append(answer)
                self._told.append(own)
        return self._number[answer]


def outcomes(
    answers: Sequence[Evidence | Fell | None],
) -> tuple[tuple[int, ...], tuple[Evidence | Fell, ...]]:
    """Answers sorted into outcomes that can be told apart: the number of each, and an example of
    each outcome. None: nothing is predicted."""
    of = Sorted()
    found = tuple(-1 if answer is None else of.number(answer) for answer in answers)
    return found, tuple(of.examples)


def _alike(one: Mapping[str, Mark], other: Mapping[str, Mark]) -> bool:
    for aspect in one.keys() | other.keys():
        a, b = one.get(aspect), other.get(aspect)
        mark = a or b
        assert mark is not None
        x = a.value if a else mark.usual
        y = b.value if b else mark.usual
        if x == y:
            continue
        spread = mark.scale.least + mark.scale.share * min(abs(x), abs(y))
        if not abs(x - y) <= ALIKE * spread:
            return False
    return True


# what has to be run on for


class Move(NamedTuple):
    """A command that moves zones from where they stand."""

    target: str
    """As in a command."""
    zones: tuple[str, ...]
    """Zones that move."""
    closing: bool
    tripped: bool
    """A zone has tripped: it is acknowledged and reset first."""

    @property
    def lines(self) -> tuple[str, ...]:
        """As it is said."""
        before = ("acknowledge all", "reset all") if self.tripped else ()
        return (*before, f"{'close' if self.closing else 'open'} {self.target}")

    def carried_out(self, play: Play, panel: Panel, seconds: float) -> Array:
        """Moves the zones of a ride and lets so much time go by [s]. What the panel shows
        meanwhile, see `Panel.stretch`. Raises SimulationError."""
        if self.tripped:
            for action in (Acknowledge(ALL), Reset(ALL)):
                play.act(action)
            play.advance(play.now + RESET)
        began, before = play.now, len(play.plant.log.events)
        play.act(Command(self.target, "close" if self.closing else "open"))
        play.advance(began + seconds)
        return panel.stretch(began, play.plant.log.events[before:], panel.shown(play))


def moving_questions(
    circuit: Circuit,
    surveyor: Surveyor,
    panel: Panel,
    rows: Sequence[Row],
    move: Move,
    seconds: float,
    live: bool,
) -> list[Question]:
    """A command whose outcome is not the same for every row, and tests after it.

    Parameters
    ----------
    seconds
        What a movement of zones takes at most [s].
    """
    carried: dict[Run, tuple[Play | None, Array | None]] = {}
    for run in dict.fromkeys(row.ride.shared for row in rows):
        play = run.play.snapshot()
        try:
            carried[run] = play, move.carried_out(play, panel, seconds)
        except SimulationError:
            carried[run] = None, None
    shown = [carried[row.ride.shared][1] for row in rows]
    found: list[Question] = []
    outcome, examples = _shown_outcomes(panel, shown, move.zones)
    if len(examples) > 1:
        took = sum(line_seconds(circuit, line) for line in move.lines)
        found.append(Question(move.lines, took, outcome, examples))
    # a test is made at the end of its time, and by then what the command showed may have gone
    later = {
        run: None if play is None else _later(play, SETTLED - seconds)
        for run, (play, _) in carried.items()
    }
    plays = [_of(row, later) for row in rows]
    for test, answers in _surveyed(surveyor, plays).items():
        question = _question(circuit, test, move.lines, answers, live)
        if question is not None:
            found.append(question)
    return found


def _of(row: Row, plays: Mapping[Run, Play | None]) -> Play | None:
    """What has come of the run of a row, as it is on its ride."""
    play = plays[row.ride.shared]
    return None if play is None else row.ride.of(play)


def _later(play: Play, seconds: float) -> Play | None:
    """The run so much later [s]; None: it cannot be calculated."""
    try:
        play.advance(play.now + max(seconds, 0.0))
    except SimulationError:
        return None
    return play


def cycling_question(circuit: Circuit, rows: Sequence[Row], coil: str) -> Question | None:
    """One valve switched alone; None: it would tell nothing."""
    runs = dict.fromkeys(row.ride.shared for row in rows)
    switched = {run: _switched(run.play, coil) for run in runs}
    answers: list[Evidence | None] = []
    for row in rows:
        plays, of = switched[row.ride.shared], row.ride.of
        own = None if plays is None else (of(plays[0]), of(plays[1]), of(plays[2]))
        answers.append(_seen_cycled(own, coil))
    return _question(circuit, ("cycle", coil), (), answers, live=False)


def cycled_alone(play: Play, coil: str) -> Evidence | None:
    """What is seen of a valve that is switched alone; the run itself stays as it is. None: it
    cannot be calculated."""
    return _seen_cycled(_switched(play, coil), coil)


def _seen_cycled(plays: tuple[Play, Play, Play] | None, coil: str) -> Evidence | None:
    component, _, side = coil.rpartition(".")
    return None if plays is None else cycled(*plays, component, side)


def _switched(play: Play, coil: str) -> tuple[Play, Play, Play] | None:
    """A run before a valve is switched alone, while it is held on, and after; None: it cannot be
    calculated."""
    component, _, side = coil.rpartition(".")
    before = play.snapshot()
    after = before.snapshot()
    try:
        after.act(ForceOutput(component, side, True))
        after.advance(after.now + HELD)
        held = after.snapshot()
        after.act(Unforce(coil))
        after.advance(after.now + HELD)
    except SimulationError:
        return None
    return before, held, after


def decaying_questions(
    circuit: Circuit, surveyor: Surveyor, rows: Sequence[Row], seconds: float
) -> list[Question]:
    """Gauges watched for a while [s]."""
    reads = [pair for pair in surveyor.pairs if pair[0] == "read"]
    first = [surveyor.evidence(row.ride.play, reads) for row in rows]
    runs = dict.fromkeys(row.ride.shared for row in rows)
    later = {run: _later(run.play.snapshot(), seconds) for run in runs}
    plays = [_of(row, later) for row in rows]
    last = [None if play is None else surveyor.evidence(play, reads) for play in plays]
    found = []
    for pair in reads:
        answers = [
            None if then is None else Fell(now[pair], then[pair], seconds)  # type: ignore[arg-type]
            for now, then in zip(first, last, strict=True)
        ]
        outcome, examples = outcomes(answers)
        if len(examples) > 1:
            line = f"decay {pair[1]} for {DURATION.text(seconds)}"
            found.append(Question((line,), circuit.downtime.decay + seconds, outcome, examples))
    return found


def _surveyed(
    surveyor: Surveyor, plays: Sequence[Play | None]
) -> dict[Test, list[Evidence | None]]:
    """What tests give that do not give the same on every ride; None: there is no such ride."""
    told = [None if play is None else surveyor.marks(play) for play in plays]
    known = [each for each in told if each is not None]
    pairs = dict.fromkeys(pair for each in known[1:] for pair in surveyor.differing(each, known[0]))
    found = [None if play is None else surveyor.evidence(play, pairs) for play in plays]
    return {pair: [None if each is None else each[pair] for each in found] for pair in pairs}


def _shown_outcomes(
    panel: Panel, shown: Sequence[Array | None], zones: Collection[str]
) -> tuple[tuple[int, ...], tuple[OnPanel, ...]]:
    """What the panel shows of some zones, sorted into outcomes: of each row the number, -1 where
    nothing is predicted; and of each outcome something in which it is not as the first of the
    others."""
    own = [place for zone in zones for place in panel.by_zone.get(zone, ())]
    least, share = panel.least[own], panel.share[own]
    examples: list[Array] = []
    found = []

    def differ(one: Array, other: Array) -> Array:
        with np.errstate(invalid="ignore"):
            off = np.abs(one - other) / (least + share * np.minimum(np.abs(one), 1e9))
        return np.asarray(~(np.where(one == other, 0.0, off) <= ALIKE))

    for each in shown:
        if each is None:
            found.append(-1)
            continue
        mine = each[own]
        alike = (n for n, other in enumerate(examples) if not differ(mine, other).any())
        found.append(next(alike, len(examples)))
        if found[-1] == len(examples):
            examples.append(mine)
    told = []
    for number, mine in enumerate(examples[: len(examples) if len(examples) > 1 else 0]):
        place = telling_place(panel, own, differ(mine, examples[number == 0]))
        value = float(mine[own.index(place)])
        told.append(OnPanel(panel.places[place].instrument, panel.places[place].aspect, value))
    return tuple(found), tuple(told)


def telling_place(panel: Panel, places: Sequence[int], odd: Array) -> int:
    """Of places of the panel that are odd the one that tells most to whoever looks; `odd`:
    (places,) bool, one at least."""
    at = np.flatnonzero(odd).tolist()
    return min((places[n] for n in at), key=lambda n: (_TELLING.index(panel.places[n].aspect), n))
