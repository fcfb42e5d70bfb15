"""Sentences as they are typed: what may come next, and whether what stands there can be done."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from pneumo.circuit.sentence import ALL, SentenceError, kind_of, parse_action
from pneumo.components.base import Trait
from pneumo.live.frame import Frame
from pneumo.live.plant import Plant
from pneumo.live.request import Seat
from pneumo.quantity import QuantityError
from pneumo.units import INTERVAL, format_severity

OPERATOR = ("open", "close", "ride", "acknowledge", "reset")
BY_HAND = ("isolate", "restore", "drain", "override", "release", "force", "unforce", "switch")
TRAINER = ("fault", "clear", "power", "fin")


def verbs(seat: Seat) -> tuple[str, ...]:
    """First words that a seat may say."""
    return (*OPERATOR, *BY_HAND, *TRAINER) if seat == "trainer" else (*OPERATOR, *BY_HAND)


def coils(plant: Plant) -> tuple[str, ...]:
    """Every coil that has a manual override: "trim_valve_a.14"."""
    return tuple(
        f"{name}.{side}"
        for name, component in plant.circuit.components.items()
        for side in component.coils()
    )


def next_words(text: str, plant: Plant, frame: Frame, seat: Seat) -> tuple[str, ...]:
    """Words that may stand where the last word of a text is being typed, all that begin like it.

    A text that ends with a space asks for the word after it.
    """
    said, typed = _said(text)
    return tuple(word for word in _expected(said, plant, frame, seat) if word.startswith(typed))


def completed(text: str, word: str) -> str:
    """The text with its last word replaced by a whole one."""
    _, typed = _said(text)
    return text[: len(text) - len(typed)] + word


def example(seat: Seat) -> str:
    """Sentences that a seat may say."""
    between = "fault NAME stuck" if seat == "trainer" else "isolate NAME"
    return f"close all · {between} · in 5 s: ride stop"


def filled(text: str, plant: Plant, frame: Frame, seat: Seat) -> str:
    """The text with each word that is the beginning of exactly one that may stand there replaced
    by it: "isolate main" is "isolate main_shut_off"."""
    whole = ""
    for word in text.split():
        fit = dict.fromkeys(next_words(whole + word, plant, frame, seat))
        only = next(iter(fit)) if len(fit) == 1 else word
        whole += f"{only} "
    return whole.rstrip()


def problem(text: str, plant: Plant, seat: Seat = "trainer") -> str:
    """Why a sentence cannot be carried out, "" when it can. "in 5 s: SENTENCE" is one too."""
    try:
        said = _without_delay(text).split()
        if said and seat == "trainee" and said[0] not in verbs(seat):
            if said[0] in TRAINER:
                return f"'{said[0]}' is for the trainer's seat. {_may_say(seat)}"
            return f"'{said[0]}' is not a verb. {_may_say(seat)}"
        parse_action(
            _without_delay(text),
            plant.circuit.components,
            plant.circuit.zones,
            plant.circuit.gates,
        )
    except (SentenceError, QuantityError) as error:
        return str(error)
    return ""


def _may_say(seat: Seat) -> str:
    return f"This seat may say: {', '.join(verbs(seat))}."


def _without_delay(text: str) -> str:
    head, colon, rest = text.partition(":")
    words = head.split(maxsplit=1)
    if not colon or words[:1] != ["in"]:
        return text.strip()
    try:
        INTERVAL.parse(words[1] if len(words) > 1 else "")
    except QuantityError as error:
        raise SentenceError(error.found, "Write the delay like 'in 5 s: close all'.") from None
    return rest.strip()


def _said(text: str) -> tuple[list[str], str]:
    """Whole words before the one that is being typed (a delay left out), and that one."""
    if text.lstrip().startswith("in ") and ":" in text:
        text = text.partition(":")[2]
    words = text.split()
    if not words or text[-1:].isspace():
        return words, ""
    return words[:-1], words[-1]


def _expected(said: list[str], plant: Plant, frame: Frame, seat: Seat) -> Iterable[str]:
    if not said:
        return verbs(seat)
    if said[0] not in verbs(seat):
        return ()
    if said[0] == "fault":
        return _of_fault(said[1:], plant)
    if said[0] == "clear":
        standing = [f for f in frame.faults if len(said) == 1 or f.component == said[1]]
        place = len(said) - 1
        names = [(f.component, f.mode)[place] for f in standing] if place < 2 else []
        return dict.fromkeys(names)
    slots = _SLOTS.get(said[0], ())
    return slots[len(said) - 1](plant, said) if len(said) <= len(slots) else ()


def _of_fault(said: list[str], plant: Plant) -> Iterable[str]:
    components = plant.circuit.components
    if not said:
        return [name for name, component in components.items() if component.fault_modes()]
    if said[0] not in components:
        return ()
    modes = {mode.name: mode for mode in components[said[0]].fault_modes()}
    if len(said) == 1:
        return modes
    shape = ("over", "every")
    scale = modes[said[1]].severity if said[1] in modes else None
    if len(said) == 2 and scale is not None:
        return [*(format_severity(grade, scale.unit) for grade in scale.campaign), *shape]
    if said[-1] in (*shape, "for") or "over" in said or "for" in said:
        return ()  # a time, or nothing more
    return ("for",) if "every" in said else shape


_Slot = Callable[[Plant, list[str]], Iterable[str]]


def _zones(plant: Plant, said: list[str]) -> Iterable[str]:
    return (*plant.zones, ALL)


def _movable(plant: Plant, said: list[str]) -> Iterable[str]:
    return (*plant.zones, *plant.circuit.gates, ALL)


def _having(trait: Trait) -> _Slot:
    return lambda plant, said: plant.circuit.having(trait)


def _words(*words: str) -> _Slot:
    return lambda plant, said: words


def _signals(plant: Plant, said: list[str]) -> Iterable[str]:
    return (*(i.name for i in plant.inputs), *(o.name for o in plant.outputs))


def _coils(plant: Plant, said: list[str]) -> Iterable[str]:
    return coils(plant)


_SLOTS: dict[str, tuple[_Slot, ...]] = {
    "open": (_movable,),
    "close": (_movable,),
    "ride": (_words("stop"),),
    "acknowledge": (_zones,),
    "reset": (_zones,),
    "switch": (_words("on", "off"), _having("switchable")),
    "power": (_words("on", "off"),),
    "isolate": (_having("turnable"),),
    "restore": (_having("turnable"),),
    "drain": (_having("drainable"), _words("open", "shut")),
    "override": (_coils,),
    "release": (_coils,),
    "force": (_signals, _words("on", "off")),
    "unforce": (lambda plant, said: (*_signals(plant, said), ALL),),
    "fin": (lambda plant, said: plant.zones, _words("present", "absent")),
}


def named(plant: Plant, component: str) -> str:
    """The kind of a component in words: "valve 3/2", "quick exhaust"."""
    words = kind_of(plant.circuit.components[component]).split("_")
    if len(words) == 3 and words[1].isdigit():
        return f"{words[0]} {words[1]}/{words[2]}"
    return " ".join(words)
