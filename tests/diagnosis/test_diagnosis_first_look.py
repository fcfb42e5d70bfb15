"""What decides which suspects get rides: what is compared at all, and from when on."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from diagnosis_rides import DAY, Bench, library, work

from pneumo.diagnosis.habits import EARLY, ODD, corrected, learned
from pneumo.diagnosis.library import Library
from pneumo.diagnosis.likelihood import Number, Seen, misfit
from pneumo.diagnosis.marks import NEVER
from pneumo.diagnosis.panel import EDGE
from pneumo.diagnosis.record import SOON, shortened, stretches

VALVE = ("valve", "closed_1")


def _off(seen: float, expected: float) -> float:
    number = Number(seen, EDGE, "contact", "contacts", until=4.0, early=EARLY)
    return float(misfit(Seen.of([number]), np.array([[expected]]))[0, 0])


def test_a_contact_that_changes_right_at_the_beginning_may_have_done_so_before() -> None:
    early = SOON + 0.02
    assert _off(NEVER, early) == _off(early, NEVER) == 0.0
    # but not one that comes later, nor another time than was expected
    assert _off(NEVER, 0.5) < ODD and _off(0.5, NEVER) < ODD
    assert _off(0.5, early) < ODD


def test_a_record_that_is_shortened_holds_what_was_known_then() -> None:
    bench = Bench(*VALVE)
    bench.operate(DAY, "valve stuck-rest", 13.0)
    bench.practice.do("begin")
    bench.practice.do("cycle valve.14")
    bench.think()
    record = bench.record
    began = stretches(record)[3].began
    part = shortened(record, began + 1.0)
    assert part.now == stretches(part)[-1].ended == began + 1.0
    assert [s.began for s in stretches(part)] == [s.began for s in stretches(record)][:4]
    assert record.made and not part.made
    assert all(event.time <= part.now + SOON for event in part.events)
    assert len(part.events) < len(record.events)


def test_what_does_not_stick_is_known_to_move_back_as_when_it_struck_there() -> None:
    """A valve that no longer charges is seen at once while the zone stands closed or open, and what
    it then does on the way back is what it does when struck there."""
    of: Library = library(*VALVE)
    open_, closed = of.tables["open"], of.tables["closed"]
    sticks = [of.candidates[n].sticks for n in open_.candidate.tolist()]
    assert any(sticks) and not all(sticks)
    for row, held in enumerate(sticks):
        assert open_.ran[row].tolist() == [True, True, held]
        if held:
            continue
        (twin,) = [n for n, key in enumerate(closed.keys) if key == open_.keys[row]]
        here, there = open_.shown[row, 2], closed.shown[twin, 1]
        finite = np.isfinite(here) & np.isfinite(there)
        assert (np.isfinite(here) == np.isfinite(there)).all()
        usual = np.where(np.isfinite(open_.sound[2]), open_.sound[2], 0.0)
        theirs = np.where(np.isfinite(closed.sound[1]), closed.sound[1], 0.0)
        as_far = np.isfinite(open_.sound[2]) & np.isfinite(closed.sound[1]) & finite
        np.testing.assert_allclose(
            (here - usual)[as_far], (there - theirs)[as_far], rtol=1e-4, atol=1.0
        )


@pytest.mark.parametrize("at", [2.2, 12.5])
def test_an_instrument_that_froze_before_it_was_odd_is_found(at: float, tmp_path: Path) -> None:
    """Its needle stands where it stood: at 12.5 s that shows only when the zone opens at 18 s."""
    text, _ = work()
    text = text.replace("kind: manifold, ports: 4}", "kind: manifold, ports: 5}\n"
                        "  meter: {kind: transmitter}")  # fmt: skip
    text = text.replace("connections:\n", "connections:\n  - manifold.5 -> meter.1\n")
    ride = tmp_path / "with a transmitter.yaml"
    ride.write_text(text, encoding="utf-8")
    bench = Bench("meter", "valve", ride=str(ride))
    bench.operate(DAY, "meter frozen", at)
    leader = bench.think().answers[0]
    assert leader.spot.component == "meter"
    assert leader.modes[0].candidate.mode == "frozen"
    assert leader.share > 0.9


def test_a_ride_whose_contacts_are_always_late_is_not_odd_and_one_that_is_late_once_is() -> None:
    """What a contact is later than calculated is learned while nothing is odd."""
    bench = Bench(*VALVE)
    bench.operate(DAY)
    bench.think()
    panel, sound = bench.who.panel, bench.who.sound.ride.shown
    cut = stretches(bench.record)
    edges = np.array([place.scale is EDGE for place in panel.places])
    late = {k: np.where(edges, shown * 1.15, shown) for k, shown in sound.items()}
    habits = learned(panel, cut, [late[s.number] for s in cut], sound)
    moved = [k for k, shown in sound.items() if np.isfinite(shown[edges]).any()]
    assert len(moved) >= 4
    first, last = moved[0], moved[-1]
    assert habits.loose[first][edges].all() and not habits.later[first].any()
    comes = edges & np.isfinite(sound[last]) & (sound[last] > EARLY)
    assert comes.any() and not habits.loose[last][comes].any()
    np.testing.assert_allclose(
        corrected(late[last], habits.later[last])[comes], sound[last][comes], atol=0.01
    )
    # once late by more than it ever was: from there on nothing is learned
    odd = moved[2]
    late[odd] = np.where(edges, late[odd] + 0.2, late[odd])
    habits = learned(panel, cut, [late[s.number] for s in cut], sound)
    assert (habits.later[-1] == habits.later[odd]).all()
