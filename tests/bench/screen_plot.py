"""What a plot costs: share of a core at 15 drawings a second. Run by hand.

    python -m tests.bench.screen_plot [--seconds 15] [--size 200x60]

The record is made up: 12 of 240 channels are drawn, entries come 50 times a second. Each row is
one stretch of time, with a record of 30 minutes already behind it; then a record in which every
curve swings all the time, and one that stands still. What is printed is the processor time of the
whole process, for drawing and for what Textual does with it, less that with an empty screen.
"""

from __future__ import annotations

import argparse
import asyncio
import time

import numpy as np
from textual.app import App, ComposeResult
from textual.timer import Timer

from pneumo.live.link import Past
from tui.widgets.picture import Curve
from tui.widgets.plot import WINDOWS, Plot

RATE = 50
"""Entries a second."""
FRAMES = 15
"""Drawings a second."""
BEHIND = 30 * 60
"""Length of the record at the start [s]."""
CHANNELS = 240

CURVES = [
    *(Curve(n, f"vessel_{n}", "Pa") for n in range(4)),
    *(Curve(4 + n, f"brake_{n}", "m") for n in range(2)),
    *(Curve(6 + n, f"brake_{n}", "N") for n in range(2)),
    *(Curve(8 + n, f"switch_{n}", "") for n in range(4)),
]


def record(seconds: float, restless: bool = False) -> Past:
    """Zones that are charged and vented every half minute, gaps and forces that follow, switches
    that change with them; `restless`: every curve swings all the time."""
    times = np.arange(0.0, seconds, 1.0 / RATE)
    values = np.zeros((len(times), CHANNELS), dtype=np.float32)
    for n in range(12):
        phase = (times + 3.0 * n) % 30.0
        level = np.where(phase < 15.0, 1.0 - np.exp(-phase / 0.3), np.exp(-(phase - 15.0) / 0.4))
        if restless:
            level = 0.5 + 0.5 * np.sin(times / (1.0 + n))
        if n < 4:
            values[:, n] = 4.5e5 * level + 5e3 * np.sin(times)
        elif n < 6:
            values[:, n] = 6e-3 * (1.0 - level)
        elif n < 8:
            values[:, n] = 9e3 * level
        else:
            values[:, n] = level > 0.8
    return Past(0, times, values, [])


class Bench(App[None]):
    """A plot that is given more of the record, as often as a screen is drawn."""

    def __init__(self, whole: Past, window: int | None, moving: bool) -> None:
        super().__init__()
        self.whole, self.window, self.moving = whole, window, moving
        self.begun = 0.0
        self.timer: Timer | None = None

    def compose(self) -> ComposeResult:
        if self.window is not None:
            yield Plot()

    def on_mount(self) -> None:
        self.begun = time.perf_counter()
        if self.window is not None:
            plot = self.query_one(Plot)
            plot.choose(CURVES)
            plot.set_window(self.window)
            self.tick()
            self.timer = self.set_interval(1 / FRAMES, self.tick)

    def tick(self) -> None:
        """One drawing."""
        passed = time.perf_counter() - self.begun if self.moving else 0.0
        n = int((BEHIND + passed) * RATE)
        past = Past(0, self.whole.times[:n], self.whole.values[:n], [])
        now = float(past.times[-1])
        self.query_one(Plot).draw(past, now, now)


async def processor(app: Bench, size: tuple[int, int], seconds: float) -> float:
    """Processor time per second [s/s] once the first drawing is over."""
    async with app.run_test(size=size) as pilot:
        await pilot.pause(1.0)
        wall, used = time.perf_counter(), time.process_time()
        await asyncio.sleep(seconds)
        share = (time.process_time() - used) / (time.perf_counter() - wall)
        if app.timer is not None:
            app.timer.stop()
        return share


def main() -> None:
    """Prints one row for each stretch of time."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=15.0)
    parser.add_argument("--size", default="200x60")
    given = parser.parse_args()
    width, height = (int(part) for part in given.size.split("x"))
    length = BEHIND + given.seconds + 10.0

    def share(window: int | None, moving: bool = True, restless: bool = False) -> float:
        whole = record(length, restless)
        return asyncio.run(processor(Bench(whole, window, moving), (width, height), given.seconds))

    idle = share(None)
    print(f"{given.size}, {FRAMES} drawings a second, {len(CURVES)} of {CHANNELS} channels")
    print(f"{'empty screen':16}{100 * idle:6.1f} % of a core")
    for window, (words, _) in enumerate(WINDOWS):
        print(f"{words:16}{100 * (share(window) - idle):6.1f} %")
    print(f"{'1 min, restless':16}{100 * (share(1, restless=True) - idle):6.1f} %")
    print(f"{'standing still':16}{100 * (share(1, moving=False) - idle):6.1f} %")


if __name__ == "__main__":
    main()
