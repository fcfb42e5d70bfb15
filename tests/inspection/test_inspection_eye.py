"""What is seen from beside a part, and what callipers measure."""

from __future__ import annotations

import re

import pytest
from inspection_bench import after, charged, clamped, do, found, resting, says

from pneumo.errors import InputError
from pneumo.inspection.evidence import (
    DrainSeen,
    Element,
    Handle,
    Jaws,
    Lining,
    Plug,
    Plugs,
    Rod,
)
from pneumo.inspection.examine import examine
from pneumo.scenario.play import Play


def jaws(play: Play, brake: str) -> Jaws:
    return found(play, "look", brake, Jaws)


def lining(play: Play, brake: str) -> Lining:
    return found(play, "callipers", brake, Lining)


def plug(play: Play, coil: str) -> Plug:
    plugs = found(play, "look", coil, Plugs).plugs
    return next(each for each in plugs if each.coil == coil)


# jaws


def test_jaws_are_seen_open_closed_and_on_the_way() -> None:
    assert says(resting(), "look", "brake_1") == (
        "The jaws of brake_1 are open: each lining is about 3 mm off the fin."
    )
    assert says(resting(), "look", "brake_2") == (
        "The jaws of brake_2 are open: the lining is about 6 mm off the fin."
    )
    assert says(charged(), "look", "brake_1") == (
        "The jaws of brake_1 are closed: the linings touch the fin."
    )
    play = do(resting(), "close trim")
    seen = set()
    while play.now < 6.0:
        play.advance(play.now + 0.01)
        seen.add(jaws(play, "brake_2").state)
        if jaws(play, "brake_2").state == "between":
            assert "neither open nor closed" in says(play, "look", "brake_2")
    assert seen == {"open", "between", "closed"}


def test_worn_linings_show_a_wider_gap_and_seized_jaws_stay() -> None:
    worn = after(resting(), 0.1, "fault brake_1 lining-worn 2 mm")
    assert jaws(worn, "brake_1").distance == pytest.approx(
        jaws(resting(), "brake_1").distance + 0.002
    )
    play = after(resting(), 3.0, "fault brake_1 jaw-seized", "close trim")
    assert jaws(play, "brake_1").state == "open"
    assert jaws(play, "brake_2").state == "closed"


def test_without_a_fin_the_gap_is_between_the_linings() -> None:
    play = after(resting(), 0.1, "fin trim absent")
    assert not jaws(play, "brake_1").fin
    assert says(play, "look", "brake_1") == (
        "There is no fin in the jaws of brake_1. The linings are about 16 mm apart."
    )
    assert jaws(play, "brake_2").distance == jaws(play, "brake_1").distance == 0.016
    after(play, 4.0, "close trim")
    assert says(play, "look", "brake_1").endswith("The linings touch each other.")


def test_a_block_is_seen() -> None:
    assert not jaws(resting(), "brake_1").blocked
    play = after(resting(), 0.5, "block brake_1")
    assert jaws(play, "brake_1").blocked
    assert not jaws(play, "brake_2").blocked
    assert "block" in says(play, "look", "brake_1")


def test_a_broken_spring_is_seen_and_a_weak_one_is_not() -> None:
    play = after(resting(), 0.1, "fault brake_1 spring-broken")
    assert jaws(play, "brake_1").springs_broken == 1
    assert says(play, "look", "brake_1").endswith(" 1 spring of each ski is broken.")
    assert jaws(play, "brake_2") == jaws(resting(), "brake_2")
    play = after(resting(), 0.1, "fault brake_1 spring-broken 50 %")
    assert says(play, "look", "brake_1").endswith(" 2 springs of each ski are broken.")
    # the same loss of force, and nothing to be seen
    weak = after(resting(), 0.1, "fault brake_1 spring-weak 25 %")
    assert jaws(weak, "brake_1") == jaws(resting(), "brake_1")
    mended = after(play, 0.1, "replace brake_1")
    assert jaws(mended, "brake_1") == jaws(resting(), "brake_1")


def test_nothing_is_seen_of_forces_and_pressures() -> None:
    # the spring of a closed brake pushes less: nothing that an eye sees
    weak = after(charged(), 1.0, "fault brake_1 spring-weak 50 %")
    assert jaws(weak, "brake_1") == jaws(charged(), "brake_1")
    assert not re.search("bar|kN|N\\b", says(weak, "look", "brake_1"))


# callipers


