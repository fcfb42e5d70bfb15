"""What the dashboard costs, by hand: python -m tests.bench.screen [--json F] [--profile VIEW]

The real app at a terminal of 200x60 (a pty; POSIX only), over the bench ride with its record, every
zone cycling. A process of its own draws; this one reads what it writes and presses keys. Processor
time is that of the whole process, the ride's thread and the writing included.
"""

from __future__ import annotations

import argparse
import asyncio
import cProfile
import fcntl
import json
import os
import pstats
import pty
import re
import resource
import select
import statistics
import struct
import subprocess
import sys
import tempfile
import termios
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from time import monotonic, perf_counter, process_time, sleep, thread_time
from typing import Any

from rich.console import Console
from rich.table import Table

COLUMNS, ROWS = 200, 60
HALF_CYCLE = 5.0
"""Every zone is told to close, and so long after to open [s of simulated time]."""

PROBE = 0.005
"""The loop of the screen is looked at so often [s]."""

PRESSES = 20
"""Keys pressed for one figure of the time from key to screen."""

GOALS = {"cpu": 35.0, "busy": 100.0, "key": 100.0}
"""[% of a core], [ms], [ms]"""


# the process that draws


class Costs:
    """Processor time of the ride's thread by what it does [s], and how often."""

    def __init__(self, owner: Any, names: tuple[str, ...]) -> None:
        self.spent = dict.fromkeys(names, 0.0)
        self.longest = dict.fromkeys(names, 0.0)
        self.times = dict.fromkeys(names, 0)
        for name in names:
            setattr(owner, name, self._timed(name, getattr(owner, name)))

    def _timed(self, name: str, plain: Callable[..., Any]) -> Callable[..., Any]:
        def timed(*arguments: Any) -> Any:
            start = thread_time()
            try:
                return plain(*arguments)
            finally:
                took = thread_time() - start
                self.spent[name] += took
                self.longest[name] = max(self.longest[name], took)
                self.times[name] += 1

        return timed

    def clear(self) -> None:
        """From zero."""
        for name in self.spent:
            self.spent[name] = self.longest[name] = 0.0
            self.times[name] = 0


class Inside:
    """The app, and a thread that does what the process outside says."""

    def __init__(self, zones: int, orders: int, answers: int, record: bool) -> None:
        from pneumo.live.driver import Driver
        from pneumo.live.session import Session
        from pneumo.record.writing import begin
        from tests.bench.rides import bench_ride, document
        from tui.app import DashboardApp
        from tui.host import Host

        text = document(zones)
        self.session = Session(bench_ride(zones), text)
        kept = None
        if record:
            plant = self.session.plant
            channels = [(channel.name, channel.unit) for channel in plant.channels]
            kept = begin(path="bench.yaml", document=text, ride="bench ride", channels=channels,
                         program="", seat="trainer")  # fmt: skip
        self.driver = Driver(self.session, kept)
        self.costs = Costs(
            self.driver, ("_advance", "_obey", "_publish", "_keep_rows", "_judge_losses")
        )
        self.link = self.driver.seat("trainer")
        self.app = DashboardApp(self.link, host=Host(record="a.run"))
        self.tick = Costs(self.app, ("tick",))
        self.busy = self.late = 0.0
        """Longest time between two looks at the loop: processor [s], wall beyond the wait [s]."""
        self._orders, self._answers = os.fdopen(orders), os.fdopen(answers, "w")
        self._cycling = False

    def run(self) -> None:
        """Until it is told to leave."""
        from pneumo.commands.dashboard import show

        self.driver.start()
        for work in (self._obey, self._cycle):
            threading.Thread(target=work, daemon=True).start()
        show(self.app, Path.cwd())
        self.driver.stop()

    async def _begin_probe(self) -> None:
        self._probing = asyncio.create_task(self._probe())

    async def _probe(self) -> None:
        while True:
            wall, own = perf_counter(), thread_time()
            await asyncio.sleep(PROBE)
            self.busy = max(self.busy, thread_time() - own)
            self.late = max(self.late, perf_counter() - wall - PROBE)

    def _cycle(self) -> None:
        from pneumo.live.request import Do

        said = -1
        while True:
            sleep(0.01)
            turn = int(self.link.frame.time / HALF_CYCLE)
            if self._cycling and turn != said:
                said = turn
                self.link.send(Do("close all" if turn % 2 else "open all"))

    def _obey(self) -> None:
        while not self.app.is_running:
            sleep(0.05)
        self.app.call_from_thread(self._begin_probe)
        for line in self._orders:
            order, *words = line.split()
            answer = getattr(self, f"order_{order}")(*words)
            self._answers.write(json.dumps(answer) + "\n")
            self._answers.flush()

    # orders

    def order_view(self, title: str) -> None:
        """Opens a view."""
        self.app.call_from_thread(self.app.action_open_view, title)

    def order_run(self, speed: str, cycling: str) -> None:
        """Lets the ride run."""
        from pneumo.live.request import Run, Speed

        self._cycling = cycling == "cycling"
        self.link.send(Speed(float(speed)))
        self.link.send(Run())

    def order_measure(self, seconds: str) -> dict[str, float]:
        """What the coming seconds cost."""
        self.busy = self.late = 0.0
        self.costs.clear()
        self.tick.clear()
        wall, own, time = perf_counter(), process_time(), self.link.frame.time
        frames = self.link.frame.number
        sleep(float(seconds))
        passed = perf_counter() - wall
        found = {
            "cpu": 100.0 * (process_time() - own) / passed,
            "frames": (self.link.frame.number - frames) / passed,
            "busy": 1e3 * self.busy,
            "late": 1e3 * self.late,
            "pace": (self.link.frame.time - time) / passed,
            "memory": _memory(),
        }
        for costs in (self.costs, self.tick):
            for name, spent in costs.spent.items():
                key = name.strip("_")
                found[key] = 100.0 * spent / passed
                found[f"{key} longest"] = 1e3 * costs.longest[name]
        return found

    def order_profile(self, seconds: str, file: str) -> None:
        """Profiles the thread that draws."""
        profile = cProfile.Profile()
        self.app.call_from_thread(profile.enable)
        sleep(float(seconds))
        self.app.call_from_thread(profile.disable)
        profile.dump_stats(file)

    def order_pieces(self) -> dict[str, float]:
        """What single things cost while the ride stands still [ms]."""
        from pneumo.live.request import Pause
        from pneumo.live.seat import seen

        self._cycling = False
        self.link.send(Pause())
        sleep(0.5)
        session = self.session
        frame = session.frame(0, running=False, speed=1.0, pace=1.0)
        capture = session._capture
        pieces: dict[str, Callable[[], object]] = {
            "state stored": session.play.snapshot,
            "frame": lambda: session.frame(0, running=False, speed=1.0, pace=1.0),
            "frame for a trainee": lambda: seen(frame, session.plant),
            "row": lambda: capture.row(session.play),
        }
        found = {name: _cost(piece) for name, piece in pieces.items()}
        found["states stored"] = len(session._states.kept)
        return found

    def order_leave(self) -> None:
        """Ends."""
        self.app.call_from_thread(self.app.exit)


