"""What a verification says: plain records, no arithmetic of the physics."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from pneumo.verification.case import Condition, Injection

BOUNCE = 0.1
"""A safe state lost for no longer than this is a bounce of the jaws, not a loss [s]."""

GRACE = 10.0
"""How long beyond its limit a zone is waited for before it counts as never safe [s]."""

DETECTED = (
    "Detected: after the event, and no later than 10 s after the time limit of the zone, the logic "
    "raised an alarm of this zone or of the ride; for a zone that is safe an alarm of any zone is "
    "enough. An alarm that is acknowledged, reset or returns to normal does not count."
)
"""The one definition of the word, for reports and guides; the 10 s are `GRACE`."""

UNSOUND = "WITHOUT ANY FAULT this circuit does not do what it is commanded to:"
"""Said before all else of a circuit that is not sound."""

Verdict = Literal["safe", "late", "not calculated", "unsafe"]

VERDICTS: tuple[Verdict, ...] = ("safe", "late", "not calculated", "unsafe")
"""From best to worst. Nothing is known of a case that was not calculated, so it hides what is
known to be safe or late, and is hidden by what is known to be unsafe."""


@dataclass(frozen=True)
class Basis:
    """What a zone was asked for in a case, and how long it was watched."""

    needed: int
    """Brakes that must be in the safe state."""
    brakes: int
    """Of so many."""
    clamping_force: float | None
    """Required of each [N]; None: none is."""
    hold: float
    """How long the safe state must be held [s]."""
    watched: float
    """From the start of the clock to the end of the run, or of the demand [s]."""
    ended_by: Literal["run", "demand"]
    """Which of them: the run ended, or the demand was withdrawn."""


@dataclass(frozen=True)
class Outcome:
    """One zone in one case, judged on what its jaws did."""

    zone: str
    injected_during: str
    """What the logic believed this zone to be when the event was injected: open, closing, ..."""
    safe_state: Literal["open", "closed"]
    demanded_at: float
    """When the zone was asked for its safe state: the clock of the times below starts here [s]."""
    verdict: Verdict
    decided: bool
    """False when the run, or the demand, ended before the verdict was certain."""
    detected: bool
    """See `DETECTED`."""
    alarm: str
    """The first of those alarms, "" if none."""
    reached_after: float | None
    """Seconds from the start of the clock to the safe state, `line_delay` among them unless it was
    safe already; None: never reached."""
    limit: float
    """Seconds allowed."""
    lost_after: float | None
    """Seconds from the start of the clock until the safe state was lost again; None: held."""
    held: float
    """Seconds the safe state was held, at most the required hold."""
    least_force: float | None
    """Clamping force of the weakest brake that counts, at the end [N]; None when safe = open."""
    indicated: str
    """State the logic was in at the end."""
    false_indication: bool
    """At some moment after the injection the logic believed closed while the jaws were not."""
    basis: Basis | None
    """What decided the verdict, with the times above; None: it was not judged."""
    trouble: str = ""
    """Why it was not judged, one sentence."""
    furthest: tuple[str, ...] = ()
    """The brake that was out of the safe state for longest, with those that move exactly like it;
    () when nothing is known of the brakes."""
    clearance: float | None = None
    """Distance of a lining from the fin at that brake, at the end [m]."""
    force: float | None = None
    """Clamping force left at that brake, at the end [N]."""
    line_delay: float = 0.0
    """Seconds added to what was calculated: the time in which news comes through the zone's
    lines."""

    @property
    def margin(self) -> float | None:
        """Limit minus time taken [s]; negative when late, None when never reached."""
        return None if self.reached_after is None else self.limit - self.reached_after


def not_calculated(
    zone: str,
    injected_during: str,
    safe_state: Literal["open", "closed"],
    demanded_at: float,
    limit: float,
    trouble: str,
) -> Outcome:
    """The outcome of a zone of which nothing is known, since its case could not be calculated."""
    return Outcome(
        zone=zone,
        injected_during=injected_during,
        safe_state=safe_state,
        demanded_at=demanded_at,
        verdict="not calculated",
        decided=False,
        detected=False,
        alarm="",
        reached_after=None,
        limit=limit,
        lost_after=None,
        held=0.0,
        least_force=None,
        indicated="",
        false_indication=False,
        basis=None,
        trouble=trouble,
    )


Link = Literal["source", "escape", "blocked", "fed", "trapped", "brake", "instrument"]
LINKS: tuple[Link, ...] = get_args(Link)


@dataclass(frozen=True)
class Cause:
    """The first part in the chain from supply and command to the instruments that did not do its
    share."""

    component: str
    line: int
    """Of the document; 0: not from a document."""
    link: Link
    """source: the supply does not hold its pressure. escape: supply air leaves through it for the
    atmosphere. blocked: pressure is lost across it on the way to the zone. fed: supply air still
    reaches through it a zone that is to be vented. trapped: the zone's pressure stays before it on
    the way out. brake: the air is as commanded, the jaws are not.
    instrument: the jaws and the air are as commanded, it tells something else."""
    enters: str
    """Port at which the air comes; "" where it has no name."""
    leaves: str
    """Port at which it should leave, or does."""
    before: float
    """Pressure there, at `enters` [Pa gauge]; for a source what it should give."""
    after: float
    """Pressure at `leaves` [Pa gauge]."""
    backwards: bool
    """The air comes where it should leave: ports may be swapped or the part be the wrong way
    round."""
    position: float | None
    """Of its spool: 0 at rest, 1 where coil 14 puts it; None: it has no coil."""
    energised: bool | None
    """Whether current flows in a coil; None: it has none."""
    commanded_by: str
    """The other zone whose output it is; "" = none."""


Wrong = Literal["alarm", "late", "unsafe", "not reached", "air lost"]
WRONG: tuple[Wrong, ...] = get_args(Wrong)


@dataclass(frozen=True)
class Unsound:
    """What a sound circuit does not do without any fault."""

    zone: str
    """"" for the ride."""
    what: Wrong
    alarm: str
    """The alarm that was raised, "" if none."""
    time: float
    """When it came about [s]."""
    commanded: Literal["open", "closed", ""]
    """What the zone was commanded to be then; "" for the ride."""
    cause: Cause | None
    """None: no single part stands out."""
    allowed: float | None = None
    """The time limit that was over, of the logic or of the requirement [s]; None: it was none."""
    needed: float | None = None
    """How long it takes to get there, left alone [s from where the limit counts]; None: it does not
    get there, or it is no matter of time. With it `cause` is what was furthest behind when the
    limit was over, and the limit may be all that is wrong."""


@dataclass(frozen=True)
class Case:
    """One scenario of the campaign: an event injected in one operating state of the zones."""

    injection: Injection
    effect: str
    """The fault mode's effect, one sentence; "" of a loss."""
    standard: str
    injected_during: Condition
    """What was asked of the zones when the event was injected: "open" or "closed" (at rest there),
    "to open" or "to closed" (on the way)."""
    state: str
    """What the logic believed the zone concerned to be then; "" when several are, or unknown."""
    injected_at: float
    """[s]"""
    demand_at: float
    """When the ride stop comes [s]."""
    limit_from: float
    """When the time limit starts to run at the latest: the ride stop, or a loss of power [s]."""
    represents: tuple[str, ...]
    """Components that behave alike by symmetry and are covered by this case; itself first."""
    outcomes: tuple[Outcome, ...]
    replay: str
    """The command that shows it."""
    events: tuple[tuple[float, str], ...] = ()
    """The same as data: (time [s], sentence), in order; the ride stop is the last."""

    trouble: str = ""
    """Why it was not calculated, one sentence; "" when it was."""

    @property
    def calculated(self) -> bool:
        """False when nothing is known of it."""
        return all(outcome.verdict != "not calculated" for outcome in self.outcomes)

    @property
    def worst(self) -> Verdict:
        """The worst verdict of its zones."""
        return max((o.verdict for o in self.outcomes), key=VERDICTS.index, default="safe")


