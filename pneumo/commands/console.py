"""Where results and remarks go: results to standard output, remarks to standard error."""

from __future__ import annotations

import gc
import sys
import traceback
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from time import perf_counter
from typing import TYPE_CHECKING

from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment

from pneumo.api import load
from pneumo.commands import starting
from pneumo.errors import InputError
from pneumo.harmless import harmless
from pneumo.report.files import write_atomically

if TYPE_CHECKING:
    from pneumo.circuit.circuit import Circuit

PIPED_WIDTH = 120
"""Width of tables in a pipe or file, where there is no terminal to ask."""

Files = Sequence[tuple[str | None, Callable[[], str]]]
"""Where something is to be written, and what makes its content."""

PIPED_PROGRESS = 10.0
"""Time between two lines of progress in a pipe [s]."""


class _Console(Console):
    """Shows text of documents, file names and addresses, and nothing of what acts in it."""

    def render(
        self, renderable: RenderableType, options: ConsoleOptions | None = None
    ) -> Iterable[Segment]:
        for segment in super().render(renderable, options):
            if segment.control:
                yield segment
            else:
                # such letters are of no width: nothing moves when they are left out
                yield segment._replace(text=harmless(segment.text, keep="\n", mark=""))


def result_console() -> Console:
    """For results; plain text in a pipe."""
    return _Console(
        highlight=False, soft_wrap=False, width=None if sys.stdout.isatty() else PIPED_WIDTH
    )


def error_console() -> Console:
    """For remarks, progress and findings."""
    return _Console(
        stderr=True, highlight=False, width=None if sys.stderr.isatty() else PIPED_WIDTH
    )


def load_with_warnings(name: str) -> Circuit:
    """Loads a document and prints its warnings, for the commands that are about the document
    itself; raises what `pneumo.api.load` does."""
    from pneumo.report.text import print_findings

    circuit = load(name)
    if circuit.warnings:
        print_findings(error_console(), circuit.warnings)
    return circuit


def write_results(files: Files, *, debug: bool) -> bool:
    """Writes each file that can be written, and says why another could not be; whether all are
    there. A path of None is left out."""
    complete = True
    for path, content in files:
        if path is None:
            continue
        try:
            write_atomically(path, content())
        except Exception as error:
            complete = False
            said = f"{path} was not written: the program failed ({type(error).__name__}: {error})."
            said = str(error) if isinstance(error, InputError) else harmless(said)
            print(f"pneumo: {said}", file=sys.stderr)
            if debug:
                traceback.print_exc()
    return complete


def kernels() -> None:
    """Compiles the simulation kernels when this has not been done before, and says so."""
    from pneumo.simulation import cache
    from pneumo.simulation.warm import prepare

    # what is imported from here on is little, and what runs may run for long
    gc.enable()
    if cache.is_complete():
        return
    starting.done()
    console = error_console()
    if cache.is_writable():
        console.print(
            "First run of this installation: compiling the simulation kernels, once. "
            "This takes 30 to 90 s."
        )
    else:
        console.print(
            f"Compiling the simulation kernels, as in every run: they cannot be kept in "
            f"{cache.CACHE}. Make that folder writable to wait only once.",
            markup=False,
        )
    start = perf_counter()
    with progress(console, "Kernels", "kernels") as report:
        remark = prepare(
            report,
            lambda: console.print("Another run is compiling them; waiting for it to finish."),
        )
    later = "; later runs start at once." if cache.is_writable() else "."
    console.print(f"Compiled in {perf_counter() - start:.0f} s{later}")
    if remark:
        console.print(remark, markup=False)


@contextmanager
def progress(console: Console, title: str, what: str) -> Iterator[Callable[[int, int], None]]:
    """A live line of how many of something are done, or in a pipe a line now and then."""
    if console.is_terminal:
        # not at the top: only this rare run waits for it
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeElapsedColumn

        with Progress(
            title, BarColumn(), MofNCompleteColumn(), TimeElapsedColumn(), console=console,
            transient=True,
        ) as progress:  # fmt: skip
            task = progress.add_task("")
            yield lambda done, of: progress.update(task, completed=done, total=of)
        return
    start = said = perf_counter()

    def report(done: int, of: int) -> None:
        nonlocal said
        now = perf_counter()
        if now - said >= PIPED_PROGRESS:
            said = now
            console.print(f"{done} of {of} {what}, {now - start:.0f} s.")

    yield report


@contextmanager
def waiting(console: Console) -> Iterator[Callable[[str], None]]:
    """A live line of what is waited for, or in a pipe a line now and then."""
    if console.is_terminal:
        with console.status("") as status:
            yield status.update
        return
    said = -PIPED_PROGRESS

    def tell(what: str) -> None:
        nonlocal said
        now = perf_counter()
        if now - said >= PIPED_PROGRESS:
            said = now
            console.print(what, markup=False)

    yield tell
