"""Pictures of every view, as a person sees it: compared with those kept in __snapshots__.

The rides are read from tests/tui/frames, never simulated here. After a wanted change:
`pytest -n 0 tests/tui/test_tui_snapshots.py --snapshot-update`, then look at what has changed.
"""

from __future__ import annotations

import difflib
import html
import io
import re
from collections.abc import Awaitable, Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from make_frames import FRAMES, VERIFIED, Situation, read
from rich.console import Console
from syrupy.assertion import SnapshotAssertion
from syrupy.extensions.single_file import SingleFileSnapshotExtension, WriteMode
from syrupy.location import PyTestLocation
from textual.events import Paste
from textual.pilot import Pilot
from textual.widgets import Input
from tui_class import whole
from tui_drills import STAGES
from tui_toys import FakeLink, plant_of

from pneumo.live.frame import Frame
from pneumo.live.request import Answer, Check, Seat
from pneumo.live.seat import SeenPast, seen
from pneumo.packing import pack, unpack
from tui.app import DashboardApp
from tui.board import BoardApp
from tui.host import Host
from tui.stage import VIEWS
from tui.unfinished import Unfinished

SIZES = {"80x24": (80, 24), "120x40": (120, 40), "200x60": (200, 60)}

TEMPLATE = """\
<svg viewBox="{terminal_x} {terminal_y} {terminal_width} {terminal_height}" \
xmlns="http://www.w3.org/2000/svg">
<style>
text {{
font: {char_height}px "DejaVu Sans Mono", "Liberation Mono", Menlo, Consolas, monospace;
white-space: pre;
}}
rect {{ shape-rendering: crispEdges; }}
{styles}
</style>
<g transform="translate({terminal_x}, {terminal_y})">
{backgrounds}
{matrix}
</g>
</svg>
"""
"""As little as a picture needs: no font is fetched, and no name in it differs between two runs."""

_RUN = re.compile(r'(<text [^>]*x=")([\d.]+)"([^>]*) textLength="[^"]*"[^>]*>([^<]+)</text>')
"""A piece of text: up to its x, x, what stands between, its words."""

CELL = 12.2
"""Width of a cell."""

_NEEDLESS = re.compile(r' clip-path="[^"]*"| shape-rendering="[^"]*"')


class Picture(SingleFileSnapshotExtension):
    """One SVG file per test, "test_trainer-zones-80x24.svg": a name that needs no quotes."""

    _write_mode = WriteMode.TEXT
    file_extension = "svg"

    @classmethod
    def get_snapshot_name(cls, *, test_location: PyTestLocation, index: Any = 0) -> str:
        name = super().get_snapshot_name(test_location=test_location, index=index)
        return re.sub(r"[^0-9A-Za-z_-]+", "-", name).strip("-")

    @classmethod
    def matches_test_location(
        cls, *, test_location: PyTestLocation, snapshot_location: str
    ) -> bool:
        return Path(snapshot_location).stem == cls.get_snapshot_name(test_location=test_location)


# a seat at a kept ride


@cache
def situation(name: str) -> Situation:
    return read(name)


class PictureLink(FakeLink):
    """A seat at a situation. A check is answered at once by what was kept."""

    def __init__(self, name: str, seat: Seat) -> None:
        kept = situation(name)
        whole = seat == "trainer"
        frame = kept.frame if whole else seen(kept.frame, kept.plant)
        super().__init__(kept.plant, seat, frame)
        self.past = kept.past if whole else SeenPast(kept.plant)(kept.past, kept.hidden)
        self.outcomes = kept.outcomes

    def send(self, request: Any) -> int:
        number = super().send(request)
        if isinstance(request, Check) and self.outcomes:
            self.reply(Answer(number, True, "", data=self.outcomes))
        return number


RECORD = "sand_martin_1.ride"

INVITED = Host(RECORD, "pneumo join 192.0.2.7:8470", "8FQ-YTQ-6HT", False, "not joined")
"""A ride to which a trainee is invited; the address is one kept for examples."""


def app_of(
    name: str, seat: Seat = "trainer", host: Host | None = None, **more: Any
) -> DashboardApp:
    if host is None and seat == "trainer":
        host = Host(RECORD)
    app = DashboardApp(PictureLink(name, seat), host=host, **more)
    app.animation_level = "none"
    return app


Steps = Callable[[Pilot[None]], Awaitable[None]]


class Typed(str):
    """Words that come in one piece, as from a clipboard; each key by itself draws all anew."""


async def settle(app: DashboardApp | BoardApp, pilot: Pilot[None]) -> None:
    """Until nothing moves any more: one layout may be the cause of another."""
    before: object = None
    for _ in range(50):
        app.tick()  # as its timer does, which may be late on a busy machine
        await pilot.pause(0.02)
        now = app.screen._compositor.render_strips(app.size)
        if now == before:
            return
        before = now
    raise AssertionError("The screen does not come to rest.")


