"""A bar and a load cell at a jaw, and one valve switched alone."""

from __future__ import annotations

import numpy as np
import pytest
from inspection_bench import after, charged, clamped, found, resting, says

from pneumo.circuit.shipped import find_document
from pneumo.circuit.validate import load_text
from pneumo.errors import InputError
from pneumo.inspection.evidence import Cycled, Pried, Pulled
from pneumo.inspection.examine import examine
from pneumo.inspection.hand import cycled
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play


def pried(play: Play, brake: str) -> Pried:
    return found(play, "pry", brake, Pried)


def pulled(play: Play, brake: str) -> Pulled:
    return found(play, "pull", brake, Pulled)


# a bar


def test_a_free_jaw_gives_way_to_a_bar_and_a_seized_one_does_not() -> None:
    free = pried(resting(), "brake_1")
    assert free.moved >= 0.002
    assert not free.idle
    assert says(resting(), "pry", "brake_1") == (
        "Bar at brake_1: the jaw moves about 3 mm and goes back."
    )
    play = after(resting(), 0.1, "fault brake_1 jaw-seized")
    assert pried(play, "brake_1") == Pried("brake_1", 0.0, idle=False)
    assert says(play, "pry", "brake_1") == "Bar at brake_1: the jaw does not move."
    assert pried(play, "brake_2").moved > 0.0


def test_a_jaw_stiffer_than_the_bar_does_not_move_either() -> None:
    play = after(resting(), 0.1, "fault brake_1 jaw-dragging 2 kN")
    assert pried(play, "brake_1") == Pried("brake_1", 0.0, idle=False)


def test_a_bar_tells_nothing_against_springs_stronger_than_it() -> None:
    assert pried(clamped(), "strong") == Pried("strong", 0.0, idle=True)
    # whether it is seized as well cannot be told there
    seized = after(clamped(), 0.1, "fault strong jaw-seized")
    assert pried(seized, "strong") == pried(clamped(), "strong")


def test_a_bar_opens_a_brake_that_springs_close_weakly() -> None:
    light = pried(clamped(), "light")
    assert (light.moved > 0.0, light.idle) == (True, False)
    seized = after(clamped(), 0.1, "fault light jaw-seized")
    assert pried(seized, "light") == Pried("light", 0.0, idle=False)


def test_a_bar_tells_nothing_under_air_and_at_a_block() -> None:
    assert pried(charged(), "brake_1").idle
    play = after(resting(), 0.5, "block brake_1")
    assert pried(play, "brake_1") == Pried("brake_1", 0.0, idle=True)
    assert not pried(play, "brake_2").idle


def test_a_bar_leaves_the_jaw_where_it_was() -> None:
    play, twin = resting(), resting()
    pried(play, "brake_1")
    for run in (play, twin):
        after(run, 2.0, "close trim")
    np.testing.assert_array_equal(play.plant.state(), twin.plant.state())


# a load cell


def test_springs_are_measured_with_friction_on_top_and_taken_off() -> None:
    # 2 kN of springs, 60 N of friction, to the step of 50 N
    assert pulled(resting(), "brake_1") == Pulled("brake_1", 2050.0, 1950.0, idle=False)
    assert says(resting(), "pull", "brake_1") == (
        "Load cell at brake_1: the ski moves at 2.05 kN and goes back at 1.95 kN."
    )
    # 8 kN on the fin, less what its linings give: 8 kN / (4 + 0.12) kN/mm, at 120 N/mm
    clamp = pulled(clamped(), "strong")
    assert clamp.moves == pytest.approx(8000.0 - 0.12 * 8000.0 / 4.12 + 60.0, abs=25.0)


@pytest.mark.parametrize(("fault", "share"), [("spring-broken", 0.75), ("spring-weak 20 %", 0.8)])
def test_springs_that_lost_force_are_measured(fault: str, share: float) -> None:
    play = after(resting(), 0.1, f"fault brake_1 {fault}")
    less, whole = pulled(play, "brake_1"), pulled(resting(), "brake_1")
    assert less.moves is not None and less.returns is not None
    assert whole.moves is not None and whole.returns is not None
    assert less.moves + less.returns == pytest.approx(share * (whole.moves + whole.returns), abs=50)
    assert less.moves - less.returns == whole.moves - whole.returns  # its friction is the same
    assert pulled(play, "brake_2") == pulled(resting(), "brake_2")


