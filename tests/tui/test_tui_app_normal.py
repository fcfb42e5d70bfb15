"""Back to normal: which sentences, in which order, and how the app goes on until it is done."""

from __future__ import annotations

import pytest
from tui_toys import FakeLink, look, plant_of, resting_frame, trainee_frame

from pneumo.circuit.sentence import parse_action
from pneumo.live.frame import AlarmFrame, Crossed, FaultFrame
from pneumo.live.request import Answer, Do, Run
from pneumo.scenario.controls import Controls
from tui import sentences
from tui.app import DashboardApp
from tui.bar import Head
from tui.normal import still_stands, way_back
from tui.returning import PATIENCE
from tui.screens.confirm import Confirm

pytestmark = pytest.mark.usefixtures("toy_views")

PLANT = plant_of("sand_martin")


def alarm(state: str) -> AlarmFrame:
    return AlarmFrame("trim", "vent time exceeded", state, True, 9.0, None)


STUCK = FaultFrame("trim_valve_b", "stuck-actuated", "trim_valve_b stuck-actuated", 4.0, True, True)


def everything_wrong(frame: object) -> object:
    zone = frame.zones[0]._replace(state="faulted", first_out="vent time exceeded")
    return frame._replace(
        zones=(zone, *frame.zones[1:]),
        faults=(STUCK,),
        forced_inputs=(True, *frame.forced_inputs[1:]),
        overridden=("trim_valve_a.14",),
        drained=("trim_accumulator",),
        blocked=("trim_brake_1", "trim_brake_2"),
        swapped=(
            Crossed("trim_valve_a.14", "trim_valve_b.14"),
            Crossed("trim_valve_b.14", "trim_valve_a.14"),
        ),
        isolated=("block_shut_off",),
        switched_off=("compressor_1",),
        power=False if frame.power is not None else None,
        absent_fins=("trim",),
        alarms=(alarm("unacknowledged"),),
        stopped_by="command",
    )


def test_a_ride_at_rest_needs_nothing() -> None:
    assert way_back(PLANT, resting_frame(PLANT), "trainer") == ()
    assert way_back(PLANT, trainee_frame(PLANT), "trainee") == ()


def test_the_whole_way_in_its_order() -> None:
    assert way_back(PLANT, everything_wrong(resting_frame(PLANT)), "trainer") == (
        "clear trim_valve_b stuck-actuated",
        "unforce all",
        "release trim_valve_a.14",
        "swap trim_valve_a.14 trim_valve_b.14",
        "unblock trim_brake_1",
        "unblock trim_brake_2",
        "drain trim_accumulator closed",
        "restore block_shut_off",
        "switch on compressor_1",
        "power on",
        "fin trim present",
        "acknowledge all",
        "reset all",
    )


def test_a_trainee_does_only_what_a_trainee_may() -> None:
    steps = way_back(PLANT, everything_wrong(trainee_frame(PLANT)), "trainee")
    assert {step.split()[0] for step in steps} <= set(sentences.verbs("trainee"))
    assert "reset all" in steps
    assert not any(step.startswith(("clear", "power", "fin")) for step in steps)


def test_every_step_is_a_sentence() -> None:
    circuit = PLANT.circuit
    for step in way_back(PLANT, everything_wrong(resting_frame(PLANT)), "trainer"):
        parse_action(step, circuit.components, circuit.zones, circuit.gates)


def test_only_what_is_needed() -> None:
    frame = resting_frame(PLANT)
    held = frame._replace(alarms=(alarm("latched, acknowledged"),))
    assert way_back(PLANT, held, "trainer") == ()  # no zone is faulted
    stopped = frame._replace(stopped_by="command")
    assert way_back(PLANT, stopped, "trainer") == ("reset all",)
    said = frame._replace(alarms=(alarm("returned to normal, unacknowledged"),))
    assert way_back(PLANT, said, "trainer") == ("acknowledge all",)


def test_three_swapped_plugs_come_back_in_two_swaps() -> None:
    swapped = (Crossed("a.14", "b.14"), Crossed("b.14", "c.14"), Crossed("c.14", "a.14"))
    controls = Controls(crossed={("a", "14"): ("b", "14"), ("b", "14"): ("c", "14"),
                                 ("c", "14"): ("a", "14")})  # fmt: skip
    steps = way_back(PLANT, resting_frame(PLANT, swapped=swapped), "trainee")
    assert len(steps) == 2
    for step in steps:
        _, one, other = step.split()
        controls.swap(tuple(one.split(".")), tuple(other.split(".")))  # type: ignore[arg-type]
    assert controls.swapped == ()


def test_what_stands_is_named() -> None:
    frame = resting_frame(PLANT, alarms=(alarm("acknowledged"), alarm("latched, acknowledged")))
    assert still_stands(frame) == ("trim: vent time exceeded",)


def test_a_shut_off_that_starts_closed_belongs_closed() -> None:
    from dataclasses import replace

    from pneumo.live.plant import plant_of as plant_of_circuit

    circuit = PLANT.circuit
    valve = circuit.components["trim_shut_off"].model_copy(update={"starts": "closed"})
    components = {**circuit.components, "trim_shut_off": valve}
    plant = plant_of_circuit(replace(circuit, components=components))
    frame = resting_frame(plant, isolated=("trim_shut_off",))
    assert way_back(plant, frame, "trainer") == ()
    assert way_back(plant, frame._replace(isolated=()), "trainer") == ("isolate trim_shut_off",)


