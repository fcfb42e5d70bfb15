"""The sentences of the document language: one row for each verb.

How a sentence is read (`sentence.parse_action`), said back (`said`), offered while it is typed,
cautioned against and who may say it is all read from its row. Nothing is loaded for the rows alone:
a screen that is just opening knows them, too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from pneumo.circuit.action import (
    Acknowledge,
    Block,
    Clear,
    Command,
    Drain,
    Fin,
    ForceInput,
    ForceOutput,
    HandOverride,
    Inject,
    Power,
    Repair,
    RepairKind,
    Reset,
    RideStop,
    Swap,
    Switch,
    Turn,
    Unforce,
)
from pneumo.circuit.former import DRAIN

ALL = "all"
"""Target that stands for every zone, and for everything that is forced."""


# slots: what may stand at a place of a sentence, and in which field of the record it goes


@dataclass(frozen=True)
class Word:
    """A word that must stand there."""

    word: str

    def say(self, action: Any) -> str:
        return self.word


@dataclass(frozen=True)
class Choice:
    """One of some words, each of which stands for a value."""

    field: str
    words: Mapping[str, Any]
    of: str = ""
    """What another word says nothing of: "a drain"; "": with another the sentence is not whole."""
    former: Mapping[str, str] | None = None
    """Earlier word -> word."""

    def today(self, word: str) -> str:
        """The word for an earlier one; any other is returned as it is."""
        return (self.former or {}).get(word, word)

    def say(self, action: Any) -> str:
        return next(w for w, value in self.words.items() if value == getattr(action, self.field))


@dataclass(frozen=True)
class Level(Choice):
    """What the signal before it is forced to: ON or OFF, in the words of earlier versions, too."""


@dataclass(frozen=True)
class Name:
    """A name."""

    field: str

    def say(self, action: Any) -> str:
        return str(getattr(action, self.field))


@dataclass(frozen=True)
class ZoneName(Name):
    """A zone, or also a group of gates, or also "all"."""

    gates: bool = False
    every: bool = False


@dataclass(frozen=True)
class Part(Name):
    """A component that has a trait."""

    trait: Literal["switchable", "turnable", "drainable"] = "switchable"
    ports: bool = False
    """Or one of its ports, "hose_1.2"."""


@dataclass(frozen=True)
class Repairable:
    """A component, or a coil "valve.14", with a fault mode that the repair ends."""

    how: RepairKind

    def say(self, action: Any) -> str:
        return f"{action.component}.{action.side}" if action.side else str(action.component)


@dataclass(frozen=True)
class Jaws(Name):
    """A brake, or a zone: all its brakes."""


@dataclass(frozen=True)
class Plug(Name):
    """A coil "valve.14", in one field; not the one in the field `unlike`, and of its voltage."""

    unlike: str = ""


@dataclass(frozen=True)
class Faulty(Name):
    """A component that has a fault."""


@dataclass(frozen=True)
class Mode(Name):
    """A fault mode of the component before it."""


@dataclass(frozen=True)
class Coil:
    """A coil "valve.14", in two fields: component and side."""

    def say(self, action: Any) -> str:
        return f"{action.component}.{action.side}"


@dataclass(frozen=True)
class Signal:
    """An input of the controller, in the field name, or an output, as a coil."""

    def say(self, action: Any) -> str:
        return str(action.name) if isinstance(action, ForceInput) else Coil().say(action)


@dataclass(frozen=True)
class AnySignal(Name):
    """An input or output of the controller, or "all"."""


@dataclass(frozen=True)
class FaultWords:
    """A whole fault, all words to the end: "trim_hose_2 leak 2 mm over 3 s"."""

    def say(self, action: Any) -> str:
        return str(action.fault.sentence)


Slot = (
    Word | Choice | ZoneName | Part | Repairable | Jaws | Plug | Faulty | Mode | Coil | Signal
    | AnySignal | FaultWords
)  # fmt: skip


# rows


@dataclass(frozen=True)
class Verb:
    """One verb: all there is to know of its sentences."""

    word: str
    slots: tuple[Slot, ...]
    forms: tuple[str, ...]
    """What whole ones look like."""
    records: tuple[type[Any], ...]
    """Actions it gives: that one whose fields its slots fill."""
    by: Literal["desk", "hand", "controller", "trainer"]
    """Said at the desk, done at the machine or set in the controller, from either seat; or only
    for a trainer to say."""
    about: str = ""
    """What it does, beside it in a list."""
    fixed: Mapping[str, Any] = field(default_factory=dict)
    """Fields of the record that the verb itself fills."""
    work: str = ""
    """Field of `circuit.Downtime` that tells how long it keeps the ride standing; "": no work of a
    technician."""
    work_at_coil: str = ""
    """The same when it is done to a coil alone; "": no less."""
    cautions: tuple[str, ...] = ()
    """Keys of `live.cautions.CAUTIONS`: what goes with an act at the machine."""
    cautions_when: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Word of a choice -> what goes with it instead."""
    disturbs: bool | str = False
    """Whether no operator of a sound ride does it (a fault, air or current taken away, a hand on a
    valve), or the word of a choice with which it is so."""

    def is_for(self, seat: Literal["trainer", "trainee"]) -> bool:
        """Whether a seat may say it."""
        return seat == "trainer" or self.by != "trainer"

    @property
    def takes_the_rest(self) -> bool:
        """Whether its slot takes as many words as there are."""
        return self.slots == (FaultWords(),)

    def cautions_of(self, words: list[str]) -> tuple[str, ...]:
        """Cautions of a sentence, whose words after the verb are given."""
        for slot, word in zip(self.slots, words, strict=False):
            if isinstance(slot, Choice):
                return self.cautions_when.get(slot.today(word), self.cautions)
        return self.cautions


