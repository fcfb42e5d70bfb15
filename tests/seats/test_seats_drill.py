"""A drill over the wire: a joined trainee works on it, and hears nothing before the debrief."""

from __future__ import annotations

import sys
from pathlib import Path

from seats_bench import DOCUMENT, FakeSeat, Wire, until

from pneumo.drill.brief import Brief, Saying
from pneumo.live.driver import Driver
from pneumo.live.request import Line
from pneumo.live.working import Working
from pneumo.seats.host import Host
from pneumo.seats.join import join

sys.path += [str(Path(__file__).parents[1] / name) for name in ("drill", "tui")]
from drill_rides import practice
from tui_drills import STAGES


def test_a_trainee_sees_the_drill_from_the_first_moment() -> None:
    """Its state, what was done, and when it is over its debrief."""
    seat = FakeSeat()
    seat.drill, seat.work = "It hisses", STAGES["work"]
    host = Host(seat, DOCUMENT, address="127.0.0.1", port=0, say=lambda words: None)
    host.start()
    link = join("127.0.0.1", host.port, host.code)
    assert link.work == STAGES["work"]
    seat.work = STAGES["debrief"]
    until(lambda: link.work == STAGES["debrief"])
    link.send(Line("listen hose_1"))
    until(lambda: seat.sent == [Line("listen hose_1")])
    link.close()
    host.stop()


def test_a_trainee_works_over_the_wire_and_hears_nothing_hidden() -> None:
    brief = Brief(answers=(Saying("noise", "GIVEN ON ASKING"),), hints=("A HINT",))
    at = practice("fault hose_1 leak 3 mm", brief=brief, began=False)
    driver = Driver(at.ride, working=Working(at.ride, at, "Late"))  # type: ignore[arg-type]
    seat = driver.seat("trainee")
    host = Host(seat, at.ride.document, address="127.0.0.1", port=0, say=lambda words: None)  # type: ignore[attr-defined]
    driver.start()
    host.start()
    wire = Wire(host.port)
    link = join("127.0.0.1", wire.port, host.code)
    for line in ("begin", "close trim", "open trim"):
        link.send(Line(line))
    until(lambda: link.work is not None and len(link.work.entries) == 3, 60.0)
    passed = b"".join(wire.passed).decode(errors="replace")
    assert "close trim" in passed
    for hidden in ("GIVEN ON ASKING", "A HINT", "leak 3 mm"):
        assert hidden not in passed
    for line in ("finding none", "hand back"):
        link.send(Line(line))
    until(lambda: link.work is not None and link.work.debrief is not None, 60.0)
    assert link.work is not None and link.work.debrief is not None
    assert link.work.debrief.truth[0].sentence == "hose_1 leak 3 mm"
    link.close()
    host.stop()
    driver.stop()
    wire.close()