# the app


async def test_normal_needs_no_dialog_when_all_is_normal(trainer: FakeLink) -> None:
    app = DashboardApp(trainer)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press("N")
        await pilot.pause()
        assert app.screen is app._base
        assert [n.message for n in app._notifications] == [
            "Everything is normal: nothing to put right."
        ]


@pytest.mark.parametrize("state", ["", "acknowledged"])
async def test_a_trainee_is_never_told_that_all_is_normal(trainee: FakeLink, state: str) -> None:
    """A fault may be there that nothing shows."""
    trainee.give(alarms=(alarm(state),) if state else ())
    app = DashboardApp(trainee)
    async with app.run_test(size=(200, 40)) as pilot:
        await look(pilot)
        await pilot.press("N")
        await pilot.pause()
        (note,) = app._notifications
        if state:
            assert note.message.endswith("still active: trim: vent time exceeded.")
        else:
            assert note.message.endswith("whether there is a fault, only a test shows.")
        assert "normal" not in str(app.query_one(Head).render())


async def test_what_is_reset_is_not_called_repaired_in_the_trainees_seat(
    trainee: FakeLink,
) -> None:
    trainee.give(alarms=(alarm("unacknowledged"),))
    app = DashboardApp(trainee)
    async with app.run_test(size=(80, 24)) as pilot:
        await look(pilot)
        await pilot.press("N", "enter")
        trainee.give(alarms=(alarm("acknowledged"),), time=trainee.frame.time + 2.0)
        await look(pilot)
        assert not app._notifications  # the alarm is still active
        trainee.give(alarms=(), time=trainee.frame.time + 2.0)
        await look(pilot)
        assert [n.message for n in app._notifications] == [
            "Alarms are reset; whether the cause is gone, only a test shows."
        ]


@pytest.mark.parametrize("size", [(80, 24), (20, 6)])
async def test_the_way_is_shown_with_cautions_and_done_once_confirmed(
    trainer: FakeLink, size: tuple[int, int]
) -> None:
    trainer.frame = everything_wrong(trainer.frame)._replace(number=5)
    app = DashboardApp(trainer)
    async with app.run_test(size=size) as pilot:
        await look(pilot)
        await pilot.press("N")
        dialog = app.screen
        assert isinstance(dialog, Confirm)
        assert "8. restore block_shut_off" in dialog.lines
        assert dialog.cautions
        await pilot.press("n")
        assert trainer.sent == []
        await pilot.press("N", "y")
        await pilot.pause()
        steps = way_back(PLANT, trainer.frame, "trainer")
        assert trainer.sent == [*(Do(step) for step in steps), Run()]


async def test_answers_are_given_again_once_nothing_stands(trainer: FakeLink) -> None:
    zone = trainer.frame.zones[0]
    faulted = zone._replace(state="faulted", first_out="vent time exceeded")
    rest = trainer.frame.zones[1:]
    trainer.give(zones=(faulted, *rest), alarms=(alarm("unacknowledged"),), running=True)
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        await look(pilot)
        await pilot.press("N", "y")
        await pilot.pause()
        assert trainer.sent == [Do("acknowledge all"), Do("reset all")]
        trainer.give(alarms=(alarm("acknowledged"),), time=12.0, newest=12.0)
        await look(pilot)
        assert len(trainer.sent) == 2  # the pressure is still there: a reset would be refused
        head = str(app._base.query_one(Head).render())
        assert "back to normal: waits for trim: vent time exceeded" in head
        for number, words in enumerate(("acknowledge all", "reset all"), 1):
            trainer.reply(Answer(number, True, words))
        words = "trim: reset refused: still active: vent time exceeded"
        trainer.reply(Answer(0, True, words, refused="reset"))
        await look(pilot)
        assert list(app._notifications) == []
        trainer.give(alarms=(alarm("latched, acknowledged"),), time=13.0, newest=13.0)
        await look(pilot)
        assert trainer.sent[2:] == [Do("reset all")]
        trainer.give(alarms=(), zones=(zone, *rest), time=15.0, newest=15.0)
        await look(pilot)
        assert any("Back to normal" in n.message for n in app._notifications)
        await look(pilot)
        assert "waits for" not in str(app._base.query_one(Head).render())


async def test_what_still_stands_is_said_when_patience_ends(trainer: FakeLink) -> None:
    faulted = trainer.frame.zones[0]._replace(state="faulted", first_out="vent time exceeded")
    zones = (faulted, *trainer.frame.zones[1:])
    trainer.give(zones=zones, alarms=(alarm("acknowledged"),), running=True)
    app = DashboardApp(trainer)
    async with app.run_test(size=(100, 30)) as pilot:
        await look(pilot)
        await pilot.press("N", "y")
        late = trainer.frame.time + PATIENCE + 1.0
        trainer.give(time=late, newest=late)
        await look(pilot)
        told = [n.message for n in app._notifications]
        assert any("Still active: trim: vent time exceeded" in message for message in told)
