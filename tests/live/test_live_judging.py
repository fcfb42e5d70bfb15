"""What a frame says of a zone under demand is what the judge of a verification says of the run."""

from __future__ import annotations

import random
from math import inf

import pytest

from pneumo.circuit.circuit import Event
from pneumo.circuit.sentence import parse_action
from pneumo.circuit.shipped import find_document
from pneumo.circuit.validate import load
from pneumo.errors import InputError
from pneumo.live.frame import Frame, Judged
from pneumo.live.judging import Judging
from pneumo.live.places import Jaws, full_gap, numbered, places_of
from pneumo.live.plant import plant_of
from pneumo.live.session import Session
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play
from pneumo.verification.follow import Followed
from pneumo.verification.judge import judge
from pneumo.verification.spell import MOMENT

RIDES = ("01_spring_open_single", "02_spring_close_single", "08_pilot_supply")


def session(name: str) -> Session:
    path = find_document(name)
    return Session(load(path), path.read_text(encoding="utf-8"))


def shown(ride: Session) -> Frame:
    return ride.frame(1, running=False, speed=1.0, pace=1.0)


def random_acts(ride: Session, seed: int, until: float) -> list[Event]:
    """Commands, losses of power, ride stops and faults, at random times."""
    dice = random.Random(seed)
    circuit = ride.circuit
    faults = [
        f"fault {name} {mode.name}"
        for name, part in circuit.components.items()
        for mode in part.fault_modes()
    ]
    acts = ("close all", "open all", "ride stop", "ride stop", "power off", "power on",
            "acknowledge all", "reset all")  # fmt: skip
    found, time = [], 0.3
    while time < until:
        said = dice.choice(acts) if dice.random() < 0.75 else dice.choice(faults)
        try:
            action = parse_action(said, circuit.components, circuit.zones, circuit.gates, time)
            found.append(Event(round(time, 3), action))
        except InputError:
            pass
        time += dice.choice((0.05, 0.4, 1.1, 2.5))
    return found


@pytest.mark.parametrize("name", RIDES)
@pytest.mark.parametrize("seed", range(4))
def test_a_frame_says_what_the_judge_says_of_the_run_up_to_there(name: str, seed: int) -> None:
    until = 16.0
    ride = session(name)
    events = random_acts(ride, seed, until)
    ride.play.schedule(events)
    # the run that is judged is another one, and is judged from its beginning every time
    alone = Play(ride.compiled)
    alone.schedule(events)
    dice = random.Random(seed + 100)
    time, seen = 0.0, set()
    while time < until:
        time = min(time + dice.choice((0.02, 0.11, 0.35, 0.9)), until)
        try:
            ride.play.advance(time)
        except InputError:
            return  # a random act that cannot be done ends it, with every frame before compared
        alone.advance(time)
        frame = shown(ride)
        for zone, now in zip(ride.circuit.zones.values(), frame.zones, strict=True):
            seen.add(must_agree(alone, zone.name, now.judged))
    assert seen - {""}, "there was a demand"


def must_agree(run: Play, name: str, judged: Judged) -> str:
    """The verdict, which both give."""
    zone, now = run.compiled.circuit.zones[name], run.now
    followed = Followed(run, zone)
    safe = any(spell.end == inf for spell in followed.spells.since(-inf))
    assert judged.safe is safe
    asked = next((d for d in followed.demands.every if d.end == inf), None)
    assert bool(judged.demanded_by) is (asked is not None)
    if asked is None:
        assert (judged.verdict, judged.not_safe) == (None, False)
        return ""
    outcome = judge(run, followed, "", asked.start, asked.start)
    assert (judged.since, judged.verdict) == (asked.start, outcome.verdict)
    delay = run.compiled.line_delay[name]
    late = now - asked.start + delay > zone.requirement.within + MOMENT
    assert judged.not_safe is (late and not safe)
    if judged.not_safe and outcome.held < zone.requirement.hold:
        assert outcome.verdict == "unsafe"
    return outcome.verdict


