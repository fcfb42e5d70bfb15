"""Small line charts of what a case did, as SVG, readable without colour.

Lines of zones that are not safe have a colour, a dash pattern and the name of the brake at the
end; those of safe zones are thin and grey. The colours are the eight of Okabe and Ito (2008), told
apart by colour-blind readers.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape

from pneumo.report.palette import EDGE, INK, LINE, SOFT
from pneumo.verification.verdict import Case, Trace

WIDTH = 700.0
HEIGHT = 132.0
LEFT, RIGHT, TOP, BOTTOM = 52.0, 145.0, 20.0, 22.0
MOST_LETTERS = 20
"""Of a label at a line's end; of a longer name the middle is left out, its number is kept."""
POINTS = 240
"""A line keeps at most about this many points; extremes are always kept."""

STYLES: tuple[tuple[str, str], ...] = (
    ("#0072b2", ""),
    ("#d55e00", "7 3"),
    ("#000000", "2 2"),
    ("#009e73", "10 3 2 3"),
    ("#cc79a7", "4 2"),
    ("#8a6d00", "12 3"),
    ("#56b4e9", "1 3"),
    ("#e69f00", "8 2 1 2 1 2"),
)
"""(colour, dash pattern); no two share a dash pattern."""

_Place = Callable[[float, float], tuple[float, float]]
"""From (time, value) to a point of the picture."""


@dataclass(frozen=True)
class Mark:
    """An instant worth a vertical line."""

    time: float
    """[s]"""
    label: str


@dataclass(frozen=True)
class Level:
    """A value worth a horizontal line."""

    value: float
    label: str


def case_charts(case: Case, trace: Trace) -> str:
    """Clamping force, lining-to-fin distance and pressure of one case, one chart below another:
    of each zone the brake that was furthest from the safe state, by name.

    What is judged comes first, with what is required of it: the force where the safe state is
    closed, the clearance where it is open.
    """
    bad = [o for o in case.outcomes if o.verdict != "safe" and o.zone in trace.brake]
    concerned = [o.zone for o in bad]
    states = {o.safe_state for o in bad}
    where = "at the brake furthest from the safe state"
    distance = "Clearance" if "closed" in states else "Least clearance"
    force = "Clamping force" if "closed" in states else "Remaining clamping force"
    rows = [
        (f"{distance} {where}, mm", "open", trace.position, 1e3),
        (f"{force} {where}, kN", "closed", trace.force, 1e-3),
        (f"Pressure {where}, bar (gauge)", "", trace.pressure, 1e-5),
    ]
    if "closed" in states:
        rows[:2] = rows[1::-1]
    return "".join(
        chart(
            trace.time,
            {zone: [v * factor for v in values] for zone, values in signals.items()},
            title=title,
            marks=_case_marks(case),
            levels=[
                Level(need * factor, "required")
                for need in dict.fromkeys(
                    trace.required[o.zone] for o in bad if o.safe_state == judged
                )
                if need is not None
            ],
            strong=concerned,
            names=trace.brake,
        )
        for title, judged, signals, factor in rows
        if signals
    )


def _case_marks(case: Case) -> list[Mark]:
    """When it was injected, when the safe state was demanded, and every limit."""
    marks = [Mark(case.injected_at, "injected")] if case.injection.kind != "none" else []
    if not marks or abs(case.limit_from - case.injected_at) > 1e-9:
        marks.append(Mark(case.limit_from, "demand"))
    limits = {o.limit for o in case.outcomes if o.verdict != "safe" and math.isfinite(o.limit)}
    return marks + [Mark(case.limit_from + limit, "limit") for limit in sorted(limits)]


