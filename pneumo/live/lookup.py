"""What can be looked up in a drill at no cost: what can be said, the parts, what can be wrong."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.circuit.spelling import near
from pneumo.errors import InputError
from pneumo.harmless import quoted
from pneumo.inspection.tests import TESTS

HELP: tuple[tuple[str, str], ...] = (
    ("Tests", "{tests}, decay NAME.2 for 5 min, cycle VALVE.14, ask [about], log book, wait 5 min"),
    ("Safe work", "isolate NAME, switch off NAME, drain NAME open, lock NAME, prove NAME, block "
     "BRAKE, permit, fit gauge NAME.2"),
    ("Put back", "unlock NAME, restore NAME, switch on NAME, drain NAME closed, unblock BRAKE"),
    ("Ride", "open ZONE, close ZONE, ride stop, acknowledge ZONE, reset ZONE, force, unforce, "
     "override, release, swap VALVE.14 VALVE.14"),
    ("Thinking", "suspect NAME [MODE], rule out NAME [MODE], write TEXT (at no cost)"),
    ("Finding", "finding NAME MODE [or NAME MODE] [and NAME MODE], finding none"),
    ("Repair", "replace NAME, replace VALVE.14, clean, refit, adjust, free, reline, reconnect "
     "NAME"),
    ("End", "function test, hand back, give up, hint"),
    ("Look up", "parts, parts NAME (what it is joined to), faults NAME (what can be wrong with "
     "it), {more}"),
)  # fmt: skip
"""Everything that can be said; `more`: what else can be looked up where it is said."""

OPEN = "open to the air"


def help_lines(more: str) -> list[str]:
    """Everything that can be said, line by line; a form is not torn apart."""
    forms = ", ".join(row.form for row in TESTS.values())
    lines: list[str] = []
    for title, words in HELP:
        whole = words.format(tests=forms, more=more)
        # a form is kept together: its blanks do not break
        bound = ", ".join(form.replace(" ", "\u00a0") for form in whole.split(", "))
        wrapped = textwrap.wrap(bound, 76, initial_indent=f"{title:<12}",
                                subsequent_indent=" " * 12, break_long_words=False)  # fmt: skip
        lines += [line.replace("\u00a0", " ") for line in wrapped]
    return lines


def looked_up(circuit: Circuit, line: str) -> Iterator[str] | None:
    """What is answered to a line that looks something up; None: it does not.

    Raises
    ------
    InputError
        When there is nothing of that name.
    """
    first, _, rest = line.strip().partition(" ")
    if first == "parts":
        return part_lines(circuit, rest.strip())
    if first == "faults":
        return fault_lines(circuit, rest.strip())
    return None


def part_lines(circuit: Circuit, text: str) -> Iterator[str]:
    """Of one part where it is joined to others; else all whose name or kind has a text in it."""
    if text in circuit.components:
        yield from _one(circuit, text)
        return
    found = [
        f"{name}: {part.title}"
        for name, part in circuit.components.items()
        if text in name or text in part.title
    ]
    if not found:
        raise InputError(f"There is no part {quoted(text)}. Write parts for all of them.")
    yield from found


def joints(circuit: Circuit) -> dict[PortRef, str]:
    """What each connected port is joined to, in words; a port that is not there is `OPEN`."""
    to: dict[PortRef, str] = {}
    for link in circuit.connections:
        if link.b is None:
            to[link.a] = "plugged" if link.end == "plug" else OPEN
        else:
            to[link.a], to[link.b] = str(link.b), str(link.a)
    return to


def _one(circuit: Circuit, name: str) -> Iterator[str]:
    part = circuit.components[name]
    yield f"{name}: {part.title}"
    to = joints(circuit)
    for port in part.ports():
        yield f"  port {port.name}: {to.get(PortRef(name, port.name), OPEN)}"
    if feed := getattr(part, "feed", None):
        yield f"  fed by {feed}"
    if of := getattr(part, "of", None):
        yield f"  watches {of}"


def fault_lines(circuit: Circuit, name: str) -> Iterator[str]:
    """What can be wrong with a part, and what that does."""
    part = circuit.components.get(name)
    if part is None:
        hint = near(name, circuit.components, "Write parts for all of them.")
        raise InputError(f"There is no part {quoted(name)}. {hint}")
    for mode in part.fault_modes():
        yield f"{mode.name}: {mode.effect}"