def test_gone_back_and_on_a_branch_it_is_judged_by_what_happened_there() -> None:
    ride = session("02_spring_close_single")
    ride.advance(4.0)
    ride.do("trainee", "open all")
    ride.advance(9.0)
    assert not shown(ride).zones[0].judged.demanded_by
    ride.do("trainer", "power off")
    ride.advance(14.0)
    first = shown(ride).zones[0].judged
    # without power the zone also faults; the demand is that of before
    assert (first.demanded_by, first.safe, first.verdict) == ("fault", True, "safe")
    assert first.since == pytest.approx(9.0)
    ride.go_to(6.0)
    assert not shown(ride).zones[0].judged.demanded_by
    ride.do("trainer", "ride stop")
    ride.advance(6.2)
    going = shown(ride).zones[0].judged
    assert going.on_its_way and going.demanded_by == "stop" and going.since == pytest.approx(6.0)


def test_a_loss_of_power_stays_with_the_trainer() -> None:
    ride = session("02_spring_close_single")
    ride.do("trainee", "open all")
    ride.advance(5.0)
    ride.do("trainer", "fault valve stuck")
    ride.do("trainer", "power off")
    ride.advance(9.5)
    zone = shown(ride).zones[0]
    assert zone.judged.demanded_by and zone.judged.not_safe
    assert zone.judged.since == pytest.approx(5.0, abs=1e-3)
    assert zone.confirmed.demanded_by != "power" and not zone.confirmed.verdict
    assert not zone.confirmed.demanded_by or zone.confirmed.since > 5.1
    ride.do("trainee", "ride stop")
    ride.advance(10.0)
    told = shown(ride).zones[0].confirmed
    assert told.demanded_by and told.since > 5.1


@pytest.mark.parametrize(
    ("jaws", "side", "tells"),
    [
        (Jaws(closed=True, open=False), "closed", True),
        (Jaws(closed=True, open=True), "closed", False),
        (Jaws(closed=False, open=False), "open", False),
        (Jaws(closed=None, open=True), "closed", False),
        (Jaws(closed=None, open=False), "closed", None),
        (Jaws(closed=None, open=None), "open", None),
    ],
)
def test_what_two_switches_tell(jaws, side, tells) -> None:
    assert jaws.tells(side) is tells


def test_what_the_switches_confirm() -> None:
    """Of four brakes of trim three have to be open."""
    circuit = load(find_document("sand_martin"))
    compiled, plant = compile_circuit(circuit), plant_of(circuit)
    play = Play(compiled, to_rest=1.0)
    at = {contact.name: i for i, contact in enumerate(plant.inputs)}
    trim = plant.zones.index("trim")

    def confirmed(**off: bool) -> Judged:
        inputs = [contact.reads == "open" for contact in plant.inputs]
        for name in off:
            inputs[at[name]] = False
        return Judging(plant.places).zones(play, inputs)[trim][1]

    assert confirmed().safe is True
    assert confirmed(trim_open_2=False).safe is True, "three of four are enough"
    two = confirmed(trim_open_2=False, trim_open_3=False)
    assert two.safe is False and two.lacking == (1, 2) and not two.demanded_by
    blind = [place._replace(jaws=((None, None),) * len(place.brakes)) for place in plant.places]
    found = Judging(blind).zones(play, [False] * len(plant.inputs))[trim][1]
    assert (found.safe, found.lacking) == (None, ())


def test_switches_and_brakes_are_found_zone_by_zone() -> None:
    plant = plant_of(load(find_document("sand_martin")))
    block = plant.places[plant.zones.index("block")]
    ons = {"block_open_3", *(f"block_closed_{n}" for n in range(1, 7))}
    jaws = block.jaws_read([contact.name in ons for contact in plant.inputs])
    assert jaws[2] == Jaws(closed=True, open=True)
    assert jaws[0] == Jaws(closed=True, open=False)
    assert [plant.brakes[i] for i in block.brakes] == [f"block_brake_{n}" for n in range(1, 7)]
    assert block.numbers == ("1", "2", "3", "4", "5", "6")
    assert places_of(plant) == plant.places


def test_brakes_are_told_apart_by_the_numbers_of_their_names_else_by_their_place() -> None:
    assert numbered(("left", "right_7")) == ("1", "2")
    assert numbered(("jaw_7", "jaw_9")) == ("7", "9")


def test_two_bladders_share_the_gap() -> None:
    brake = load(find_document("sand_martin")).components["trim_brake_1"]
    assert full_gap(brake) == pytest.approx(brake.gap / 2)
    assert full_gap(brake.model_copy(update={"bladders": 1})) == pytest.approx(brake.gap)
