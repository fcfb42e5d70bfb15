"""Bladder brake: jaws squeezed on the fin by bladders."""

from __future__ import annotations

from typing import Any, ClassVar, Literal

from pydantic import ValidationInfo, field_validator

from pneumo.components.base import (
    Chamber,
    Component,
    FaultMode,
    FaultTarget,
    Lowering,
    Port,
    Severity,
)
from pneumo.components.common_faults import burst, dragging, hole_conductance, leak, seized
from pneumo.components.fields import (
    BladderArea,
    ContactStiffness,
    JawTravel,
    MovedMass,
    PartDamping,
    PartForce,
    PartSpringRate,
    SmallVolume,
    at_least_sliding,
    refused,
)
from pneumo.components.fitting import PORT_VOLUME
from pneumo.components.iso13849_2 import A5_WEAK, A5_WORN, B9_BREAKS, B9_LEAKS
from pneumo.units import Count, Fraction

FITTING_BORE = 0.012
"""Hole left when the hose tears off the brake [m]: a G3/8 fitting."""

TORN_BLADDER = 0.025
"""Hole of a burst bladder [m]: larger than any hose that feeds it."""

STOP_STIFFNESS = 10.0
"""Stiffness of the stop a retracted ski rests on, as a multiple of the contact's on the fin [-]:
metal on metal; estimated."""

THICKEST_WEAR = 0.005
"""Wear of a lining beyond which there is no lining left [m]; estimated."""

MOST_SQUEEZED = 0.6
"""Fraction of the flat bladder's air that the give of the contact may take [-]."""

MOST_WORN = 0.3
"""Fraction of the flat bladder's air that wear may take [-]; with the above less than 1."""

PINHOLE = Severity(unit="mm", low=0.0, high=0.025, default=0.001, campaign=(0.001,))
TIRED = Severity(unit="", low=0.0, high=1.0, default=0.2, campaign=(0.2,))


