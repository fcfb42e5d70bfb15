"""What is heard beside a part, and what soapy water shows at its joints."""

from __future__ import annotations

import pytest
from inspection_bench import after, charged, found, resting, says

from pneumo.inspection.ear import blowing
from pneumo.inspection.evidence import Bubbles, Heard, Leaking, Outflow
from pneumo.inspection.moment import Moment
from pneumo.scenario.play import Play


def heard(play: Play, target: str) -> Heard:
    return found(play, "listen", target, Heard)


def soaped(play: Play, target: str) -> Bubbles:
    return found(play, "soap", target, Bubbles)


def quiet(play: Play, target: str) -> bool:
    sound = heard(play, target)
    return not sound.outflows and not sound.beside


def places(play: Play, target: str) -> list[tuple[str, str]]:
    return [(each.where, each.port) for each in heard(play, target).outflows]


def test_a_tight_plant_at_rest_is_quiet() -> None:
    for name in ("receiver", "tee", "valve", "silencer", "hose_1", "brake_1", "relief"):
        assert quiet(charged(), name)
        assert says(charged(), "listen", name) == f"At {name}: no sound."


@pytest.mark.parametrize(
    ("size", "word"), [("0.2 mm", "faint"), ("1 mm", "clear"), ("4 mm", "loud")]
)
def test_a_hole_hisses_by_its_size(size: str, word: str) -> None:
    play = after(charged(), 0.1, f"fault hose_1 leak {size}")
    assert heard(play, "hose_1").outflows == (Outflow("hole", "2", word),)  # type: ignore[arg-type]
    assert says(play, "listen", "hose_1").startswith(
        f"At hose_1: a {word} hiss at port 2, where no air should escape"
    )
    assert quiet(play, "hose_2")


def test_a_hole_too_small_is_not_heard() -> None:
    play = after(charged(), 0.1, "fault hose_1 leak 0.01 mm")
    assert quiet(play, "hose_1")
    assert not heard(play, "hose_1").idle


def test_a_hole_is_heard_only_while_there_is_air_behind_it() -> None:
    play = after(resting(), 0.1, "fault brake_1 bladder-pinhole 2 mm")
    assert quiet(play, "brake_1")
    after(play, 1.0, "close trim")
    assert places(play, "brake_1") == [("hole", "1")]


def test_what_blows_next_to_it_is_heard_if_not_faint() -> None:
    loud = after(charged(), 0.1, "fault hose_1 leak 4 mm")
    assert heard(loud, "brake_1").beside == ("hose_1",)
    assert says(loud, "listen", "brake_1") == "At brake_1: air escaping at hose_1 next to it."
    faint = after(charged(), 0.1, "fault hose_1 leak 0.2 mm")
    assert quiet(faint, "brake_1")


def test_venting_is_heard_at_the_exhaust_and_nowhere_else() -> None:
    play = after(charged(), 0.15, "open trim")
    assert heard(play, "silencer").outflows == (Outflow("outlet", "", "loud"),)
    assert says(play, "listen", "silencer").startswith("At silencer: a loud hiss at its outlet")
    assert heard(play, "valve").outflows == ()
    assert heard(play, "valve").beside == ("silencer",)
    after(play, 5.0)
    assert quiet(play, "silencer")


def test_an_exhaust_port_is_told_from_a_hole() -> None:
    play = after(charged(), 0.12, "switch off start")
    assert places(play, "start") == [("exhaust", "3")]
    assert "a loud hiss at its exhaust port 3" in says(play, "listen", "start")
    after(play, 0.02, "fault start leak 4 mm")
    assert places(play, "start") == [("exhaust", "3"), ("hole", "2")]


