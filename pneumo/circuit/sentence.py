"""The sentences of scenarios: "close trim", "fault trim_hose_2 leak 2 mm over 3 s".

Each sentence becomes one frozen action that names only what exists in the circuit. Faults have one
more form, used on the command line, which also says when:
"COMPONENT MODE [SEVERITY] [at TIME] [over TIME | every TIME for TIME]".
"""

from __future__ import annotations

import difflib
from bisect import bisect_left
from collections.abc import Collection, Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Protocol

from pneumo.circuit.action import (
    Acknowledge,
    Action,
    Clear,
    Command,
    Drain,
    FaultSpec,
    Fin,
    ForceInput,
    ForceOutput,
    HandOverride,
    Power,
    Reset,
    RideStop,
    Strike,
    Switch,
    Turn,
    Unforce,
)
from pneumo.circuit.former import MODES, STATES
from pneumo.components import kinds_with
from pneumo.components.base import Component, FaultMode, Severity, Trait
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

ALL = "all"
"""Target that stands for every zone, and for everything that is forced."""

_LIKE = 0.72
"""Ratio from which on one word may have been meant for another."""

_TIME_WORDS = ("at", "over", "every", "for")


class SentenceError(InputError):
    """A sentence that cannot be carried out: what was found, what would be right."""

    def __init__(self, found: str, wanted: str) -> None:
        self.found = found
        self.wanted = wanted
        super().__init__(f"{found} {wanted}")


class Outputs(Protocol):
    """What a sentence must know of a group of gates."""

    @property
    def outputs(self) -> Mapping[str, str]:
        """Coil "valve.14" -> when it is energised."""


class Watched(Protocol):
    """What a sentence must know of a limit for low pressure."""

    @property
    def transmitter(self) -> str:
        """Whose reading is watched."""


class Wiring(Outputs, Protocol):
    """What a sentence must know of a zone."""

    @property
    def low_pressure(self) -> Watched | None:
        """None: no transmitter guards the zone."""


def touched(action: Action) -> str | None:
    """The component whose air or moving parts an action changes apart from any twins; None: none.

    Compile the circuit with it apart. Forcing needs it not: it concerns what the controller reads
    and commands under one name.
    """
    match action:
        case Strike(fault):
            return fault.component
        case Switch(component) | Turn(component) | HandOverride(component) | Drain(component):
            return component
        case _:
            return None


_FORMS = {
    "open": "open ZONE",
    "close": "close ZONE",
    "ride": "ride stop",
    "acknowledge": "acknowledge ZONE",
    "reset": "reset ZONE",
    "switch": "switch on NAME",
    "power": "power off",
    "isolate": "isolate NAME",
    "restore": "restore NAME",
    "fin": "fin ZONE present",
    "fault": "fault COMPONENT MODE 2 mm",
    "clear": "clear COMPONENT MODE",
    "force": "force SWITCH on' or 'force VALVE.14 off",
    "unforce": "unforce NAME",
    "override": "override VALVE.14",
    "release": "release VALVE.14",
    "drain": "drain NAME open",
}