async def picture(app: DashboardApp | BoardApp, size: str, steps: Steps) -> str:
    """What is on the screen after some steps, as SVG."""
    async with app.run_test(size=SIZES[size]) as pilot:
        await pilot.pause()
        await steps(pilot)
        for line in app.screen.query(Input):
            line.cursor_blink = False
        await settle(app, pilot)
        width, height = app.size
        console = Console(
            width=width, height=height, file=io.StringIO(), record=True, force_terminal=True,
            color_system="truecolor", legacy_windows=False, safe_box=False, no_color=False,
        )  # fmt: skip
        console.print(
            app.screen._compositor.render_update(
                full=True, screen_stack=app._background_screens, simplify=True
            )
        )
    svg = _RUN.sub(_split, console.export_svg(code_format=TEMPLATE, unique_id="p"))
    return "\n".join(line.strip(" ") for line in _NEEDLESS.sub("", svg).splitlines()) + "\n"


def _split(run: re.Match[str]) -> str:
    """A piece of text as several, so that every group of signs begins where it belongs, whatever
    font of the reader's machine has them."""
    start, x, between, words = run.groups()
    words = html.unescape(words)
    if words == "\n":
        return ""
    at, found = float(x), ""
    for part in re.findall("[ -~\u00a0]+|[\u2800-\u28ff]+|[^ -~\u00a0\u2800-\u28ff]+", words):
        width = len(part) * CELL
        found += f'{start}{at:g}"{between} textLength="{width:g}">{html.escape(part)}</text>'
        at += width
    return found


def opens(title: str) -> Steps:
    async def steps(pilot: Pilot[None]) -> None:
        app = pilot.app
        assert isinstance(app, DashboardApp)
        await app.action_open_view(title)

    return steps


def presses(*keys: str) -> Steps:
    async def steps(pilot: Pilot[None]) -> None:
        app = pilot.app
        assert isinstance(app, DashboardApp | BoardApp)
        for key in keys:
            if isinstance(key, Typed):
                assert isinstance(app.focused, Input)
                app.focused.post_message(Paste(key))
            else:
                await pilot.press(key)
            app.tick()
            await pilot.pause()

    return steps


def words(svg: str) -> list[str]:
    """The text of a picture, for a difference that can be read."""
    return [html.unescape(text) for text in re.findall(r"<text [^>]*>([^<]*)</text>", svg)]


@pytest.fixture
def looks(snapshot: SnapshotAssertion, tmp_path: Path) -> Callable[[str], None]:
    kept = snapshot.use_extension(Picture)

    def compare(svg: str) -> None:
        assert re.findall(r"https?://[^\"]*", svg) == ["http://www.w3.org/2000/svg"]
        if kept == svg:
            return
        new = tmp_path / "new.svg"
        new.write_text(svg, encoding="utf-8")
        before = words(str(kept.executions[0].recalled_data or ""))
        lines = difflib.unified_diff(before, words(svg), "kept", "new", n=0, lineterm="")
        pytest.fail(f"The picture has changed, see {new}.\n" + "\n".join([*lines][:60]), False)

    return compare


@pytest.fixture(autouse=True)
def plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("NO_COLOR", "TEXTUAL_THEME", "TEXTUAL_FILTERS"):
        monkeypatch.delenv(name, raising=False)


# every view of both seats

OF_TRAINER = [entry.title for entry in VIEWS if not entry.drill]
OF_TRAINEE = [e.title for e in VIEWS if "trainee" in e.seats and not e.drill]

Looks = Callable[[str], None]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("view", OF_TRAINER)
async def test_trainer(view: str, size: str, looks: Looks) -> None:
    looks(await picture(app_of("unsafe"), size, opens(view)))


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("view", OF_TRAINEE)
async def test_trainee(view: str, size: str, looks: Looks) -> None:
    looks(await picture(app_of("unsafe", "trainee"), size, opens(view)))


@pytest.mark.parametrize("size", SIZES)
async def test_picked(size: str, looks: Looks) -> None:
    """The circuit around a component that was looked for."""
    keys = ("2", "slash", Typed("block_valve_a"), "enter")
    looks(await picture(app_of("unsafe"), size, presses(*keys)))


@pytest.mark.parametrize("size", SIZES)
async def test_checked(size: str, looks: Looks, monkeypatch: pytest.MonkeyPatch) -> None:
    """A check of the last zone, asked for three seconds ago, beside the verification of a ride
    without faults."""
    monkeypatch.chdir(FRAMES)
    app = app_of("check")

    async def steps(pilot: Pilot[None]) -> None:
        link = app.link
        assert isinstance(link, PictureLink)
        played = link.frame
        link.give(mode="live", time=22.0, newest=22.0, check=None)
        await presses("7", "Z", "down", "k")(pilot)
        link.frame = played
        await presses("o", "ctrl+u", Typed(f"{VERIFIED}.json"), "enter")(pilot)

    looks(await picture(app, size, steps))


# the page of a drill


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("stage", STAGES)
async def test_drill(stage: str, size: str, looks: Looks) -> None:
    """The trainee's page before the drill begins, at work and when it is over."""
    looks(await picture(drilled("trainee", stage), size, presses()))


@pytest.mark.parametrize("size", SIZES)
async def test_drill_of_the_trainer(size: str, looks: Looks) -> None:
    looks(await picture(drilled("trainer", "work"), size, presses()))