ON_OFF = {"on": True, "off": False}
_OFF = ("codes", "turned off", "stored", "springs", "jaws")
_ON = ("codes", "turned on", "jaws")
_OVERRIDE = ("codes", "override", "jaws", "springs")
_FORCE = ("codes", "force", "jaws")

_OPENED = ("codes", "lock out", "stored", "test point", "jaws", "springs", "tested")
_ADJUSTED = ("codes", "lock out", "jaws", "tested")
_IN_JAWS = ("codes", "lock out", "stored", "jaws", "springs", "tested")
_WIRED = ("codes", "lock out", "dead", "jaws", "tested")


def _repair(
    how: RepairKind, about: str, cautions: tuple[str, ...], *forms: str, work_at_coil: str = ""
) -> Verb:
    return Verb(how, (Repairable(how),), forms, (Repair,), "hand", about, {"how": how}, how,
                work_at_coil, cautions)  # fmt: skip


_ROWS = (
    Verb("open", (ZoneName("target", gates=True, every=True),), ("open ZONE",), (Command,), "desk",
         "command", {"to": "open"}, work="command"),
    Verb("close", (ZoneName("target", gates=True, every=True),), ("close ZONE",), (Command,),
         "desk", "command", {"to": "close"}, work="command"),
    Verb("ride", (Word("stop"),), ("ride stop",), (RideStop,), "desk",
         "every zone to its safe state", work="command"),
    Verb("acknowledge", (ZoneName("target", every=True),), ("acknowledge ZONE",), (Acknowledge,),
         "desk", "its alarms", work="command"),
    Verb("reset", (ZoneName("target", every=True),), ("reset ZONE",), (Reset,), "desk",
         "leaves the faulted state", work="command"),
    Verb("isolate", (Part("component", "turnable"),), ("isolate NAME",), (Turn,), "hand",
         "turns the shut-off valve", {"in_service": False}, "turn", cautions=_OFF,
         disturbs=True),
    Verb("restore", (Part("component", "turnable"),), ("restore NAME",), (Turn,), "hand",
         "turns the shut-off valve", {"in_service": True}, "turn", cautions=_ON),
    Verb("drain", (Part("component", "drainable", ports=True),
                   Choice("open", {"open": True, "closed": False}, "a drain", DRAIN)),
         ("drain NAME open", "drain NAME.2 open"), (Drain,), "hand",
         "by hand, or at a test point or fitting", work="turn",
         cautions=("codes", "drain", "stored", "springs", "jaws"),
         cautions_when={"closed": ("codes", "turned on")}, disturbs="open"),
    Verb("override", (Coil(),), ("override VALVE.14",), (HandOverride,), "hand",
         "manual override held", {"held": True}, "override", cautions=_OVERRIDE,
         disturbs=True),
    Verb("release", (Coil(),), ("release VALVE.14",), (HandOverride,), "hand",
         "manual override released", {"held": False}, "override", cautions=_OVERRIDE),
    Verb("force", (Signal(), Level("on", ON_OFF)), ("force SWITCH on", "force VALVE.14 off"),
         (ForceInput, ForceOutput), "controller", "whatever its contact or the logic says",
         work="force", cautions=_FORCE, disturbs=True),
    Verb("unforce", (AnySignal("target"),), ("unforce NAME",), (Unforce,), "controller",
         "left to itself again", work="force", cautions=_FORCE),
    Verb("switch", (Choice("on", ON_OFF), Part("component", "switchable")), ("switch on NAME",),
         (Switch,), "hand", work="switch", cautions_when={"on": _ON, "off": _OFF},
         disturbs="off"),
    Verb("swap", (Plug("coil"), Plug("other", unlike="coil")), ("swap VALVE_A.14 VALVE_B.14",),
         (Swap,), "hand", "exchanges the plugs of two coils", work="swap", cautions=_WIRED,
         disturbs=True),
    Verb("block", (Jaws("target"),), ("block BRAKE",), (Block,), "hand",
         "a mechanical block holds the jaws", {"blocked": True}, "block",
         cautions=("codes", "lock out", "block", "jaws", "springs"), disturbs=True),
    Verb("unblock", (Jaws("target"),), ("unblock BRAKE",), (Block,), "hand",
         "takes the block out", {"blocked": False}, "block",
         cautions=("codes", "block", "turned on", "jaws", "springs")),
    _repair("replace", "fits a new part, or a new coil", (*_OPENED, "dead"),
            "replace NAME", "replace VALVE.14", work_at_coil="replace_coil"),
    _repair("clean", "takes it apart and cleans it", _OPENED, "clean NAME"),
    _repair("refit", "makes a joint or fitting tight", _OPENED, "refit NAME"),
    _repair("adjust", "sets it to its setting again", _ADJUSTED, "adjust NAME"),
    _repair("free", "frees what is seized", _IN_JAWS, "free NAME"),
    _repair("reline", "fits new linings", _IN_JAWS, "reline BRAKE"),
    _repair("reconnect", "remakes a wire, or moves it to a spare terminal", _WIRED,
            "reconnect VALVE.14", "reconnect SWITCH"),
    Verb("fault", (FaultWords(),), ("fault COMPONENT MODE 2 mm",), (Inject,), "trainer",
         disturbs=True),
    Verb("clear", (Faulty("component"), Mode("mode")), ("clear COMPONENT MODE",), (Clear,),
         "trainer", "puts the fault right", disturbs=True),
    Verb("power", (Choice("on", ON_OFF),), ("power off",), (Power,), "trainer",
         "current of every coil", cautions_when={"on": _ON, "off": _OFF}, disturbs="off"),
    Verb("fin", (ZoneName("zone"), Choice("present", {"present": True, "absent": False}, "a fin")),
         ("fin ZONE present",), (Fin,), "trainer", "the train enters or leaves",
         disturbs="absent"),
)  # fmt: skip

