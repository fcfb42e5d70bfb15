"""Tests of pneumo serve: the page, its door, and what a browser shows of it."""

from __future__ import annotations

import base64
import http.client
import json
import os
import re
import shutil
import signal
import socket
import struct
import subprocess
import zlib
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from time import monotonic, sleep
from typing import Any
from urllib.parse import urlsplit

import pytest
from command_bench import TRIM, command, environment, pneumo
from websockets.exceptions import InvalidStatus
from websockets.sync.client import ClientConnection, connect

from pneumo.commands import serve
from pneumo.seats.address import is_loopback

Capture = pytest.CaptureFixture[str]

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def until(true: Callable[[], Any], patience: float = 40.0) -> Any:
    """Waits until something is true; what it is."""
    end = monotonic() + patience
    while not (found := true()):
        assert monotonic() < end, "it does not come"
        sleep(0.05)
    return found


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """A server of the page, on loopback."""
    folder, number = tmp_path_factory.mktemp("serve"), free_port()
    program = subprocess.Popen(
        command("serve", TRIM, "--port", str(number)), cwd=folder, stderr=subprocess.PIPE,
        env=environment({"XDG_STATE_HOME": str(folder)}), text=True,
    )  # fmt: skip

    def answers() -> bool:
        assert program.poll() is None, program.stderr and program.stderr.read()
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", number)) == 0

    until(answers)
    yield number
    program.send_signal(signal.SIGINT)
    _, said = program.communicate(timeout=30)
    assert f"http://127.0.0.1:{number}" in said and "Traceback" not in said


