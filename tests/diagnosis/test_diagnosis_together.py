"""Which two faults would explain what was seen, by what each showed in its rehearsal."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pneumo.diagnosis.likelihood import Number, Seen
from pneumo.diagnosis.marks import Scale
from pneumo.diagnosis.screening import Part
from pneumo.diagnosis.together import best_two

ODD, FITS = -4.6, 0.0


def part(zone: str, *instruments: str) -> Seen:
    scale = Scale(1.0, 0.0, smooth=False)
    return Seen.of([Number(0.0, scale, (zone, name), (zone, name)) for name in instruments])


def shown(without: Sequence[float], rows: dict[int, Sequence[float]]) -> Part:
    """One zone: how well each instrument fits without a fault, and of those rows that change it."""
    of = part("zone", *map(str, range(len(without))))
    return Part(of, np.array([without]), np.array(list(rows)), np.array(list(rows.values())))


def two(parts: list[Part], rows: int, between: Sequence[int] = ()) -> tuple[int, int]:
    flags = np.zeros(rows, dtype=bool)
    flags[list(between)] = True
    return best_two(parts, np.arange(rows), flags)[0]


def test_two_that_explain_a_part_each_come_before_one_that_explains_all_and_contradicts_more() -> (
    None
):
    here = shown([ODD, ODD, FITS, FITS], {0: [FITS, ODD, FITS, FITS], 1: [ODD, FITS, FITS, FITS],
                                          2: [FITS, FITS, ODD, ODD]})  # fmt: skip
    assert set(two([here], 3)) == {0, 1}


def test_what_one_hides_of_the_other_is_not_held_against_it() -> None:
    # 1 would change the third instrument, which shows what 0 makes of it
    here = shown([ODD, ODD, ODD], {0: [FITS, ODD, FITS], 1: [ODD, FITS, ODD],
                                   2: [ODD, ODD, FITS]})  # fmt: skip
    assert set(two([here], 3)) == {0, 1}


def test_what_the_other_leaves_alone_is_held_against_it() -> None:
    # both 1 and 2 explain the second instrument, but 2 would have changed the third
    here = shown([ODD, ODD, FITS], {0: [FITS, ODD, FITS], 1: [ODD, FITS, FITS],
                                    2: [ODD, FITS, ODD]})  # fmt: skip
    assert set(two([here], 3)) == {0, 1}


def test_what_explains_more_alone_comes_first() -> None:
    here = shown([ODD, ODD, ODD], {0: [ODD, ODD, FITS], 1: [FITS, FITS, ODD]})
    assert two([here], 2) == (1, 0)


def test_a_severity_that_was_rehearsed_comes_before_whatever_lies_between_two() -> None:
    here = shown([ODD, ODD], {0: [FITS, ODD], 1: [ODD, FITS], 2: [FITS, ODD]})
    assert set(two([here], 3, between=[0])) == {1, 2}


def test_two_faults_of_one_part_are_not_two() -> None:
    here = shown([ODD, ODD], {0: [FITS, ODD], 1: [ODD, FITS]})
    assert best_two([here], np.array([7, 7]), np.zeros(2, dtype=bool)) == []


def test_zones_are_put_together_and_a_part_that_leaves_one_alone_is_as_usual_there() -> None:
    one, other = (shown([ODD, FITS], {row: [FITS, FITS]}) for row in (0, 1))
    assert set(two([one, other], 3)) == {0, 1}
