"""Lines of a drill as they are typed: what may come next, what they cost, and what is wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING

from pneumo.circuit.spelling import near
from pneumo.drill.entry import suspects
from pneumo.drill.job import OWN_WORDS, Decay, Examine, Job, Wait, read_job
from pneumo.drill.telling import minutes
from pneumo.errors import InputError
from pneumo.harmless import quoted
from pneumo.inspection.tests import TESTS, Target, targets
from tui import sentences

if TYPE_CHECKING:
    from pneumo.live.frame import Frame
    from pneumo.live.link import Link
    from pneumo.live.plant import Plant
    from pneumo.live.work import Work

Said = Sequence[str]
"""Whole words of a line, its first one left out."""
Following = Callable[[Said, "Plant", "Frame", "Work"], Iterable[str]]
"""Words that may come after them."""


SAYABLE = (
    f"tests: {' '.join((*TESTS, 'decay', 'cycle'))} · safe work: switch off, isolate, lock, prove, "
    "block; back: unlock, restore, switch on · ask, log book, wait, hint · help"
)
"""Under the list, while nothing is typed."""


def ahead(text: str, link: Link, work: Work, room: int) -> str:
    """What a line that is whole takes, and what may come next, in so many letters."""
    words = text.split()
    if not words:
        return SAYABLE
    cost = takes(text, link)
    shown = [f"Enter: takes {minutes(cost)}"] if cost else _forms(words, link)
    used = len("".join(shown))
    fit = [word for word in next_words(text, link, work) if word != words[-1]]
    for i, word in enumerate(fit):
        used += len(word) + 2
        if used > room:
            shown.append(f"… {len(fit) - i} more")
            break
        shown.append(word)
    return "  ".join(shown)


REPAIRS = ("replace", "clean", "refit", "adjust", "free", "reline", "reconnect")
"""First words of a repair, as the key goes through them."""


def _forms(words: list[str], link: Link) -> list[str]:
    """What a line that is begun needs, or what the fault that was named does."""
    match words:
        case ["finding"]:
            return ["NAME MODE [or NAME MODE] [and NAME MODE], or none:"]
        case ["suspect"]:
            return ["NAME, or NAME MODE; costs nothing. 'rule out NAME' takes it off. Parts:"]
        case [repair] if repair in REPAIRS:
            return ["F3 again: another kind of repair. This one:"]
        case ["finding" | "suspect", *_, name, mode]:
            part = link.plant.circuit.components.get(name)
            modes = part.fault_modes() if part is not None else ()
            return [each.effect for each in modes if each.name == mode]
    return []


def next_words(text: str, link: Link, work: Work) -> tuple[str, ...]:
    """Words that may stand where the last word of a line is being typed, all that begin like it.

    A text that ends with a space asks for the word after it.
    """
    words = text.split()
    typed = "" if not words or text[-1:].isspace() else words.pop()
    return tuple(word for word in _expected(words, link, work) if word.startswith(typed))


def filled(text: str, link: Link, work: Work) -> str:
    """The line with each word that begins exactly one that may stand there replaced by it."""
    whole = ""
    for word in text.split():
        fit = dict.fromkeys(next_words(whole + word, link, work))
        whole += f"{next(iter(fit)) if len(fit) == 1 else word} "
    return whole.rstrip()


def problem(text: str, link: Link) -> str:
    """Why a line cannot be understood; "" = it can."""
    try:
        job = read_job(link.plant.circuit, text)
    except InputError as error:
        return str(error)
    # the ride would say so, too, but only after its cautions have been read
    return _no_target(job, link.plant) if isinstance(job, Examine) else ""


_HAS: dict[Target, str] = {
    "port": "no port for a gauge", "part with air": "no air in it", "part": "nothing to look at",
    "coil": "no coil", "brake": "no jaws",
}  # fmt: skip


def _no_target(job: Examine, plant: Plant) -> str:
    """Why a test cannot be made where it is said; "" = it can."""
    parts, test = plant.circuit.components, TESTS[job.test]
    name = job.target if job.target in parts else job.target.rpartition(".")[0]
    if name not in parts:
        return f"There is no component {quoted(job.target)}. {near(job.target, parts)}".rstrip()
    fit = targets(plant.circuit, test.target)
    if any(name in (each, each.rpartition(".")[0]) for each in fit):
        return ""
    return f"{name} has {_HAS[test.target]}. Write '{test.form}'."


def takes(text: str, link: Link) -> float:
    """Downtime of a whole line [s]; 0 = none, or it is not whole."""
    if problem(text, link):
        return 0.0
    return _cost(read_job(link.plant.circuit, text), link.plant)


def _cost(job: Job, plant: Plant) -> float:
    cost = float(getattr(plant.circuit.downtime, job.work)) if job.work else 0.0
    return cost + (job.seconds if isinstance(job, Decay | Wait) else 0.0)


def _expected(said: list[str], link: Link, work: Work) -> Iterable[str]:
    plant, frame = link.plant, link.frame
    if not said:
        return (*OWN_WORDS, *TESTS, *sentences.verbs("trainee"))
    first, *rest = said
    if first in _OWN:
        return _OWN[first](rest, plant, frame, work)
    if first in TESTS:
        return () if rest else targets(plant.circuit, TESTS[first].target)
    return sentences.next_words(" ".join([*said, ""]), plant, frame, "trainee")


def _words(*form: str) -> Following:
    """Of a line that always has the same words."""
    return lambda said, plant, frame, work: form[len(said) : len(said) + 1]


def _first(names: Callable[[Plant, Frame, Work], Iterable[str]]) -> Following:
    """Of a line that has one name."""
    return lambda said, plant, frame, work: () if said else names(plant, frame, work)


def _lock(plant: Plant, frame: Frame, work: Work) -> Iterable[str]:
    off = (*frame.isolated, *frame.switched_off)
    return [name for name in off if name not in work.locked]


def _decay(said: Said, plant: Plant, frame: Frame, work: Work) -> Iterable[str]:
    return (
        ((targets(plant.circuit, "port"), ("for",), ("5",), ("min",))[len(said)])
        if len(said) < 4
        else ()
    )


def _fit(said: Said, plant: Plant, frame: Frame, work: Work) -> Iterable[str]:
    return (("gauge",), targets(plant.circuit, "port"))[len(said)] if len(said) < 2 else ()


def _finding(
    said: Said, plant: Plant, frame: Frame, work: Work, *, bare: bool = False
) -> Iterable[str]:
    components = plant.circuit.components
    place = len(said) % 3
    if place == 0:
        able = [name for name, part in components.items() if part.fault_modes()]
        return able if said or bare else (*able, "none")
    if place == 1:
        part = components.get(said[-1])
        return [mode.name for mode in part.fault_modes()] if part is not None else ()
    return ("or", "and")


def _suspect(said: Said, plant: Plant, frame: Frame, work: Work) -> Iterable[str]:
    return _finding(said, plant, frame, work, bare=True) if len(said) < 2 else ()


def _rule_out(said: Said, plant: Plant, frame: Frame, work: Work) -> Iterable[str]:
    among = suspects(work.entries)
    match said:
        case []:
            return ("out",)
        case [_]:
            return dict.fromkeys(each.component for each in among)
        case [_, name]:
            return [each.mode for each in among if each.component == name and each.mode]
    return ()


_OWN: dict[str, Following] = {
    "begin": _words(),
    "decay": _decay,
    "cycle": _first(lambda plant, frame, work: sentences.coils(plant)),
    "ask": _words(),
    "log": _words("book"),
    "lock": _first(_lock),
    "unlock": _first(lambda plant, frame, work: work.locked),
    "prove": _first(lambda plant, frame, work: targets(plant.circuit, "part with air")),
    "permit": _words(),
    "fit": _fit,
    "wait": _words("5", "min"),
    "suspect": _suspect,
    "rule": _rule_out,
    "write": _words(),
    "finding": _finding,
    "function": _words("test"),
    "hand": _words("back"),
    "hint": _words(),
    "give": _words("up"),
}
"""First word of a line of `drill.job` -> what may follow it."""
