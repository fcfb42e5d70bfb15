"""`pneumo seal`: a drill written anew, encrypted by a passphrase, obscured, or plain."""

from __future__ import annotations

import argparse
from functools import partial
from pathlib import Path

from pneumo.circuit.shipped import find_document
from pneumo.commands import passphrase
from pneumo.commands.console import result_console
from pneumo.errors import InputError
from pneumo.report.files import check_targets


def main(options: argparse.Namespace) -> int:
    """Writes it; exit code 0."""
    from pneumo.live.drill import read_drill, rewritten, write_drill
    from pneumo.live.seal import OBSCURED, Seal, new_seal

    place, target = find_document(options.file), Path(options.to)
    check_targets(place, target)
    drill = read_drill(place, partial(passphrase.asked, options, options.file))
    if drill.obscured:
        raise InputError(
            f"{options.file}: what this drill hides is obscured, and is not shown to whoever asks. "
            "Seal one that is written in clear, or give a passphrase where it is saved."
        )
    seal: Seal = OBSCURED
    if options.how == "sealed":
        seal = new_seal(passphrase.chosen(options, options.to))
    write_drill(target, rewritten(drill, seal, plain=options.how == "plain"), drill.title)
    result_console().print(f"{options.to}: {_SAYS[options.how]}", markup=False, soft_wrap=True)
    return 0


_SAYS = {
    "sealed": "encrypted. Keep the passphrase: without it nobody can open the drill.",
    "obscured": "obscured, not encrypted: anybody who wants to can read what is hidden.",
    "plain": "what is to be found stands in it in clear. Seal it before it is played.",
}
