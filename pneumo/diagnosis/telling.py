"""The sentences of a diagnostician, as a mechanic would say them; none is read back."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence

from pneumo.components.base import Ending
from pneumo.diagnosis.choice import Reason
from pneumo.diagnosis.marks import LOUD, NEVER
from pneumo.diagnosis.opinion import Answer, Both, Likely, Opinion
from pneumo.diagnosis.panel import code_of
from pneumo.diagnosis.questions import OnPanel
from pneumo.diagnosis.reasons import LEAST_SHARE, Case, Sign
from pneumo.diagnosis.recommendation import SOUND, Outcome, Recommendation
from pneumo.diagnosis.suspects import Candidate, Spot
from pneumo.drill.entry import Fell
from pneumo.drill.telling import bar, clock, minutes, percent
from pneumo.drill.telling import told as result_told
from pneumo.inspection.evidence import Evidence
from pneumo.inspection.telling import told as evidence_told
from pneumo.zone.machine import STATES, Cause
from pneumo.zone.ride import LOW_RIDE_SUPPLY

MOST_NAMED = 4
"""Names in one line."""

_CODES = {code_of(name): name for name in (*Cause, LOW_RIDE_SUPPLY, "command")}
"""Number of an alarm, or of what stopped the ride -> its name."""

_REPAIRS: dict[Ending, str] = {
    "replace": "replace it", "clean": "clean it", "refit": "make its joints tight",
    "adjust": "set it anew", "free": "free it", "reline": "fit new linings",
    "reconnect": "connect it anew", "restore": "turn it back",
}  # fmt: skip


def opinion_lines(
    opinion: Opinion, cases: Sequence[Case], began: float = 0.0, odd: Sequence[Sign] = ()
) -> Iterator[str]:
    """What is thought, and why.

    Parameters
    ----------
    cases
        The reasons of its leading answers.
    odd
        What was other than without a fault: told where no answer explains it.
    began
        Where the clock begins that times are told by [s of the ride].
    """
    if not opinion.answers:
        yield "Nothing so far is other than on a ride without a fault."
    for place, case in enumerate(cases):
        if place and case.answer in cases[0].alike:
            continue  # it is told with the leader
        yield from case_lines(case, began, cases[0].shown if place else ())
    told = {case.answer.where for case in cases}
    others = sum(each.share for each in opinion.answers if each.where not in told)
    if opinion.answers and others >= LEAST_SHARE:
        yield f"All other parts together: {percent(others)}."
    if opinion.answers and opinion.none_of_these >= LEAST_SHARE:
        yield f"None of these, something that is not on the list: {percent(opinion.none_of_these)}."
    if opinion.answers and opinion.leader is None and opinion.none_of_these > opinion.sound:
        yield from _signs("Nothing on the list explains this", odd, "without a fault", began)
    if opinion.answers and opinion.sound >= LEAST_SHARE:
        yield f"Nothing wrong that has shown itself: {percent(opinion.sound)}."
    if opinion.not_examined:
        names = dict.fromkeys(f"{each.component} {each.mode}" for each in opinion.not_examined)
        yield f"Not examined, for it could not be calculated: {_some(names)}."


def case_lines(case: Case, began: float = 0.0, told: Collection[Sign] = ()) -> Iterator[str]:
    """What there is to say of one answer. `told`: signs for it that were told of another one;
    `began`: as in `opinion_lines`."""
    yield f"{answer_told(case.answer)}."
    known = {_what(sign) for sign in told}
    yield from _signs("For it", case.shown, "without a fault", began, known)
    if case.rival is not None:
        name = spot_told(case.rival.where)
        known |= {_what(sign) for sign in case.shown}
        yield from _signs(f"For it, and not for {name}", case.for_it, f"with {name}", began, known)
    rival = "without a fault" if case.rival is None else f"with {spot_told(case.rival.where)}"
    yield from _signs("Against it", case.against, rival, began)
    if case.alike:
        yield f"  Nothing so far tells it from {_some(map(_alike_told, case.alike), 'or')}."


def answer_told(answer: Answer) -> str:
    """ "hose_1 (82 %): leak, about 3.2 mm; replace it"; "valve and hose_1 together (82 %): valve:
    stuck; replace it, and hose_1: leak, about 3.2 mm; replace it" """
    head = f"{spot_told(answer.where)} ({percent(answer.share)}): "
    if answer.beside is None:
        return f"{head}{_repair_told(answer)}"
    return head + ", and ".join(
        f"{spot_told(each.spot)}: {_repair_told(each)}" for each in answer.parts
    )


