"""`pneumo drill new`: a drill made from a seed, as hard to find as was asked for."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from pneumo.api import load
from pneumo.circuit.document import read_file
from pneumo.circuit.shipped import find_document, shipped_folders
from pneumo.commands import passphrase
from pneumo.commands.console import error_console, kernels, progress, result_console
from pneumo.drill.telling import minutes
from pneumo.report.files import check_targets

if TYPE_CHECKING:
    from pneumo.making.difficulty import Difficulty


def main(options: argparse.Namespace) -> int:
    """Makes and writes it; exit code 0."""
    from pneumo.diagnosis.store import library_of
    from pneumo.live.drill import check_replaced, drill_text, write_drill
    from pneumo.live.seal import OBSCURED, Seal, new_seal
    from pneumo.making.drill import make, title_of
    from pneumo.making.operating import check_operable

    place, target = find_document(options.file), Path(options.to)
    check_targets(place, target)
    circuit, document = load(options.file), read_file(place)
    check_operable(circuit)
    check_replaced(target, title_of(circuit, options.level, options.seed))
    seal: Seal = OBSCURED
    if options.sealed:
        seal = new_seal(passphrase.chosen(options, options.to))
    kernels()
    console = error_console()
    with progress(console, "Faults", "faults at their severities") as say:
        library = library_of(circuit, say)

    def tell(number: int, found: str) -> None:
        console.print(f"Fault {number}: {found}.", markup=False)

    made = make(circuit, document, library, options.level, options.seed, tell)
    ships = place.parent in shipped_folders()
    text = drill_text(
        "" if ships else document, made.acts, made.start, made.title, made.brief,
        place.stem if ships else "", seal,
    )  # fmt: skip
    write_drill(target, text, made.title)
    how = "encrypted; keep the passphrase" if seal.encrypts else "obscured, not encrypted"
    result_console().print(
        f"{options.to}: a drill of level {made.brief.level} ({how}), par "
        f"{minutes(made.brief.par)}. {_measured(made.difficulty)}",
        markup=False, soft_wrap=True,
    )  # fmt: skip
    return 0


def _measured(hard: Difficulty) -> str:
    """What its level was made of, in words; none of it tells the fault."""
    tests = "1 test" if hard.tests == 1 else f"{hard.tests} tests"
    left = "1 answer was left" if hard.group == 1 else f"{hard.group} answers were left"
    misled = ""
    if hard.misled:
        often = "once" if hard.misled == 1 else f"{hard.misled} times"
        misled = f", and a wrong one had led {often}"
    return (
        f"The best strategy took {tests} and {minutes(60.0 * hard.minutes)}; {left} at its end"
        f"{misled}."
    )
