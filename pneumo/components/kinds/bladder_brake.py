"""Bladder brake: jaws squeezed on the fin by bladders."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, ClassVar, Literal

from pydantic import ConfigDict, Field, ValidationInfo, field_validator, model_validator

from pneumo.components.area_curve import AreaCurve
from pneumo.components.base import (
    Chamber,
    Component,
    FaultMode,
    FaultTarget,
    Lowering,
    Port,
    Quantity,
    Remark,
    Severity,
    Trait,
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
    refused_at,
)
from pneumo.components.fitting import PORT_VOLUME
from pneumo.components.iso13849_2 import A5_WEAK, A5_WORN, B9_BREAKS, B9_LEAKS
from pneumo.components.symbol import Symbol
from pneumo.units import Count, Fraction, format_force, format_pressure

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

    A bladder's effective area falls with its stroke s, the way of one ski: s = x for spring-open,
    s = contact - x for spring-close, where the ski on the fin is the shortest stroke. It falls
    evenly, area (1 - area_loss s / full_stroke), or as `area_curve` says. `bladder_volume` is its
    air at its flattest: skis retracted for spring-open, skis closed on no fin for spring-close.
    Volume is that plus the integral of the area.

    Springs, the sum of one ski's: spring-open pushes back with spring_force at x = 0, growing by
    spring_rate with x; spring-close pushes with spring_force on the fin, growing as it opens.
    It starts where its springs hold it.

    Labels: mover "ski".
    """

    model_config = ConfigDict(
        json_schema_extra={"oneOf": [{"required": ["area"]}, {"required": ["area_curve"]}]}
    )

    title: ClassVar[str] = "bladder brake"
    symbol: ClassVar[Symbol] = Symbol("jaws")
    traits: ClassVar[frozenset[Trait]] = frozenset({"brake", "repeatable"})
    quantities: ClassVar[tuple[Quantity, ...]] = ("pressure", "gap", "force")
    ends: ClassVar[tuple[str, ...]] = ("open", "closed")
    kind: Literal["bladder_brake"] = "bladder_brake"
    spring: Literal["open", "close"]
    bladders: Count = 2
    area: BladderArea | None = None
    """Effective area of each bladder at its shortest stroke: pressure times it is the push on one
    ski, which is the clamping force of each ski, with one bladder or two. In its place:
    `area_curve`."""
    area_curve: AreaCurve | None = Field(default=None, validate_default=True)
    """Effective area of each bladder over its stroke, as makers publish it, in place of `area`,
    `area_loss` and `full_stroke`: straight between its points, from 0 mm, the way of one ski from
    the bladder's shortest (skis retracted if springs open it, on the fin if they close it), to its
    longest."""
    area_loss: Fraction | None = 0.1
    """Share of `area` lost at `full_stroke`, evenly with the stroke; the springs lose nothing."""
    gap: JawTravel = 6.5e-3
    """Total of both sides when open, lining to fin: half on each side with two bladders."""
    bladder_volume: SmallVolume = 2e-4
    """Air in each bladder at its flattest."""
    spring_force: PartForce
    """All springs of one ski together: with the jaws open if they open it, on the fin if they close
    it."""
    spring_rate: PartSpringRate
    """All springs of one ski together: force gained for each length by which
    they are compressed further than where `spring_force` is given."""
    springs: Count = 4
    """Springs of each ski; says how much force one broken spring takes."""
    ski_mass: MovedMass = 12.0
    """What moves with one ski."""
    fin_thickness: JawTravel = 0.01
    contact_stiffness: ContactStiffness = 4e6
    """Clamping force of one ski for each length its lining is compressed."""
    friction: PartForce = 60.0
    """Dry friction of each ski while it slides."""
    static_friction: PartForce | None = None
    """Dry friction up to which a ski at rest holds; as large as `friction` unless given."""
    damping: PartDamping = 800.0
    full_stroke: JawTravel | None = 0.025
    """Longest stroke of the bladder."""

    @field_validator("bladders")
    @classmethod
    def _one_or_two(cls, value: int) -> int:
        if value > 2:
            raise refused(f"A brake has 1 or 2 bladders, not {value}.", "Give 1 or 2.")
        return value

    @model_validator(mode="before")
    @classmethod
    def _no_even_loss(cls, data: Any) -> Any:
        """Beside a curve the defaults of an even loss say nothing."""
        if isinstance(data, dict) and data.get("area_curve") is not None:
            return {"area_loss": None, "full_stroke": None} | data
        return data

    @field_validator("area_curve")
    @classmethod
    def _one_of_two(cls, value: AreaCurve | None, info: ValidationInfo) -> AreaCurve | None:
        if value is None and info.data.get("area", 0.0) is None:
            raise refused(
                "It needs area or area_curve.", "Add one of them, written like 'area: 120 cm2'."
            )
        if value is not None and info.data.get("area") is not None:
            raise refused(
                "Both area and area_curve say how large the bladder is.", "Leave one of them out."
            )
        return value

    @field_validator("area_loss", "full_stroke")
    @classmethod
    def _said_by_the_curve(cls, value: float | None, info: ValidationInfo) -> float | None:
        if value is not None and info.data.get("area_curve") is not None:
            raise refused(
                "area_curve already says the area over the whole stroke.",
                f"Leave {info.field_name} out.",
            )
        return value

    _holds = field_validator("static_friction")(at_least_sliding)

    @model_validator(mode="after")
    def _reaches(self) -> BladderBrake:
        """Refuses a bladder whose stroke ends before that of its ski."""
        curve, needed = self.area_curve, self.contact() + self.travel_without_fin()
        if curve is None:
            _, _, longest = self._even()
            field, wanted = "full_stroke", "a full_stroke of {} or more"
        else:
            longest = curve.longest
            field, wanted = "area_curve", "its area up to {} or further"
        when = "when the fin is absent"
        if curve is not None and self.spring == "close":
            # without a fin it gets shorter
            needed, when = self.contact(), "from the fin"
        if longest >= needed:
            return self
        raise refused_at(
            field,
            f"The bladder reaches {longest * 1e3:g} mm; a ski may travel {needed * 1e3:g} mm "
            f"{when}.",
            f"Give {wanted.format(f'{needed * 1e3:g} mm')}.",
        )

    @model_validator(mode="after")
    def _leaves_the_bladder(self) -> BladderBrake:
        """Refuses a contact so soft that it takes the flat bladder's air."""
        sinks = self.spring_force / self.contact_stiffness
        squeezed = sinks * self._flat_area()
        if squeezed > MOST_SQUEEZED * self.bladder_volume:
            raise refused_at(
                "contact_stiffness",
                f"The springs compress the contact by {sinks * 1e3:.3g} mm, which presses "
                f"{squeezed * 1e3:.3g} L out of each bladder of {self.bladder_volume * 1e3:.3g} L.",
                f"Give a stiffer contact or a bladder_volume of "
                f"{squeezed / MOST_SQUEEZED * 1e3:.3g} L or more.",
            )
        return self

    def contact(self) -> float:
        """Travel of a ski from retracted to the fin [m]."""
        return self.gap / self.bladders

    def travel_without_fin(self) -> float:
        """Travel of a ski past its contact until it meets the other ski [m]."""
        return self.fin_thickness / self.bladders

    def area_at(self, stroke: float) -> float:
        """Effective area of each bladder at a stroke [m2]."""
        if self.area_curve is not None:
            return self.area_curve.area_at(stroke)
        area, loss, full = self._even()
        return area * (1.0 - loss * stroke / full)

    def _even(self) -> tuple[float, float, float]:
        """area [m2], area_loss [-] and full_stroke [m] where no curve is given."""
        assert self.area is not None and self.area_loss is not None
        assert self.full_stroke is not None
        return self.area, self.area_loss, self.full_stroke

    def _flat_area(self) -> float:
        """An area that the bladder does not exceed as long as it holds any air [m2]."""
        if self.area_curve is None:
            return self._even()[0]
        flattest = 0.0 if self.spring == "open" else -self.travel_without_fin()
        area = self.area_curve.area_at(flattest)
        return area - self.area_curve.slope_at(flattest) * self.bladder_volume / area

    def remarks_under(self, most: Mapping[str, float], ambient: float) -> Iterator[Remark]:
        """Whether the air that reaches it can move it all the way against its springs."""
        if "1" not in most:
            return
        travel = self.contact()
        push = (most["1"] - ambient) * self.area_at(travel)
        springs = self.spring_force + self.spring_rate * travel
        if push <= springs:
            field = "area" if self.area_curve is None else "area_curve"
            yield Remark(
                field,
                f"Air cannot {'close' if self.spring == 'open' else 'open'} it: at most "
                f"{format_pressure(most['1'], ambient)} reaches it, with which a bladder pushes "
                f"{format_force(push)} against {format_force(springs)} of springs.",
                f"Check {field} (of each bladder), spring_force, spring_rate and the pressure.",
            )

    def ports(self) -> tuple[Port, ...]:
        return (Port("1"),)

    def lower(self, low: Lowering) -> None:
        node = low.node("1")
        contact = self.contact()
        count = float(self.bladders)
        stop = STOP_STIFFNESS * self.contact_stiffness
        if self.spring == "open":
            spring_force = -self.spring_force
        else:
            spring_force = self.spring_force + self.spring_rate * contact
        chamber, volume = self._chamber(node)
        low.add_volume(node, PORT_VOLUME + count * volume)
        low.mover(
            "ski",
            mass=self.ski_mass,
            chambers=(chamber,),
            spring_force=spring_force,
            spring_rate=self.spring_rate,
            friction=self.friction,
            static_friction=self.static_friction,
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

    def _chamber(self, node: int) -> tuple[Chamber, float]:
        """The bladders on a node, and the air in each where x = 0 [m3]."""
        contact, count = self.contact(), float(self.bladders)
        furthest = contact + self.travel_without_fin()
        curve = self.area_curve
        if curve is None:
            area, share, full = self._even()
            loss = area * share / full
            if self.spring == "open":
                return Chamber(node, area, slope=-loss, count=count), self.bladder_volume
            area -= loss * contact
            volume = self.bladder_volume + area * furthest + loss * furthest**2 / 2.0
            return Chamber(node, area, slope=loss, direction=-1.0, count=count), volume
        if self.spring == "open":
            return Chamber(
                node, curve.area_at(0.0), slope=curve.slope_at(0.0), count=count,
                bends=curve.bends(),
            ), self.bladder_volume  # fmt: skip
        # from its longest stroke on, where the ski is retracted; what bends beyond is not reached
        swept = curve.volume_to(contact) - curve.volume_to(contact - furthest)
        bends = tuple((contact - s, bend) for s, bend in reversed(curve.bends()) if s < contact)
        return Chamber(
            node, curve.area_at(contact), slope=-curve.slope_at(contact), direction=-1.0,
            count=count, bends=bends,
        ), self.bladder_volume + swept  # fmt: skip

    def fault_modes(self) -> tuple[FaultMode, ...]:
        one_spring = 1.0 / self.springs
        strongest = self.spring_force + self.spring_rate * self.contact()
        # a worn spring-close brake closes further and must not squeeze its bladder to nothing
        room = MOST_WORN * self.bladder_volume / self._flat_area()
        deepest = min(THICKEST_WEAR, room * self.bladders / 2.0)
        wear = min(0.002, deepest)
        return (
            leak("1", B9_LEAKS),
            burst("1", hole_conductance(FITTING_BORE), B9_BREAKS),
            FaultMode(
                "spring-broken",
                "One spring of each ski is broken; the others still push.",
                _break_springs,
                Severity("", 0.0, 1.0, default=one_spring, campaign=(one_spring,), step=one_spring),
                A5_WEAK,
                ended_by=("replace",),
            ),
            FaultMode(
                "spring-weak",
                "Springs have lost force.",
                _lose_spring,
                TIRED,
                A5_WORN,
                ended_by=("replace",),
            ),
            burst(
                "1",
                hole_conductance(TORN_BLADDER),
                name="bladder-burst",
                effect="Bladder torn: it and its hose lose their air.",
            ),
            FaultMode(
                "bladder-pinhole",
                "Small hole in a bladder: it leaks while charged.",
                _pinhole,
                PINHOLE,
                ended_by=("replace",),
            ),
            seized("jaw-seized", "Jaws jammed: they do not move."),
            dragging("jaw-dragging", "Jaws stiff: more friction.", strongest),
            FaultMode(
                "lining-worn",
                "Both linings worn: the skis travel further to the fin.",
                _wear,
                Severity(unit="mm", low=0.0, high=deepest, default=wear, campaign=(wear,)),
                ended_by=("reline", "replace"),
            ),
        )


def _lose_spring(component: Any, target: FaultTarget, fraction: float) -> None:
    target.scale_spring(1.0 - fraction)


def _break_springs(component: Any, target: FaultTarget, fraction: float) -> None:
    target.break_springs(fraction)


def _pinhole(component: Any, target: FaultTarget, diameter: float) -> None:
    leak("1").inject(component, target, diameter)


def _wear(component: BladderBrake, target: FaultTarget, each_side: float) -> None:
    # one moving ski has to make up for both linings
    target.wear(each_side * 2.0 / component.bladders)
