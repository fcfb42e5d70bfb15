"""`pneumo history`: what came of the drills that people have finished on this machine."""

from __future__ import annotations

import argparse

from rich.table import Table

from pneumo.commands.console import error_console, result_console, write_results
from pneumo.drill.telling import minutes
from pneumo.errors import InputError
from pneumo.record import history


def main(options: argparse.Namespace) -> int:
    """Prints, writes or forgets; exit code 0, or 3 when a file could not be written."""
    console = result_console()
    name = "" if options.name is None else history.check_trainee(options.name)
    if options.forget:
        if not name:
            raise InputError("--forget needs the name of a trainee.")
        console.print(f"{history.forget(name)} results of {name} are deleted.", markup=False)
        return 0
    found = history.results(name)
    if not found:
        console.print(f"No drill was finished{' by ' + name if name else ''} yet.", markup=False)
    written = write_results(((options.csv, lambda: history.as_csv(found)),), debug=options.debug)
    if found:
        console.print(_table(found))
        for trainee in dict.fromkeys(done.trainee for done in found):
            _progress(trainee, [done for done in found if done.trainee == trainee])
    if options.csv is not None and written:
        error_console().print(f"Written: {options.csv}", markup=False)
    return 0 if written else 3


def _table(found: list[history.Done]) -> Table:
    table = Table(box=None, pad_edge=False)
    for heading in ("done", "trainee", "drill", "level", "verdict", "downtime", "par", ""):
        table.add_column(heading)
    for done in found:
        table.add_row(
            f"{done.done:%Y-%m-%d %H:%M}", done.trainee, done.drill, str(done.level or ""),
            done.verdict, minutes(done.spent), minutes(done.par) if done.par else "",
            "again" if done.again else "",
        )  # fmt: skip
    return table


def _progress(trainee: str, of_one: list[history.Done]) -> None:
    console = result_console()
    found = history.progress(of_one)
    again = f", {found.again} played again and not counted" if found.again else ""
    console.print(f"{trainee}: {found.right} of {found.done} right{again}. Next: a drill of level "
                  f"{found.level}.", markup=False)  # fmt: skip
    for kind, tried, right in found.weak:
        console.print(f"  {kind}: {right} of {tried} right", markup=False)
