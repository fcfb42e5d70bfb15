"""The plot: bins that lose nothing, ticks, what is drawn where, keys and mouse."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from textual.app import App, ComposeResult

from pneumo.live.link import Past
from tui.widgets.axis import TIME_STEPS, lower, time_label, time_step, upper, value_step
from tui.widgets.envelope import Envelope, at_instant
from tui.widgets.picture import MARKS, Curve, share_out
from tui.widgets.plot import WINDOWS, Plot

PRESSURE = Curve(0, "accumulator", "Pa")
GAP = Curve(1, "brake_1", "m")
FORCE = Curve(2, "brake_1", "N")
SWITCH = Curve(3, "charged", "")
COIL = Curve(4, "valve.14", "")
ALL = (PRESSURE, GAP, FORCE, SWITCH, COIL)


def record(seconds: float = 30.0, period: float = 0.05, epoch: int = 0) -> Past:
    """A made-up record: a ramp, a spike of one entry, an edge, a switch, an unseen stretch."""
    times = np.arange(0.0, seconds + period / 2, period)
    values = np.zeros((len(times), 5), dtype=np.float32)
    values[:, 0] = 6e5 * times / seconds
    values[:, 1] = 0.003
    values[round(20.0 / period) : round(20.0 / period) + 1, 2] = 15_000.0  # one entry
    values[:, 3] = times >= 15.0
    values[(times > 5.0) & (times < 8.0), 1] = np.nan
    return Past(epoch, times, values, [])


# bins


@st.composite
def records(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray]:
    gaps = draw(st.lists(st.floats(0.0, 3.0), min_size=1, max_size=40))
    times = np.cumsum(gaps)
    numbers = st.floats(-10.0, 10.0, width=32) | st.just(math.nan)
    values = draw(st.lists(st.tuples(numbers, numbers), min_size=len(times), max_size=len(times)))
    return times, np.array(values, dtype=np.float32)


@given(records(), st.sampled_from([0.1, 0.37, 1.0, 5.0]), st.integers(1, 39))
@settings(max_examples=150)
def test_bins_hold_every_entry_and_do_not_depend_on_when_the_record_was_read(
    made: tuple[np.ndarray, np.ndarray], width: float, split: int
) -> None:
    times, values = made
    at_once = Envelope(width, (0, 1), (False, True))
    at_once.follow(times, values)
    in_parts = Envelope(width, (0, 1), (False, True))
    in_parts.follow(times[:split], values[:split])
    in_parts.follow(times, values)
    first = math.floor(times[0] / width)
    count = math.floor(times[-1] / width) - first + 1
    low, high = at_once.bins(first, count)
    np.testing.assert_array_equal((low, high), in_parts.bins(first, count))
    for time, pair in zip(times, values, strict=True):
        bin_of = math.floor(time / width) - first
        for column, value in enumerate(pair):
            if not math.isnan(value):
                assert low[bin_of, column] <= value <= high[bin_of, column]
    if not np.isnan(values).any():
        assert low.min() >= values.min() - 1e-4 and high.max() <= values.max() + 1e-4
        # neighbours touch: no break in a curve
        assert (low[1:] <= high[:-1]).all() and (low[:-1] <= high[1:]).all()


def test_between_entries_a_line_is_straight_and_a_contact_stays() -> None:
    envelope = Envelope(1.0, (0, 1), (False, True))
    envelope.follow(np.array([0.5, 4.5]), np.array([[0.0, 0.0], [4.0, 1.0]], dtype=np.float32))
    low, high = envelope.bins(0, 5)
    np.testing.assert_allclose(low[:, 0], [0.0, 0.5, 1.5, 2.5, 3.5])
    np.testing.assert_allclose(high[:, 0], [0.5, 1.5, 2.5, 3.5, 4.0])
    np.testing.assert_array_equal(low[:, 1], 0.0)
    np.testing.assert_array_equal(high[:, 1], [0.0, 0.0, 0.0, 0.0, 1.0])


def test_outside_the_record_and_where_nothing_is_seen_bins_are_empty() -> None:
    past = record()
    envelope = Envelope(0.5, (1,), (False,))
    envelope.follow(past.times, past.values)
    low, _ = envelope.bins(-4, 80)
    assert np.isnan(low[:4]).all() and np.isnan(low[-12:]).all()
    assert np.isnan(low[4 + 11 : 4 + 15]).all()  # 5.5 s to 7.5 s
    assert not np.isnan(low[4:14]).any()


def test_readings_at_an_instant() -> None:
    past = record()
    assert at_instant(past.times, past.values, 0, 15.025, False) == pytest.approx(300_500.0, 1e-4)
    assert at_instant(past.times, past.values, 3, 14.99, True) == 0.0
    assert at_instant(past.times, past.values, 1, 6.0, False) is None
    assert at_instant(past.times, past.values, 0, -1.0, False) is None
    assert at_instant(past.times, past.values, 0, 31.0, False) is None


# ticks


@given(st.floats(0.05, 36_000.0), st.integers(1, 40))
def test_time_ticks_are_round_and_no_more_than_asked(span: float, most: int) -> None:
    step = time_step(span, most)
    assert step in TIME_STEPS
    assert step == TIME_STEPS[-1] or span / step <= most + 1e-9


@given(st.floats(-1e3, 1e3), st.floats(1e-2, 1e3), st.integers(1, 30))
def test_value_ticks_cover_the_values(low: float, span: float, most: int) -> None:
    high = low + span
    step = value_step(low, high, most)
    mantissa = step / 10 ** math.floor(math.log10(step) + 1e-9)
    assert round(mantissa, 6) in (1.0, 2.0, 5.0)
    assert lower(low, step) * step <= low + step * 1e-5
    assert upper(high, step) * step >= high - step * 1e-5


@pytest.mark.parametrize(
    ("time", "step", "label"),
    [
        (4.5, 0.5, "4.5 s"),
        (12.0, 1.0, "12 s"),
        (65.0, 5.0, "1:05"),
        (65.5, 0.5, "1:05.50"),
        (180.0, 60.0, "3 min"),
        (7200.0, 3600.0, "2 h"),
    ],
)
def test_time_labels(time: float, step: float, label: str) -> None:
    assert time_label(time, step) == label


# layout


@given(st.integers(1, 220), st.integers(1, 60), st.lists(st.sampled_from(ALL), max_size=20))
def test_every_row_is_given_once_and_what_has_none_is_counted(
    width: int, height: int, curves: list[Curve]
) -> None:
    place = share_out(curves, width, height)
    rows = [y for panel in place.panels for y in range(panel.top, panel.top + panel.height)]
    rows += [y for y, _ in place.lanes]
    assert rows == list(range(1, 1 + len(rows)))
    assert len(rows) <= max(height - 3, 0)
    drawn = sum(len(panel.members) for panel in place.panels) + len(place.lanes)
    assert drawn + place.unseen == len(curves)
    assert place.cells >= 1 and place.left + place.cells <= max(width, 1) + 1


# the widget


class Host(App[None]):
    """A plot on its own."""

    def __init__(self, past: Past | None = None) -> None:
        super().__init__()
        self.past = record() if past is None else past
        self.changes = 0

    def compose(self) -> ComposeResult:
        yield Plot()

    @property
    def plot(self) -> Plot:
        return self.query_one(Plot)

    def on_mount(self) -> None:
        self.plot.focus()
        self.plot.choose(ALL)
        self.plot.draw(self.past, 30.0, 30.0)

    def on_plot_changed(self) -> None:
        self.changes += 1


def panel_rows(plot: Plot, unit: str) -> list[str]:
    place = plot._place
    (panel,) = [panel for panel in place.panels if panel.unit == unit]
    return plot.rows[panel.top : panel.top + panel.height]


def curve_cells(plot: Plot, unit: str) -> list[str]:
    place = plot._place
    return [row[place.left : place.left + place.cells] for row in panel_rows(plot, unit)]


async def test_a_spike_of_one_entry_reaches_the_top_of_its_panel() -> None:
    app = Host()
    async with app.run_test(size=(100, 40)) as pilot:
        await pilot.press("z", "z")  # all
        rows = curve_cells(app.plot, "N")
        start, width, _ = app.plot._span()
        cell = int((20.0 - start) / width) // 2
        tall = [row[cell] for row in rows]
        assert all("⠀" < char <= "⣿" or char in MARKS for char in tall), tall
        flat = [row[cell + 8] for row in rows]
        assert set("".join(flat[:-1])) <= set(" ·│")


async def test_what_is_not_seen_is_a_gap() -> None:
    app = Host()
    async with app.run_test(size=(100, 40)) as pilot:
        await pilot.pause()
        start, width, _ = app.plot._span()
        row = "".join(max(column) for column in zip(*curve_cells(app.plot, "m"), strict=True))
        inside = range(int((5.5 - start) / width) // 2, int((7.5 - start) / width) // 2)
        assert {row[cell] for cell in inside} <= set(" ·")
        assert row[int((10.0 - start) / width) // 2] not in " ·"


async def test_curves_lanes_units_and_values_are_named() -> None:
    app = Host()
    async with app.run_test(size=(100, 40)):
        text = "\n".join(app.plot.rows)
        for words in ("6 bar", "mm", "kN", "a   6.00 accumulator", "b    3.0 brake_1"):
            assert words in text
        assert "ON charged" in text and "OFF valve.14" in text
        assert "a" in "".join(curve_cells(app.plot, "Pa"))
        lane = app.plot.rows[app.plot._place.lanes[0][0]]
        assert lane.index("▁") < lane.index("│", 12) < lane.index("▄")


async def test_without_room_what_is_left_out_is_said_and_nothing_breaks() -> None:
    for size in ((1, 1), (2, 3), (10, 5), (40, 8), (80, 20), (230, 70)):
        app = Host()
        async with app.run_test(size=size) as pilot:
            await pilot.press("left", "c", "z", "y", "pageup", "end", "d")
            assert len(app.plot.rows) == size[1]
            assert all(len(row) == size[0] for row in app.plot.rows)
            if size == (80, 20):
                await pilot.resize_terminal(80, 12)
                assert "no room for" in app.plot.rows[0]


async def test_an_empty_record_is_drawn_as_an_empty_plot() -> None:
    past = Past(0, np.zeros(0), np.zeros((0, 5), dtype=np.float32), [])
    app = Host(past)
    async with app.run_test(size=(80, 20)) as pilot:
        await pilot.press("left", "c", "z", "z", "home", "end")
        assert app.plot.reading(PRESSURE, 0.0) is None
        app.plot.choose(())
        assert "No channel is chosen." in "\n".join(app.plot.rows)


async def test_windows_are_chosen_by_keys_and_by_clicks() -> None:
    app = Host()
    async with app.run_test(size=(100, 30)) as pilot:
        plot = app.plot
        assert WINDOWS[plot.window][0] == "1 min"
        await pilot.press("Z")
        assert WINDOWS[plot.window][0] == "10 s"
        start, width, dots = plot._span()
        assert width * dots == pytest.approx(10.0) and start + width * dots >= 30.0
        await pilot.press("z", "z", "z")
        assert "[all]" in plot.rows[0]
        start, width, dots = plot._span()
        assert start <= 0.0 and start + width * dots >= 30.0
        await pilot.click(Plot, offset=(plot.rows[0].index("10 min") + 1, 0))
        assert WINDOWS[plot.window][1] == 600.0


async def test_going_earlier_holds_and_end_follows_again() -> None:
    app = Host()
    async with app.run_test(size=(100, 30)) as pilot:
        plot = app.plot
        await pilot.press("Z", "pageup")
        assert plot.held is not None and "[newest]" not in plot.rows[0]
        before = plot._span()
        plot.draw(record(40.0), 40.0, 40.0)
        assert plot._span() == before
        await pilot.press("pagedown", "pagedown", "pagedown", "pagedown", "pagedown")
        assert plot.held is None
        await pilot.press("home")
        assert plot._span()[0] == pytest.approx(0.0, abs=0.1)
        await pilot.press("end")
        start, width, dots = plot._span()
        assert start + width * dots >= 40.0
        plot.action_shift(-1.0)
        assert plot.held is not None
        await pilot.click(Plot, offset=(plot.rows[0].index("newest"), 0))
        assert plot.held is None


async def test_two_cursors_by_keys() -> None:
    app = Host()
    async with app.run_test(size=(100, 30)) as pilot:
        plot = app.plot
        await pilot.press("left")
        a = plot.cursors[0]
        assert a is not None and plot.cursors[1] is None
        await pilot.press("left", "left")
        _, width, _ = plot._span()
        assert plot.cursors[0] == pytest.approx(a - 2 * width)
        await pilot.press("c", "shift+right")
        assert plot.active == 1 and plot.cursors[1] is not None
        axis = plot.rows[plot._place.axis]
        assert axis.index("A") < axis.index("B")
        await pilot.press("c")
        assert plot.active == 0
        await pilot.press("d")
        assert plot.cursors == [None, None]
        assert app.changes >= 5


async def test_two_cursors_by_mouse() -> None:
    app = Host()
    async with app.run_test(size=(100, 30)) as pilot:
        plot = app.plot
        start, width, _ = plot._span()
        left = plot._place.left
        await pilot.mouse_down(Plot, offset=(left + 10, 8))
        await pilot.hover(Plot, offset=(left + 20, 8))
        await pilot.mouse_up(Plot, offset=(left + 20, 8))
        assert plot.cursors[0] == pytest.approx(start + 21 * width)
        await pilot.click(Plot, offset=(left + 25, 8), shift=True)
        assert plot.cursors[1] == pytest.approx(start + 51 * width)


async def test_a_cursor_stays_in_the_record_and_a_new_record_takes_it_back() -> None:
    app = Host()
    async with app.run_test(size=(100, 30)) as pilot:
        plot = app.plot
        await pilot.press("left", *["shift+right"] * 40)
        assert plot.cursors[0] == 30.0
        plot.draw(record(12.0, epoch=1), 12.0, 12.0)
        assert plot.cursors[0] == 12.0
        assert plot.reading(PRESSURE, 12.0) == pytest.approx(6e5)


async def test_the_shown_instant_has_a_line_when_it_is_not_the_newest() -> None:
    app = Host()
    async with app.run_test(size=(100, 30)) as pilot:
        plot = app.plot
        assert "▲" not in "".join(plot.rows)
        plot.draw(app.past, 10.0, 30.0)
        await pilot.pause()
        assert "▲" in plot.rows[plot._place.axis]
        assert "shown 0:10.000, newest 0:30.000" in plot.rows[0]
        assert "2.00 accumulator" in "\n".join(plot.rows)


async def test_fitted_axes_leave_zero_out() -> None:
    app = Host()
    async with app.run_test(size=(100, 30)) as pilot:
        plot = app.plot
        await pilot.press("Z")
        fromzero = [row[: plot._place.left] for row in panel_rows(plot, "Pa")]
        assert fromzero[-1].strip(" ┤│") == "0"
        await pilot.press("y")
        fitted = [row[: plot._place.left] for row in panel_rows(plot, "Pa")]
        assert float(fitted[-1].strip(" ┤│")) >= 3.5


async def test_nothing_is_drawn_when_nothing_has_changed() -> None:
    app = Host()
    async with app.run_test(size=(100, 30)) as pilot:
        plot = app.plot
        drawn = plot._canvas
        plot.draw(app.past, 30.0, 30.0)
        assert plot._canvas is drawn
        longer = record(30.05)
        plot.draw(longer, 30.05, 30.05)
        assert plot._canvas is not drawn
        await pilot.pause()


async def test_more_curves_than_rows_are_counted_and_letters_differ() -> None:
    app = Host()
    async with app.run_test(size=(100, 12)) as pilot:
        many = [Curve(0, f"vessel_{n}", "Pa") for n in range(26)]
        app.plot.choose(many)
        await pilot.pause()
        assert "".join(app.plot.mark(n) for n in range(26)) == MARKS
        assert "and 18 more" in "\n".join(app.plot.rows)


async def test_a_hair_below_zero_is_drawn_at_zero() -> None:
    past = record()
    past.values[:, 0] = np.where(past.times < 10.0, 4.5e5, -90.0)
    past.values[:, 2] = np.where(past.times < 10.0, 9e3, -3e3)  # no hair
    app = Host(past)
    async with app.run_test(size=(100, 40)) as pilot:
        await pilot.pause()
        left = app.plot._place.left
        assert panel_rows(app.plot, "Pa")[-1][:left].strip(" ┤│") == "0"
        assert float(panel_rows(app.plot, "N")[-1][:left].strip(" ┤│")) <= -3.0
        start, width, _ = app.plot._span()
        assert curve_cells(app.plot, "Pa")[-1][int((20.0 - start) / width) // 2] not in " ·"
