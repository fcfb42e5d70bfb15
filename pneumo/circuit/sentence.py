"""The sentences of scenarios: "close trim", "fault trim_hose_2 leak 2 mm over 3 s".

Each sentence becomes one frozen action that names only what exists in the circuit. Faults have one
more form, used on the command line, which also says when:
"COMPONENT MODE [SEVERITY] [at TIME] [over TIME | every TIME for TIME]".
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import singledispatch
from types import MappingProxyType
from typing import Any

from pneumo.circuit.action import Action, FaultSpec
from pneumo.circuit.circuit import GateGroup, Zone
from pneumo.circuit.former import MODES, STATES
from pneumo.circuit.spelling import listed, near
from pneumo.circuit.targets import brakes, coil_voltage, coils, repairable
from pneumo.circuit.verbs import (
    ALL,
    VERBS,
    AnySignal,
    Choice,
    Coil,
    FaultWords,
    Faulty,
    Jaws,
    Level,
    Mode,
    Part,
    Plug,
    Repairable,
    Signal,
    Verb,
    Word,
    ZoneName,
    row_of,
)
from pneumo.components import kinds_with
from pneumo.components.base import Component, FaultMode, Severity, kind_of
from pneumo.errors import InputError
from pneumo.harmless import quoted
from pneumo.quantity import Quantity, QuantityError
from pneumo.units import (
    DURATION,
    INTERVAL,
    format_severity,
    parse_severity,
)

SHORTEST_PERIOD = 1e-3
"""Period of an intermittent fault at least [s]: a loose contact chatters no faster; estimated."""

_TIME_WORDS = ("at", "over", "every", "for")


class SentenceError(InputError):
    """A sentence that cannot be carried out: what was found, what would be right."""

    def __init__(self, found: str, wanted: str) -> None:
        self.found = found
        self.wanted = wanted
        super().__init__(f"{found} {wanted}")


def touched(action: Any) -> tuple[str, ...]:
    """Components that an action changes apart from any twins.

    Compile the circuit with them apart. Forcing needs it not: it concerns what the controller reads
    and commands under one name. Nor do the jaws of a whole zone: they stay alike.
    """
    found: list[str] = []
    for slot in row_of(action).slots:
        match slot:
            case Part() | Jaws():
                found.append(slot.say(action).partition(".")[0])
            case Coil() | Repairable():
                found.append(str(action.component))
            case Plug():
                found.append(slot.say(action).rpartition(".")[0])
            case FaultWords():
                found.append(str(action.fault.component))
    return tuple(found)


@dataclass(frozen=True)
class _Reader:
    """A sentence under way, and the names it may use."""

    text: str
    verb: Verb
    components: Mapping[str, Component]
    zones: Mapping[str, Zone]
    gates: Mapping[str, GateGroup]
    at: float
    fields: dict[str, Any]
    """Fields of the record that are filled."""

    def wrong_form(self) -> SentenceError:
        """The error for a sentence that is not whole."""
        return SentenceError(
            f"{quoted(self.text)} is not a full sentence.", f"Write {_either(self.verb.forms)}."
        )


def parse_action(
    text: str,
    components: Mapping[str, Component],
    zones: Mapping[str, Zone],
    gates: Mapping[str, GateGroup] = MappingProxyType({}),
    at: float = 0.0,
) -> Action:
    """Reads one event sentence; `at` [s] becomes the onset of a fault.

    `components`, `zones` and `gates` are those of a circuit.

    Raises
    ------
    SentenceError
        When the sentence, a name, a fault mode or a severity is not right.
    """
    word, *rest = text.split() or [""]
    if not word:
        raise SentenceError(
            "The sentence is empty.", f"Write one like {quoted(VERBS['close'].forms[0])}."
        )
    verb = VERBS.get(word)
    if verb is None:
        raise SentenceError(
            f"{quoted(word)} is not a verb of scenarios.",
            near(word, VERBS, f"Use one of {', '.join(VERBS)}."),
        )
    reader = _Reader(text, verb, components, zones, gates, at, dict(verb.fixed))
    if verb.takes_the_rest:
        rest = [" ".join(rest)]
    if len(rest) != len(verb.slots):
        raise reader.wrong_form()
    for slot, said in zip(verb.slots, rest, strict=True):
        reader.fields.update(_read(slot, said, reader))
    record = next(r for r in verb.records if r.__dataclass_fields__.keys() == reader.fields.keys())
    action: Action = record(**reader.fields)
    return action


@singledispatch
def _read(slot: Any, word: str, reader: _Reader) -> dict[str, Any]:
    """The fields that a word fills at a place of a sentence. Raises SentenceError."""
    raise TypeError(f"{slot!r} is no slot")


@_read.register(Word)
def _(slot: Word, word: str, reader: _Reader) -> dict[str, Any]:
    if word != slot.word:
        raise reader.wrong_form()
    return {}


@_read.register(Choice)
def _(slot: Choice, word: str, reader: _Reader) -> dict[str, Any]:
    word = slot.today(word)
    if word in slot.words:
        return {slot.field: slot.words[word]}
    if not slot.of:
        raise reader.wrong_form()
    raise _says_nothing(word, slot.of, slot)


@_read.register(Level)
def _(slot: Level, word: str, reader: _Reader) -> dict[str, Any]:
    is_input = "name" in reader.fields
    state = STATES.get(word.lower(), word) if is_input else word
    if state.lower() not in slot.words:
        raise _says_nothing(word, "an input" if is_input else "an output", slot)
    return {slot.field: slot.words[state.lower()]}


def _says_nothing(word: str, of: str, slot: Choice) -> SentenceError:
    return SentenceError(
        f"{quoted(word)} is not a state of {of}.", f"Use {' or '.join(slot.words)}."
    )


@_read.register(ZoneName)
def _(slot: ZoneName, word: str, reader: _Reader) -> dict[str, Any]:
    known = (*([ALL] if slot.every else []), *reader.zones, *(reader.gates if slot.gates else ()))
    what = "zone or group of gates" if slot.gates else "zone"
    if word not in known:
        raise SentenceError(
            f"There is no {what} {quoted(word)}.", near(word, known, f"Use {listed(known)}.")
        )
    return {slot.field: word}


@_read.register(Part)
def _(slot: Part, word: str, reader: _Reader) -> dict[str, Any]:
    components = reader.components
    able = [name for name, component in components.items() if slot.trait in component.traits]
    name, _, port = word.rpartition(".")
    ports = [p.name for p in components[name].ports()] if name in components else []
    if word in able or (slot.ports and port in ports):
        return {slot.field: word}
    kinds = " or ".join(kinds_with(slot.trait))
    wanted = f"{reader.verb.word} acts on {kinds}: {listed(able) or 'there is none'}."
    if slot.ports:
        wanted = f"{wanted[:-1]}; or on a port, as in {quoted('hose_1.2')}."
    if word in components:
        raise SentenceError(f"{word} is a {kind_of(components[word])}.", wanted)
    if slot.ports and ports:
        own = _either(f"{name}.{port}" for port in ports)
        raise SentenceError(f"There is no port {quoted(word)}.", f"Write {own}.")
    raise SentenceError(f"There is no component {quoted(word)}.", near(word, able, wanted))


@_read.register(Repairable)
def _(slot: Repairable, word: str, reader: _Reader) -> dict[str, Any]:
    components, by = reader.components, slot.how
    name, dot, side = word.partition(".")
    if name in components and word in repairable(components, by, (name,)):
        return {"component": name, "side": side}
    every = repairable(components, by)
    wanted = f"{reader.verb.word} acts on: {listed(every) or 'nothing here'}."
    if name not in components:
        raise SentenceError(f"There is no component {quoted(word)}.", near(word, every, wanted))
    if own := repairable(components, by, (name,)):
        found = f"There is no {quoted(word)} to {by}." if dot else f"{name} has coils."
        raise SentenceError(found, f"Write {_either(own)}.")
    raise SentenceError(
        f"{name} is a {kind_of(components[name])}: no fault of it is ended by {by}.", wanted
    )


@_read.register(Jaws)
def _(slot: Jaws, word: str, reader: _Reader) -> dict[str, Any]:
    known = (*brakes(reader.components), *reader.zones)
    if word in known:
        return {slot.field: word}
    wanted = f"{reader.verb.word} acts on a brake, or a zone: {listed(known) or 'there is none'}."
    if word in reader.components:
        raise SentenceError(f"{word} is a {kind_of(reader.components[word])}.", wanted)
    raise SentenceError(f"There is no brake or zone {quoted(word)}.", near(word, known, wanted))


@_read.register(Plug)
def _(slot: Plug, word: str, reader: _Reader) -> dict[str, Any]:
    component, _ = _coil(word, reader)
    if slot.unlike:
        other = reader.fields[slot.unlike]
        if other == word:
            raise SentenceError(f"{word} is named twice.", "Name two coils.")
        voltages = [
            coil_voltage(reader.components, name) for name in (other.rpartition(".")[0], component)
        ]
        if voltages[0] != voltages[1]:
            raise SentenceError(
                f"{other} is a coil for {voltages[0]:g} V, {word} one for {voltages[1]:g} V.",
                "Swap the plugs of coils of one voltage.",
            )
    return {slot.field: word}


@_read.register(Coil)
def _(slot: Coil, word: str, reader: _Reader) -> dict[str, Any]:
    component, side = _coil(word, reader)
    return {"component": component, "side": side}


def _coil(word: str, reader: _Reader) -> tuple[str, str]:
    """Component and side of a coil. Raises SentenceError."""
    components = reader.components
    known = coils(components)
    component, _, side = word.rpartition(".")
    if word in known:
        return component, side
    wanted = f"{reader.verb.word} acts on coils: {listed(known) or 'there is none'}."
    component = word.partition(".")[0]
    if component not in components:
        raise SentenceError(f"There is no coil {quoted(word)}.", near(word, known, wanted))
    own = [f"{component}.{side}" for side in components[component].coils()]
    if not own:
        raise SentenceError(f"{component} is a {kind_of(components[component])}.", wanted)
    raise SentenceError(f"There is no coil {quoted(word)}.", f"Write {_either(own)}.")


@_read.register(Signal)
def _(slot: Signal, word: str, reader: _Reader) -> dict[str, Any]:
    if _is_input(word, reader):
        return {"name": word}
    component, _, side = word.rpartition(".")
    return {"component": component, "side": side}


@_read.register(AnySignal)
def _(slot: AnySignal, word: str, reader: _Reader) -> dict[str, Any]:
    if word != ALL:
        _is_input(word, reader)
    return {slot.field: word}


@_read.register(Faulty)
def _(slot: Faulty, word: str, reader: _Reader) -> dict[str, Any]:
    _must_be_there(word, reader.components)
    return {slot.field: word}


@_read.register(Mode)
def _(slot: Mode, word: str, reader: _Reader) -> dict[str, Any]:
    return {slot.field: _mode(reader.fields["component"], word, reader.components).name}


@_read.register(FaultWords)
def _(slot: FaultWords, word: str, reader: _Reader) -> dict[str, Any]:
    return {"fault": _fault(word.split(), reader.components, reader.at, with_onset=False)}


def parse_fault(text: str, components: Mapping[str, Component], at: float = 0.0) -> FaultSpec:
    """Reads "COMPONENT MODE [SEVERITY] [at TIME] [over TIME | every TIME for TIME]".

    `at` [s] is the onset when the text gives none.

    Raises
    ------
    SentenceError
        When a name, the mode, the severity or a time is not right.
    """
    return _fault(text.split(), components, at, with_onset=True)


def _fault(
    words: list[str], components: Mapping[str, Component], at: float, *, with_onset: bool
) -> FaultSpec:
    if len(words) < 2:
        raise SentenceError(
            f"{quoted(' '.join(words))} is not a fault.",
            "Write a component and a fault mode, for example 'trim_hose_2 leak 2 mm'.",
        )
    name = words[0]
    mode = _mode(name, words[1], components)
    start = next((i for i, word in enumerate(words) if i > 1 and word in _TIME_WORDS), len(words))
    severity = _severity(" ".join(words[2:start]), mode)
    times = _times(words[start:], with_onset)
    if "over" in times and "every" in times:
        raise SentenceError("The fault has both over and every.", "Use one of the two.")
    if ("every" in times) != ("for" in times):
        raise SentenceError("every and for go together.", "Write them like 'every 10 s for 2 s'.")
    every, on_for = times.get("every"), times.get("for")
    if every is not None and every < SHORTEST_PERIOD:
        raise SentenceError(
            f"The fault repeats every {DURATION.text(every)}.",
            f"It must be {DURATION.text(SHORTEST_PERIOD)} or more.",
        )
    if every is not None and on_for is not None and on_for >= every:
        raise SentenceError(
            "The fault lasts longer than its period.", "Make 'for' shorter than 'every'."
        )
    return FaultSpec(
        component=name,
        mode=mode.name,
        severity=severity,
        unit=mode.severity.unit if mode.severity else "",
        at=times.get("at", at),
        over=times.get("over"),
        every=every,
        on_for=on_for,
    )


def _must_be_there(name: str, components: Mapping[str, Component]) -> None:
    if name not in components:
        raise SentenceError(
            f"There is no component {quoted(name)}.",
            near(name, components, "Name a component of the circuit."),
        )


def _mode(name: str, mode_name: str, components: Mapping[str, Component]) -> FaultMode:
    _must_be_there(name, components)
    modes = {mode.name: mode for mode in components[name].fault_modes()}
    mode_name = MODES.get(mode_name, mode_name)
    if mode_name not in modes:
        raise SentenceError(
            f"{quoted(mode_name)} is not a fault mode of {name}.",
            near(mode_name, modes, f"It has: {listed(sorted(modes), 30) or 'none'}."),
        )
    return modes[mode_name]


def parse_mode(name: str, mode: str, components: Mapping[str, Component]) -> str:
    """A fault mode of a component, an earlier word in its present form.

    Raises
    ------
    SentenceError
        When there is no such component or mode.
    """
    return _mode(name, mode, components).name


def _severity(text: str, mode: FaultMode) -> float | None:
    scale = mode.severity
    if scale is None:
        if text:
            raise SentenceError(
                f"{quoted(text)} follows {mode.name}, which has no severity.",
                "Leave it out, or begin a time with at, over or every.",
            )
        return None
    if not text:
        return scale.default
    try:
        value = parse_severity(text, scale.unit)
    except QuantityError as error:
        raise SentenceError(error.found, f"{error.wanted} {_grades(scale)}") from None
    if value != scale.none and not scale.low <= value <= scale.high:
        raise SentenceError(f"{quoted(text)} is out of range for {mode.name}.", _grades(scale))
    return value


def _grades(scale: Severity) -> str:
    low = format_severity(scale.low, scale.unit)
    high = format_severity(scale.high, scale.unit)
    return f"Its severity goes from {low} to {high}."


def _times(words: list[str], with_onset: bool) -> dict[str, float]:
    allowed = _TIME_WORDS if with_onset else _TIME_WORDS[1:]
    times: dict[str, float] = {}
    position = 0
    while position < len(words):
        word = words[position]
        end = position + 1
        while end < len(words) and words[end] not in _TIME_WORDS:
            end += 1
        if word not in allowed:
            raise SentenceError(
                f"{quoted(word)} is not allowed in an event.",
                "The event itself says when: write 'at 5 s: fault ...'.",
            )
        if word in times:
            raise SentenceError(f"{quoted(word)} is given twice.", "Give it once.")
        quantity: Quantity = DURATION if word == "at" else INTERVAL
        try:
            times[word] = quantity.parse(" ".join(words[position + 1 : end]))
        except QuantityError as error:
            raise SentenceError(f"After {word}: {error.found}", error.wanted) from None
        position = end
    return times


def _either(names: Iterable[str]) -> str:
    return " or ".join(quoted(name) for name in names)


def _is_input(name: str, reader: _Reader) -> bool:
    """True for an input of the controller, False for an output; else it says what is."""
    components = reader.components
    owners: list[Zone | GateGroup] = [*reader.zones.values(), *reader.gates.values()]
    limits = [zone.low_pressure for zone in reader.zones.values()]
    watched = [limit.transmitter for limit in limits if limit is not None]
    inputs = [key for key, component in components.items()
              if "contact" in component.traits or key in watched]  # fmt: skip
    outputs = [coil for owner in owners for coil in owner.outputs]
    if name in inputs or name in outputs:
        return name in inputs
    known = (*inputs, *outputs)
    wanted = (
        f"{reader.verb.word} acts on inputs and outputs of the controller: "
        f"{listed(known) or 'none'}."
    )
    if name in components:
        found = f"{name} is a {kind_of(components[name])}."
        if "reading" in components[name].traits:
            found = f"{found[:-1]} that no zone watches for low pressure."
        own = [coil for coil in outputs if coil.rpartition(".")[0] == name]
        raise SentenceError(found, f"Write {_either(own)}." if own else wanted)
    if name in coils(components):
        raise SentenceError(
            f"{name} is an output of no zone and no group of gates.",
            f"Outputs: {listed(outputs) or 'none'}.",
        )
    raise SentenceError(
        f"The controller has no input or output {quoted(name)}.", near(name, known, wanted)
    )
