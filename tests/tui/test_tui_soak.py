"""Twelve minutes of simulated time, with random keys, clicks, faults and sizes of the screen.

The real app over a real driver. Its thread is not started: the test turns it by hand with a time of
its own, so that a seed is the same run every time. PNEUMO_SOAK_SEEDS="7 8 9" adds seeds,
PNEUMO_SOAK_MINUTES changes the length.
"""

from __future__ import annotations

import os
import traceback
from collections.abc import Iterable, Iterator
from pathlib import Path
from random import Random

import numpy as np
import pytest
from textual.events import MouseScrollDown, MouseScrollUp
from textual.pilot import Pilot

import pneumo.live.driver
import tui.widgets.results
from pneumo.circuit.shipped import find_document
from pneumo.circuit.validate import load_text
from pneumo.live.driver import FRAME, Driver
from pneumo.live.local_seat import LocalSeat
from pneumo.live.request import Do, Hide, Newest, OpenCase, Run, Seat, Speed
from pneumo.live.seat import UNSEEN
from pneumo.live.session import Session
from pneumo.scenario.telling import told
from pneumo.units import format_severity
from tui.app import DashboardApp
from tui.host import Host

MINUTES = float(os.environ.get("PNEUMO_SOAK_MINUTES", "4"))
"""Length of a soak [min of simulated time]."""

MORE_SEEDS = tuple(int(seed) for seed in os.environ.get("PNEUMO_SOAK_SEEDS", "").split())

SMALLEST, LARGEST = (20, 6), (200, 60)
SIZES = (SMALLEST, (40, 12), (80, 24), (80, 24), (119, 30), (120, 40), (160, 50), LARGEST)

LEAVING = {"q", "ctrl+q", "ctrl+c", "ctrl+z"}
"""Keys that end or suspend the program."""

KEYS = (
    "up", "down", "left", "right", "enter", "escape", "tab", "shift+tab", "space", "pageup",
    "pagedown", "home", "end", "backspace", "delete", "y", "n", "slash", "plus", "minus", *"abcdef",
    *"ghijklmnoprstuvwxyz", *"ABGNPUZ", "full_stop", "comma", "less_than_sign", "f1", "ctrl+left",
    "greater_than_sign", "question_mark", "colon", "left_square_bracket", "right_square_bracket",
)  # fmt: skip


class Sentences:
    """Random sentences about a ride: what a trainer, a technician or an operator might say."""

    def __init__(self, driver: Driver, chance: Random) -> None:
        self.plant = driver.session.plant
        self.circuit = self.plant.circuit
        self.chance = chance

    def fault(self) -> str:
        """Any component, mode, severity and shape."""
        pick = self.chance.choice
        name = pick([n for n, c in self.circuit.components.items() if c.fault_modes()])
        mode = pick(self.circuit.components[name].fault_modes())
        said = f"fault {name} {mode.name}"
        if (scale := mode.severity) is not None:
            value = pick((scale.low, *scale.campaign, scale.default, scale.high))
            said += f" {format_severity(value, scale.unit)}"
        return said + pick(("", "", "", " over 3 s", " over 0.1 s", " every 4 s for 1 s"))

    def act(self, seat: Seat) -> str:
        """Any act that the seat may do."""
        chance, plant, circuit = self.chance, self.plant, self.circuit
        zone = chance.choice((*plant.zones, *circuit.gates, "all"))
        families = [
            [f"open {zone}"], [f"close {zone}"], ["ride stop"], ["acknowledge all"], ["reset all"],
            [f"{verb} {n}" for n in circuit.having("turnable") for verb in ("isolate", "restore")],
            [f"drain {n} {to}" for n in circuit.having("drainable") for to in ("open", "closed")],
            [f"switch {to} {n}" for n in circuit.having("switchable") for to in ("off", "on")],
            [f"{v} {o.name}" for o in plant.outputs for v in ("override", "release")],
            [f"force {o.name} {to}" for o in plant.outputs for to in ("on", "off")],
            [f"force {i.name} {to}" for i in plant.inputs for to in ("on", "off")],
            ["unforce all", *(f"unforce {i.name}" for i in plant.inputs)],
        ]  # fmt: skip
        if seat == "trainer":
            faults = plant.circuit.components
            families += [
                ["power off", "power on", "power on"],
                [f"fin {z} {to}" for z in plant.zones for to in ("absent", "present")],
                [f"clear {n} {m.name}" for n in faults for m in faults[n].fault_modes()],
            ]
            families += [[self.fault()]] * 6
        said = chance.choice(chance.choice([f for f in families if f]))
        if chance.random() < 0.1:
            return f"in {chance.choice(('0 s', '0.5 s', '5 s', '30 s'))}: {said}"
        return said


