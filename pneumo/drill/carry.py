"""What each job of a drill does, once its time has been spent; one function for each type of job.

Each runs the ride on where it has to, by yielding the instant [s], and gives what came of it.
"""

from __future__ import annotations

from collections.abc import Generator
from functools import singledispatch
from typing import TYPE_CHECKING, Any, Literal

from pneumo.circuit.action import Repair
from pneumo.drill.energy import closed_by_hand
from pneumo.drill.entry import (
    SAME_HINT,
    Alarmed,
    Answered,
    Considered,
    Done,
    Fell,
    Fitted,
    Found,
    FunctionTested,
    Given,
    HandedBack,
    Left,
    Locked,
    Missed,
    Noted,
    Permitted,
    Proved,
    Repaired,
    Result,
    Shown,
    Stated,
    Stepped,
)
from pneumo.drill.job import (
    Ask,
    Begin,
    Consider,
    Cycle,
    Decay,
    Do,
    Examine,
    Find,
    FitGauge,
    FunctionTest,
    GiveUp,
    HandBack,
    Hint,
    Lock,
    LogBook,
    Permit,
    Prove,
    Wait,
    Write,
)
from pneumo.drill.permit import ZERO
from pneumo.inspection.ear import listen
from pneumo.inspection.evidence import Evidence, Reading
from pneumo.inspection.examine import examine
from pneumo.inspection.gauge import shown_at
from pneumo.inspection.hand import cycled
from pneumo.inspection.moment import Moment
from pneumo.inspection.proof import proving_gauges
from pneumo.scenario.event import alarms_raised

if TYPE_CHECKING:
    from pneumo.drill.practice import Practice

HELD = 2.0
"""A valve that is cycled alone is held on, and watched afterwards, for so long [s]."""

GATES = 10.0
"""Time for gates where there is no zone [s]; estimated."""

SPARE = 1.0
"""A function test waits for so long beyond the limits of the slowest zone [s]."""

Work = Generator[float, None, Result]


def examined(at: Practice, test: str, target: str) -> Evidence:
    """A test on the ride as it stands. Raises InputError when it cannot be made."""
    return examine(at.play, test, target, at.site.fitted)


@singledispatch
def carry_out(job: Any, at: Practice) -> Work:
    """Carries out a job of a drill."""
    yield from ()  # it is a generator, as all of them
    raise TypeError(f"{job!r} is no job")


def _at_once(result: Result) -> Work:
    yield from ()
    return result


@carry_out.register(Begin)
def _begin(job: Begin, at: Practice) -> Work:
    return _at_once(Stepped(closed_by_hand(at.play)))


@carry_out.register(GiveUp)
def _give_up(job: GiveUp, at: Practice) -> Work:
    return _at_once(Stepped())


@carry_out.register(Wait)
def _wait(job: Wait, at: Practice) -> Work:
    return _at_once(Done())


# tests


@carry_out.register(Examine)
def _test(job: Examine, at: Practice) -> Work:
    return _at_once(Found(examined(at, job.test, job.target)))


@carry_out.register(Decay)
def _decay(job: Decay, at: Practice) -> Work:
    first = examined(at, "read", job.port)
    yield at.play.now + job.seconds
    last = examined(at, "read", job.port)
    assert isinstance(first, Reading) and isinstance(last, Reading)
    return Fell(first, last, job.seconds)


@carry_out.register(Cycle)
def _cycle(job: Cycle, at: Practice) -> Work:
    ride, coil = at.ride, f"{job.component}.{job.side}"
    before = at.play.snapshot()
    forced = at.play.actors.controller.forced_outputs.get((job.component, job.side))
    ride.do("trainee", f"force {coil} on")
    yield at.play.now + HELD
    held = at.play.snapshot()
    undone = {None: f"unforce {coil}", True: f"force {coil} on", False: f"force {coil} off"}
    ride.do("trainee", undone[forced])
    yield at.play.now + HELD
    return Found(cycled(before, held, at.play, job.component, job.side))


@carry_out.register(Ask)
def _ask(job: Ask, at: Practice) -> Work:
    return _at_once(Answered("operator", at.brief.answer(job.about)))


@carry_out.register(LogBook)
def _log_book(job: LogBook, at: Practice) -> Work:
    return _at_once(Answered("log book", at.brief.log_book))


@carry_out.register(Hint)
def _hint(job: Hint, at: Practice) -> Work:
    if at.hints < len(at.brief.hints):
        return Answered("hint", (at.brief.hints[at.hints],))
    if same := at.same_hint:
        return Answered("hint", (SAME_HINT, *same))
    assert at.adviser is not None
    at.adviser.ask()
    while (lines := at.adviser.answer()) is None:
        yield at.play.now  # the ride stands meanwhile
    return Answered("hint", lines)


# safe work


@carry_out.register(Lock)
def _lock(job: Lock, at: Practice) -> Work:
    return _at_once(Locked(job.component, job.on))


@carry_out.register(Prove)
def _prove(job: Prove, at: Practice) -> Work:
    moment = Moment(at.play)
    shown = tuple(
        Shown(str(port), shown_at(moment, moment.compiled.parts[port.component].ports[port.port]))
        for port in proving_gauges(at.play, job.component, at.site.fitted)
    )
    zero = all(each.pressure <= ZERO for each in shown)
    if not shown:
        zero = not listen(moment, job.component).outflows
    return _at_once(Proved(job.component, shown, zero))


@carry_out.register(Permit)
def _permit(job: Permit, at: Practice) -> Work:
    return _at_once(Permitted())


