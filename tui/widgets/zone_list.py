"""A zone as the list of zones shows it: what it believes, what its jaws do, whether it is safe."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from functools import lru_cache
from textwrap import wrap
from typing import NamedTuple

from pneumo.live.frame import Frame, ZoneFrame
from pneumo.live.places import Places
from pneumo.live.plant import Plant
from pneumo.zone.evidence import evidence_words
from pneumo.zone.waiting import Wait
from tui import text
from tui.judgement import TOUCHING, trouble
from tui.widgets.jaws import letter, picture
from tui.widgets.rows import Line, Look, Piece, cut, size, spread

BAR = 5
"""Cells of a force bar."""

STRONG = 10_000.0
"""Force that fills the bar of a zone without a required one [N]."""

FULL = 5
"""Lines of a zone that has room: all that there is to say, and an empty one."""

FINE = 5
"""Gaps that round to the same hundredth of a millimetre are drawn alike [decimals of a m]."""

WORDS = {"c": "closed", "o": "open", "-": "none", "!": "both", "·": "blind"}
"""What jaw switches say (`widgets.jaws.letter`)."""


class ZoneRow(NamedTuple):
    """All that the list shows of a zone; equal rows look the same."""

    name: str
    state: str
    mark: str
    lasted: str
    spring: str
    """Which way its springs push: spring-opened or spring-closed."""
    charge: bool
    """The logic lets air in."""
    safe: str
    trouble: str
    first_out: str
    brake: str
    values: str
    share: float
    """Of the force bar, in eighths of a cell."""
    numbers: tuple[str, ...]
    """Of its brakes."""
    gaps: tuple[float, ...]
    """Per brake, rounded [m]; () = this seat does not see them."""
    full: tuple[float, ...]
    """Gaps of open jaws [m]."""
    fin: bool
    worst: int
    """Place of the worst brake."""
    seen: str
    """What the switches say, a letter for each brake."""
    stored: str
    wait: str
    """What the logic waits for; "" = nothing."""


def zone_row(plant: Plant, frame: Frame, index: int, waiting: Collection[str] = ()) -> ZoneRow:
    """A zone as the list shows it; `waiting`: zones with an alarm that is to be acknowledged."""
    place, now = plant.places[index], frame.zones[index]
    zone = place.zone
    wrong = trouble(plant, frame, index) or ""
    faulted = now.state == "faulted"
    row = ZoneRow(
        name=zone.name,
        state=now.state,
        mark="x" if wrong or faulted else ("!" if zone.name in waiting else "·"),
        lasted=text.age(frame.time - now.since),
        spring=text.sprung(place.spring),
        charge=now.charge,
        safe=_safe_words(place, now),
        trouble=wrong,
        first_out=now.first_out if faulted else "",
        brake="",
        values="",
        share=-1.0,
        numbers=place.numbers,
        gaps=(),
        full=place.full,
        fin=zone.name not in frame.absent_fins,
        worst=zone.brakes.index(now.brake) if now.brake in zone.brakes else 0,
        seen="",
        stored=_instruments(place, frame),
        wait=_wait_words(now.waits, faulted),
    )
    if now.gap is None:  # not seen from this seat: only the switches are shown
        jaws = place.jaws_read(frame.inputs)
        return row._replace(seen="".join(letter(each) for each in jaws))
    share = (now.force or 0.0) / (zone.requirement.clamping_force or STRONG)
    numbers = f"{text.pressure(now.pressure):>9}{text.gap(now.gap):>9}{text.force(now.force):>10} "
    return row._replace(
        brake=now.brake,
        values=numbers,
        share=round(min(share, 1.0) * BAR * 8) / (BAR * 8),
        gaps=tuple(_drawn(frame.gaps[i]) for i in place.brakes),
    )


def _drawn(gap: float | None) -> float:
    """A gap as it is drawn [m]: 0 when it touches, else rounded."""
    return 0.0 if gap is None or gap < TOUCHING else max(round(gap, FINE), TOUCHING)


def heights_of(rows: Sequence[ZoneRow], height: int, width: int) -> list[int]:
    """Lines for each zone. When all have their lines, what is left goes to those in trouble, so
    that what they wait for can be read: first to those that are not safe."""
    tall = min(max(height // max(len(rows), 1), 1), FULL)
    heights = [tall] * len(rows)
    spare = height - tall * len(rows)
    if tall < FULL - 1 or spare <= 0:
        return heights
    unwell = [i for i, row in enumerate(rows) if row.mark == "x"]
    for i in sorted(unwell, key=lambda i: not rows[i].trouble):
        wanted = tall - (FULL - 1) + 3 + len(_wait_lines(rows[i], width - 2))
        more = min(max(wanted - tall, 0), spare)
        heights[i] += more
        spare -= more
    return heights


BUTTONS: Line = (
    Piece(" "), Piece("[open]", "button", "open"),
    Piece(" "), Piece("[close]", "button", "close"), Piece(" "),
)  # fmt: skip


def draw_zone(row: ZoneRow, width: int, tall: int) -> list[Line]:
    """The lines of a zone, `tall` of them, most telling first."""
    first = _first_line(row, width, tall)
    if tall == 1:
        small = row.values.rstrip() or " ".join(row.seen)
        values = () if row.trouble or row.first_out else (Piece(f"  {small}"),)
        line = (*first, *values)
        return [spread(line, BUTTONS, width) if width >= 90 else cut(line, width)]
    lines = [cut(first, width), spread(_numbers(row, width, tall), BUTTONS, width)]
    if tall >= 3:
        lines.append(cut((Piece("  " + _pictures(row, width - 2)),), width))
    if tall >= 4:
        last = max(tall - (FULL - 1), 1) if row.mark == "x" else 1
        if len(_wait_lines(row, width - 2)) > last:
            last = tall - (FULL - 2)  # rather no empty line than words that are cut
        lines += [cut((Piece("  "), *line), width) for line in _last_lines(row, width - 2, last)]
    return lines[:tall]


def _first_line(row: ZoneRow, width: int, tall: int) -> Line:
    """Name, state, and why it is not safe or whether it is."""
    cause = row.trouble or row.first_out
    mark: Look = {"x": "bad", "!": "warn"}.get(row.mark, "")  # type: ignore[assignment]
    wide = 14 if width >= 100 else 13
    head: Line = (
        Piece(f"{row.mark} ", mark),
        Piece(f"{text.short(row.name, wide):<{wide + 1}}", "bold"),
        Piece(f"{row.state:<8}", "bad" if row.state == "faulted" else ""),
        Piece("" if cause and width < 100 else f"{row.lasted:>12}  ", "muted"),
    )
    if row.trouble:
        return (*head, Piece(f"NOT SAFE, {row.trouble}", "bad"))
    rest: Line = (Piece(f"{row.spring}; ", "muted"), Piece(row.safe))
    room = width - size(head)
    if not cause:
        return head + (_most((rest, (Piece(row.safe),)), room) or rest)
    tail: Line = (Piece(f"first out: {cause}", "bad"), Piece("  "))
    room -= size(tail) + (17 if tall == 1 else 0)
    brief = row.safe.partition(" (")[0]
    return head + tail + _most((rest, (Piece(row.safe),), (Piece(brief),)), room)


def _numbers(row: ZoneRow, width: int, tall: int) -> Line:
    """The brake furthest from the safe state, or the jaw switches, and what is commanded."""
    command = f"{'command: ' if width >= 86 else 'cmd '}{'charge' if row.charge else 'vent  '}"
    air = Piece(f" {command}", "muted")
    ends, wide = (("▕", "▏"), 16) if width >= 80 else (("", ""), 15)
    if row.share >= 0.0:
        numbers: Line = (
            Piece(f"  {text.short(row.brake, wide):<{wide}}", "muted"),
            Piece(row.values),
            Piece(ends[0], "muted"), Piece(text.bar(row.share, BAR)), Piece(ends[1], "muted"),
            air,
        )  # fmt: skip
    elif tall < 3:
        numbers = (Piece("  jaw switches ", "muted"), Piece(" ".join(row.seen)), air)
    else:
        # what the switches show stands in the line below
        switches = "  jaw switches:" if tall >= 4 else ""
        numbers = (Piece("  ", "muted"), air, Piece(switches, "muted"))
    if row.trouble and width >= 110:
        return (*numbers, Piece(f" {row.spring}", "muted"))
    if row.share < 0.0 and tall < 4:
        return (*numbers, Piece(f" {row.stored}", "muted"))
    if tall == 2 and row.gaps:
        worst = picture(row.gaps[row.worst], row.full[row.worst], 2, row.fin)
        return (*numbers, Piece(f" {worst}"))
    return numbers


def _most(choices: Sequence[Line], room: int) -> Line:
    """The first line that fits."""
    fits = (line for line in choices if size(line) <= room)
    return next(fits, ())


def _last_lines(row: ZoneRow, width: int, count: int) -> list[Line]:
    """What the logic waits for and what the instruments show, in so many lines."""
    if not row.wait:
        return [(Piece(row.stored, "muted"),)]
    lines = _wait_lines(row, width)
    if len(lines) > count:
        return [
            *((Piece(line),) for line in lines[: count - 1]),
            (Piece(" ".join((lines[count - 1], *(line.strip() for line in lines[count:])))),),
        ]
    found: list[Line] = [(Piece(line),) for line in lines]
    room = width - len(lines[-1]) - 2
    if len(row.stored) <= room or len(lines) == count:
        found[-1] += (Piece("  "), Piece(row.stored, "muted"))
    else:
        found.append((Piece(row.stored, "muted"),))
    return found


def _wait_lines(row: ZoneRow, width: int) -> list[str]:
    return list(_wrapped(row.wait, max(width, 20)))


@lru_cache(maxsize=256)
def _wrapped(words: str, width: int) -> tuple[str, ...]:
    return tuple(wrap(words, width, subsequent_indent="  "))


def _widest(choices: Sequence[Sequence[str]], width: int) -> str:
    """The largest pictures that fit side by side."""
    for gap in ("  ", " "):
        for pictures in reversed(choices):
            line = gap.join(pictures)
            if len(line) <= width:
                return line
    return " ".join(choices[0])


def _safe_words(place: Places, now: ZoneFrame) -> str:
    where = {True: "in its", False: "not in its", None: "not known to be in its"}[now.judged.safe]
    if now.judged.on_its_way:
        where = "on its way to its"
    return f"{where} safe state ({place.zone.safe_state})"


def _pictures(row: ZoneRow, width: int) -> str:
    """Every brake, as large as fits; without jaws to see, what the switches say."""
    if not row.gaps:
        seen = zip(row.numbers, row.seen, strict=True)
        return _widest([[f"{number} {WORDS[each]:<6}" for number, each in seen]], width)
    brakes = list(zip(row.numbers, row.gaps, row.full, strict=True))
    sizes = [
        [f"{number} {picture(gap, full, cells, row.fin)}" for number, gap, full in brakes]
        for cells in (1, 2, 3)
    ]
    return _widest(sizes, width)


@lru_cache(maxsize=256)
def _wait_words(waits: tuple[Wait, ...], faulted: bool) -> str:
    """What keeps the zone from the first transition that something keeps it from, in short."""
    blocked = next((wait for wait in waits if wait.blocked_by), None)
    if blocked is None:
        return ""
    unseen = any(each.alarm and not each.active for each in blocked.blocked_by)
    clues = dict.fromkeys(clue for each in blocked.blocked_by for clue in each.clues)
    parts = (
        "alarms not acknowledged" if unseen else "",
        evidence_words(text.together(clues)),
    )
    head = "reset is blocked by" if faulted else f"not {blocked.to} yet"
    return f"{head}: {'; '.join(filter(None, parts))}"


def _instruments(place: Places, frame: Frame) -> str:
    """Stored air, as far as it is seen, and what the zone's pressure switches say."""
    parts = [f"{name} {text.state(frame.inputs[i])}" for name, i in place.switches]
    if place.transmitter is not None:
        name, i = place.transmitter
        parts.append(f"{name} {text.pressure(frame.readings[i])}")
    return "  ".join(parts)