def _repair_told(answer: Answer) -> str:
    likely = [each for each in answer.modes if each.share >= max(LEAST_SHARE, 0.1 * answer.share)]
    if len(likely) > 1:
        modes = ", ".join(
            f"{mode_told(each)} {percent(each.share)}" for each in likely[:MOST_NAMED]
        )
    else:
        modes = mode_told(answer.modes[0])
    return f"{modes}; {_REPAIRS[answer.how]}"


def _alike_told(answer: Answer) -> str:
    modes = ", ".join(mode_told(each.modes[0]) for each in answer.parts)
    return f"{spot_told(answer.where)} {modes} ({percent(answer.share)})"


def spot_told(spot: Spot | Both) -> str:
    """ "valve", "valve.14", "valve and hose_1 together"."""
    if isinstance(spot, Both):
        return f"{spot_told(spot.one)} and {spot_told(spot.other)} together"
    if spot == SOUND:
        return "no fault"
    return f"{spot.component}.{spot.side}" if spot.side else spot.component


def mode_told(likely: Likely) -> str:
    """ "leak, about 3.2 mm" """
    candidate = likely.candidate
    severity = severity_told(candidate, likely.place)
    return f"{candidate.mode}, about {severity}" if severity else candidate.mode


def severity_told(candidate: Candidate, place: float) -> str:
    """The severity at a place of its scale, to two digits; "" = it has none."""
    fault = candidate.fault(place)
    if fault.severity is None:
        return ""
    return type(fault)("", "", float(f"{fault.severity:.2g}"), fault.unit).severity_text


# signs


def _what(sign: Sign) -> tuple[object, ...]:
    """What a sign is, whatever it is compared with."""
    return sign.began, sign.instrument, sign.test, sign.aspect


def _signs(
    head: str,
    signs: Sequence[Sign],
    other: str,
    began: float,
    known: Collection[tuple[object, ...]] = (),
) -> Iterator[str]:
    for sign in signs:
        if _what(sign) not in known:
            yield f"  {head}: {sign_told(sign, other, began)}"


def sign_told(sign: Sign, other: str, began: float = 0.0) -> str:
    """ "close block at 0:00:12: closed_1 came ON after 0.90 s (without a fault: after 0.31 s)."

    `other`: what it is compared with, as it is said.
    """
    seen, expected, compared = (
        _value(sign, value) for value in (sign.seen, sign.expected, sign.other)
    )
    more = f"{other}: {compared}"
    if expected != seen:
        more = f"with this fault: {expected}; {more}"
    also = f"; so {_some(sign.alike)}" if sign.alike else ""
    return f"{seen_told(sign, began)} ({more}){also}."


def seen_told(sign: Sign, began: float = 0.0) -> str:
    """ "close block at 0:00:12: closed_1 came ON after 0.90 s" """
    if sign.found is not None:
        return f"{_when(sign.made, began)}: {_found_told(sign.found).rstrip('.')}"
    done = ", ".join(action.text for action in sign.done)
    head = f"{done} {_when(sign.began, began)}" if done else "before anything was done"
    did = _seen(sign.aspect, sign.seen, _value(sign, sign.seen))
    return f"{head}: {sign.instrument or 'the ride'} {did}"


def _when(time: float, began: float) -> str:
    if time >= began:
        return f"at {clock(time - began)}"
    return f"{minutes(began - time)} before the drill"


def _seen(aspect: str, seen: float, value: str) -> str:
    """What an instrument did; `value`: what was seen, as it is said."""
    match aspect:
        case "first ON":
            return "did not come ON" if seen == NEVER else f"came ON {value}"
        case "first OFF":
            return "did not go OFF" if seen == NEVER else f"went OFF {value}"
        case "at the end":
            return f"was {value}"
        case "shown":
            return f"read {value}"
        case "state":
            return f"went to {value}"
        case "first alarm":
            return f"raised {value}"
    return value


def _found_told(found: Evidence | Fell) -> str:
    return result_told(found) if isinstance(found, Fell) else evidence_told(found)


def _value(sign: Sign, value: float) -> str:
    if sign.test is not None:
        return mark_told(sign.test[0], sign.aspect, value)
    return _panel_value(sign.aspect, value)


