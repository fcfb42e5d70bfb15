"""A drill over the wire: a joined trainee works on it, and hears nothing before the debrief."""

from __future__ import annotations

from drill_rides import practice
from seats_bench import FakeSeat, hosted, raw, until
from tui_drills import STAGES

from pneumo.drill.brief import Brief, Saying
from pneumo.live.driver import Driver
from pneumo.live.request import Line
from pneumo.live.working import Working
from pneumo.seats.join import join
from pneumo.seats.wire import VERSION, encode


def test_a_trainee_sees_the_drill_from_the_first_moment() -> None:
    """Its state, what was done, and when it is over its debrief."""
    seat = FakeSeat()
    seat.drill, seat.work = "It hisses", STAGES["work"]
    host = hosted(seat)
    link = join("127.0.0.1", host.port, host.door.code)
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
    driver.start()
    host = hosted(seat, document=at.ride.document)  # type: ignore[attr-defined]
    passed = ""
    with raw(host) as link:  # not compressed, so that it can be read
        link.send(encode("join", [VERSION, host.door.code, ""]))
        for number, line in enumerate(("begin", "close trim", "open trim"), 1):
            link.send(encode("ask", [number, "line", [line]]))
        while '["answer",[3,' not in passed:
            passed += str(link.recv(60))
        assert "close trim" in passed
        for hidden in ("GIVEN ON ASKING", "A HINT", "leak 3 mm"):
            assert hidden not in passed
        for number, line in enumerate(("finding none", "hand back"), 4):
            link.send(encode("ask", [number, "line", [line]]))
        while "leak 3 mm" not in passed:
            passed += str(link.recv(60))
    assert '"handed back"' in passed, "what was hidden is told by the debrief alone"
    host.stop()
    driver.stop()
