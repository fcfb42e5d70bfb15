"""Every law the balances are made of is C1 (a flow but where it turns, between two temperatures):
its value and slopes join everywhere, and the slopes it returns are those of its value."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pneumo.network.network import MOVER, STEM, Table
from pneumo.simulation.flow import CORNER, LAMINAR, clip, log_ratio, orifice, pipe
from pneumo.simulation.jaw import BLEND, chamber_at, contact, motion
from pneumo.simulation.laws import DEAD_BAND_CORNER, STEM_CORNER, stem_rate

examples = settings(max_examples=150)

Law = Callable[[float], tuple[float, float]]
"""Value and slope at a point."""


@numba.njit
def stem_rate_of(stems, pressure, z):  # type: ignore[no-untyped-def]
    """`stem_rate` of the first row."""
    return stem_rate(stems[0], pressure, z)


@numba.njit
def motion_of(movers, x, v, push):  # type: ignore[no-untyped-def]
    """`motion` of the first row, which slides towards larger x."""
    return motion(movers[0], 1.0, x, v, push)


@numba.njit
def chamber_of(movers, which, x):  # type: ignore[no-untyped-def]
    """`chamber` of the first row."""
    return chamber_at(movers[0], which, x)


def stem(dead_band: float) -> Table:
    """A regulator's stem that stands at 1 where the pressure is 1 below its setting, 0."""
    row = np.zeros(1, dtype=STEM)
    row["band"], row["dead_band"], row["response"], row["low"], row["high"] = (
        1.0,
        dead_band,
        0.02,
        -0.1,
        1.1,
    )
    return row


def mover(**fields: float) -> Table:
    """A mover of 12 kg between two stops."""
    row = np.zeros(1, dtype=MOVER)
    row["mass"], row["friction"], row["damping"], row["high"] = 12.0, 60.0, 800.0, 3.25e-3
    row["low_stiffness"] = row["high_stiffness"] = 4e6
    for name, value in fields.items():
        row[name] = value
    return row


def assert_slope(law: Law, x: float, step: float, size: float, tolerance: float = 1e-5) -> None:
    """The slope at x is that of the value; `size`: what a slope of this law is measured against."""
    slope = law(x)[1]
    difference = (law(x + step)[0] - law(x - step)[0]) / (2.0 * step)
    assert difference == pytest.approx(slope, abs=tolerance * size)


def assert_joins(law: Law, joints: Sequence[float], size: float, step: float) -> None:
    """Value and slope just before and just after each joint are the same. `size`: of a slope."""
    for x in joints:
        before, after = law(x - step), law(x + step)
        assert after[0] - before[0] == pytest.approx(0.0, abs=4.0 * step * size)
        assert after[1] == pytest.approx(before[1], abs=1e-5 * size)


# openings, contacts, stems


@examples
@given(st.floats(-0.5, 1.5))
def test_clip_slope(u: float) -> None:
    assert_slope(clip, u, 1e-8, 1.0, 1e-6)


def test_clip_joins_and_its_ends() -> None:
    assert_joins(clip, (0.0, CORNER, 1.0 - CORNER, 1.0), 1.0, 1e-9)
    assert clip(-1.0) == (0.0, 0.0)
    assert clip(2.0) == (1.0, 0.0)
    assert clip(0.5)[0] == pytest.approx(0.5, rel=1e-12)


@examples
@given(st.floats(-3.0, 3.0))
def test_contact_slope(share: float) -> None:
    assert_slope(lambda d: contact(d, 4e6)[:2], share * BLEND, 1e-10, 4e6)


def test_contact_joins_and_takes_hold() -> None:
    assert_joins(lambda d: contact(d, 4e6)[:2], (-BLEND, BLEND), 4e6, 1e-12)
    assert contact(-2e-3, 4e6) == (0.0, 0.0, 0.0)
    assert contact(2e-3, 4e6)[0] == pytest.approx(8e3, rel=1e-12)


def test_what_is_plotted_is_what_the_plant_has() -> None:
    """Laws that are also evaluated for many states at once give the same, to the last digit."""
    depth = np.concatenate([np.linspace(-2.0, 2.0, 41) * BLEND, [-3e-3, 2e-3]])
    found = contact.function(depth, 4e6)
    assert [tuple(row) for row in np.transpose(found)] == [contact(d, 4e6) for d in depth.tolist()]
    row = np.zeros(1, dtype=MOVER)
    row["area_0"], row["slope_0"], row["direction_0"], row["count_0"] = 0.03, -0.1, -1.0, 2.0
    row["knots"], row["knot"][0, :2], row["bend"][0, :2] = 2, (1e-3, 2e-3), (-0.2, 0.1)
    travel = np.linspace(-1e-3, 4e-3, 41)
    for which in (0, 1):
        _, *found = chamber_at.function(row.view(np.recarray)[0], which, travel)
        each = [chamber_of(row, which, x)[1:] for x in travel.tolist()]
        assert [tuple(point) for point in np.transpose(found)] == each


