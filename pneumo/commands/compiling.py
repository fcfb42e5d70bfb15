"""The kernels, compiled or loaded before a ride is simulated.

Beside a screen they are compiled in a process of their own: it takes a minute or more, 400 MB that
would not be given back, and can be ended at once. `python -m pneumo.commands.compiling` is that
process.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from typing import Any

from pneumo.live.preparation import Preparation

COMPILER = (sys.executable, "-m", "pneumo.commands.compiling")


def compile_all(report: Callable[[int, int], None]) -> None:
    """Compiles every kernel in this process; reports how many of how many there are."""
    from pneumo.simulation import cache
    from pneumo.simulation.jit import watched
    from pneumo.simulation.warm import compile_kernels

    with watched(report):
        compile_kernels()
    cache.complete()


def prepare_kernels(preparation: Preparation[Any]) -> None:
    """Sees to it that the kernels are there, as a part of a preparation."""
    from pneumo.simulation import cache

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
    compile_all(lambda done, of: preparation.count(_far(done, of)))


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
            done, of = map(int, line.split())
            preparation.count(_far(done, of))
    preparation.helped_by(None)


def _far(done: int, of: int) -> str:
    return f"{done} of {of} parts"


if __name__ == "__main__":
    compile_all(lambda done, of: print(done, of, flush=True))
