"""The sentences of a drill: entries, dangers, the debrief. Nothing is read back from them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import singledispatch
from typing import Any

from pneumo.drill.danger import Danger
from pneumo.drill.entry import (
    Answered,
    Considered,
    Done,
    Entry,
    Fell,
    Fitted,
    Found,
    FunctionTested,
    Given,
    HandedBack,
    Left,
    Locked,
    Noted,
    Permitted,
    Proved,
    Repaired,
    SetBack,
    Stated,
    Stepped,
)
from pneumo.drill.job import Suspect
from pneumo.drill.outcome import Debrief, Reason, Truth
from pneumo.inspection.telling import told as evidence_told
from pneumo.inspection.telling import why_idle


def minutes(seconds: float) -> str:
    """ "12 min": downtime is told in whole minutes, short times in seconds."""
    return f"{seconds:.0f} s" if seconds < 60.0 else f"{seconds / 60.0:.0f} min"


def clock(seconds: float) -> str:
    """ "1:07:30": time since the drill began."""
    whole = int(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def percent(share: float) -> str:
    """ "82 %"; nothing is ever quite sure, and nothing quite out of the question."""
    if share > 0.99:
        return "over 99 %"
    return "under 1 %" if share < 0.01 else f"{100.0 * share:.0f} %"


def bar(pressure: float) -> str:
    """ "4.35 bar"; never -0.00."""
    return f"{round(pressure / 1e5, 2) + 0.0:.2f} bar"


# what came of a line


@singledispatch
def told(result: Any) -> str:
    """What came of something that was done, in one or a few sentences."""
    raise TypeError(f"{result!r} is no result")


@told.register(Found)
def _found(result: Found) -> str:
    return evidence_told(result.evidence)


@told.register(Fell)
def _fell(result: Fell) -> str:
    first, last = result.first, result.last
    return (
        f"The gauge at {first.port} read {bar(first.shown)}, and {bar(last.shown)} "
        f"{minutes(result.seconds)} later."
    )


@told.register(Answered)
def _answered(result: Answered) -> str:
    return "\n".join(_answers(result))


def _answers(result: Answered) -> tuple[str, ...]:
    """Line by line."""
    if result.lines:
        who = "The operator: " if result.by == "operator" else ""
        return (f"{who}{result.lines[0]}", *result.lines[1:])
    nothing = {
        "operator": "The operator: I cannot tell you anything about that.",
        "log book": "The log book has no entry that matters.",
        "hint": "There is no hint.",
    }
    return (nothing[result.by],)


@told.register(Done)
def _done(result: Done) -> str:
    return "Done."


@told.register(Given)
def _given(result: Given) -> str:
    return "Command given."


@told.register(Repaired)
def _repaired(result: Repaired) -> str:
    words = {
        "replace": "There is a new {}.",
        "clean": "{} has been cleaned.",
        "refit": "The joints of {} have been made tight.",
        "adjust": "{} has been set to its setting.",
        "free": "{} has been freed and greased.",
        "reline": "{} has new linings.",
        "reconnect": "{} has been connected anew.",
    }
    part = f"{result.component}.{result.side}" if result.side else result.component
    return words[result.how].format(part)


@told.register(Locked)
def _locked(result: Locked) -> str:
    state = "locked and tagged" if result.on else "unlocked"
    return f"{result.component} is {state}."


@told.register(Permitted)
def _permitted(result: Permitted) -> str:
    return "You have the permit for tests on live wires."


@told.register(Fitted)
def _fitted(result: Fitted) -> str:
    return f"There is a test point at {result.component}.{result.port} now."


@told.register(Proved)
def _proved(result: Proved) -> str:
    shown = ", ".join(f"{bar(each.pressure)} at {each.port}" for each in result.shown)
    if not shown:
        air = "no air comes" if result.zero else "air comes"
        shown = f"it is open to the air, and {air} out of it"
    word = "zero is proved" if result.zero else "NOT at zero"
    return f"{result.component}: {shown}; {word}."


@told.register(Considered)
def _considered(result: Considered) -> str:
    state = "among your suspects" if result.on else "ruled out"
    return f"{suspect_told(result.suspect)} is {state}."


@told.register(Noted)
def _noted(result: Noted) -> str:
    return ""


@told.register(Stated)
def _stated(result: Stated) -> str:
    return f"Your finding: {finding_told(result.faults)}"


@told.register(FunctionTested)
def _tested(result: FunctionTested) -> str:
    if result.void:
        return "Function test VOID: somebody else acted on the ride meanwhile. Make it again."
    if result.passed:
        return "Function test passed: every zone closed, opened and stopped, and nothing alarmed."
    wrong = [f"{alarm.zone or 'ride'}: {alarm.name}" for alarm in result.alarms]
    wrong += [f"{each.zone} was not confirmed {each.state}" for each in result.missed]
    return f"Function test FAILED: {'; '.join(wrong)}."


@told.register(HandedBack)
def _handed_back(result: HandedBack) -> str:
    return "The ride is handed back."


@told.register(SetBack)
def _set_back(result: SetBack) -> str:
    return (
        f"The simulation stopped, and the ride was set back by {minutes(result.seconds)}. What was "
        "done in that time does not count."
    )


@told.register(Stepped)
def _stepped(result: Stepped) -> str:
    return ""


def suspect_told(suspect: Suspect) -> str:
    """ "hose_1 leak", or the part alone."""
    return f"{suspect.component} {suspect.mode}".rstrip()


def finding_told(faults: tuple[tuple[Suspect, ...], ...]) -> str:
    """ "trim_hose_1 leak, or trim_hose_2 leak; and block_valve_a stuck."."""
    if not faults:
        return "nothing is wrong."
    return (
        "; and ".join(
            ", or ".join(suspect_told(suspect) for suspect in either) for either in faults
        )
        + "."
    )


def danger_told(danger: Danger) -> str:
    """What was unsafe, and what would have been right."""
    part, value = danger.component, danger.value
    names = ", ".join(danger.names)
    match danger.hazard:
        case "pressure":
            return (
                f"{part} stood under {bar(value)} when it was opened. It would have thrown parts "
                "or a jet of air at you. Isolate, lock, vent, and prove zero at a gauge first."
            )
        case "held back":
            return (
                f"The gauge had shown zero, but {part} still stood under {bar(value)} when it was "
                "opened: something between them held its air back. Loosen a fitting slowly first."
            )
        case "force":
            return (
                f"The jaws of {part} could close with {value / 1e3:.1f} kN while your hands were "
                "between them. Block them first."
            )
        case "moves":
            return (
                f"{part} could move with {value / 1e3:.1f} kN while you were in its way. Isolate, "
                "lock and vent its air first."
            )
        case "voltage":
            return f"{part} had {value:.0f} V on its wires. {_cut(names)}"
        case "live wires":
            volts = f"had {value:.0f} V on its wires" if value else "could get voltage at any time"
            return f"{part} {volts}. {_cut(names)}"
        case "residual":
            return f"{part} still held {bar(value)} when it was opened."
        case "not isolated" if value > 0.0:
            return (
                f"Air could still reach {part} from {names}, with up to {bar(value)}: a check "
                "valve, or a valve that a coil moves, keeps nothing off. Lock a shut-off valve "
                "between them, or vent it."
            )
        case "not isolated":
            return f"{names or 'The supply'} could still reach {part}: nothing was turned off."
        case "not locked":
            off = f" {names} was turned off, but had no lock:" if names else ""
            return f"{part}:{off} anybody could have turned it on again."
        case "not proved":
            return f"Nobody had proved at a gauge that {part} is without pressure."
        case "no permit":
            return (
                f"This was a test on live wires at {part}: it needs a permit. Say 'permit' first."
            )


def _cut(names: str) -> str:
    if names:
        return f"Switch off and lock first: {names.replace(', ', ' or ')}."
    return "Nothing at the ride switches it off: get a permit first."


# the debrief

_VERDICTS = {"right": "RIGHT", "partly right": "PARTLY RIGHT", "wrong": "WRONG"}

_REASONS: dict[Reason, str] = {
    "hurt": "somebody would have been hurt, and the drill stopped there",
    "given up": "the drill was given up",
    "nothing named": "no finding was stated",
    "not named": "a fault was not named",
    "only suspected": "a fault was named only among others",
    "only the part": "the part was named, but not what is wrong with it",
    "named too much": "a part was named that is sound",
    "not repaired": "a fault is still there",
    "repaired for nothing": "a repair ended nothing",
    "unsafe": "some of the work was unsafe",
    "no function test": "no function test followed the last repair",
    "function test failed": "the last function test failed",
    "left behind": "something was left on the ride",
}

_LEFT = {
    "locked": "{} is still locked",
    "off": "{} is still turned off",
    "blocked": "{} is still blocked",
    "drained": "the drain of {} is still open",
    "overridden": "the manual override of {} is still held",
    "forced": "{} is still forced",
    "swapped": "the plug of {} is still on another coil",
}


def left_told(left: Left) -> str:
    """ "the drain of receiver is still open"."""
    return _LEFT[left.how].format(left.name)


def truth_told(truth: Truth, found: Debrief) -> str:
    """What was wrong, whether it is still, and what it does."""
    named = {
        "named": "you named it",
        "among": "you named it among others",
        "part": "you named the part",
        "": "you did not name it",
    }
    if truth.ended is not None:
        end = f"repaired at {clock(truth.ended - found.began)}"
    elif truth.since > found.began + found.spent:
        end = "it was still to come"
    elif _passed(found):
        end = "it is still there, and the function test does not show it"
    else:
        end = "it is still there"
    first = ""
    if truth.suspected is not None:
        first = f" First among your suspects at {clock(truth.suspected - found.began)}."
    return f"{in_minutes(truth.sentence)}: {named[truth.named]}; {end}.{first} {truth.effect}"


def _passed(found: Debrief) -> bool:
    """Whether the last function test passed."""
    tests = [e.result.passed for e in found.entries if isinstance(e.result, FunctionTested)]
    return bool(tests) and tests[-1]


def in_minutes(sentence: str) -> str:
    """A sentence of the ride with its long times as somebody says them: "every 2100 s" is every
    35 min."""
    return re.sub(
        r"\b(\d+) s\b",
        lambda of: minutes(float(of[1])) if int(of[1]) % 60 == 0 and int(of[1]) else of[0],
        sentence,
    )


def verdict_told(found: Debrief) -> str:
    """The verdict and why it is no better, in one sentence."""
    reasons = ", ".join(_REASONS[reason] for reason in found.reasons)
    return f"{_VERDICTS[found.verdict]}{': ' + reasons if reasons else ''}."


def debrief_lines(found: Debrief) -> Iterator[str]:
    """The debrief as plain text, line by line."""
    if len(found.reasons) > 1:
        yield f"{_VERDICTS[found.verdict]}:"
        yield from (f"  {_REASONS[reason]}" for reason in found.reasons)
    else:
        yield verdict_told(found)
    par = f" (par {minutes(found.par)})" if found.par else ""
    yield f"Downtime: {minutes(found.spent)}{par}"
    spent = [f"{each.family} {minutes(each.seconds)}" for each in found.minutes if each.seconds]
    if spent:
        yield "   ".join(spent)
    yield ""
    yield "What was wrong"
    if not found.truth:
        yield "  Nothing: the ride had no fault."
    for truth in found.truth:
        yield f"  {truth_told(truth, found)}"
    if found.finding is not None:
        yield f"  Your finding: {finding_told(found.finding)}"
    yield from _listed("Unsafe", (
        f"{_at(found, i)} {danger_told(danger)}"
        for i in found.unsafe for danger in found.entries[i].dangers
    ))  # fmt: skip
    yield from _listed("Left behind", (f"{left_told(left)}." for left in found.left))
    yield from _listed("Repairs that ended nothing", (
        f"{_at(found, i)} {found.entries[i].line}" for i in found.needless
    ))  # fmt: skip
    yield from _listed("Tests that could show nothing as the ride stood", (
        f"{_at(found, i)} {found.entries[i].line}: {idle_told(found.entries[i])}"
        for i in found.idle
    ))  # fmt: skip
    yield from _listed("What was done", timeline(found))


def idle_told(entry: Entry) -> str:
    """Why a test could show nothing; "" = it could."""
    return why_idle(entry.result.evidence) if isinstance(entry.result, Found) else ""


def timeline(found: Debrief) -> Iterator[str]:
    """Every entry with its time, and what was true meanwhile."""
    for place, entry in enumerate(found.entries):
        void = " (does not count)" if place in found.undone else ""
        head = f"{clock(entry.at - found.began)} {entry.line}{void}"
        plain = () if isinstance(entry.result, Done | Given) else _in_lines(entry)
        said = " / ".join((*plain, *alarms_told(entry)))
        yield f"{head}: {said}" if said else head


def _in_lines(entry: Entry) -> tuple[str, ...]:
    """What came of an entry, a line for each thing that was said."""
    if isinstance(entry.result, Answered):
        return _answers(entry.result)
    said = told(entry.result)
    return (said,) if said else ()


def alarms_told(entry: Entry) -> Iterator[str]:
    """The alarms that were raised meanwhile; a function test names them itself."""
    if isinstance(entry.result, FunctionTested):
        return
    for alarm in entry.alarms:
        seconds = alarm.time - entry.began
        after = f"{seconds:.1f} s" if seconds < 60.0 else minutes(seconds)
        yield f"Alarm after {after}: {alarm.zone or 'ride'} {alarm.name}."


def entry_lines(entry: Entry, *, alarms: bool = True) -> Iterator[str]:
    """What is answered to somebody who said a line; `alarms`: those raised meanwhile as well."""
    yield from _in_lines(entry)
    if alarms:
        yield from alarms_told(entry)
    for danger in entry.dangers:
        yield f"UNSAFE: {danger_told(danger)}"


def _at(found: Debrief, entry: int) -> str:
    return clock(found.entries[entry].at - found.began)


def _listed(heading: str, lines: Iterator[str]) -> Iterator[str]:
    listed = list(lines)
    if listed:
        yield ""
        yield heading
        yield from (f"  {line}" for line in listed)