@dataclass(frozen=True)
class Trace:
    """Signals of one case against time, for the report; every list has the length of `time`."""

    case: Case
    time: tuple[float, ...]
    """[s]"""
    brake: dict[str, str]
    """Zone -> the brake that the signals below are of: the outcome's `furthest`."""
    required: dict[str, float | None]
    """Zone -> what is required of each brake: clamping force [N] where the safe state is closed,
    clearance [m] where it is open; None: nothing is."""
    pressure: dict[str, tuple[float, ...]]
    """Zone -> pressure in that brake [Pa gauge]."""
    position: dict[str, tuple[float, ...]]
    """Zone -> lining-to-fin distance at that brake [m]."""
    force: dict[str, tuple[float, ...]]
    """Zone -> clamping force of that brake [N]."""


@dataclass(frozen=True)
class Verification:
    """The result of `pneumo verify` on one document."""

    document: str
    ride: str
    site: str
    cases: tuple[Case, ...]
    traces: tuple[Trace, ...]
    """One for every case that is late or unsafe."""
    untested: tuple[str, ...]
    """Sentences: operating states that a zone never reached without any fault, so that nothing
    could be tried in them. One of them is enough for `all_safe` to be false."""
    assumptions: tuple[str, ...]
    """Sentences: what was held fixed and what was not run."""
    version: str
    unsound: tuple[Unsound, ...] = ()
    """What the circuit does wrong without any fault. It comes before every verdict: one of them is
    enough for `all_safe` to be false."""

    @property
    def finished(self) -> bool:
        """True when every case was calculated."""
        return all(case.calculated for case in self.cases)

    @property
    def all_safe(self) -> bool:
        """True when nothing went wrong without any fault, every state could be tried, every case
        was calculated, and no zone in any of them is late or unsafe."""
        tried = not self.unsound and not self.untested
        return tried and all(case.worst == "safe" for case in self.cases)