VERBS = {row.word: row for row in _ROWS}
"""First word of a sentence -> its row, in the order in which they are offered."""


def ahead(text: str) -> tuple[str, str] | None:
    """Delay and sentence of one that is said ahead, "in 5 s: close trim"; None: it is none."""
    first, _, rest = text.lstrip().partition(" ")
    delay, colon, sentence = rest.partition(":")
    return (delay.strip(), sentence) if first == "in" and colon else None


def parted(text: str) -> tuple[Verb | None, list[str]]:
    """Row of a sentence, perhaps one said ahead, and its other words, right or not; None: it begins
    with no verb."""
    later = ahead(text)
    word, *words = (text if later is None else later[1]).split() or [""]
    return VERBS.get(word), words


def row_of(action: Any) -> Verb:
    """The row that says an action."""
    return next(
        row
        for row in VERBS.values()
        if type(action) in row.records
        and all(getattr(action, name) == value for name, value in row.fixed.items())
    )


def disturbs(action: Any) -> bool:
    """Whether no operator of a sound ride does it."""
    row = row_of(action)
    if isinstance(row.disturbs, bool):
        return row.disturbs
    return any(isinstance(slot, Choice) and slot.say(action) == row.disturbs for slot in row.slots)


def said(action: Any) -> str:
    """The sentence of an action; `sentence.parse_action` gives it back."""
    row = row_of(action)
    return " ".join((row.word, *(slot.say(action) for slot in row.slots)))


def work_of(action: Any) -> str:
    """The field of `circuit.Downtime` that an action costs; "": none."""
    row = row_of(action)
    return row.work_at_coil if row.work_at_coil and action.side else row.work
