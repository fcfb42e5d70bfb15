"""What a class costs its trainer's machine, by hand: python -m tests.bench.classroom [DRILL] [N]

The rides, their records, the network and the board run in this process; those who join are another
one. Processor time is that of this process; the pace is how far each ride comes in a second.
With --wait every trainee but two waits for half an hour of the ride meanwhile.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import resource
import subprocess
import sys
import tempfile
from time import monotonic, sleep

from pneumo.cli import build_parser
from pneumo.commands.classroom import MOST, Lesson
from pneumo.live.preparation import Preparation
from pneumo.live.request import Line
from pneumo.seats.join import join
from tui.board import BoardApp

MEASURED = 30.0
"""[s]"""


def main() -> None:
    """Measures, or joins (`--join`)."""
    parser = argparse.ArgumentParser()
    parser.add_argument("drill", nargs="?", default="drill_1")
    parser.add_argument("trainees", nargs="?", type=int, default=MOST)
    parser.add_argument("--wait", action="store_true")
    parser.add_argument("--join", nargs=2, metavar=("PORT", "CODE"))
    options = parser.parse_args()
    if options.join:
        attend(int(options.join[0]), options.join[1], options.trainees, options.wait)
        return
    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_STATE_HOME"] = folder
        asyncio.run(measure(options))


async def measure(options: argparse.Namespace) -> None:
    """Opens a class, has it joined, and looks at the clocks."""
    arguments = ["dashboard", options.drill, "--class", str(options.trainees), "--host", ":0"]
    lesson = Lesson(build_parser().parse_args(arguments))
    preparation = Preparation(options.drill, lesson.prepare)
    preparation.begin()
    preparation.wait(600.0)
    if preparation.error is not None:
        raise preparation.error
    command = [sys.executable, "-m", "tests.bench.classroom", options.drill, str(options.trainees),
               "--join", lesson.invitation.rpartition(":")[2], lesson.code]  # fmt: skip
    trainees = subprocess.Popen(command + ["--wait"] * options.wait)
    async with BoardApp(lesson).run_test(size=(120, 40)):
        while sum(place.has_begun for place in lesson.places) < options.trainees:
            await asyncio.sleep(0.1)
        await asyncio.sleep(2.0)
        wall, used = monotonic(), os.times()
        before = [place.trainer.frame.time for place in lesson.places if place.trainer]
        await asyncio.sleep(MEASURED)
        wall, now = monotonic() - wall, os.times()
        after = [place.trainer.frame.time for place in lesson.places if place.trainer]
    trainees.kill()
    lesson.leave(ended=True)
    spent = now.user + now.system - used.user - used.system
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    paces = ", ".join(f"{(b - a) / wall:.3f}" for a, b in zip(before, after, strict=True))
    print(f"{options.trainees} trainees at {options.drill}: {100.0 * spent / wall:.0f} % of one "
          f"core, {memory:.0f} MB; pace {paces}; load {os.getloadavg()[0]:.1f}")  # fmt: skip


def attend(port: int, code: str, trainees: int, wait: bool) -> None:
    """Joins for all of them, and begins."""
    links = [join("127.0.0.1", port, code, f"Trainee {k + 1}") for k in range(trainees)]
    for link in links:
        link.send(Line("begin"))
    sleep(3.0)
    for link in links[2:] if wait else ():
        link.send(Line("wait 30 min"))
    sleep(600.0)


if __name__ == "__main__":
    main()
