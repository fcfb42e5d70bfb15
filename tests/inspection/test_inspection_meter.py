"""A multimeter at a coil's plug, at its winding, at the controller's output card."""

from __future__ import annotations

import pytest
from inspection_bench import after, charged, found, resting, says

from pneumo.inspection.evidence import Card, Plugs, Voltage, Winding
from pneumo.scenario.play import Play


def volts(play: Play, coil: str) -> float:
    return found(play, "voltage", coil, Voltage).volts


def winding(play: Play, coil: str) -> Winding:
    return found(play, "resistance", coil, Winding)


def card(play: Play, coil: str) -> Card:
    return found(play, "card", coil, Card)


def lit(play: Play, coil: str) -> bool:
    plugs = found(play, "look", coil, Plugs).plugs
    return next(each.lamp for each in plugs if each.coil == coil)


def test_a_coil_has_the_voltage_of_its_feed_while_it_is_on() -> None:
    assert volts(charged(), "valve.14") == 48.0
    assert says(charged(), "voltage", "valve.14") == "48 V at the plug of valve.14."
    assert says(charged(), "voltage", "valve") == says(charged(), "voltage", "valve.14")
    assert volts(resting(), "valve.14") == 0.0
    assert winding(resting(), "valve.14") == Winding("valve.14", 461.0, live=False, idle=False)
    # without a feed the usual voltage is taken
    assert winding(resting(), "plain").ohms == 115.0
    assert says(resting(), "resistance", "plain") == (
        "Winding of plain.14, plug off: about 115 ohm, normal for such a coil."
    )


def test_a_winding_is_measured_only_without_voltage() -> None:
    assert winding(charged(), "valve.14") == Winding("valve.14", None, live=True, idle=True)
    assert "nothing was measured" in says(charged(), "resistance", "valve.14")


@pytest.mark.parametrize("act", ["switch off feed_b", "power off", "fault feed_b lost"])
def test_without_its_feed_there_is_no_voltage(act: str) -> None:
    play = after(charged(), 0.1, act)
    assert volts(play, "valve.14") == 0.0
    assert card(play, "valve.14").volts == 0.0
    assert winding(play, "valve.14").ohms == 461.0
    assert not lit(play, "valve.14")


def test_a_broken_coil_is_told_from_a_dead_output() -> None:
    # at once: the logic takes its command back when it sees the pressure go
    broken = after(charged(), 0.05, "fault valve coil-open")
    assert volts(broken, "valve.14") == 48.0
    assert lit(broken, "valve.14")
    broken = after(resting(), 1.0, "fault valve coil-open")
    assert winding(broken, "valve.14") == Winding("valve.14", None, live=False, idle=False)
    assert says(broken, "resistance", "valve.14").endswith("open circuit.")
    dead = after(charged(), 0.05, "fault valve output-stuck-off")
    assert volts(dead, "valve.14") == 0.0
    assert winding(dead, "valve.14").ohms == 461.0
    assert not lit(dead, "valve.14")
    on = after(resting(), 1.0, "fault valve output-stuck-on")
    assert volts(on, "valve.14") == 48.0


def test_a_coil_is_found_good_again_when_it_was_put_right() -> None:
    play = after(resting(), 0.5, "fault valve coil-open")
    after(play, 0.5, "clear valve coil-open")
    assert winding(play, "valve.14") == winding(resting(), "valve.14")


def test_each_of_two_coils_is_measured_by_itself() -> None:
    play = after(resting(), 0.5, "fault pair coil-12-open", "fault pair output-14-stuck-on")
    assert volts(play, "pair.14") == 48.0
    after(play, 0.5, "open station", "clear pair output-14-stuck-on", "power off")
    assert winding(play, "pair.12").ohms is None
    assert winding(play, "pair.14").ohms == 461.0


def test_a_soft_start_has_voltage_as_long_as_it_is_switched_on() -> None:
    play = resting()
    assert volts(play, "start.14") == card(play, "start.14").volts == 48.0
    after(play, 0.1, "switch off start")
    assert volts(play, "start.14") == card(play, "start.14").volts == 0.0


