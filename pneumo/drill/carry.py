"""What each job of a drill does, once its time has been spent; one function for each type of job.

Each runs the ride on where it has to, by yielding the instant [s], and gives what came of it.
"""

from __future__ import annotations

from collections.abc import Generator
from functools import singledispatch
from typing import TYPE_CHECKING, Any, Literal

from pneumo.circuit.action import Repair
from pneumo.drill.energy import closed_by_hand, port_pressures
from pneumo.drill.entry import (
    Answered,
    Done,
    Fell,
    Fitted,
    Found,
    FunctionTested,
    HandedBack,
    Left,
    Locked,
    Permitted,
    Proved,
    Repaired,
    Result,
    Stated,
    Stepped,
)
from pneumo.drill.job import (
    Ask,
    Begin,
    Cycle,
    Decay,
    Do,
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
    Test,
    Wait,
)
from pneumo.drill.permit import ZERO
from pneumo.inspection.evidence import Evidence, Gauge
from pneumo.inspection.gauge import GAUGE_STEP
from pneumo.inspection.tests import examine, heard_cycle
from pneumo.scenario.event import alarms_raised

if TYPE_CHECKING:
    from pneumo.drill.practice import Practice

HELD = 2.0
"""A valve that is cycled alone is held on, and watched afterwards, for so long [s]."""

SPARE = 1.0
"""A function test waits for so long beyond the limits of the slowest zone [s]."""

Work = Generator[float, None, Result]


def examined(at: Practice, test: str, target: str) -> Evidence:
    """A test on the ride as it stands. Raises InputError when it cannot be made."""
    play = at.play
    return examine(play.compiled, play, test, target, at.site.fitted)


@singledispatch
def carry_out(job: Any, at: Practice) -> Work:
    """Carries out a job of a drill."""
    raise TypeError(f"{job!r} is no job")
    yield  # it is a generator, as all of them


def _at_once(result: Result) -> Work:
    return result
    yield  # as above


@carry_out.register(Begin)
@carry_out.register(GiveUp)
def _step(job: Begin | GiveUp, at: Practice) -> Work:
    return _at_once(Stepped())


@carry_out.register(Wait)
def _wait(job: Wait, at: Practice) -> Work:
    return _at_once(Done())


# tests


@carry_out.register(Test)
def _test(job: Test, at: Practice) -> Work:
    return _at_once(Found(examined(at, job.test, job.target)))


@carry_out.register(Decay)
def _decay(job: Decay, at: Practice) -> Work:
    first = examined(at, "read", job.port)
    yield at.session.now + job.seconds
    last = examined(at, "read", job.port)
    assert isinstance(first, Gauge) and isinstance(last, Gauge)
    return Fell(first, last, job.seconds)


@carry_out.register(Cycle)
def _cycle(job: Cycle, at: Practice) -> Work:
    session, coil = at.session, f"{job.component}.{job.side}"
    before = at.play.snapshot()
    session.do("trainee", f"force {coil} on")
    yield session.now + HELD
    held = at.play.snapshot()
    session.do("trainee", f"unforce {coil}")
    yield session.now + HELD
    return Found(heard_cycle(at.play.compiled, before, held, at.play, job.component, job.side))


@carry_out.register(Ask)
def _ask(job: Ask, at: Practice) -> Work:
    return _at_once(Answered("operator", at.brief.answer(job.about)))


@carry_out.register(LogBook)
def _log_book(job: LogBook, at: Practice) -> Work:
    return _at_once(Answered("log book", at.brief.log_book))


@carry_out.register(Hint)
def _hint(job: Hint, at: Practice) -> Work:
    at.hints += 1
    return _at_once(Answered("hint", (at.brief.hints[at.hints - 1],)))


# safe work


@carry_out.register(Lock)
def _lock(job: Lock, at: Practice) -> Work:
    (at.site.lock if job.on else at.site.unlock)(job.component)
    return _at_once(Locked(job.component, job.on))


