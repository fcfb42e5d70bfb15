"""What came of drawn faults, fault by fault, and the figures of a ride made of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from statistics import mean
from typing import Any, NamedTuple

SURE = 0.95
"""A finding of this probability is called sure."""

BINS = (0.0, 0.5, 0.8, 0.85, 0.95, 1.0)
"""Findings are counted by how sure they were said to be; the upper edge belongs to the next bin."""

ABOUT_90 = (0.85, 0.95)
"""Findings that are called about 90 % sure."""

TOO_FEW = 30
"""Of fewer findings nobody can say whether 85 to 95 % are right."""

MOST_REPAIRS = 5
"""So many repairs elsewhere that did not help, and it is given up."""


@dataclass(frozen=True)
class Way:
    """How one of them got from the first symptom to the right repair."""

    tests: float
    """Downtime until a finding is stated, right or wrong [min]."""
    needless: float = 0.0
    """Downtime of the repairs after it that did not help, each with its function test [min]."""
    found: bool = True
    """False: so many repairs were needless that it was given up; `needless` holds those."""
    ended: str = ""
    """Why the tests ended; "" = nothing more was worth asking."""

    @property
    def minutes(self) -> float:
        """From the first symptom until the right repair begins [min]."""
        return self.tests + self.needless


class Repair(NamedTuple):
    """A repair that may be made, and its function test."""

    advised: bool
    rate: float
    """Chance that it helps, for each minute."""
    needless: float
    """Downtime of what of it does not help [min]; 0 = it is the right one alone."""
    there: bool
    """It is made where the fault is, alone or among others."""


def repaired(tests: float, repairs: Iterable[Repair], ended: str = "") -> Way:
    """What follows a finding: the repair that is advised, then by chance for each minute, until one
    is made at the right part. Where that does not help, the part is worked on once more, and it
    does."""
    order = sorted(repairs, key=lambda repair: (not repair.advised, -repair.rate))
    needless = 0.0
    for repair in order[:MOST_REPAIRS]:
        needless += repair.needless
        if repair.there:
            return Way(tests, needless, True, ended)
    return Way(tests, needless, False, ended)


@dataclass(frozen=True)
class Outcome:
    """What came of one fault, or of a ride without any."""

    number: int
    """Of the draw."""
    fault: str
    trouble: str = ""
    """What stopped the ride or the reasoning; "" = nothing."""
    shown: bool = False
    """Something tripped, or would have been odd to instruments that are perfect."""
    odd: bool = False
    """Something was odd to the instruments as they are."""
    first: bool = False
    """The very mode stands first."""
    place: int = 0
    """Where the right spot and repair stand in the end among all spots, nothing and none of these
    counted as well; from 1, 0 = nowhere."""
    spot_place: int = 0
    """The same, spots alone."""
    share: float = 0.0
    """Of what stands first: how sure the finding was."""
    right_share: float = 0.0
    """Of the right spot and repair."""
    said: tuple[str, ...] = ()
    """What stands first in the end, in words, with shares."""
    way: Way | None = None
    """None: it did not come so far."""
    in_parts: tuple[float, float] | None = None
    """Of what shows: downtime until the right repair begins for who tests part by part, in order
    and by cost over prior [min]."""
    optimum: tuple[float, ...] | None = None
    """Of the first table of tests, cut down until it can be solved: expected minutes as advised,
    in the order of the circuit, by cost over prior, and the least there can be."""
    first_seconds: float = 0.0
    """Of thinking about the first symptom, processor time [s]."""
    rank_seconds: float = 0.0
    """The longest ranking after an act, processor time [s]."""
    ask_seconds: float = 0.0
    """The longest choice of a test, processor time [s]."""
    seconds: float = 0.0
    """Of all of it, the ride and its plant with it, processor time [s]."""
    memory: float = 0.0
    """Most that its process has taken until then [MB]."""

    @property
    def group_first(self) -> bool:
        """What stands first is the spot where the fault is, and a repair that ends it."""
        return self.place == 1

    @property
    def minutes(self) -> float:
        """Downtime until the right repair begins [min]. Who gives up, notices nothing or comes to
        no finding goes on part by part, by cost over prior: nobody is quick by failing."""
        spent = self.way.minutes if self.way else 0.0
        if self.way and self.way.found:
            return spent
        assert self.in_parts is not None  # it shows
        return spent + self.in_parts[1]

    @staticmethod
    def read(kept: dict[str, Any]) -> Outcome:
        """From what `json` makes of it."""
        way = kept["way"]
        return Outcome(**{
            **kept,
            "said": tuple(kept["said"]),
            "way": None if way is None else Way(**way),
            **{
                name: None if kept[name] is None else tuple(kept[name])
                for name in ("in_parts", "optimum")
            },
        })  # fmt: skip


def row(
    ride: str,
    outcomes: Sequence[Outcome],
    rivals: tuple[Sequence[Outcome], Sequence[Outcome]] = ((), ()),
    without: Sequence[Outcome] = (),
) -> dict[str, Any]:
    """The figures of a ride, of the faults that show at all; shares and minutes are null where
    there is nothing to take them of.

    Parameters
    ----------
    rivals
        What came of the same faults with tests in the order of the circuit, and by cost over prior;
        as many of them as were played.
    without
        Rides without a fault.
    """
    shown = [o for o in outcomes if o.shown]
    sure = [o for o in shown if o.share >= SURE]
    wrong = [o for o in sure if not o.group_first]
    silent = [o for o in outcomes if not (o.shown or o.trouble)]
    ended = [o for o in without if not o.trouble]
    return {
        "ride": ride,
        "faults": len(outcomes),
        "stopped": sum(bool(o.trouble) for o in outcomes),
        "shown": len(shown),
        "first": _share(sum(o.first for o in shown), len(shown)),
        "group_first": _share(sum(o.group_first for o in shown), len(shown)),
        "spot_first": _share(sum(o.spot_place == 1 for o in shown), len(shown)),
        "top3": _share(sum(1 <= o.place <= 3 for o in shown), len(shown)),
        **_minutes(shown),
        "same_reasoning": _same_reasoning(shown, *rivals),
        "tests": _mean(o.way.tests for o in shown if o.way),
        "not_found": sum(not (o.way and o.way.found) for o in shown),
        "broken_off": sum(bool(o.way and o.way.ended) for o in shown),
        "sure": len(sure),
        "sure_and_wrong": _share(len(wrong), len(shown)),
        "wrong_of_sure": len(wrong),
        "calibration": calibration(shown),
        "over_optimum": over_optimum([o.optimum for o in shown if o.optimum]),
        "odd_by_noise": [sum(o.odd for o in silent), len(silent)],
        "odd_without_fault": [sum(o.odd for o in ended), len(ended)],
        "first_seconds": _mean(o.first_seconds for o in shown),
        "rank_seconds": max((o.rank_seconds for o in shown), default=None),
        "ask_seconds": max((o.ask_seconds for o in shown), default=None),
        "seconds": _mean(o.seconds for o in outcomes),
        "memory": max((o.memory for o in shown), default=None),
    }


def _minutes(shown: Sequence[Outcome]) -> dict[str, Any]:
    """Means over all that show, and what part ours are of what testing part by part takes."""
    ours = [o.minutes for o in shown]
    order, cost = ([o.in_parts[at] for o in shown if o.in_parts] for at in (0, 1))
    return {
        "minutes": _mean(ours),
        "minutes_in_order": _mean(order),
        "minutes_cost_over_prior": _mean(cost),
        "of_order": _ratio(ours, order),
        "of_cost_over_prior": _ratio(ours, cost),
    }


def _same_reasoning(*tables: Sequence[Outcome]) -> dict[str, Any]:
    """The same of the faults that all three have played: ours, and two that reason alike and choose
    the tests otherwise."""
    by_number = [{o.number: o for o in table if o.way} for table in tables]
    played = sorted(set.intersection(*map(set, by_number)))
    minutes = [[own[number].minutes for number in played] for own in by_number]
    ours, order, cost = minutes
    return {
        "faults": len(played),
        "minutes": _mean(ours),
        "in_order": _mean(order),
        "cost_over_prior": _mean(cost),
        "of_order": _ratio(ours, order),
        "of_cost_over_prior": _ratio(ours, cost),
        "given_up": [
            sum(not (way and way.found) for way in (own[number].way for number in played))
            for own in by_number
        ],
    }


def calibration(findings: Sequence[Outcome]) -> dict[str, Any]:
    """How many findings were right, by how sure they were said to be."""
    about = [o for o in findings if ABOUT_90[0] <= o.share < ABOUT_90[1]]
    right = sum(o.group_first for o in about)
    expected = sum(o.share for o in findings)
    all_right = sum(o.group_first for o in findings)
    return {
        "about_90": {
            "findings": len(about),
            "right": right,
            "share": _share(right, len(about)),
            "range_95": likely_range(right, len(about)),
            "too_few": len(about) < TOO_FEW,
        },
        "expected_right": round(expected, 1),
        "right": all_right,
        "more_right": round(all_right - expected, 1),
        "standard_error": round(sqrt(sum(o.share * (1.0 - o.share) for o in findings)), 1),
        "bins": [
            {
                "said": [low, high],
                "findings": len(own),
                "mean_said": _share(sum(o.share for o in own), len(own)),
                "right": sum(o.group_first for o in own),
            }
            for low, high in pairwise(BINS)
            for own in [[o for o in findings if low <= o.share < high or o.share == high == 1.0]]
        ],
    }


def likely_range(right: int, of: int) -> list[float] | None:
    """Shares that so many of so many allow for with 95 % (Wilson 1927, from memory)."""
    if not of:
        return None
    z, share = 1.96, right / of
    middle = share + z * z / (2 * of)
    half = z * sqrt(share * (1 - share) / of + z * z / (4 * of * of))
    return [round((middle + way * half) / (1 + z * z / of), 2) for way in (-1, 1)]


def same_faults(one: Sequence[Outcome], other: Sequence[Outcome]) -> list[Any]:
    """[faults that show in both tables, group first in one, group first in the other]."""
    shown = {o.number: o for o in other if o.shown}
    pairs = [(o, shown[o.number]) for o in one if o.shown and o.number in shown]
    firsts = ([pair[at].group_first for pair in pairs] for at in (0, 1))
    return [len(pairs), *(_share(sum(each), len(pairs)) for each in firsts)]


def over_optimum(tables: Sequence[tuple[float, ...]]) -> dict[str, Any]:
    """Minutes over the least, all in all: as advised, and for two that choose otherwise."""
    names = ("advised", "in_order", "cost_over_prior")
    *ways, least = zip(*tables, strict=True) if tables else [()] * 4
    ratios = (_ratio(way, least) for way in ways)
    return {"tables": len(tables), **dict(zip(names, ratios, strict=True))}


def _ratio(minutes: Sequence[float], others: Sequence[float]) -> float | None:
    whole = sum(others)
    return round(sum(minutes) / whole, 3) if whole > 0 else None


def _share(of: float, among: int) -> float | None:
    return round(of / among, 3) if among else None


def _mean(values: Iterable[float]) -> float | None:
    found = list(values)
    return round(mean(found), 1) if found else None


_APART = ("same_reasoning", "over_optimum")
"""Figures that have a line of their own."""


def summary(rows: dict[str, Any]) -> Iterator[str]:
    """The figures of the tables side by side, in lines, and how far each can be believed."""
    names = dict.fromkeys(name for own in rows.values() for name in own)
    cells = [["", *rows]]
    for name in names:
        if name not in (*_APART, "calibration"):
            cells.append([name, *(_short(own.get(name)) for own in rows.values())])
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    for line in cells:
        yield "  ".join(map(str.ljust, line, widths)).rstrip()
    for table, own in rows.items():
        for name in _APART:
            told = (f"{key} {_short(value)}" for key, value in own[name].items())
            yield f"{table}: {name}: {'; '.join(told)}"
        yield from _calibration_lines(table, own["calibration"])


def _calibration_lines(table: str, found: dict[str, Any]) -> Iterator[str]:
    about = found["about_90"]
    line = f"{table}: of findings called about 90 % sure {about['right']} of {about['findings']}"
    if about["range_95"]:
        low, high = about["range_95"]
        line += f" were right ({low:.0%} to {high:.0%})"
    if about["too_few"]:
        line += ", too few to say"
    off, error = found["more_right"], found["standard_error"]
    yield f"{line}; of all {found['right']}, expected {found['expected_right']}: {off:+} ± {error}"
    for each in found["bins"]:
        if each["findings"]:
            low, high = each["said"]
            called = f"{low:.0%} to {high:.0%}, {each['mean_said']:.0%} on average"
            yield f"  called {called}: {each['right']} of {each['findings']} right"


def _short(value: Any) -> str:
    if value is None:
        return "-"
    return ", ".join(map(_short, value)) if isinstance(value, list) else f"{value}"