def _cost(piece: Callable[[], object]) -> float:
    """Median processor time [ms]."""
    took = []
    for _ in range(30):
        start = thread_time()
        piece()
        took.append(thread_time() - start)
    return 1e3 * statistics.median(took)


def _memory() -> float:
    """Most memory held so far [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


# the process that looks on

_CONTROL = re.compile(r"\x1b(?:\[[0-9;?<>=:]*[A-Za-z]|[()][A-Z0-9]|[=>])")


class Outside:
    """The terminal: reads all that is drawn, presses keys, and waits for what they change."""

    def __init__(self, zones: int, record: bool, folder: str) -> None:
        self._ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
        orders, self._orders = os.pipe()
        answers, back = os.pipe()
        self._answers = os.fdopen(answers)
        self.program = subprocess.Popen(
            [sys.executable, "-m", "tests.bench.screen", "--zones", str(zones),
             "--inside", str(orders), str(back), *([] if record else ["--no-record"])],
            stdin=theirs, stdout=theirs, stderr=theirs, pass_fds=(orders, back),
            env={**os.environ, "TERM": "xterm-256color", "COLORTERM": "truecolor",
                 "XDG_STATE_HOME": folder},
        )  # fmt: skip
        for fd in (theirs, orders, back):
            os.close(fd)
        self.written = 0
        """Bytes drawn so far."""
        self._recent = ""
        self._drawn = threading.Condition()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        while select.select([self._ours], [], [])[0]:
            try:
                came = os.read(self._ours, 1 << 16)
            except OSError:
                return
            with self._drawn:
                self.written += len(came)
                self._recent = (self._recent + came.decode("utf-8", "replace"))[-200_000:]
                self._drawn.notify_all()

    def order(self, *words: str) -> Any:
        """Has something done inside; what came of it."""
        os.write(self._orders, (" ".join(words) + "\n").encode())
        line = self._answers.readline()
        if not line:
            raise SystemExit(_CONTROL.sub("", self._recent)[-3000:])
        return json.loads(line)

    def _spent(self) -> float:
        """Processor time of the thread that draws [s]; Linux only, elsewhere not a number."""
        try:
            own = Path(f"/proc/{self.program.pid}/task/{self.program.pid}/schedstat").read_text()
        except OSError:
            return float("nan")
        return int(own.split()[0]) / 1e9

    def key_to_screen(self, keys: str, words: str) -> tuple[float, float]:
        """From pressing keys until words are drawn: wall [s], processor of drawing [s]."""
        with self._drawn:
            self._recent = ""
            start, spent = monotonic(), self._spent()
            os.write(self._ours, keys.encode())
            while words not in _CONTROL.sub("", self._recent):
                self._drawn.wait(5.0)
                if monotonic() - start > 5.0:
                    seen = _CONTROL.sub("", self._recent)[-3000:]
                    raise SystemExit(f"{words!r} is not drawn after {keys!r}:\n{seen}")
            return monotonic() - start, self._spent() - spent

    def end(self) -> None:
        """Leaves."""
        self.order("leave")
        self.program.wait()


def _latencies(outside: Outside) -> Iterator[tuple[str, list[tuple[float, float]]]]:
    """Keys, and how long it takes until the screen shows what they change [ms]."""
    outside.order("view", "zones")
    pairs = {
        "open circuit": (("2", "[2 circuit]"), ("1", "[1 zones]")),
        "open trends": (("3", "[3 trends]"), ("6", "[6 logic]")),
        "pause, run": ((" ", "paused"), (" ", "running")),
        "a dialog": (("?", "Three things"), ("\x1b", "bench ride")),
    }
    for what, steps in pairs.items():
        found: list[tuple[float, float]] = []
        for number in range(PRESSES * len(steps)):
            keys, words = steps[number % len(steps)]
            wall, spent = outside.key_to_screen(keys, words)
            found.append((1e3 * wall, 1e3 * spent))
            sleep(0.31 + 0.007 * (number % 10))  # not in step with the frames
        yield what, found


def main() -> None:
    """Prints tables; with --json also writes the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--zones", type=int, default=12, metavar="N")
    parser.add_argument("--seconds", type=float, default=10.0, metavar="S", help="for each figure")
    parser.add_argument("--no-record", action="store_true")
    parser.add_argument("--json", metavar="F")
    parser.add_argument("--profile", metavar="VIEW", help="only this: where drawing a view goes")
    parser.add_argument("--inside", nargs=2, type=int, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.inside:
        Inside(options.zones, *options.inside, record=not options.no_record).run()
        return
    with tempfile.TemporaryDirectory() as folder:
        outside = Outside(options.zones, not options.no_record, folder)
        if options.profile:
            _profile(outside, options.profile, options.seconds, Path(folder) / "profile")
        else:
            _measure(outside, options)
        outside.end()


def _profile(outside: Outside, view: str, seconds: float, file: Path) -> None:
    outside.order("view", view)
    outside.order("run", "1", "cycling")
    sleep(3.0)
    outside.order("profile", str(seconds), str(file))
    stats = pstats.Stats(str(file))
    stats.sort_stats("cumulative").print_stats(70)
    stats.sort_stats("tottime").print_stats(40)


def _measure(outside: Outside, options: argparse.Namespace) -> None:
    console = Console(width=130)
    found: dict[str, Any] = {"zones": options.zones, "goals": GOALS}
    titles = ("zones", "circuit", "trends", "alarms", "signals", "logic", "verify", "faults",
              "hands")  # fmt: skip
    outside.order("run", "1", "cycling")
    sleep(3.0)
    columns = {
        "cpu": "% of a core", "frames": "frames/s", "kB/s": "kB/s", "busy": "busy ms",
        "late": "late ms", "tick": "tick %", "tick longest": "tick ms", "advance": "ride %",
        "publish": "frame %", "keep_rows": "record %",
    }  # fmt: skip
    table = Table("cycling at 1x", *columns.values())
    for title in titles:
        outside.order("view", title)
        sleep(2.0)
        before = outside.written
        row = outside.order("measure", str(options.seconds))
        row["kB/s"] = (outside.written - before) / options.seconds / 1e3
        found[title] = row
        table.add_row(title, *(f"{row[key]:.1f}" for key in columns))
    console.print(table)

    table = Table("key to screen, running", "median ms", "worst ms", "processor ms", "worst ms")
    for what, took in _latencies(outside):
        found[what] = took
        columns_of = zip(*took, strict=True)
        figures = [f(column) for column in columns_of for f in (statistics.median, max)]
        table.add_row(what, *(f"{figure:.0f}" for figure in figures))
    console.print(table)

    table = Table("asked for 50x", "reached", "% of a core", "late ms", "memory MB")
    outside.order("view", "circuit")
    for how in ("cycling", "resting"):
        outside.order("run", "50", how)
        sleep(3.0)
        row = outside.order("measure", str(options.seconds))
        found[f"50x {how}"] = row
        table.add_row(how, *(f"{row[key]:.1f}" for key in ("pace", "cpu", "late", "memory")))
    console.print(table)

    table = Table("piece", "ms")
    pieces = found["pieces"] = outside.order("pieces")
    for name, took in pieces.items():
        table.add_row(name, f"{took:.2f}")
    console.print(table)
    console.print(f"load of the machine: {os.getloadavg()[0]:.1f}")
    if options.json:
        Path(options.json).write_text(json.dumps(found, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