def parse_action(
    text: str,
    components: Mapping[str, Component],
    zones: Mapping[str, Wiring],
    gates: Mapping[str, Outputs] = MappingProxyType({}),
    at: float = 0.0,
) -> Action:
    """Reads one event sentence; `at` [s] becomes the onset of a fault.

    `components`, `zones` and `gates` are those of a circuit.

    Raises
    ------
    SentenceError
        When the sentence, a name, a fault mode or a severity is not right.
    """
    words = text.split()
    if not words:
        raise SentenceError("The sentence is empty.", f"Write one like {_FORMS['close']!r}.")
    verb, rest = words[0], words[1:]
    if verb not in _FORMS:
        raise SentenceError(
            f"{quoted(verb)} is not a verb of scenarios.",
            near(verb, _FORMS, f"Use one of {', '.join(_FORMS)}."),
        )
    if verb == "fault":
        return Strike(_fault(rest, components, at, with_onset=False))
    if verb == "ride":
        if rest != ["stop"]:
            raise _wrong_form(text, verb)
        return RideStop()
    if verb == "power":
        if rest not in (["on"], ["off"]):
            raise _wrong_form(text, verb)
        return Power(rest == ["on"])
    if verb in ("open", "close"):
        target = _one(text, verb, rest)
        _must_be_known(target, (ALL, *zones, *gates), "zone or group of gates")
        return Command(target, "open" if verb == "open" else "close")
    if verb in ("acknowledge", "reset"):
        target = _one(text, verb, rest)
        _must_be_known(target, (ALL, *zones), "zone")
        return Acknowledge(target) if verb == "acknowledge" else Reset(target)
    if verb in ("isolate", "restore"):
        name = _one(text, verb, rest)
        _must_have(name, components, "turnable", verb)
        return Turn(name, verb == "restore")
    if verb in ("override", "release"):
        component, side = _coil(_one(text, verb, rest), components, verb)
        return HandOverride(component, side, verb == "override")
    if verb == "unforce":
        name = _one(text, verb, rest)
        if name != ALL:
            _must_be_forceable(name, components, zones, gates, verb)
        return Unforce(name)
    if len(rest) != 2:
        raise _wrong_form(text, verb)
    if verb == "force":
        is_input = _must_be_forceable(rest[0], components, zones, gates, verb)
        state = rest[1].lower()
        if is_input:
            state = STATES.get(state, state)
        if state not in ("on", "off"):
            what = "input" if is_input else "output"
            raise SentenceError(f"{quoted(rest[1])} says nothing of an {what}.", "Use on or off.")
        if is_input:
            return ForceInput(rest[0], state == "on")
        component, _, side = rest[0].rpartition(".")
        return ForceOutput(component, side, state == "on")
    if verb == "drain":
        _must_have(rest[0], components, "drainable", verb)
        if rest[1] not in ("open", "shut"):
            raise SentenceError(f"{quoted(rest[1])} says nothing of a drain.", "Use open or shut.")
        return Drain(rest[0], rest[1] == "open")
    if verb == "switch":
        if rest[0] not in ("on", "off"):
            raise _wrong_form(text, verb)
        _must_have(rest[1], components, "switchable", verb)
        return Switch(rest[1], rest[0] == "on")
    if verb == "fin":
        _must_be_known(rest[0], zones, "zone")
        if rest[1] not in ("present", "absent"):
            raise SentenceError(
                f"{quoted(rest[1])} says nothing of a fin.", "Use present or absent."
            )
        return Fin(rest[0], rest[1] == "present")
    return Clear(rest[0], _mode(rest[0], rest[1], components).name)


def parse_fault(text: str, components: Mapping[str, Component], at: float = 0.0) -> FaultSpec:
    """Reads "COMPONENT MODE [SEVERITY] [at TIME] [over TIME | every TIME for TIME]".

    `at` [s] is the onset when the text gives none.

    Raises
    ------
    SentenceError
        When a name, the mode, the severity or a time is not right.
    """
    return _fault(text.split(), components, at, with_onset=True)


def near(word: str, known: Iterable[str], otherwise: str = "") -> str:
    """ "Did you mean 'trim'?" when a known word is close, else the other sentence."""
    match = _closest(word[:80], sorted(known))
    return f"Did you mean {quoted(match)}?" if match else otherwise


def _closest(word: str, known: Sequence[str]) -> str:
    """The sorted word that is most like another by difflib's ratio; "": none is like it.

    As `difflib.get_close_matches` finds it, but words that begin alike come first: they are the
    likely ones, and every other is then told off by the bounds of its ratio.
    """
    ratio = difflib.SequenceMatcher()
    ratio.set_seq2(word)
    best, found = _LIKE, ""
    at = bisect_left(known, word)
    for distance in range(max(at, len(known) - at)):
        for i in (at - 1 - distance, at + distance):
            if not 0 <= i < len(known):
                continue
            ratio.set_seq1(known[i])
            if ratio.real_quick_ratio() < best or ratio.quick_ratio() < best:
                continue
            is_like = ratio.ratio()
            if is_like > best or (is_like == best and known[i] > found):
                best, found = is_like, known[i]
    return found


def listed(words: Iterable[str], most: int = 8) -> str:
    """Words for a message: "a, b, c and 5 more"."""
    names = list(words)
    text = ", ".join(names[:most])
    return f"{text} and {len(names) - most} more" if len(names) > most else text


