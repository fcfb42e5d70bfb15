"""What a technician can say in a drill: one frozen record for each, and how a line is read.

```text
begin                                    reads no further in the briefing
read trim_check.2, listen trim_hose_1 …  a test, in the words of `inspection.tests`
decay trim_check.2 for 5 min             two readings, and the time between them
cycle trim_valve_a.14                    one valve alone: on, off, and what is heard
ask, ask NOISE, log book                 the operator, the log book
lock NAME, unlock NAME                   a lock and a tag, on what is turned or switched off
prove NAME                               zero at a gauge, at every port of a part
permit                                   for tests on live wires
fit gauge NAME.2                         a tee with a test point where there is none
wait 5 min                               do nothing
suspect NAME [MODE], rule out NAME [MODE]   what it may be, and no longer may
write TEXT                               into one's notes
finding NAME MODE [or NAME MODE] [and NAME MODE], finding none
function test, hand back, hint, give up
isolate trim_shut_off, close trim …      everything else is a sentence of the ride
```
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

from pneumo.circuit.action import Action
from pneumo.circuit.circuit import Circuit
from pneumo.circuit.sentence import parse_action, parse_mode
from pneumo.circuit.spelling import near
from pneumo.circuit.verbs import VERBS, row_of, work_of
from pneumo.errors import InputError
from pneumo.harmless import quoted
from pneumo.inspection.tests import TESTS
from pneumo.quantity import QuantityError
from pneumo.units import DURATION

LONGEST_NOTE = 200
"""Letters of a note."""

LONGEST_WAIT = 4 * 3600.0
"""A line waits, or watches a gauge, for so long at most [s]: half a shift."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """A part and what is wrong with it."""

    component: str
    mode: str
    """"" where that is left open."""


@dataclass(frozen=True, slots=True)
class Begin:
    """The briefing has been read."""

    work: ClassVar[str] = ""


@dataclass(frozen=True, slots=True)
class GiveUp:
    """The drill is left undone."""

    work: ClassVar[str] = ""


@dataclass(frozen=True, slots=True)
class Examine:
    """One of `inspection.tests`."""

    test: str
    target: str

    @property
    def work(self) -> str:
        return TESTS[self.test].work


@dataclass(frozen=True, slots=True)
class Decay:
    """A gauge is watched for a while."""

    port: str
    seconds: float
    work: ClassVar[str] = "decay"


@dataclass(frozen=True, slots=True)
class Cycle:
    """One valve is switched alone, and heard."""

    component: str
    side: str
    work: ClassVar[str] = "cycle"


@dataclass(frozen=True, slots=True)
class Ask:
    """The operator is asked."""

    about: str
    """"" for all that is worth telling."""
    work: ClassVar[str] = "ask"


@dataclass(frozen=True, slots=True)
class LogBook:
    """The log book is read."""

    work: ClassVar[str] = "log_book"


@dataclass(frozen=True, slots=True)
class Lock:
    """A lock and a tag are put on, or taken off."""

    component: str
    on: bool
    work: ClassVar[str] = "lock"


@dataclass(frozen=True, slots=True)
class Prove:
    """Zero is proved at every port of a part."""

    component: str
    work: ClassVar[str] = "prove"


@dataclass(frozen=True, slots=True)
class Permit:
    """The permit for tests on live wires is fetched."""

    work: ClassVar[str] = "permit"


@dataclass(frozen=True, slots=True)
class FitGauge:
    """A tee with a test point is fitted at a port."""

    component: str
    port: str
    work: ClassVar[str] = "fit_gauge"


@dataclass(frozen=True, slots=True)
class Wait:
    """Nothing is done for a while."""

    seconds: float
    work: ClassVar[str] = ""


@dataclass(frozen=True, slots=True)
class Find:
    """The finding is stated."""

    faults: tuple[tuple[Suspect, ...], ...]
    """Of each fault the suspects, one of which it is; () = nothing is wrong."""
    work: ClassVar[str] = ""


@dataclass(frozen=True, slots=True)
class Consider:
    """Something is noted as a suspect, or ruled out. Thinking costs nothing."""

    suspect: Suspect
    on: bool
    work: ClassVar[str] = ""


@dataclass(frozen=True, slots=True)
class Write:
    """A note for oneself."""

    text: str
    work: ClassVar[str] = ""


@dataclass(frozen=True, slots=True)
class FunctionTest:
    """Every zone once closed and once open."""

    work: ClassVar[str] = "function_test"


@dataclass(frozen=True, slots=True)
class HandBack:
    """The ride goes back to its operator."""

    work: ClassVar[str] = "hand_back"


@dataclass(frozen=True, slots=True)
class Hint:
    """The next hint."""

    work: ClassVar[str] = "hint"


@dataclass(frozen=True, slots=True)
class Do:
    """A sentence of the ride: a command, a repair, a valve turned by hand."""

    action: Action

    @property
    def sentence(self) -> str:
        """As it is said."""
        return self.action.text

    @property
    def work(self) -> str:
        return work_of(self.action)

    @property
    def at_desk(self) -> bool:
        """A command: it has its effect at once, and its time is spent watching what comes of it."""
        return row_of(self.action).by == "desk"


Job = (
    Begin | GiveUp | Examine | Decay | Cycle | Ask | LogBook | Lock | Prove | Permit | FitGauge
    | Wait | Find | Consider | Write | FunctionTest | HandBack | Hint | Do
)  # fmt: skip


def read_job(circuit: Circuit, line: str) -> Job:
    """Reads a line.

    Raises
    ------
    InputError
        When it cannot be understood: what was found, what would be right.
    """
    first, *rest = line.split() or [""]
    reader = _READERS.get(first)
    if reader is not None:
        return reader(circuit, rest)
    if first in TESTS:
        if not rest:
            raise InputError(f"{quoted(line)} is not whole. Write '{TESTS[first].form}'.")
        return Examine(first, " ".join(rest))
    verb = VERBS.get(first)
    if verb is None or verb.by == "trainer":
        known = [*_READERS, *TESTS, *(row.word for row in VERBS.values() if row.by != "trainer")]
        hint = near(first, known, "Write help for all that can be done.")
        raise InputError(f"{quoted(first)} is nothing that can be done in a drill. {hint}")
    return Do(parse_action(line, circuit.components, circuit.zones, circuit.gates))


Reader = Callable[[Circuit, list[str]], Job]


def _alone(form: str, job: Job) -> Reader:
    """Of a line that has its words and no more."""

    def read(circuit: Circuit, rest: list[str]) -> Job:
        if rest != form.split()[1:]:
            raise InputError(f"Write '{form}'.")
        return job

    return read


def _component(circuit: Circuit, words: list[str], form: str) -> str:
    if len(words) != 1:
        raise InputError(f"Write '{form}'.")
    if words[0] not in circuit.components:
        hint = near(words[0], circuit.components, "Name a component of the circuit.")
        raise InputError(f"There is no component {quoted(words[0])}. {hint}")
    return words[0]


def _seconds(text: str) -> float:
    try:
        seconds = DURATION.parse(text)
    except QuantityError as error:
        raise InputError(f"{error.found} {error.wanted}") from None
    if seconds > LONGEST_WAIT:
        most = f"{LONGEST_WAIT / 3600:g} h"
        raise InputError(f"{quoted(text)} is too long at once. Wait {most} or less.")
    return seconds


def _lock(on: bool) -> Reader:
    word = "lock" if on else "unlock"

    def read(circuit: Circuit, rest: list[str]) -> Job:
        name = _component(circuit, rest, f"{word} NAME")
        if not {"turnable", "switchable", "feed"} & circuit.components[name].traits:
            raise InputError(
                f"{name} cannot be locked. Lock a shut-off valve, a supply or an electrical feed."
            )
        return Lock(name, on)

    return read


def _prove(circuit: Circuit, rest: list[str]) -> Job:
    return Prove(_component(circuit, rest, "prove NAME"))


def _fit(circuit: Circuit, rest: list[str]) -> Job:
    form = "fit gauge NAME.2"
    if len(rest) != 2 or rest[0] != "gauge":
        raise InputError(f"Write '{form}'.")
    name, _, port = rest[1].rpartition(".")
    name = _component(circuit, [name], form)
    ports = [each.name for each in circuit.components[name].ports()]
    if port not in ports:
        raise InputError(f"{name} has no port {quoted(port)}; it has {', '.join(ports) or 'none'}.")
    return FitGauge(name, port)


def _wait(circuit: Circuit, rest: list[str]) -> Job:
    return Wait(_seconds(" ".join(rest)))


def _decay(circuit: Circuit, rest: list[str]) -> Job:
    if len(rest) < 3 or rest[1] != "for":
        raise InputError("Write 'decay NAME.2 for 5 min'.")
    return Decay(rest[0], _seconds(" ".join(rest[2:])))


def _cycle(circuit: Circuit, rest: list[str]) -> Job:
    coils = [f"{n}.{side}" for n, part in circuit.components.items() for side in part.coils()]
    if len(rest) != 1 or rest[0] not in coils:
        hint = near(rest[0] if rest else "", coils, "Write 'cycle VALVE.14'.")
        raise InputError(f"There is no coil {quoted(' '.join(rest))}. {hint}")
    component, _, side = rest[0].rpartition(".")
    return Cycle(component, side)


def _ask(circuit: Circuit, rest: list[str]) -> Job:
    return Ask(" ".join(rest))


def _find(circuit: Circuit, rest: list[str]) -> Job:
    if rest == ["none"]:
        return Find(())
    faults = tuple(
        tuple(dict.fromkeys(_suspect(circuit, words.split()) for words in either.split(" or ")))
        for either in " ".join(rest).split(" and ")
    )
    return Find(faults)


def _consider(circuit: Circuit, words: list[str], form: str, on: bool) -> Job:
    if len(words) == 2:
        return Consider(_suspect(circuit, words), on)
    return Consider(Suspect(_component(circuit, words, form), ""), on)


def _keep(circuit: Circuit, rest: list[str]) -> Job:
    return _consider(circuit, rest, "suspect NAME [MODE]", True)


def _rule_out(circuit: Circuit, rest: list[str]) -> Job:
    form = "rule out NAME [MODE]"
    if rest[:1] != ["out"]:
        raise InputError(f"Write '{form}'.")
    return _consider(circuit, rest[1:], form, False)


def _write(circuit: Circuit, rest: list[str]) -> Job:
    text = " ".join(rest)
    if not 0 < len(text) <= LONGEST_NOTE:
        raise InputError(f"Write 'write TEXT', up to {LONGEST_NOTE} letters.")
    return Write(text)


def _suspect(circuit: Circuit, words: list[str]) -> Suspect:
    if len(words) != 2:
        raise InputError(
            "Write 'finding NAME MODE', with 'or NAME MODE' when it may be another, with "
            "'and NAME MODE' when two things are wrong, or 'finding none'."
        )
    return Suspect(words[0], parse_mode(words[0], words[1], circuit.components))


_READERS: dict[str, Reader] = {
    "begin": _alone("begin", Begin()),
    "decay": _decay,
    "cycle": _cycle,
    "ask": _ask,
    "log": _alone("log book", LogBook()),
    "lock": _lock(True),
    "unlock": _lock(False),
    "prove": _prove,
    "permit": _alone("permit", Permit()),
    "fit": _fit,
    "wait": _wait,
    "suspect": _keep,
    "rule": _rule_out,
    "write": _write,
    "finding": _find,
    "function": _alone("function test", FunctionTest()),
    "hand": _alone("hand back", HandBack()),
    "hint": _alone("hint", Hint()),
    "give": _alone("give up", GiveUp()),
}
"""First word of a line -> how the rest of it is read."""

OWN_WORDS = tuple(_READERS)
"""First words of lines that are neither a test nor a sentence of the ride."""