def chart(
    time: Sequence[float],
    lines: Mapping[str, Sequence[float]],
    *,
    title: str,
    marks: Iterable[Mark] = (),
    levels: Sequence[Level] = (),
    strong: Sequence[str] | None = None,
    names: Mapping[str, str] | None = None,
    unit: str = "s",
) -> str:
    """One chart as an SVG element.

    `time` [`unit`] and every line have the same length; values that are not finite leave a gap.
    `strong`: lines drawn with colour, dashes and a label (None: all of them). `names`: what a
    label says instead of the line's key.

    Raises ValueError when a line and `time` differ in length.
    """
    for name, values in lines.items():
        if len(values) != len(time):
            raise ValueError(f"{name} has {len(values)} values for {len(time)} times")
    marked = list(marks)
    finite = [t for t in time if math.isfinite(t)]
    x_low, x_high = _range(finite or [m.time for m in marked])
    values = [v for line in lines.values() for v in line if math.isfinite(v)]
    y_ticks = ticks(*_range([*values, *(level.value for level in levels), 0.0]), 4)
    y_low, y_high = y_ticks[0], y_ticks[-1]

    def at(t: float, v: float) -> tuple[float, float]:
        return (
            LEFT + (t - x_low) / (x_high - x_low) * (WIDTH - LEFT - RIGHT),
            HEIGHT - BOTTOM - (v - y_low) / (y_high - y_low) * (HEIGHT - TOP - BOTTOM),
        )

    x_ticks = [t for t in ticks(x_low, x_high, 8) if x_low <= t <= x_high]
    body = _axes(title, y_ticks, x_ticks, unit, at)
    body += _marks([m for m in marked if x_low <= m.time <= x_high], at)
    body += _levels(levels, at)
    emphasised = [name for name in lines if strong is None or name in strong]
    body += _curves(time, lines, emphasised, names or {}, at)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="chart" width="{WIDTH:g}" '
        f'height="{HEIGHT:g}" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" '
        'font-family="DejaVu Sans, Verdana, Helvetica, Arial, sans-serif">'
        f"<title>{escape(title)}</title>{body}</svg>"
    )


def ticks(low: float, high: float, about: int) -> list[float]:
    """Round numbers from at most `low` to at least `high`, some `about` steps of 1, 2 or 5."""
    raw = (high - low) / about
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= raw * 0.999)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [i * step for i in range(first, last + 1)]


def _range(values: Sequence[float]) -> tuple[float, float]:
    """Lowest and highest, never equal."""
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    if high - low <= 1e-6 * max(abs(low), abs(high), 1e-3):
        pad = max(abs(high) * 0.5, 0.5)
        return low - (pad if low < 0 else 0.0), high + pad
    return low, high


