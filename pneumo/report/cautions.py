"""What every reader of a result has to be told, in one place."""

from __future__ import annotations

CAUTIONS: tuple[str, ...] = (
    "This is a calculation about a description of a circuit. It does not certify a ride, a zone or "
    "a component, and it does not replace an inspection.",
    "Local codes, the manufacturer's instructions and licensed practice come first. Where they ask "
    "for more than this report, do what they ask.",
    "Before anyone works on the system: stop the ride, lock out and tag every source of air and "
    "electricity, vent every receiver and accumulator, and verify zero energy at a gauge you trust "
    "and at the jaws.",
    "Springs hold energy when the air is vented. Stay clear of the jaws and block them before you "
    "reach in: a spring-close brake closes when it is vented.",
    "Stored energy: a check valve keeps its accumulator charged after the main is vented. Vent "
    "every accumulator separately.",
    "Replay a fault on the computer. Do not bring one about on the ride unless a licensed person "
    "has planned it, nobody is on board and the area is clear.",
)

LIMITS: tuple[str, ...] = (
    "Air is an ideal gas with constant specific heats, every volume has one pressure and one "
    "temperature. Pressure waves in lines are not calculated; the time that they take is added to "
    "the time of a zone.",
    "Friction of jaws and pistons is dry: static friction up to its limit, then sliding "
    "friction, the same at any speed.",
    "Restrictions follow ISO 6358 with the given C and b; lines follow Darcy's law of friction "
    "with Colebrook's factor.",
    "A jaw moves along one axis; its frame does not bend, and braking of a train (friction "
    "on the fin, heat, wear while braking) is not part of the verdict.",
    "Electrical parts are feeds, coils, switches and transmitters with their delays; wiring, "
    "controller hardware and its program are not.",
    "Water, ice, oil and dirt act only as the faults they cause.",
    "Only what the document says was tested: a wrong value there gives a wrong result here.",
)