class Clock:
    """Time on the wall as the driver under test sees it: every look costs a millisecond."""

    def __init__(self) -> None:
        self.time = 0.0

    def __call__(self) -> float:
        self.time += 1e-3
        return self.time


class Soak:
    """One app at one ride, and what is done to both."""

    def __init__(
        self, driver: Driver, own: LocalSeat, other: LocalSeat, chance: Random, faults: list[str]
    ) -> None:
        self.driver, self.own, self.other, self.chance = driver, own, other, chance
        self.sentences = Sentences(driver, chance)
        self.app = DashboardApp(own, host=Host(record="a.run", invitation="pneumo join"))
        self.trainer, self.trainee = (own, other) if own.seat == "trainer" else (other, own)
        self.faults = faults
        """Tracebacks of failures of the simulation."""
        self.done: list[str] = []
        """What was done, to find out what broke it."""
        self.lived = 0.0
        """Simulated time there has been, whether kept or not [s]."""
        self.size = (120, 40)

    async def run(self, minutes: float) -> None:
        """Soaks; afterwards the app still answers a key."""
        async with self.app.run_test(size=self.size) as pilot:
            await pilot.pause()
            self.trainer.send(Speed(50.0))
            while self.lived < 60.0 * minutes:
                await self.step(pilot)
                self.turn()
                self.look()
            await self.to_base(pilot)
            await pilot.resize_terminal(120, 40)
            for digit, title in enumerate(self.app.stage.titles, 1):
                await self.press(pilot, str(digit))
                await pilot.pause()
                assert self.app.stage.current == title
            sent = self.driver._frame_number
            await self.press(pilot, "s")
            self.turn()
            assert self.driver._frame_number > sent

    def turn(self) -> None:
        """One turn of the driver's loop, and the app looks at what has come of it."""
        driver = self.driver
        before = driver.session.now
        driver._obey()
        if driver.running:
            driver._advance(2 * FRAME)
        driver._judge_losses()
        driver._publish()
        self.lived += max(driver.session.now - before, 0.0)
        self.other.answers()
        self.app.tick()

    def look(self) -> None:
        """What must hold at any instant."""
        assert not self.faults, self.told()
        if self.app._exception is not None:
            self.app._exception.add_note(self.told())
            raise self.app._exception
        nothing_hidden(self.driver, self.trainee)

    def told(self) -> str:
        return "\n".join((*self.faults, "done last:", *self.done[-40:]))

    # what is done

    async def step(self, pilot: Pilot[None]) -> None:
        """One random thing."""
        chance = self.chance
        moves = {
            self.some_keys: 8, self.bound_key: 8, self.click: 6, self.wheel: 1, self.resize: 1,
            self.type_sentence: 4, self.fault_in_view: 2, self.say: 5, self.go: 2, self.normal: 1,
            self.check: 1, self.hide: 1, self.run_on: 8,
        }  # fmt: skip
        move = chance.choices(list(moves), list(moves.values()))[0]
        if len(self.app.screen_stack) > 1 and chance.random() < 0.5:
            await self.press(pilot, "escape")
        await move(pilot)

    async def press(self, pilot: Pilot[None], *keys: str) -> None:
        self.done += keys
        await pilot.press(*keys)

    async def some_keys(self, pilot: Pilot[None]) -> None:
        await self.press(pilot, *self.chance.choices(KEYS, k=self.chance.randint(1, 4)))

    async def bound_key(self, pilot: Pilot[None]) -> None:
        """A key that means something where the focus is."""
        bound = sorted(set(self.app.screen.active_bindings) - LEAVING)
        await self.press(pilot, self.chance.choice(bound))

    async def click(self, pilot: Pilot[None]) -> None:
        x, y = (self.chance.randrange(n) for n in self.size)
        self.done.append(f"click {x} {y}")
        press = self.chance.choice((pilot.click, pilot.click, pilot.double_click, pilot.hover))
        await press(offset=(x, y))

    async def wheel(self, pilot: Pilot[None]) -> None:
        kind = self.chance.choice((MouseScrollDown, MouseScrollUp))
        x, y = (self.chance.randrange(n) for n in self.size)
        self.done.append(f"{kind.__name__} {x} {y}")
        self.app.screen._forward_event(kind(None, x, y, 0, 0, 0, False, False, False, x, y))
        await pilot.pause()

    async def resize(self, pilot: Pilot[None]) -> None:
        self.size = self.chance.choice(SIZES)
        if self.chance.random() < 0.3:
            self.size = (
                self.chance.randint(SMALLEST[0], LARGEST[0]),
                self.chance.randint(SMALLEST[1], LARGEST[1]),
            )
        self.done.append(f"resize {self.size}")
        await pilot.resize_terminal(*self.size)

    async def to_base(self, pilot: Pilot[None]) -> None:
        """Leaves every dialog by Escape, and a line to type in for the view."""
        for _ in range(20):
            if len(self.app.screen_stack) == 1:
                break
            await self.press(pilot, "escape")
            await pilot.pause()
        assert len(self.app.screen_stack) == 1, f"a dialog does not go away: {self.app.screen}"
        self.app.screen.set_focus(None)

    async def type_sentence(self, pilot: Pilot[None]) -> None:
        await self.to_base(pilot)
        sentence = self.sentences.act(self.own.seat)
        self.done.append(f"type {sentence}")
        await pilot.press("colon")
        # half of it by keys, the rest as if pasted: keys are slow here
        line = self.app.screen.query_one("#sentence")
        await pilot.press(*sentence[:3])
        line.value = sentence
        await pilot.press("enter")
        if self.chance.random() < 0.9:
            await self.press(pilot, self.chance.choice(("y", "y", "n")))

    async def fault_in_view(self, pilot: Pilot[None]) -> None:
        await self.to_base(pilot)
        await self.press(pilot, "f")
        if self.own.seat != "trainer":
            return
        words = self.chance.choice(("val", "hos st", "bra", "com", "swi br", "reg"))
        keys = [
            *(("space" if c == " " else c) for c in words), "enter",
            *["down"] * self.chance.randrange(4), "enter", *["up"] * self.chance.randrange(4),
            "enter",
        ]  # fmt: skip
        await self.press(pilot, *keys)
        if self.chance.random() < 0.3:
            await self.press(pilot, self.chance.choice("cvAPBGw"))

    async def say(self, pilot: Pilot[None]) -> None:
        """The other seat acts too."""
        sentence = self.sentences.act(self.other.seat)
        hidden = self.other.seat == "trainer" and self.chance.random() < 0.5
        self.done.append(f"{self.other.seat}: {sentence}{' (hidden)' * hidden}")
        self.other.send(Do(sentence, hidden))

    async def go(self, pilot: Pilot[None]) -> None:
        """Back in time, and perhaps on from there."""
        await self.to_base(pilot)
        keys = self.chance.choices(
            ("ctrl+left", "less_than_sign", "greater_than_sign", "ctrl+right", "h", "n", "u", "U",
             "full_stop"), k=3,
        )  # fmt: skip
        for key in keys:
            await self.press(pilot, key)
            self.turn()
        if self.chance.random() < 0.3:
            await self.press(pilot, "space", "y")

    async def normal(self, pilot: Pilot[None]) -> None:
        await self.to_base(pilot)
        await self.press(pilot, "N", "y")

    async def check(self, pilot: Pilot[None]) -> None:
        await self.to_base(pilot)
        await self.press(pilot, "k", *["down"] * self.chance.randrange(5), "enter")
        for _ in range(self.chance.randrange(12)):
            self.turn()
            await pilot.pause()

    async def hide(self, pilot: Pilot[None]) -> None:
        faults = self.trainer.frame.faults
        if faults:
            fault = self.chance.choice(faults)
            self.trainer.send(Hide(fault.component, fault.mode, self.chance.random() < 0.5))
        elif self.chance.random() < 0.1:
            events = ((1.0, f"close {self.own.plant.zones[0]}"),) if self.own.plant.zones else ()
            self.trainer.send(OpenCase("a case", events, 2.0))

    async def run_on(self, pilot: Pilot[None]) -> None:
        """Lets time pass: at the newest instant, as fast as it goes."""
        if self.trainer.frame.mode != "live":
            self.trainer.send(Newest())
        self.trainer.send(Speed(50.0))
        self.trainer.send(Run())
        for _ in range(self.chance.randint(2, 10)):
            self.turn()
            await pilot.pause()