def test_a_forced_output_has_voltage() -> None:
    play = after(resting(), 0.5, "force valve.14 on")
    assert volts(play, "valve.14") == 48.0


# the card, beside the plug


def test_the_card_tells_what_is_wrong_with_an_output() -> None:
    sound = card(after(resting(), 0.5, "force valve.14 on"), "valve.14")
    assert sound == Card("valve.14", lamp=True, volts=48.0, idle=False)
    assert says(charged(), "card", "valve.14") == (
        "Output card, valve.14: its lamp is lit, 48 V at its terminal."
    )
    dead = after(resting(), 0.5, "fault valve output-stuck-off", "force valve.14 on")
    assert card(dead, "valve.14") == Card("valve.14", lamp=True, volts=0.0, idle=False)
    stuck = after(resting(), 0.5, "fault valve output-stuck-on")
    assert card(stuck, "valve.14") == Card("valve.14", lamp=False, volts=48.0, idle=False)
    coil = after(resting(), 0.5, "fault valve coil-open", "force valve.14 on")
    assert card(coil, "valve.14") == sound


def test_a_lost_feed_is_told_from_a_dead_output() -> None:
    """Both leave a terminal without voltage under a lit lamp; of a lost feed every output of it."""
    on = ("force valve.14 on", "force pair.14 on")
    lost = after(resting(), 0.5, "fault feed_b lost", *on)
    assert card(lost, "valve.14") == Card("valve.14", lamp=True, volts=0.0, idle=False)
    assert card(lost, "pair.14").volts == 0.0
    dead = after(resting(), 0.5, "fault valve output-stuck-off", *on)
    assert card(dead, "valve.14") == card(lost, "valve.14")
    assert card(dead, "pair.14").volts == 48.0


def test_swapped_plugs_are_told_by_card_and_plug() -> None:
    play = after(resting(), 0.5, "force valve.14 on", "swap valve.14 pair.14")
    # the output is sound, and its voltage arrives at the other coil
    assert card(play, "valve.14") == Card("valve.14", lamp=True, volts=48.0, idle=False)
    assert (volts(play, "valve.14"), volts(play, "pair.14")) == (0.0, 48.0)
    assert (lit(play, "valve.14"), lit(play, "pair.14")) == (False, True)
    # a winding stays where it is
    broken = after(resting(), 0.5, "fault valve coil-open", "swap valve.14 pair.14")
    assert winding(broken, "valve.14").ohms is None
    assert winding(broken, "pair.14").ohms == 461.0
    # and so does an output
    dead = after(resting(), 0.5, "fault valve output-stuck-off", "swap valve.14 pair.14",
                 "force valve.14 on", "force pair.14 on")  # fmt: skip
    assert (volts(dead, "valve.14"), volts(dead, "pair.14")) == (48.0, 0.0)


def test_a_voltage_is_idle_where_nothing_is_commanded() -> None:
    for test in ("voltage", "card"):
        assert found(resting(), test, "valve.14", Voltage if test == "voltage" else Card).idle
        assert not found(charged(), test, "valve.14", Voltage if test == "voltage" else Card).idle
    # found all the same
    stuck = after(resting(), 0.5, "fault valve output-stuck-on")
    assert not found(stuck, "voltage", "valve.14", Voltage).idle
    # commanded, and nothing arrives: that is a finding
    dead = after(resting(), 0.5, "fault valve output-stuck-off", "force valve.14 on")
    assert not found(dead, "voltage", "valve.14", Voltage).idle
    # the command is for the coil whose plug it is
    crossed = after(resting(), 0.5, "swap valve.14 pair.14", "force valve.14 on")
    assert not found(crossed, "voltage", "pair.14", Voltage).idle
    after(crossed, 0.5, "fault valve output-stuck-off")
    assert found(crossed, "voltage", "pair.14", Voltage) == Voltage("pair.14", 0.0, idle=False)
    assert found(crossed, "voltage", "valve.14", Voltage) == Voltage("valve.14", 0.0, idle=True)
