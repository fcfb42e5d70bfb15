"""Nothing that acts on a terminal reaches it through a screen, whichever widget draws it."""

from __future__ import annotations

from dataclasses import replace

from textual.widgets import Static
from tui_toys import FakeLink, look, plant_of, resting_frame

from pneumo.harmless import first_acting
from tui.app import DashboardApp
from tui.host import Host

ACTING = "\x1b]0;all safe\x07\x9b2J\u202eefas"


async def test_every_line_of_the_dashboard() -> None:
    plant = plant_of("sand_martin")
    circuit = plant.circuit
    ride = circuit.ride.model_copy(update={"name": ACTING})
    plant = replace(plant, circuit=replace(circuit, ride=ride, path=ACTING))
    link = FakeLink(plant, frame=resting_frame(plant, note=ACTING))
    app = DashboardApp(link, host=Host(record=ACTING, invitation=ACTING))
    async with app.run_test(size=(120, 40)) as pilot:
        await look(pilot)
        app.notify(ACTING, markup=False)
        await app.screen.mount(Static(ACTING, markup=False))
        link.trouble = ACTING
        await look(pilot)
        strips = app.screen._compositor.render_strips(app.size)
        text = "\n".join(strip.text for strip in strips)
        assert "all safe" in text
        assert first_acting(text, keep="\n") == -1