def drilled(seat: Seat, stage: str) -> DashboardApp:
    """A seat at a drill by hand."""
    link = FakeLink(plant_of("01_spring_open_single"), seat)
    link.drill, link.work = "It hisses", STAGES[stage]
    now = link.work.began + (760.0 if stage == "work" else 0.0)
    link.give(time=now, newest=now, running=stage == "work")
    return DashboardApp(link)


# the board of a class


@pytest.mark.parametrize(
    ("size", "rows"), [("80x24", 1), ("120x40", 6), ("200x60", 0)], ids=["80x24", "120x40", "all"]
)
async def test_class(size: str, rows: int, looks: Looks) -> None:
    """One at work chosen, one who was hurt, and all of them."""
    lesson = whole()
    lesson.said = ["Ann Sorley has joined, from 192.0.2.9.", "B. Rossi: the connection is cut."]
    looks(await picture(BoardApp(lesson), size, presses(*["down"] * rows)))


# other situations

OTHERS = [
    ("rest", "zones"), ("rest", "circuit"),
    ("moving", "zones"), ("moving", "circuit"), ("moving", "trends"), ("moving", "logic"),
    ("earlier", "zones"), ("earlier", "trends"),
    ("check", "zones"), ("check", "trends"),
    ("spring_stuck", "circuit"), ("spring_stuck", "zones"), ("spring_moving", "circuit"),
    ("gates_moving", "circuit"), ("gates_moving", "zones"), ("gates_moving", "trends"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "view"), OTHERS)
async def test_ride(name: str, view: str, looks: Looks) -> None:
    looks(await picture(app_of(name), "120x40", opens(view)))


# dialogs


DIALOGS: dict[str, tuple[str, tuple[str, ...]]] = {
    "help": ("unsafe", ("question_mark",)),
    "normal": ("unsafe", ("N",)),
    "save": ("unsafe", ("w",)),
    "check": ("unsafe", ("k",)),
    "fault": ("unsafe", ("f", *"block valve_a coil")),
    "tests": ("unsafe", ("t",)),
    "command": ("unsafe", ("colon", Typed("fault tri"))),
    "cautions": ("unsafe", ("colon", Typed("isolate block_shut_off"), "enter")),
    "outcomes": ("check", ("k", Typed("storage loss of air"), "enter")),
}
"""Name -> ride, keys that lead there."""


@pytest.mark.parametrize("size", ("80x24", "120x40"))
@pytest.mark.parametrize("dialog", DIALOGS)
async def test_dialog(
    dialog: str, size: str, looks: Looks, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)  # saving proposes a name that is free there
    ride, keys = DIALOGS[dialog]
    looks(await picture(app_of(ride), size, presses(*keys)))


@pytest.mark.parametrize("size", ("80x24", "120x40"))
async def test_unfinished(size: str, looks: Looks) -> None:
    runs = [
        ("Sand Martin, 12 May 14:02, reached 0:07:41", 1),
        ("Station air gates, 11 May 09:30, reached 0:00:12", 2),
    ]
    looks(await picture(app_of("rest", unfinished=Unfinished(runs)), size, presses()))


@pytest.mark.parametrize("size", ("80x24", "120x40"))
async def test_invitation(size: str, looks: Looks) -> None:
    looks(await picture(app_of("rest", host=INVITED), size, presses()))


# without colours, on paper


@pytest.mark.parametrize("view", ("zones", "circuit", "alarms"))
async def test_no_color(view: str, looks: Looks, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    looks(await picture(app_of("unsafe"), "120x40", opens(view)))


async def test_paper_zones(looks: Looks) -> None:
    async def steps(pilot: Pilot[None]) -> None:
        await opens("zones")(pilot)
        await pilot.app.run_action("other_theme")

    looks(await picture(app_of("unsafe"), "120x40", steps))


# the kept rides themselves


@pytest.mark.parametrize("name", sorted({path.stem for path in FRAMES.glob("*.json")} - {VERIFIED}))
def test_a_kept_ride_fits_its_circuit(name: str) -> None:
    kept = situation(name)
    frame, plant = kept.frame, kept.plant
    assert unpack(Frame, pack(frame)) == frame
    for field, members in (
        ("zones", plant.zones), ("pressures", plant.nets), ("flows", plant.ports),
        ("positions", plant.valves), ("gaps", plant.brakes), ("inputs", plant.inputs),
        ("outputs", plant.outputs), ("readings", plant.meters), ("travels", plant.cylinders),
    ):  # fmt: skip
        assert len(getattr(frame, field)) == len(members)
    assert kept.past.times[-1] <= frame.newest


def test_the_unsafe_ride_shows_every_mark() -> None:
    """What the pictures are to show must be there to be seen."""
    frame = situation("unsafe").frame
    assert any(zone.judged.not_safe and zone.first_out for zone in frame.zones)
    assert {fault.hidden for fault in frame.faults} == {True, False}
    assert any(frame.forced_inputs) and frame.overridden and frame.drained and frame.isolated
    assert frame.trapped and any(alarm.shelved_until for alarm in frame.alarms)
