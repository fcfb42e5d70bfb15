"""What the circuit view costs: by hand, no simulation, frames made up here.

    PYTHONPATH=. python tests/bench/screen_circuit.py [SECONDS]

Runs the view at 200x60 with the demo ride, 15 frames a second, while the pressures of every net,
the flows of every port and the jaws of every brake change in each frame. Prints the time to lay out
and draw, and the share of one core for four loads: nothing changes; the pressures of one zone;
everything changes; everything, with all branches drawn one by one.
"""

from __future__ import annotations

import asyncio
import sys
import time
from collections.abc import Callable
from pathlib import Path

from textual.app import App, ComposeResult

sys.path.insert(0, str(Path(__file__).parents[1] / "tui"))

from tui_toys import FakeLink, plant_of

from pneumo.live.frame import Frame
from pneumo.live.plant import Plant
from tui.views.circuit import CircuitView

RATE = 15
SIZE = (200, 60)


class _Screen(App[None]):
    def __init__(self, link: FakeLink) -> None:
        super().__init__()
        self.link = link

    def compose(self) -> ComposeResult:
        yield CircuitView(self.link)


def nothing(plant: Plant, frame: Frame, i: int) -> dict[str, object]:
    return {}


def one_zone(plant: Plant, frame: Frame, i: int) -> dict[str, object]:
    values = list(frame.pressures)
    for number, net in enumerate(plant.nets):
        if any(port.component.startswith("block_") for port in net.ports):
            values[number] = 1e5 * (1.0 + (i * 7 % 450) / 100)
    return {"pressures": tuple(values)}


def everything(plant: Plant, frame: Frame, i: int) -> dict[str, object]:
    wave = (i * 7 % 100) / 100
    return {
        "pressures": tuple(1e5 * (8.0 * wave) for _ in plant.nets),
        "flows": tuple((-1e-3, 0.0, 1e-3)[i % 3] for _ in plant.ports),
        "gaps": tuple(0.00325 * wave for _ in plant.brakes),
        "readings": tuple(1e5 * (8.0 * wave) for _ in plant.meters),
        "outputs": tuple(i % 2 == 0 for _ in plant.outputs),
    }


async def measure(
    change: Callable[[Plant, Frame, int], dict[str, object]], seconds: float, opened: bool
) -> tuple[float, float, float]:
    """Share of a core, seconds a frame in `show`, longest `show`."""
    link = FakeLink(plant_of("sand_martin"))
    app = _Screen(link)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.pause()
        view = app.query_one(CircuitView)
        if opened:
            view.action_open_out()
            await pilot.pause()
        shows: list[float] = []
        started, busy = time.perf_counter(), time.process_time()
        for i in range(int(seconds * RATE)):
            link.give(**change(link.plant, link.frame, i))
            before = time.perf_counter()
            view.show()
            shows.append(time.perf_counter() - before)
            await asyncio.sleep(max(started + (i + 1) / RATE - time.perf_counter(), 0.0))
        share = (time.process_time() - busy) / (time.perf_counter() - started)
    return share, sum(shows) / len(shows), max(shows)


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 6.0
    link = FakeLink(plant_of("sand_martin"))
    before = time.perf_counter()
    CircuitView(link)
    took = time.perf_counter() - before
    print(f"{len(link.plant.circuit.components)} components laid out and drawn in {took:.3f} s")
    print(f"{'load':<28}{'of a core':>10}{'show, mean':>12}{'longest':>10}")
    for words, change, opened in (
        ("nothing changes", nothing, False),
        ("pressures of one zone", one_zone, False),
        ("everything", everything, False),
        ("everything, branches opened", everything, True),
    ):
        share, mean, longest = asyncio.run(measure(change, seconds, opened))
        print(f"{words:<28}{share:>9.1%}{mean * 1e3:>9.2f} ms{longest * 1e3:>7.1f} ms")


if __name__ == "__main__":
    main()
