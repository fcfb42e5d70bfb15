"""Sentences as they are typed: what may come next, and whether what stands there can be done."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from pneumo.circuit import targets
from pneumo.circuit.sentence import SentenceError, parse_action
from pneumo.circuit.verbs import (
    ALL,
    VERBS,
    AnySignal,
    Choice,
    Coil,
    Faulty,
    Jaws,
    Mode,
    Part,
    Plug,
    Repairable,
    Signal,
    Slot,
    Verb,
    Word,
    ZoneName,
    ahead,
)
from pneumo.components.base import kind_of
from pneumo.live.frame import Frame
from pneumo.live.plant import Plant
from pneumo.live.request import Seat
from pneumo.quantity import QuantityError
from pneumo.units import INTERVAL, format_severity


def verbs(seat: Seat) -> tuple[str, ...]:
    """First words that a seat may say."""
    return tuple(row.word for row in VERBS.values() if row.is_for(seat))


def coils(plant: Plant) -> tuple[str, ...]:
    """Every coil that has a manual override: "trim_valve_a.14"."""
    return targets.coils(plant.circuit.components)


def next_words(text: str, plant: Plant, frame: Frame, seat: Seat) -> tuple[str, ...]:
    """Words that may stand where the last word of a text is being typed, all that begin like it.

    A text that ends with a space asks for the word after it.
    """
    said, typed = _said(text)
    return tuple(word for word in _expected(said, plant, frame, seat) if word.startswith(typed))


def every(plant: Plant, frame: Frame, seat: Seat) -> Iterator[tuple[Verb, str]]:
    """Every sentence that a seat may say, with its row; a fault without severity and times."""
    for row in VERBS.values():
        if row.is_for(seat):
            for text in _whole(row, [row.word], plant, frame):
                yield row, text


def _whole(row: Verb, said: list[str], plant: Plant, frame: Frame) -> Iterator[str]:
    """The whole sentences that begin so."""
    place = len(said) - 1
    if place == (2 if row.takes_the_rest else len(row.slots)):
        yield " ".join(said)
        return
    for word in _following(row, said, plant, frame):
        yield from _whole(row, [*said, word], plant, frame)


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
            if said[0] in VERBS:
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
    later = ahead(text)
    if later is None:
        return text.strip()
    try:
        INTERVAL.parse(later[0])
    except QuantityError as error:
        raise SentenceError(error.found, "Write the delay like 'in 5 s: close all'.") from None
    return later[1].strip()


def _said(text: str) -> tuple[list[str], str]:
    """Whole words before the one that is being typed (a delay left out), and that one."""
    if (later := ahead(text)) is not None:
        text = later[1]
    words = text.split()
    if not words or text[-1:].isspace():
        return words, ""
    return words[:-1], words[-1]


def _expected(said: list[str], plant: Plant, frame: Frame, seat: Seat) -> Iterable[str]:
    if not said:
        return verbs(seat)
    if said[0] not in verbs(seat):
        return ()
    return _following(VERBS[said[0]], said, plant, frame)


def _following(row: Verb, said: list[str], plant: Plant, frame: Frame) -> Iterable[str]:
    place = len(said) - 1
    if row.takes_the_rest:
        return _of_fault(said[1:], plant)
    return offered(row.slots[place], said, plant, frame) if place < len(row.slots) else ()


def offered(slot: Slot, said: list[str], plant: Plant, frame: Frame) -> Iterable[str]:
    """Words that may stand at a place of a sentence, of which all before it is said."""
    match slot:
        case Word(word):
            return (word,)
        case Choice(_, words):
            return words
        case ZoneName():
            gates = plant.circuit.gates if slot.gates else ()
            return (*plant.zones, *gates, *((ALL,) if slot.every else ()))
        case Part():
            return plant.circuit.having(slot.trait)
        case Repairable(how):
            return plant.circuit.repairable(how)
        case Jaws():
            return (*plant.brakes, *plant.zones)
        case Plug():
            return targets.swappable(plant.circuit.components, said[1] if slot.unlike else "")
        case Coil():
            return coils(plant)
        case Signal() | AnySignal():
            names = (*(i.name for i in plant.inputs), *(o.name for o in plant.outputs))
            return (*names, ALL) if isinstance(slot, AnySignal) else names
        case Faulty():
            return dict.fromkeys(fault.component for fault in frame.faults)
        case Mode():
            return dict.fromkeys(f.mode for f in frame.faults if f.component == said[-1])
    return ()


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


def named(plant: Plant, component: str) -> str:
    """The kind of a component in words: "valve 3/2", "quick exhaust"."""
    words = kind_of(plant.circuit.components[component]).split("_")
    if len(words) == 3 and words[1].isdigit():
        return f"{words[0]} {words[1]}/{words[2]}"
    return " ".join(words)