def test_holes_are_heard_where_they_are_however_many() -> None:
    play = after(
        charged(), 0.1,
        "fault hose_1 leak 1 mm", "drain store open", "fault brake_2 bladder-burst",
        "drain receiver open", "fault receiver leak 1 mm",
    )  # fmt: skip
    assert heard(play, "hose_1").outflows == (Outflow("hole", "2", "clear"),)
    assert places(play, "brake_2") == [("hole", "1")]
    assert sorted(places(play, "receiver")) == [("drain", ""), ("hole", "1")]
    assert heard(play, "store").outflows == (Outflow("drain", "", "loud"),)
    after(play, 0.1, "clear hose_1 leak", "drain store closed")
    assert places(play, "hose_1") == []
    assert places(play, "store") == []
    assert places(play, "brake_2") == [("hole", "1")]


def test_a_fault_that_comes_and_goes_is_heard_while_it_is_there() -> None:
    play = after(charged(), 0.5, "fault hose_1 leak 2 mm every 10 s for 1 s")
    assert places(play, "hose_1") == [("hole", "2")]
    after(play, 1.0)
    assert quiet(play, "hose_1")


def test_a_compressor_is_heard_as_far_as_the_next_pipe() -> None:
    play = after(charged(), 0.1, "drain receiver open")
    play.advance(play.now + 60.0)
    assert play.actors.supplies.delivers(play.plant, "compressor")
    assert heard(play, "compressor").pumping is True
    assert says(play, "listen", "compressor").endswith("It is pumping.")
    for name in ("back", "store", "relief", "run"):
        assert heard(play, name).pumping_nearby, name
        assert says(play, "listen", name).endswith("A compressor is pumping nearby."), name
    for name in ("main", "tee", "brake_1"):
        assert not heard(play, name).pumping_nearby, name
    after(play, 0.1, "switch off compressor")
    assert heard(play, "compressor").pumping is False
    assert says(play, "listen", "compressor").endswith("It is not pumping.")
    assert not heard(play, "relief").pumping_nearby


def test_listening_is_idle_where_there_is_no_pressure() -> None:
    assert heard(resting(), "brake_1").idle
    assert heard(resting(), "hose_1").idle
    assert not heard(charged(), "brake_1").idle
    # a compressor that does not run says something by that
    assert not heard(after(resting(), 0.1, "switch off compressor"), "compressor").idle
    # a quiet silencer says that its valve does not leak, as long as that has air
    assert not heard(resting(), "silencer").idle and not heard(charged(), "silencer").idle
    assert heard(after(resting(), 60.0, "isolate main"), "silencer").idle
    # no air of its own, but somebody else's is heard from here
    play = after(charged(), 0.1, "fault tee leak 6 mm")
    assert not heard(play, "valve").idle


def test_a_part_that_blows_is_heard_from_a_step_away() -> None:
    assert blowing(Moment(charged())) == ()
    assert blowing(Moment(after(charged(), 0.1, "fault hose_1 leak 4 mm"))) == ("hose_1",)
    assert blowing(Moment(after(charged(), 0.1, "fault hose_1 leak 0.2 mm"))) == ()


# soapy water


def test_soap_finds_what_the_ear_does_not() -> None:
    play = after(charged(), 0.1, "fault hose_1 leak 0.1 mm")
    assert quiet(play, "hose_1")
    assert soaped(play, "hose_1") == Bubbles("hose_1", (Leaking("hole", "2"),), idle=False)
    assert says(play, "soap", "hose_1") == (
        "Soapy water at hose_1: bubbles at port 2, where no air should escape."
    )
    assert soaped(play, "hose_2") == Bubbles("hose_2", (), idle=False)
    assert says(play, "soap", "hose_2") == "Soapy water at hose_2: no bubbles."


def test_soap_does_not_find_what_is_next_to_it() -> None:
    play = after(charged(), 0.1, "fault hose_1 leak 4 mm")
    assert soaped(play, "brake_1").at == ()


def test_soap_shows_no_hole_that_loses_next_to_nothing() -> None:
    assert soaped(after(charged(), 0.1, "fault hose_1 leak 0.01 mm"), "hose_1").at == ()


def test_soap_is_idle_without_pressure() -> None:
    play = after(resting(), 0.1, "fault hose_1 leak 1 mm")
    assert soaped(play, "hose_1") == Bubbles("hose_1", (), idle=True)
    assert not soaped(after(play, 1.0, "close trim"), "hose_1").idle
