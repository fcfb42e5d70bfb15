"""The kernels, compiled or loaded before a ride is simulated.

Beside a screen they are compiled in a process of their own: it takes a minute or more, 400 MB that
would not be given back, and can be ended at once. `python -m pneumo.commands.compiling` is that
process.
"""

from __future__ import annotations

import subprocess
import sys
from typing import Any

from pneumo.live.preparation import Preparation

WAITING = "another run is compiling it; waiting for that"

COMPILER = (sys.executable, "-m", "pneumo.commands.compiling")


def prepare_kernels(preparation: Preparation[Any]) -> None:
    """Sees to it that the kernels are there, as a part of a preparation."""
    from pneumo.simulation import cache
    from pneumo.simulation.warm import prepare

    if cache.is_complete():
        return
    if cache.is_writable():
        preparation.say("compiling the solver, once for this installation: a minute or more")
        _compile_apart(preparation)
        if cache.is_complete():
            return
        preparation.say("compiling the solver once more: a process that should do it has ended")
    else:
        preparation.say(
            f"compiling the solver, as in every run, since it cannot be kept in {cache.CACHE}: "
            "a minute or more"
        )
    remark = prepare(
        lambda done, of: preparation.count(_far(done, of)), lambda: preparation.count(WAITING)
    )
    if remark:
        preparation.say(remark)


def _compile_apart(preparation: Preparation[Any]) -> None:
    # a session of its own: an interruption of the terminal does not reach it
    with subprocess.Popen(
        COMPILER,
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        text=True, encoding="utf-8", start_new_session=True,
    ) as process:  # fmt: skip
        preparation.helped_by(process)
        assert process.stdout is not None  # a pipe was asked for
        for line in process.stdout:
            what, _, value = line.rstrip("\n").partition(" ")
            if what == "remark":
                preparation.say(value)
            else:
                preparation.count(value)
    preparation.helped_by(None)


def _far(done: int, of: int) -> str:
    return f"{done} of {of} parts"


def _main() -> None:
    """Compiles, and prints how far it is, for `_compile_apart`."""
    from pneumo.simulation.warm import prepare

    remark = prepare(
        lambda done, of: print("far", _far(done, of), flush=True),
        lambda: print("far", WAITING, flush=True),
    )
    if remark:
        print("remark", remark, flush=True)


if __name__ == "__main__":
    _main()
