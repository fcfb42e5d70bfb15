"""A drill judged when it is over: what was wrong with the ride, and what the technician made of it.

Right: every fault was named (or one of a few suspects at that very part), ended by a repair, and
nothing else replaced; the work was safe, the last function test passed after the last repair, and
nothing was left behind. Wrong: somebody would have been hurt, the drill was given up, no part that
is defective was named, or more that are sound. Partly right: what lies between; the reasons say
what was missing.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Literal

from pneumo.circuit.action import Action, Clear, FaultSpec, Inject
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


MOST_SUSPECTS = 3
"""Whoever names more that it may be has not found it; estimated."""


def debrief(practice: Practice, title: str = "") -> Debrief:
    """Judges a drill that is over."""
    entries = tuple(practice.entries)
    void = undone(entries)
    counted = [(i, e) for i, e in enumerate(entries) if i not in void]
    stated = [e.result.faults for _, e in counted if isinstance(e.result, Stated)]
    finding = stated[-1] if stated else None
    events = practice.play.plant.log.events
    truth = tuple(_truth(practice, finding or (), events))
    # whoever names what the trainer took back again was not wrong
    parts = {a.fault.component for a in practice.ride.actions() if isinstance(a, Inject)}
    ended = _endings(practice, events)
    repairs = [(i, e) for i, e in counted if isinstance(e.result, Repaired)]
    needless = tuple(i for i, e in repairs if not _ends_one(e, ended))
    unsafe = tuple(i for i, e in counted if e.dangers)
    left = next((e.result.left for _, e in reversed(counted) if isinstance(e.result, HandedBack)),
                ())  # fmt: skip
    done = tuple(e for _, e in counted)
    reasons = tuple(
        dict.fromkeys(
            _reasons(practice.arc.state, truth, parts, finding, done, needless, unsafe, left)
        )
    )
    return Debrief(
        title=title,
        state=practice.arc.state,
        verdict=_verdict(reasons, truth, parts, finding),
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


def _injected(actions: Iterable[Action]) -> dict[tuple[str, str], FaultSpec]:
    """Every fault that the trainer injected and did not take back."""
    found: dict[tuple[str, str], FaultSpec] = {}
    for action in actions:
        if isinstance(action, Inject):
            found[action.fault.component, action.fault.mode] = action.fault
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
    ride = practice.ride
    # who hands back before a fault comes that the drill holds has not found it
    task = _injected(ride.actions(practice.began))
    for key, fault in _injected(ride.actions()).items():
        if key in began or key in task:
            yield Truth(
                fault.component, fault.mode, fault.sentence, began.get(key, fault.at),
                None if key in standing else ended.get(key), _named(key, finding),
                _suspected(practice.entries, fault.component), _effect(practice, key),
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
        parts = {s.component for s in suspects}
        if fault[0] not in parts or len(parts) > MOST_SUSPECTS:
            continue
        if exact in suspects and len(suspects) <= MOST_SUSPECTS:
            return "among" if len(parts) > 1 else "named"
        part = True
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
    parts: Collection[str],
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
        yield from _of_the_finding(truth, parts, finding)
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
    truth: tuple[Truth, ...],
    parts: Collection[str],
    finding: tuple[tuple[Suspect, ...], ...],
) -> Iterable[Reason]:
    for fault in truth:
        if fault.named in _OF_NAMED:
            yield _OF_NAMED[fault.named]
    if _sound(parts, finding):
        yield "named too much"


def _sound(parts: Collection[str], finding: tuple[tuple[Suspect, ...], ...]) -> int:
    """How many things were named that are not so; `parts`: those that had a fault."""
    return sum(not any(s.component in parts for s in suspects) for suspects in finding)


def _verdict(
    reasons: tuple[Reason, ...],
    truth: tuple[Truth, ...],
    parts: Collection[str],
    finding: tuple[tuple[Suspect, ...], ...] | None,
) -> Verdict:
    if not reasons:
        return "right"
    if "hurt" in reasons or "given up" in reasons or finding is None:
        return "wrong"
    hits = sum(bool(fault.named) for fault in truth)
    # who names every part has named the defective ones, too
    hit = hits > 0 and _sound(parts, finding) <= hits if truth else not finding
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