class BladderBrake(Component):
    """A pair of jaws whose skis are squeezed on the train's fin: a pinch brake.

    Port 1. `spring` says what the springs do: "open" (air closes the jaws) or "close" (the springs
    clamp, air opens). One or two bladders, which share port 1.

    Modelled as one mover at x, the travel of one ski from fully retracted (x = 0) towards the fin.
    With two bladders the skis mirror each other and meet the fin at x = gap/2. With one bladder
    the frame floats or the far ski stands by the fin, so the moving ski covers the whole gap; its
    contact with nothing in between lies a whole fin thickness further instead of half.
    Force on the mover: that of one ski, which is also the clamping (normal) force of each ski.

    A bladder's effective area falls evenly with its stroke s: area (1 - area_loss s / full_stroke),
    s = x for spring-open, s = contact - x for spring-close, where the ski on the fin is the
    shortest stroke. `bladder_volume` is its air at its flattest: skis retracted for spring-open,
    skis closed on no fin for spring-close. Volume is that plus the integral of the area.

    Springs, the sum of one ski's: spring-open pushes back with spring_force at x = 0, growing by
    spring_rate with x; spring-close pushes with spring_force on the fin, growing as it opens.
    It starts where its springs hold it.

    Labels: mover "ski".
    """

    title: ClassVar[str] = "bladder brake"
    kind: Literal["bladder_brake"] = "bladder_brake"
    spring: Literal["open", "close"]
    bladders: Count = 2
    area: BladderArea
    """Effective area of each bladder at its shortest stroke: pressure times it is the push on one
    ski, which is the clamping force of each ski, with one bladder or two."""
    area_loss: Fraction = 0.1
    """Share of `area` lost at `full_stroke`, evenly with the stroke; the springs lose nothing."""
    gap: JawTravel = 6.5e-3
    """Both linings to the fin, in all: half of it on each side when there are two bladders."""
    bladder_volume: SmallVolume = 2e-4
    """Air in each bladder at its flattest."""
    spring_force: PartForce
    """All springs of one ski together: with the jaws open if they open it, on the fin if they close
    it."""
    spring_rate: PartSpringRate
    """All springs of one ski together: how much more they push for each length they are pressed
    further together than where `spring_force` is given."""
    springs: Count = 4
    """Springs of each ski; says how much force one broken spring takes."""
    ski_mass: MovedMass = 12.0
    """What moves with one ski."""
    fin_thickness: JawTravel = 0.01
    contact_stiffness: ContactStiffness = 4e6
    """Clamping force of one ski for each length its lining gives."""
    friction: PartForce = 60.0
    """Dry friction of each ski while it slides."""
    static_friction: PartForce | None = None
    """Dry friction up to which a ski at rest holds; as large as `friction` unless given."""
    damping: PartDamping = 800.0
    full_stroke: JawTravel = 0.025
    """Longest stroke of the bladder."""

    @field_validator("bladders")
    @classmethod
    def _one_or_two(cls, value: int) -> int:
        if value > 2:
            raise refused(f"A brake with {value} bladders is not known.", "Give 1 or 2.")
        return value

    @field_validator("contact_stiffness")
    @classmethod
    def _leaves_the_bladder(cls, value: float, info: ValidationInfo) -> float:
        if not {"area", "bladder_volume", "spring_force"} <= info.data.keys():
            return value
        sinks = info.data["spring_force"] / value
        squeezed = sinks * info.data["area"]
        if squeezed > MOST_SQUEEZED * info.data["bladder_volume"]:
            raise refused(
                f"The springs sink the contact by {sinks * 1e3:.3g} mm, which squeezes "
                f"{squeezed * 1e3:.3g} L out of each bladder of "
                f"{info.data['bladder_volume'] * 1e3:.3g} L.",
                f"Give a stiffer contact or a bladder_volume of "
                f"{squeezed / MOST_SQUEEZED * 1e3:.3g} L or more.",
            )
        return value

    @field_validator("full_stroke")
    @classmethod
    def _reaches(cls, value: float, info: ValidationInfo) -> float:
        if not {"bladders", "gap", "fin_thickness"} <= info.data.keys():
            return value
        skis = info.data["bladders"]
        needed = (info.data["gap"] + info.data["fin_thickness"]) / skis
        if value < needed:
            raise refused(
                f"The bladder ends at {value * 1e3:g} mm, but a ski may travel "
                f"{needed * 1e3:g} mm when the fin is absent.",
                f"Give a full_stroke of {needed * 1e3:g} mm or more.",
            )
        return value

    _holds = field_validator("static_friction")(at_least_sliding)

    def contact(self) -> float:
        """Travel of a ski from retracted to the fin [m]."""
        return self.gap / self.bladders

    def travel_without_fin(self) -> float:
        """Travel of a ski past its contact until it meets the other ski [m]."""
        return self.fin_thickness / self.bladders

    def ports(self) -> tuple[Port, ...]:
        return (Port("1"),)

    def lower(self, low: Lowering) -> None:
        node = low.node("1")
        contact = self.contact()
        loss = self.area * self.area_loss / self.full_stroke
        count = float(self.bladders)
        stop = STOP_STIFFNESS * self.contact_stiffness
        if self.spring == "open":
            chamber = Chamber(node, self.area, slope=-loss, direction=1.0, count=count)
            volume = self.bladder_volume
            spring_force = -self.spring_force
        else:
            area = self.area - loss * contact
            chamber = Chamber(node, area, slope=loss, direction=-1.0, count=count)
            furthest = contact + self.travel_without_fin()
            volume = self.bladder_volume + area * furthest + loss * furthest**2 / 2.0
            spring_force = self.spring_force + self.spring_rate * contact
        low.add_volume(node, PORT_VOLUME + count * volume)
        low.mover(
            "ski",
            mass=self.ski_mass,
            chambers=(chamber,),
            spring_force=spring_force,
            spring_rate=self.spring_rate,
            friction=self.friction,
            static_friction=self.friction if self.static_friction is None else self.static_friction,
            damping=self.damping,
            # retracted springs press the ski on its stop: so much that it rests at x = 0
            low=self.spring_force / stop if self.spring == "open" else 0.0,
            low_stiffness=stop,
            high=contact,
            high_stiffness=self.contact_stiffness,
            # the kernel moves the contact by half of this when the fin is absent
            fin_thickness=2.0 * self.travel_without_fin(),
            start=0.0 if self.spring == "open" else contact,
        )

    def fault_modes(self) -> tuple[FaultMode, ...]:
        one_spring = 1.0 / self.springs
        strongest = self.spring_force + self.spring_rate * self.contact()
        # a worn spring-close brake closes further and must not squeeze its bladder to nothing
        room = MOST_WORN * self.bladder_volume / self.area
        deepest = min(THICKEST_WEAR, room * self.bladders / 2.0)
        wear = min(0.002, deepest)
        return (
            leak("1", B9_LEAKS),
            burst("1", hole_conductance(FITTING_BORE), B9_BREAKS),
            FaultMode(
                "spring-broken",
                "A spring of each ski is broken; the others carry on.",
                _lose_spring,
                Severity(unit="", low=0.0, high=1.0, default=one_spring, campaign=(one_spring,)),
                A5_WEAK,
            ),
            FaultMode(
                "spring-weak",
                "Its springs have tired and push less.",
                _lose_spring,
                TIRED,
                A5_WORN,
            ),
            burst(
                "1",
                hole_conductance(TORN_BLADDER),
                name="bladder-burst",
                effect="A bladder is torn: its air blows out and so does that of its hose.",
            ),
            FaultMode(
                "bladder-pinhole",
                "A small hole in a bladder hisses while it is charged.",
                _pinhole,
                PINHOLE,
            ),
            seized("jaw-seized", "The jaws are jammed and do not move."),
            dragging("jaw-dragging", "The jaws move stiffly.", strongest),
            FaultMode(
                "lining-worn",
                "Both linings are thinner, so the skis have further to go.",
                _wear,
                Severity(unit="mm", low=0.0, high=deepest, default=wear, campaign=(wear,)),
            ),
        )


def _lose_spring(component: Any, target: FaultTarget, fraction: float) -> None:
    target.scale_spring(1.0 - fraction)


def _pinhole(component: Any, target: FaultTarget, diameter: float) -> None:
    leak("1").strike(component, target, diameter)


def _wear(component: BladderBrake, target: FaultTarget, each_side: float) -> None:
    # one moving ski has to make up for both linings
    target.wear(each_side * 2.0 / component.bladders)