def asked(port: int, path: str, **headers: str) -> tuple[int, dict[str, str], str]:
    """Status, headers and text of an answer."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    connection.request("GET", path, headers=headers)
    answer = connection.getresponse()
    text = answer.read().decode("utf-8", "replace")
    connection.close()
    return answer.status, {key.lower(): value for key, value in answer.getheaders()}, text


# the page


def test_the_page_has_our_title_and_asks_no_other_host(port: int) -> None:
    status, headers, page = asked(port, "/")
    assert status == 200
    assert "<title>pneumo: Spring-open brakes on one valve</title>" in page
    assert re.findall(r"https?://[^\s\"'<]+", page) == []
    assert f"ws://127.0.0.1:{port}/ws" in page
    rule = headers["content-security-policy"]
    assert "default-src 'self'" in rule and f"connect-src 'self' ws://127.0.0.1:{port};" in rule
    for link in re.findall(r"(?:src|href)=\"(/[^\"]+)\"|url\(\"(/[^\"]+)\"\)", page):
        path = "".join(link)
        status, _, text = asked(port, path)
        assert status == 200, path
        if path.endswith(".css"):
            assert "@import" not in text and re.findall(r"url\(\s*[\"']?https?:", text) == []


@pytest.mark.parametrize(
    ("size", "wanted"), [("20", "20"), ("x", "16"), ("999", "16"), ("0", "16"), ('"', "16")]
)
def test_the_size_of_letters(port: int, size: str, wanted: str) -> None:
    page = asked(port, f"/?fontsize={size}")[2]
    assert f'data-font-size="{wanted}"' in page


def test_a_name_that_is_not_loopbacks_is_not_let_in(port: int) -> None:
    assert asked(port, "/", Host="pier.example")[0] == 403
    assert asked(port, "/", Host=f"localhost:{port}")[0] == 200


@pytest.mark.parametrize("origin", ["http://pier.example", "null", None])
def test_a_page_of_another_server_opens_no_dashboard(port: int, origin: str | None) -> None:
    with pytest.raises(InvalidStatus) as refused:
        connect(f"ws://127.0.0.1:{port}/ws", origin=origin, proxy=None)  # type: ignore[arg-type]
    assert refused.value.response.status_code == 403


def test_only_so_many_dashboards_at_one_time() -> None:
    """Each is a program of its own; asked of the door alone, so that none has to run."""
    import asyncio

    from aiohttp import web
    from aiohttp.test_utils import make_mocked_request

    from tui.browser.door import MOST_OPEN, Door

    door = Door("true", "127.0.0.1", 8000, "t")
    door._open = MOST_OPEN
    request = make_mocked_request(
        "GET", "/ws", {"Host": "127.0.0.1:8000", "Origin": "http://127.0.0.1:8000"}
    )
    with pytest.raises(web.HTTPServiceUnavailable, match="Service Unavailable"):
        asyncio.run(door.handle_websocket(request))
    assert door._open == MOST_OPEN


@pytest.mark.parametrize("size", ["width=1001", "height=401", "width=0", "width=-5", "width=99999"])
def test_a_page_of_absurd_size_opens_no_dashboard(port: int, size: str) -> None:
    with pytest.raises(InvalidStatus) as refused:
        connect(f"ws://127.0.0.1:{port}/ws?{size}", origin=f"http://127.0.0.1:{port}", proxy=None)  # type: ignore[arg-type]
    assert refused.value.response.status_code == 400


def test_a_page_that_grows_is_bounded() -> None:
    import asyncio

    from aiohttp import WSMessage, WSMsgType

    from tui.browser.door import TALLEST, WIDEST, Door

    sizes: list[Any] = []

    class Service:
        """A dashboard that notes what it is told."""

        stdin = type("Stdin", (), {"close": lambda _: sizes.append("closed")})()

        async def set_terminal_size(self, width: int, height: int) -> None:
            sizes.append((width, height))

        async def send_meta(self, data: dict[str, str]) -> bool:
            sizes.append(data["type"])
            return True

    async def messages() -> Any:
        for width, height in ((80, 24), (10**9, 10**9), (-1, 0), ("80", [])):
            text = json.dumps(["resize", {"width": width, "height": height}])
            yield WSMessage(WSMsgType.TEXT, text, None)

    door = Door("true", "127.0.0.1", 8000, "t")
    asyncio.run(door._process_messages(messages(), Service()))  # type: ignore[arg-type]
    assert sizes == [(80, 24), (WIDEST, TALLEST), (1, 1), "quit", "closed"]


def dashboards(folder: Path) -> list[int]:
    """Processes that run in a folder as a dashboard."""
    found = []
    for place in Path("/proc").glob("[0-9]*"):
        try:
            here = (place / "cwd").resolve() == folder.resolve()
            if here and b"dashboard" in (place / "cmdline").read_bytes().split(b"\0"):
                found.append(int(place.name))
        except OSError:
            continue
    return found


@pytest.mark.skipif(not Path("/proc/self/cwd").exists(), reason="looks processes up in /proc")
@pytest.mark.parametrize("ends", ["page", "server"])
def test_a_dashboard_ends_with_its_page_or_server(tmp_path: Path, ends: str) -> None:
    number = free_port()
    program = subprocess.Popen(
        command("serve", TRIM, "--port", str(number)), cwd=tmp_path, stderr=subprocess.DEVNULL,
        env=environment({"XDG_STATE_HOME": str(tmp_path)}),
    )  # fmt: skip

    def answers() -> bool:
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", number)) == 0

    try:
        until(answers)
        with connect(
            f"ws://127.0.0.1:{number}/ws", origin=f"http://127.0.0.1:{number}", proxy=None,  # type: ignore[arg-type]
            ping_interval=None, max_size=None, close_timeout=1,
        ) as page:  # fmt: skip
            drawn, quiet_by = b"", monotonic() + 30.0
            while b"Spring-open" not in drawn:
                data = page.recv(120)
                drawn += data if isinstance(data, bytes) else b""
            # it stands still: nothing it draws tells it that nobody takes it any more
            with suppress(TimeoutError):
                while monotonic() < quiet_by:
                    page.recv(1.5)
            assert len(dashboards(tmp_path)) == 1
            if ends == "server":
                program.kill()
        until(lambda: not dashboards(tmp_path))
    finally:
        program.kill()
        program.wait()
        for left in dashboards(tmp_path):
            os.kill(left, signal.SIGKILL)


# the command


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((TRIM, "--port", "0"), "ports go from 1 to 65535"),
        ((TRIM, "--host", "203.0.113.7"), "cannot be offered at 203.0.113.7"),
        ((TRIM, "--host", "no such host"), "cannot be offered at no such host"),
        (("no_such_ride",), "neither a file nor a circuit"),
    ],
)
def test_what_cannot_be_served(arguments: tuple[str, ...], words: str, capsys: Capture) -> None:
    code, out, err = pneumo(capsys, "serve", *arguments)
    assert (code, out) == (2, "") and words in " ".join(err.split())


def test_a_port_that_is_taken(port: int, capsys: Capture) -> None:
    code, _, err = pneumo(capsys, "serve", TRIM, "--port", str(port))
    assert code == 2 and "in use" in err


def test_without_the_library_it_says_what_to_install(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serve, "find_spec", lambda name: None)
    code, out, err = pneumo(capsys, "serve")
    assert (code, out) == (2, "")
    assert "pip install 'pneumo[serve]'" in err and err.count("\n") == 1


class _Door:
    """Serves nothing."""

    made: tuple[str, str, int, str]

    def __init__(self, command: str, host: str, port: int, title: str) -> None:
        _Door.made = (command, host, port, title)

    def serve(self) -> None: ...


@pytest.mark.parametrize(("host", "warned"), [("127.0.0.1", False), ("0.0.0.0", True)])
def test_a_warning_where_others_can_reach_it(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch, host: str, warned: bool
) -> None:
    monkeypatch.setattr("tui.browser.door.Door", _Door)
    number = free_port()
    code, _, err = pneumo(capsys, "serve", TRIM, "--host", host, "--port", str(number))
    assert code == 0
    assert ("no password" in " ".join(err.split())) == warned
    words, *rest = _Door.made
    assert rest == [host, number, "pneumo: Spring-open brakes on one valve"]
    assert words.endswith(f" -m pneumo dashboard -- {TRIM}")


# in a browser


class Browser:
    """A page in a headless browser, spoken to over its debugging socket."""

    def __init__(self, connection: ClientConnection) -> None:
        self._connection = connection
        self._number = 0
        self.asked_for: list[str] = []
        """Every address that the page asked for."""
        self.drawn = ""
        """What came for the terminal."""
        self.errors: list[str] = []

    def call(self, method: str, **parameters: Any) -> Any:
        """Has the browser do something; its result."""
        self._number += 1
        self._connection.send(
            json.dumps({"id": self._number, "method": method, "params": parameters})
        )
        while True:
            message = json.loads(self._connection.recv(30))
            if message.get("id") == self._number:
                assert "error" not in message, message
                return message["result"]
            self._take(message)

    def value(self, script: str) -> Any:
        """Value of a script on the page."""
        return self.call("Runtime.evaluate", expression=script)["result"].get("value")

    def press(self, letter: str) -> None:
        """A key, down and up."""
        for kind in ("keyDown", "keyUp"):
            text = {"text": letter} if kind == "keyDown" else {}
            self.call("Input.dispatchKeyEvent", type=kind, key=letter, **text)

    def click(self, x: int, y: int) -> None:
        """A click of the left button."""
        for kind in ("mousePressed", "mouseReleased"):
            self.call("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def picture(self) -> bytes:
        """The page as a PNG."""
        return base64.b64decode(self.call("Page.captureScreenshot", format="png")["data"])

    def _take(self, message: dict[str, Any]) -> None:
        what, given = message.get("method"), message.get("params", {})
        if what == "Network.requestWillBeSent":
            self.asked_for.append(given["request"]["url"])
        elif what == "Network.webSocketCreated":
            self.asked_for.append(given["url"])
        elif what == "Network.webSocketFrameReceived":
            data = given["response"]["payloadData"]
            if given["response"]["opcode"] == 2:
                self.drawn += base64.b64decode(data).decode("utf-8", "replace")
        elif what in ("Log.entryAdded", "Runtime.exceptionThrown"):
            self.errors.append(json.dumps(given))


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[Browser]:
    if CHROMIUM is None:
        pytest.skip("chromium is not installed")
    program = subprocess.Popen(
        [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync",
         "--remote-debugging-port=0", f"--user-data-dir={tmp_path / 'profile'}",
         "--window-size=1200,800", "about:blank"],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
    )  # fmt: skip
    try:
        said = tmp_path / "profile" / "DevToolsActivePort"
        number = until(lambda: said.exists() and said.read_text().split("\n")[0])
        pages = json.loads(asked(int(number), "/json/list")[2])
        socket_url = next(page["webSocketDebuggerUrl"] for page in pages if page["type"] == "page")
        with connect(socket_url, proxy=None, max_size=None, close_timeout=1) as connection:
            yield Browser(connection)
    finally:
        os.killpg(program.pid, signal.SIGKILL)
        program.wait()


def colours(png: bytes) -> int:
    """Different colours of a picture of 8 bits a channel."""
    place, data, width, channels = 8, b"", 0, 3
    while place < len(png):
        (length,) = struct.unpack(">I", png[place : place + 4])
        kind, body = png[place + 4 : place + 8], png[place + 8 : place + 8 + length]
        if kind == b"IHDR":
            width, _, depth, colour = struct.unpack(">IIBB", body[:10])
            assert depth == 8 and colour in (2, 6)
            channels = 3 if colour == 2 else 4
        data += body if kind == b"IDAT" else b""
        place += 12 + length
    rows, stride = zlib.decompress(data), width * channels
    before, found = bytearray(stride), set()
    for start in range(0, len(rows), stride + 1):
        filter_, row = rows[start], bytearray(rows[start + 1 : start + 1 + stride])
        for k in range(stride):
            left = row[k - channels] if k >= channels else 0
            corner = before[k - channels] if k >= channels else 0
            row[k] = (row[k] + _predicted(filter_, left, before[k], corner)) & 255
        before = row
        found.update(bytes(row[k : k + 3]) for k in range(0, stride, channels))
    return len(found)


def _predicted(filter_: int, left: int, up: int, corner: int) -> int:
    if filter_ == 4:
        guess = left + up - corner
        return min((left, up, corner), key=lambda value: abs(guess - value))
    return (0, left, up, (left + up) // 2)[filter_]


def test_a_browser_shows_the_ride_and_types(port: int, browser: Browser, tmp_path: Path) -> None:
    for part in ("Network", "Page", "Runtime", "Log"):
        browser.call(f"{part}.enable")
    browser.call("Page.navigate", url=f"http://127.0.0.1:{port}/")
    until(lambda: browser.value("document.body && document.body.className.includes('first-byte')"))
    until(lambda: browser.value("1") and "paused" in browser.drawn)
    assert "Spring-open brakes" in browser.drawn and "trim" in browser.drawn
    assert browser.value("document.title") == "pneumo: Spring-open brakes on one valve"
    sleep(1.0)
    browser.click(600, 500)
    still = browser.picture()
    assert colours(still) > 8
    browser.press(" ")
    until(lambda: browser.value("1") and "running" in browser.drawn)
    sleep(0.5)
    moving = browser.picture()
    assert moving != still
    browser.press("q")
    until(lambda: browser.value("document.body.className.includes('-closed')"))
    assert browser.value("getComputedStyle(document.getElementById('closed')).display") == "flex"
    hosts = {urlsplit(url).hostname for url in browser.asked_for if not url.startswith("data:")}
    assert hosts and all(host and is_loopback(host) for host in hosts), browser.asked_for
    assert any(url.startswith("ws://") for url in browser.asked_for)
    refused = [error for error in browser.errors if "Content Security Policy" in error]
    assert refused == []
    (tmp_path / "page.png").write_bytes(moving)
