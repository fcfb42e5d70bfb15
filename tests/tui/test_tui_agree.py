"""What stands on the screen of a zone's state is what the frame says of it, at every drawing.

The soak's random keys, faults, going back and sizes, in the trainer's seat and the trainee's; and
while it goes on, whatever is drawn of a zone is compared with the frame of that instant. A view
that comes back into sight may not show for a moment what was there when it was last seen.
"""

from __future__ import annotations

import re
from pathlib import Path
from random import Random

import pytest
from test_tui_soak import Soak, contained
from textual.pilot import Pilot
from textual.strip import Strip
from tui_toys import FakeLink, look

from pneumo.circuit.shipped import find_document
from pneumo.circuit.validate import load_text
from pneumo.live.driver import Driver
from pneumo.live.link import Link
from pneumo.live.request import Run, Seat, Speed
from pneumo.live.session import Session
from tui.app import DashboardApp
from tui.bar import ZoneStrip
from tui.widgets.rows import Rows
from tui.widgets.zone_list import ZoneRow
from tui.widgets.zone_sheet import ZoneSheet

__all__ = ["contained"]  # a fixture

STEPS = 8
"""Random things that are done to each ride."""


STATES = "open|opening|closing|closed|venting|faulted"


class Watch:
    """Compares everything that is drawn of a zone with the frame."""

    def __init__(self, link: Link, monkeypatch: pytest.MonkeyPatch) -> None:
        self.link = link
        self.wrong: list[str] = []
        self.looks = {"list": 0, "strip": 0, "sheet": 0}
        list_line, strip_line = Rows.render_line, ZoneStrip.render_line
        sheet_line, sheet_drawn = ZoneSheet.render_line, ZoneSheet.redraw
        on_sheet: dict[str, str] = {}

        def of_list(rows: Rows, y: int) -> Strip:
            if rows.id == "zones-list":
                shown = {row.name: row.state for row in rows.rows if isinstance(row, ZoneRow)}
                self._compare("list", shown)
            return list_line(rows, y)

        def of_strip(strip: ZoneStrip, y: int) -> Strip:
            words = str(strip.render())
            found = re.findall(r"^[x!·] (\S+) +(\S.*)$", words, re.MULTILINE)
            self._compare("strip", {n: s for n, s in found if "…" not in n + s})
            return strip_line(strip, y)

        def of_sheet(sheet: ZoneSheet) -> None:
            name = sheet.name_of_zone
            on_sheet.clear()
            on_sheet[name] = self._state(name)
            sheet_drawn(sheet)

        def of_sheet_line(sheet: ZoneSheet, y: int) -> Strip:
            self._compare("sheet", on_sheet)
            return sheet_line(sheet, y)

        monkeypatch.setattr(Rows, "render_line", of_list)
        monkeypatch.setattr(ZoneStrip, "render_line", of_strip)
        monkeypatch.setattr(ZoneSheet, "redraw", of_sheet)
        monkeypatch.setattr(ZoneSheet, "render_line", of_sheet_line)

    def _state(self, zone: str) -> str:
        zones = self.link.plant.zones
        return self.link.frame.zones[zones.index(zone)].state if zone in zones else ""

    def _compare(self, where: str, shown: dict[str, str]) -> None:
        self.looks[where] += 1
        for zone, state in shown.items():
            if state not in (self._state(zone), "NOT SAFE"):
                self.wrong.append(f"{where}: {zone} {state}, it is {self._state(zone)}")


@pytest.mark.parametrize(("seat", "seed"), [("trainer", 11), ("trainee", 12)])
async def test_what_is_drawn_of_a_zone_is_what_the_frame_says(
    seat: Seat, seed: int, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    document = find_document("sand_martin").read_text(encoding="utf-8")
    session = Session(load_text(document, "sand_martin"), document)
    driver = Driver(session, rescue=tmp_path / "rescue")
    other: Seat = "trainee" if seat == "trainer" else "trainer"
    own, chance = driver.seat(seat), Random(seed)
    soak = Soak(driver, own, driver.seat(other), chance, [])
    watch = Watch(own, monkeypatch)
    async with soak.app.run_test(size=soak.size) as pilot:
        await pilot.pause()
        soak.trainer.send(Speed(50.0))
        for _ in range(STEPS):
            await soak.step(pilot)
            soak.turn()
            if chance.random() < 0.5:
                await through_the_views(soak, pilot)
            assert not watch.wrong, (watch.wrong, soak.told())
    assert all(count > 0 for count in watch.looks.values()), watch.looks


async def through_the_views(soak: Soak, pilot: Pilot[None]) -> None:
    """From view to view, in the middle of which something happens."""
    await soak.to_base(pilot)
    for title in ("logic", "circuit", "zones", "alarms", "zones"):
        number = str(soak.app.stage.titles.index(title) + 1)
        await soak.press(pilot, number)
        soak.trainer.send(Run())
        for _ in range(soak.chance.randrange(4)):
            soak.turn()
    if soak.size >= (120, 26):
        await agrees(soak.app, pilot)


async def agrees(app: DashboardApp, pilot: Pilot[None]) -> None:
    """In letters: the list of zones, as it stands on the screen."""
    await pilot.pause()
    strips = app.screen._compositor.render_strips()
    words = "\n".join("".join(part.text for part in strip) for strip in strips)
    for name, zone in zip(app.link.plant.zones, app.link.frame.zones, strict=True):
        for state in re.findall(rf"[x!·] {name} +({STATES})\b", words):
            assert state == zone.state, (name, state, zone.state)


async def test_a_view_that_comes_back_never_shows_what_was_there_before(
    trainer: FakeLink, monkeypatch: pytest.MonkeyPatch
) -> None:
    watch = Watch(trainer, monkeypatch)
    first, *others = trainer.frame.zones
    app = DashboardApp(trainer)
    async with app.run_test(size=(160, 50)) as pilot:
        await look(pilot)
        for there, back in (("2", "1"), ("1", "2"), ("2", "6")):
            await pilot.press(back)
            for state in ("faulted", "closed"):
                await pilot.press(there)
                trainer.give(zones=(first._replace(state=state), *others))
                app.tick()
                await pilot.press(back)
    assert watch.wrong == [] and all(watch.looks.values())


async def test_what_a_wider_screen_shows_is_of_now(
    trainer: FakeLink, monkeypatch: pytest.MonkeyPatch
) -> None:
    watch = Watch(trainer, monkeypatch)
    first, *others = trainer.frame.zones
    app = DashboardApp(trainer)
    async with app.run_test(size=(160, 50)) as pilot:
        await look(pilot)
        await pilot.press("2")
        await look(pilot)
        await pilot.resize_terminal(80, 24)
        await look(pilot)
        trainer.give(zones=(first._replace(state="faulted"), *others))
        app.tick()
        await pilot.resize_terminal(160, 50)
        await look(pilot)
    assert watch.wrong == [] and watch.looks["strip"]