@carry_out.register(FitGauge)
def _fit(job: FitGauge, at: Practice) -> Work:
    return _at_once(Fitted(job.component, job.port))


# the finding, and what is done about it


@carry_out.register(Find)
def _find(job: Find, at: Practice) -> Work:
    return _at_once(Stated(job.faults))


@carry_out.register(Consider)
def _consider(job: Consider, at: Practice) -> Work:
    return _at_once(Considered(job.suspect, job.on))


@carry_out.register(Write)
def _write(job: Write, at: Practice) -> Work:
    return _at_once(Noted(job.text))


@carry_out.register(Do)
def _do(job: Do, at: Practice) -> Work:
    at.ride.do("trainee", job.sentence)
    if job.at_desk:
        yield at.play.now + at.cost(job.work)
        return Given()
    if isinstance(job.action, Repair):
        return Repaired(job.action.how, job.action.component, job.action.side)
    return Done()


@carry_out.register(HandBack)
def _hand_back(job: HandBack, at: Practice) -> Work:
    return _at_once(HandedBack(left_behind(at)))


def left_behind(at: Practice) -> tuple[Left, ...]:
    """What is still on, in or turned that was not so when the drill began."""
    play = at.play
    controls, controller = play.plant.controls, play.actors.controller
    found = {
        "locked": tuple(at.site.locked),
        "off": tuple(n for n in closed_by_hand(play) if n not in at.off),
        "blocked": play.actors.faults.blocked,
        "drained": play.actors.faults.drained,
        "overridden": controls.overridden,
        "swapped": tuple(coil for coil, _ in controls.swapped),
        "forced": (
            *controller.forced_inputs,
            *(f"{component}.{side}" for component, side in controller.forced_outputs),
        ),
    }
    return tuple(Left(how, name) for how, names in found.items() for name in names)  # type: ignore[arg-type]


# the function test


@carry_out.register(FunctionTest)
def _function_test(job: FunctionTest, at: Practice) -> Work:
    """Every zone closed, opened and stopped, every group of gates moved both ways; then all as it
    stands when the ride starts."""
    test = _FunctionTest(at)
    yield from test.say(*test.pending())
    before = len(at.play.plant.log.events)
    yield from test.say("close all", *(f"close {group}" for group in test.gates))
    test.look("closed")
    yield from test.say("open all", *(f"open {group}" for group in test.gates))
    test.look("open")
    yield from test.say("ride stop")
    test.look(None)
    events = at.play.plant.log.events[before:]
    alarms = dict.fromkeys(Alarmed(zone, name) for _, zone, name in alarms_raised(events))
    yield from test.say(*test.pending())
    yield from test.say(*test.home())
    return FunctionTested(tuple(alarms), test.missed(), test.disturbed)


class _FunctionTest:
    """A function test under way: goes by what the controller knows, as the panel shows it."""

    def __init__(self, at: Practice) -> None:
        self._at = at
        circuit = at.ride.circuit
        self._zones = tuple(circuit.zones.values())
        self.gates = {group: circuit.gate_switches(group) for group in circuit.gates}
        self._slowest = (circuit.longest_movement or GATES) + SPARE
        self._missed: dict[Missed, None] = {}
        self._done = self._actions()
        """Actions at the ride that it knows of: those before it, and its own."""
        self._seen: dict[str, set[tuple[bool, ...]]] = {group: set() for group in self.gates}

    def say(self, *sentences: str) -> Generator[float, None, None]:
        """Commands, and the time that the slowest zone has for them."""
        for sentence in sentences:
            self._at.ride.do("trainee", sentence)
            self._done += 1
        if sentences:
            yield self._at.play.now + self._slowest

    def _actions(self) -> int:
        return sum(1 for _ in self._at.ride.actions())

    @property
    def disturbed(self) -> bool:
        """Whether somebody else has acted on the ride since it began."""
        return self._actions() != self._done

    def pending(self) -> tuple[str, ...]:
        """What has to be acknowledged and reset as the ride stands."""
        logic = self._at.play.actors.controller.logic
        zones = logic.zones.values()
        alarmed = logic.alarms.unacknowledged or any(z.alarms.unacknowledged for z in zones)
        held = logic.stopped or any(zone.state == "faulted" for zone in zones)
        wanted = {"acknowledge all": alarmed, "reset all": held}
        return tuple(sentence for sentence, needed in wanted.items() if needed)

    def look(self, state: Literal["open", "closed"] | None) -> None:
        """Where the zones should be now; None: in their safe state."""
        controller = self._at.play.actors.controller
        for zone in self._zones:
            wanted: Literal["open", "closed"] = state or zone.safe_state
            if controller.logic.zones[zone.name].state != wanted:
                self._missed[Missed(zone.name, wanted)] = None
        if state is not None:
            for group, switches in self.gates.items():
                read = tuple(controller.reads(self._at.play.plant, name) for name in switches)
                self._seen[group].add(read)

    def missed(self) -> tuple[Missed, ...]:
        """What was not where it should be; gates with a switch that never changed count as well."""
        still = (
            g
            for g, reads in self._seen.items()
            if any(len(set(r)) < 2 for r in zip(*reads, strict=True))
        )
        return (*self._missed, *(Missed(group, "open") for group in still))

    def home(self) -> tuple[str, ...]:
        """What brings everything to where it stands when the ride starts."""
        circuit = self._at.ride.circuit
        starts = {zone.name: zone.starts for zone in self._zones}
        starts |= {name: group.starts for name, group in circuit.gates.items()}
        return tuple(f"{_VERB[state]} {name}" for name, state in starts.items())


_VERB = {"open": "open", "closed": "close"}