def thinned(
    time: Sequence[float], values: Sequence[float], points: int = POINTS
) -> list[tuple[float, float]]:
    """The line with fewer points: of each stretch its first, lowest, highest and last one."""
    count = len(time)
    if count <= points:
        return list(zip(time, values, strict=True))
    kept: list[int] = []
    stretches = max(points // 4, 1)
    for k in range(stretches):
        part = range(k * count // stretches, (k + 1) * count // stretches)
        sound = [i for i in part if math.isfinite(values[i])]
        chosen = {part[0], part[-1]}
        if sound:
            chosen |= {min(sound, key=values.__getitem__), max(sound, key=values.__getitem__)}
        if len(sound) < len(part):
            chosen |= {i for i in part if not math.isfinite(values[i])}
        kept += sorted(chosen)
    return [(time[i], values[i]) for i in kept]


def _curves(
    time: Sequence[float],
    lines: Mapping[str, Sequence[float]],
    emphasised: Sequence[str],
    names: Mapping[str, str],
    at: _Place,
) -> str:
    """All lines, the emphasised ones over the others and with a label each."""
    body = "".join(
        _curve(time, lines[name], at, EDGE, "", 0.8, POINTS // 4)
        for name in lines
        if name not in emphasised
    )
    tags: list[tuple[float, str, str, str]] = []
    for i, name in enumerate(emphasised):
        colour, dash = STYLES[i % len(STYLES)]
        body += _curve(time, lines[name], at, colour, dash, 1.7)
        ends = [v for v in lines[name] if math.isfinite(v)]
        if ends:
            tags.append((at(0.0, ends[-1])[1], names.get(name, name), colour, dash))
    body += _tags(tags)
    if len(emphasised) < len(lines):
        body += _words(WIDTH - RIGHT + 8, TOP - 7, "grey: safe zones", SOFT, 9.5)
    return body


def _curve(
    time: Sequence[float],
    values: Sequence[float],
    at: _Place,
    colour: str,
    dash: str,
    wide: float,
    points: int = POINTS,
) -> str:
    runs: list[list[tuple[str, str]]] = [[]]
    for t, v in thinned(time, values, points):
        if not (math.isfinite(v) and math.isfinite(t)):
            runs.append([])
            continue
        x, y = at(t, v)
        here = f"{x:.1f}", f"{y:.1f}"
        if len(runs[-1]) > 1 and runs[-1][-1][1] == runs[-1][-2][1] == here[1]:
            runs[-1].pop()  # the middle of a level stretch
        runs[-1].append(here)
    d = "".join("M" + "L".join(" ".join(point) for point in run) for run in runs if run)
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    if not d:
        return ""
    return f'<path d="{d}" fill="none" stroke="{colour}" stroke-width="{wide:g}"{dashed}/>'


def _axes(
    title: str, y_ticks: Sequence[float], x_ticks: Sequence[float], unit: str, at: _Place
) -> str:
    body = _words(LEFT, 12, title, INK, 10.5)
    right, floor = WIDTH - RIGHT, HEIGHT - BOTTOM
    for v in y_ticks:
        y = at(0.0, v)[1]
        body += f'<path d="M{LEFT:g} {y:.1f}H{right:g}" stroke="{LINE}" stroke-width="0.7"/>'
        body += _words(LEFT - 5, y + 3.5, f"{v:.6g}", SOFT, 9.5, "end")
    for t in x_ticks:
        x = at(t, 0.0)[0]
        body += f'<path d="M{x:.1f} {floor:g}v4" stroke="{SOFT}" stroke-width="0.7"/>'
        body += _words(x, floor + 14, f"{t:.6g}", SOFT, 9.5, "middle")
    body += f'<path d="M{LEFT:g} {floor:g}H{right:g}" stroke="{SOFT}" stroke-width="0.9"/>'
    return body + _words(right + 8, floor + 14, unit, SOFT, 9.5)


def _marks(marks: Sequence[Mark], at: _Place) -> str:
    body, last = "", -1e9
    for mark in sorted(marks, key=lambda m: m.time):
        x = at(mark.time, 0.0)[0]
        dash = "2 3" if mark.label == "limit" else ""
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        body += (
            f'<path d="M{x:.1f} {TOP - 2:g}V{HEIGHT - BOTTOM:g}" stroke="{INK}" '
            f'stroke-width="0.9"{dashed}/>'
        )
        # labels that would lie on each other go on two levels
        level = TOP + (16.0 if x - last < 40.0 else 6.0)
        last = x if level < TOP + 10 else last
        body += _words(x + 3, level, mark.label, INK, 9.0)
    return body


def _levels(levels: Sequence[Level], at: _Place) -> str:
    body = ""
    for level in levels:
        y = at(0.0, level.value)[1]
        body += (
            f'<path d="M{LEFT:g} {y:.1f}H{WIDTH - RIGHT:g}" stroke="{INK}" stroke-width="0.9" '
            'stroke-dasharray="1 3"/>'
        )
        body += _words(WIDTH - RIGHT - 4, y - 3, level.label, INK, 9.0, "end")
    return body


def _tags(tags: list[tuple[float, str, str, str]]) -> str:
    """Names at the ends of the lines, pushed apart where they would touch."""
    tags = sorted(tags)
    ys = [y for y, *_ in tags]
    for i in range(1, len(ys)):
        ys[i] = max(ys[i], ys[i - 1] + 11.0)
    # below stands what the times are in
    over = max(ys[-1] - (HEIGHT - BOTTOM), 0.0) if ys else 0.0
    body = ""
    for y, (_, name, colour, dash) in zip(ys, tags, strict=True):
        x = WIDTH - RIGHT + 4
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        body += f'<path d="M{x:g} {y - over:.1f}h16" stroke="{colour}" stroke-width="1.7"{dashed}/>'
        short = name if len(name) <= MOST_LETTERS else f"{name[:10]}…{name[-9:]}"
        body += _words(x + 19, y - over + 3.5, short, INK, 9.5)
    return body


def _words(x: float, y: float, words: str, colour: str, size: float, anchor: str = "start") -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" fill="{colour}" '
        f'text-anchor="{anchor}">{escape(words)}</text>'
    )
