"""The server of the page that shows the dashboard. Each page that is opened runs a program.

Whoever reaches this server may type into a dashboard, so it lets in only pages that it gave out
itself, under a name of its own, and tells the browser to ask no other host for anything.
"""

from __future__ import annotations

import logging
import secrets
from pathlib import Path
from typing import Any

from aiohttp import web
from jinja2 import Environment
from textual_serve.app_service import AppService
from textual_serve.server import Server

from pneumo.seats.address import is_loopback

MOST_OPEN = 6
"""Dashboards at one time: each is a program of its own that simulates a ride."""

SMALLEST, USUAL, LARGEST = 8, 16, 40
"""Font sizes that a page may ask for by "?fontsize=20"."""

WIDEST, TALLEST = 1000, 400
"""Cells of a page, far more than a screen shows: each of them is drawn here."""

_FOLDER = Path(__file__).parent

_NONCE = "nonce"
"""Under this name a request keeps the mark of the page's own script."""


class Door(Server):
    """Serves one command in a browser.

    Parameters
    ----------
    command
        What every page runs.
    host, port
        Where to listen.
    title
        Of the page.
    """

    def __init__(self, command: str, host: str, port: int, title: str) -> None:
        super().__init__(command, host=host, port=port, title=title, templates_path=_FOLDER)
        self._open = 0

    def initialize_logging(self) -> None:
        """Every request in the terminal would be of no use to anyone."""
        for name in ("aiohttp", "textual-serve"):
            logging.getLogger(name).addHandler(logging.NullHandler())
            logging.getLogger(name).propagate = False

    async def _make_app(self) -> web.Application:
        app = await super()._make_app()
        app.on_response_prepare.append(self._guard)
        return app

    async def on_startup(self, app: web.Application) -> None:
        """Nothing: the command has said where the page is."""

    async def handle_index(self, request: web.Request) -> web.Response:
        """The page."""
        self._check_name(request)
        request[_NONCE] = secrets.token_urlsafe(16)
        size = request.query.get("fontsize", "")
        fits = len(size) <= 2 and size.isdecimal() and SMALLEST <= int(size) <= LARGEST
        template = (_FOLDER / "page.html").read_text(encoding="utf-8")
        page = Environment(autoescape=True).from_string(template).render(
            title=self.title,
            # the address that the browser knows us by, whatever we listen at
            socket=f"ws://{request.host}/ws",
            font_size=int(size) if fits else USUAL,
            nonce=request[_NONCE],
        )  # fmt: skip
        return web.Response(text=page, content_type="text/html")

    async def handle_websocket(self, request: web.Request) -> web.WebSocketResponse:
        """A page opens its dashboard."""
        self._check_name(request)
        # a page of another server could otherwise open a dashboard here and type into it
        if request.headers.get("Origin") != f"http://{request.host}":
            raise web.HTTPForbidden(text="This page does not come from here.")
        if self._open >= MOST_OPEN:
            raise web.HTTPServiceUnavailable(text="Too many dashboards are open; close one.")
        for name, most in (("width", WIDEST), ("height", TALLEST)):
            size = request.query.get(name, "1")
            if not (len(size) <= 4 and size.isdecimal() and 1 <= int(size) <= most):
                raise web.HTTPBadRequest(text=f"The {name} of a page is 1 to {most} cells.")
        self._open += 1
        try:
            return await super().handle_websocket(request)
        finally:
            self._open -= 1

    async def _process_messages(
        self, websocket: web.WebSocketResponse, app_service: AppService
    ) -> None:
        resize = app_service.set_terminal_size

        async def bounded(width: Any, height: Any) -> None:
            if isinstance(width, int) and isinstance(height, int):
                await resize(min(max(width, 1), WIDEST), min(max(height, 1), TALLEST))

        app_service.set_terminal_size = bounded  # type: ignore[method-assign]
        try:
            await super()._process_messages(websocket, app_service)
        finally:
            # the dashboard is told to leave, and ends when it does not: nobody looks at it
            await app_service.send_meta({"type": "quit"})
            app_service.stdin.close()

    def _check_name(self, request: web.Request) -> None:
        """On loopback only loopback's names count: any other leads here by a trick."""
        name = request.url.host or ""
        if is_loopback(self.host) and not is_loopback(name):
            raise web.HTTPForbidden(text="Open the page by the address that pneumo serve gave.")

    async def _guard(self, request: web.Request, response: web.StreamResponse) -> None:
        mark: Any = request.get(_NONCE, "none")
        response.headers["Content-Security-Policy"] = (
            f"default-src 'self'; connect-src 'self' ws://{request.host}; img-src 'self' data:; "
            f"style-src 'self' 'unsafe-inline'; script-src 'self' 'nonce-{mark}'; "
            "frame-ancestors 'none'"
        )
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "no-referrer"
