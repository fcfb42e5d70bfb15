"""The record in memory: it does not grow with the run, and no extreme is lost."""

from __future__ import annotations

import sys
import tracemalloc
from itertools import pairwise
from mmap import mmap
from pathlib import Path

import numpy as np
import pytest
from test_live_session import document, same, session

from pneumo.circuit.validate import load_text
from pneumo.live import past as live_past
from pneumo.live import states as live_states
from pneumo.live.link import Past
from pneumo.live.past import GRID, Recorder
from pneumo.live.plant import plant_of
from pneumo.live.seat import SeenPast
from pneumo.live.states import thinned
from pneumo.network.network import Array
from pneumo.record.reading import recorded
from pneumo.record.writing import begin
from pneumo.scenario.event import ContactRead, RunEvent
from pneumo.scenario.play import Play
from pneumo.seats.wire import PastReader, PastSender

WHOLE, STRETCH, MOST_STRETCHES = 60.0, 2.0, 100
"""Shorter than they are, so that a test is."""

MOST = 3 * round(WHOLE / GRID) + 2 * MOST_STRETCHES
"""Rows that there may be."""


@pytest.fixture(autouse=True)
def shorter(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("WHOLE", "STRETCH", "MOST_STRETCHES"):
        monkeypatch.setattr(live_past, name, globals()[name])


def row(number: int) -> Array:
    """A saw, a spike of one row, a contact that is OFF for one row, and the number itself."""
    spike = 900.0 if number == 321 else 5.0
    contact = 0.0 if number == 654 else 1.0
    return np.array([number % 37, spike, contact, number], dtype=np.float32)


def filled(rows: int, recorder: Recorder | None = None, first: int = 0) -> Recorder:
    recorder = Recorder(4) if recorder is None else recorder
    for number in range(first, rows):
        recorder.add(number * GRID, row(number))
    return recorder


def test_rows_are_bounded_and_the_newest_are_whole() -> None:
    recorder = Recorder(4)
    most = 0
    for number in range(9000):
        recorder.add(number * GRID, row(number))
        most = max(most, recorder.rows)
    past = recorder.past
    assert most <= MOST and past.thinned > 3
    assert (np.diff(past.times) > 0.0).all() and past.times[0] == 0.0
    whole = past.times >= past.whole_from
    assert past.times[-1] - past.whole_from >= WHOLE
    numbers = np.rint(past.times[whole] / GRID).astype(int)
    assert (np.diff(numbers) == 1).all()
    np.testing.assert_array_equal(past.values[whole], [row(number) for number in numbers])


def test_no_extreme_is_lost() -> None:
    past = filled(2000).past
    assert past.thinned
    spike = past.times[past.values[:, 1] == 900.0]
    off = past.times[past.values[:, 2] == 0.0]
    assert len(spike) == len(off) == 1
    assert abs(spike[0] - 32.1) <= STRETCH and abs(off[0] - 65.4) <= STRETCH
    # in the order in which they came: what rises still rises
    assert (np.diff(past.values[:, 3]) > 0.0).all()


def test_stretches_are_longer_when_there_are_too_many() -> None:
    past = filled(9000).past
    left = past.times < past.whole_from
    assert 0 < np.count_nonzero(left) <= 2 * MOST_STRETCHES
    assert np.diff(past.times[left]).max() > STRETCH
    assert (past.values[:, 1] == 900.0).sum() == 1


def test_going_back_into_what_is_thinned_out() -> None:
    recorder = filled(2000)
    recorder.cut(50.0, [])
    assert recorder.past.times[-1] <= 50.0 < recorder.past.whole_from
    filled(2500, recorder, 501)
    past = recorder.past
    assert (np.diff(past.times) > 0.0).all() and recorder.rows <= MOST
    assert abs(past.times[past.values[:, 1] == 900.0][0] - 32.1) <= 2 * STRETCH


def test_every_reader_follows(tmp_path: Path) -> None:
    plant = plant_of(load_text(document("01_spring_open_single"), "x"), "")
    channels = len(plant.channels)
    recorder, keeper = Recorder(channels), SeenPast(plant)
    sender, reader = PastSender(plant), PastReader(plant)
    record = begin(
        path="x.yaml", document="", ride="x", program="1", folder=tmp_path,
        channels=[(channel.name, channel.unit) for channel in plant.channels],
    )  # fmt: skip
    rows: list[Array] = []

    def on(until: int) -> None:
        for number in range(len(rows), until):
            rows.append(np.full(channels, number % 1000, dtype=np.float32))
            recorder.add(number * GRID, rows[-1])
            if number % 50 == 0 or number == until - 1:
                record.rows(recorder.past, number * GRID)
                record.flush()
                seen = keeper(recorder.past)
                while (piece := sender.next(recorder.past)) is not None:
                    reader.add(piece)
        past = recorder.past
        instruments = [k for k, channel in enumerate(plant.channels) if channel.instrument]
        for got in (seen, reader.past):
            np.testing.assert_array_equal(got.times, past.times)
            np.testing.assert_array_equal(got.values[:, instruments], past.values[:, instruments])

    def written(number: int) -> None:
        kept = recorded(record.path)
        np.testing.assert_allclose(kept.times, GRID * np.arange(number), atol=1e-9)
        np.testing.assert_array_equal(kept.values, rows[:number])

    on(1300)
    assert recorder.past.thinned == 1
    # back to where rows have been left out, and on from there
    back = 300
    recorder.cut((back - 1) * GRID, [])
    del rows[back:]
    on(500)
    record.close()
    written(500)


def test_a_state_that_is_put_away_is_small_and_goes_on_as_it_was() -> None:
    ride = session()
    ride.advance(5.0)
    ride.do("trainee", "close trim")
    ride.advance(5.08)
    kept = ride.play.kept(ride._states.kept[-1].play)
    assert own(kept) < 0.1 * own(ride.play)
    again, straight = kept.snapshot(), ride.play.snapshot()
    for play in (again, straight):
        play.advance(30.0)
    np.testing.assert_array_equal(again.plant.state(), straight.plant.state())
    assert (
        again.plant.log.events == straight.plant.log.events
        and again.plant.log.crossings == straight.plant.log.crossings
    )


def test_rows_are_in_memory_that_is_given_back_whole() -> None:
    """Through growth, thinning, going back and a check beside the ride."""

    def owner(of: Recorder) -> object:
        what: object = of.past.values
        while isinstance(what, np.ndarray):
            what = what.base
        return what.obj if isinstance(what, memoryview) else what

    recorder = Recorder(3)
    for number in range(MOST):
        recorder.add(number * GRID, np.full(3, number, dtype=np.float32))
    assert recorder.past.thinned and isinstance(owner(recorder), mmap)
    twin = recorder.forked([])
    recorder.cut((MOST - 50) * GRID, [])
    assert isinstance(owner(recorder), mmap) and isinstance(owner(twin), mmap)
    assert twin.past.values[-1, 0] == MOST - 1


def test_states_that_are_put_away_share_what_has_happened() -> None:
    ride = session()
    ride.advance(1.0)

    def size() -> int:
        tracemalloc.start()
        kept = ride.play.kept(ride._states.kept[-1].play)
        held = tracemalloc.get_traced_memory()[0]
        tracemalloc.stop()
        assert len(list(kept.snapshot().plant.log.events)) == len(ride.play.plant.log.events)
        return held

    few = size()
    ride.play.plant.log.events.extend([RunEvent(1.0, "trim_charged", ContactRead(True))] * 50_000)
    ride.play.plant.log.crossings.extend([(1.0, 0, True)] * 50_000)
    assert size() < 2 * few


def test_what_happens_later_is_not_in_a_state_that_was_put_away() -> None:
    ride = session()
    ride.advance(1.0)
    kept = ride.play.kept()
    before = list(ride.play.plant.log.events), list(ride.play.plant.log.crossings)
    ride.do("trainee", "close trim")
    ride.advance(3.0)
    again = kept.snapshot()
    assert (again.plant.log.events, again.plant.log.crossings) == before
    again.plant.log.events.clear()  # its own
    assert (
        len(ride.play.plant.log.events)
        > len(before[0])
        == len(list(kept.snapshot().plant.log.events))
    )


def test_the_number_of_states_hardly_grows_with_the_run() -> None:
    def run(hours: float) -> list[float]:
        times: list[float] = []
        for tick in range(int(hours * 60.0) + 1):
            times.append(tick * 60.0)
            times = [times[place] for place in thinned(times)]
        return times

    hour, day = run(1.0), run(24.0)
    assert len(day) < 2 * len(hour)
    assert day[0] == 0.0 and day[-1] == 24 * 3600.0
    # wherever somebody goes back to, a state is not far before it
    for before, after in pairwise(day):
        assert after - before <= max(60.0, 0.2 * (day[-1] - before))


def own(play: Play) -> int:
    """Bytes of the arrays that belong to a run alone."""
    seen: dict[int, int] = {}

    def take(what: object) -> None:
        if isinstance(what, np.ndarray) and sys.getrefcount(what) < 8:
            seen[id(what)] = what.nbytes
        elif isinstance(what, tuple):
            for part in what:
                take(part)

    for part in vars(play.plant).values():
        take(part)
    return sum(seen.values())


def test_the_states_put_away_are_few_and_going_back_is_exact_all_the_same(monkeypatch) -> None:
    spacings = ((6.0, 2.0), (20.0, 4.0), (60.0, 10.0), (float("inf"), 50.0))
    monkeypatch.setattr(live_states, "SPACINGS", spacings)
    ride, before = session(), session()
    for one in (ride, before):
        one.advance(3.0)
        one.do("trainee", "close trim")
    ride.advance(300.0)
    before.advance(71.5)
    assert 10 < len(ride._states.kept) < 20
    ride.go_to(71.5)
    same(ride, before)


def test_fields_of_a_past_have_their_usual_values() -> None:
    past = Past(0, np.zeros(1), np.zeros((1, 1)), [])
    assert past.thinned == 0 and past.whole_from < 0.0