def _panel_value(aspect: str, value: float) -> str:
    match aspect:
        case "first ON" | "first OFF":
            return "not at all" if value == NEVER else f"after {value:.2f} s"
        case "at the end":
            return "ON" if value > 0.5 else "OFF"
        case "shown":
            return bar(value)
        case "state":
            return STATES[round(value) - 1] if value >= 0.5 else "no other state"
        case "refused":
            return "refused a command" if value > 0.5 else "refused no command"
        case "ride stop":
            return f"stopped ({_CODES.get(value, 'an alarm')})" if value else "did not stop"
    return f"alarm {_CODES.get(value, 'of another kind')}" if value else "no alarm"


_CLASSES = {
    "dirt": ("clean", "dirty", "clogged"),
    "state": ("closed", "neither open nor closed", "open"),
}
_SCALES = {
    "distance": (1e3, "mm"), "out": (1e3, "mm"), "moved": (1e3, "mm"), "travel": (1e3, "mm"),
    "moves": (1e-3, "kN"), "returns": (1e-3, "kN"), "volts": (1.0, "V"), "ohms": (1.0, "ohm"),
}  # fmt: skip
_YES = {
    "lamp": ("lamp dark", "lamp lit"), "held": ("override not held", "override held down"),
    "in service": ("out of service", "in service"), "open": ("closed", "open"),
    "clicked": ("no click", "a click"), "switched": ("did not switch", "switched"),
    "blocked": ("not blocked", "blocked"), "live": ("no voltage", "voltage"),
}  # fmt: skip


def mark_told(test: str, aspect: str, value: float) -> str:
    """One number of what a test gives, as it is said: "loud at exhaust 3", "4.35 bar"."""
    first = aspect.split()[0]
    if aspect in ("shown", "shown at the end", "fall"):
        ends = {"shown": "", "shown at the end": " at the end", "fall": " of fall"}
        return f"{bar(value)}{ends[aspect]}"
    if test == "listen":
        return _heard_told(aspect, value)
    if first in _SCALES:
        factor, unit = _SCALES[first]
        none = "open circuit" if first == "ohms" else "does not move"
        return none if value == NEVER else f"{value * factor:.3g} {unit}"
    if first in _CLASSES:
        words = _CLASSES[first]
        return words[min(max(round(value), 0), len(words) - 1)]
    if first in _YES and test != "soap":
        return _YES[first][value > 0.5]
    if aspect == "springs broken":
        return f"{value:.0f} springs broken"
    sort = "bubbles" if test == "soap" else "air"
    where = aspect.removeprefix("blew ")
    return f"{sort if value > 0.5 else f'no {sort}'} at {where}"


def _heard_told(aspect: str, value: float) -> str:
    if aspect.startswith("pumping"):
        return f"{'pumping' if value > 0.5 else 'not pumping'}{aspect.removeprefix('pumping')}"
    if aspect.startswith("beside "):
        return f"{'air' if value > 0.5 else 'no air'} at {aspect.removeprefix('beside ')}"
    loud = {round(number): word for word, number in LOUD.items()}
    return f"{loud.get(round(value), 'no sound')} at {aspect}"


# what is next


def recommendation_lines(advice: Recommendation, opinion: Opinion) -> Iterator[str]:
    """What to do next, and what each outcome would mean."""
    question = advice.question
    if question is None:
        yield stop_told(advice, opinion)
        return
    yield f"Next: {', then '.join(question.lines)} ({minutes(question.seconds)})."
    for outcome in advice.outcomes:
        if outcome.share >= LEAST_SHARE:
            yield f"  {outcome_told(outcome)}"


def outcome_told(outcome: Outcome) -> str:
    """ "At silencer: no sound (60 %): then valve 97 %." """
    (first, its), *more = outcome.leaders
    likely = [(first, its), *(each for each in more if each[1] >= LEAST_SHARE)]
    leaders = ", ".join(f"{spot_told(spot)} {percent(share)}" for spot, share in likely)
    seen = "Another outcome"
    if isinstance(outcome.answer, OnPanel):
        seen = _on_panel_told(outcome.answer)
    elif outcome.answer is not None:
        seen = _found_told(outcome.answer).rstrip(".")
    return f"{seen} ({percent(outcome.share)}): then {leaders}."


def _on_panel_told(shown: OnPanel) -> str:
    """ "block raised alarm 'open time exceeded'"; "closed_1 not as without a fault"."""
    if not shown.aspect:
        return "All as on a ride without a fault"
    name = shown.instrument or "the ride"
    if shown.value is None and shown.aspect == "first alarm":
        return f"{name} raised an alarm"
    if shown.value is None:
        return f"{name} not as on a ride without a fault"
    return f"{name} {_seen(shown.aspect, shown.value, _panel_value(shown.aspect, shown.value))}"