@pytest.mark.parametrize("dead_band", [0.0, 0.02, 0.1])
@examples
@given(target=st.floats(-0.5, 1.5), z=st.floats(-0.2, 1.2))
def test_stem_slopes(dead_band: float, target: float, z: float) -> None:
    def law(which: int) -> Callable[[float], tuple[float, float]]:
        def at(x: float) -> tuple[float, float]:
            point = (x, z) if which == 1 else (target, x)
            rate = stem_rate_of(stem(dead_band), -point[0], point[1])
            return rate[0], -rate[1] if which == 1 else rate[2]

        return at

    assert_slope(law(1), target, 1e-8, 50.0)
    assert_slope(law(2), z, 1e-8, 50.0)


def test_stem_joins() -> None:
    dead_band = 0.04
    limits = [e + s * STEM_CORNER for e in (-0.1, 1.1) for s in (-1.0, 1.0)]

    def by_target(x: float) -> tuple[float, float]:
        rate, by_pressure, _ = stem_rate_of(stem(0.0), -x, 0.5)
        return rate, -by_pressure

    def by_play(x: float) -> tuple[float, float]:
        rate, by_pressure, _ = stem_rate_of(stem(dead_band), -0.5 - x, 0.5)
        return rate, -by_pressure

    assert_joins(by_target, limits, 50.0, 1e-9)
    edges = [s * dead_band * (1.0 + e * DEAD_BAND_CORNER) for s in (-1.0, 1.0) for e in (0.0, 1.0)]
    assert_joins(by_play, edges, 50.0, 1e-9)
    assert by_play(0.9 * dead_band) == (0.0, 0.0)


@examples
@given(
    x=st.one_of(st.floats(-1e-3, 5e-3), st.floats(-2e-4, 2e-4), st.floats(3e-3, 3.5e-3)),
    v=st.one_of(st.floats(-1.0, 1.0), st.floats(-5e-3, 5e-3)),
)
def test_motion_slopes(x: float, v: float) -> None:
    row = mover(spring_force=-2e3, spring_rate=6e4)
    bend = 0.3 * 2.0 * math.sqrt(4e6 * 12.0) * abs(v) / BLEND  # of the contact's damper

    def by_x(at: float) -> tuple[float, float]:
        a = motion_of(row, at, v, 5e3)
        return a[0], a[1]

    def by_v(at: float) -> tuple[float, float]:
        a = motion_of(row, x, at, 5e3)
        return a[0], a[2]

    if min(abs(abs(x - end) - BLEND) for end in (0.0, 3.25e-3)) > 1e-9:
        # the damper's share is continuous; its slope with x, which speed multiplies, is not
        assert_slope(by_x, x, 1e-10, (4e6 + bend) / 12.0)
    assert_slope(by_v, v, 1e-8, 1e4)


@examples
@given(v=st.floats(-1.0, 1.0), x=st.floats(-1e-3, 4e-3))
def test_friction_and_dampers_only_brake(v: float, x: float) -> None:
    """What the speed adds to the force never drives the mover."""
    still = motion_of(mover(), x, 0.0, 0.0)[0]
    assert (motion_of(mover(), x, v, 0.0)[0] - still) * v <= 1e-9


# flow

PRESSURES = st.floats(0.9e5, 12e5)
NEAR = st.one_of(
    st.floats(-1.0, 1.0).map(lambda e: e),
    st.floats(-4.0 * LAMINAR, 4.0 * LAMINAR),
    st.floats(-1e-4, 1e-4),
)
"""Relative difference of the two pressures, often small."""
TEMPERATURES = st.floats(230.0, 340.0)


def beside(pa: float, near: float) -> float:
    """A second pressure that differs from the first by a share of the larger one."""
    return max(pa * (1.0 + near) if near < 0 else pa / (1.0 - min(near, 0.9)), 1e4)


FlowLaw = Callable[[float, float, float, float], tuple[float, float, float, float, float]]


