"""Documents with slips of the pen and absurd values: each is refused with findings, or runs.

    python tests/bench/fuzz.py [MUTANTS [FIRST]] [--processes N]

Every mutant is made from a shipped circuit and its number alone, so that one that fails can be
made again (`--show NUMBER` prints it). What counts as a failure: an exception that is no message
for the user, a message that is not fit to be shown, a mutant that takes longer than `PATIENCE`, and
a run that ends as if all were well with a state that is none (not finite, no air, too early).
"""

from __future__ import annotations

import argparse
import random
import re
import sys
import time
import traceback
from collections import Counter
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np

from pneumo.circuit.action import Command, RideStop
from pneumo.circuit.circuit import Event
from pneumo.circuit.validate import load_text
from pneumo.commands.console import kernels
from pneumo.errors import DocumentError, InputError
from pneumo.harmless import first_acting
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play

CIRCUITS = sorted((Path(__file__).parents[2] / "circuits").glob("[01]*.yaml"))

UNTIL = 1.0
"""How long a mutant that can be read is run [s]: it closes and opens everything, and stops."""

PATIENCE = 300.0
"""Time that one mutant may take on a busy machine [s]."""

_NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?")

NUMBERS = (
    "0", "-1", "1e-300", "1e300", "1e400", "nan", "inf", "1e-9", "1e9", "0.5", "2", "100", "1000",
    "1e-3", "1e6", "3e-5", "0.999999", "١٢", "1_000", "0x10", "1,5", "",
)  # fmt: skip

WORDS = (
    "plug", "atmosphere", "all", "open", "closed", "close", "{1..3}", "{3..1}", "{1..501}", "bar",
    "mm", "L", "->", ":", "- ", "[", "{", "}", "&a", "*a", "!!int 1", "\t", "#", "'", '"', "null",
    "\x1b]0;x\x07", "\u202e", '"\\e[2J"', "\x85", "ride stop", "leak", "at 0 s: ", "bladder_brake",
    "hose", "valve_3_2", "regulator", "é", "🛠", "~",
)  # fmt: skip


def mutant(number: int) -> str:
    """Text of a document; the same number gives the same text."""
    rng = random.Random(number)
    text = rng.choice(CIRCUITS).read_text(encoding="utf-8")
    for _ in range(rng.choice((1, 1, 1, 2, 3, 6))):
        text = rng.choice(_SLIPS)(rng, text)
    return text


def _other_number(rng: random.Random, text: str) -> str:
    """A number in place of another."""
    found = list(_NUMBER.finditer(text))
    if not found:
        return text
    at = rng.choice(found)
    number = rng.choice(NUMBERS)
    if rng.random() < 0.5:
        number = f"{float(at[0]) * 10.0 ** rng.randint(-12, 12):g}"
    return text[: at.start()] + number + text[at.end() :]


def _other_word(rng: random.Random, text: str) -> str:
    """A word of the document, or one that means something, in place of another."""
    found = list(re.finditer(r"[\w.{}-]+", text))
    if not found:
        return text
    at = rng.choice(found)
    word = rng.choice(WORDS) if rng.random() < 0.5 else rng.choice(found)[0]
    return text[: at.start()] + word + text[at.end() :]


def _lines(rng: random.Random, text: str) -> str:
    """A line lost, doubled, moved or indented."""
    lines = text.splitlines(keepends=True)
    if not lines:
        return text
    line = lines.pop(rng.randrange(len(lines)))
    for _ in range(rng.choice((0, 0, 1, 2))):
        lines.insert(rng.randint(0, len(lines)), rng.choice((line, "  " + line, line.lstrip())))
    return "".join(lines)


def _letters(rng: random.Random, text: str) -> str:
    """A few letters lost, and others in their place."""
    at = rng.randint(0, len(text))
    put = "".join(
        rng.choice("a1.:-{}[]'\"# \n\t\x00\ud800\u2028é%") for _ in range(rng.randint(0, 3))
    )
    return text[:at] + put + text[at + rng.randint(0, 5) :]


_SLIPS = (_other_number, _other_number, _other_number, _other_word, _other_word, _lines, _letters)


def tried(text: str) -> str:
    """What became of a document: "refused", "ran", "stopped"; raises what must not be."""
    try:
        circuit = load_text(text, "mutant.yaml")
    except DocumentError as error:
        assert any(finding.level == "error" for finding in error.findings), "no error is named"
        for finding in error.findings:
            assert finding.found, "a finding says nothing"
            assert first_acting(str(finding)) == -1, f"not fit to be shown: {finding}"
        return "refused"
    try:
        play = Play(compile_circuit(circuit))
        todo = (*(Command(z, "close") for z in circuit.zones), RideStop())
        play.schedule([Event(0.1 + 0.4 * i, act) for i, act in enumerate(todo)])
        play.advance(UNTIL)
    except InputError as error:
        assert str(error).strip(), "it stops without a word"
        assert first_acting(str(error), keep="\n") == -1, f"not fit to be shown: {error}"
        return "stopped"
    assert play.now == UNTIL, f"it ends at {play.now} s"
    state = play.plant.state()
    assert np.isfinite(state).all(), "a state is not finite"
    return "ran"


def _work(numbers: Connection) -> None:
    while (number := numbers.recv()) is not None:
        try:
            numbers.send((number, tried(mutant(number)), ""))
        except Exception:
            numbers.send((number, "FAILED", traceback.format_exc()))


def main() -> int:
    """Tries so many mutants; returns 1 when one failed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("mutants", type=int, nargs="?", default=1000)
    parser.add_argument("first", type=int, nargs="?", default=0)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--show", type=int, metavar="NUMBER")
    options = parser.parse_args()
    if options.show is not None:
        sys.stdout.write(mutant(options.show))
        return 0
    kernels()  # once, and not within the patience for a mutant
    context = get_context("spawn")
    waiting = iter(range(options.first, options.first + options.mutants))
    counts: Counter[str] = Counter()
    slow: list[tuple[float, int]] = []

    def begin() -> list[Any]:
        ours, theirs = context.Pipe()
        process = context.Process(target=_work, args=(theirs,), daemon=True)
        process.start()
        return [process, ours, None, 0.0]

    workers = [begin() for _ in range(options.processes)]
    while sum(counts.values()) < options.mutants:
        for worker in workers:
            process, pipe, number, since = worker
            if number is None:
                if (number := next(waiting, None)) is not None:
                    worker[2:] = number, time.monotonic()
                    pipe.send(number)
                continue
            if pipe.poll(0.02):
                _, became, why = pipe.recv()
                slow = sorted([*slow, (time.monotonic() - since, number)])[-5:]
            elif time.monotonic() - since > PATIENCE or not process.is_alive():
                became, why = "FAILED", f"no answer within {PATIENCE:g} s, or the process died"
                process.kill()
                worker[:] = begin()
            else:
                continue
            worker[2] = None
            counts[became] += 1
            if became == "FAILED":
                print(f"mutant {number}: {why}", flush=True)
            if sum(counts.values()) % 500 == 0:
                print(dict(counts), flush=True)
    for _, pipe, *_ in workers:
        pipe.send(None)
    print(dict(counts), "slowest [s], number:", [(round(s, 1), n) for s, n in slow])
    return 1 if counts["FAILED"] else 0


if __name__ == "__main__":
    sys.exit(main())