def test_stiff_jaws_show_as_a_wider_difference() -> None:
    stiff = pulled(after(resting(), 0.1, "fault brake_1 jaw-dragging 600 N"), "brake_1")
    assert (stiff.moves, stiff.returns) == (2650.0, 1350.0)
    stuck = pulled(after(resting(), 0.1, "fault brake_1 jaw-dragging 3 kN"), "brake_1")
    assert stuck.returns == 0.0


def test_a_seized_jaw_does_not_move() -> None:
    play = after(resting(), 0.1, "fault brake_1 jaw-seized")
    assert pulled(play, "brake_1") == Pulled("brake_1", None, None, idle=False)
    assert says(play, "pull", "brake_1") == "Load cell at brake_1: the ski does not move."


def test_a_load_cell_tells_nothing_under_air_and_at_a_block() -> None:
    assert pulled(charged(), "brake_1").idle
    play = after(resting(), 0.5, "block brake_1")
    assert pulled(play, "brake_1") == Pulled("brake_1", None, None, idle=True)


@pytest.mark.parametrize("test", ["pry", "pull"])
def test_only_jaws_are_pried_and_pulled(test: str) -> None:
    with pytest.raises(InputError, match="gate is a double-acting cylinder and has no jaws"):
        examine(resting(), test, "gate")


# a valve that is switched alone


def cycle(play: Play, coil: str = "valve.14", held: float = 2.0) -> Cycled:
    """As a drill does it."""
    component, _, side = coil.partition(".")
    before = play.snapshot()
    after(play, held, f"force {coil} on")
    on = play.snapshot()
    after(play, held, f"unforce {coil}")
    return cycled(before, on, play, component, side)


def test_a_sound_valve_clicks() -> None:
    assert cycle(resting()) == Cycled(
        "valve.14", lamp=True, clicked=True, switched=True, blew=(), idle=False
    )


@pytest.mark.parametrize("fault", ["stuck", "stuck-rest", "coil-open"])
def test_a_valve_that_does_not_move_has_a_lamp_and_no_click(fault: str) -> None:
    play = after(resting(), 0.1, f"fault valve {fault}")
    assert cycle(play) == Cycled(
        "valve.14", lamp=True, clicked=False, switched=False, blew=(), idle=False
    )


def test_a_dead_output_shows_at_the_lamp() -> None:
    for fault in ("fault valve output-stuck-off", "fault feed_b lost"):
        found_ = cycle(after(resting(), 0.1, fault))
        assert (found_.lamp, found_.clicked, found_.idle) == (False, False, False)


def test_air_that_blows_while_it_is_on_is_heard() -> None:
    play = after(resting(), 0.1, "fault hose_1 leak 4 mm")
    assert cycle(play).blew == ("hose_1",)
    # what blew before is nothing that the valve did
    play = after(resting(), 0.1, "fault receiver leak 3 mm")
    assert cycle(play).blew == ()


def test_cycling_tells_nothing_where_nothing_can_switch() -> None:
    off = after(resting(), 0.1, "switch off feed_b")
    assert cycle(off) == Cycled(
        "valve.14", lamp=False, clicked=False, switched=False, blew=(), idle=True
    )
    assert cycle(after(resting(), 0.1, "power off")).idle
    # commanded on already: nothing is switched
    on = cycle(charged())
    assert (on.lamp, on.clicked, on.idle) == (True, False, True)


@pytest.mark.parametrize(
    ("faults", "clicked", "switched"),
    [((), True, False), (("fault valve_b coil-open",), False, False),
     (("force valve_a.14 on",), True, True),
     (("force valve_a.14 on", "fault valve_b pilot-lost"), True, False),
     (("force valve_a.14 on", "fault valve_b coil-open"), False, False)],
)  # fmt: skip
def test_a_pilot_clicks_without_air_and_the_valve_does_not_switch(
    faults: tuple[str, ...], clicked: bool, switched: bool
) -> None:
    """Its pilot air comes through the valve before it."""
    circuit = load_text(
        find_document("03_redundant_series_valves")
        .read_text(encoding="utf-8")
        .replace("feed: feed_b}", "feed: feed_b, operation: pilot}"),
        "x",
    )
    play = Play(compile_circuit(circuit))
    play.advance(1.0)
    found = cycle(after(play, 0.5, *faults), "valve_b.14")
    assert (found.lamp, found.clicked, found.switched) == (True, clicked, switched)
