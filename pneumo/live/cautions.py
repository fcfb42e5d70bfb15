"""What is said before somebody goes to the machine: every caution, and what it goes with.

A seat that joins from another terminal shows them without a simulator.
"""

from __future__ import annotations

from pneumo.circuit.verbs import parted
from pneumo.inspection.tests import TESTS

CAUTIONS = {
    "codes": "Local codes, the manufacturer's instructions and licensed practice come first.",
    "lock out": "Before anyone works on it: stop the ride, lock out and tag air and electricity, "
    "vent, and verify zero energy at a gauge you trust.",
    "stored": "Stored energy: an accumulator behind a check valve stays under pressure when the "
    "main is vented. Vent each one separately.",
    "test point": "Put a gauge only on a test point made for it, or on a part that has been "
    "vented: a plug removed under pressure flies out.",
    "jet": "Never feel for escaping air with a hand. Wear eye and ear protection.",
    "jaws": "Stay clear of the jaws: they move without warning when a coil switches or the "
    "pressure drops.",
    "springs": "Springs hold energy when the air is vented. Block the jaws before you reach in.",
    "electricity": "Measuring at a coil is work on live parts: with a permit, for a licensed "
    "person, with an instrument that is fit for it.",
    "dead": "Undo a wire or a plug only when it is dead: switched off, locked, and no voltage "
    "measured there.",
    "block": "A block takes the whole force of springs and air: use the one made for this brake, "
    "secured, and keep hands out while it goes in or out.",
    "tested": "A repair counts only once it is tested: every zone once closed and once open before "
    "anyone rides.",
    "override": "A manual override moves the brake without the controller: nobody on board, nobody "
    "at the jaws, and someone at the ride stop.",
    "force": "A forced signal takes an input or an output away from the controller: get "
    "permission, log it, and remove it before anyone rides.",
    "turned off": "What is turned off must be locked and tagged there, or someone turns it on "
    "again. Verify that nothing moves and nothing is under pressure.",
    "turned on": "Before air or power comes back: everybody clear, tools out, everybody informed.",
    "drain": "Open a drain slowly, away from faces. When it is quiet, check with a gauge that "
    "it is empty.",
}
"""Every caution there is; which of them go with an act stands in the row of its verb or test."""


def test_cautions(test: str) -> tuple[str, ...]:
    """Cautions for a technician's test of `inspection.tests`."""
    return tuple(CAUTIONS[key] for key in TESTS[test].cautions)


def act_cautions(sentence: str) -> tuple[str, ...]:
    """Cautions for an act at the machine, perhaps said ahead; () for a command at the desk."""
    return tuple(CAUTIONS[key] for key in act_caution_keys(sentence))


_OF_LINES = {
    "decay": TESTS["read"].cautions,
    "cycle": ("codes", "jaws", "force"),
    "prove": ("codes", "stored", "test point"),
    "fit": ("codes", "lock out", "stored", "test point"),
    "function": ("codes", "jaws"),
}
"""First word of a line that only a drill knows -> keys of its cautions."""


def line_caution_keys(line: str) -> tuple[str, ...]:
    """Keys of the cautions for a line of a drill: a test, safe work, or a sentence of the ride."""
    first = line.split(maxsplit=1)[:1]
    word = first[0] if first else ""
    if word in TESTS:
        return TESTS[word].cautions
    return _OF_LINES.get(word) or act_caution_keys(line)


def act_caution_keys(sentence: str) -> tuple[str, ...]:
    """Their keys."""
    row, words = parted(sentence)
    return row.cautions_of(words) if row is not None else ()