@carry_out.register(Prove)
def _prove(job: Prove, at: Practice) -> Work:
    shown = tuple(
        (port, round(pressure / GAUGE_STEP) * GAUGE_STEP)
        for port, pressure in port_pressures(at.play, job.component)
    )
    zero = all(pressure <= ZERO for _, pressure in shown)
    if zero:
        at.site.proved[job.component] = None
    return _at_once(Proved(job.component, shown, zero))


@carry_out.register(Permit)
def _permit(job: Permit, at: Practice) -> Work:
    at.site.live = True
    return _at_once(Permitted())


@carry_out.register(FitGauge)
def _fit(job: FitGauge, at: Practice) -> Work:
    at.site.fitted[f"{job.component}.{job.port}"] = None
    return _at_once(Fitted(job.component, job.port))


# the finding, and what is done about it


@carry_out.register(Find)
def _find(job: Find, at: Practice) -> Work:
    return _at_once(Stated(job.faults))


@carry_out.register(Do)
def _do(job: Do, at: Practice) -> Work:
    at.session.do("trainee", job.sentence)
    if isinstance(job.action, Repair):
        return _at_once(Repaired(job.action.how, job.action.component))
    return _at_once(Done())


@carry_out.register(HandBack)
def _hand_back(job: HandBack, at: Practice) -> Work:
    return _at_once(HandedBack(left_behind(at)))


def left_behind(at: Practice) -> tuple[Left, ...]:
    """What is still on, in or turned that was not so when the drill began."""
    play = at.play
    frame = at.session.frame(0, running=False, speed=1.0, pace=0.0)
    inputs, outputs = at.session.plant.inputs, at.session.plant.outputs
    forced = (
        *(i.name for i, on in zip(inputs, frame.forced_inputs, strict=True) if on),
        *(o.name for o, on in zip(outputs, frame.forced_outputs, strict=True) if on),
    )
    found = {
        "locked": tuple(at.site.locked),
        "off": tuple(n for n in closed_by_hand(play) if n not in at.off_before),
        "blocked": play.actors.faults.blocked,
        "drained": frame.drained,
        "overridden": frame.overridden,
        "forced": forced,
    }
    return tuple(Left(how, name) for how, names in found.items() for name in names)


# the function test


@carry_out.register(FunctionTest)
def _function_test(job: FunctionTest, at: Practice) -> Work:
    session, circuit = at.session, at.session.circuit
    zones, gates = circuit.zones, tuple(circuit.gates)
    slowest = max((z.limits.close + z.limits.open + z.limits.vent for z in zones.values()),
                  default=0.0) + SPARE  # fmt: skip
    before = len(at.play.plant.log.events)
    missed: list[tuple[str, Literal["open", "closed"]]] = []
    seen: dict[str, set[tuple[bool, ...]]] = {group: set() for group in gates}
    for sentence in ("acknowledge all", "reset all"):
        session.do("trainee", sentence)
        yield session.now + slowest
    before = len(at.play.plant.log.events)
    for sentence, state in (("close all", "closed"), ("open all", "open"), ("ride stop", "")):
        session.do("trainee", sentence)
        yield session.now + slowest
        frame = session.frame(0, running=False, speed=1.0, pace=0.0)
        for zone, stands in zip(zones.values(), frame.zones, strict=True):
            wanted = state or zone.safe_state
            if stands.state != wanted and not (not state and stands.state == "faulted"):
                missed.append((zone.name, "open" if wanted == "open" else "closed"))
        by_name = dict(zip((i.name for i in session.plant.inputs), frame.inputs, strict=True))
        if state:
            for group in gates:
                seen[group].add(tuple(by_name[name] for name in circuit.gate_switches(group)))
    events = at.play.plant.log.events[before:]
    for group, positions in seen.items():
        if len(positions) < 2 and circuit.gate_switches(group):
            missed.append((group, "open"))
    for sentence in ("acknowledge all", "reset all"):
        session.do("trainee", sentence)
        yield session.now + slowest
    alarms = tuple((zone, name) for _, zone, name in alarms_raised(events))
    return FunctionTested(alarms, tuple(dict.fromkeys(missed)))
