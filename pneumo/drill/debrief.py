"""A drill judged when it is over: what was wrong with the ride, and what the technician made of it.

Right: every fault was named (or one of suspects at that very part), ended by a repair, and nothing
else replaced; the work was safe, the last function test passed after the last repair, and nothing
was left behind. Wrong: somebody would have been hurt, the drill was given up, or no part that is
defective was named. Partly right: what lies between; the reasons say what was missing.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from pneumo.circuit.action import Clear, Inject
from pneumo.drill.arc import State
from pneumo.drill.entry import (
    Considered,
    Entry,
    Found,
    FunctionTested,
    HandedBack,
    Left,
    Repaired,
    Stated,
    undone,
)
from pneumo.drill.job import Suspect
from pneumo.drill.outcome import Debrief, Reason, Took, Truth, Verdict
from pneumo.drill.practice import Practice
from pneumo.scenario.event import FaultCleared, FaultInjected, RunEvent

FAMILIES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("tests", ("read", "fit_gauge", "decay", "listen", "soap", "look", "measure", "measure_card",
               "measure_lining", "pry", "pull", "cycle", "swap")),
    ("asking", ("ask", "log_book", "hint")),
    ("safe work", ("lock", "prove", "block", "permit", "turn", "switch")),
    ("repairs", ("replace", "replace_coil", "clean", "refit", "adjust", "free", "reline",
                 "reconnect")),
    ("commands", ("command", "override", "force")),
    ("function test and hand-back", ("function_test", "hand_back")),
)  # fmt: skip
"""Kinds of act, as their minutes are added up."""


def debrief(practice: Practice, title: str = "") -> Debrief:
    """Judges a drill that is over."""
    entries = tuple(practice.entries)
    void = undone(entries)
    counted = [(i, e) for i, e in enumerate(entries) if i not in void]
    stated = [e.result.faults for _, e in counted if isinstance(e.result, Stated)]
    finding = stated[-1] if stated else None
    events = practice.play.plant.log.events
    truth = tuple(_truth(practice, finding or (), events))
    ended = _endings(practice, events)
    repairs = [(i, e) for i, e in counted if isinstance(e.result, Repaired)]
    needless = tuple(i for i, e in repairs if not _ends_one(e, ended))
    unsafe = tuple(i for i, e in counted if e.dangers)
    left = next((e.result.left for _, e in reversed(counted) if isinstance(e.result, HandedBack)),
                ())  # fmt: skip
    done = tuple(e for _, e in counted)
    reasons = tuple(
        dict.fromkeys(_reasons(practice.arc.state, truth, finding, done, needless, unsafe, left))
    )
    return Debrief(
        title=title,
        state=practice.arc.state,
        verdict=_verdict(reasons, truth, finding),
        reasons=reasons,
        truth=truth,
        finding=finding,
        entries=entries,
        began=practice.began,
        spent=practice.spent,
        par=practice.brief.par,
        minutes=_minutes(done, practice.spent),
        needless=needless,
        idle=tuple(i for i, e in counted if _idle(e)),
        unsafe=unsafe,
        left=left,
        undone=tuple(sorted(void)),
    )


# what was true


def _injected(practice: Practice) -> dict[tuple[str, str], str]:
    """Every fault that the trainer injected and did not take back -> its sentence."""
    found: dict[tuple[str, str], str] = {}
    for action in practice.ride.actions():
        if isinstance(action, Inject):
            found[action.fault.component, action.fault.mode] = action.fault.sentence
        elif isinstance(action, Clear):
            found.pop((action.component, action.mode), None)
    return found


def _truth(
    practice: Practice, finding: tuple[tuple[Suspect, ...], ...], events: Iterable[RunEvent]
) -> Iterable[Truth]:
    began: dict[tuple[str, str], float] = {}
    ended: dict[tuple[str, str], float] = {}
    for event in events:
        if isinstance(event.what, FaultInjected):
            began.setdefault((event.subject, event.what.fault.mode), event.time)
        elif isinstance(event.what, FaultCleared):
            ended[event.subject, event.what.mode] = event.time
    standing = {(f.component, f.mode) for f, _ in practice.play.actors.faults.standing}
    for key, sentence in _injected(practice).items():
        component, mode = key
        if key in began:
            yield Truth(
                component, mode, sentence, began[key],
                None if key in standing else ended.get(key), _named(key, finding),
                _suspected(practice.entries, component), _effect(practice, key),
            )  # fmt: skip


def _suspected(entries: Iterable[Entry], component: str) -> float | None:
    """When a part first stood among the suspects [s]."""
    for entry in entries:
        match entry.result:
            case Considered(suspect, True) if suspect.component == component:
                return entry.ended
    return None


def _effect(practice: Practice, fault: tuple[str, str]) -> str:
    """What a fault does, in the words of the catalogue."""
    component, mode = fault
    modes = practice.ride.circuit.components[component].fault_modes()
    return next(each.effect for each in modes if each.name == mode)


def _named(
    fault: tuple[str, str], finding: tuple[tuple[Suspect, ...], ...]
) -> Literal["", "part", "among", "named"]:
    exact = Suspect(*fault)
    part = False
    for suspects in finding:
        if exact in suspects:
            at_one_part = all(s.component == fault[0] for s in suspects)
            return "named" if at_one_part else "among"
        part = part or any(s.component == fault[0] for s in suspects)
    return "part" if part else ""


def _endings(practice: Practice, events: Iterable[RunEvent]) -> tuple[tuple[float, str], ...]:
    """Time and component of every fault that was ended."""
    return tuple((e.time, e.subject) for e in events if isinstance(e.what, FaultCleared))


def _ends_one(entry: Entry, ended: tuple[tuple[float, str], ...]) -> bool:
    assert isinstance(entry.result, Repaired)
    component = entry.result.component
    return any(
        entry.began <= time <= entry.ended and subject == component for time, subject in ended
    )


def _idle(entry: Entry) -> bool:
    return isinstance(entry.result, Found) and entry.result.evidence.idle


# what it is worth


def _reasons(
    state: State,
    truth: tuple[Truth, ...],
    finding: tuple[tuple[Suspect, ...], ...] | None,
    entries: tuple[Entry, ...],
    needless: tuple[int, ...],
    unsafe: tuple[int, ...],
    left: tuple[Left, ...],
) -> Iterable[Reason]:
    if state == "stopped":
        yield "hurt"
    if state == "given up":
        yield "given up"
    if finding is None:
        yield "nothing named"
    else:
        yield from _of_the_finding(truth, finding)
    if any(fault.ended is None for fault in truth):
        yield "not repaired"
    if needless:
        yield "repaired for nothing"
    if unsafe:
        yield "unsafe"
    repairs = [i for i, e in enumerate(entries) if isinstance(e.result, Repaired)]
    tests = [
        (i, e.result)
        for i, e in enumerate(entries)
        if isinstance(e.result, FunctionTested) and not e.result.void
    ]
    if not tests or (repairs and tests[-1][0] < repairs[-1]):
        yield "no function test"
    elif not tests[-1][1].passed:
        yield "function test failed"
    if left:
        yield "left behind"


_OF_NAMED: dict[str, Reason] = {"": "not named", "part": "only the part", "among": "only suspected"}


def _of_the_finding(
    truth: tuple[Truth, ...], finding: tuple[tuple[Suspect, ...], ...]
) -> Iterable[Reason]:
    for fault in truth:
        if fault.named in _OF_NAMED:
            yield _OF_NAMED[fault.named]
    parts = {fault.component for fault in truth}
    if any(not parts & {s.component for s in suspects} for suspects in finding):
        yield "named too much"


def _verdict(
    reasons: tuple[Reason, ...],
    truth: tuple[Truth, ...],
    finding: tuple[tuple[Suspect, ...], ...] | None,
) -> Verdict:
    if not reasons:
        return "right"
    if "hurt" in reasons or "given up" in reasons or finding is None:
        return "wrong"
    hit = any(fault.named for fault in truth) if truth else not finding
    return "partly right" if hit else "wrong"


def _minutes(entries: tuple[Entry, ...], spent: float) -> tuple[Took, ...]:
    took = {family: 0.0 for family, _ in FAMILIES}
    family_of = {work: family for family, works in FAMILIES for work in works}
    for entry in entries:
        if entry.work in family_of:
            took[family_of[entry.work]] += entry.ended - entry.began
    between = spent - sum(took.values())
    return (
        *(Took(*each) for each in took.items()),
        Took("waiting and thinking", max(between, 0.0)),
    )