def some_orifice(
    pa: float, ta: float, pb: float, tb: float
) -> tuple[float, float, float, float, float]:
    return orifice(1e-8, 0.3, pa, ta, pb, tb)


def some_pipe(
    pa: float, ta: float, pb: float, tb: float
) -> tuple[float, float, float, float, float]:
    return pipe(0.01, 1.2, 2e-6, 1.0, pa, ta, pb, tb, 0.0)[:5]


BOTH_LAWS = pytest.mark.parametrize("law", [some_orifice, some_pipe])


def assert_flow_slopes(law: FlowLaw, pa: float, pb: float, t: float, tolerance: float) -> None:
    """Slopes with both pressures and with the temperature upstream. The steps suit the scale on
    which the law bends: the pressure difference, down to where all is linear."""
    flow, up, down, _, by_t = law(pa, t, pb, t)
    size = abs(up) + abs(down)
    step = 1e-5 * max(abs(pa - pb), 1e-5 * pa)
    assert_slope(lambda x: law(x, t, pb, t)[:2], pa, step, size, tolerance)
    assert_slope(lambda x: (law(pa, t, x, t)[0], law(pa, t, x, t)[2]), pb, step, size, tolerance)
    above, below = law(pa, t * 1.0001, pb, t * 1.0001)[0], law(pa, t / 1.0001, pb, t / 1.0001)[0]
    wide = max(abs(flow) / t, size * 1e-6 * pa / t)
    assert (above - below) / (t * 1.0001 - t / 1.0001) == pytest.approx(by_t, abs=1e-4 * wide)


@examples
@given(PRESSURES, NEAR, TEMPERATURES, st.floats(0.0, 0.999))
def test_orifice_slopes(pa: float, near: float, t: float, b: float) -> None:
    def law(pa: float, ta: float, pb: float, tb: float) -> tuple[float, float, float, float, float]:
        return orifice(1e-8, b, pa, ta, pb, tb)

    assert_flow_slopes(law, pa, beside(pa, near), t, 2e-3 if b > 0.95 else 1e-4)


@pytest.mark.parametrize("b", [0.0, 0.2, 0.5283, 0.9, 0.996])
def test_orifice_joins(b: float) -> None:
    """Across the laminar blend, equal pressures and choking, in both directions."""
    p = 6e5
    joints = [1.0, 1.0 - LAMINAR, 1.0 / (1.0 - LAMINAR)]
    joints += [b, 1.0 / b] if b > 0.0 else []
    size = orifice(1e-8, b, p, 293.0, p, 293.0)[1]
    for direction in (1, 2):  # the slope with pa, with pb

        def law(ratio: float, direction: int = direction) -> tuple[float, float]:
            result = orifice(1e-8, b, p, 293.0, p * ratio, 293.0)
            return result[0], result[direction]

        assert_joins(law, joints, size * p, 1e-10)


@BOTH_LAWS
@pytest.mark.parametrize("near", [1e-9, -1e-9, 1e-3, -1e-3, 0.3])
def test_the_temperature_upstream_is_carried_and_counts(law: FlowLaw, near: float) -> None:
    """The side the air comes from decides both, however small the difference; the other side's
    temperature changes nothing."""
    pa, pb = 5e5, 5e5 * (1.0 - near)
    upstream, other = (280.0, 320.0) if near > 0.0 else (320.0, 280.0)
    found = law(pa, 280.0, pb, 320.0)
    assert found[3] == upstream
    same = law(pa, upstream, pb, upstream)
    assert found == same
    assert found[0] != law(pa, other, pb, other)[0]


@BOTH_LAWS
def test_the_flow_turns_without_a_jump(law: FlowLaw) -> None:
    """No flow at equal pressures, whatever the temperatures; the slopes with both pressures are
    equal and opposite, and just before and just after they differ by what the temperatures do."""
    p = 5e5
    flow, up, down, carry, by_t = law(p, 280.0, p, 320.0)
    assert flow == by_t == 0.0
    assert up == -down
    assert carry == 280.0
    for sign, t in ((1.0, 280.0), (-1.0, 320.0)):
        found = law(p * (1.0 + sign * 1e-9), 280.0, p, 320.0)
        assert found[0] == pytest.approx(sign * 1e-9 * p * found[1], rel=1e-6)
        assert found[1] == pytest.approx(law(p, t, p, t)[1], rel=1e-6)


