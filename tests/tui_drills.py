"""Drills by hand, as a screen knows them: before it begins, at work, over. Nothing is simulated."""

from __future__ import annotations

from pneumo.drill.arc import State
from pneumo.drill.brief import Brief
from pneumo.drill.danger import Danger
from pneumo.drill.entry import (
    Answered,
    Done,
    Entry,
    Given,
    Locked,
    Proved,
    Raised,
    Repaired,
    Result,
    Shown,
    Stated,
    Stepped,
)
from pneumo.drill.job import Suspect
from pneumo.drill.outcome import Debrief, Took, Truth
from pneumo.live.work import Note, Work

BEGAN = 6.0

BRIEF = Brief(
    level=2,
    par=2700.0,
    complaint="The brake closes, but since this morning somebody hears air at the second gate, and "
    "the compressor runs more often than it did.",
    normal="Nothing is heard, and the compressor starts three times an hour.",
    at_hand="A test gauge, a multimeter, soapy water; hoses and coils in the store.",
)

FINDING = ((Suspect("hose_1", "leak"), Suspect("hose_2", "leak")),)


def _entry(
    at: float, line: str, result: Result, state: State = "at work", *dangers: Danger,
    alarms: tuple[Raised, ...] = (),
) -> Entry:  # fmt: skip
    began, ended = BEGAN + at - 30.0, BEGAN + at
    return Entry(began, ended, "trainee", line, "", result, dangers, state, alarms)


LATE = Raised(BEGAN + 35.0, "trim", "close time exceeded")

ENTRIES = (
    _entry(30.0, "begin", Stepped()),
    _entry(62.0, "close trim", Given(), alarms=(LATE,)),
    _entry(190.0, "ask noise", Answered("operator", ("I hear air when the brake is closed.",))),
    _entry(250.0, "finding hose_1 leak or hose_2 leak", Stated(FINDING), "finding stated"),
    _entry(310.0, "isolate main", Done(), "finding stated"),
    _entry(490.0, "lock main", Locked("main", True), "finding stated"),
    _entry(730.0, "prove hose_1", Proved("hose_1", (Shown("manifold.1", 0.0),), True),
           "finding stated"),
    _entry(755.0, "refit hose_1", Repaired("refit", "hose_1", ""), "repaired",
           Danger("not isolated", "hose_1", names=("supply",))),
)  # fmt: skip

OVER = Debrief(
    title="It hisses", state="handed back", verdict="partly right",
    reasons=("only suspected", "unsafe"),
    truth=(Truth("hose_1", "leak", "hose_1 leak 3 mm", 1.0, BEGAN + 755.0, "among", None,
                 "Air escapes at a joint."),),
    finding=FINDING, entries=ENTRIES, began=BEGAN, spent=1500.0, par=2700.0,
    minutes=(Took("tests", 600.0), Took("safe work", 480.0), Took("waiting and thinking", 420.0)),
    needless=(), idle=(), unsafe=(7,), left=(),
)  # fmt: skip

_BRIEFING = Work(
    title="It hisses", brief=BRIEF, hints=1, state="briefing", began=BEGAN, doing="", until=0.0,
    waiting=0, locked=(), proved=(), live=False, entries=(), notes=(), debrief=None,
)  # fmt: skip

STAGES: dict[str, Work] = {
    "briefing": _BRIEFING,
    "work": _BRIEFING._replace(
        state="repaired", doing="function test", until=BEGAN + 1200.0, waiting=1,
        locked=("main",), proved=("hose_1",), entries=ENTRIES,
        notes=(Note(BEGAN + 500.0, "Look at what is still open."),),
    ),
    "debrief": _BRIEFING._replace(state="handed back", entries=ENTRIES, debrief=OVER),
}  # fmt: skip