def nothing_hidden(driver: Driver, trainee: LocalSeat) -> None:
    """The trainee's frame, record and events say nothing of what no instrument shows, or of what
    the trainer hides."""
    frame, past = trainee.frame, trainee.past
    for field in UNSEEN:
        assert set(getattr(frame, field)) <= {None}
    assert frame.power is None and frame.trapped == ()
    for zone in frame.zones:
        assert (zone.pressure, zone.gap, zone.force, zone.brake) == (None, None, None, "")
    hidden = driver.session.acts.hidden
    assert not hidden & {(fault.component, fault.mode) for fault in frame.faults}
    said = "\n".join(strings(frame))
    for component, mode in hidden:
        assert f"{component} {mode}" not in said
    for event in past.events[-50:]:
        assert event.kind != "fault"
        assert not told(event.what).startswith(("fault ", "clear ", "power"))
    unseen = [k for k, channel in enumerate(trainee.plant.channels) if not channel.instrument]
    assert np.isnan(past.values[-20:, unseen]).all()


def strings(value: object) -> Iterator[str]:
    """Every text inside a frame."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Iterable):
        for part in value:
            yield from strings(part)


class NoRun:
    """Stands for a verification in a process of its own, which a soak does not start."""

    running = False
    total = done = 0
    remark = ""
    trouble = "The verification was stopped; no result is kept."
    result = None

    def __init__(self, *_: object, **__: object) -> None: ...
    def cancel(self) -> None: ...
    def close(self) -> None: ...


def same(a: Session, b: Session) -> None:
    """Bit for bit."""
    assert a.play.now == b.play.now
    np.testing.assert_array_equal(a.play.plant.state(), b.play.plant.state())
    assert a.play.plant.log.events == b.play.plant.log.events
    assert a.play.plant.log.crossings == b.play.plant.log.crossings


@pytest.fixture(autouse=True)
def contained(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """What would leave the program, the folder or the run is not done; time is the test's own."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(DashboardApp, "action_leave", lambda app: None)
    monkeypatch.setattr(DashboardApp, "action_quit", lambda app: None)
    monkeypatch.setattr(DashboardApp, "action_suspend_process", lambda app: None)
    monkeypatch.setattr(tui.widgets.results, "MatrixRun", NoRun)
    monkeypatch.setattr(pneumo.live.driver, "monotonic", Clock())