def _fault(
    words: list[str], components: Mapping[str, Component], at: float, *, with_onset: bool
) -> FaultSpec:
    if len(words) < 2:
        raise SentenceError(
            f"{quoted(' '.join(words))} is not a fault.",
            "Name a component and a fault mode, like 'trim_hose_2 leak 2 mm'.",
        )
    name = words[0]
    mode = _mode(name, words[1], components)
    start = next((i for i, word in enumerate(words) if i > 1 and word in _TIME_WORDS), len(words))
    severity = _severity(" ".join(words[2:start]), mode)
    times = _times(words[start:], with_onset)
    if "over" in times and "every" in times:
        raise SentenceError("The fault has both over and every.", "Use one of the two.")
    if ("every" in times) != ("for" in times):
        raise SentenceError(
            "every and for belong together.", "Write them like 'every 10 s for 2 s'."
        )
    every, on_for = times.get("every"), times.get("for")
    if every is not None and every < SHORTEST_PERIOD:
        raise SentenceError(
            f"The fault comes every {DURATION.text(every)}.",
            f"Give {DURATION.text(SHORTEST_PERIOD)} or more.",
        )
    if every is not None and on_for is not None and on_for >= every:
        raise SentenceError(
            "The fault is present longer than its period.", "Make 'for' shorter than 'every'."
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


def _mode(name: str, mode_name: str, components: Mapping[str, Component]) -> FaultMode:
    if name not in components:
        raise SentenceError(
            f"There is no component {quoted(name)}.",
            near(name, components, "Name a component of the circuit."),
        )
    modes = {mode.name: mode for mode in components[name].fault_modes()}
    mode_name = MODES.get(mode_name, mode_name)
    if mode_name not in modes:
        raise SentenceError(
            f"{quoted(mode_name)} is not a fault mode of {name}.",
            near(mode_name, modes, f"It has: {listed(sorted(modes), 30) or 'none'}."),
        )
    return modes[mode_name]


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
                f"{quoted(word)} is used in an event.",
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


def _one(text: str, verb: str, rest: list[str]) -> str:
    if len(rest) != 1:
        raise _wrong_form(text, verb)
    return rest[0]


def _wrong_form(text: str, verb: str) -> SentenceError:
    return SentenceError(f"{quoted(text)} is not a full sentence.", f"Write '{_FORMS[verb]}'.")


def _must_be_known(name: str, known: Collection[str], what: str) -> None:
    if name not in known:
        raise SentenceError(
            f"There is no {what} {quoted(name)}.", near(name, known, f"Use {listed(known)}.")
        )


def _must_have(name: str, components: Mapping[str, Component], trait: Trait, verb: str) -> None:
    able = [key for key, component in components.items() if trait in component.traits]
    if name in able:
        return
    if name not in components:
        found = f"There is no component {quoted(name)}."
    else:
        found = f"{name} is a {kind_of(components[name])}."
    wanted = f"{verb} acts on {' or '.join(kinds_with(trait))}: {listed(able) or 'there is none'}."
    raise SentenceError(found, near(name, able, wanted) if name not in components else wanted)


def _coil(name: str, components: Mapping[str, Component], verb: str) -> tuple[str, str]:
    """Component and side of a coil "valve.14"."""
    coils = _coils(components)
    if name in coils:
        component, _, side = name.rpartition(".")
        return component, side
    wanted = f"{verb} acts on coils: {listed(coils) or 'there is none'}."
    component = name.partition(".")[0]
    if component not in components:
        raise SentenceError(f"There is no coil {quoted(name)}.", near(name, coils, wanted))
    own = [f"{component}.{side}" for side in components[component].coils()]
    if not own:
        raise SentenceError(f"{component} is a {kind_of(components[component])}.", wanted)
    raise SentenceError(f"There is no coil {quoted(name)}.", f"Write {_either(own)}.")


def _either(names: Iterable[str]) -> str:
    return " or ".join(quoted(name) for name in names)


def _coils(components: Mapping[str, Component]) -> list[str]:
    return [f"{name}.{side}" for name, part in components.items() for side in part.coils()]


def _must_be_forceable(
    name: str,
    components: Mapping[str, Component],
    zones: Mapping[str, Wiring],
    gates: Mapping[str, Outputs],
    verb: str,
) -> bool:
    """True for an input of the controller, False for an output; else it says what is."""
    watched = [zone.low_pressure.transmitter for zone in zones.values() if zone.low_pressure]
    inputs = [key for key, component in components.items()
              if "contact" in component.traits or key in watched]  # fmt: skip
    outputs = [coil for owner in (*zones.values(), *gates.values()) for coil in owner.outputs]
    if name in inputs or name in outputs:
        return name in inputs
    known = (*inputs, *outputs)
    wanted = f"{verb} acts on inputs and outputs of the controller: {listed(known) or 'none'}."
    if name in components:
        found = f"{name} is a {kind_of(components[name])}."
        if "reading" in components[name].traits:
            found = f"{found[:-1]} that no zone watches for low pressure."
        own = [coil for coil in outputs if coil.rpartition(".")[0] == name]
        raise SentenceError(found, f"Write {_either(own)}." if own else wanted)
    if name in _coils(components):
        raise SentenceError(
            f"{name} is an output of no zone and no group of gates.",
            f"Outputs: {listed(outputs) or 'none'}.",
        )
    raise SentenceError(
        f"The controller has no input or output {quoted(name)}.", near(name, known, wanted)
    )


def kind_of(component: Component) -> str:
    """The word under `kind` in the document."""
    return str(getattr(component, "kind", ""))
