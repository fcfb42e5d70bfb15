"""Properties of the zone and ride logic under any history of inputs."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from zone_toys import COMMANDS, TICK

from pneumo.zone.logic import Command, ZoneLogic
from pneumo.zone.machine import is_charging
from pneumo.zone.ride import RideCommand, RideInputs, RideLogic
from pneumo.zone.sensed import Sensed, Side, ZoneSettings

History = list[tuple[int, Sensed, Command | None]]
"""Phases: how many ticks, what is sensed all the while, a command at its first tick."""

limits = st.one_of(
    st.sampled_from([0.02, 0.06, 0.1, 0.3]), st.floats(0.005, 0.4, allow_subnormal=False)
)


@st.composite
def zone_settings(draw: st.DrawFn, name: str = "trim") -> ZoneSettings:
    end: st.SearchStrategy[Side] = st.sampled_from(["open", "closed"])
    count = draw(st.integers(1, 3))
    return ZoneSettings(
        name=name,
        spring=draw(st.sampled_from(["open", "close"])),
        safe_state=draw(end),
        brakes=tuple(f"brake_{n}" for n in range(count)),
        pressure_switches=tuple(f"made_{n}" for n in range(draw(st.integers(0, 2)))),
        supply_switches=tuple(f"supply_{n}" for n in range(draw(st.integers(0, 1)))),
        close=draw(limits),
        open=draw(limits),
        vent=draw(limits),
        discrepancy=draw(limits),
        starts=draw(st.one_of(st.none(), end)),
    )


@st.composite
def readings(draw: st.DrawFn, zone: ZoneSettings) -> st.SearchStrategy[Sensed]:
    """A strategy of readings for a zone, each jaw switch and the transmitter fitted or not."""
    count = len(zone.brakes)
    fitted = st.sampled_from([True, True, True, False])
    has = [draw(st.tuples(*[fitted] * count)) for _ in range(2)]
    transmitter = draw(st.booleans())

    @st.composite
    def one(draw: st.DrawFn) -> Sensed:
        air = draw(st.booleans())
        at = draw(st.sampled_from(["open", "closed", "midway", "any"]))
        bits = st.tuples(*[st.booleans()] * count)
        closed = draw(bits) if at == "any" else (at == "closed",) * count
        wide = draw(bits) if at == "any" else (at == "open",) * count
        pressure = st.tuples(*[st.booleans()] * len(zone.pressure_switches))
        sound = st.sampled_from([True, True, True, True, False])
        return Sensed(
            draw(pressure) if at == "any" else (air,) * len(zone.pressure_switches),
            tuple(draw(sound) for _ in zone.supply_switches),
            not air if transmitter else None,
            tuple(bit if fit else None for bit, fit in zip(closed, has[0], strict=True)),
            tuple(bit if fit else None for bit, fit in zip(wide, has[1], strict=True)),
        )

    return one()


@st.composite
def lives(draw: st.DrawFn) -> tuple[ZoneSettings, History]:
    zone = draw(zone_settings())
    phase = st.tuples(
        st.integers(1, 25), draw(readings(zone)), st.none() | st.sampled_from(COMMANDS)
    )
    return zone, draw(st.lists(phase, min_size=1, max_size=12))


def every_tick(history: History) -> list[tuple[float, Sensed, Command | None]]:
    """The history as one entry for each tick."""
    ticks = [
        (sensed, command if n == 0 else None)
        for count, sensed, command in history
        for n in range(count)
    ]
    return [(n * TICK, sensed, command) for n, (sensed, command) in enumerate(ticks)]


@given(lives())
@settings(max_examples=150)
def test_scanning_on_changes_and_deadlines_equals_scanning_every_tick(
    life: tuple[ZoneSettings, History],
) -> None:
    zone, history = life
    always, seldom = ZoneLogic(zone), ZoneLogic(zone)
    last: Sensed | None = None
    for time, sensed, command in every_tick(history):
        full = always.scan(time, sensed, command)
        deadline = seldom.deadline()
        if sensed != last or command or (deadline is not None and time >= deadline):
            assert seldom.scan(time, sensed, command) == full
        else:
            assert full.events == () and full.rows == ()
        last = sensed
        assert always.snapshot() == seldom.snapshot()


@given(lives())
@settings(max_examples=80)
def test_faulted_is_left_only_by_a_reset_of_acknowledged_alarms_that_do_not_stand(
    life: tuple[ZoneSettings, History],
) -> None:
    zone, history = life
    logic = ZoneLogic(zone)
    for time, sensed, command in every_tick(history):
        faulted, waiting = logic.state == "faulted", logic.alarms.unacknowledged
        scan = logic.scan(time, sensed, command)
        reset = [row for row in scan.rows if row.trigger == "reset"]
        if faulted and not reset:
            assert scan.state == "faulted"
        if reset:
            assert command == "reset" and not waiting
        assert (scan.state == "faulted") == bool(scan.first_out) == bool(logic.alarms.active)


@given(lives())
@settings(max_examples=80)
def test_outputs_and_belief_follow_from_what_is_sensed(
    life: tuple[ZoneSettings, History],
) -> None:
    zone, history = life
    logic = ZoneLogic(zone)
    for time, sensed, command in every_tick(history):
        scan = logic.scan(time, sensed, command)
        assert scan.charge == logic.charge == is_charging(scan.state, zone)
        if scan.state == "closed":
            assert False not in sensed.closed
            assert zone.spring == "close" or False not in sensed.pressure_on
        if scan.state == "open":
            assert False not in sensed.open
            assert zone.spring == "open" or False not in sensed.pressure_on
        deadline = logic.deadline()
        assert deadline is None or deadline > time


@given(lives(), st.integers(0, 200))
@settings(max_examples=80)
def test_a_restored_snapshot_goes_on_exactly(
    life: tuple[ZoneSettings, History], split: int
) -> None:
    zone, history = life
    ticks = every_tick(history)
    split = min(split, len(ticks))
    whole = ZoneLogic(zone)
    for tick in ticks[:split]:
        whole.scan(*tick)
    branch = ZoneLogic(zone)
    branch.restore(whole.snapshot())
    kept = whole.snapshot()
    assert [whole.scan(*tick) for tick in ticks[split:]] == [
        branch.scan(*tick) for tick in ticks[split:]
    ]
    assert whole.snapshot() == branch.snapshot()
    branch.restore(kept)
    assert branch.snapshot() == kept


@st.composite
def ride_lives(draw: st.DrawFn) -> tuple[list[ZoneSettings], list[tuple[int, RideInputs]]]:
    zones = [draw(zone_settings(name)) for name in ("trim", "final")]
    each = [draw(readings(zone)) for zone in zones]
    command = st.one_of(
        st.builds(
            RideCommand,
            st.sampled_from(["all", "trim", "final"]),
            st.sampled_from([c for c in COMMANDS if c != "ride stop"]),
        ),
        st.just(RideCommand("all", "ride stop")),
    )
    inputs = st.builds(
        RideInputs,
        st.tuples(*each),
        st.tuples(st.sampled_from([True, True, False])),
        st.lists(command, max_size=3).map(tuple),
    )
    phase = st.tuples(st.integers(1, 20), inputs)
    return zones, draw(st.lists(phase, min_size=1, max_size=8))


@given(ride_lives(), st.integers(0, 100))
@settings(max_examples=80)
def test_the_ride_too_is_event_driven_branchable_and_holds_its_stop(
    life: tuple[list[ZoneSettings], list[tuple[int, RideInputs]]], split: int
) -> None:
    zones, phases = life
    always, seldom = RideLogic(zones, ("main_low",)), RideLogic(zones, ("main_low",))
    last: RideInputs | None = None
    ticks = [
        inputs if n == 0 else inputs._replace(commands=())
        for count, inputs in phases
        for n in range(count)
    ]
    for n, inputs in enumerate(ticks):
        if n == split:
            always, old = RideLogic(zones, ("main_low",)), always
            always.restore(old.snapshot())
        time, deadline = n * TICK, seldom.deadline()
        full = always.scan(time, inputs)
        if inputs != last or inputs.commands or (deadline is not None and time >= deadline):
            assert seldom.scan(time, inputs) == full
        else:
            assert full == ()
        last = inputs
        assert always.snapshot() == seldom.snapshot()
        if always.stopped:
            for zone, logic in zip(zones, always.zones.values(), strict=True):
                away = {"open": ("closed",), "closed": ("open", "opening")}[zone.safe_state]
                assert logic.state not in away
        if False in inputs.supply_ok:
            assert always.stopped