RUNS: list[tuple[str, Seat, int]] = [
    ("sand_martin", "trainer", 1),
    ("sand_martin", "trainee", 2),
    ("10_station_gates", "trainer", 3),
    *(("sand_martin", "trainer", seed) for seed in MORE_SEEDS),
    *(("sand_martin", "trainee", seed) for seed in MORE_SEEDS),
    *(("11_dual_pressure", "trainer", seed) for seed in MORE_SEEDS),
]


@pytest.mark.parametrize(("ride", "seat", "seed"), RUNS)
async def test_nothing_breaks(
    ride: str, seat: Seat, seed: int, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    faults: list[str] = []
    plain = Driver._fail

    def fail(driver: Driver, error: Exception) -> None:
        faults.append("".join(traceback.format_exception(error)))
        plain(driver, error)

    monkeypatch.setattr(Driver, "_fail", fail)
    document = find_document(ride).read_text(encoding="utf-8")
    session = Session(load_text(document, ride), document)
    driver = Driver(session, rescue=tmp_path / "rescue")
    other: Seat = "trainee" if seat == "trainer" else "trainer"
    soak = Soak(driver, driver.seat(seat), driver.seat(other), Random(seed), faults)
    await soak.run(MINUTES)

    # the journal alone leads to the same state
    session.go_to_newest()
    again = Session(session.circuit, session.document)
    again.restart(session.acts.journal, session.now)
    same(again, session)
