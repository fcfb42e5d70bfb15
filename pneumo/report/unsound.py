"""Words for what a circuit does wrong without any fault, and for its first cause."""

from __future__ import annotations

from pneumo import units
from pneumo.verification.verdict import Cause, Unsound


def unsound_words(found: Unsound) -> str:
    """What went wrong, one line: 'block: alarm "low supply" at 3.000 s, commanded open'."""
    where = found.zone or "ride"
    when = f"at {units.format_time(found.time)}"
    what = {
        "alarm": f'alarm "{found.alarm}" {when}',
        "late": f"late: not in its safe state at its time limit, {when}",
        "unsafe": f"unsafe: its safe state is not reached or not kept, seen {when}",
        "air lost": f"continuous loss of air, seen {when}",
        "not reached": f"not where it is commanded to be {when}",
    }[found.what]
    to = f", commanded {found.commanded}" if found.commanded else ""
    return f"{where}: {what}{to}"


def why_words(found: Unsound) -> str:
    """Why it went wrong, in plain sentences. What gets there in the end, only too late for its
    limit, has no part that stops it: the time it takes is said, and what is furthest behind."""
    if found.needed is None or found.allowed is None:
        return cause_words(found.cause)
    takes, allowed = (units.format_time(t) for t in (found.needed, found.allowed))
    words = (
        f"It takes {takes} from the command (limit {allowed}): the limit is too short or "
        "something is too slow."
    )
    return words if found.cause is None else f"{words} {_seen(found.cause, 'At the limit')}"


def cause_words(cause: Cause | None) -> str:
    """The first cause in plain sentences: the part, its line, what is seen there."""
    if cause is None:
        return "No single part stands out as the first cause."
    return _seen(cause, "First cause")


def _seen(cause: Cause, what: str) -> str:
    line = f" (line {cause.line})" if cause.line else ""
    before, after = (units.format_pressure(p, 0.0) for p in (cause.before, cause.after))
    enters = f" at port {cause.enters}" if cause.enters else ""
    leaves = f" at port {cause.leaves}" if cause.leaves else ""
    seen = {
        "source": f"it gives {after} and should give {before}.",
        "escape": f"supply air leaves through it into the atmosphere: in{enters} with {before}, "
        f"out{leaves}.",
        "blocked": f"{before} upstream of it{enters}, {after} downstream{leaves}.",
        "fed": f"supply air still reaches the zone through it: in{enters} with {before}, "
        f"out{leaves} with {after}.",
        "trapped": f"trapped pressure: {before} of the zone stay upstream of it{enters}; it should "
        f"exhaust through it{leaves and ', out'}{leaves}.",
        "brake": f"the pressure is as commanded, {before}, its jaws are not: check its springs, "
        "area, gap and friction.",
        "instrument": "brakes and pressure are as commanded, its reading is not: check what it "
        "watches and what it is set to.",
    }[cause.link]
    words = [f"{what}: {cause.component}{line}: {seen}"]
    if cause.backwards:
        words.append(
            "Air comes to it the wrong way: check whether its ports are swapped or it is fitted "
            "the wrong way round."
        )
    if cause.energised is not None and cause.position is not None:
        current = "is energised" if cause.energised else "is not energised"
        words.append(
            f"Its coil {current}, its spool is at {cause.position:g} (0 at rest, 1 actuated)."
        )
    if cause.commanded_by:
        words.append(f"It is an output of zone {cause.commanded_by}.")
    return " ".join(words)