def test_callipers_tell_worn_linings_from_new_ones() -> None:
    new = lining(resting(), "brake_1")
    assert new.travel == new.drawing == pytest.approx(3.3e-3, abs=1e-4)
    play = after(resting(), 0.1, "fault brake_1 lining-worn 2 mm")
    worn = lining(play, "brake_1")
    assert worn.drawing == new.drawing
    assert worn.travel == pytest.approx(new.travel + 2e-3, abs=1e-6)
    assert lining(play, "brake_2") == lining(resting(), "brake_2")
    assert says(play, "callipers", "brake_1").startswith(
        f"Callipers at brake_1: a ski travels {worn.travel * 1e3:.1f} mm to the fin"
    )


def test_one_moving_ski_makes_up_for_both_linings() -> None:
    worn = lining(after(resting(), 0.1, "fault brake_2 lining-worn 1 mm"), "brake_2")
    assert worn.travel == pytest.approx(worn.drawing + 2e-3, abs=1e-6)


def test_callipers_are_read_to_a_tenth() -> None:
    a = lining(after(resting(), 0.1, "fault brake_2 lining-worn 0.01 mm"), "brake_2")
    assert a == lining(resting(), "brake_2")


def test_a_fin_that_is_away_wears_no_lining() -> None:
    play = after(resting(), 0.1, "fin trim absent")
    for brake in ("brake_1", "brake_2"):
        assert lining(play, brake) == lining(resting(), brake)
    after(play, 0.1, "fault brake_1 lining-worn 2 mm")
    worn = lining(play, "brake_1")
    assert worn.travel == pytest.approx(worn.drawing + 2e-3, abs=1e-6)


def test_a_block_wears_no_lining() -> None:
    play = after(resting(), 0.5, "block brake_1")
    assert lining(play, "brake_1") == lining(resting(), "brake_1")


def test_callipers_are_for_brakes() -> None:
    with pytest.raises(InputError, match="gate is a double-acting cylinder and has no jaws"):
        examine(resting(), "callipers", "gate")


# rods, handles, drains, plugs


def test_a_rod_is_seen_in_out_and_between() -> None:
    play = after(resting(), 3.0, "close station")
    assert says(play, "look", "gate") == "The rod of gate is all the way in."
    seen = set()
    do(play, "open station")
    for _ in range(400):
        play.advance(play.now + 0.01)
        rod = found(play, "look", "gate", Rod)
        seen.add(rod.state)
        if rod.state == "between":
            assert re.search("is about [0-9]+ mm out, part", says(play, "look", "gate"))
    assert seen == {"in", "between", "out"}


def test_handles_drains_lamps_and_overrides_are_seen() -> None:
    play = charged()
    assert found(play, "look", "main", Handle).in_service
    assert says(play, "look", "main") == "The handle of main is in service."
    assert not found(play, "look", "store", DrainSeen).open
    assert says(play, "look", "store") == "The drain of store is closed."
    assert plug(play, "valve.14") == Plug("valve.14", lamp=True, held=False)
    lamp = "The lamp in the plug of valve.14 is lit; its manual override is not held."
    assert says(play, "look", "valve") == lamp
    after(play, 1.0, "isolate main", "drain store open", "override valve.14", "switch off feed_b")
    assert not found(play, "look", "main", Handle).in_service
    assert found(play, "look", "store", DrainSeen).open
    assert plug(play, "valve.14") == Plug("valve.14", lamp=False, held=True)
    assert [each.coil for each in found(play, "look", "pair", Plugs).plugs] == [
        "pair.14",
        "pair.12",
    ]


# silencers and filters


@pytest.mark.parametrize(
    ("fault", "dirt"),
    [("", "clean"), ("blocked 0.03", "clean"), ("blocked 0.3", "dirty"), ("blocked 0.8", "clogged"),
     ("blocked", "clogged"), ("leak 2 mm", "clean")],
)  # fmt: skip
def test_dirt_is_seen_on_a_silencer_and_on_a_filter(fault: str, dirt: str) -> None:
    for play, part in ((resting(), "silencer"), (clamped(), "cleaner")):
        if fault:
            after(play, 0.1, f"fault {part} {fault}")
        assert found(play, "look", part, Element).dirt == dirt
        assert says(play, "look", part) == f"The element of {part} is {dirt}."


def test_a_line_has_no_element() -> None:
    with pytest.raises(InputError, match="there is nothing to see on it"):
        examine(resting(), "look", "hose_1")
