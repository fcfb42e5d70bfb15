"""The sentences of evidence, as a mechanic would say them. Nothing is read back from them."""

from __future__ import annotations

from functools import singledispatch
from typing import Any

from pneumo.inspection.evidence import (
    Bubbles,
    Card,
    Cycled,
    DrainSeen,
    Element,
    Handle,
    Heard,
    Jaws,
    Lining,
    Plug,
    Plugs,
    Pried,
    Pulled,
    Reading,
    Rod,
    Voltage,
    Where,
    Winding,
)


@singledispatch
def told(evidence: Any) -> str:
    """What a test gave, in one or a few sentences."""
    raise TypeError(f"{evidence!r} is no evidence")


@told.register(Reading)
def _gauge(found: Reading) -> str:
    if found.open_end:
        return f"{found.port} is open to the air: a gauge there reads 0.00 bar."
    return f"A test gauge at {found.port} reads {found.shown / 1e5:.2f} bar."


@told.register(Heard)
def _heard(found: Heard) -> str:
    sounds = [f"a {each.loudness} hiss at {_place(each.where, each.port)}"
              for each in found.outflows]  # fmt: skip
    sounds += [f"air escaping at {name} next to it" for name in found.beside]
    heard = f"At {found.component}: {', '.join(sounds) or 'no sound'}."
    if found.pumping is not None:
        return f"{heard} It is {'pumping' if found.pumping else 'not pumping'}."
    return f"{heard} A compressor is pumping nearby." if found.pumping_nearby else heard


@told.register(Bubbles)
def _bubbles(found: Bubbles) -> str:
    where = ", ".join(_place(each.where, each.port) for each in found.at)
    return f"Soapy water at {found.component}: {f'bubbles at {where}' if where else 'no bubbles'}."


def _place(where: Where, port: str) -> str:
    return {
        "exhaust": f"its exhaust port {port}",
        "open port": f"its open port {port}",
        "outlet": "its outlet",
        "hole": f"port {port}, where no air should escape",
        "drain": f"port {port}, which was opened" if port else "its drain",
    }[where]


@told.register(Jaws)
def _jaws(found: Jaws) -> str:
    part, more = found.component, " They are blocked." if found.blocked else ""
    if found.springs_broken:
        one = found.springs_broken == 1
        more += f" {found.springs_broken} spring{'' if one else 's'} of each ski "
        more += f"{'is' if one else 'are'} broken."
    if not found.fin:
        where = (
            "The linings touch each other"
            if found.state == "closed"
            else f"The linings are {_by_eye(found.distance)} apart"
        )
        return f"There is no fin in the jaws of {part}. {where}.{more}"
    if found.state == "closed":
        return f"The jaws of {part} are closed: the linings touch the fin.{more}"
    state = "open" if found.state == "open" else "neither open nor closed"
    lining = "each lining" if found.linings > 1 else "the lining"
    return (
        f"The jaws of {part} are {state}: {lining} is {_by_eye(found.distance)} off the fin.{more}"
    )


@told.register(Lining)
def _lining(found: Lining) -> str:
    return (
        f"Callipers at {found.component}: a ski travels {found.travel * 1e3:.1f} mm to the fin "
        f"(with new linings {found.drawing * 1e3:.1f} mm)."
    )


@told.register(Rod)
def _rod(found: Rod) -> str:
    if found.state == "between":
        return f"The rod of {found.component} is {_by_eye(found.out)} out, part of its way."
    return f"The rod of {found.component} is all the way {found.state}."


def _by_eye(distance: float) -> str:
    whole = round(distance * 1e3)
    return f"about {whole} mm" if distance >= 1e-3 else "less than 1 mm"


@told.register(Plugs)
def _plugs(found: Plugs) -> str:
    return " ".join(_plug(plug) for plug in found.plugs)


def _plug(plug: Plug) -> str:
    lamp, held = "lit" if plug.lamp else "dark", "held down" if plug.held else "not held"
    return f"The lamp in the plug of {plug.coil} is {lamp}; its manual override is {held}."


@told.register(Handle)
def _handle(found: Handle) -> str:
    state = "in" if found.in_service else "out of"
    return f"The handle of {found.component} is {state} service."


@told.register(DrainSeen)
def _drain(found: DrainSeen) -> str:
    return f"The drain of {found.component} is {'open' if found.open else 'closed'}."


@told.register(Element)
def _element(found: Element) -> str:
    return f"The element of {found.component} is {found.dirt}."


@told.register(Pulled)
def _pulled(found: Pulled) -> str:
    if found.moves is None or found.returns is None:
        return f"Load cell at {found.component}: the ski does not move."
    return (
        f"Load cell at {found.component}: the ski moves at {found.moves / 1e3:.2f} kN and goes "
        f"back at {found.returns / 1e3:.2f} kN."
    )


@told.register(Pried)
def _pried(found: Pried) -> str:
    if found.moved == 0.0:
        return f"Bar at {found.component}: the jaw does not move."
    return f"Bar at {found.component}: the jaw moves {_by_eye(found.moved)} and goes back."


@told.register(Voltage)
def _voltage(found: Voltage) -> str:
    return f"{found.volts:g} V at the plug of {found.coil}."


@told.register(Winding)
def _winding(found: Winding) -> str:
    if found.live:
        return (
            f"There is voltage at {found.coil}: nothing was measured. Set to ohms a meter shows "
            "nothing true there, and may be destroyed."
        )
    if found.ohms is None:
        return f"Winding of {found.coil}, plug off: open circuit."
    return f"Winding of {found.coil}, plug off: about {found.ohms:g} ohm, normal for such a coil."


@told.register(Card)
def _card(found: Card) -> str:
    lamp = "lit" if found.lamp else "dark"
    return f"Output card, {found.coil}: its lamp is {lamp}, {found.volts:g} V at its terminal."


@told.register(Cycled)
def _cycled(found: Cycled) -> str:
    lamp = "lit" if found.lamp else "dark"
    if found.switched:
        click = "it was heard to switch"
    elif found.clicked:
        click = "its pilot clicked, but the valve was not heard to switch"
    else:
        click = "no click was heard"
    blew = f"air was heard at {', '.join(found.blew)}" if found.blew else "no air was heard"
    return f"{found.coil} on and off: the lamp in its plug was {lamp}, {click}, {blew}."


# why a test could show nothing


@singledispatch
def why_idle(evidence: Any) -> str:
    """Why an idle test could show nothing as the ride stood, as a part of a sentence."""
    return ""


@why_idle.register(Reading)
def _vented(found: Reading) -> str:
    return "the zone was vented, so it reads zero with any fault"


@why_idle.register(Heard)
@why_idle.register(Bubbles)
def _no_air(found: Heard | Bubbles) -> str:
    return "no air stood behind it that could have come out"


@why_idle.register(Pulled)
@why_idle.register(Pried)
def _jaws_held(found: Pulled | Pried) -> str:
    return "air, springs or a block held the jaws"


@why_idle.register(Voltage)
@why_idle.register(Card)
def _no_command(found: Voltage | Card) -> str:
    return "the controller commanded nothing there"


@why_idle.register(Winding)
def _voltage_on(found: Winding) -> str:
    return "its voltage was on"


@why_idle.register(Cycled)
def _not_switched(found: Cycled) -> str:
    return "it was commanded on already, or its feed was off, so nothing was switched"
