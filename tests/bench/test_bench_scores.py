"""The rows of the bench say what came of its faults, and no more."""

from __future__ import annotations

import json
from dataclasses import asdict

import pytest
from scores import (
    MOST_REPAIRS,
    TOO_FEW,
    Outcome,
    Repair,
    Way,
    likely_range,
    repaired,
    row,
    same_faults,
    summary,
)

pytestmark = pytest.mark.quick


def outcome(number: int, place: int = 1, share: float = 0.9, **more: object) -> Outcome:
    """A fault that shows; part by part it would take 100 and 80 min."""
    known: dict[str, object] = {"in_parts": (100.0, 80.0), **more}
    return Outcome(number, "a fault", shown=True, place=place, share=share, **known)  # type: ignore[arg-type]


def test_shares_are_of_the_faults_that_show() -> None:
    found = row("ride", [
        outcome(0, first=True, spot_place=1), outcome(1, spot_place=1),
        outcome(2, place=3, spot_place=1),
        outcome(3, place=4), outcome(4, place=0), Outcome(5, "shows nothing"),
        Outcome(6, "not calculated", trouble="no step is short enough"),
    ])  # fmt: skip
    assert (found["faults"], found["shown"], found["stopped"]) == (7, 5, 1)
    assert (found["first"], found["group_first"], found["top3"]) == (0.2, 0.4, 0.6)
    assert found["spot_first"] == 0.6


def test_minutes_stand_beside_those_of_testing_part_by_part_for_all_that_show() -> None:
    found = row("ride", [
        outcome(0, way=Way(20.0, 10.0), in_parts=(90.0, 50.0)),
        outcome(1, way=Way(10.0), in_parts=(30.0, 30.0)),
        Outcome(2, "shows nothing"),
        Outcome(3, "the ride could not be calculated", trouble="no step is short enough"),
    ])  # fmt: skip
    means = ("minutes", "minutes_in_order", "minutes_cost_over_prior", "tests")
    assert [found[name] for name in means] == [20.0, 60.0, 40.0, 15.0]
    assert (found["of_order"], found["of_cost_over_prior"]) == (0.333, 0.5)
    assert found["not_found"] == 0


def test_nobody_is_quick_by_failing() -> None:
    """Who gives up, does not notice, or comes to no finding goes on part by part."""
    assert outcome(0, way=Way(10.0, 5.0)).minutes == 15.0
    failed = [
        outcome(0, place=2, way=Way(10.0, 5.0, found=False)),
        outcome(1, place=0),
        outcome(2, place=0, trouble="no step is short enough"),
    ]
    assert [o.minutes for o in failed] == [95.0, 80.0, 80.0]
    found = row("ride", failed)
    assert (found["minutes"], found["of_cost_over_prior"]) == (85.0, 1.062)
    assert (found["shown"], found["group_first"], found["not_found"]) == (3, 0.0, 3)


def test_who_reasons_alike_is_compared_on_the_faults_that_all_three_have_played() -> None:
    ours = [
        outcome(0, way=Way(20.0, 10.0)),
        outcome(1, place=2, way=Way(10.0, 50.0, found=False)),
        outcome(2, way=Way(500.0)),  # a rival could not be calculated
        outcome(3, place=0),  # alarmed, and nothing was odd: there is no way
        Outcome(4, "shows nothing"),
    ]
    order = [outcome(1, way=Way(60.0)), outcome(0, way=Way(40.0, 20.0)), outcome(2, way=Way(1.0))]
    cost = [outcome(0, way=Way(30.0, 10.0)), outcome(1, way=Way(35.0)), Outcome(2, "", "stopped")]
    assert row("ride", ours, (order, cost))["same_reasoning"] == {
        "faults": 2, "minutes": 85.0, "in_order": 60.0, "cost_over_prior": 37.5,
        "of_order": 1.417, "of_cost_over_prior": 2.267, "given_up": [1, 0, 0],
    }  # fmt: skip


def test_a_wrong_finding_costs_its_repairs_until_the_right_one() -> None:
    right = Repair(False, 0.03, 0.0, there=True)
    likely = Repair(False, 0.04, 30.0, there=False)
    seldom = Repair(False, 0.01, 7.0, there=False)
    advised = Repair(True, 0.02, 50.0, there=False)
    assert repaired(12.0, [right, seldom]) == Way(12.0, 0.0)
    assert repaired(12.0, [right, seldom, likely]) == Way(12.0, 30.0)
    assert repaired(12.0, [right, likely, seldom, advised]).minutes == 92.0
    no_help = right._replace(needless=25.0)
    assert repaired(12.0, [no_help, seldom, likely], "too many tests") == Way(
        12.0, 55.0, True, "too many tests"
    )