def stop_told(advice: Recommendation, opinion: Opinion) -> str:
    """Why no further test is recommended, and what to repair."""
    if not opinion.answers:
        return "Next: operate the ride, and watch what comes late or not at all."
    if advice.leader == SOUND and opinion.none_of_these > opinion.sound:
        return (
            "Nothing on the list, nor two of it at once, explains what was seen, and no test that "
            "is possible now tells more."
        )
    if advice.leader == SOUND:
        return "No test that is possible now tells more: go on operating the ride."
    answer = next(each for each in opinion.answers if each.where == advice.leader)
    why = {
        Reason.SURE: "That is sure enough",
        Reason.NOTHING: "No test that is possible now tells the rest apart",
        Reason.REPAIR: "Testing on costs more than it can spare",
        Reason.ASK: "",
    }[advice.reason]
    part = spot_told(advice.leader)
    if answer.beside is None:
        todo = _REPAIRS[answer.how]
    else:
        todo = ", ".join(f"{spot_told(each.spot)}: {_REPAIRS[each.how]}" for each in answer.parts)
    return f"{why}. Next: {part} ({percent(advice.share)}): {todo}, then test."


def short_told(opinion: Opinion, advice: Recommendation) -> str:
    """ "next: cycle valve.14; valve 74 %, valve.14 25 %; 4 parts are in question": a screen may cut
    all but what comes first."""
    likely = [(spot_told(a.where), a.share) for a in opinion.answers[:MOST_NAMED]]
    likely += [("nothing wrong so far", opinion.sound), ("none of these", opinion.none_of_these)]
    likely = [each for each in likely if each[1] >= LEAST_SHARE]
    likely.sort(key=lambda each: -each[1])
    shares = ", ".join(f"{name} {percent(share)}" for name, share in likely)
    number = _in_question(opinion)
    told = f"{shares}; {_count(number, 'part')} in question" if number else shares
    return f"next: {', then '.join(advice.question.lines)}; {told}" if advice.question else told


def hint_lines(
    opinion: Opinion,
    advice: Recommendation,
    cases: Sequence[Case],
    began: float,
    named: Collection[str] = (),
) -> Iterator[str]:
    """The next test as a hint: never what may be wrong. `began`: as in `opinion_lines`; `named`:
    zones that the complaint names."""
    question = advice.question
    if question is not None:
        yield f"Next: {', then '.join(question.lines)} ({minutes(question.seconds)})."
        if not opinion.answers:
            yield (
                "Nothing so far is other than on a ride without a fault. Of all that can be done "
                "now this tells most for its minutes."
            )
            if named:
                yield f"The complaint names {_some(named)}: what may be wrong there comes first."
            return
        likely = sum(outcome.share >= LEAST_SHARE for outcome in advice.outcomes)
        told = _count(likely, "outcome")
        yield (
            f"Of all that can be done now it tells most for its minutes: {told} to be expected, and"
            f" {_count(_in_question(opinion), 'part')} in question."
        )
        return
    if opinion.answers and advice.leader == SOUND and opinion.none_of_these > opinion.sound:
        yield stop_told(advice, opinion)
        return
    if not opinion.answers or advice.leader == SOUND:
        yield (
            "Nothing so far is other than on a ride without a fault. Operate it, and watch what "
            "comes late or not at all."
        )
        if named:
            yield f"The complaint names {_some(named)}: operate that again, it may come and go."
        return
    yield "No further test is worth its minutes: what was seen is enough for a finding."
    # what tells it from its rival comes before what any trip would show
    signs = [sign for case in cases[:1] for sign in (*case.for_it, *case.shown)]
    if signs:
        yield f"Think of this: {seen_told(signs[0], began)}."


def _count(number: int, what: str) -> str:
    return f"{number} {what} is" if number == 1 else f"{number} {what}s are"


def _in_question(opinion: Opinion) -> int:
    return sum(answer.share >= LEAST_SHARE for answer in opinion.answers)


def _some(names: Iterable[str], word: str = "and") -> str:
    """Names, the first few of many."""
    named = list(names)
    if len(named) > MOST_NAMED:
        return f"{', '.join(named[:MOST_NAMED])} {word} {len(named) - MOST_NAMED} more"
    return f" {word} ".join((", ".join(named[:-1]), named[-1])) if len(named) > 1 else named[0]