PIPES = st.tuples(
    st.floats(3e-3, 6e-2), st.floats(0.7, 4.0), st.one_of(st.just(0.0), st.floats(-6.0, -1.5))
).map(lambda d: (d[0], d[0] * 10.0 ** d[1], 0.0 if d[2] == 0.0 else d[0] * 10.0 ** d[2]))
"""Bore, length, roughness."""


@examples
@given(PRESSURES, NEAR, TEMPERATURES, PIPES)
def test_pipe_slopes(pa: float, near: float, t: float, size: tuple[float, float, float]) -> None:
    def law(pa: float, ta: float, pb: float, tb: float) -> tuple[float, float, float, float, float]:
        return pipe(*size, 1.0, pa, ta, pb, tb, 0.0)[:5]

    pb = beside(pa, near)
    if abs(pa - pb) > 1e-6 * pa:
        assert_flow_slopes(law, pa, pb, t, 1e-4)


@examples
@given(st.floats(1.0, 40.0), PRESSURES)
def test_log_ratio(ratio: float, p2: float) -> None:
    """The series and the logarithm, to the last digits and without a step between them."""
    p1 = p2 * ratio
    assert log_ratio(p1, p2) == pytest.approx(math.log1p((p1 - p2) / p2), rel=1e-14, abs=1e-16)


@examples
@given(PRESSURES, NEAR, TEMPERATURES, PIPES, st.floats(0.7, 1.4), st.floats(0.7, 1.4))
def test_pipe_flow_from_the_friction_nearby(
    pa: float, near: float, t: float, size: tuple[float, float, float], at_a: float, at_b: float
) -> None:
    """Newton's method comes to the same flow, whatever state the friction is known at: to a few
    times the 1e-8 at which it stops, from either side."""
    pb = beside(pa, near)
    exact = pipe(*size, 1.0, pa, t, pb, t, 0.0)
    known = pipe(*size, 1.0, pa * at_a, t, pb * at_b, t, 0.0)[5]
    assert pipe(*size, 1.0, pa, t, pb, t, known)[0] == pytest.approx(exact[0], rel=5e-8)


@pytest.mark.parametrize("size", [(0.01, 1.2, 2e-6), (0.041, 25.0, 4.5e-5), (0.006, 0.03, 0.0)])
def test_pipe_never_jumps(size: tuple[float, float, float]) -> None:
    """Along a sweep of the outlet pressure, flow falls monotonically from choked through turbulent
    and laminar to reversed, and neither it nor its slope jumps."""
    p = 6e5
    drops = [s * 10.0 ** (0.02 * i) for i in range(-200, 284) for s in (-1.0, 1.0)]
    outlets = sorted({p - d for d in drops if 1e4 < p - d < 12e5})
    results = [pipe(*size, 1.0, p, 293.0, pb, 293.0, 0.0) for pb in outlets]
    for i in range(len(outlets) - 1):
        here, after, pb, pb_after = results[i], results[i + 1], outlets[i], outlets[i + 1]
        assert after[0] <= here[0] + 1e-9 * abs(here[0])
        chord = (after[0] - here[0]) / (pb_after - pb)
        steepest = min(here[2], after[2])
        flattest = max(here[2], after[2])
        # between two near points the slope lies between those at the points, or nearly so
        assert steepest * 1.02 - 1e-14 <= chord <= flattest * 0.98 + 1e-14


@pytest.mark.parametrize("length", [0.05, 1.0, 20.0])
def test_pipe_chokes_smoothly(length: float) -> None:
    """From some outlet pressure down the flow stands still, and it gets there with no slope."""
    flows = [pipe(0.01, length, 2e-6, 1.0, 8e5, 293.0, pb, 293.0, 0.0)[0] for pb in (1e4, 2e4, 3e4)]
    assert flows[0] == pytest.approx(flows[1], rel=1e-9)
    low, high = 1e4, 8e5
    for _ in range(80):
        middle = 0.5 * (low + high)
        choked = pipe(0.01, length, 2e-6, 1.0, 8e5, 293.0, middle, 293.0, 0.0)[2] == 0.0
        low, high = (middle, high) if choked else (low, middle)
    before = pipe(0.01, length, 2e-6, 1.0, 8e5, 293.0, low, 293.0, 0.0)
    after = pipe(0.01, length, 2e-6, 1.0, 8e5, 293.0, high, 293.0, 0.0)
    assert after[0] == pytest.approx(before[0], rel=1e-9)
    assert abs(after[2]) < 1e-6 * after[1]
    assert after[1] == pytest.approx(before[1], rel=1e-6)
    assert after[4] == pytest.approx(before[4], rel=1e-6)