def test_who_has_repaired_so_often_in_vain_gives_up() -> None:
    others = [Repair(False, 1.0, 10.0, there=False)] * 20
    right = Repair(False, 0.5, 0.0, there=True)
    assert repaired(5.0, [*others, right]) == Way(5.0, 10.0 * MOST_REPAIRS, found=False)
    few = others[: MOST_REPAIRS - 1]
    assert repaired(5.0, [*few, right]) == Way(5.0, 10.0 * len(few))


def test_sure_and_wrong_is_of_all_that_show_and_counts_from_95_percent_on() -> None:
    found = row("ride", [
        outcome(0, place=2, share=0.95), outcome(1, place=2, share=0.949),
        outcome(2, place=1, share=0.99), outcome(3, place=1, share=0.2),
    ])  # fmt: skip
    assert (found["sure"], found["wrong_of_sure"], found["sure_and_wrong"]) == (2, 1, 0.25)


def test_findings_are_counted_by_how_sure_they_were_said_to_be() -> None:
    shares = [(0.1, 2), (0.8, 1), (0.85, 1), (0.9, 1), (0.9499, 2), (0.95, 1), (1.0, 1)]
    outcomes = [outcome(n, place, share) for n, (share, place) in enumerate(shares)]
    found = row("ride", [*outcomes, Outcome(9, "shows nothing")])["calibration"]
    about = found["about_90"]
    assert (about["findings"], about["right"], about["share"]) == (3, 2, 0.667)
    assert about["too_few"]
    bins = [(each["findings"], each["right"]) for each in found["bins"]]
    assert bins == [(1, 0), (0, 0), (1, 1), (3, 2), (2, 2)]
    assert (found["right"], found["expected_right"]) == (5, 5.5)


def test_how_far_all_findings_are_from_what_was_said() -> None:
    """The variance of so many independent findings is the sum of p (1 - p)."""
    bold = [outcome(n, place=1 + n % 2, share=0.9) for n in range(100)]
    found = row("ride", bold)["calibration"]
    assert (found["more_right"], found["standard_error"]) == (-40.0, 3.0)
    timid = [outcome(0, 1, 0.5), outcome(1, 1, 0.2), outcome(2, 1, 1.0)]
    found = row("ride", timid)["calibration"]
    assert (found["more_right"], found["standard_error"]) == (1.3, 0.6)


def test_enough_findings_are_called_so_and_few_leave_a_wide_range() -> None:
    for count, few in ((TOO_FEW - 1, True), (TOO_FEW, False)):
        about = row("ride", [outcome(n) for n in range(count)])["calibration"]["about_90"]
        assert about["too_few"] is few
    assert row("ride", [])["calibration"]["about_90"]["range_95"] is None
    # Wilson's interval, worked out by hand: 9 of 10
    assert likely_range(9, 10) == [0.6, 0.98]
    assert likely_range(90, 100) == [0.83, 0.94]


def test_the_same_faults_are_compared_where_they_show_in_both() -> None:
    one = [outcome(0), outcome(1, place=2), Outcome(2, "shows nothing"), outcome(3)]
    other = [outcome(0, place=2), outcome(1, place=2), outcome(2)]
    assert same_faults(one, other) == [2, 0.5, 0.0]


def test_the_optimum_and_rides_without_a_fault_are_counted() -> None:
    found = row(
        "ride",
        [
            outcome(0, optimum=(11.0, 18.0, 12.0, 10.0)),
            outcome(1, optimum=(20.0, 30.0, 21.0, 20.0)),
            outcome(2, odd=True), Outcome(3, "shows nothing", odd=True),
            Outcome(4, "shows nothing"), Outcome(5, "", trouble="no"),
        ],
        without=[
            Outcome(0, "no fault"),
            Outcome(1, "no fault", odd=True),
            Outcome(2, "", trouble="no"),
        ],
    )  # fmt: skip
    assert found["over_optimum"] == {
        "tables": 2, "advised": 1.033, "in_order": 1.6, "cost_over_prior": 1.1,
    }  # fmt: skip
    assert (found["odd_by_noise"], found["odd_without_fault"]) == ([1, 2], [1, 2])


def test_rows_of_nothing_say_so() -> None:
    found = row("ride", [])
    assert found["group_first"] is found["minutes"] is found["of_order"] is None
    lines = list(summary({"drawn": found}))
    assert any("0 of 0, too few to say" in line for line in lines)
    assert "drawn: over_optimum: tables 0; advised -; in_order -; cost_over_prior -" in lines


def test_an_outcome_is_read_again_as_it_was_kept() -> None:
    full = outcome(
        3, said=("90% a", "5% b"), way=Way(1.0, 2.0, False, "too many tests"),
        optimum=(2.0, 4.0, 3.0, 1.0),
    )  # fmt: skip
    for each in (full, Outcome(4, "shows nothing")):
        assert Outcome.read(json.loads(json.dumps(asdict(each)))) == each
